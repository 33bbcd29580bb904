/* Eigenvalues of a symmetric 3 x 3 matrix by Jacobi's rotations (C. G. J. Jacobi, Crelle 30, 51-94, 1846). */
#include <math.h>
#include <string.h>

#include "level/segments.h"

/* One rotation in the plane of the axes p and q that makes matrix[p][q] 0. */
static void rotate(double matrix[3][3], double axes[3][3], int p, int q)
{
    if (matrix[p][q] == 0)
        return;
    double theta = (matrix[q][q] - matrix[p][p]) / (2 * matrix[p][q]);
    double t = (theta < 0 ? -1 : 1) / (fabs(theta) + sqrt(theta * theta + 1));
    double c = 1 / sqrt(t * t + 1), s = t * c;
    for (int k = 0; k < 3; k++) {
        double kp = matrix[k][p], kq = matrix[k][q];
        matrix[k][p] = c * kp - s * kq;
        matrix[k][q] = s * kp + c * kq;
    }
    for (int k = 0; k < 3; k++) {
        double pk = matrix[p][k], qk = matrix[q][k];
        matrix[p][k] = c * pk - s * qk;
        matrix[q][k] = s * pk + c * qk;
        double ap = axes[k][p], aq = axes[k][q];
        axes[k][p] = c * ap - s * aq;
        axes[k][q] = s * ap + c * aq;
    }
}

UfDirection uf_least_axis(double matrix[3][3], double values[3])
{
    double work[3][3], axes[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    int order[3] = {0, 1, 2};
    memcpy(work, matrix, sizeof work);
    for (int sweep = 0; sweep < 20; sweep++) {
        rotate(work, axes, 0, 1);
        rotate(work, axes, 0, 2);
        rotate(work, axes, 1, 2);
    }
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2 - i; k++)
            if (work[order[k]][order[k]] > work[order[k + 1]][order[k + 1]]) {
                int swapped = order[k];
                order[k] = order[k + 1];
                order[k + 1] = swapped;
            }
    for (int i = 0; i < 3; i++)
        values[i] = work[order[i]][order[i]];
    return (UfDirection){axes[0][order[0]], axes[1][order[0]], axes[2][order[0]]};
}

#include "patch/cholesky.h"

#include <math.h>

bool uf_cholesky_factorise(size_t n, double *a, double least, double share)
{
    for (size_t i = 0; i < n; i++) {
        double *row = a + i * n, whole = row[i];
        for (size_t j = 0; j <= i; j++) {
            double sum = row[j];
            for (size_t k = 0; k < j; k++)
                sum -= row[k] * a[j * n + k];
            if (j < i)
                row[j] = sum / a[j * n + j];
            else if (sum > least + share * whole)
                row[i] = sqrt(sum);
            else
                return false;
        }
    }
    return true;
}

void uf_cholesky_solve(size_t n, const double *l, double *x)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= l[i * n + k] * x[k];
        x[i] /= l[i * n + i];
    }
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            x[i] -= l[k * n + i] * x[k];
        x[i] /= l[i * n + i];
    }
}

/*
 * Homographies of the plane: q ~ H p for p = (x, y, 1).
 *
 * R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed. 2003, sections 4.1 and 4.4:
 * the direct linear transform, on points moved to their centroid and scaled to a mean distance of sqrt 2. The
 * centroid of points that were seen is seen, so its third coordinate is not 0 and the last element can be 1.
 */
#include "patch/homography.h"

#include <math.h>

#include "base/banned.h"

UfHomography uf_homography_identity(void)
{
    return uf_homography_scaling(1, 0, 0);
}

UfHomography uf_homography_scaling(double scale, double shift_x, double shift_y)
{
    return (UfHomography){{{scale, 0, shift_x}, {0, scale, shift_y}, {0, 0, 1}}};
}

UfHomography uf_homography_product(const UfHomography *a, const UfHomography *b)
{
    UfHomography out = {{{0}}};
    for (size_t i = 0; i < 3; i++)
        for (size_t j = 0; j < 3; j++)
            for (size_t k = 0; k < 3; k++)
                out.m[i][j] += a->m[i][k] * b->m[k][j];
    return out;
}

static double cofactor(const UfHomography *h, size_t i, size_t j)
{
    size_t r = (i + 1) % 3, s = (i + 2) % 3, c = (j + 1) % 3, d = (j + 2) % 3;
    return h->m[r][c] * h->m[s][d] - h->m[r][d] * h->m[s][c];
}

bool uf_homography_inverse(const UfHomography *h, UfHomography *out)
{
    double determinant = 0, size = 0;
    for (size_t j = 0; j < 3; j++) {
        determinant += h->m[0][j] * cofactor(h, 0, j);
        for (size_t i = 0; i < 3; i++)
            size = fmax(size, fabs(h->m[i][j]));
    }
    if (!(fabs(determinant) > 1e-14 * size * size * size))
        return false;
    for (size_t i = 0; i < 3; i++)
        for (size_t j = 0; j < 3; j++)
            out->m[i][j] = cofactor(h, j, i) / determinant;
    return true;
}

bool uf_homography_apply(const UfHomography *h, UfSpot at, UfSpot *out)
{
    double w = h->m[2][0] * at.x + h->m[2][1] * at.y + h->m[2][2];
    if (!(w > 1e-9))
        return false;
    *out = (UfSpot){(h->m[0][0] * at.x + h->m[0][1] * at.y + h->m[0][2]) / w,
                    (h->m[1][0] * at.x + h->m[1][1] * at.y + h->m[1][2]) / w};
    return true;
}

double uf_homography_area(const UfHomography *h, UfSpot at)
{
    double determinant = 0;
    for (size_t j = 0; j < 3; j++)
        determinant += h->m[0][j] * cofactor(h, 0, j);
    double w = h->m[2][0] * at.x + h->m[2][1] * at.y + h->m[2][2];
    return determinant / (w * w * w);
}

bool uf_solve_linear(size_t n, double *a, double *b)
{
    for (size_t k = 0; k < n; k++) {
        size_t best = k;
        for (size_t i = k + 1; i < n; i++)
            if (fabs(a[i * n + k]) > fabs(a[best * n + k]))
                best = i;
        if (!(fabs(a[best * n + k]) > 1e-12))
            return false;
        for (size_t j = 0; j < n && best != k; j++) {
            double keep = a[k * n + j];
            a[k * n + j] = a[best * n + j];
            a[best * n + j] = keep;
        }
        double keep = b[k];
        b[k] = b[best];
        b[best] = keep;
        for (size_t i = k + 1; i < n; i++) {
            double factor = a[i * n + k] / a[k * n + k];
            for (size_t j = k; j < n; j++)
                a[i * n + j] -= factor * a[k * n + j];
            b[i] -= factor * b[k];
        }
    }
    for (size_t k = n; k-- > 0;) {
        for (size_t j = k + 1; j < n; j++)
            b[k] -= a[k * n + j] * b[j];
        b[k] /= a[k * n + k];
    }
    return true;
}

/* To the centroid, mean distance sqrt 2. */
static bool normalising(const UfSpot *points, size_t count, UfHomography *out)
{
    double x = 0, y = 0, away = 0;
    for (size_t i = 0; i < count; i++) {
        x += points[i].x / (double)count;
        y += points[i].y / (double)count;
    }
    for (size_t i = 0; i < count; i++)
        away += hypot(points[i].x - x, points[i].y - y) / (double)count;
    if (!(away > 0) || !isfinite(away))
        return false;
    double scale = sqrt(2) / away;
    *out = uf_homography_scaling(scale, -scale * x, -scale * y);
    return true;
}

/* a += row row^T, b += row right */
static void accumulate(const double row[8], double right, double a[64], double b[8])
{
    for (size_t i = 0; i < 8; i++) {
        for (size_t j = 0; j < 8; j++)
            a[8 * i + j] += row[i] * row[j];
        b[i] += row[i] * right;
    }
}

bool uf_homography_fit(const UfSpot *from, const UfSpot *to, size_t count, UfHomography *out)
{
    UfHomography before, after, back;
    double a[64] = {0}, b[8] = {0};
    if (count < 4 || !normalising(from, count, &before) || !normalising(to, count, &after) ||
        !uf_homography_inverse(&after, &back))
        return false;
    for (size_t i = 0; i < count; i++) {
        UfSpot p = {0}, q = {0};
        uf_homography_apply(&before, from[i], &p);
        uf_homography_apply(&after, to[i], &q);
        const double first[8] = {p.x, p.y, 1, 0, 0, 0, -q.x * p.x, -q.x * p.y};
        const double second[8] = {0, 0, 0, p.x, p.y, 1, -q.y * p.x, -q.y * p.y};
        accumulate(first, q.x, a, b);
        accumulate(second, q.y, a, b);
    }
    if (!uf_solve_linear(8, a, b))
        return false;
    UfHomography middle = {{{b[0], b[1], b[2]}, {b[3], b[4], b[5]}, {b[6], b[7], 1}}};
    middle = uf_homography_product(&middle, &before);
    *out = uf_homography_product(&back, &middle);
    return true;
}

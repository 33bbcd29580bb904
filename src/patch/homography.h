/* Homographies of the plane. */
#ifndef UF_PATCH_HOMOGRAPHY_H
#define UF_PATCH_HOMOGRAPHY_H

#include <stdbool.h>
#include <stddef.h>

/* A point of a picture or of a plane; y down. */
typedef struct UfSpot {
    double x, y;
} UfSpot;

/* Row-major; (x, y, 1) on the right. */
typedef struct UfHomography {
    double m[3][3];
} UfHomography;

UfHomography uf_homography_identity(void);
/* x -> scale x + shift */
UfHomography uf_homography_scaling(double scale, double shift_x, double shift_y);
/* first `b`, then `a` */
UfHomography uf_homography_product(const UfHomography *a, const UfHomography *b);
/* False when it is singular. */
bool uf_homography_inverse(const UfHomography *h, UfHomography *out);
/* False on the far side of the line that goes to infinity. The matrix's sign is as uf_homography_fit gives
 * it: positive where the points are. */
bool uf_homography_apply(const UfHomography *h, UfSpot at, UfSpot *out);
/* Determinant of the Jacobian at a point: how much larger areas get; negative when it mirrors. */
double uf_homography_area(const UfHomography *h, UfSpot at);
/*
 * Least squares from `count` >= 4 pairs, by the direct linear transform on normalised points (R. Hartley, In
 * Defense of the Eight-Point Algorithm, IEEE TPAMI 19(6), 1997). False when the points do not determine it.
 */
bool uf_homography_fit(const UfSpot *from, const UfSpot *to, size_t count, UfHomography *out);
/* Solves n equations, n <= 16, in place by elimination with pivoting; false when singular. a is n x n. */
bool uf_solve_linear(size_t n, double *a, double *b);

#endif

/*
 * Equal-area map of the sphere to a square: the inner diamond is the lower half, the four corners are the
 * upper half folded over it. The sphere is turned first: the parallels of an unturned
 * one are straight lines at 45 degrees, which pass all cells in the same way, so that their errors would add
 * up. P. Shirley and K. Chiu, A Low Distortion Map Between Disk and Square, Journal of Graphics Tools 2(3),
 * 45-52 (1997); P. Clarberg, Fast Equal-Area Mapping of the (Hemi)Sphere using SIMD, ibid. 13(3), 53-68
 * (2008); both from memory.
 */
#include "plan/square.h"

#include <float.h>
#include <math.h>

/* Pythagorean triples, so that the turn is exact: 5, 12, 13 and 8, 15, 17. */
#define ROLL_SIN  (5.0 / 13)
#define ROLL_COS  (12.0 / 13)
#define PITCH_SIN (8.0 / 17)
#define PITCH_COS (15.0 / 17)

/* Taylor's series for |x| <= pi/4, exact to rounding; the whole sphere is walked through here. */
static inline void sine_and_cosine(double x, double *sine, double *cosine)
{
    double s = x * x;
    *sine =
        x * (1 + s * (-1.0 / 6 +
                      s * (1.0 / 120 +
                           s * (-1.0 / 5040 + s * (1.0 / 362880 + s * (-1.0 / 39916800 +
                                                                       s * (1.0 / 6227020800 +
                                                                            s * (-1.0 / 1307674368000))))))));
    *cosine =
        1 + s * (-1.0 / 2 +
                 s * (1.0 / 24 +
                      s * (-1.0 / 720 +
                           s * (1.0 / 40320 +
                                s * (-1.0 / 3628800 + s * (1.0 / 479001600 + s * (-1.0 / 87178291200)))))));
}

/* Without branches, so that it can be done for several points at once. */
__attribute__((always_inline)) static inline void direction_at(double u, double v, double *x, double *y,
                                                               double *z)
{
    double a = 2 * u - 1;
    double b = 2 * v - 1;
    double inside = 1 - fabs(a) - fabs(b); /* below 0 in the corners */
    double r = 1 - fabs(inside);
    /* of the quarter turn; where r is 0, so is what is divided by it */
    double past_middle = UF_PI / 4 * ((fabs(b) - fabs(a)) / (r + DBL_MIN));
    double sine, cosine;
    sine_and_cosine(past_middle, &sine, &cosine);
    double across = r * sqrt((2 - r * r) / 2);
    double right = copysign(across * (cosine - sine), a);
    double up = copysign(1 - r * r, -inside);
    double forward = copysign(across * (cosine + sine), b);
    double rolled = ROLL_SIN * right + ROLL_COS * up;
    *x = ROLL_COS * right - ROLL_SIN * up;
    *y = PITCH_COS * rolled - PITCH_SIN * forward;
    *z = PITCH_SIN * rolled + PITCH_COS * forward;
}

UfDirection uf_square_direction(double u, double v)
{
    UfDirection at;
    direction_at(u, v, &at.x, &at.y, &at.z);
    return at;
}

void uf_square_four(const double u[4], const double v[4], UfDirection out[4])
{
    double x[4], y[4], z[4];
#pragma omp simd
    for (int i = 0; i < 4; i++)
        direction_at(u[i], v[i], &x[i], &y[i], &z[i]);
    for (int i = 0; i < 4; i++)
        out[i] = (UfDirection){x[i], y[i], z[i]};
}

/*
 * Equal-area map of the sphere to a square: the inner diamond is the lower half, the four corners are the
 * upper half folded over it. The sphere is turned first: the parallels of an unturned
 * one are straight lines at 45 degrees, which pass all cells in the same way, so that their errors would add
 * up. P. Shirley and K. Chiu, A Low Distortion Map Between Disk and Square, Journal of Graphics Tools 2(3),
 * 45-52 (1997); P. Clarberg, Fast Equal-Area Mapping of the (Hemi)Sphere using SIMD, ibid. 13(3), 53-68
 * (2008); both from memory.
 */
#include "plan/square.h"

#include <math.h>

/* Pythagorean triples, so that the turn is exact: 5, 12, 13 and 8, 15, 17. */
#define ROLL_SIN  (5.0 / 13)
#define ROLL_COS  (12.0 / 13)
#define PITCH_SIN (8.0 / 17)
#define PITCH_COS (15.0 / 17)

/* Taylor's series for |x| <= pi/4, exact to rounding; the whole sphere is walked through here. */
static void sine_and_cosine(double x, double *sine, double *cosine)
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

UfDirection uf_square_direction(double u, double v)
{
    double a = 2 * u - 1;
    double b = 2 * v - 1;
    double inside = 1 - fabs(a) - fabs(b); /* below 0 in the corners */
    double r = 1 - fabs(inside);
    double past_middle = r > 0 ? UF_PI / 4 * ((fabs(b) - fabs(a)) / r) : 0; /* of the quarter turn */
    double sine, cosine;
    sine_and_cosine(past_middle, &sine, &cosine);
    double across = r * sqrt((2 - r * r) / 2);
    double down = 1 - r * r;
    UfDirection d = {copysign(across * (cosine - sine), a), inside < 0 ? down : -down,
                     copysign(across * (cosine + sine), b)};
    UfDirection rolled = {ROLL_COS * d.x - ROLL_SIN * d.y, ROLL_SIN * d.x + ROLL_COS * d.y, d.z};
    return (UfDirection){rolled.x, PITCH_COS * rolled.y - PITCH_SIN * rolled.z,
                         PITCH_SIN * rolled.y + PITCH_COS * rolled.z};
}

void uf_square_fold(int64_t side, int64_t *x, int64_t *y)
{
    if (*x < 0 || *x >= side) {
        *x = *x < 0 ? -1 - *x : 2 * side - 1 - *x;
        *y = side - 1 - *y;
    }
    if (*y < 0 || *y >= side) {
        *y = *y < 0 ? -1 - *y : 2 * side - 1 - *y;
        *x = side - 1 - *x;
    }
}

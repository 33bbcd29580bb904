/*
 * The polynomial lens r = theta (1 + k1 theta^2 + k2 theta^4 + k3 theta^6 + k4 theta^8): OpenCV's fisheye
 * model, the generic model of Kannala and Brandt 2006, (6), with its first coefficient as the focal length.
 */
#include "plan/lens.h"

#include <math.h>

#define SCAN_STEPS 4096
#define MOST_STEPS 100

double uf_polynomial_radius(const double k[4], double angle_rad)
{
    double t2 = angle_rad * angle_rad;
    return angle_rad * (1 + t2 * (k[0] + t2 * (k[1] + t2 * (k[2] + t2 * k[3]))));
}

static double slope(const double k[4], double angle_rad)
{
    double t2 = angle_rad * angle_rad;
    return 1 + t2 * (3 * k[0] + t2 * (5 * k[1] + t2 * (7 * k[2] + t2 * 9 * k[3])));
}

/* The first zero of the slope: beyond it one point of the picture would show two directions. */
double uf_polynomial_limit_rad(const double k[4])
{
    double low = 0;
    double high = 0;
    for (int i = 1; i <= SCAN_STEPS && high == 0; i++) {
        double angle = UF_PI * i / SCAN_STEPS;
        if (slope(k, angle) <= 0)
            high = angle;
        else
            low = angle;
    }
    if (high == 0)
        return UF_PI;
    for (int i = 0; i < MOST_STEPS; i++) {
        double middle = (low + high) / 2;
        if (slope(k, middle) <= 0)
            high = middle;
        else
            low = middle;
    }
    return low;
}

/* Newton's steps, kept inside a bracket that shrinks: a step out of it is replaced by halving. */
double uf_polynomial_angle_rad(const double k[4], double limit_rad, double radius)
{
    double low = 0;
    double high = limit_rad;
    double angle = fmin(radius, limit_rad);
    for (int i = 0; i < MOST_STEPS && high - low > 0; i++) {
        double excess = uf_polynomial_radius(k, angle) - radius;
        if (excess > 0)
            high = angle;
        else
            low = angle;
        double next = angle - excess / slope(k, angle);
        if (!(next > low && next < high))
            next = (low + high) / 2;
        if (next == angle)
            break;
        angle = next;
    }
    return angle;
}

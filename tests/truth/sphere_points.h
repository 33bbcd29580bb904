/* Reproducible points for the comparisons with other libraries. */
#ifndef TRUTH_SPHERE_POINTS_H
#define TRUTH_SPHERE_POINTS_H

#include <math.h>
#include <stdint.h>

#include <underfoot/sphere.h>

/* SplitMix64: G. L. Steele, D. Lea and C. H. Flood, OOPSLA 2014 (constants from memory). */
static inline uint64_t random_bits(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

/* In [low, high). */
static inline double random_between(uint64_t *state, double low, double high)
{
    return low + (high - low) * ((double)(random_bits(state) >> 11) * 0x1p-53);
}

/* Uniform on the sphere. */
static inline UfLonLat random_lonlat(uint64_t *state)
{
    double lon_rad = random_between(state, -UF_PI, UF_PI);
    return (UfLonLat){lon_rad, asin(random_between(state, -1, 1))};
}

/* Uniform in a disc. */
static inline UfPlanePoint random_in_disc(uint64_t *state, double radius)
{
    double r = radius * sqrt(random_between(state, 0, 1));
    double azimuth = random_between(state, -UF_PI, UF_PI);
    return (UfPlanePoint){r * cos(azimuth), r * sin(azimuth)};
}

/*
 * How far two points of a plane are apart, relative to their distance from the middle where that is above 1.
 * For the projections whose scale is at least 1 this is never less than the angle on the sphere; the others
 * (orthographic, equisolid) are measured as an angle by the comparison of the inverses.
 */
static inline double plane_difference(UfPlanePoint a, UfPlanePoint b)
{
    return hypot(a.x - b.x, a.y - b.y) / fmax(1, hypot(b.x, b.y));
}

#endif

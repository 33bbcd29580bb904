/*
 * Repeatable randomness. Everything is a function of whole coordinates and a seed: the same picture comes out
 * whatever the number of threads.
 */
#ifndef SCENE_NOISE_H
#define SCENE_NOISE_H

#include <stdint.h>

/* An integer hash with good avalanche (the finaliser of MurmurHash3, A. Appleby, public domain). */
static inline uint32_t hash_mix(uint32_t h)
{
    h ^= h >> 16;
    h *= 0x85ebca6bu;
    h ^= h >> 13;
    h *= 0xc2b2ae35u;
    return h ^ (h >> 16);
}
static inline uint32_t hash_cell(int x, int y, uint32_t seed)
{
    return hash_mix((uint32_t)x * 0x9e3779b1u ^ hash_mix((uint32_t)y * 0x85ebca77u + seed));
}
/* [0, 1) from a hash; `n` picks one of several independent numbers. */
static inline double hash_unit(uint32_t h, uint32_t n)
{
    return hash_mix(h + n * 0x9e3779b9u) * (1.0 / 4294967296.0);
}

/* Value noise in the plane, -1..1, one bump a unit. */
double noise_at(double x, double y, uint32_t seed);
/*
 * Sum of octaves, each half as strong and twice as fine as the last; octaves finer than `footprint` (the size
 * of a sample, in the same unit as x and y) are left out, so that far surfaces do not flicker. About -1..1.
 */
double noise_sum(double x, double y, int octaves, double footprint, uint32_t seed);

#endif

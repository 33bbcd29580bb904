/* A pixel of the canvas as one vector. */
#ifndef UF_PATCH_FOUR_H
#define UF_PATCH_FOUR_H

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "base/clones.h"

typedef float UfFour __attribute__((vector_size(16)));

static inline UfFour uf_four_load(const float *at)
{
    UfFour out;
    memcpy(&out, at, sizeof out);
    return out;
}

static inline void uf_four_store(float *at, UfFour four)
{
    memcpy(at, &four, sizeof four);
}

static inline UfFour uf_four_of(float value)
{
    return (UfFour){value, value, value, value};
}

/* Square root and square that keep the sign. */
static inline float uf_signed_root(float v)
{
    return copysignf(sqrtf(fabsf(v)), v);
}

static inline float uf_signed_square(float v)
{
    return v * fabsf(v);
}

static inline UfFour uf_four_square(UfFour v)
{
    typedef int Bits __attribute__((vector_size(16)));
    const Bits all_but_sign = {INT32_MAX, INT32_MAX, INT32_MAX, INT32_MAX};
    return v * (UfFour)((Bits)v & all_but_sign);
}

static inline UfFour uf_four_signed_root(UfFour v)
{
    float out[4];
#pragma omp simd
    for (int c = 0; c < 4; c++)
        out[c] = uf_signed_root(v[c]);
    return uf_four_load(out);
}

/* What UF_CLONES are made of. */
#define UF_FOUR_INLINE static inline __attribute__((always_inline))

/*
 * Keys' cubic, a = -1/2, at 4 x 4 pixels, the first of them at `from`, `stride` floats a row; x and y in [0,
 * 1) from the second. Columns first, two pixels at a time. The weights as in remap/keys.h.
 */
UF_FOUR_INLINE UfFour uf_four_weighed(const float *from, size_t stride, float x, float y)
{
    typedef float Eight __attribute__((vector_size(32)));
    static const UfFour cube = {-0.5F, 1.5F, -1.5F, 0.5F}, square = {1, -2.5F, 2, -0.5F},
                        line = {-0.5F, 0, 0.5F, 0}, none = {0, 1, 0, 0};
    UfFour wx = ((cube * x + square) * x + line) * x + none, wy = ((cube * y + square) * y + line) * y + none;
    Eight left = {0}, right = {0};
    for (int j = 0; j < 4; j++, from += stride) {
        Eight l, r;
        memcpy(&l, from, sizeof l);
        memcpy(&r, from + 8, sizeof r);
        left += l * wy[j];
        right += r * wy[j];
    }
    left = left * (Eight){wx[0], wx[0], wx[0], wx[0], wx[1], wx[1], wx[1], wx[1]} +
           right * (Eight){wx[2], wx[2], wx[2], wx[2], wx[3], wx[3], wx[3], wx[3]};
    UfFour halves[2];
    memcpy(halves, &left, sizeof halves);
    return halves[0] + halves[1];
}

#endif

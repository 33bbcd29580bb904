/* A pixel of the canvas as one vector. */
#ifndef UF_PATCH_FOUR_H
#define UF_PATCH_FOUR_H

#include <math.h>
#include <stdint.h>
#include <string.h>

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

/* 4 x 4 pixels, the first of them at `from`, `stride` floats a row, weighed. */
static inline UfFour uf_four_weighed(const float *from, size_t stride, const float wx[4], const float wy[4])
{
    UfFour sum = {0};
    for (int j = 0; j < 4; j++, from += stride) {
        UfFour row = uf_four_of(wx[0]) * uf_four_load(from) + uf_four_of(wx[1]) * uf_four_load(from + 4) +
                     uf_four_of(wx[2]) * uf_four_load(from + 8) + uf_four_of(wx[3]) * uf_four_load(from + 12);
        sum += uf_four_of(wy[j]) * row;
    }
    return sum;
}

#endif

/*
 * Sharp sampling with AVX2: the spline's taps at a place, and the range of the pixels around it.
 *
 * A vector of 8 floats holds two taps side by side; three of them are weighed down the rows, then across,
 * added, and the even and the odd taps folded together.
 */
#ifndef UF_REMAP_SHARP_VECTOR_H
#define UF_REMAP_SHARP_VECTOR_H

#include <math.h>

#include "remap/plain_sharp.h"
#include "remap/plain_vector.h"

#define UF_SHARP_PAIRS (UF_SPLINE_TAPS / 2)

/* The taps' columns, weighed down the rows by wy[0], wy[apart], ... */
UF_AVX2_INLINE void uf_sharp_columns(const uint8_t *at, ptrdiff_t stride_bytes, const float *wy, size_t apart,
                                     size_t channels, UfSample kept, __m256 out[UF_SHARP_PAIRS])
{
    const __m256 first = _mm256_broadcast_ss(wy);
#pragma GCC unroll 3
    for (size_t p = 0; p < UF_SHARP_PAIRS; p++)
        out[p] = _mm256_mul_ps(first, uf_load_8(at, 2 * p * channels, kept));
#pragma GCC unroll 1
    for (int r = 1; r < UF_SPLINE_TAPS; r++) {
        const __m256 weight = _mm256_broadcast_ss(wy + (size_t)r * apart);
#pragma GCC unroll 3
        for (size_t p = 0; p < UF_SHARP_PAIRS; p++)
            out[p] = _mm256_add_ps(
                out[p], _mm256_mul_ps(weight, uf_load_8(at + r * stride_bytes, 2 * p * channels, kept)));
    }
}

/* The first tap's weight over its channels, the second's over the rest. */
UF_AVX2_INLINE __m256 uf_sharp_pair(const float *first, const float *second, size_t channels)
{
    const __m256 a = _mm256_broadcast_ss(first), b = _mm256_broadcast_ss(second);
    if (channels == 1)
        return _mm256_blend_ps(a, b, 0xfe);
    if (channels == 2)
        return _mm256_blend_ps(a, b, 0xfc);
    return channels == 3 ? _mm256_blend_ps(a, b, 0xf8) : _mm256_blend_ps(a, b, 0xf0);
}

/* Taps that are weighed, added up, in the source's units. */
UF_AVX2_INLINE __m128 uf_sharp_folded(const __m256 sum[UF_SHARP_PAIRS], size_t channels, UfSample kept)
{
    const __m256 both = _mm256_add_ps(_mm256_add_ps(sum[0], sum[1]), sum[2]);
    __m128 value = _mm256_castps256_ps128(_mm256_add_ps(both, uf_moved_8(both, (int)channels)));
    if (kept == UF_SAMPLE_U16) {
        value = _mm_sub_ps(value, _mm_set1_ps(UF_SPLINE_CODE_ZERO));
        value = _mm_mul_ps(value, _mm_set1_ps(UF_SHARP_CODE_STEP));
        value = _mm_add_ps(value, _mm_set1_ps(UF_SPLINE_CODE_GREY));
    }
    return value;
}

/* Codes of 8 bits, 4 pixels to be folded together; of 16 bits, of one pixel; or floats. */
typedef struct UfSharpRange {
    __m128i low, high;
    __m128 lowest, highest;
} UfSharpRange;

UF_AVX2_INLINE UfSharpRange uf_sharp_range(void)
{
    return (UfSharpRange){_mm_set1_epi8(-1), _mm_setzero_si128(), _mm_set1_ps(INFINITY),
                          _mm_set1_ps(-INFINITY)};
}

/* Four samples from a pixel on; those beyond it do not matter. */
UF_AVX2_INLINE int uf_load_bytes(const uint8_t *at)
{
    int four;
    memcpy(&four, at, sizeof four);
    return four;
}

/* Four pixels of 8-bit samples, each in 4 bytes, `step` bytes apart. */
UF_AVX2_INLINE __m128i uf_load_bytes_apart(const uint8_t *at, ptrdiff_t step)
{
    __m128i out = _mm_cvtsi32_si128(uf_load_bytes(at));
    out = _mm_insert_epi32(out, uf_load_bytes(at + step), 1);
    out = _mm_insert_epi32(out, uf_load_bytes(at + 2 * step), 2);
    return _mm_insert_epi32(out, uf_load_bytes(at + 3 * step), 3);
}

UF_AVX2_INLINE void uf_sharp_range_of_bytes(UfSharpRange *range, const uint8_t *at, ptrdiff_t stride,
                                            ptrdiff_t step)
{
    __m128i low = _mm_set1_epi8(-1), high = _mm_setzero_si128();
    for (int r = 0; r < UF_SHARP_NEAR; r++, at += stride) {
        const __m128i four =
            step == 3 ? _mm_loadu_si128((const __m128i *)(const void *)at) : uf_load_bytes_apart(at, step);
        low = _mm_min_epu8(low, four);
        high = _mm_max_epu8(high, four);
    }
    if (step == 3) { /* three bytes each */
        const __m128i apart = _mm_setr_epi8(0, 1, 2, -1, 3, 4, 5, -1, 6, 7, 8, -1, 9, 10, 11, -1);
        low = _mm_shuffle_epi8(low, apart);
        high = _mm_shuffle_epi8(high, apart);
    }
    range->low = _mm_min_epu8(range->low, low);
    range->high = _mm_max_epu8(range->high, high);
}

UF_AVX2_INLINE void uf_sharp_range_of_words(UfSharpRange *range, const uint8_t *at, ptrdiff_t stride,
                                            ptrdiff_t step)
{
    for (int r = 0; r < UF_SHARP_NEAR; r++, at += stride)
        for (int k = 0; k < UF_SHARP_NEAR; k++) {
            const __m128i four = _mm_loadl_epi64((const __m128i *)(const void *)(at + k * step));
            range->low = _mm_min_epu16(range->low, four);
            range->high = _mm_max_epu16(range->high, four);
        }
}

/* A NaN is passed over: the second operand stands where one is. */
UF_AVX2_INLINE void uf_sharp_range_of_floats(UfSharpRange *range, const uint8_t *at, ptrdiff_t stride,
                                             ptrdiff_t step)
{
    for (int r = 0; r < UF_SHARP_NEAR; r++, at += stride)
        for (int k = 0; k < UF_SHARP_NEAR; k++) {
            const __m128 four = _mm_loadu_ps((const float *)(const void *)(at + k * step));
            range->lowest = _mm_min_ps(four, range->lowest);
            range->highest = _mm_max_ps(four, range->highest);
        }
}

/* The pixels from `at` on, `step` bytes apart, of pictures without alpha. */
UF_AVX2_INLINE void uf_sharp_range_add(UfSharpRange *range, const uint8_t *at, ptrdiff_t stride,
                                       ptrdiff_t step, UfSample sample)
{
    if (sample == UF_SAMPLE_U8)
        uf_sharp_range_of_bytes(range, at, stride, step);
    else if (sample == UF_SAMPLE_U16)
        uf_sharp_range_of_words(range, at, stride, step);
    else
        uf_sharp_range_of_floats(range, at, stride, step);
}

/* By channels. */
typedef struct UfSharpLimits {
    __m128 lowest, highest;
} UfSharpLimits;

UF_AVX2_INLINE UfSharpLimits uf_sharp_limits(const UfSharpRange *range, UfSample sample)
{
    __m128i low = range->low, high = range->high;
    if (sample == UF_SAMPLE_F32)
        return (UfSharpLimits){range->lowest, range->highest};
    if (sample == UF_SAMPLE_U16)
        return (UfSharpLimits){_mm_cvtepi32_ps(_mm_cvtepu16_epi32(low)),
                               _mm_cvtepi32_ps(_mm_cvtepu16_epi32(high))};
    low = _mm_min_epu8(low, _mm_srli_si128(low, 8));
    high = _mm_max_epu8(high, _mm_srli_si128(high, 8));
    low = _mm_min_epu8(low, _mm_srli_si128(low, 4));
    high = _mm_max_epu8(high, _mm_srli_si128(high, 4));
    return (UfSharpLimits){_mm_cvtepi32_ps(_mm_cvtepu8_epi32(low)), _mm_cvtepi32_ps(_mm_cvtepu8_epi32(high))};
}

#endif

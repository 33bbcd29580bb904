/*
 * The sharp kernel for plain tiles with AVX2: one pixel at a time. A vector of 8 floats holds two taps side
 * by side; three of them are weighed down the rows, then across, added, and the even and the odd taps folded
 * together.
 */
#include "remap/plain_sharp.h"

#if defined(__x86_64__)
#include <math.h>

#include "remap/plain_vector.h"

#define PAIRS (UF_SPLINE_TAPS / 2)

/* The first tap's weight over its channels, the second's over the rest. */
UF_AVX2_INLINE __m256 weights_of_pair(const UfSharpTaps *w, size_t i, size_t pair, size_t channels)
{
    const __m256 first = _mm256_broadcast_ss(&w->wx[2 * pair][i]);
    const __m256 second = _mm256_broadcast_ss(&w->wx[2 * pair + 1][i]);
    return channels == 1 ? _mm256_blend_ps(first, second, 0xfe) : _mm256_blend_ps(first, second, 0xf8);
}

UF_AVX2_INLINE __m128 spline_at(const UfSharpPlace *place, size_t channels, UfSample kept)
{
    const uint8_t *at = place->coefficients;
    const ptrdiff_t stride = place->coefficients_stride_bytes;
    const UfSharpTaps *w = place->taps;
    const size_t i = place->i;
    __m256 sum[PAIRS];
    for (size_t p = 0; p < PAIRS; p++)
        sum[p] = _mm256_mul_ps(_mm256_broadcast_ss(&w->wy[0][i]), uf_load_8(at, 2 * p * channels, kept));
    for (int r = 1; r < UF_SPLINE_TAPS; r++) {
        const __m256 wy = _mm256_broadcast_ss(&w->wy[r][i]);
        for (size_t p = 0; p < PAIRS; p++)
            sum[p] =
                _mm256_add_ps(sum[p], _mm256_mul_ps(wy, uf_load_8(at + r * stride, 2 * p * channels, kept)));
    }
    for (size_t p = 0; p < PAIRS; p++)
        sum[p] = _mm256_mul_ps(sum[p], weights_of_pair(w, i, p, channels));
    const __m256 both = _mm256_add_ps(_mm256_add_ps(sum[0], sum[1]), sum[2]);
    __m128 value = _mm256_castps256_ps128(_mm256_add_ps(both, uf_moved_8(both, (int)channels)));
    if (kept == UF_SAMPLE_U16) {
        value = _mm_sub_ps(value, _mm_set1_ps(UF_SPLINE_CODE_ZERO));
        value = _mm_mul_ps(value, _mm_set1_ps(UF_SHARP_CODE_STEP));
        value = _mm_add_ps(value, _mm_set1_ps(UF_SPLINE_CODE_GREY));
    }
    return value;
}

/* Four samples from a pixel on; those beyond it do not matter. */
UF_AVX2_INLINE int load_bytes(const uint8_t *at)
{
    int four;
    memcpy(&four, at, sizeof four);
    return four;
}

/* Four pixels of 8-bit samples, each in 4 bytes, `step` bytes apart. */
UF_AVX2_INLINE __m128i load_bytes_apart(const uint8_t *at, ptrdiff_t step)
{
    __m128i out = _mm_cvtsi32_si128(load_bytes(at));
    out = _mm_insert_epi32(out, load_bytes(at + step), 1);
    out = _mm_insert_epi32(out, load_bytes(at + 2 * step), 2);
    return _mm_insert_epi32(out, load_bytes(at + 3 * step), 3);
}

typedef struct Range {
    __m128 lowest, highest;
} Range;

UF_AVX2_INLINE Range range_of_bytes(const uint8_t *at, ptrdiff_t stride, ptrdiff_t step, bool packed)
{
    __m128i low = _mm_set1_epi8(-1), high = _mm_setzero_si128();
    for (int r = 0; r < UF_SHARP_NEAR; r++, at += stride) {
        const __m128i four =
            packed ? _mm_loadu_si128((const __m128i *)(const void *)at) : load_bytes_apart(at, step);
        low = _mm_min_epu8(low, four);
        high = _mm_max_epu8(high, four);
    }
    if (packed) { /* three bytes each */
        const __m128i apart = _mm_setr_epi8(0, 1, 2, -1, 3, 4, 5, -1, 6, 7, 8, -1, 9, 10, 11, -1);
        low = _mm_shuffle_epi8(low, apart);
        high = _mm_shuffle_epi8(high, apart);
    }
    low = _mm_min_epu8(low, _mm_srli_si128(low, 8));
    high = _mm_max_epu8(high, _mm_srli_si128(high, 8));
    low = _mm_min_epu8(low, _mm_srli_si128(low, 4));
    high = _mm_max_epu8(high, _mm_srli_si128(high, 4));
    return (Range){_mm_cvtepi32_ps(_mm_cvtepu8_epi32(low)), _mm_cvtepi32_ps(_mm_cvtepu8_epi32(high))};
}

UF_AVX2_INLINE Range range_of_words(const uint8_t *at, ptrdiff_t stride, ptrdiff_t step)
{
    __m128i low = _mm_set1_epi8(-1), high = _mm_setzero_si128();
    for (int r = 0; r < UF_SHARP_NEAR; r++, at += stride)
        for (int k = 0; k < UF_SHARP_NEAR; k++) {
            const __m128i four = _mm_loadl_epi64((const __m128i *)(const void *)(at + k * step));
            low = _mm_min_epu16(low, four);
            high = _mm_max_epu16(high, four);
        }
    return (Range){_mm_cvtepi32_ps(_mm_cvtepu16_epi32(low)), _mm_cvtepi32_ps(_mm_cvtepu16_epi32(high))};
}

/* A NaN is passed over: the second operand stands where one is. */
UF_AVX2_INLINE Range range_of_floats(const uint8_t *at, ptrdiff_t stride, ptrdiff_t step)
{
    Range out = {_mm_set1_ps(INFINITY), _mm_set1_ps(-INFINITY)};
    for (int r = 0; r < UF_SHARP_NEAR; r++, at += stride)
        for (int k = 0; k < UF_SHARP_NEAR; k++) {
            const __m128 four = _mm_loadu_ps((const float *)(const void *)(at + k * step));
            out.lowest = _mm_min_ps(four, out.lowest);
            out.highest = _mm_max_ps(four, out.highest);
        }
    return out;
}

UF_AVX2_INLINE __m128 held(__m128 value, const UfSharpPlace *place, size_t channels, UfSample sample)
{
    const ptrdiff_t stride = place->stride_bytes,
                    step = place->apart * (ptrdiff_t)(channels * (size_t)sample);
    const uint8_t *at = place->pixel - stride - step;
    Range range;
    if (sample == UF_SAMPLE_U8 && channels == 3 && place->apart == 1)
        range = range_of_bytes(at, stride, step, true);
    else if (sample == UF_SAMPLE_U8)
        range = range_of_bytes(at, stride, step, false);
    else if (sample == UF_SAMPLE_U16)
        range = range_of_words(at, stride, step);
    else
        range = range_of_floats(at, stride, step);
    const __m128 slack = _mm_mul_ps(_mm_set1_ps(UF_SHARP_SLACK), _mm_sub_ps(range.highest, range.lowest));
    value = _mm_max_ps(value, _mm_sub_ps(range.lowest, slack));
    return _mm_min_ps(value, _mm_add_ps(range.highest, slack));
}

UF_AVX2_INLINE void sharp_pixel(const UfSharpPlace *at, size_t channels, UfSample sample, bool adds_alpha,
                                uint8_t *to)
{
    __m128 value = spline_at(at, channels, uf_spline_sample(sample, channels));
    value = held(value, at, channels, sample);
    if (adds_alpha)
        value = uf_with_alpha(value, channels, sample);
    uf_store_4(to, value, sample);
}

UF_SHARP_DEFINE_ALL(UF_AVX2)
const UfPlainTable uf_plain_sharp_avx2 = UF_SHARP_TABLE;
#else
typedef int UfNoSharpAvx2; /* a file of C holds at least one declaration */
#endif

/* The sharp kernel for plain tiles with AVX2: one pixel at a time. */
#include "remap/plain_sharp.h"

#if defined(__x86_64__)
#include "remap/sharp_vector.h"

UF_AVX2_INLINE __m128 spline_at(const UfSharpPlace *place, size_t channels, UfSample kept)
{
    const UfSharpTaps *w = place->taps;
    const size_t i = place->i;
    __m256 columns[UF_SHARP_PAIRS], sum[UF_SHARP_PAIRS];
    uf_sharp_columns(place->coefficients, place->coefficients_stride_bytes, &w->wy[0][i], UF_TILE_PX,
                     channels, kept, columns);
#pragma GCC unroll 3
    for (size_t p = 0; p < UF_SHARP_PAIRS; p++)
        sum[p] = _mm256_mul_ps(columns[p], uf_sharp_pair(&w->wx[2 * p][i], &w->wx[2 * p + 1][i], channels));
    return uf_sharp_folded(sum, channels, kept);
}

UF_AVX2_INLINE __m128 held(__m128 value, const UfSharpPlace *place, size_t channels, UfSample sample)
{
    const ptrdiff_t stride = place->stride_bytes,
                    step = place->apart * (ptrdiff_t)(channels * (size_t)sample);
    const uint8_t *at = place->pixel - stride - step;
    UfSharpRange range = uf_sharp_range();
    if (place->apart == 1) /* one that is known is worth a case of its own */
        uf_sharp_range_add(&range, at, stride, (ptrdiff_t)(channels * (size_t)sample), sample);
    else
        uf_sharp_range_add(&range, at, stride, step, sample);
    const UfSharpLimits limits = uf_sharp_limits(&range, sample);
    const __m128 slack = _mm_mul_ps(_mm_set1_ps(UF_SHARP_SLACK), _mm_sub_ps(limits.highest, limits.lowest));
    value = _mm_max_ps(value, _mm_sub_ps(limits.lowest, slack));
    return _mm_min_ps(value, _mm_add_ps(limits.highest, slack));
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

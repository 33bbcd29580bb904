/* The blending kernel with AVX2: the places of a pixel one after another, all its channels at once. */
#include "remap/blend.h"

#if defined(__x86_64__)
#include "remap/sharp_vector.h"

/* Four samples from a pixel on, as floats. */
UF_AVX2_INLINE __m128 load_4(const uint8_t *at, UfSample sample)
{
    if (sample == UF_SAMPLE_U8)
        return _mm_cvtepi32_ps(_mm_cvtepu8_epi32(_mm_cvtsi32_si128(uf_load_bytes(at))));
    if (sample == UF_SAMPLE_U16)
        return _mm_cvtepi32_ps(_mm_cvtepu16_epi32(_mm_loadl_epi64((const __m128i *)(const void *)at)));
    return _mm_loadu_ps((const float *)(const void *)at);
}

/* Whole vectors are read: from a row's last taps up to 32 bytes, which a row below must follow. */
#define ROW_BYTES_LEAST 128

/* The least and the largest of eight lanes. */
UF_AVX2_INLINE int32_t least_of(__m256i lanes)
{
    __m128i four = _mm_min_epi32(_mm256_castsi256_si128(lanes), _mm256_extracti128_si256(lanes, 1));
    four = _mm_min_epi32(four, _mm_shuffle_epi32(four, 0x4e));
    return _mm_cvtsi128_si32(_mm_min_epi32(four, _mm_shuffle_epi32(four, 0xb1)));
}

UF_AVX2_INLINE int32_t most_of(__m256i lanes)
{
    __m128i four = _mm_max_epi32(_mm256_castsi256_si128(lanes), _mm256_extracti128_si256(lanes, 1));
    four = _mm_max_epi32(four, _mm_shuffle_epi32(four, 0x4e));
    return _mm_cvtsi128_si32(_mm_max_epi32(four, _mm_shuffle_epi32(four, 0xb1)));
}

typedef struct Span {
    int32_t least, most;
} Span;

UF_AVX2_INLINE Span span_of(const int32_t *places, size_t count)
{
    __m256i least = _mm256_loadu_si256((const __m256i *)(const void *)places), most = least;
    for (size_t i = UF_LANES; i < count; i += UF_LANES) {
        const __m256i more = _mm256_loadu_si256((const __m256i *)(const void *)(places + i));
        least = _mm256_min_epi32(least, more);
        most = _mm256_max_epi32(most, more);
    }
    return (Span){least_of(least), most_of(most)};
}

/* Every place's taps and the pixels around it lie within the source. */
UF_AVX2_INLINE bool lie_inside(const UfSource *source, const UfFootprintPlaces *at, size_t count)
{
    const int32_t width = (int32_t)source->width_px, height = (int32_t)source->height_px;
    const Span x = span_of(at->x, count), y = span_of(at->y, count);
    if (x.least < 2 || x.most >= width - 3 || y.least < 2 || y.most >= height - 4 ||
        source->stride_bytes < ROW_BYTES_LEAST || source->spline->stride_bytes < ROW_BYTES_LEAST)
        return false;
    for (int32_t row = y.least; source->ready_px != NULL && row <= y.most; row++)
        if (x.least < uf_blend_spread(source, row) || x.most + 2 * uf_blend_spread(source, row) >= width)
            return false;
    return true;
}

/* Colours count where alpha is above 0, alpha everywhere. */
UF_AVX2_INLINE void add_range_of_seen(UfSharpRange *range, const uint8_t *at, ptrdiff_t stride,
                                      ptrdiff_t step, size_t channels, UfSample sample)
{
    const __m128 is_alpha =
        _mm_castsi128_ps(channels == 2 ? _mm_setr_epi32(0, -1, 0, 0) : _mm_setr_epi32(0, 0, 0, -1));
    for (ptrdiff_t r = 0; r < UF_SHARP_NEAR; r++)
        for (ptrdiff_t k = 0; k < UF_SHARP_NEAR; k++) {
            const __m128 four = load_4(at + r * stride + k * step, sample);
            const __m128 alpha = channels == 2 ? _mm_permute_ps(four, 0x55) : _mm_permute_ps(four, 0xff);
            const __m128 seen = _mm_or_ps(_mm_cmpgt_ps(alpha, _mm_setzero_ps()), is_alpha);
            const __m128 low = _mm_blendv_ps(_mm_set1_ps(INFINITY), four, seen);
            const __m128 high = _mm_blendv_ps(_mm_set1_ps(-INFINITY), four, seen);
            range->lowest = _mm_min_ps(low, range->lowest);
            range->highest = _mm_max_ps(high, range->highest);
        }
}

UF_AVX2_INLINE UfSharpLimits limits_of(const UfSource *source, const UfFootprintPlaces *at, size_t count,
                                       size_t channels, UfSample sample)
{
    const ptrdiff_t stride = (ptrdiff_t)source->stride_bytes, bytes = (ptrdiff_t)(channels * (size_t)sample);
    UfSharpRange range = uf_sharp_range();
    for (size_t i = 0; i < count; i++) {
        if (!(at->weights[i] > 0))
            continue;
        const ptrdiff_t apart = uf_blend_spread(source, at->y[i]), step = apart * bytes;
        const uint8_t *first = source->data + (at->y[i] - 1) * stride + at->x[i] * bytes - step;
        if (channels % 2 == 0)
            add_range_of_seen(&range, first, stride, step, channels, sample);
        else if (apart == 1) /* a step that is known is worth a case of its own */
            uf_sharp_range_add(&range, first, stride, bytes, sample);
        else
            uf_sharp_range_add(&range, first, stride, step, sample);
    }
    return channels % 2 == 0 ? (UfSharpLimits){range.lowest, range.highest} : uf_sharp_limits(&range, sample);
}

UF_AVX2_INLINE __m128 value_of(const UfSource *spline, const UfBlendTaps *taps, size_t count, size_t channels,
                               UfSample kept)
{
    const ptrdiff_t stride = (ptrdiff_t)spline->stride_bytes, bytes = (ptrdiff_t)(channels * (size_t)kept);
    __m256 sums[UF_SHARP_PAIRS];
#pragma GCC unroll 3
    for (size_t p = 0; p < UF_SHARP_PAIRS; p++)
        sums[p] = _mm256_setzero_ps();
    for (size_t i = 0; i < count; i++) {
        const uint8_t *at = spline->data + (taps->places.y[i] - 2) * stride + (taps->places.x[i] - 2) * bytes;
        __m256 columns[UF_SHARP_PAIRS];
        uf_sharp_columns(at, stride, &taps->wy[0][i], UF_PLACES_MAX, channels, kept, columns);
#pragma GCC unroll 3
        for (size_t p = 0; p < UF_SHARP_PAIRS; p++) {
            const __m256 weights = uf_sharp_pair(&taps->wx[2 * p][i], &taps->wx[2 * p + 1][i], channels);
            sums[p] = _mm256_add_ps(sums[p], _mm256_mul_ps(columns[p], weights));
        }
    }
    return uf_sharp_folded(sums, channels, kept);
}

UF_AVX2_INLINE bool gather(const UfSource *source, const UfBlendTaps *taps, size_t count, size_t channels,
                           UfSample sample, UfGathered *out)
{
    if (!lie_inside(source, &taps->places, count))
        return false;
    const UfSharpLimits limits = limits_of(source, &taps->places, count, channels, sample);
    _mm_storeu_ps(out->values,
                  value_of(source->spline, taps, count, channels, uf_spline_sample(sample, channels)));
    _mm_storeu_ps(out->lowest, limits.lowest);
    _mm_storeu_ps(out->highest, limits.highest);
    return true;
}

UF_BLEND_DEFINE_ALL(UF_AVX2)
const UfBlendTable uf_blend_avx2 = UF_BLEND_TABLE;
#else
typedef int UfNoBlendAvx2; /* a file of C holds at least one declaration */
#endif

/*
 * The bicubic kernels for plain tiles with AVX-512: the samples of a row of a pixel's taps in one vector of
 * 16 floats. They are weighed down the rows, then across. The taps are folded together for two pixels at
 * once, then for two such pairs: four pixels are made samples of, and stored, together.
 */
#include "remap/plain.h"

#if defined(__x86_64__)
#include "base/smaller.h"
#include "remap/plain_taps.h"
#include "remap/plain_vector.h"

#define TAPS  4u
#define GROUP 4u /* pixels that are folded and stored together: in each, a lane for each of four samples */

#define AVX512 __attribute__((target("avx512f,avx512bw,avx512dq,avx512vl")))
#define AVX512_INLINE                                                                                        \
    static inline __attribute__((always_inline, target("avx512f,avx512bw,avx512dq,avx512vl")))

AVX512_INLINE __m512 load(const uint8_t *at, UfSample sample)
{
    const void *from = at;
    if (sample == UF_SAMPLE_U8)
        return _mm512_cvtepi32_ps(_mm512_cvtepu8_epi32(_mm_loadu_si128(from)));
    if (sample == UF_SAMPLE_U16)
        return _mm512_cvtepi32_ps(_mm512_cvtepu16_epi32(_mm256_loadu_si256(from)));
    return _mm512_loadu_ps(from);
}

/* Lanes 0 to 15 of groups' lanes that hold something, by what a pixel has of samples. */
static const uint8_t closings[UF_CHANNELS_MAX][16] = {
    {0, 4, 8, 12},
    {0, 1, 4, 5, 8, 9, 12, 13},
    {0, 1, 2, 4, 5, 6, 8, 9, 10, 12, 13, 14},
    {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15},
};

/* What the taps of a row of pixels weigh, pixel by pixel: number i is at [i % 4][i / 4]. */
typedef struct Across {
    _Alignas(64) float weights[4][UF_TILE_PX / 4][TAPS];
} Across;

AVX512_INLINE __m512d paired(__m512 a, __m512 b, bool high)
{
    return _mm512_castps_pd(high ? _mm512_unpackhi_ps(a, b) : _mm512_unpacklo_ps(a, b));
}

/* From tap after tap to pixel after pixel. */
AVX512_INLINE void turn_weights(const UfTaps *w, Across *out)
{
    const __m512 taps[TAPS] = {_mm512_loadu_ps(w->wx[0]), _mm512_loadu_ps(w->wx[1]),
                               _mm512_loadu_ps(w->wx[2]), _mm512_loadu_ps(w->wx[3])};
    for (size_t half = 0; half < 2; half++) {
        const __m512d first = paired(taps[0], taps[1], half == 1),
                      second = paired(taps[2], taps[3], half == 1);
        _mm512_store_pd(out->weights[2 * half], _mm512_unpacklo_pd(first, second));
        _mm512_store_pd(out->weights[2 * half + 1], _mm512_unpackhi_pd(first, second));
    }
}

AVX512_INLINE __m512 weighed_down(const uint8_t *at, size_t stride, const UfTaps *w, size_t i,
                                  UfSample sample)
{
    __m512 sum = _mm512_add_ps(_mm512_mul_ps(_mm512_set1_ps(w->wy[0][i]), load(at, sample)),
                               _mm512_mul_ps(_mm512_set1_ps(w->wy[1][i]), load(at + stride, sample)));
    sum = _mm512_add_ps(sum, _mm512_mul_ps(_mm512_set1_ps(w->wy[2][i]), load(at + 2 * stride, sample)));
    sum = _mm512_add_ps(sum, _mm512_mul_ps(_mm512_set1_ps(w->wy[3][i]), load(at + 3 * stride, sample)));
    return sum;
}

/* Each tap's weight over its channels; lanes beyond the taps do not matter. */
AVX512_INLINE __m512 weights_across(const Across *across, size_t i, size_t channels)
{
    const __m512i thirds = _mm512_setr_epi32(0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3, 3, 3, 3, 3);
    const __m512i lanes = _mm512_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
    const __m512i taps = channels == 3 ? thirds : _mm512_srli_epi32(lanes, (unsigned)channels / 2);
    return _mm512_permutexvar_ps(taps, _mm512_broadcast_f32x4(_mm_load_ps(across->weights[i % 4][i / 4])));
}

/* Pixel i's taps, weighed. */
AVX512_INLINE __m512 taps_of(const uint8_t *base, size_t stride, const UfTaps *w, const Across *across,
                             size_t i, size_t channels, UfSample sample)
{
    return _mm512_mul_ps(weighed_down(base + w->offset[i], stride, w, i, sample),
                         weights_across(across, i, channels));
}

/* Taps 0 + 2 and 1 + 3 of two pixels, a half each. */
AVX512_INLINE __m512 folded_two(__m512 a, __m512 b, size_t channels)
{
    const __m512i first = _mm512_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7, 16, 17, 18, 19, 20, 21, 22, 23);
    const __m512i second = _mm512_add_epi32(first, _mm512_set1_epi32(2 * (int)channels));
    return _mm512_add_ps(_mm512_permutex2var_ps(a, first, b), _mm512_permutex2var_ps(a, second, b));
}

/* The two. */
AVX512_INLINE __m512 folded_four(__m512 ab, __m512 cd, size_t channels)
{
    const __m512i first = _mm512_setr_epi32(0, 1, 2, 3, 8, 9, 10, 11, 16, 17, 18, 19, 24, 25, 26, 27);
    const __m512i second = _mm512_add_epi32(first, _mm512_set1_epi32((int)channels));
    return _mm512_add_ps(_mm512_permutex2var_ps(ab, first, cd), _mm512_permutex2var_ps(ab, second, cd));
}

/* The group of pixels from number i on. */
AVX512_INLINE __m512 group_at(const uint8_t *base, size_t stride, const UfTaps *w, const Across *across,
                              size_t i, size_t channels, UfSample sample)
{
    const __m512 a = taps_of(base, stride, w, across, i, channels, sample);
    const __m512 b = taps_of(base, stride, w, across, i + 1, channels, sample);
    const __m512 c = taps_of(base, stride, w, across, i + 2, channels, sample);
    const __m512 d = taps_of(base, stride, w, across, i + 3, channels, sample);
    return folded_four(folded_two(a, b, channels), folded_two(c, d, channels), channels);
}

/* The first `count` pixels of a group, close together. */
AVX512_INLINE void store(uint8_t *to, __m512 group, size_t count, size_t samples, UfSample sample)
{
    const __mmask16 there = (__mmask16)((1u << (count * samples)) - 1);
    const __m512i lanes =
        _mm512_cvtepu8_epi32(_mm_loadu_si128((const __m128i *)(const void *)closings[samples - 1]));
    if (sample == UF_SAMPLE_F32) {
        _mm512_mask_storeu_ps(to, there, _mm512_permutexvar_ps(lanes, group));
        return;
    }
    const __m512i codes = _mm512_cvttps_epi32(_mm512_add_ps(group, _mm512_set1_ps(0.5f)));
    const __m512i closed = _mm512_permutexvar_epi32(lanes, _mm512_max_epi32(codes, _mm512_setzero_si512()));
    _mm256_mask_storeu_epi16(to, there, _mm512_cvtusepi32_epi16(closed));
}

/* The alpha lanes of all taps hold the largest value. */
AVX512_INLINE bool is_opaque(const uint8_t *at, size_t stride, size_t channels, UfSample sample)
{
    const __m512 full = _mm512_set1_ps((float)uf_sample_max(sample));
    const unsigned every = channels == 2 ? 0xaaaau : 0x8888u;
    const unsigned wanted = every & ((1u << (TAPS * channels)) - 1);
    unsigned same = wanted;
    for (size_t r = 0; r < TAPS; r++)
        same &= _mm512_cmp_ps_mask(load(at + r * stride, sample), full, _CMP_EQ_OQ);
    return same == wanted;
}

AVX512_INLINE void fill_row(const uint8_t *base, size_t stride, const UfTaps *w, size_t width,
                            size_t channels, UfSample sample, bool adds_alpha, uint8_t *out)
{
    const size_t samples = channels + adds_alpha, step = GROUP * samples * (size_t)sample;
    const __mmask16 alpha = samples == 2 ? 0x2222 : 0x8888;
    Across across;
    turn_weights(w, &across);
    for (size_t i = 0; i < width; i += GROUP, out += step) {
        __m512 group = group_at(base, stride, w, &across, i, channels, sample);
        if (samples % 2 == 0)
            group = _mm512_mask_mov_ps(group, alpha, _mm512_set1_ps((float)uf_sample_max(sample)));
        store(out, group, uf_smaller(width - i, GROUP), samples, sample);
    }
}

AVX512_INLINE void fill_tile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height,
                             uint8_t *out, size_t stride_bytes, int taps, size_t channels, UfSample sample,
                             bool adds_alpha)
{
    const size_t stride = plain->source->stride_bytes, pixel_bytes = channels * (size_t)sample;
    const size_t out_bytes = pixel_bytes + adds_alpha * (size_t)sample;
    const uint8_t *base =
        plain->source->data + (size_t)tile->base_v * stride + (size_t)tile->base_u * pixel_bytes;
    UfTileRows rows;
    UfTaps w;
    uf_tile_rows(tile, &rows);
    for (size_t y = 0; y < height; y++, out += stride_bytes) {
        uf_plain_taps(&rows, y, taps, (int32_t)stride, (int32_t)pixel_bytes, &w);
        uf_fetch_ahead(base + (TAPS - 1) * (stride + pixel_bytes), w.offset, stride, pixel_bytes);
        fill_row(base, stride, &w, width, channels, sample, adds_alpha, out);
        for (size_t i = 0; channels % 2 == 0 && i < width; i++)
            if (!is_opaque(base + w.offset[i], stride, channels, sample))
                uf_plain_exact(plain, tile, i, y, out + i * out_bytes);
    }
}

UF_PLAIN_DEFINE_ALL(AVX512, 4)
const UfPlainTable uf_plain_bicubic_avx512 = UF_PLAIN_TABLE(4);
#else
typedef int UfNoAvx512; /* a file of C holds at least one declaration */
#endif

/*
 * The bicubic kernels for plain tiles with AVX-512: one pixel at a time, the samples of a row of taps in one
 * vector of 16 floats. They are weighed down the rows, then across, and the taps are folded together by
 * moving them over one another.
 */
#include "remap/plain.h"

#if defined(__x86_64__)
#include "remap/plain_taps.h"
#include "remap/plain_vector.h"

#define TAPS   4u
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
AVX512_INLINE __m512 weights_across(const UfTaps *w, size_t i, size_t channels)
{
    __m512 out = _mm512_set1_ps(w->wx[0][i]);
    for (size_t k = 1; k < TAPS; k++)
        out = _mm512_mask_mov_ps(out, (__mmask16)(0xffffu << (k * channels)), _mm512_set1_ps(w->wx[k][i]));
    return out;
}

/* Lanes from number `by` on, in front. */
AVX512_INLINE __m512 moved(__m512 v, int by)
{
    const __m512i lanes = _mm512_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
    return _mm512_permutexvar_ps(_mm512_add_epi32(lanes, _mm512_set1_epi32(by)), v);
}

/* Taps 0 + 2 and 1 + 3, then the two. */
AVX512_INLINE __m128 folded(__m512 v, size_t channels)
{
    v = _mm512_add_ps(v, moved(v, (int)(2 * channels)));
    return _mm512_castps512_ps128(_mm512_add_ps(v, moved(v, (int)channels)));
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

AVX512_INLINE void fill_tile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height,
                             uint8_t *out, size_t stride_bytes, int taps, size_t channels, UfSample sample,
                             bool adds_alpha)
{
    const bool has_alpha = channels % 2 == 0;
    const size_t stride = plain->source->stride_bytes, pixel_bytes = channels * (size_t)sample;
    const size_t out_bytes = pixel_bytes + adds_alpha * (size_t)sample;
    const uint8_t *base =
        plain->source->data + (size_t)tile->base_v * stride + (size_t)tile->base_u * pixel_bytes;
    const size_t whole = uf_pixels_within(width, channels + adds_alpha);
    uint8_t last[(size_t)2 * UF_CHANNELS_MAX * sizeof(float)] = {0};
    UfTileRows rows;
    UfTaps w;
    uf_tile_rows(tile, &rows);
    for (size_t y = 0; y < height; y++, out += stride_bytes) {
        uf_plain_taps(&rows, y, taps, (int32_t)stride, (int32_t)pixel_bytes, &w);
        uf_fetch_ahead(base + (TAPS - 1) * (stride + pixel_bytes), w.offset, pixel_bytes);
        for (size_t i = 0; i < width; i++) {
            uint8_t *to = i < whole ? out + i * out_bytes : last + (i - whole) * out_bytes;
            const uint8_t *at = base + w.offset[i];
            if (has_alpha && !is_opaque(at, stride, channels, sample)) {
                uf_plain_exact(plain, tile, i, y, to);
                continue;
            }
            const __m512 down = weighed_down(at, stride, &w, i, sample);
            __m128 value = folded(_mm512_mul_ps(down, weights_across(&w, i, channels)), channels);
            if (has_alpha || adds_alpha)
                value = uf_with_alpha(value, channels - has_alpha, sample);
            uf_store_4(to, value, sample);
        }
        memcpy(out + whole * out_bytes, last, (width - whole) * out_bytes);
    }
}

UF_PLAIN_DEFINE_ALL(AVX512, 4)
const UfPlainTable uf_plain_bicubic_avx512 = UF_PLAIN_TABLE(4);
#else
typedef int UfNoAvx512; /* a file of C holds at least one declaration */
#endif

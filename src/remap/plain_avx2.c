/*
 * The kernels for plain tiles with AVX2: one pixel at a time, all its columns side by side. Two vectors of 8
 * floats hold the samples of a row of taps, tap after tap; they are weighed down the rows, then across, and
 * the taps are folded together by moving them over one another.
 */
#include "remap/plain.h"

#if defined(__x86_64__)
#include "remap/plain_taps.h"
#include "remap/plain_vector.h"

UF_AVX2_INLINE __m256 weighed_down(const uint8_t *at, size_t stride, size_t first, const __m256 *wy, int taps,
                                   UfSample sample)
{
    __m256 sum = _mm256_add_ps(_mm256_mul_ps(wy[0], uf_load_8(at, first, sample)),
                               _mm256_mul_ps(wy[1], uf_load_8(at + stride, first, sample)));
    if (taps == 4) {
        sum = _mm256_add_ps(sum, _mm256_mul_ps(wy[2], uf_load_8(at + 2 * stride, first, sample)));
        sum = _mm256_add_ps(sum, _mm256_mul_ps(wy[3], uf_load_8(at + 3 * stride, first, sample)));
    }
    return sum;
}

/* Each tap's weight over its channels; lanes beyond the taps do not matter. `first` is 0 or 8. */
UF_AVX2_INLINE __m256 weights_across(const UfTaps *w, size_t i, size_t first, int taps, size_t channels)
{
    __m256 out = _mm256_broadcast_ss(&w->wx[first / channels][i]);
    for (size_t k = first / channels + 1; k < (size_t)taps && k * channels < first + 8; k++) {
        const __m256 next = _mm256_broadcast_ss(&w->wx[k][i]);
        switch (k * channels - first) { /* the blend's mask must be a constant */
        case 1:
            out = _mm256_blend_ps(out, next, 0xfe);
            break;
        case 2:
            out = _mm256_blend_ps(out, next, 0xfc);
            break;
        case 3:
            out = _mm256_blend_ps(out, next, 0xf8);
            break;
        case 4:
            out = _mm256_blend_ps(out, next, 0xf0);
            break;
        case 6:
            out = _mm256_blend_ps(out, next, 0xc0);
            break;
        case 0:
            out = next;
            break;
        default:
            out = _mm256_blend_ps(out, next, 0x80);
            break;
        }
    }
    return out;
}

/* Taps 0 + 2 and 1 + 3, then the two. */
UF_AVX2_INLINE __m128 folded(__m256 low, __m256 high, int taps, size_t channels)
{
    if (taps == 4 && channels == 4)
        low = _mm256_add_ps(low, high);
    else if (taps == 4 && channels == 3)
        low = _mm256_add_ps(low, _mm256_blend_ps(uf_moved_8(low, 6), uf_moved_8(high, 6), 0xfc));
    else if (taps == 4)
        low = _mm256_add_ps(low, uf_moved_8(low, (int)(2 * channels)));
    if (channels == 4)
        return _mm_add_ps(_mm256_castps256_ps128(low), _mm256_extractf128_ps(low, 1));
    return _mm256_castps256_ps128(_mm256_add_ps(low, uf_moved_8(low, (int)channels)));
}

/* The alpha lanes of all taps hold the largest value. */
UF_AVX2_INLINE bool is_opaque(const uint8_t *at, size_t stride, int taps, size_t channels, UfSample sample)
{
    const __m256 full = _mm256_set1_ps((float)uf_sample_max(sample));
    const size_t count = (size_t)taps * channels;
    const int lanes = channels == 2 ? 0xaa : 0x88;
    for (size_t first = 0; first < count; first += 8) {
        __m256 same = _mm256_cmp_ps(uf_load_8(at, first, sample), full, _CMP_EQ_OQ);
        for (size_t r = 1; r < (size_t)taps; r++)
            same = _mm256_and_ps(same,
                                 _mm256_cmp_ps(uf_load_8(at + r * stride, first, sample), full, _CMP_EQ_OQ));
        const int wanted = count - first >= 8 ? lanes : lanes & ((1 << (count - first)) - 1);
        if ((_mm256_movemask_ps(same) & wanted) != wanted)
            return false;
    }
    return true;
}

UF_AVX2_INLINE __m128 pixel_at(const uint8_t *at, size_t stride, const UfTaps *w, size_t i, int taps,
                               size_t channels, UfSample sample)
{
    __m256 wy[4];
    for (size_t r = 0; r < (size_t)taps; r++)
        wy[r] = _mm256_broadcast_ss(&w->wy[r][i]);
    __m256 low =
        _mm256_mul_ps(weighed_down(at, stride, 0, wy, taps, sample), weights_across(w, i, 0, taps, channels));
    __m256 high = low;
    if ((size_t)taps * channels > 8)
        high = _mm256_mul_ps(weighed_down(at, stride, 8, wy, taps, sample),
                             weights_across(w, i, 8, taps, channels));
    return folded(low, high, taps, channels);
}

UF_AVX2_INLINE void fill_tile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height,
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
        uf_fetch_ahead(base + (size_t)(taps - 1) * (stride + pixel_bytes), w.offset, stride, pixel_bytes);
        for (size_t i = 0; i < width; i++) {
            uint8_t *to = i < whole ? out + i * out_bytes : last + (i - whole) * out_bytes;
            const uint8_t *at = base + w.offset[i];
            if (has_alpha && !is_opaque(at, stride, taps, channels, sample)) {
                uf_plain_exact(plain, tile, i, y, to);
                continue;
            }
            __m128 value = pixel_at(at, stride, &w, i, taps, channels, sample);
            if (has_alpha || adds_alpha)
                value = uf_with_alpha(value, channels - has_alpha, sample);
            uf_store_4(to, value, sample);
        }
        memcpy(out + whole * out_bytes, last, (width - whole) * out_bytes);
    }
}

UF_PLAIN_DEFINE_ALL(UF_AVX2, 2)
UF_PLAIN_DEFINE_ALL(UF_AVX2, 4)
const UfPlainTable uf_plain_bilinear_avx2 = UF_PLAIN_TABLE(2);
const UfPlainTable uf_plain_bicubic_avx2 = UF_PLAIN_TABLE(4);
#else
typedef int UfNoAvx2; /* a file of C holds at least one declaration */
#endif

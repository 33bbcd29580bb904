/*
 * The kernels for plain tiles of 8-bit samples with AVX2, four pixels at a time. A row of taps is spread over
 * words, of which each holds its sample times 256 and each pair two neighbouring taps of a channel: the upper
 * halves of products with the weights down, added, are the columns, and products of pairs with the weights
 * across are what a pixel is the sum of.
 */
#include "remap/plain_bytes.h"

#if defined(__x86_64__)
#include <string.h>

#include "remap/plain_vector.h"

/* Pixels at a time. */
#define GROUP 4u

/* What is taken off the columns of four taps, so that they fit into signed words. */
#define COLUMN_MIDDLE 16384

/* Bytes of the first row's taps in a lane of words; taps 2 and 3 in the upper lane when there are four. */
UF_AVX2_INLINE __m256i spreading(int taps, size_t channels)
{
    _Alignas(32) int8_t from[32];
    for (size_t lane = 0; lane < 2; lane++)
        for (size_t c = 0; c < 4; c++)
            for (size_t k = 0; k < 2; k++) {
                const size_t tap = k + (taps == 4 ? 2 * lane : 0);
                int8_t *word = from + 16 * lane + 4 * c + 2 * k;
                word[0] = -1;
                word[1] = c < channels ? (int8_t)(tap * channels + c) : -1;
            }
    return _mm256_load_si256((const __m256i *)(const void *)from);
}

UF_AVX2_INLINE __m256i every(const uint32_t *at)
{
    return _mm256_set1_epi32((int32_t)*at);
}

UF_AVX2_INLINE __m256i row_of_taps(const uint8_t *at, __m256i spread)
{
    const __m128i bytes = _mm_loadu_si128((const __m128i *)(const void *)at);
    return _mm256_shuffle_epi8(_mm256_broadcastsi128_si256(bytes), spread);
}

/* Sums of two taps each: 0 and 1 in the lower lane, 2 and 3 in the upper one. */
UF_AVX2_INLINE __m256i sums_of_four(const uint8_t *at, size_t stride, const UfByteTaps *w, size_t i,
                                    __m256i spread)
{
    const __m256i s0 = _mm256_mulhi_epu16(row_of_taps(at, spread), every(&w->wy[0][i]));
    const __m256i s1 = _mm256_mulhi_epu16(row_of_taps(at + stride, spread), every(&w->wy[1][i]));
    const __m256i s2 = _mm256_mulhi_epu16(row_of_taps(at + 2 * stride, spread), every(&w->wy[2][i]));
    const __m256i s3 = _mm256_mulhi_epu16(row_of_taps(at + 3 * stride, spread), every(&w->wy[3][i]));
    const __m256i outer = _mm256_add_epi16(_mm256_add_epi16(s0, s3), _mm256_set1_epi16(COLUMN_MIDDLE));
    const __m256i columns = _mm256_sub_epi16(_mm256_add_epi16(s1, s2), outer);
    return _mm256_madd_epi16(columns, _mm256_blend_epi32(every(&w->wx[0][i]), every(&w->wx[1][i]), 0xf0));
}

/* Rounded sums of pixel `first` in the lower lane and of pixel `first` + 2 in the upper one. */
UF_AVX2_INLINE __m256i rounded_four(const uint8_t *base, size_t stride, const UfByteTaps *w, size_t first,
                                    __m256i spread)
{
    const __m256i a = sums_of_four(base + w->offset[first], stride, w, first, spread);
    const __m256i b = sums_of_four(base + w->offset[first + 2], stride, w, first + 2, spread);
    const __m256i sum =
        _mm256_add_epi32(_mm256_permute2x128_si256(a, b, 0x20), _mm256_permute2x128_si256(a, b, 0x31));
    const __m256i half =
        _mm256_set1_epi32((COLUMN_MIDDLE << UF_BYTES_ACROSS_BITS) + (1 << (UF_BYTES_SUM_BITS - 1)));
    return _mm256_srai_epi32(_mm256_add_epi32(sum, half), UF_BYTES_SUM_BITS);
}

UF_AVX2_INLINE __m256i row_of_pixels(const uint8_t *a, const uint8_t *b, __m256i spread)
{
    const __m128i low = _mm_loadu_si128((const __m128i *)(const void *)a);
    const __m128i high = _mm_loadu_si128((const __m128i *)(const void *)b);
    return _mm256_shuffle_epi8(_mm256_inserti128_si256(_mm256_castsi128_si256(low), high, 1), spread);
}

/* The weights of pixel `first` in the lower lane and of pixel `first` + 2 in the upper one. */
UF_AVX2_INLINE __m256i weights_of_pixels(const uint32_t *at, int first)
{
    const __m128i four = _mm_load_si128((const __m128i *)(const void *)at);
    const int next = first + 2;
    const __m256i lanes = _mm256_setr_epi32(first, first, first, first, next, next, next, next);
    return _mm256_castps_si256(
        _mm256_permutevar_ps(_mm256_castsi256_ps(_mm256_broadcastsi128_si256(four)), lanes));
}

/* As rounded_four, with two taps; i is the first of four pixels. */
UF_AVX2_INLINE __m256i rounded_two(const uint8_t *base, size_t stride, const UfByteTaps *w, size_t i,
                                   int first, __m256i spread)
{
    const uint8_t *a = base + w->offset[i + (size_t)first], *b = base + w->offset[i + (size_t)first + 2];
    const __m256i above =
        _mm256_mulhi_epu16(row_of_pixels(a, b, spread), weights_of_pixels(&w->wy[0][i], first));
    const __m256i below = _mm256_mulhi_epu16(row_of_pixels(a + stride, b + stride, spread),
                                             weights_of_pixels(&w->wy[1][i], first));
    const __m256i sum =
        _mm256_madd_epi16(_mm256_add_epi16(above, below), weights_of_pixels(&w->wx[0][i], first));
    const __m256i half = _mm256_set1_epi32(1 << (UF_BYTES_SUM_BITS - 1));
    return _mm256_srai_epi32(_mm256_add_epi32(sum, half), UF_BYTES_SUM_BITS);
}

/* Four pixels of four samples each to pixels without gaps, with or without an alpha of their own. */
UF_AVX2_INLINE __m128i closed_up(__m128i pixels, size_t channels, bool adds_alpha)
{
    const __m128i alpha = _mm_set1_epi32(channels == 1 ? 0xff00 : (int32_t)0xff000000);
    if (adds_alpha)
        pixels = _mm_or_si128(pixels, alpha);
    switch (channels + adds_alpha) {
    case 1:
        return _mm_shuffle_epi8(pixels,
                                _mm_setr_epi8(0, 4, 8, 12, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1));
    case 2:
        return _mm_shuffle_epi8(pixels,
                                _mm_setr_epi8(0, 1, 4, 5, 8, 9, 12, 13, -1, -1, -1, -1, -1, -1, -1, -1));
    case 3:
        return _mm_shuffle_epi8(pixels,
                                _mm_setr_epi8(0, 1, 2, 4, 5, 6, 8, 9, 10, 12, 13, 14, -1, -1, -1, -1));
    default:
        return pixels;
    }
}

/* Writes 16 bytes, of which those beyond the four pixels do not matter. */
UF_AVX2_INLINE void fill_group(const uint8_t *base, size_t stride, const UfByteTaps *w, size_t i, int taps,
                               size_t channels, bool adds_alpha, __m256i spread, uint8_t *to)
{
    const __m256i even =
        taps == 4 ? rounded_four(base, stride, w, i, spread) : rounded_two(base, stride, w, i, 0, spread);
    const __m256i odd =
        taps == 4 ? rounded_four(base, stride, w, i + 1, spread) : rounded_two(base, stride, w, i, 1, spread);
    const __m256i words = _mm256_packs_epi32(even, odd); /* pixels 0 and 1, 2 and 3 */
    const __m128i pixels =
        _mm_packus_epi16(_mm256_castsi256_si128(words), _mm256_extracti128_si256(words, 1));
    _mm_storeu_si128((__m128i *)(void *)to, closed_up(pixels, channels, adds_alpha));
}

/* The alpha bytes of all taps are full. */
UF_AVX2_INLINE bool is_opaque(const uint8_t *at, size_t stride, int taps, size_t channels)
{
    __m128i all = _mm_loadu_si128((const __m128i *)(const void *)at);
    for (size_t r = 1; r < (size_t)taps; r++)
        all = _mm_and_si128(all, _mm_loadu_si128((const __m128i *)(const void *)(at + r * stride)));
    const int full = _mm_movemask_epi8(_mm_cmpeq_epi8(all, _mm_set1_epi8(-1)));
    const int wanted = (channels == 2 ? 0xaaaa : 0x8888) & ((1 << ((size_t)taps * channels)) - 1);
    return (full & wanted) == wanted;
}

UF_AVX2_INLINE void fill_tile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height,
                              uint8_t *out, size_t stride_bytes, int taps, size_t channels, UfSample sample,
                              bool adds_alpha)
{
    (void)sample;
    const size_t stride = plain->source->stride_bytes, out_bytes = channels + adds_alpha;
    const uint8_t *base =
        plain->source->data + (size_t)tile->base_v * stride + (size_t)tile->base_u * channels;
    const __m256i spread = spreading(taps, channels);
    _Alignas(32) uint8_t scratch[(UF_TILE_PX + GROUP) * UF_CHANNELS_MAX];
    _Alignas(32) UfByteTaps w;
    for (size_t y = 0; y < height; y++) {
        const UfTileRow row = uf_tile_row(tile, y);
        uf_bytes_taps(&row, taps, (int32_t)stride, (int32_t)channels, &w);
        for (size_t i = 0; i < width; i += GROUP)
            fill_group(base, stride, &w, i, taps, channels, adds_alpha, spread, scratch + i * out_bytes);
        for (size_t i = 0; channels % 2 == 0 && i < width; i++)
            if (!is_opaque(base + w.offset[i], stride, taps, channels))
                uf_plain_exact(plain, tile, i, y, scratch + i * out_bytes);
        if (width == UF_TILE_PX)
            memcpy(out + y * stride_bytes, scratch, UF_TILE_PX * out_bytes);
        else
            memcpy(out + y * stride_bytes, scratch, width * out_bytes);
    }
}

UF_PLAIN_DEFINE_TYPE(UF_AVX2, 2, U8)
UF_PLAIN_DEFINE_TYPE(UF_AVX2, 4, U8)
const UfPlainByteTable uf_plain_bytes_avx2 = UF_PLAIN_BYTE_TABLE;
#else
typedef int UfNoBytesAvx2; /* a file of C holds at least one declaration */
#endif

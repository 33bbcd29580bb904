/*
 * The kernels for plain tiles of 8-bit samples with AVX2, eight pixels at a time, of which two lie in the
 * lanes of a vector. Two taps of a row are spread over a lane's words, of which each holds its sample times
 * 256 and each pair the taps of a channel: the upper halves of products with the weights down, added, are the
 * columns, and the products of pairs with the weights across are what a pixel is the sum of.
 */
#include "remap/plain_bytes.h"

#if defined(__x86_64__)
#include <string.h>

#include "remap/plain_vector.h"

/* Pixels at a time; the pixel in the upper lane is half as many after the one in the lower lane. */
#define GROUP 8u

/* What is taken off the columns of four taps, so that they fit into signed words. */
#define COLUMN_MIDDLE 16384

/* What a sum's upper half is rounded by: 2^15 of _mm256_mulhrs_epi16 over the fraction's 2^5. */
#define TO_CODES (1 << (15 - (UF_BYTES_SUM_BITS - 16)))

/* Bytes of a row's taps in the words of a lane, by channels: taps 0 and 1, taps 2 and 3. */
static const int8_t spreads[UF_CHANNELS_MAX][2][16] = {
    {{-1, 0, -1, 1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1},
     {-1, 2, -1, 3, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1}},
    {{-1, 0, -1, 2, -1, 1, -1, 3, -1, -1, -1, -1, -1, -1, -1, -1},
     {-1, 4, -1, 6, -1, 5, -1, 7, -1, -1, -1, -1, -1, -1, -1, -1}},
    {{-1, 0, -1, 3, -1, 1, -1, 4, -1, 2, -1, 5, -1, -1, -1, -1},
     {-1, 6, -1, 9, -1, 7, -1, 10, -1, 8, -1, 11, -1, -1, -1, -1}},
    {{-1, 0, -1, 4, -1, 1, -1, 5, -1, 2, -1, 6, -1, 3, -1, 7},
     {-1, 8, -1, 12, -1, 9, -1, 13, -1, 10, -1, 14, -1, 11, -1, 15}},
};

/* Four pixels, of which 0 and 1, and 2 and 3 lie interleaved, close together, by what a pixel has of samples.
 */
static const int8_t closings[UF_CHANNELS_MAX][16] = {
    {0, 1, 8, 9, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1},
    {0, 2, 1, 3, 8, 10, 9, 11, -1, -1, -1, -1, -1, -1, -1, -1},
    {0, 2, 4, 1, 3, 5, 8, 10, 12, 9, 11, 13, -1, -1, -1, -1},
    {0, 2, 4, 6, 1, 3, 5, 7, 8, 10, 12, 14, 9, 11, 13, 15},
};

UF_AVX2_INLINE __m256i in_both(const int8_t *order)
{
    return _mm256_broadcastsi128_si256(_mm_loadu_si128((const __m128i *)(const void *)order));
}

/* Element j of each lane all over the lane: the weights of pixels j and j + 4. */
UF_AVX2_INLINE __m256i each(const uint32_t *at, int j)
{
    const __m256i all = _mm256_load_si256((const __m256i *)(const void *)at);
    switch (j) { /* the shuffle's order must be a constant */
    case 0:
        return _mm256_shuffle_epi32(all, 0x00);
    case 1:
        return _mm256_shuffle_epi32(all, 0x55);
    case 2:
        return _mm256_shuffle_epi32(all, 0xaa);
    default:
        return _mm256_shuffle_epi32(all, 0xff);
    }
}

UF_AVX2_INLINE __m256i both(const uint8_t *low, const uint8_t *high)
{
    const __m256i lower = _mm256_castsi128_si256(_mm_loadu_si128((const __m128i *)(const void *)low));
    return _mm256_inserti128_si256(lower, _mm_loadu_si128((const __m128i *)(const void *)high), 1);
}

UF_AVX2_INLINE __m256i weighed(__m256i row, __m256i spread, __m256i wy)
{
    return _mm256_mulhi_epu16(_mm256_shuffle_epi8(row, spread), wy);
}

/* Sums of four channels for the pixels at `low` and `high`, numbers j and j + 4 of the group at i. */
UF_AVX2_INLINE __m256i sums_of_two(const uint8_t *low, const uint8_t *high, size_t stride,
                                   const UfByteTaps *w, size_t i, int j, __m256i spread)
{
    const __m256i above = weighed(both(low, high), spread, each(w->wy[0] + i, j));
    const __m256i below = weighed(both(low + stride, high + stride), spread, each(w->wy[1] + i, j));
    return _mm256_madd_epi16(_mm256_add_epi16(above, below), each(w->wx[0] + i, j));
}

/* Columns of two taps, less their middle. */
UF_AVX2_INLINE __m256i columns_of(const __m256i rows[4], __m256i spread, const __m256i wy[4])
{
    const __m256i inner = _mm256_add_epi16(weighed(rows[1], spread, wy[1]), weighed(rows[2], spread, wy[2]));
    const __m256i outer = _mm256_add_epi16(weighed(rows[0], spread, wy[0]), weighed(rows[3], spread, wy[3]));
    return _mm256_sub_epi16(inner, _mm256_add_epi16(outer, _mm256_set1_epi16(COLUMN_MIDDLE)));
}

UF_AVX2_INLINE __m256i sums_of_four(const uint8_t *low, const uint8_t *high, size_t stride,
                                    const UfByteTaps *w, size_t i, int j, __m256i left, __m256i right)
{
    const __m256i rows[4] = {both(low, high), both(low + stride, high + stride),
                             both(low + 2 * stride, high + 2 * stride),
                             both(low + 3 * stride, high + 3 * stride)};
    const __m256i wy[4] = {each(w->wy[0] + i, j), each(w->wy[1] + i, j), each(w->wy[2] + i, j),
                           each(w->wy[3] + i, j)};
    const __m256i first = _mm256_madd_epi16(columns_of(rows, left, wy), each(w->wx[0] + i, j));
    const __m256i second = _mm256_madd_epi16(columns_of(rows, right, wy), each(w->wx[1] + i, j));
    return _mm256_add_epi32(_mm256_add_epi32(first, second),
                            _mm256_set1_epi32(COLUMN_MIDDLE << UF_BYTES_ACROSS_BITS));
}

UF_AVX2_INLINE __m256i sums_at(const uint8_t *base, size_t stride, const UfByteTaps *w, size_t i, int j,
                               int taps, __m256i left, __m256i right)
{
    const int32_t *offset = w->offset + i + j;
    const uint8_t *low = base + offset[0], *high = base + offset[GROUP / 2];
    return taps == 2 ? sums_of_two(low, high, stride, w, i, j, left)
                     : sums_of_four(low, high, stride, w, i, j, left, right);
}

/* Rounded codes of the pixels of two sums, each pixel's channels in every other word. */
UF_AVX2_INLINE __m256i codes_of(__m256i a, __m256i b)
{
    const __m256i upper = _mm256_blend_epi16(_mm256_srli_epi32(a, 16), b, 0xaa);
    return _mm256_mulhrs_epi16(upper, _mm256_set1_epi16(TO_CODES));
}

UF_AVX2_INLINE __m256i closed_up(__m256i pixels, size_t channels, bool adds_alpha)
{
    pixels = _mm256_shuffle_epi8(pixels, in_both(closings[channels + adds_alpha - 1]));
    if (!adds_alpha) /* a channel that is not there is 0 by now */
        return pixels;
    return _mm256_or_si256(pixels, channels == 1 ? _mm256_set1_epi16((int16_t)0xff00)
                                                 : _mm256_set1_epi32((int32_t)0xff000000));
}

UF_AVX2_INLINE __m256i group_at(const uint8_t *base, size_t stride, const UfByteTaps *w, size_t i, int taps,
                                size_t channels, bool adds_alpha)
{
    const __m256i left = in_both(spreads[channels - 1][0]), right = in_both(spreads[channels - 1][1]);
    const __m256i a = sums_at(base, stride, w, i, 0, taps, left, right);
    const __m256i b = sums_at(base, stride, w, i, 1, taps, left, right);
    const __m256i c = sums_at(base, stride, w, i, 2, taps, left, right);
    const __m256i d = sums_at(base, stride, w, i, 3, taps, left, right);
    return closed_up(_mm256_packus_epi16(codes_of(a, b), codes_of(c, d)), channels, adds_alpha);
}

/* The first bytes of a lane: those of four pixels. */
UF_AVX2_INLINE void store_four(uint8_t *to, __m128i pixels, size_t pixel_bytes)
{
    switch (pixel_bytes) {
    case 1:
        _mm_storeu_si32(to, pixels);
        break;
    case 2:
        _mm_storeu_si64(to, pixels);
        break;
    case 3:
        _mm_storeu_si64(to, pixels);
        _mm_storeu_si32(to + 8, _mm_srli_si128(pixels, 8));
        break;
    default:
        _mm_storeu_si128((__m128i *)(void *)to, pixels);
        break;
    }
}

/* A row of UF_TILE_PX pixels. With three samples a pixel, four pixels are written with what those after them
 * overwrite. */
UF_AVX2_INLINE void fill_row(const uint8_t *base, size_t stride, const UfByteTaps *w, int taps,
                             size_t channels, bool adds_alpha, uint8_t *to)
{
    const size_t out_bytes = channels + adds_alpha, step = GROUP / 2 * out_bytes;
    for (size_t i = 0; i < UF_TILE_PX; i += GROUP, to += 2 * step) {
        const __m256i pixels = group_at(base, stride, w, i, taps, channels, adds_alpha);
        const __m128i lower = _mm256_castsi256_si128(pixels), upper = _mm256_extracti128_si256(pixels, 1);
        store_four(to, lower, out_bytes == 3 ? 4 : out_bytes);
        store_four(to + step, upper, out_bytes == 3 && i + GROUP < UF_TILE_PX ? 4 : out_bytes);
    }
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
    uint8_t scratch[UF_TILE_PX * UF_CHANNELS_MAX] = {0};
    UfTileRows rows;
    _Alignas(32) UfByteTaps w;
    uf_tile_rows(tile, &rows);
    for (size_t y = 0; y < height; y++, out += stride_bytes) {
        uint8_t *to = width == UF_TILE_PX ? out : scratch;
        uf_bytes_taps(&rows, y, taps, (int32_t)stride, (int32_t)channels, &w);
        uf_fetch_ahead(base + (size_t)(taps - 1) * (stride + channels), w.offset, stride, channels);
        fill_row(base, stride, &w, taps, channels, adds_alpha, to);
        for (size_t i = 0; channels % 2 == 0 && i < width; i++)
            if (!is_opaque(base + w.offset[i], stride, taps, channels))
                uf_plain_exact(plain, tile, i, y, to + i * out_bytes);
        if (width < UF_TILE_PX)
            memcpy(out, scratch, width * out_bytes);
    }
}

UF_PLAIN_DEFINE_TYPE(UF_AVX2, 2, U8)
UF_PLAIN_DEFINE_TYPE(UF_AVX2, 4, U8)
const UfPlainByteTable uf_plain_bytes_avx2 = UF_PLAIN_BYTE_TABLE;
#else
typedef int UfNoBytesAvx2; /* a file of C holds at least one declaration */
#endif

/* The scalar kernels for plain tiles of 8-bit samples. */
#include "remap/plain_bytes.h"

UF_INLINE bool is_opaque(const uint8_t *at, size_t stride_bytes, int taps, size_t channels)
{
    bool opaque = true;
    for (size_t r = 0; r < (size_t)taps; r++)
        for (size_t k = 0; k < (size_t)taps; k++)
            opaque = opaque && at[r * stride_bytes + k * channels + channels - 1] == UINT8_MAX;
    return opaque;
}

UF_INLINE int32_t part_of(const UfByteTaps *w, size_t r, size_t i, uint8_t sample)
{
    return (int32_t)(w->wy[r][i] & 0xffff) * sample >> 8;
}

/* `at` is the sample of the first row. */
UF_INLINE int32_t column_at(const uint8_t *at, size_t stride, const UfByteTaps *w, size_t i, int taps)
{
    if (taps == 2)
        return part_of(w, 0, i, at[0]) + part_of(w, 1, i, at[stride]);
    return part_of(w, 1, i, at[stride]) + part_of(w, 2, i, at[2 * stride]) - part_of(w, 0, i, at[0]) -
           part_of(w, 3, i, at[3 * stride]);
}

/* `at` is the channel's sample of the first tap. */
UF_INLINE uint8_t code_at(const uint8_t *at, size_t stride, const UfByteTaps *w, size_t i, int taps,
                          size_t channels)
{
    int32_t sum = 1 << (UF_BYTES_SUM_BITS - 1);
    for (size_t k = 0; k < (size_t)taps; k += 2) {
        const uint32_t pair = w->wx[k / 2][i];
        const uint8_t *next = at + (k + 1) * channels;
        sum += (int16_t)(pair & 0xffff) * column_at(at + k * channels, stride, w, i, taps);
        sum += (int16_t)(pair >> 16) * column_at(next, stride, w, i, taps);
    }
    sum >>= UF_BYTES_SUM_BITS;
    return (uint8_t)(sum < 0 ? 0 : sum > UINT8_MAX ? UINT8_MAX : sum);
}

UF_INLINE void fill_tile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height, uint8_t *out,
                         size_t stride_bytes, int taps, size_t channels, UfSample sample, bool adds_alpha)
{
    (void)sample;
    const bool has_alpha = channels % 2 == 0;
    const size_t stride = plain->source->stride_bytes, out_bytes = channels + adds_alpha;
    const uint8_t *base =
        plain->source->data + (size_t)tile->base_v * stride + (size_t)tile->base_u * channels;
    UfTileRows rows;
    UfByteTaps w;
    uf_tile_rows(tile, &rows);
    for (size_t y = 0; y < height; y++) {
        uint8_t *to = out + y * stride_bytes;
        uf_bytes_taps(&rows, y, taps, (int32_t)stride, (int32_t)channels, &w);
        for (size_t i = 0; i < width; i++, to += out_bytes) {
            const uint8_t *at = base + w.offset[i];
            if (has_alpha && !is_opaque(at, stride, taps, channels)) {
                uf_plain_exact(plain, tile, i, y, to);
                continue;
            }
            for (size_t c = 0; c < channels; c++)
                to[c] = code_at(at + c, stride, &w, i, taps, channels);
            if (adds_alpha)
                to[channels] = UINT8_MAX;
        }
    }
}

UF_PLAIN_DEFINE_TYPE(, 2, U8)
UF_PLAIN_DEFINE_TYPE(, 4, U8)
const UfPlainByteTable uf_plain_bytes = UF_PLAIN_BYTE_TABLE;

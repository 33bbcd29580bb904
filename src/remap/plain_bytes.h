/*
 * Plain tiles of 8-bit samples, bilinear and bicubic, in whole numbers: what its variants share.
 *
 * Places are cut off to 2^-14 pixel across and 2^-15 down. Weights down the rows are multiples of 2^-15,
 * those across of 2^-14; each set's sum is exactly 1, so that flat colours stay as they are. With rows r and
 * taps k of the samples s(r, k), in 1/128 of a code:
 *
 *     column(k) = sum over r of +-floor(|wy_r| s(r, k) / 2^8),    value = sum over k of wx_k column(k)
 *
 * and the value is rounded to the nearest code (halves up) and clamped. Keys' outer weights are the negative
 * ones, and what is cut off on either side is the same on average. Before it is rounded the value is within a
 * tenth of a code: the products down the rows are off by 2/128 of a code at most and the weights by
 * 4 (2^-15 + 2^-14) 128 codes, both of which the other axis lets grow by at most 1.25; the rest is the place.
 */
#ifndef UF_REMAP_PLAIN_BYTES_H
#define UF_REMAP_PLAIN_BYTES_H

#include "remap/plain_taps.h"

#define UF_BYTES_ACROSS_BITS 14
#define UF_BYTES_DOWN_BITS   15
/* Of a sum: 7 of the columns and those of the weights across. */
#define UF_BYTES_SUM_BITS (7 + UF_BYTES_ACROSS_BITS)

typedef struct UfByteTaps {
    uint32_t wx[2][UF_TILE_PX]; /* two neighbouring taps each, the left one in the lower half; signed */
    uint32_t wy[4][UF_TILE_PX]; /* magnitudes, the same in both halves */
    int32_t offset[UF_TILE_PX]; /* bytes from the pixel at the tile's base to the first tap */
} UfByteTaps;

UF_INLINE uint32_t uf_bytes_pair(int32_t low, int32_t high)
{
    return ((uint32_t)low & 0xffff) | (uint32_t)high << 16;
}

/*
 * Magnitudes of Keys' weights for a place `part` from 0 to one - 1, by what the outer two are with t = part /
 * one: w0 = t (1 - t)^2 / 2, w3 = t^2 (1 - t) / 2, w1 = 1 - t + 2 w0 - w3, w2 = t + 2 w3 - w0.
 */
UF_INLINE void uf_bytes_keys(int32_t part, int32_t one, int32_t *w0, int32_t *w1, int32_t *w2, int32_t *w3)
{
    const int32_t rest = one - part;
    const float t = (float)part, u = (float)rest, both = t * u * (0.5f / (float)one / (float)one);
    *w0 = (int32_t)(both * u + 0.5f);
    *w3 = (int32_t)(both * t + 0.5f);
    *w1 = rest + 2 * *w0 - *w3;
    *w2 = part + 2 * *w3 - *w0;
}

UF_INLINE void uf_bytes_taps(const UfTileRows *rows, size_t row, int taps, int32_t stride_bytes,
                             int32_t pixel_bytes, UfByteTaps *out)
{
    const int32_t across = 1 << UF_BYTES_ACROSS_BITS, down = 1 << UF_BYTES_DOWN_BITS;
    const int32_t before = (taps / 2 - 1) * (stride_bytes + pixel_bytes);
    float x[UF_TILE_PX], y[UF_TILE_PX];
    uf_row_places(rows, row, x, y);
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++) {
        const int32_t fine_x = (int32_t)(x[i] * (float)across), fine_y = (int32_t)(y[i] * (float)down);
        const int32_t ix = fine_x >> UF_BYTES_ACROSS_BITS, iy = fine_y >> UF_BYTES_DOWN_BITS;
        const int32_t right = fine_x & (across - 1), below = fine_y & (down - 1);
        out->offset[i] = iy * stride_bytes + ix * pixel_bytes - before;
        if (taps == 2) {
            out->wx[0][i] = uf_bytes_pair(across - right, right);
            out->wy[0][i] = uf_bytes_pair(down - below, down - below);
            out->wy[1][i] = uf_bytes_pair(below, below);
        } else {
            int32_t w0, w1, w2, w3;
            uf_bytes_keys(right, across, &w0, &w1, &w2, &w3);
            out->wx[0][i] = uf_bytes_pair(-w0, w1);
            out->wx[1][i] = uf_bytes_pair(w2, -w3);
            uf_bytes_keys(below, down, &w0, &w1, &w2, &w3);
            out->wy[0][i] = uf_bytes_pair(w0, w0);
            out->wy[1][i] = uf_bytes_pair(w1, w1);
            out->wy[2][i] = uf_bytes_pair(w2, w2);
            out->wy[3][i] = uf_bytes_pair(w3, w3);
        }
    }
}

/* [0 bilinear, 1 bicubic][channels - 1][adds alpha] */
typedef UfPlainTile *UfPlainByteTable[2][UF_CHANNELS_MAX][2];
extern const UfPlainByteTable uf_plain_bytes, uf_plain_bytes_avx2;
#define UF_PLAIN_BYTE_TABLE                                                                                  \
    {                                                                                                        \
        UF_PLAIN_TYPE(2, U8), UF_PLAIN_TYPE(4, U8)                                                           \
    }

#endif

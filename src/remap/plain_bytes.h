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
 * 3 (2^-15 + 2^-14) 128 codes, both of which the other axis lets grow by at most 1.25; the rest is the place.
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

/* Magnitudes of the four weights for `part` in [0, 1). */
UF_INLINE void uf_bytes_keys(float part, int32_t one, int32_t *w0, int32_t *w1, int32_t *w2, int32_t *w3)
{
    float weights[4];
    uf_keys_weights_single(part, &weights[0], &weights[1], &weights[2], &weights[3]);
    *w0 = (int32_t)(0.5f - weights[0] * (float)one);
    *w1 = (int32_t)(0.5f + weights[1] * (float)one);
    *w3 = (int32_t)(0.5f - weights[3] * (float)one);
    *w2 = one + *w0 + *w3 - *w1;
}

UF_INLINE void uf_bytes_taps(const UfTileRow *row, int taps, int32_t stride_bytes, int32_t pixel_bytes,
                             UfByteTaps *out)
{
    const float au = row->u[0], bu = row->u[1], cu = row->u[2];
    const float av = row->v[0], bv = row->v[1], cv = row->v[2];
    const int32_t across = 1 << UF_BYTES_ACROSS_BITS, down = 1 << UF_BYTES_DOWN_BITS;
    const int32_t before = (taps / 2 - 1) * (stride_bytes + pixel_bytes);
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++) {
        const float s = ((float)i + 0.5f) * (1.0f / UF_NODE_PX) - 1.0f;
        const float x = (cu * s + bu) * s + au - 0.5f, y = (cv * s + bv) * s + av - 0.5f;
        const int32_t fine_x = (int32_t)(x * (float)across), fine_y = (int32_t)(y * (float)down);
        const int32_t ix = fine_x >> UF_BYTES_ACROSS_BITS, iy = fine_y >> UF_BYTES_DOWN_BITS;
        const int32_t right = fine_x & (across - 1), below = fine_y & (down - 1);
        out->offset[i] = iy * stride_bytes + ix * pixel_bytes - before;
        if (taps == 2) {
            out->wx[0][i] = uf_bytes_pair(across - right, right);
            out->wy[0][i] = uf_bytes_pair(down - below, down - below);
            out->wy[1][i] = uf_bytes_pair(below, below);
        } else {
            int32_t w0, w1, w2, w3;
            uf_bytes_keys((float)right * (1.0f / (float)across), across, &w0, &w1, &w2, &w3);
            out->wx[0][i] = uf_bytes_pair(-w0, w1);
            out->wx[1][i] = uf_bytes_pair(w2, -w3);
            uf_bytes_keys((float)below * (1.0f / (float)down), down, &w0, &w1, &w2, &w3);
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

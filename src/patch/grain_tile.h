/*
 * Reading a periodic tile of noise with Keys' cubic at many places. One text for every processor: the order
 * of operations is the same, so are the bits.
 */
#ifndef UF_PATCH_GRAIN_TILE_H
#define UF_PATCH_GRAIN_TILE_H

#include <stddef.h>
#include <stdint.h>

#include "remap/keys.h"

#define UF_GRAIN_TILE ((size_t)512) /* samples a side */
/* Of a tile as it is held: the first samples come again behind the last, so that no tap has to wrap. */
#define UF_GRAIN_SIDE  (UF_GRAIN_TILE + 3)
#define UF_GRAIN_CHUNK ((size_t)64) /* places at a time */

/*
 * Adds the tile's four channels at CHUNK places, in pixels, to `out`. turn: cosine and sine of the tile's
 * turn times samples a pixel, then its shift in samples.
 */
typedef void UfGrainRead(const float *tile, const float turn[4], const float *x_px, const float *y_px,
                         float (*out)[4]);

UfGrainRead uf_grain_read_avx2;

#define UF_GRAIN_INLINE static inline __attribute__((always_inline))

/* Where a place lies in a tile: its first sample, and Keys' weights. */
typedef struct UfGrainTaps {
    int32_t x[UF_GRAIN_CHUNK], y[UF_GRAIN_CHUNK];
    float across[4][UF_GRAIN_CHUNK], down[4][UF_GRAIN_CHUNK];
} UfGrainTaps;

/* Of places on the tangent plane, in pixels. */
UF_GRAIN_INLINE void uf_grain_find_taps(const float turn[4], const float *x_px, const float *y_px,
                                        UfGrainTaps *taps)
{
    const float along = turn[0], aside = turn[1], left = turn[2], top = turn[3];
#pragma omp simd
    for (size_t i = 0; i < UF_GRAIN_CHUNK; i++) {
        float u = along * x_px[i] - aside * y_px[i] + left, v = aside * x_px[i] + along * y_px[i] + top;
        int32_t x = (int32_t)u, y = (int32_t)v;
        x -= u < (float)x;
        y -= v < (float)y;
        uf_keys_weights_single(u - (float)x, &taps->across[0][i], &taps->across[1][i], &taps->across[2][i],
                               &taps->across[3][i]);
        uf_keys_weights_single(v - (float)y, &taps->down[0][i], &taps->down[1][i], &taps->down[2][i],
                               &taps->down[3][i]);
        taps->x[i] = (x - 1) & (int32_t)(UF_GRAIN_TILE - 1);
        taps->y[i] = (y - 1) & (int32_t)(UF_GRAIN_TILE - 1);
    }
}

UF_GRAIN_INLINE void uf_grain_read_inline(const float *tile, const float turn[4], const float *x_px,
                                          const float *y_px, float (*out)[4])
{
    UfGrainTaps taps;
    uf_grain_find_taps(turn, x_px, y_px, &taps);
    for (size_t i = 0; i < UF_GRAIN_CHUNK; i++) {
        const float *first = tile + 4 * ((size_t)taps.y[i] * UF_GRAIN_SIDE + (size_t)taps.x[i]);
        float sum[16];
        float d0 = taps.down[0][i], d1 = taps.down[1][i], d2 = taps.down[2][i], d3 = taps.down[3][i];
        float a0 = taps.across[0][i], a1 = taps.across[1][i], a2 = taps.across[2][i], a3 = taps.across[3][i];
#pragma omp simd
        for (size_t k = 0; k < 16; k++)
            sum[k] = (d0 * first[k] + d1 * first[4 * UF_GRAIN_SIDE + k]) +
                     (d2 * first[8 * UF_GRAIN_SIDE + k] + d3 * first[12 * UF_GRAIN_SIDE + k]);
#pragma omp simd
        for (size_t c = 0; c < 4; c++)
            out[i][c] += (a0 * sum[c] + a1 * sum[4 + c]) + (a2 * sum[8 + c] + a3 * sum[12 + c]);
    }
}

#endif

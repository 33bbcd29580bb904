/*
 * What all variants of the plain kernels share: where the taps of a row of pixels lie and what they weigh,
 * and the table of ready functions. Loops over UF_TILE_PX pixels, which the compiler makes vectors of; each
 * variant has its own copy.
 */
#ifndef UF_REMAP_PLAIN_TAPS_H
#define UF_REMAP_PLAIN_TAPS_H

#include "remap/keys.h"
#include "remap/plain.h"
#include "remap/window.h"

typedef struct UfTaps {
    float wx[4][UF_TILE_PX], wy[4][UF_TILE_PX];
    int32_t offset[UF_TILE_PX]; /* bytes from the pixel at the tile's base to the first tap */
} UfTaps;

/* For the scalar kernels: sample number i as a float, and a value as a sample. */
UF_INLINE float uf_plain_load(const uint8_t *at, size_t i, UfSample sample)
{
    return sample == UF_SAMPLE_F32 ? (float)uf_sample_load(at + 4 * i, sample)
                                   : (float)uf_code_load(at + (size_t)sample * i, sample);
}

UF_INLINE void uf_plain_store(uint8_t *at, float value, UfSample sample)
{
    const int32_t max = sample == UF_SAMPLE_U8 ? 255 : 65535;
    if (sample == UF_SAMPLE_F32) {
        memcpy(at, &value, sizeof value);
        return;
    }
    int32_t code = (int32_t)(value + 0.5f);
    code = code < 0 ? 0 : code > max ? max : code;
    if (sample == UF_SAMPLE_U8)
        *at = (uint8_t)code;
    else
        memcpy(at, &(uint16_t){(uint16_t)code}, 2);
}

/* Where the places of a tile's rows come from: where its pixels' centres lie in s, and for each row the
 * coefficients of x and y in powers of s. */
typedef struct UfTileRows {
    float s[UF_TILE_PX];
    float x[3][UF_TILE_PX], y[3][UF_TILE_PX];
    const UfTilePlaces *places; /* instead, when there are some */
} UfTileRows;

UF_INLINE void uf_tile_powers(const double of[3][3], int k, double centre, float out[UF_TILE_PX])
{
    const double a = of[0][k] - centre, b = of[1][k], c = of[2][k];
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++) {
        const double t = ((double)i + 0.5) * (1.0 / UF_NODE_PX) - 1;
        out[i] = (float)(a + t * (b + t * c));
    }
}

UF_INLINE void uf_tile_rows(const UfTile *tile, UfTileRows *out)
{
    out->places = tile->places;
    if (tile->places != NULL)
        return;
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++)
        out->s[i] = ((float)i + 0.5f) * (1.0f / UF_NODE_PX) - 1.0f;
    for (int k = 0; k < 3; k++) {
        uf_tile_powers(tile->u, k, k == 0 ? 0.5 : 0, out->x[k]);
        uf_tile_powers(tile->v, k, k == 0 ? 0.5 : 0, out->y[k]);
    }
}

/* The places of a row: pixels of the source from the tile's base, counted from centre to centre. */
UF_INLINE void uf_row_places(const UfTileRows *rows, size_t row, float x[UF_TILE_PX], float y[UF_TILE_PX])
{
    if (rows->places != NULL) {
        memcpy(x, rows->places->x[row], UF_TILE_PX * sizeof *x);
        memcpy(y, rows->places->y[row], UF_TILE_PX * sizeof *y);
        return;
    }
    const float ax = rows->x[0][row], bx = rows->x[1][row], cx = rows->x[2][row];
    const float ay = rows->y[0][row], by = rows->y[1][row], cy = rows->y[2][row];
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++) {
        const float s = rows->s[i];
        x[i] = (cx * s + bx) * s + ax;
        y[i] = (cy * s + by) * s + ay;
    }
}

UF_INLINE void uf_plain_weights(float t, int taps, float *w0, float *w1, float *w2, float *w3)
{
    if (taps == 2) {
        *w0 = 1 - t;
        *w1 = t;
        *w2 = *w3 = 0;
        return;
    }
    uf_keys_weights_single(t, w0, w1, w2, w3);
}

UF_INLINE void uf_plain_taps(const UfTileRows *rows, size_t row, int taps, int32_t stride_bytes,
                             int32_t pixel_bytes, UfTaps *out)
{
    const int32_t before = taps / 2 - 1;
    float xs[UF_TILE_PX], ys[UF_TILE_PX];
    uf_row_places(rows, row, xs, ys);
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++) {
        const float x = xs[i], y = ys[i];
        const int32_t ix = (int32_t)x, iy = (int32_t)y; /* both are above 0 */
        float wx[4], wy[4];
        uf_plain_weights(x - (float)ix, taps, &wx[0], &wx[1], &wx[2], &wx[3]);
        uf_plain_weights(y - (float)iy, taps, &wy[0], &wy[1], &wy[2], &wy[3]);
        out->offset[i] = (iy - before) * stride_bytes + (ix - before) * pixel_bytes;
        out->wx[0][i] = wx[0];
        out->wx[1][i] = wx[1];
        out->wy[0][i] = wy[0];
        out->wy[1][i] = wy[1];
        if (taps == 4) {
            out->wx[2][i] = wx[2];
            out->wx[3][i] = wx[3];
            out->wy[2][i] = wy[2];
            out->wy[3][i] = wy[3];
        }
    }
}

/* Pixel (x, y) of the tile, which is not opaque all over. */
UF_INLINE void uf_plain_exact(const UfPlain *plain, const UfTile *tile, size_t x, size_t y, uint8_t *out)
{
    const UfPixelPoint at = uf_tile_pixel(tile, x, y);
    plain->exact(plain->source, &at.x_px, &at.y_px, 1, out);
}

#define UF_PLAIN_NAME(taps, type, channels, adds) plain_##taps##_##type##_##channels##_##adds
/* fill_tile is always inlined, with constants for all that varies. */
#define UF_PLAIN_DEFINE(attributes, taps, type, channels, adds)                                              \
    attributes static void UF_PLAIN_NAME(taps, type, channels,                                               \
                                         adds)(const UfPlain *plain, const UfTile *tile, size_t width,       \
                                               size_t height, uint8_t *out, size_t stride_bytes)             \
    {                                                                                                        \
        fill_tile(plain, tile, width, height, out, stride_bytes, taps, channels, UF_SAMPLE_##type, adds);    \
    }
#define UF_PLAIN_DEFINE_TYPE(attributes, taps, type)                                                         \
    UF_PLAIN_DEFINE(attributes, taps, type, 1, 0)                                                            \
    UF_PLAIN_DEFINE(attributes, taps, type, 1, 1)                                                            \
    UF_PLAIN_DEFINE(attributes, taps, type, 2, 0)                                                            \
    UF_PLAIN_DEFINE(attributes, taps, type, 3, 0)                                                            \
    UF_PLAIN_DEFINE(attributes, taps, type, 3, 1)                                                            \
    UF_PLAIN_DEFINE(attributes, taps, type, 4, 0)
#define UF_PLAIN_DEFINE_ALL(attributes, taps)                                                                \
    UF_PLAIN_DEFINE_TYPE(attributes, taps, U16)                                                              \
    UF_PLAIN_DEFINE_TYPE(attributes, taps, F32)
#define UF_PLAIN_TYPE(taps, type)                                                                            \
    {                                                                                                        \
        {UF_PLAIN_NAME(taps, type, 1, 0), UF_PLAIN_NAME(taps, type, 1, 1)},                                  \
            {UF_PLAIN_NAME(taps, type, 2, 0), UF_PLAIN_NAME(taps, type, 2, 0)},                              \
            {UF_PLAIN_NAME(taps, type, 3, 0), UF_PLAIN_NAME(taps, type, 3, 1)},                              \
            {UF_PLAIN_NAME(taps, type, 4, 0), UF_PLAIN_NAME(taps, type, 4, 0)},                              \
    }
/* 8-bit samples have kernels of their own: remap/plain_bytes.h */
#define UF_PLAIN_TABLE(taps)                                                                                 \
    {                                                                                                        \
        [1] = UF_PLAIN_TYPE(taps, U16), [2] = UF_PLAIN_TYPE(taps, F32)                                       \
    }

#endif

/*
 * Sharp sampling in plain tiles, for pictures without alpha: what its variants share.
 *
 * As in remap/plain.h everything is single precision in one fixed order. With the coefficients s(r, k) of
 * rows r and taps k: column(k) = ((((wy0 s(0,k) + wy1 s(1,k)) + wy2 s(2,k)) + wy3 s(3,k)) + wy4 s(4,k)) + wy5
 * s(5,k) and value = ((wx0 column(0) + wx2 column(2)) + wx4 column(4)) + ((wx1 column(1) + wx3 column(3)) +
 * wx5 column(5)), which is held within the range of the pixels around (remap/sharp.h). Places on a pixel's
 * centre give that pixel.
 */
#ifndef UF_REMAP_PLAIN_SHARP_H
#define UF_REMAP_PLAIN_SHARP_H

#include "remap/lanes.h"
#include "remap/pixel.h"
#include "remap/plain_taps.h"
#include "remap/sharp.h"
#include "remap/spline.h"

typedef struct UfSharpTaps {
    float wx[UF_SPLINE_TAPS][UF_TILE_PX], wy[UF_SPLINE_TAPS][UF_TILE_PX];
    int32_t x[UF_TILE_PX], y[UF_TILE_PX]; /* the pixel at or before the place, from the tile's base */
    float off[UF_TILE_PX];                /* 0 where the place is that pixel's centre */
} UfSharpTaps;

/* uf_spline_weights in single precision, of `count` places, a multiple of UF_LANES; weights are [tap][room].
 */
UF_INLINE void uf_sharp_weights(const float *at, size_t count, size_t room, float *weights)
{
    const float part = 1.0f / 120;
    for (size_t i = 0; i < count; i += UF_LANES) {
        float *w = weights + i;
        const UfLanes t = *(const UfLanesAt *)(at + i);
        const UfLanes u = 1 - t, t2 = t * t, u2 = u * u;
        *(UfLanesAt *)w = part * (u2 * u2 * u);
        *(UfLanesAt *)(w + 1 * room) = part * (1 + u * (5 + u * (10 + u * (10 + u * (5 - 5 * u)))));
        *(UfLanesAt *)(w + 2 * room) = part * (66 - t2 * (60 - t2 * (30 - 10 * t)));
        *(UfLanesAt *)(w + 3 * room) = part * (66 - u2 * (60 - u2 * (30 - 10 * u)));
        *(UfLanesAt *)(w + 4 * room) = part * (1 + t * (5 + t * (10 + t * (10 + t * (5 - 5 * t)))));
        *(UfLanesAt *)(w + 5 * room) = part * (t2 * t2 * t);
    }
}

UF_INLINE void uf_sharp_taps(const UfTileRows *rows, size_t row, UfSharpTaps *out)
{
    float xs[UF_TILE_PX], ys[UF_TILE_PX], tx[UF_TILE_PX], ty[UF_TILE_PX];
    uf_row_places(rows, row, xs, ys);
#pragma omp simd
    for (int i = 0; i < (int)UF_TILE_PX; i++) {
        const float x = xs[i], y = ys[i];
        const int32_t ix = (int32_t)x, iy = (int32_t)y; /* both are above 0 */
        tx[i] = x - (float)ix;
        ty[i] = y - (float)iy;
        out->x[i] = ix;
        out->y[i] = iy;
        out->off[i] = tx[i] + ty[i];
    }
    uf_sharp_weights(tx, UF_TILE_PX, UF_TILE_PX, out->wx[0]);
    uf_sharp_weights(ty, UF_TILE_PX, UF_TILE_PX, out->wy[0]);
}

/* One pixel of the target: the pixel at or before its place, its first coefficient, and its taps. */
typedef struct UfSharpPlace {
    const uint8_t *pixel, *coefficients;
    ptrdiff_t stride_bytes, coefficients_stride_bytes;
    ptrdiff_t apart; /* of the pixels around, along the row */
    const UfSharpTaps *taps;
    size_t i; /* in the taps */
} UfSharpPlace;

/* What begins at the tile's base. */
UF_INLINE UfSharpPlace uf_sharp_base(const UfSource *source, const UfTile *tile, size_t channels,
                                     UfSample sample, const UfSharpTaps *taps)
{
    const ptrdiff_t stride = (ptrdiff_t)source->stride_bytes, other = (ptrdiff_t)source->spline->stride_bytes;
    const ptrdiff_t bytes = (ptrdiff_t)(channels * (size_t)sample);
    const ptrdiff_t kept_bytes = (ptrdiff_t)(channels * (size_t)uf_spline_sample(sample, channels));
    return (UfSharpPlace){.pixel = source->data + tile->base_v * stride + tile->base_u * bytes,
                          .coefficients =
                              source->spline->data + tile->base_v * other + tile->base_u * kept_bytes,
                          .stride_bytes = stride,
                          .coefficients_stride_bytes = other,
                          .taps = taps};
}

/* The place of pixel i of the row that the taps are of. */
UF_INLINE UfSharpPlace uf_sharp_place(const UfSource *source, const UfTile *tile, const UfSharpPlace *base,
                                      size_t i, size_t channels, UfSample sample)
{
    const ptrdiff_t x = base->taps->x[i], y = base->taps->y[i];
    const ptrdiff_t bytes = (ptrdiff_t)(channels * (size_t)sample);
    const ptrdiff_t kept_bytes = (ptrdiff_t)(channels * (size_t)uf_spline_sample(sample, channels));
    UfSharpPlace out = *base;
    out.i = i;
    out.pixel += y * base->stride_bytes + x * bytes;
    out.coefficients += (y - 2) * base->coefficients_stride_bytes + (x - 2) * kept_bytes;
    out.apart = uf_spread_at(source, tile->base_v + y);
    return out;
}

/* From what the coefficients give to the picture's units. */
#define UF_SHARP_CODE_STEP (1 / UF_SPLINE_CODE_STEPS)

UF_INLINE float uf_sharp_value(float value, UfSample kept)
{
    if (kept != UF_SAMPLE_U16)
        return value;
    return (value - UF_SPLINE_CODE_ZERO) * UF_SHARP_CODE_STEP + UF_SPLINE_CODE_GREY;
}

#define UF_SHARP_NAME(type, channels, adds) sharp_##type##_##channels##_##adds
/*
 * The driver of a variant, which is compiled for its instruction set: it has a sharp_pixel that is always
 * inlined, with constants for all that varies. That may write up to 16 bytes: they go into scratch room
 * first.
 */
#define UF_SHARP_DEFINE(attributes, type, channels, adds)                                                    \
    attributes static void UF_SHARP_NAME(type, channels, adds)(const UfPlain *plain, const UfTile *tile,     \
                                                               size_t width, size_t height, uint8_t *out,    \
                                                               size_t stride_bytes)                          \
    {                                                                                                        \
        const size_t out_bytes = ((channels) + (adds)) * (size_t)UF_SAMPLE_##type;                           \
        uint8_t scratch[((size_t)UF_TILE_PX + 1) * UF_CHANNELS_MAX * sizeof(float)];                         \
        UfTileRows rows;                                                                                     \
        UfSharpTaps taps;                                                                                    \
        uf_tile_rows(tile, &rows);                                                                           \
        const UfSharpPlace base = uf_sharp_base(plain->source, tile, channels, UF_SAMPLE_##type, &taps);     \
        for (size_t y = 0; y < height; y++) {                                                                \
            uint8_t *to = scratch;                                                                           \
            uf_sharp_taps(&rows, y, &taps);                                                                  \
            for (size_t i = 0; i < width; i++, to += out_bytes) {                                            \
                const UfSharpPlace at =                                                                      \
                    uf_sharp_place(plain->source, tile, &base, i, channels, UF_SAMPLE_##type);               \
                if (taps.off[i] == 0)                                                                        \
                    uf_copy_pixel(at.pixel, channels, UF_SAMPLE_##type, adds, to);                           \
                else                                                                                         \
                    sharp_pixel(&at, channels, UF_SAMPLE_##type, adds, to);                                  \
            }                                                                                                \
            memcpy(out + y * stride_bytes, scratch, width * out_bytes);                                      \
        }                                                                                                    \
    }
#define UF_SHARP_DEFINE_TYPE(attributes, type)                                                               \
    UF_SHARP_DEFINE(attributes, type, 1, 0)                                                                  \
    UF_SHARP_DEFINE(attributes, type, 1, 1)                                                                  \
    UF_SHARP_DEFINE(attributes, type, 3, 0)                                                                  \
    UF_SHARP_DEFINE(attributes, type, 3, 1)
#define UF_SHARP_DEFINE_ALL(attributes)                                                                      \
    UF_SHARP_DEFINE_TYPE(attributes, U8)                                                                     \
    UF_SHARP_DEFINE_TYPE(attributes, U16)                                                                    \
    UF_SHARP_DEFINE_TYPE(attributes, F32)
#define UF_SHARP_TYPE(type)                                                                                  \
    {                                                                                                        \
        {UF_SHARP_NAME(type, 1, 0), UF_SHARP_NAME(type, 1, 1)}, {NULL, NULL},                                \
            {UF_SHARP_NAME(type, 3, 0), UF_SHARP_NAME(type, 3, 1)}, {NULL, NULL},                            \
    }
#define UF_SHARP_TABLE                                                                                       \
    {                                                                                                        \
        UF_SHARP_TYPE(U8), UF_SHARP_TYPE(U16), UF_SHARP_TYPE(F32)                                            \
    }

#endif

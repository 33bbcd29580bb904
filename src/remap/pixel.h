/* What the kernels share about single pixels. */
#ifndef UF_REMAP_PIXEL_H
#define UF_REMAP_PIXEL_H

#include "remap/window.h"

/* The library's fmin is a call. */
UF_INLINE double uf_least(double a, double b)
{
    return a < b ? a : b;
}

/* 1 inside, fading to 0 over the last half pixel at the edges where the source ends. */
UF_INLINE double uf_coverage(const UfSource *source, double x_px, double y_px)
{
    double edge = 0.5;
    if (!source->wraps) {
        edge = uf_least(edge, x_px);
        edge = uf_least(edge, (double)source->width_px - x_px);
    }
    if (!source->over_top)
        edge = uf_least(edge, y_px);
    if (!source->over_bottom)
        edge = uf_least(edge, (double)source->height_px - y_px);
    return edge <= 0 ? 0 : 2 * edge;
}

UF_INLINE bool uf_is_seen(const UfSource *source, double x_px, double y_px)
{
    return x_px >= 0 && x_px <= (double)source->width_px && y_px >= 0 && y_px <= (double)source->height_px;
}

UF_INLINE void uf_copy_pixel(const uint8_t *pixel, size_t channels, UfSample sample, bool adds_alpha,
                             uint8_t *out)
{
    memcpy(out, pixel, channels * (size_t)sample);
    if (adds_alpha)
        uf_sample_store(out + channels * (size_t)sample, uf_sample_max(sample), sample);
}

#endif

/*
 * The sharp kernel: a spline of degree 5 through the samples, kept from ringing.
 *
 * At a hard edge a spline, like every kernel that is flat up to the picture's limit, swings beyond the values
 * on either side. What comes out is held within the values of the 4 x 4 pixels around the place, widened by a
 * part of their range: between equal pixels there is no swing at all, and a photograph's own fine peaks,
 * which lie between its samples, are kept.
 */
#ifndef UF_REMAP_SHARP_H
#define UF_REMAP_SHARP_H

#include "remap/kernels.h"

/* How far the result may leave the range of the pixels around it, as a part of that range. */
#define UF_SHARP_SLACK 0.125f
/* The pixels around: this many an axis, from one before the place's own on. */
#define UF_SHARP_NEAR 4

/* What the spline's row is ready for; rows beyond a pole are those before it. */
static inline float uf_ready_px_at(const UfSource *source, ptrdiff_t y)
{
    if (source->ready_px == NULL)
        return 1;
    y = y < 0 ? 0 : y < source->height_px ? y : source->height_px - 1;
    return source->ready_px[y];
}

/* The pixels around are this many apart along the row: those that were taken together count as one. */
static inline ptrdiff_t uf_spread_at(const UfSource *source, ptrdiff_t y)
{
    return (ptrdiff_t)(uf_ready_px_at(source, y) + 0.5f);
}

/* As uf_kernels_init has it; channels 1 .. UF_CHANNELS_MAX. */
UfSampleRun *uf_sharp_run(UfSample sample, size_t channels, bool adds_alpha);

#endif

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

typedef struct UfSharpKernels {
    UfSampleRun *sharp;
    UfBlendPlaces *blend;
} UfSharpKernels;

/* As uf_kernels_init has it; channels 1 .. UF_CHANNELS_MAX. */
UfSharpKernels uf_sharp_kernels(UfSample sample, size_t channels, bool adds_alpha);

#endif

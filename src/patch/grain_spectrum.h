/* The spectrum of a ring's grain. */
#ifndef UF_PATCH_GRAIN_SPECTRUM_H
#define UF_PATCH_GRAIN_SPECTRUM_H

#include <underfoot/picture.h>

#include "patch/cap.h"

/* Blocks are this many rows high; the width of a frequency bin is one wave a block. */
#define UF_GRAIN_BLOCK_PX 32
/* A disc of this radius has the area of the square that a picture's pixels can hold: 32 / sqrt(pi). */
#define UF_GRAIN_BINS 19

/*
 * Density of the noise, power per (wave a pixel)^2, where a pixel is one of the panorama's equator: for each
 * bin b of frequencies about b/32 waves a pixel, the covariance of the colour channels (real, symmetric). Its
 * integral over all frequencies is the variance of stored values 0..1.
 */
typedef struct UfGrainSpectrum {
    double density[UF_GRAIN_BINS][3][3];
    double variance[3];
} UfGrainSpectrum;

/* false where there is no grain beyond the rounding of the samples, or no smooth place to see it. */
UfStatus uf_grain_spectrum(const UfPicture *panorama, const UfCap *cap, UfGrainSpectrum *out, bool *has_grain,
                           UfReport *report);

/* How far from the pole the measuring looks where there is a cap and no region. */
double uf_grain_farthest_rad(const UfCap *cap);

#endif

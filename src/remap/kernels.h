/*
 * The sampling kernels: from a run of places in the source to a run of pixels.
 *
 * They are kept in a struct of function pointers, so that variants for wider instruction sets can be put over
 * the scalar ones by the machine's abilities; the scalar ones are the truth that the others are tested
 * against.
 *
 * Places are in the source's pixels, centres at +1/2, doubles: x in [0, width], y in [0, height]. A NaN means
 * that nothing is seen there. Interpolation works on stored values with alpha premultiplied; integers are
 * rounded to the nearest code (halves up) and clamped. Cubic: R. G. Keys, IEEE Trans. ASSP 29(6), 1153-1160
 * (1981), a = -1/2.
 */
#ifndef UF_REMAP_KERNELS_H
#define UF_REMAP_KERNELS_H

#include "remap/source.h"

/* Writes `count` pixels, one after another; 0 in every channel where nothing is seen. */
typedef void UfSampleRun(const UfSource *source, const double *x_px, const double *y_px, size_t count,
                         void *out);

/* Sums over places: linear light (0..1) times alpha, and alpha (0..1; 1 where the source has none). */
typedef struct UfLightSum {
    double colour[3];
    double alpha;
} UfLightSum;

/* Adds the interpolated linear light at `count` places, all of them seen. */
typedef void UfSumRun(const UfSource *source, const double *x_px, const double *y_px, size_t count,
                      UfLightSum *sum);

typedef struct UfKernels {
    UfSampleRun *nearest, *bilinear, *bicubic;
    UfSampleRun *sharp; /* needs source->spline */
    UfSumRun *sum_bilinear, *sum_bicubic;
} UfKernels;

/*
 * For pictures of `channels` samples of that type; with adds_alpha (1 and 3 channels) the written pixels have
 * one sample more. cpu_flags is for the variants to come: 0 asks for the scalar ones.
 */
void uf_kernels_init(UfKernels *kernels, UfSample sample, size_t channels, bool adds_alpha,
                     unsigned cpu_flags);

/* Keys' weights of the taps at -1, 0, 1, 2 for the place t in [0, 1). Their sum is 1 to rounding. */
void uf_keys_weights(double t, double weights[4]);

#endif

/* The membrane: the harmonic continuation of a ring's colours over the cap. */
#ifndef UF_PATCH_MEMBRANE_H
#define UF_PATCH_MEMBRANE_H

#include <underfoot/patch.h>

#include "patch/cap.h"

/* The ring's Fourier coefficients, one set a colour channel. Opaque. */
typedef struct UfMembrane UfMembrane;

/*
 * From a ring at angle `edge_rad` about the pole: `values` is count x channels, interleaved, evenly spaced
 * over the full turn (sample i at longitude (i + 1/2) 2 pi/count - pi). No filter. On success the caller owns
 * *out.
 */
UfStatus uf_membrane_from_ring(const double *values, size_t count, size_t channels, double edge_rad,
                               int threads, UfMembrane **out, UfReport *report);
/*
 * From the rows just outside cap + feather. Single odd pixels and transparent ones weigh little or nothing,
 * and detail finer than the ring is high is taken out. The slope of the belt outside is kept where it is sure
 * (membrane_slope.h). UF_ERROR_UNCLEAR when nothing of the ring is opaque.
 */
UfStatus uf_membrane_from_picture(const UfPicture *panorama, const UfCap *cap, UfMembrane **out,
                                  UfReport *report);
void uf_membrane_free(UfMembrane **membrane);
/*
 * Makes rows at the given angles about the pole (at most edge_rad) ready to be taken from: as many of the
 * `count` as there is room for, at least 1; their number. Those of the call before are ready no longer. What
 * is found on the way is kept for the next call, and changes nothing but its speed: one call at a time.
 */
size_t uf_membrane_ready(UfMembrane *membrane, const double *angles_rad, size_t count);
/* Columns [x0_px, x0_px + count) of ready row `row`, by several threads: out[count x channels]. */
void uf_membrane_run(const UfMembrane *membrane, size_t row, size_t x0_px, size_t count, float *out);

#endif

/*
 * Grain: what a camera's noise, a noise filter or JPEG left in smooth parts of a panorama, measured in the
 * ring around a cap, and made anew for the fill, which has none.
 */
#ifndef UF_PATCH_GRAIN_H
#define UF_PATCH_GRAIN_H

#include <underfoot/picture.h>

#include "patch/cap.h"

/* A field of noise over the tangent plane of the pole. Opaque, immutable. */
typedef struct UfGrain UfGrain;

/*
 * Measures the smooth places of the belts just outside cap + feather and makes noise of the same spectrum.
 * *out is NULL where the ring has no grain beyond the rounding of its samples, or shows no smooth place. The
 * same seed makes the same noise. On success the caller owns *out.
 */
UfStatus uf_grain_measure(const UfPicture *panorama, const UfCap *cap, unsigned seed, UfGrain **out,
                          UfReport *report);
void uf_grain_free(UfGrain **grain);
/* Root mean square of the noise of colour channel `c`, stored values 0..1. */
double uf_grain_sigma(const UfGrain *grain, size_t c);
/*
 * The noise at (x, y), in pixels of the panorama's equator from the pole on its tangent plane, of all colour
 * channels: out[3], 0 beyond the picture's channels. To be added to stored values 0..1.
 */
void uf_grain_at(const UfGrain *grain, double x_px, double y_px, float out[4]);
/*
 * Adds noise to columns [x0_px, x0_px + count) of a fill's row, count x channels, which will be laid over the
 * panorama with `weights` (NULL: all 1): where the weight w is below 1, as much more as keeps the variance,
 * what is under the fill having the same grain ((1 - w)^2 + w^2 k^2 = 1). Rows keep their distances from the
 * pole on the plane (azimuthal equidistant). x0_px is a whole multiple of UF_GRAIN_CHUNK.
 */
void uf_grain_add(const UfGrain *grain, const UfCap *cap, size_t y_px, size_t x0_px, size_t count,
                  const float *weights, float *fill);

#endif

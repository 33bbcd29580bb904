/*
 * Sharp sampling where the source's pixels lie closer together than the target's in one direction: towards
 * the poles of an equirectangular source.
 *
 * Along that direction the source is low-passed to what the target's pixels can hold, by a sinc windowed by
 * its own main lobe stretched over LOBES of them (C. E. Duchon, Lanczos Filtering in One and Two Dimensions,
 * J. Applied Meteorology 18(8), 1016-1022, 1979); across it the spline alone is right. Where the two are as
 * close as each other the filter is the spline itself. It works on stored values, as interpolation does.
 */
#ifndef UF_REMAP_STRETCH_H
#define UF_REMAP_STRETCH_H

#include "remap/kernels.h"
#include "remap/map.h"

/*
 * The places for the target's pixel at (x_px, y_px), where the source's row has been low-passed to footprints
 * of ready_px; 1 where it has not. False where this pixel's is about as long as that. The source is a full
 * sphere.
 */
bool uf_stretch_places(const UfMap *map, const UfJacobian *jacobian, double x_px, double y_px,
                       double ready_px, UfPlaces *out);
/* The same without the places. */
bool uf_stretch_sets_in(const UfJacobian *jacobian, double ready_px);

#endif

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

#include "remap/footprint.h"
#include "remap/map.h"

/* The footprint's longer axis: its length in the source's pixels, and its direction in the target's. */
typedef struct UfAxis {
    double length_px, along_x, along_y;
} UfAxis;

UfAxis uf_stretch_axis(const UfJacobian *jacobian);

/* Whether it is longer than what the source's row has been low-passed to: footprints of ready_px; 1 where it
 * has not.
 */
bool uf_stretch_sets_in(const UfAxis *axis, double ready_px);

/* A pixel of the target, whose centre is (x_px, y_px): column i of rows[1], between the rows above and below.
 */
typedef struct UfStretchPixel {
    const UfMapRow *rows; /* three */
    size_t i;
    double x_px, y_px;
    UfAxis axis;
} UfStretchPixel;

/* The footprint of a pixel for which it sets in, in a source that is a full sphere. `room` must live as long
 * as `out`.
 */
void uf_stretch_footprint(const UfMap *map, const UfStretchPixel *pixel, double ready_px, UfPlaces *room,
                          UfFootprint *out);

#endif

/*
 * Rows of a full equirectangular picture, low-passed to the detail that a target can hold.
 *
 * Towards the poles a row has ever more pixels than there is sphere, and a target that looks at the pole has
 * fewer than the row. Where all of the target's pixels on a row are about equally long there, as they are on
 * the faces down and up, the row is filtered once, before it becomes coefficients of the spline. Where the
 * filter (remap/lobe.h) is short the sum is taken as it is, where it is long through FFTW.
 */
#ifndef UF_REMAP_POLAR_H
#define UF_REMAP_POLAR_H

#include <fftw3.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/report.h"

typedef struct UfPolar {
    size_t width_px, channels;
    fftw_plan forth, back; /* NULL where no filter is long */
} UfPolar;

/* A thread's room. */
typedef struct UfPolarRoom {
    float *line;        /* a row with room for the longest sum on either side */
    double *values;     /* one channel of it */
    fftw_complex *bins; /* of the channel, and of the filter */
    fftw_complex *response;
} UfPolarRoom;

/* No row will be filtered for longer footprints than `longest_px`. */
UfStatus uf_polar_create(size_t width_px, size_t channels, double longest_px, UfPolar *out, UfReport *report);
void uf_polar_free(UfPolar *polar);
UfStatus uf_polar_room_create(const UfPolar *polar, UfPolarRoom *out, UfReport *report);
void uf_polar_room_free(UfPolarRoom *room);

/* Filters a row, width_px x channels floats, in place, for footprints of length_px pixels. */
void uf_polar_filter(const UfPolar *polar, double length_px, UfPolarRoom *room, float *samples);

#endif

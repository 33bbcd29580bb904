/*
 * What part of a full sphere the pixels of a rectilinear, stereographic or equirectangular target look at,
 * with all taps and footprints: so that only there the spline's coefficients are made, and only these rows
 * are read.
 *
 * The target is looked over at nodes some pixels apart. A pixel of a rectilinear view of scale f is at
 * most 1/f radian long, in any direction (1/f in the middle, cos and cos^2 of that outside), and so is one of
 * a stereographic view (1/(1 + tan^2(theta/2)) of that outside) or a panorama (its cosine along the row), so
 * that all that lies within d pixels of a node lies within d/f radian of its direction: on the sphere that is
 * d/f of latitude, and asin(sin(d/f) / cos(latitude)) of longitude, or every longitude where a pole is that
 * near.
 */
#ifndef UF_REMAP_SEEN_H
#define UF_REMAP_SEEN_H

#include "base/report.h"
#include "remap/map.h"

typedef struct UfSeen {
    ptrdiff_t first_row, end_row; /* rows first_row .. end_row - 1 */
    bool *columns;                /* owned; one for each of the source's columns */
} UfSeen;

/* Whether it can be told for such a target. */
bool uf_seen_serves(const UfView *target);
/* Adds what a part of the target sees; with first_row the source's height nothing is seen yet. The source is
 * a full sphere. */
void uf_seen_add(const UfMap *map, size_t left_px, size_t top_px, size_t right_px, size_t bottom_px,
                 UfSeen *seen);
/* The rows alone, or a few more: `columns` stays NULL, and there is nothing to free. */
void uf_seen_find_rows(const UfMap *map, UfSeen *out);
void uf_seen_free(UfSeen *seen);

#endif

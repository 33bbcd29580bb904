/*
 * What part of a full sphere the pixels of a rectilinear target look at, with all taps: so that only there
 * the spline's coefficients are made.
 *
 * The target is looked over at nodes UF_SEEN_APART_PX apart. A pixel of a rectilinear view of scale f is at
 * most 1/f radian long, in any direction (1/f in the middle, cos and cos^2 of that outside), so that all
 * that lies within d pixels of a node lies within d/f radian of its direction: on the sphere that is d/f of
 * latitude, and asin(sin(d/f) / cos(latitude)) of longitude, or every longitude where a pole is that near.
 */
#ifndef UF_REMAP_SEEN_H
#define UF_REMAP_SEEN_H

#include "base/report.h"
#include "remap/map.h"

#define UF_SEEN_APART_PX 16u

typedef struct UfSeen {
    ptrdiff_t first_row, end_row; /* rows first_row .. end_row - 1 */
    bool *columns;                /* owned; one for each of the source's columns */
} UfSeen;

/* The source is a full sphere, the target rectilinear. `out` is zeroed before. */
UfStatus uf_seen_find(const UfMap *map, UfSeen *out, UfReport *report);
void uf_seen_free(UfSeen *seen);

#endif

/* The ring of rows just outside the cap, made into one value a column and channel. */
#ifndef UF_PATCH_MEMBRANE_RING_H
#define UF_PATCH_MEMBRANE_RING_H

#include <underfoot/picture.h>

#include "patch/cap.h"

/* Height of the ring that is looked at. */
#define UF_RING_RAD (0.5 * UF_PI / 180)

typedef struct UfRing {
    double *values; /* count x channels */
    size_t count, channels, rows;
    double edge_rad;  /* the angle that the values belong to */
    double first_rad; /* of the ring's first row */
    double step_rad;  /* from row to row */
} UfRing;

/* Zero-initialise *out before; clear it after. UF_ERROR_UNCLEAR when nothing of the ring is opaque. */
UfStatus uf_ring_read(const UfPicture *panorama, const UfCap *cap, UfRing *out, UfReport *report);
void uf_ring_clear(UfRing *ring);
/*
 * By what harmonic k of the values is to be multiplied: carries the mean of the rows back to the edge, and
 * takes out detail finer than the ring is high.
 */
double uf_ring_gain(const UfRing *ring, size_t k);
/* Mean of r^k (r^2 - 1)/2 over the rows, r = tan(angle/2)/tan(edge/2). */
double uf_ring_lift(const UfRing *ring, size_t k);

#endif

/*
 * Straight edges on the sphere.
 *
 * At a point d of the sphere the gradient of the brightness, a vector in the tangent plane there, is the
 * normal of the great circle that the edge through d lies on. Neighbours whose normals agree therefore belong
 * to one straight edge, wherever it lies in the picture; the great circle that fits its points best (the
 * least eigenvector of sum w d d') is its normal to a small part of a pixel.
 *
 * The growing of regions follows R. Grompone von Gioi, J. Jakubowicz, J.-M. Morel, G. Randall, LSD: A Fast
 * Line Segment Detector with a False Detection Control, IEEE TPAMI 32(4), 722-732 (2010), done on the sphere.
 */
#ifndef UF_LEVEL_SEGMENTS_H
#define UF_LEVEL_SEGMENTS_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

typedef struct UfSegment {
    UfDirection normal; /* of its great circle */
    double length_rad;  /* along it */
    double doubt_rad;   /* how far it may miss where it leads, one standard deviation */
} UfSegment;

typedef struct UfSegments {
    UfSegment *items; /* owned */
    size_t count;
} UfSegments;

/* Nearly upright ones only (within `lean_rad` of it), between the latitudes +-reach_rad. free(out->items)
 * ends it. */
UfStatus uf_find_segments(const UfPicture *panorama, double lean_rad, double reach_rad, UfSegments *out,
                          UfReport *report);

/* The eigenvector of the least eigenvalue of a symmetric matrix, and the eigenvalues in rising order. */
UfDirection uf_least_axis(double matrix[3][3], double values[3]);

#endif

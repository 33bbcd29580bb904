/* The places where an equirectangular picture meets itself: the seam and the poles. */
#ifndef UF_CHECK_SEAM_H
#define UF_CHECK_SEAM_H

#include "check/level.h"

typedef struct UfSeam {
    double difference; /* mean absolute difference across the seam, of 255 */
    double ratio;      /* the same divided by that of neighbouring columns near it */
    bool is_broken;
    double worst_difference, worst_lat_deg; /* the band of latitude where it is largest, and its middle */
} UfSeam;

void uf_seam_measure(const UfPixels *pixels, UfSeam *out);

typedef struct UfPole {
    double spread; /* mean absolute deviation from the row's mean, of 255 */
    bool is_torn;  /* the row is not one point */
} UfPole;

void uf_pole_measure(const UfPixels *pixels, bool at_zenith, UfPole *out);

#endif

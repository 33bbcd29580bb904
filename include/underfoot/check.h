/*
 * Is it a sound panorama? What a file is, and what is wrong with it.
 */
#ifndef UNDERFOOT_CHECK_H
#define UNDERFOOT_CHECK_H

#include <underfoot/api.h>
#include <underfoot/picture.h>

UF_API_BEGIN

typedef enum UfHoleKind { UF_HOLE_TRANSPARENT = 0, UF_HOLE_BLACK, UF_HOLE_FLAT } UfHoleKind;

/* A connected area without picture. */
typedef struct UfHole {
    UfHoleKind kind;
    double lon_deg, lat_deg;  /* its centre of gravity on the sphere */
    double radius_deg;        /* of the smallest circle about that centre that holds it */
    double sphere_percent;    /* its share of the sphere */
} UfHole;

#define UF_CHECK_MAX_HOLES 16

typedef struct UfCheck {
    UfPictureInfo info;
    char profile[96];
    UfPhotoSphere sphere;
    bool has_exif, has_xmp, has_icc;
    bool is_two_to_one;
    /*
     * Mean absolute difference between the columns on both sides of the seam, divided by the mean of the same
     * between neighbouring columns near it: about 1 for a sound picture. And the plain difference, of 255.
     */
    double seam_ratio, seam_difference;
    /* Mean absolute deviation from the row's mean of the first and last row, of 255: near 0 for a sound pole. */
    double zenith_spread, nadir_spread;
    size_t hole_count;        /* stored: the largest UF_CHECK_MAX_HOLES */
    UfHole holes[UF_CHECK_MAX_HOLES];
    /* Each finding is a sentence in the report's warnings; this is their number. */
    size_t finding_count;
} UfCheck;

/*
 * Reads the file and fills *out. Findings (not 2:1, broken seam, pole rows not uniform, holes, missing or stale
 * metadata) are warnings in the report: the call itself succeeds for every picture that can be read.
 */
UfStatus uf_check(const char *path, const UfReadOptions *options, UfCheck *out, UfReport *report);

UF_API_END
#endif

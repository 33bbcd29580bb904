/*
 * A photograph of the bare floor (a plate) as the fill of a cap: taken by hand, from elsewhere, or a frame of
 * the same head turned round. A flat floor seen from two places differs by a homography (R. Hartley, A.
 * Zisserman, Multiple View Geometry, 2nd ed. 2003, section 13.1), so neither place nor direction nor the
 * focal length of a rectilinear lens has to be known.
 */
#ifndef UNDERFOOT_PLATE_H
#define UNDERFOOT_PLATE_H

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/plan.h>

UF_API_BEGIN

/* The same point of the floor in both pictures, in pixels of the upright pictures, pixel centres at +1/2. */
typedef struct UfPointPair {
    UfPixelPoint photo, panorama;
} UfPointPair;

/* Pairs that a plate takes. */
#define UF_PLATE_LEAST_PAIRS 4u
#define UF_PLATE_MOST_PAIRS  1000u

/* Everything is borrowed. */
typedef struct UfPlate {
    const UfPicture *photo;   /* alpha below 1 means 'not this': shoes, a tripod */
    const UfCamera *camera;   /* lens and sensor; NULL: a rectilinear lens */
    const UfPointPair *pairs; /* NULL: found by itself; otherwise at least UF_PLATE_LEAST_PAIRS */
    size_t pair_count;
} UfPlate;

/* How well the photograph fits the floor around the cap. Pixels are those of the floor's plane, which are as
 * large as the panorama's at its equator unless the plane was limited. */
typedef struct UfPlateFit {
    size_t matches, inliers; /* features that agree; 0 with pairs */
    double inlier_rms_px;    /* of the agreeing features, or of the pairs */
    double correlation;      /* of detail on the ring, -1..1 */
    double rival;            /* of the best other way to lay it; 0 where none was looked for */
    double shift_rms_px;     /* how far pieces of the ring still lie apart */
    double tone_rms;         /* after matching the colours, of full scale */
    double overlap;          /* share of the ring that the photograph shows, 0..1 */
    double cover;            /* share of the hole that it fills, 0..1 */
    double sharpness;        /* its pixels per pixel of the plane, along a side */
} UfPlateFit;

/*
 * Reads point pairs: a line each, 'photo_x photo_y panorama_x panorama_y', '#' starts a comment. Mistakes are
 * UF_ERROR_FORMAT with file and line. On success the caller frees *out with free().
 */
UfStatus uf_plate_pairs_read(const char *path, UfPointPair **out, size_t *count, UfReport *report);

UF_API_END
#endif

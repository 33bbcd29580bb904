/*
 * The plate's photograph behind its lens. Its places are given as rectified points q: where the ray meets the
 * plane at distance 1 in front of the lens, x right, y down; a rectilinear lens whose focal length is not
 * known is taken to have half the picture's diagonal, which a homography makes good again.
 */
#ifndef UF_PATCH_PLATE_PHOTO_H
#define UF_PATCH_PLATE_PHOTO_H

#include <underfoot/plate.h>

#include "patch/grey.h"
#include "patch/homography.h"
#include "picture/colour.h"

typedef struct UfPlatePhoto {
    const UfPicture *picture;   /* in the panorama's colours; borrowed */
    const UfTransfer *transfer; /* borrowed */
    bool is_rectilinear;
    UfLens lens;
    double mm_per_px, focal_px; /* focal_px: pixels per unit of q at the picture's centre */
    double
        tangent;  /* tangent of the angle from the axis per unit of q; a usual lens's where it is not known */
    double reach; /* largest |q| that is used */
    double centre_x, centre_y;
} UfPlatePhoto;

/* `camera` NULL: rectilinear. UF_ERROR_ARGUMENT when the photo has another shape than the camera's sensor. */
UfStatus uf_plate_photo_create(const UfPicture *picture, const UfTransfer *transfer, const UfCamera *camera,
                               UfPlatePhoto *out, UfReport *report);
/* Takes the angle of view from the EXIF of the photo as it was read, where it is stated. */
UfStatus uf_plate_photo_read_angle(const UfPicture *original, UfPlatePhoto *photo, UfReport *report);
/* The photo's pixel at a rectified point; false where the lens does not image it. */
bool uf_plate_photo_pixel(const UfPlatePhoto *photo, UfSpot q, UfSpot *pixel);
bool uf_plate_photo_ray(const UfPlatePhoto *photo, UfSpot pixel, UfSpot *q);

/*
 * The photo on a grid: `to_ray` leads from the grid's pixel points to q. Stored values, 4 a pixel; `known` 1
 * where the whole pixel is in the photo and opaque. Averaged in linear light where the grid is coarser, cubic
 * (Keys) where it is not. Only where `wanted` (NULL: everywhere) is not 0; the rest gets known 0.
 */
void uf_plate_photo_warp(const UfPlatePhoto *photo, const UfHomography *to_ray, size_t width, size_t height,
                         const uint8_t *wanted, int threads, float *value, uint8_t *known);
/* Photo pixels per grid pixel along a side at a point of the grid; 0 outside the photo. */
double uf_plate_photo_scale(const UfPlatePhoto *photo, const UfHomography *to_ray, UfSpot at);

#endif

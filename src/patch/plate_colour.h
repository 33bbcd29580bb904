/* The plate's colours brought to those of the floor around it. */
#ifndef UF_PATCH_PLATE_COLOUR_H
#define UF_PATCH_PLATE_COLOUR_H

#include "patch/floor_plane.h"
#include "patch/plate_photo.h"

typedef struct UfPlateColour {
    const UfTransfer *transfer; /* borrowed */
    bool is_root;
    size_t channels;
    double mix[3][4];    /* linear light: colour out = mix (colour in, 1) */
    double terms[3][4];  /* logarithm of a gain: 1, u, v (over the plane from -1 to 1), vignetting */
    UfHomography to_ray; /* for vignetting: from the plane's pixels */
    double tangent;      /* of the angle from the lens's axis, per unit of a ray */
    double cell_px;      /* of the plane, a cell of `rest` */
    size_t side;         /* of the plane, in cells */
    size_t side_px;
    float *rest; /* side x side x 4: what the terms leave of the logarithm */
} UfPlateColour;

/*
 * From where both are known. *tone_rms: what is left of the difference, of full scale. UF_ERROR_UNCLEAR when
 * they overlap hardly anywhere. Zero-initialise *out before; clear it after.
 */
UfStatus uf_plate_colour_match(const UfFloorPlane *plane, const UfPlatePhoto *photo, size_t channels,
                               const UfHomography *to_ray, int threads, UfPlateColour *out, double *tone_rms,
                               UfReport *report);
void uf_plate_colour_clear(UfPlateColour *colour);
/* One pixel of the plate, 4 stored values of the photo, into values of the plane's canvas. */
void uf_plate_colour_apply(const UfPlateColour *colour, UfSpot plane_px, float value[4]);

#endif

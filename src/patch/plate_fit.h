/* How a photograph of the floor lies on the panorama's floor. */
#ifndef UF_PATCH_PLATE_FIT_H
#define UF_PATCH_PLATE_FIT_H

#include "patch/floor_plane.h"
#include "patch/plate_photo.h"

/*
 * Finds the homography from the plane's pixels to the photo's rays: by itself, or from the plate's pairs.
 * Where the fit is poor or not the only one, UF_ERROR_UNCLEAR with the figures.
 */
UfStatus uf_plate_fit(const UfFloorPlane *plane, const UfCap *cap, const UfPlatePhoto *photo,
                      const UfPlate *plate, size_t channels, UfHomography *to_ray, UfPlateFit *fit,
                      UfReport *report);

#endif

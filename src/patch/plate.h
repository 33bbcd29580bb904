/* A photograph of the bare floor laid into the hole of the floor's plane. */
#ifndef UF_PATCH_PLATE_H
#define UF_PATCH_PLATE_H

#include <underfoot/plate.h>

#include "patch/floor_plane.h"

/* What the arguments say by themselves: pairs and their number, a photo large enough. */
UfStatus uf_plate_check(const UfPlate *plate, const UfCap *cap, UfReport *report);
/*
 * Fits the plate to the ring and fills the hole of `plane` with it: its pixels become sources. Hole that it
 * does not show stays hole, with a warning. UF_ERROR_UNCLEAR, with the figures, where it does not fit well
 * enough.
 */
UfStatus uf_plate_lay(const UfPicture *panorama, const UfCap *cap, const UfPlate *plate, UfFloorPlane *plane,
                      UfPlateFit *fit, UfReport *report);

#endif

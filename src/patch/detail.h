/* The detail that interpolation costs, given back. */
#ifndef UF_PATCH_DETAIL_H
#define UF_PATCH_DETAIL_H

#include <underfoot/picture.h>

#include "patch/cap.h"
#include "patch/floor_plane.h"

/*
 * Sharpens the plane just so much that its way home (one more interpolation) leaves the ring as detailed as
 * the panorama shows it.
 */
UfStatus uf_detail_restore(const UfPicture *panorama, const UfCap *cap, UfFloorPlane *plane,
                           UfReport *report);

#endif

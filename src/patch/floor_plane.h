/* Into the floor's plane and out of it. */
#ifndef UF_PATCH_FLOOR_PLANE_H
#define UF_PATCH_FLOOR_PLANE_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

#include "patch/canvas.h"
#include "patch/cap.h"

typedef struct UfFloorPlane {
    UfView view;
    bool is_root; /* the canvas holds square roots: a float picture of linear light, compared as an eye
                     compares */
    UfCanvas canvas;
    UfBox shown; /* what of it goes home */
} UfFloorPlane;

/*
 * The cap and a ring to copy from, as a canvas of stored values; the cap is hole. The canvas's top points to
 * `heading_rad` of the panorama.
 * UF_ERROR_UNCLEAR when the cap leaves no ring where the floor is still seen well, when it is smaller than a
 * patch, or when too little of the ring is picture. Zero-initialise *out before; clear it after.
 */
UfStatus uf_floor_plane_read(const UfPicture *panorama, const UfCap *cap, bool has_plate, double heading_rad,
                             UfFloorPlane *out, UfReport *report);
/*
 * How far from the middle the fill must be sound: what is seen of it, and somewhat more. 0 where a region
 * says itself what is to be covered.
 */
double uf_floor_plane_reach(const UfFloorPlane *plane, const UfCap *cap);
/* How far from the pole uf_floor_plane_read looks at the panorama, without a plate; 0 where it refuses the
 * cap. */
double uf_floor_plane_farthest_rad(const UfCap *cap);
/* How many pixels the plane of a cap without a region has; 0 where uf_floor_plane_read refuses the cap. */
size_t uf_floor_plane_pixels(const UfCap *cap, bool has_plate);
void uf_floor_plane_clear(UfFloorPlane *plane);

#endif

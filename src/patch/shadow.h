/*
 * The shadow of camera and tripod on level ground, in the floor's plane with the camera's height as the unit
 * of length: the convex hull of three discs in a row, one about the foot as large as the cap, two about the
 * head's shadow, whose distance is what the sun's disc and the slanting light stretch it by.
 *
 * A point at the distance s from the foot is shaded by what stands s tan(el) high and s/cos(el) away. The sun
 * is 0.53 degrees across (IAU 2015 resolution B3: radius 695700 km, 1 au; 0.2666 degrees of half-angle), so
 * the edge is soft by tan(0.2666 deg) s/cos(el) on either side across the light, and by that over sin(el)
 * along it.
 */
#ifndef UF_PATCH_SHADOW_H
#define UF_PATCH_SHADOW_H

#include <underfoot/sphere.h>

typedef struct UfShadow {
    double ahead_x, ahead_z; /* unit vector away from the sun; x right, z forward of the panorama's centre */
    double foot_radius, head_radius;
    double head_from, head_to; /* where the head's two discs stand along it */
    double cut;                /* nothing is covered further from the foot than this */
    bool is_cut;
} UfShadow;

/* `sun`: where it stands in the panorama, latitude above 0. Width over height, the cap's radius on the floor
 * and how far the floor may be used are in heights. */
UfShadow uf_shadow_of(UfLonLat sun, double width, double foot_radius, double reach);
/* Distance of a point of the floor from the shadow's edge: negative inside. */
double uf_shadow_distance(const UfShadow *shadow, double x, double z);

#endif

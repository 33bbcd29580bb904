/*
 * The cap about a pole, seen as rows of a 2:1 equirectangular picture. Ring 0 is the row that touches the
 * pole; the centre of ring r lies (r + 1/2) pi/H from it. Nadir and zenith differ in nothing but the order of
 * the rows.
 */
#ifndef UF_PATCH_CAP_H
#define UF_PATCH_CAP_H

#include <underfoot/patch.h>

typedef struct UfRegion UfRegion;

typedef struct UfCap {
    size_t width_px, height_px;
    bool at_zenith;
    double cap_rad, feather_rad; /* cap_rad 0: no cap, only the region */
    const UfRegion *region;      /* what is covered beside the cap, or NULL; see region.h */
    int threads;                 /* at least 1 */
} UfCap;

/* The picture's row of a ring, and back. */
size_t uf_cap_row(const UfCap *cap, size_t ring);
/* Angle between the pole and the centre of a ring. */
double uf_cap_ring_angle_rad(const UfCap *cap, size_t ring);
/* Number of rings whose centre is nearer to the pole than `angle_rad`. */
size_t uf_cap_ring_count(const UfCap *cap, double angle_rad);
/* The first of the picture's rows that the `rings` rings nearest to the pole take up. */
size_t uf_cap_first_row(const UfCap *cap, size_t rings);
/* How much of the fill is seen: 1 inside the cap, smoothstep in angle to 0 at cap + feather. */
double uf_cap_weight(const UfCap *cap, double angle_rad);
/* The outer edge of what may change. */
double uf_cap_outer_rad(const UfCap *cap);
/* How a picture laid flat on the cap lies: it looks at the pole, its top points to `heading_rad`. */
UfRotation uf_cap_rotation(const UfCap *cap, double heading_rad);
/* Picture rows y0 .. y0 + count - 1 of the panorama as a view. */
UfView uf_cap_rows_view(const UfCap *cap, size_t y0_px, size_t count);

#endif

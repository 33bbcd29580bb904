/* What a solid covers as seen from the entrance pupil, and whether a cone of directions is inside of it. */
#ifndef UF_PLAN_OUTLINE_H
#define UF_PLAN_OUTLINE_H

#include "plan/lens.h"

#define UF_OUTLINE_MAX_PLANES 6

/* Directions d with n . d <= 0 for every plane; none when `count` is 0. */
typedef struct UfPlanes {
    UfDirection normals[UF_OUTLINE_MAX_PLANES]; /* unit vectors */
    int count;
} UfPlanes;

typedef struct UfOutline {
    UfPlanes outer, inner; /* hold the solid; are held by it */
    /* What is seen as a disc: `axis` is the unit normal of its plane, away from the pupil at `height`. */
    bool is_disc;
    UfDirection axis, centre;
    double height, radius;
    double farthest_rad[2]; /* from the nadir, from the zenith; pi where that is not known */
} UfOutline;

/* Corners as in from_mm and to_mm: each side of `low` is not above `high`'s. */
UfOutline uf_outline_of_box(const double low[3], const double high[3]);
/* `end` is one end, `axis` the unit vector to the other. */
UfOutline uf_outline_of_rod(UfDirection end, UfDirection axis, double length, double radius);
/* Horizontal, about `centre`. */
UfOutline uf_outline_of_disc(UfDirection centre, double radius);

/* How much of the cone the solid covers. */
UfShare uf_outline_covers(const UfOutline *outline, UfCone cone);

#endif

/* Rays from the entrance pupil (the origin) against the hardware's shapes, millimetres, double precision. */
#ifndef UF_PLAN_SOLID_H
#define UF_PLAN_SOLID_H

#include "plan/outline.h"

/* A part made ready for rays. */
typedef struct UfSolid {
    UfPartShape shape;
    double low[3], high[3]; /* box */
    UfDirection end, axis;  /* rod: one end, unit vector to the other */
    double length, radius;
    double end_along, end_across_square; /* rod: end . axis; |end - its part along the axis|^2 */
    UfDirection centre;                  /* disc */
    UfDirection cone_axis;               /* every ray that meets the solid is within this cone */
    double cone_cos;
    UfOutline outline;
} UfSolid;

/* The part must have sides and a length above zero. */
UfSolid uf_solid_from_part(const UfPart *part);
/* Distance at which the ray from the origin along a unit vector first meets the solid; INFINITY when it does
 * not. */
double uf_solid_distance(const UfSolid *solid, UfDirection along);
/* True when the origin is inside or on the surface: no camera can be there. */
bool uf_part_holds_pupil(const UfPart *part);

#endif

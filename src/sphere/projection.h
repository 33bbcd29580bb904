/*
 * The list of projections. A new one is a file with its forward and inverse, a line here, and its name in the
 * public UfProjection.
 */
#ifndef UF_SPHERE_PROJECTION_H
#define UF_SPHERE_PROJECTION_H

#include <float.h>

#include <underfoot/sphere.h>

/* Identifier, file, one line of description. */
#define UF_PROJECTIONS(X)                                                                                    \
    X(EQUIRECTANGULAR, equirectangular, "x = longitude, y = latitude; the whole sphere, 2:1")                \
    X(RECTILINEAR, rectilinear,                                                                              \
      "r = tan(theta); straight lines stay straight (gnomonic), below 180 degrees")                          \
    X(STEREOGRAPHIC, stereographic, "r = 2 tan(theta/2); keeps angles (little planets), below 360 degrees")  \
    X(EQUIDISTANT, equidistant, "r = theta; the ideal equidistant fisheye, the whole sphere")                \
    X(EQUISOLID, equisolid, "r = 2 sin(theta/2); keeps areas (the common fisheye), the whole sphere")        \
    X(ORTHOGRAPHIC, orthographic, "r = sin(theta); a globe seen from far away, the half sphere")

/* What one file defines. Both leave *out untouched when they return false. */
typedef struct UfProjectionMap {
    /* `direction` is a unit vector in the camera's frame. */
    bool (*forward)(UfDirection direction, UfPlanePoint *out);
    bool (*inverse)(UfPlanePoint point, UfDirection *out);
} UfProjectionMap;

#define UF_DECLARE(id, file, text) extern const UfProjectionMap uf_projection_##file;
UF_PROJECTIONS(UF_DECLARE)
#undef UF_DECLARE

/*
 * What rounding alone may put on the wrong side of the limit of a domain, relative: what is that close is taken as
 * lying on the limit, so that a border computed in double precision is treated as the border that was meant.
 */
#define UF_LIMIT_SLACK (8 * DBL_EPSILON)

#endif

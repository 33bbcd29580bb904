/*
 * Rectilinear (gnomonic): r = tan theta, theta < 90 degrees; a pinhole camera, a cube face.
 * Snyder, PP 1395, (22-3) with the centre on the axis: x = d_x / d_z.
 */
#include "sphere/projection.h"

#include <math.h>

static bool forward(UfDirection direction, UfPlanePoint *out)
{
    if (!(direction.z > UF_LIMIT_SLACK))
        return false;
    UfPlanePoint at = {direction.x / direction.z, direction.y / direction.z};
    if (!isfinite(at.x) || !isfinite(at.y))
        return false;
    *out = at;
    return true;
}

static bool inverse(UfPlanePoint point, UfDirection *out)
{
    double length = hypot(hypot(point.x, point.y), 1);
    if (!isfinite(length))
        return false;
    *out = (UfDirection){point.x / length, point.y / length, 1 / length};
    return true;
}

const UfProjectionMap uf_projection_rectilinear = {forward, inverse};

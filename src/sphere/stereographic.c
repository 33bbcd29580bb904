/*
 * Stereographic: r = 2 tan(theta/2), theta < 180 degrees; keeps angles, the little planet.
 * Snyder, PP 1395, (21-4) with k0 = 1: x = 2 d_x / (1 + d_z).
 * 1 + d_z cancels towards the antipode; there tan(theta/2) = (1 - d_z) / sin(theta) is used instead.
 */
#include "sphere/projection.h"

#include <math.h>

static bool forward(UfDirection direction, UfPlanePoint *out)
{
    double sine = hypot(direction.x, direction.y);
    if (!(sine > UF_LIMIT_SLACK) && direction.z < 0)
        return false;
    UfPlanePoint at;
    if (direction.z >= 0) {
        at = (UfPlanePoint){2 * direction.x / (1 + direction.z), 2 * direction.y / (1 + direction.z)};
    } else {
        double radius = 2 * (1 - direction.z) / sine;
        at = (UfPlanePoint){radius * (direction.x / sine), radius * (direction.y / sine)};
    }
    if (!isfinite(at.x) || !isfinite(at.y))
        return false;
    *out = at;
    return true;
}

static bool inverse(UfPlanePoint point, UfDirection *out)
{
    double tangent = hypot(point.x, point.y) / 2;
    if (!isfinite(tangent))
        return false;
    if (tangent <= 1) {
        double scale = 1 / (1 + tangent * tangent);
        *out = (UfDirection){point.x * scale, point.y * scale, (1 - tangent * tangent) * scale};
    } else {
        double cotangent = 1 / tangent;
        double scale = 1 / (1 + cotangent * cotangent);
        *out = (UfDirection){point.x * cotangent * cotangent * scale, point.y * cotangent * cotangent * scale,
                             (cotangent * cotangent - 1) * scale};
    }
    return true;
}

const UfProjectionMap uf_projection_stereographic = {forward, inverse};

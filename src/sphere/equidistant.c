/*
 * Azimuthal equidistant: r = theta; the ideal equidistant fisheye.
 * Snyder, PP 1395, (25-2): k' = c / sin c. Kannala and Brandt 2006, (3).
 * The antipode is the whole circle r = pi; its point on the x axis stands for it.
 */
#include "sphere/projection.h"

#include <math.h>

static bool forward(UfDirection direction, UfPlanePoint *out)
{
    double sine = hypot(direction.x, direction.y);
    if (sine == 0) {
        *out = (UfPlanePoint){direction.z < 0 ? UF_PI : 0, 0};
        return true;
    }
    double theta_rad = atan2(sine, direction.z);
    *out = (UfPlanePoint){theta_rad * (direction.x / sine), theta_rad * (direction.y / sine)};
    return true;
}

static bool inverse(UfPlanePoint point, UfDirection *out)
{
    double theta_rad = hypot(point.x, point.y);
    if (!(theta_rad <= UF_PI * (1 + UF_LIMIT_SLACK)))
        return false;
    if (theta_rad == 0) {
        *out = (UfDirection){0, 0, 1};
        return true;
    }
    double sine = sin(fmin(theta_rad, UF_PI));
    *out = (UfDirection){sine * (point.x / theta_rad), sine * (point.y / theta_rad), cos(theta_rad)};
    return true;
}

const UfProjectionMap uf_projection_equidistant = {forward, inverse};

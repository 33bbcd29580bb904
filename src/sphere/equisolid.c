/*
 * Equisolid angle (Lambert's azimuthal equal-area): r = 2 sin(theta/2); keeps areas, the common fisheye.
 * Snyder, PP 1395, (24-2): k' = sqrt(2 / (1 + cos c)). Kannala and Brandt 2006, (4).
 * 1 + d_z cancels behind the camera; there r = sqrt(2 (1 - d_z)) is used instead.
 * The antipode is the whole circle r = 2; its point on the x axis stands for it.
 */
#include "sphere/projection.h"

#include <math.h>

static bool forward(UfDirection direction, UfPlanePoint *out)
{
    if (direction.z >= 0) {
        double scale = sqrt(2 / (1 + direction.z));
        *out = (UfPlanePoint){direction.x * scale, direction.y * scale};
        return true;
    }
    double sine = hypot(direction.x, direction.y);
    if (sine == 0) {
        *out = (UfPlanePoint){2, 0};
        return true;
    }
    double radius = sqrt(2 * (1 - direction.z));
    *out = (UfPlanePoint){radius * (direction.x / sine), radius * (direction.y / sine)};
    return true;
}

static bool inverse(UfPlanePoint point, UfDirection *out)
{
    double radius = hypot(point.x, point.y);
    if (!(radius <= 2 * (1 + UF_LIMIT_SLACK)))
        return false;
    double half_sine = fmin(radius / 2, 1);
    double half_cosine = sqrt((1 - half_sine) * (1 + half_sine));
    *out = (UfDirection){point.x * half_cosine, point.y * half_cosine, 1 - 2 * half_sine * half_sine};
    return true;
}

const UfProjectionMap uf_projection_equisolid = {forward, inverse};

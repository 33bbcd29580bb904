/*
 * Orthographic: r = sin theta, theta <= 90 degrees; a globe seen from far away.
 * Snyder, PP 1395, (20-3), (20-4) with the centre on the axis: x = d_x. Kannala and Brandt 2006, (5).
 */
#include "sphere/projection.h"

#include <math.h>

static bool forward(UfDirection direction, UfPlanePoint *out)
{
    if (!(direction.z >= -UF_LIMIT_SLACK))
        return false;
    *out = (UfPlanePoint){direction.x, direction.y};
    return true;
}

static bool inverse(UfPlanePoint point, UfDirection *out)
{
    double sine = hypot(point.x, point.y);
    if (!(sine <= 1 + UF_LIMIT_SLACK))
        return false;
    double over = fmax(sine, 1);
    *out = (UfDirection){point.x / over, point.y / over, sqrt(fmax(0, (1 - sine) * (1 + sine)))};
    return true;
}

const UfProjectionMap uf_projection_orthographic = {forward, inverse};

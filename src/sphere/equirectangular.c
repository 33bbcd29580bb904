/*
 * Equirectangular (equidistant cylindrical with the equator true to scale, plate carree): x = lambda, y =
 * phi. Snyder, PP 1395, (12-1), (12-2), (12-5), (12-6) with phi_1 = 0. Longitude goes round: the inverse
 * takes x modulo a full turn. Beyond the poles there is nothing.
 */
#include "sphere/projection.h"

#include <math.h>

static bool forward(UfDirection direction, UfPlanePoint *out)
{
    UfLonLat at = uf_lonlat_from_direction(direction);
    *out = (UfPlanePoint){at.lon_rad, at.lat_rad};
    return true;
}

static bool inverse(UfPlanePoint point, UfDirection *out)
{
    const double pole = UF_PI / 2;
    if (!isfinite(point.x) || !(fabs(point.y) <= pole * (1 + UF_LIMIT_SLACK)))
        return false;
    double lat_rad = fmin(fmax(point.y, -pole), pole);
    *out = uf_direction_from_lonlat((UfLonLat){point.x, lat_rad});
    return true;
}

const UfProjectionMap uf_projection_equirectangular = {forward, inverse};

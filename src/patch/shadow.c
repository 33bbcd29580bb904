/* The shadow's outline; the distance to it is that to two tapered capsules. */
#include "patch/shadow.h"

#include <math.h>

#define SUN_HALF_ANGLE_RAD (0.2666 * UF_PI / 180)

UfShadow uf_shadow_of(UfLonLat sun, double width, double foot_radius, double reach)
{
    double length = 1 / tan(sun.lat_rad), slant = length / cos(sun.lat_rad);
    double soft = tan(SUN_HALF_ANGLE_RAD) * slant;
    UfShadow shadow = {.ahead_x = -sin(sun.lon_rad),
                       .ahead_z = -cos(sun.lon_rad),
                       .foot_radius = fmax(foot_radius, width / 2),
                       .head_radius = width / 2 + soft,
                       .head_from = length,
                       .cut = reach};
    /* across, the head's disc has grown by the soft edge already */
    shadow.head_to = length + width / 2 * (1 / sin(sun.lat_rad) - 1) + soft * (1 / sin(sun.lat_rad) - 1);
    shadow.is_cut = shadow.head_to + shadow.head_radius > reach;
    return shadow;
}

/* Two discs on the axis at a < b and the tangents between them (the convex hull): signed distance. */
static double capsule(double along, double across, double a, double radius_a, double b, double radius_b)
{
    double span = b - a, fall = span > 0 ? (radius_a - radius_b) / span : 0;
    double from_a = hypot(along - a, across) - radius_a, from_b = hypot(along - b, across) - radius_b;
    if (!(span > 0) || fall >= 1 || fall <= -1) /* one disc holds the other */
        return fmin(from_a, from_b);
    /* The tangent's normal leans by `fall` towards b; k tells beside which part of the hull the point lies.
     */
    double rise = sqrt(1 - fall * fall), s = along - a, t = fabs(across);
    double k = s * rise - t * fall;
    if (k < 0)
        return from_a;
    return k > span * rise ? from_b : s * fall + t * rise - radius_a;
}

double uf_shadow_distance(const UfShadow *shadow, double x, double z)
{
    double along = x * shadow->ahead_x + z * shadow->ahead_z;
    double across = x * shadow->ahead_z - z * shadow->ahead_x;
    double strip = capsule(along, across, 0, shadow->foot_radius, shadow->head_from, shadow->head_radius);
    double head =
        capsule(along, across, shadow->head_from, shadow->head_radius, shadow->head_to, shadow->head_radius);
    return fmax(fmin(strip, head), hypot(x, z) - shadow->cut);
}

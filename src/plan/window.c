/*
 * The part of the sphere that falls on a camera's sensor: within the lens's reach, and within the sensor's
 * sides after the mapping.
 */
#include <math.h>

#include "plan/lens.h"

/* Directions this near to a limit are decided by the exact test. */
#define COSINE_SLACK 1e-9

UfWindow uf_window_of_camera(const UfCamera *camera)
{
    double half_x_mm = (camera->portrait ? camera->sensor_short_mm : camera->sensor_long_mm) / 2;
    double half_y_mm = (camera->portrait ? camera->sensor_long_mm : camera->sensor_short_mm) / 2;
    double limit_rad = uf_lens_limit_rad(&camera->lens);
    double inner_rad = limit_rad;
    double outer_rad = limit_rad;
    uf_lens_angle_rad(&camera->lens, fmin(half_x_mm, half_y_mm), &inner_rad);
    uf_lens_angle_rad(&camera->lens, hypot(half_x_mm, half_y_mm), &outer_rad);
    return (UfWindow){.lens = camera->lens,
                      .limit_cos = limit_rad < UF_PI ? cos(limit_rad) : -2,
                      .half_x_mm = half_x_mm,
                      .half_y_mm = half_y_mm,
                      .sure_cos = cos(inner_rad) + COSINE_SLACK,
                      .never_cos = outer_rad < UF_PI ? cos(outer_rad) - COSINE_SLACK : -2};
}

bool uf_window_holds(const UfWindow *window, UfDirection in_camera)
{
    if (in_camera.z < window->never_cos)
        return false;
    if (in_camera.z > window->sure_cos)
        return true;
    UfPlanePoint at;
    return in_camera.z >= window->limit_cos && uf_lens_image_mm(&window->lens, in_camera, &at) &&
           fabs(at.x) <= window->half_x_mm && fabs(at.y) <= window->half_y_mm;
}

UfCone uf_cone(UfDirection axis, double radius_rad)
{
    return (UfCone){axis, radius_rad, cos(radius_rad), sin(radius_rad)};
}

/* A cone about (x, y, z), given by the angle theta from the axis and its image's azimuth. */
typedef struct Ring {
    double sine, cosine;   /* of theta */
    double cos_az, sin_az; /* 1, 0 where the cone holds the axis */
    double spread_sin, spread_cos;
    bool has_middle, has_back;
} Ring;

static Ring ring_of(UfCone cone)
{
    double sine = sqrt(cone.axis.x * cone.axis.x + cone.axis.y * cone.axis.y);
    Ring ring = {.sine = sine,
                 .cosine = cone.axis.z,
                 .spread_sin = 1,
                 .has_middle = cone.axis.z >= cone.cosine,
                 .has_back = cone.axis.z <= -cone.cosine};
    if (ring.has_middle || ring.has_back)
        return ring;
    ring.cos_az = cone.axis.x / sine;
    ring.sin_az = cone.axis.y / sine;
    ring.spread_sin = fmin(1, cone.sine / sine);
    ring.spread_cos = sqrt(1 - ring.spread_sin * ring.spread_sin);
    return ring;
}

/* Smallest and largest |cos| about an angle of which |cos| and |sin| are given. */
static void cosine_range(const Ring *ring, double cosine, double sine, double *least, double *most)
{
    bool is_wide = ring->has_middle || ring->has_back;
    *most = is_wide || sine <= ring->spread_sin ? 1 : cosine * ring->spread_cos + sine * ring->spread_sin;
    *least = is_wide || cosine <= ring->spread_sin ? 0 : cosine * ring->spread_cos - sine * ring->spread_sin;
}

/* The radius at which a lens images an angle from its axis; negative where it images nothing. */
static double radius_at(const UfLens *lens, double sine, double cosine)
{
    UfPlanePoint at;
    return uf_lens_image_mm(lens, (UfDirection){sine, 0, cosine}, &at) ? fabs(at.x) : -1;
}

/*
 * The cone's image lies between two circles and two rays from the middle, mappings being radial and growing:
 * within [theta - radius, theta + radius], and within asin(sin radius / sin theta) about its azimuth.
 */
static UfShare holds_by_ring(const UfWindow *window, UfCone cone)
{
    const double slack = 1e-8;
    const Ring ring = ring_of(cone);
    double least_x, most_x, least_y, most_y, near = 0;
    if (!ring.has_middle)
        near = radius_at(&window->lens, ring.sine * cone.cosine - ring.cosine * cone.sine,
                         ring.cosine * cone.cosine + ring.sine * cone.sine);
    if (near < 0)
        return UF_SHARE_NONE;
    cosine_range(&ring, fabs(ring.cos_az), fabs(ring.sin_az), &least_x, &most_x);
    cosine_range(&ring, fabs(ring.sin_az), fabs(ring.cos_az), &least_y, &most_y);
    if (near * least_x > window->half_x_mm + slack || near * least_y > window->half_y_mm + slack)
        return UF_SHARE_NONE;
    double far_cos = ring.cosine * cone.cosine - ring.sine * cone.sine;
    if (ring.has_back || far_cos < window->limit_cos + slack)
        return UF_SHARE_UNCLEAR;
    double far = radius_at(&window->lens, ring.sine * cone.cosine + ring.cosine * cone.sine, far_cos);
    return far >= 0 && far * most_x < window->half_x_mm - slack && far * most_y < window->half_y_mm - slack
               ? UF_SHARE_ALL
               : UF_SHARE_UNCLEAR;
}

/* The circles within which all, and beyond which nothing, is on the sensor settle most cones. */
UfShare uf_window_holds_cone(const UfWindow *window, UfCone in_camera)
{
    const double slack = 1e-9;
    double up = in_camera.axis.z, across = sqrt(fmax(0, 1 - up * up));
    bool has_middle = up >= in_camera.cosine, has_back = up <= -in_camera.cosine;
    double nearest = up * in_camera.cosine + across * in_camera.sine;
    double farthest = up * in_camera.cosine - across * in_camera.sine;
    if (!has_middle && nearest < fmax(window->never_cos, window->limit_cos) - slack)
        return UF_SHARE_NONE;
    if (!has_back && farthest > window->sure_cos + slack)
        return UF_SHARE_ALL;
    return holds_by_ring(window, in_camera);
}

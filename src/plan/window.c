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
                      .limit_rad = limit_rad,
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
    double across = hypot(in_camera.x, in_camera.y);
    double radius_mm = 0;
    if (!uf_lens_radius_within(&window->lens, window->limit_rad, atan2(across, in_camera.z), &radius_mm))
        return false;
    double scale = across > 0 ? radius_mm / across : 0;
    return fabs(in_camera.x) * scale <= window->half_x_mm && fabs(in_camera.y) * scale <= window->half_y_mm;
}

UfCone uf_cone(UfDirection axis, double radius_rad)
{
    return (UfCone){axis, radius_rad, cos(radius_rad), sin(radius_rad)};
}

/* Smallest and largest |cos| within `spread` about an angle. */
static void cosine_range(double angle, double spread, double *least, double *most)
{
    double from_axis = fabs(remainder(angle, UF_PI)), from_other = UF_PI / 2 - from_axis;
    *most = from_axis <= spread ? 1 : cos(from_axis - spread);
    *least = from_other <= spread ? 0 : cos(from_axis + spread);
}

/*
 * The cone's image lies between two circles and two rays from the middle, mappings being radial and growing:
 * within [theta - radius, theta + radius], and within asin(sin radius / sin theta) about its azimuth.
 */
static UfShare holds_by_ring(const UfWindow *window, UfDirection in_camera, double radius)
{
    const double slack = 1e-9;
    double theta = atan2(sqrt(in_camera.x * in_camera.x + in_camera.y * in_camera.y), in_camera.z);
    double near = 0, far = 0, least_x, most_x, least_y, most_y, spread = UF_PI;
    bool has_middle = theta <= radius, has_back = theta + radius >= UF_PI;
    if (!uf_lens_radius_within(&window->lens, window->limit_rad, has_middle ? 0 : theta - radius, &near))
        return UF_SHARE_NONE;
    if (!has_middle && !has_back)
        spread = asin(fmin(1, sin(radius) / sin(theta)));
    double azimuth = atan2(in_camera.y, in_camera.x);
    cosine_range(azimuth, spread, &least_x, &most_x);
    cosine_range(azimuth - UF_PI / 2, spread, &least_y, &most_y);
    if (near * least_x > window->half_x_mm + slack || near * least_y > window->half_y_mm + slack)
        return UF_SHARE_NONE;
    bool is_whole =
        !has_back && uf_lens_radius_within(&window->lens, window->limit_rad, theta + radius, &far);
    return is_whole && far * most_x < window->half_x_mm - slack && far * most_y < window->half_y_mm - slack
               ? UF_SHARE_ALL
               : UF_SHARE_UNCLEAR;
}

/* The circles within which all, and beyond which nothing, is on the sensor settle most cones. */
UfShare uf_window_holds_cone(const UfWindow *window, UfCone in_camera)
{
    const double slack = 1e-9;
    double up = in_camera.axis.z, across = sqrt(fmax(0, 1 - up * up));
    bool has_middle = up >= in_camera.cosine, has_back = up <= -in_camera.cosine;
    if (!has_middle && up * in_camera.cosine + across * in_camera.sine < window->never_cos - slack)
        return UF_SHARE_NONE;
    if (!has_back && up * in_camera.cosine - across * in_camera.sine > window->sure_cos + slack)
        return UF_SHARE_ALL;
    return holds_by_ring(window, in_camera.axis, in_camera.radius_rad + slack);
}

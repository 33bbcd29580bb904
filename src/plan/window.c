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

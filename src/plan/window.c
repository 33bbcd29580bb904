/*
 * The part of the sphere that falls on a camera's sensor: within the lens's reach, and within the sensor's
 * sides after the mapping.
 */
#include <math.h>

#include "plan/lens.h"

/* Directions this near to a limit are decided by the exact test. */
#define COSINE_SLACK 1e-9

/* Where a ray from the middle that leaves the sensor at a radius leaves what the lens images onto it. */
static double edge_cosine(const UfLens *lens, double radius_mm)
{
    double angle_rad = uf_lens_limit_rad(lens);
    uf_lens_angle_rad(lens, radius_mm, &angle_rad);
    return cos(angle_rad);
}

/* How far the edge bends away from a straight step is seen in the step's middle, and in its neighbours where
 * it bends the other way there; four times as much is allowed for. */
static void set_edge(UfWindow *window)
{
    double bends[UF_EDGE_STEPS + 2] = {0};
    const double to = 1 / fmin(window->half_x_mm, window->half_y_mm);
    window->edge_from = 1 / hypot(window->half_x_mm, window->half_y_mm);
    window->steps_mm = UF_EDGE_STEPS / (to - window->edge_from);
    for (int i = 0; i <= UF_EDGE_STEPS; i++)
        window->edge[i].cosine = edge_cosine(&window->lens, 1 / (window->edge_from + i / window->steps_mm));
    for (int i = 0; i < UF_EDGE_STEPS; i++)
        bends[i + 1] =
            fabs((window->edge[i].cosine + window->edge[i + 1].cosine) / 2 -
                 edge_cosine(&window->lens, 1 / (window->edge_from + (i + 0.5) / window->steps_mm)));
    for (int i = 0; i < UF_EDGE_STEPS; i++)
        window->edge[i].slack = 4 * fmax(bends[i + 1], fmax(bends[i], bends[i + 2])) + COSINE_SLACK;
}

/* Inside or outside of the edge, for a ray that leaves the sensor at 1/`inverse_mm` from the middle. */
static UfShare side_of_edge(const UfWindow *window, double inverse_mm, double cosine)
{
    double at = (inverse_mm - window->edge_from) * window->steps_mm;
    if (!(at >= 0 && at < UF_EDGE_STEPS))
        return UF_SHARE_UNCLEAR;
    const UfEdgeStep *step = &window->edge[(int)at];
    double inside = cosine - (step[0].cosine + (at - (int)at) * (step[1].cosine - step[0].cosine));
    if (fabs(inside) <= step->slack)
        return UF_SHARE_UNCLEAR;
    return inside > 0 ? UF_SHARE_ALL : UF_SHARE_NONE;
}

UfWindow uf_window_of_camera(const UfCamera *camera)
{
    double half_x_mm = (camera->portrait ? camera->sensor_short_mm : camera->sensor_long_mm) / 2;
    double half_y_mm = (camera->portrait ? camera->sensor_long_mm : camera->sensor_short_mm) / 2;
    double limit_rad = uf_lens_limit_rad(&camera->lens);
    double inner_rad = limit_rad;
    double outer_rad = limit_rad;
    uf_lens_angle_rad(&camera->lens, fmin(half_x_mm, half_y_mm), &inner_rad);
    uf_lens_angle_rad(&camera->lens, hypot(half_x_mm, half_y_mm), &outer_rad);
    UfWindow window = {.lens = camera->lens,
                       .limit_cos = limit_rad < UF_PI ? cos(limit_rad) : -2,
                       .half_x_mm = half_x_mm,
                       .half_y_mm = half_y_mm,
                       .sure_cos = cos(inner_rad) + COSINE_SLACK,
                       .never_cos = outer_rad < UF_PI ? cos(outer_rad) - COSINE_SLACK : -2};
    set_edge(&window);
    return window;
}

static bool image_is_inside(const UfWindow *window, UfDirection in_camera)
{
    UfPlanePoint at;
    return in_camera.z >= window->limit_cos && uf_lens_image_mm(&window->lens, in_camera, &at) &&
           fabs(at.x) <= window->half_x_mm && fabs(at.y) <= window->half_y_mm;
}

bool uf_window_holds(const UfWindow *window, UfDirection in_camera)
{
    if (in_camera.z < window->never_cos)
        return false;
    if (in_camera.z > window->sure_cos)
        return true;
    double across = sqrt(in_camera.x * in_camera.x + in_camera.y * in_camera.y);
    double x = fabs(in_camera.x) * window->half_y_mm, y = fabs(in_camera.y) * window->half_x_mm;
    double inverse_mm = (x > y ? x : y) / (window->half_x_mm * window->half_y_mm * across);
    UfShare share = side_of_edge(window, inverse_mm, in_camera.z);
    return share == UF_SHARE_UNCLEAR ? image_is_inside(window, in_camera) : share == UF_SHARE_ALL;
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
    ring.spread_sin = cone.sine < sine ? cone.sine / sine : 1;
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

/*
 * The cone's image lies between two circles and two rays from the middle, mappings being radial and growing:
 * within [theta - radius, theta + radius], and within asin(sin radius / sin theta) about its azimuth.
 */
static UfShare holds_by_ring(const UfWindow *window, UfCone cone)
{
    const Ring ring = ring_of(cone);
    double least_x, most_x, least_y, most_y;
    cosine_range(&ring, fabs(ring.cos_az), fabs(ring.sin_az), &least_x, &most_x);
    cosine_range(&ring, fabs(ring.sin_az), fabs(ring.cos_az), &least_y, &most_y);
    const double near_cos = ring.cosine * cone.cosine + ring.sine * cone.sine;
    const double far_cos = ring.cosine * cone.cosine - ring.sine * cone.sine;
    least_x /= window->half_x_mm;
    least_y /= window->half_y_mm;
    most_x /= window->half_x_mm;
    most_y /= window->half_y_mm;
    const double least = least_x > least_y ? least_x : least_y, most = most_x > most_y ? most_x : most_y;
    if (!ring.has_middle && side_of_edge(window, least, near_cos) == UF_SHARE_NONE)
        return UF_SHARE_NONE;
    return !ring.has_back && side_of_edge(window, most, far_cos) == UF_SHARE_ALL ? UF_SHARE_ALL
                                                                                 : UF_SHARE_UNCLEAR;
}

/* The circles within which all, and beyond which nothing, is on the sensor settle most cones. */
UfShare uf_window_holds_cone(const UfWindow *window, UfCone in_camera)
{
    const double slack = 1e-9;
    double up = in_camera.axis.z, square = 1 - up * up, across = square > 0 ? sqrt(square) : 0;
    bool has_middle = up >= in_camera.cosine, has_back = up <= -in_camera.cosine;
    double nearest = up * in_camera.cosine + across * in_camera.sine;
    double farthest = up * in_camera.cosine - across * in_camera.sine;
    if (!has_middle && (nearest < window->never_cos - slack || nearest < window->limit_cos - slack))
        return UF_SHARE_NONE;
    if (!has_back && farthest > window->sure_cos + slack)
        return UF_SHARE_ALL;
    return holds_by_ring(window, in_camera);
}

/* The places along a stretched footprint, and their weights. */
#include "remap/stretch.h"

#include <math.h>

#include "remap/lobe.h"

/*
 * Places for each pixel of the target, where there are more in the source: only waves of nearly that many to
 * a target pixel, and their multiples, could still pass for slower ones, and photographs have none of them up
 * there.
 */
#define DENSITY 4

/* The larger singular value of J. */
static double longest(const UfJacobian *j)
{
    double e = j->ux * j->ux + j->vx * j->vx, g = j->uy * j->uy + j->vy * j->vy;
    double f = j->ux * j->uy + j->vx * j->vy;
    return sqrt((e + g + sqrt((e - g) * (e - g) + 4 * f * f)) / 2);
}

/* The direction in the target's pixels that it belongs to. */
static void direction_of_longest(const UfJacobian *j, double *along_x, double *along_y)
{
    double e = j->ux * j->ux + j->vx * j->vx, g = j->uy * j->uy + j->vy * j->vy;
    double f = j->ux * j->uy + j->vx * j->vy;
    double angle = atan2(2 * f, e - g) / 2;
    *along_x = cos(angle);
    *along_y = sin(angle);
}

/* Beyond a pole of an equirectangular target the picture goes on in the opposite meridian. */
static bool place_of(const UfMap *map, double x_px, double y_px, double *u_px, double *v_px)
{
    const UfView *view = &map->target;
    if (view->projection == UF_PROJECTION_EQUIRECTANGULAR) {
        double pole_px = view->scale_px * UF_PI / 2;
        double top = view->centre_y_px - pole_px, bottom = view->centre_y_px + pole_px;
        if (y_px < top || y_px > bottom) {
            y_px = 2 * (y_px < top ? top : bottom) - y_px;
            x_px += 2 * pole_px;
        }
    }
    return uf_map_point(map, x_px, y_px, u_px, v_px);
}

_Static_assert(2 * UF_LOBES * DENSITY + 1 <= UF_PLACES_MAX, "the places of the longest footprint fit");

bool uf_stretch_sets_in(const UfJacobian *jacobian, double ready_px)
{
    return uf_lobe_share(longest(jacobian) / ready_px) > 0;
}

bool uf_stretch_places(const UfMap *map, const UfJacobian *jacobian, double x_px, double y_px,
                       double ready_px, UfPlaces *out)
{
    double along_x, along_y, sum = 0;
    double length = longest(jacobian), share = uf_lobe_share(length / ready_px);
    if (!(share > 0))
        return false;
    direction_of_longest(jacobian, &along_x, &along_y);
    double width = ready_px + share * (length - ready_px); /* of the filter, in source pixels */
    double step = fmax(1, width / DENSITY);
    int reach = (int)ceil(UF_LOBES * width / step) - 1;
    out->count = 0;
    for (int k = -reach; k <= reach; k++) {
        double along = k * step, t = along / length;
        double *u_px = &out->x_px[out->count], *v_px = &out->y_px[out->count];
        if (!place_of(map, x_px + along_x * t, y_px + along_y * t, u_px, v_px))
            continue;
        out->weights[out->count] = uf_lobe_weight(along, width);
        sum += out->weights[out->count++];
    }
    if (!(sum > 0.5))
        return false;
    for (size_t i = 0; i < out->count; i++)
        out->weights[i] /= sum;
    return true;
}

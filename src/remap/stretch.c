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

_Static_assert(2 * UF_LOBES * DENSITY + 1 <= UF_PLACES_MAX, "the places of the longest footprint fit");

/* (a, f) and (f, -a) are what J'J differs by from a multiple of the unit matrix; the direction is half the
 * angle of (a, f). */
UfAxis uf_stretch_axis(const UfJacobian *j)
{
    double e = j->ux * j->ux + j->vx * j->vx, g = j->uy * j->uy + j->vy * j->vy;
    double f = j->ux * j->uy + j->vx * j->vy, a = (e - g) / 2, differ = sqrt(a * a + f * f);
    double cosine = differ > 0 ? a / differ : 1;
    return (UfAxis){.length_px = sqrt((e + g) / 2 + differ),
                    .along_x = sqrt((1 + cosine) / 2),
                    .along_y = copysign(sqrt((1 - cosine) / 2), f)};
}

bool uf_stretch_sets_in(const UfAxis *axis, double ready_px)
{
    return uf_lobe_share(axis->length_px / ready_px) > 0;
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

/* One by one, `step` pixels of the target apart. */
static void find_exactly(const UfMap *map, const UfStretchPixel *pixel, const UfAxis *axis, double step,
                         int count, UfPlaces *out)
{
    for (int n = 0; n < count; n++) {
        const double t = (n - count / 2) * step;
        out->there[n] = place_of(map, pixel->x_px + axis->along_x * t, pixel->y_px + axis->along_y * t,
                                 &out->x_px[n], &out->y_px[n]);
        if (!out->there[n])
            out->x_px[n] = out->y_px[n] = 0.5;
    }
}

/* The target's direction about a pixel, one coordinate of it: value, slope and half the bend for one step. */
typedef struct Curve {
    double at, slope, bend;
} Curve;

static Curve curve_of(const double *above, const double *here, const double *below, const UfAxis *axis,
                      double step)
{
    const double x = axis->along_x * step, y = axis->along_y * step;
    const double across = (here[1] - here[-1]) / 2, down = (below[0] - above[0]) / 2;
    const double bend_x = here[1] - 2 * here[0] + here[-1], bend_y = below[0] - 2 * here[0] + above[0];
    const double twist = (below[1] - below[-1] - above[1] + above[-1]) / 4;
    return (Curve){here[0], x * across + y * down, (x * x * bend_x + y * y * bend_y) / 2 + x * y * twist};
}

/*
 * A footprint reaches UF_LOBES pixels to either side, within which directions are parabolas: what is left out
 * is below (UF_LOBES / scale)^3 / 3 radian, 1/100 of the target's pixel for this scale, and falls with its
 * square.
 */
#define SCALE_LEAST_PX 32

/* The pixel's neighbours tell how its direction goes on. False where too little is seen, or they are too far
 * apart, or the pixel lies on a pole. */
static bool find_by_neighbours(const UfMap *map, const UfStretchPixel *pixel, const UfAxis *axis, double step,
                               UfFootprint *out)
{
    const UfMapRow *above = &pixel->rows[0], *here = &pixel->rows[1], *below = &pixel->rows[2];
    const size_t i = pixel->i;
    const Curve x = curve_of(&above->x[i], &here->x[i], &below->x[i], axis, step);
    const Curve y = curve_of(&above->y[i], &here->y[i], &below->y[i], axis, step);
    const Curve z = curve_of(&above->z[i], &here->z[i], &below->z[i], axis, step);
    const double level = sqrt(x.at * x.at + z.at * z.at),
                 unit = 1 / sqrt(x.at * x.at + y.at * y.at + z.at * z.at);
    if (!(level > 0) || isnan(x.slope + x.bend) || map->target.scale_px < SCALE_LEAST_PX)
        return false;
    const double sine = unit * x.at / level, cosine = unit * z.at / level;
    out->across[0] = (float)(x.slope * cosine - z.slope * sine);
    out->across[1] = (float)(x.bend * cosine - z.bend * sine);
    out->along[0] = (float)(x.slope * sine + z.slope * cosine);
    out->along[1] = (float)(x.bend * sine + z.bend * cosine);
    out->up[0] = (float)(unit * y.slope);
    out->up[1] = (float)(unit * y.bend);
    out->height = (float)(unit * y.at);
    out->level = (float)(unit * level);
    return true;
}

void uf_stretch_footprint(const UfMap *map, const UfStretchPixel *pixel, double ready_px, UfPlaces *room,
                          UfFootprint *out)
{
    const UfAxis *axis = &pixel->axis;
    const double share = uf_lobe_share(axis->length_px / ready_px);
    const double u_px = pixel->rows[1].u_px[pixel->i], v_px = pixel->rows[1].v_px[pixel->i];
    /* of the filter, and between its places, in the source's pixels */
    const double width = ready_px + share * (axis->length_px - ready_px),
                 apart = width > DENSITY ? width / DENSITY : 1;
    const double step = apart / axis->length_px;
    out->count = 2 * ((int)-uf_floor_index(-UF_LOBES * width / apart) - 1) + 1;
    out->lobe_rad = (float)(UF_PI / UF_LOBES * apart / width);
    out->scale_px = (float)map->source.scale_px;
    out->base_x = (int32_t)uf_floor_index(u_px - 0.5);
    out->base_y = (int32_t)uf_floor_index(v_px - 0.5);
    out->x_px = (float)(u_px - 0.5 - out->base_x);
    out->y_px = (float)(v_px - 0.5 - out->base_y);
    out->exact = NULL;
    if (find_by_neighbours(map, pixel, axis, step, out))
        return;
    find_exactly(map, pixel, axis, step, out->count, room);
    out->exact = room;
}

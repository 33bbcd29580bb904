/* Averaging over footprints. */
#include "remap/average.h"

#include <math.h>

#include "remap/window.h"

/* Largest singular values of J between which interpolation gives way to averaging. */
#define SHARE_FROM 1.05
#define SHARE_TO   1.30

/* From here on bilinear lookups are sharp enough: their blur is less than the square can be shrunk by. */
#define BILINEAR_FROM 2.0

#define POINTS_MAX 4096.0
#define BATCH      64u

/* Target pictures coarser than this are bent too much within one pixel for the Jacobian to place points. */
#define STRAIGHT_SCALE_PX 50.0

double uf_average_share(const UfJacobian *j)
{
    double trace = j->ux * j->ux + j->vx * j->vx + j->uy * j->uy + j->vy * j->vy;
    double det = j->ux * j->vy - j->uy * j->vx;
    const double from = SHARE_FROM * SHARE_FROM;
    /* the larger root of s^2 - trace s + det^2 is below `from`, told without a square root */
    if (from >= fabs(det) && from + det * det / from >= trace)
        return 0;
    double spread = trace * trace - 4 * det * det;
    double largest = sqrt((trace + sqrt(spread > 0 ? spread : 0)) / 2);
    double t = (largest - SHARE_FROM) / (SHARE_TO - SHARE_FROM);
    return t >= 1 ? 1 : t * t * (3 - 2 * t);
}

/* The points of one pixel: offsets in the target's pixels are T (g, h) for (g, h) in the square of side 1. */
typedef struct Grid {
    double txx, txy, tyy;
    size_t columns, rows;
    bool staggered;
    bool cubic;
    bool straight;
} Grid;

/* Without the care for overflow that the library takes: lengths in pixels are no extremes. */
static double length(double x, double y)
{
    return sqrt(x * x + y * y);
}

/* Close to a pole of the source, counted in target pixels. */
static double pole_distance(const UfAverager *averager, const UfJacobian *j, double v_px)
{
    if (averager->map->round_px == 0)
        return INFINITY;
    const UfView *view = &averager->map->source;
    double level = cos((view->centre_y_px - v_px) / view->scale_px);
    double across = length(j->ux * level, j->vx), down = length(j->uy * level, j->vy);
    return level * view->scale_px / fmax(fmax(across, down), 1e-300);
}

static void set_counts(Grid *grid, const UfJacobian *j, double largest, double smallest)
{
    double across = length(j->ux * grid->txx + j->uy * grid->txy, j->vx * grid->txx + j->vy * grid->txy);
    double down = length(j->ux * grid->txy + j->uy * grid->tyy, j->vx * grid->txy + j->vy * grid->tyy);
    double columns = fmin(ceil(across + 0.5), 1e6), rows = fmin(ceil(down + 0.5), 1e6);
    /* as many points as the footprint has source pixels, twice over, even when it lies aslant */
    double enough = fmin(2 * ceil(fmin(largest, 1e6) + 0.5) * ceil(fmin(smallest, 1e6) + 0.5), POINTS_MAX);
    grid->staggered = columns * rows > enough;
    if (grid->staggered) {
        double shrink = sqrt(enough / (columns * rows));
        columns = fmin(fmax(ceil(columns * shrink), 1), enough);
        rows = ceil(enough / columns);
    }
    grid->columns = (size_t)columns;
    grid->rows = (size_t)rows;
}

/* The Jacobian places the points well enough. */
static bool is_straight(const UfAverager *averager, double pole_distance_px)
{
    const UfMap *map = averager->map;
    bool bends =
        map->target.scale_px < STRAIGHT_SCALE_PX || map->target.projection > UF_PROJECTION_STEREOGRAPHIC;
    return map->round_px > 0 && !bends && pole_distance_px > 16;
}

static Grid grid_of(const UfAverager *averager, const UfJacobian *j, double v_px)
{
    double distance = isnan(v_px) ? INFINITY : pole_distance(averager, j, v_px);
    Grid grid = {.straight = !isnan(v_px) && is_straight(averager, distance)};
    /* the eigenvalues of J'J = (e f; f g) are the squares of J's singular values */
    double e = j->ux * j->ux + j->vx * j->vx, g = j->uy * j->uy + j->vy * j->vy;
    double f = j->ux * j->uy + j->vx * j->vy;
    double spread = sqrt((e - g) * (e - g) + 4 * f * f);
    double large = (e + g + spread) / 2;
    double det = j->ux * j->vy - j->uy * j->vx;
    double small = large > 0 ? det * det / large : 0;
    grid.cubic = small < BILINEAR_FROM * BILINEAR_FROM;
    double blur = grid.cubic ? 1 : 3;
    double wide = sqrt(fmax(0, 1 - blur / fmax(large, 1e-300)));
    double narrow = sqrt(fmax(0, 1 - blur / fmax(small, 1e-300)));
    if (distance < 1.5) /* the directions of the singular vectors change within the pixel */
        wide = narrow = 1;
    double part = spread > 0 ? (wide - narrow) / spread : 0;
    grid.txx = narrow + part * (e - (e + g - spread) / 2);
    grid.tyy = narrow + part * (g - (e + g - spread) / 2);
    grid.txy = part * f;
    set_counts(&grid, j, sqrt(large) * wide, sqrt(small) * narrow);
    return grid;
}

static double fraction(double value)
{
    return value - floor(value);
}

/* What is being averaged, and where. */
typedef struct Footprint {
    const UfAverager *averager;
    const UfJacobian *jacobian;
    double x_px, y_px, u_px, v_px;
} Footprint;

/* Offsets of u and v in the source for steps of g and h, where the Jacobian places the points. */
typedef struct Steps {
    double ug, uh, vg, vh;
} Steps;

static Steps steps_of(const UfJacobian *j, const Grid *grid)
{
    return (Steps){
        .ug = j->ux * grid->txx + j->uy * grid->txy,
        .uh = j->ux * grid->txy + j->uy * grid->tyy,
        .vg = j->vx * grid->txx + j->vy * grid->txy,
        .vh = j->vx * grid->txy + j->vy * grid->tyy,
    };
}

static bool point_at(const Footprint *footprint, const Grid *grid, const Steps *steps, double g, double h,
                     double *u_px, double *v_px)
{
    const UfMap *map = footprint->averager->map;
    if (!grid->straight)
        return uf_map_point(map, footprint->x_px + grid->txx * g + grid->txy * h,
                            footprint->y_px + grid->txy * g + grid->tyy * h, u_px, v_px);
    *u_px = footprint->u_px + steps->ug * g + steps->uh * h;
    *v_px = footprint->v_px + steps->vg * g + steps->vh * h;
    return uf_map_holds(map, *u_px, *v_px) || uf_map_fold(map, u_px, v_px);
}

/*
 * The sum over all points that are seen; staggered rows are shifted by multiples of the golden section, which
 * spreads the points evenly however the footprint lies, and evenly about the centre.
 */
static void sum_points(const Footprint *footprint, const Grid *grid, UfLightSum *sum)
{
    const double golden = 0.61803398874989485;
    const UfAverager *averager = footprint->averager;
    UfSumRun *run = grid->cubic ? averager->sum_bicubic : averager->sum_bilinear;
    double u_px[BATCH] = {0}, v_px[BATCH] = {0};
    const Steps steps = steps_of(footprint->jacobian, grid);
    size_t filled = 0;
    for (size_t row = 0; row < grid->rows; row++) {
        double from_middle = (double)row - ((double)grid->rows - 1) / 2;
        double shift = grid->staggered ? fraction(0.5 + golden * from_middle) : 0.5;
        double h = ((double)row + 0.5) / (double)grid->rows - 0.5;
        for (size_t column = 0; column < grid->columns; column++) {
            double g = ((double)column + shift) / (double)grid->columns - 0.5;
            if (!point_at(footprint, grid, &steps, g, h, &u_px[filled], &v_px[filled]))
                continue;
            if (++filled == BATCH) {
                run(averager->source, u_px, v_px, filled, sum);
                filled = 0;
            }
        }
    }
    run(averager->source, u_px, v_px, filled, sum);
}

/* Where the source ends, most of a target can lie beyond it: no point of such a pixel need be looked up. */
static bool is_beyond(const UfAverager *averager, const UfJacobian *j, double u_px, double v_px)
{
    if (averager->map->round_px > 0 || isnan(u_px))
        return false;
    /* twice what the Jacobian says, and a pixel: the footprint is not quite straight */
    double reach_u = fabs(j->ux) + fabs(j->uy) + 1, reach_v = fabs(j->vx) + fabs(j->vy) + 1;
    return u_px < -reach_u || v_px < -reach_v || u_px > (double)averager->source->width_px + reach_u ||
           v_px > (double)averager->source->height_px + reach_v;
}

static double stored_of_light(const UfAverager *averager, double light)
{
    if (averager->source->transfer != NULL)
        light = (double)uf_transfer_from_linear(averager->transfer, (float)light);
    return light * uf_sample_max(averager->sample);
}

/* Mixes two pixels of stored values, the last of them alpha, premultiplied. */
static void mix_alpha(double *values, const uint8_t *pixel, size_t colours, UfSample sample, double share)
{
    double alpha_there = uf_sample_load(pixel + colours * (size_t)sample, sample) * (1 - share);
    double alpha_new = values[colours] * share;
    double alpha = alpha_there + alpha_new;
    for (size_t c = 0; c < colours; c++) {
        double there = uf_sample_load(pixel + c * (size_t)sample, sample);
        values[c] = alpha > 0 ? (values[c] * alpha_new + there * alpha_there) / alpha : 0;
    }
    values[colours] = alpha;
}

/* Stores what the sums say, `whole` of which is all that could be seen. */
static void store_mean(const UfAverager *averager, const UfLightSum *sum, double whole, const UfAveraged *at)
{
    const UfSample sample = averager->sample;
    const bool has_alpha = averager->channels % 2 == 0 || averager->adds_alpha;
    const size_t colours = averager->channels - (averager->channels % 2 == 0);
    const double share = at->share;
    double values[UF_CHANNELS_MAX] = {0};
    if (sum->alpha > 0) {
        for (size_t c = 0; c < colours; c++)
            values[c] = stored_of_light(averager, sum->colour[c] / sum->alpha);
        if (has_alpha)
            values[colours] = fmin(sum->alpha / whole, 1) * uf_sample_max(sample);
    }
    if (has_alpha && share < 1) {
        mix_alpha(values, at->pixel, colours, sample, share);
    } else if (share < 1) {
        for (size_t c = 0; c < colours; c++)
            values[c] =
                share * values[c] + (1 - share) * uf_sample_load(at->pixel + c * (size_t)sample, sample);
    }
    for (size_t c = 0; c < colours + has_alpha; c++)
        uf_sample_store(at->pixel + c * (size_t)sample, values[c], sample);
}

/* Point by point. */
static void average_pixel(const UfAverager *averager, const UfAveraged *at)
{
    Footprint footprint = {averager, &at->jacobian, at->x_px, at->y_px, at->u_px, at->v_px};
    Grid grid = grid_of(averager, &at->jacobian, at->v_px);
    UfLightSum sum = {0};
    if (!is_beyond(averager, &at->jacobian, at->u_px, at->v_px))
        sum_points(&footprint, &grid, &sum);
    store_mean(averager, &sum, (double)(grid.rows * grid.columns), at);
}

/* What the boxes of all pixels that have one take together: columns from left on, rows from top on. */
typedef struct Reach {
    double left, right, top, bottom;
} Reach;

/* Finds the boxes; false where there are none. Those of width 0 stand for pixels that have none. */
static bool set_boxes(const UfAverager *averager, const UfAveraged *pixels, size_t count,
                      UfFootprintBox *boxes, Reach *out)
{
    const double turn_px = averager->map->round_px;
    bool any = false;
    *out = (Reach){INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (size_t i = 0; i < count; i++) {
        const UfAveraged *at = &pixels[i];
        boxes[i] = (UfFootprintBox){0};
        if (isnan(at->u_px) || !is_straight(averager, pole_distance(averager, &at->jacobian, at->v_px)))
            continue;
        /* all of them run on from the first one, across the seam if need be */
        const double middle_px = any ? (out->left + out->right) / 2 : at->u_px;
        const double u_px = at->u_px - turn_px * round((at->u_px - middle_px) / turn_px);
        any = true;
        boxes[i] = uf_footprint_box(&at->jacobian, u_px, at->v_px, turn_px);
        const double reach_u = uf_box_reach_u(&boxes[i]), reach_v = uf_box_reach_v(&boxes[i]);
        out->left = fmin(out->left, u_px - reach_u);
        out->right = fmax(out->right, u_px + reach_u);
        out->top = fmin(out->top, at->v_px - reach_v);
        out->bottom = fmax(out->bottom, at->v_px + reach_v);
    }
    return any;
}

static bool take_sums(const UfAverager *averager, const Reach *reach, UfRowSums *sums)
{
    const ptrdiff_t left = (ptrdiff_t)floor(reach->left), top = (ptrdiff_t)floor(reach->top);
    if (!(reach->right - reach->left < (double)UF_ROWSUMS_ROOM &&
          reach->bottom - reach->top < (double)UF_ROWSUMS_ROOM))
        return false;
    return uf_rowsums_take(averager->source, averager->sample, averager->channels, left, top,
                           (size_t)((ptrdiff_t)ceil(reach->right) - left),
                           (size_t)((ptrdiff_t)ceil(reach->bottom) - top), sums);
}

void uf_average_pixels(const UfAverager *averager, const UfAveraged *pixels, size_t count, UfRowSums *room)
{
    UfFootprintBox boxes[UF_AVERAGED_MAX];
    Reach reach;
    const bool summed = room->room > 0 && set_boxes(averager, pixels, count, boxes, &reach) &&
                        take_sums(averager, &reach, room);
    for (size_t i = 0; i < count; i++) {
        if (!summed || !(boxes[i].bu > 0)) {
            average_pixel(averager, &pixels[i]);
            continue;
        }
        UfLightSum mean;
        uf_rowsums_mean(room, &boxes[i], averager->cpu_flags, &mean);
        store_mean(averager, &mean, 1, &pixels[i]);
    }
}

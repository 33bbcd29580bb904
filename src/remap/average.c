/* Averaging over footprints. */
#include "remap/average.h"

#include <math.h>

#include "base/cpu.h"
#include "remap/lanes.h"
#include "remap/window.h"

/* From here on bilinear lookups are sharp enough: their blur is less than the square can be shrunk by. */
#define BILINEAR_FROM 2.0

#define POINTS_MAX 4096.0
#define BATCH      64u

/* Target pictures coarser than this are bent too much within one pixel for the Jacobian to place points. */
#define STRAIGHT_SCALE_PX 50.0

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

/* The squared length of the longer one of the pixel's steps, on the sphere; `level` is the cosine of the
 * latitude. */
static double longer_squared(const UfJacobian *j, double level)
{
    const double ux = j->ux * level, uy = j->uy * level;
    const double across = ux * ux + j->vx * j->vx, down = uy * uy + j->vy * j->vy;
    return across > down ? across : down;
}

/* The distance to the closer pole in the target's pixels. */
static double pole_px(const UfAverager *averager, const UfJacobian *j, double v_px)
{
    if (averager->map->round_px == 0)
        return INFINITY;
    const UfView *view = &averager->map->source;
    const double level = cos((view->centre_y_px - v_px) / view->scale_px);
    return level * view->scale_px / sqrt(fmax(longer_squared(j, level), 1e-300));
}

bool uf_average_is_far(const UfAverager *averager, const UfJacobian *j, double v_px, double than_px)
{
    const UfView *view = &averager->map->source;
    /* the distance grows with the level, and the sine of the angle c to the pole is above c - c^3 / 6 */
    const double angle = UF_PI / 2 - fabs(view->centre_y_px - v_px) / view->scale_px;
    const double level = angle * (1 - angle * angle / 6), pole = level * view->scale_px;
    return (averager->map->round_px > 0 && pole > 0 &&
            pole * pole > than_px * than_px * longer_squared(j, level)) ||
           pole_px(averager, j, v_px) > than_px;
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

bool uf_average_is_straight(const UfAverager *averager)
{
    const UfMap *map = averager->map;
    return map->round_px > 0 && map->target.scale_px >= STRAIGHT_SCALE_PX &&
           map->target.projection <= UF_PROJECTION_STEREOGRAPHIC;
}

/* Bilinear lookups serve footprints nowhere narrower than `bilinear_from`. */
static Grid grid_of(const UfAverager *averager, const UfJacobian *j, double v_px, double bilinear_from)
{
    double distance = isnan(v_px) ? INFINITY : pole_px(averager, j, v_px);
    Grid grid = {.straight =
                     !isnan(v_px) && uf_average_is_straight(averager) && distance > UF_STRAIGHT_FROM_PX};
    /* the eigenvalues of J'J = (e f; f g) are the squares of J's singular values */
    double e = j->ux * j->ux + j->vx * j->vx, g = j->uy * j->uy + j->vy * j->vy;
    double f = j->ux * j->uy + j->vx * j->vy;
    double spread = sqrt((e - g) * (e - g) + 4 * f * f);
    double large = (e + g + spread) / 2;
    double det = j->ux * j->vy - j->uy * j->vx;
    double small = large > 0 ? det * det / large : 0;
    grid.cubic = small < bilinear_from * bilinear_from;
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

/* Stored values, of whole numbers as parts of the largest one. */
static void encode(const UfAverager *averager, const float *light, size_t count, float *values)
{
    if (averager->sample == UF_SAMPLE_F32)
        uf_transfer_row_from_linear(averager->transfer, light, count, values);
    else
        uf_transfer_row_stored(averager->transfer, light, count, values);
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
        float light[3] = {0}, stored[3];
        for (size_t c = 0; c < colours; c++)
            light[c] = (float)(sum->colour[c] / sum->alpha);
        encode(averager, light, colours, stored);
        for (size_t c = 0; c < colours; c++)
            values[c] = (double)stored[c] * uf_sample_max(sample);
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
    Grid grid = grid_of(averager, &at->jacobian, at->v_px, BILINEAR_FROM);
    UfLightSum sum = {0};
    if (!is_beyond(averager, &at->jacobian, at->u_px, at->v_px))
        sum_points(&footprint, &grid, &sum);
    store_mean(averager, &sum, (double)(grid.rows * grid.columns), at);
}

/* The sums that a box's means stand for. */
static UfLightSum sum_of(const UfAverager *averager, const float *mean)
{
    const size_t colours = averager->channels - (averager->channels % 2 == 0);
    UfLightSum sum = {.alpha = colours < averager->channels ? (double)mean[colours] : 1};
    for (size_t c = 0; c < colours; c++)
        sum.colour[c] = (double)mean[c];
    return sum;
}

/* Boxes of pixels that lie close together, one after another, without those that have none. */
typedef struct Boxed {
    UfBoxes boxes;
    UfSlopes slopes;
    const UfAveraged *pixels[UF_BOXES_MAX];
    double u_px[UF_BOXES_MAX];
    size_t count;
} Boxed;

/* All of them run on from the first one, across the seam if need be. */
static void add_box(const UfAverager *averager, const UfAveraged *at, Boxed *out)
{
    const double turn_px = averager->map->round_px;
    const size_t i = out->count++;
    out->pixels[i] = at;
    out->u_px[i] = i == 0 ? at->u_px : at->u_px - turn_px * round((at->u_px - out->u_px[0]) / turn_px);
    out->slopes.ux[i] = (float)at->jacobian.ux;
    out->slopes.uy[i] = (float)at->jacobian.uy;
    out->slopes.vx[i] = (float)at->jacobian.vx;
    out->slopes.vy[i] = (float)at->jacobian.vy;
}

/* How much farther from the pole than its middle a square of side 1 is in the mean: meridians meet there. */
static double bend_px(const UfAverager *averager, const UfAveraged *at)
{
    const UfView *view = &averager->map->source;
    const double lat_rad = (view->centre_y_px - at->v_px) / view->scale_px;
    const UfJacobian *j = &at->jacobian;
    return (j->ux * j->ux + j->uy * j->uy) * sin(2 * lat_rad) / (48 * view->scale_px);
}

/* When all sizes are there. */
static void place_boxes(const UfAverager *averager, Boxed *out)
{
    UfBoxes *boxes = &out->boxes;
    double left = INFINITY, top = INFINITY;
    for (size_t i = 0; i < out->count; i++) {
        const double high = (double)boxes->bv[i] / 2, lean = fabs((double)boxes->lean[i]);
        left = fmin(left, out->u_px[i] - (double)boxes->bu[i] / 2 - lean * (high + 3));
        top = fmin(top, out->pixels[i]->v_px - high);
    }
    boxes->base_u = (ptrdiff_t)floor(left) - 4;
    boxes->base_v = (ptrdiff_t)floor(top) - 4;
    for (size_t i = 0; i < out->count; i++) {
        boxes->u[i] = (float)(out->u_px[i] - 0.5 - (double)boxes->base_u);
        boxes->v[i] =
            (float)(out->pixels[i]->v_px + bend_px(averager, out->pixels[i]) - 0.5 - (double)boxes->base_v);
    }
}

/* Parts of a pixel's square that have a box each, and the square: offsets as a Grid has them. */
typedef struct Cells {
    Boxed boxed;
    UfAveraged of[UF_BOXES_MAX];
    Grid grid;
} Cells;

/* By the shorter way round. */
static double step_px(const UfAverager *averager, double from_px, double to_px)
{
    return remainder(to_px - from_px, averager->map->round_px);
}

/* The part of side `side` about (g, h), all of whose steps are its own; false where one has no place. */
static bool find_cell(const UfAverager *averager, const UfAveraged *at, const Grid *grid, double g, double h,
                      double side, UfAveraged *out)
{
    static const double to[5][2] = {{0, 0}, {-0.5, 0}, {0.5, 0}, {0, -0.5}, {0, 0.5}};
    double u[5], v[5];
    for (int i = 0; i < 5; i++) {
        const double a = g + to[i][0] * side, b = h + to[i][1] * side;
        if (!uf_map_point(averager->map, at->x_px + grid->txx * a + grid->txy * b,
                          at->y_px + grid->txy * a + grid->tyy * b, &u[i], &v[i]))
            return false;
    }
    *out = (UfAveraged){.u_px = u[0],
                        .v_px = v[0],
                        .jacobian = {.ux = step_px(averager, u[1], u[2]),
                                     .vx = v[2] - v[1],
                                     .uy = step_px(averager, u[3], u[4]),
                                     .vy = v[4] - v[3]}};
    return true;
}

/* What the source's pixels have already the grid has allowed for. Parts about the pole itself, which are
 * small, are no wider than that. */
static void size_cell(const UfJacobian *j, double widest_px, size_t i, UfBoxes *out)
{
    const double least = (double)UF_BOX_LEAST_PX, high = j->vx * j->vx + j->vy * j->vy;
    const double both = j->ux * j->vx + j->uy * j->vy, lean = both / fmax(high, 1);
    const double wide = j->ux * j->ux + j->uy * j->uy - both * lean;
    const double bv = high > least * least ? sqrt(high) : 0;
    out->bu[i] = (float)sqrt(fmin(fmax(wide, least * least), widest_px * widest_px));
    out->bv[i] = (float)bv;
    out->lean[i] = fabs(lean) * (bv / 2 + 2) < (double)UF_BOX_LEAST_LEAN_PX ? 0 : (float)lean;
}

/* All parts of the pixels about a pole lie in there. */
static UfLightArea about_pole(const UfSource *source, const UfAveraged *at)
{
    const ptrdiff_t width = source->width_px,
                    pole = at->v_px < (double)source->height_px / 2 ? 0 : source->height_px;
    const double down = fmin(length(at->jacobian.vx, at->jacobian.vy), 1e6);
    const ptrdiff_t rows = (ptrdiff_t)((UF_STRAIGHT_FROM_PX + 1) * down) + 4;
    return (UfLightArea){-width / 8, pole - rows, width + width / 8, pole + rows};
}

/* A pixel so close to a pole that its square is bent: from the boxes of its parts. False: these do not fit.
 */
static bool average_cells(const UfAverager *averager, const UfAveraged *at, UfLight *room)
{
    const UfSource *source = averager->source;
    const double pole = pole_px(averager, &at->jacobian, at->v_px);
    const size_t side = pole < 1.5 ? 16 : 8;
    Cells cells;
    cells.grid = grid_of(averager, &at->jacobian, at->v_px, INFINITY);
    cells.boxed.count = side * side;
    for (size_t i = 0; i < side * side; i++) {
        const double g = ((double)(i % side) + 0.5) / (double)side - 0.5,
                     h = ((double)(i / side) + 0.5) / (double)side - 0.5;
        if (!find_cell(averager, at, &cells.grid, g, h, 1 / (double)side, &cells.of[i]))
            return false;
        size_cell(&cells.of[i].jacobian, (double)source->width_px / 16, i, &cells.boxed.boxes);
        cells.boxed.pixels[i] = &cells.of[i];
        cells.boxed.u_px[i] = cells.of[i].u_px;
    }
    place_boxes(averager, &cells.boxed);
    UfMeans means;
    const UfLightArea ahead = room->ahead;
    room->ahead = about_pole(source, at);
    const bool there = uf_boxes_mean(&cells.boxed.boxes, side * side, room, source, averager->sample,
                                     averager->channels, averager->cpu_flags, means);
    room->ahead = ahead;
    if (!there)
        return false;
    UfLightSum sum = {0};
    for (size_t i = 0; i < side * side; i++) {
        const UfLightSum mean = sum_of(averager, means + i * averager->channels);
        sum.alpha += mean.alpha;
        for (size_t c = 0; c < 3; c++)
            sum.colour[c] += mean.colour[c];
    }
    store_mean(averager, &sum, (double)(side * side), at);
    return true;
}

static void average_some(const UfAverager *averager, const UfAveraged *pixels, size_t count, UfLight *room)
{
    Boxed boxed = {.count = 0};
    UfMeans means;
    for (size_t i = 0; i < count; i++) {
        const UfAveraged *at = &pixels[i];
        const bool seen = !isnan(at->u_px);
        if (seen && uf_average_is_far(averager, &at->jacobian, at->v_px, UF_STRAIGHT_FROM_PX))
            add_box(averager, at, &boxed);
        else if (!seen || !average_cells(averager, at, room))
            average_pixel(averager, at);
    }
    if (boxed.count == 0)
        return;
    uf_boxes_size(&boxed.slopes, boxed.count, (float)averager->map->round_px, averager->cpu_flags,
                  &boxed.boxes);
    place_boxes(averager, &boxed);
    const bool there = uf_boxes_mean(&boxed.boxes, boxed.count, room, averager->source, averager->sample,
                                     averager->channels, averager->cpu_flags, means);
    for (size_t i = 0; i < boxed.count; i++) {
        if (!there) {
            average_pixel(averager, boxed.pixels[i]);
            continue;
        }
        const UfLightSum mean = sum_of(averager, means + i * averager->channels);
        store_mean(averager, &mean, 1, boxed.pixels[i]);
    }
}

void uf_average_pixels(const UfAverager *averager, const UfAveraged *pixels, size_t count, UfLight *room)
{
    if (room == NULL || !uf_average_is_straight(averager)) {
        for (size_t i = 0; i < count; i++)
            average_pixel(averager, &pixels[i]);
        return;
    }
    for (size_t i = 0; i < count; i += UF_BOXES_MAX)
        average_some(averager, pixels + i, count - i < UF_BOXES_MAX ? count - i : UF_BOXES_MAX, room);
}

/* The general way. */
static void store_each(const UfAverager *averager, const UfCoarse *coarse, const float *means,
                       const UfTilePart *part)
{
    const size_t bytes = (averager->channels + averager->adds_alpha) * (size_t)averager->sample;
    for (size_t y = 0; y < part->height; y++)
        for (size_t x = 0; x < part->width; x++) {
            const size_t i = y * UF_TILE_PX + x;
            const UfAveraged at = {.share = (double)coarse->share[i],
                                   .pixel = part->out + y * part->stride_bytes + x * bytes};
            const UfLightSum sum = sum_of(averager, means + i * averager->channels);
            if (at.share > 0)
                store_mean(averager, &sum, 1, &at);
        }
}

#define ROW_MAX (UF_TILE_PX * 3)

/* A row as it is stored. */
typedef union Stored {
    uint8_t bytes[ROW_MAX];
    uint16_t words[ROW_MAX];
    float floats[ROW_MAX];
} Stored;

/* A tile's row: how many samples it has, how many of its bytes the target has room for, and room for the
 * others. */
typedef struct Span {
    int count;
    size_t bytes, whole_bytes;
    Stored *room;
} Span;

UF_INLINE void load(const uint8_t *row, const Span *span, UfSample sample, float *out)
{
    const void *from = row;
    if (span->bytes < span->whole_bytes)
        from = memcpy(span->room, row, span->bytes);
    const uint8_t *const bytes = from;
    const uint16_t *const words = from;
    const float *const floats = from;
#pragma omp simd
    for (int i = 0; i < span->count; i++)
        out[i] = sample == UF_SAMPLE_U8    ? (float)bytes[i]
                 : sample == UF_SAMPLE_U16 ? (float)words[i]
                                           : floats[i];
}

/* Values as parts of `max`: they are within the range but for rounding. */
UF_INLINE void store(const float *values, float max, const Span *span, UfSample sample, uint8_t *row)
{
    const bool whole = span->bytes == span->whole_bytes;
    void *const to = whole ? (void *)row : (void *)span->room;
    uint8_t *const bytes = to;
    uint16_t *const words = to;
    float *const floats = to;
    if (sample == UF_SAMPLE_U8) {
#pragma omp simd
        for (int i = 0; i < span->count; i++)
            bytes[i] = (uint8_t)(int32_t)(values[i] * max + 0.5F);
    } else if (sample == UF_SAMPLE_U16) {
#pragma omp simd
        for (int i = 0; i < span->count; i++)
            words[i] = (uint16_t)(int32_t)(values[i] * max + 0.5F);
    } else {
#pragma omp simd
        for (int i = 0; i < span->count; i++)
            floats[i] = values[i];
    }
    if (!whole)
        memcpy(row, span->room, span->bytes);
}

/* The shares of a row's samples from those of its pixels; 1 or 3 channels. */
UF_INLINE void spread(const float *share, size_t channels, float *out)
{
    for (size_t i = 0; i < UF_TILE_PX / UF_LANES; i++, share += UF_LANES) {
        const UfLanes all = *(const UfLanesAt *)(const void *)share;
        UfLanesAt *const to = (UfLanesAt *)(void *)(out + i * channels * UF_LANES);
        if (channels == 1) {
            to[0] = all;
            continue;
        }
        to[0] = __builtin_shufflevector(all, all, 0, 0, 0, 1, 1, 1, 2, 2);
        to[1] = __builtin_shufflevector(all, all, 2, 3, 3, 3, 4, 4, 4, 5);
        to[2] = __builtin_shufflevector(all, all, 5, 5, 6, 6, 6, 7, 7, 7);
    }
}

/* With what is there; floats, of either, need not be finite. */
UF_INLINE void mix(const float *values, float max, const float *shares, const float *there, const Span *span,
                   UfSample sample, float *mixed)
{
#pragma omp simd
    for (int i = 0; i < span->count; i++)
        mixed[i] = shares[i] * (values[i] * max) + (1 - shares[i]) * there[i];
    if (sample == UF_SAMPLE_F32) {
#pragma omp simd
        for (int i = 0; i < span->count; i++)
            mixed[i] = shares[i] < 1 ? mixed[i] : values[i];
#pragma omp simd
        for (int i = 0; i < span->count; i++)
            mixed[i] = shares[i] > 0 ? mixed[i] : there[i];
    }
}

/* Rows of a tile, mixed with what is there: in loops that the compiler makes vectors of. */
UF_INLINE void store_rows(const UfCoarse *coarse, const float *values, size_t channels, UfSample sample,
                          const UfTilePart *part)
{
    const float max = (float)uf_sample_max(sample);
    Stored room = {.floats = {0}};
    const Span span = {(int)(UF_TILE_PX * channels), part->width * channels * (size_t)sample,
                       UF_TILE_PX * channels * (size_t)sample, &room};
    uint8_t *row = part->out;
    for (size_t y = 0; y < part->height; y++, row += part->stride_bytes, values += span.count) {
        float there[ROW_MAX], shares[ROW_MAX], mixed[ROW_MAX];
        if (coarse->altogether) {
            store(values, max, &span, sample, row);
            continue;
        }
        load(row, &span, sample, there);
        spread(coarse->share + y * UF_TILE_PX, channels, shares);
        mix(values, max, shares, there, &span, sample, mixed);
        store(mixed, 1, &span, sample, row);
    }
}

#define DEFINE(tier, attributes)                                                                             \
    attributes static void rows_##tier(const UfCoarse *coarse, const float *values, size_t channels,         \
                                       UfSample sample, const UfTilePart *part)                              \
    {                                                                                                        \
        if (sample == UF_SAMPLE_U8 && channels == 1)                                                         \
            store_rows(coarse, values, 1, UF_SAMPLE_U8, part);                                               \
        else if (sample == UF_SAMPLE_U8)                                                                     \
            store_rows(coarse, values, 3, UF_SAMPLE_U8, part);                                               \
        else if (sample == UF_SAMPLE_U16 && channels == 1)                                                   \
            store_rows(coarse, values, 1, UF_SAMPLE_U16, part);                                              \
        else if (sample == UF_SAMPLE_U16)                                                                    \
            store_rows(coarse, values, 3, UF_SAMPLE_U16, part);                                              \
        else if (channels == 1)                                                                              \
            store_rows(coarse, values, 1, UF_SAMPLE_F32, part);                                              \
        else                                                                                                 \
            store_rows(coarse, values, 3, UF_SAMPLE_F32, part);                                              \
    }

DEFINE(scalar, )
#if defined(__x86_64__)
DEFINE(avx2, __attribute__((target("avx2"))))
#else
#define rows_avx2 rows_scalar
#endif

static void store_opaque(const UfAverager *averager, const UfCoarse *coarse, const float *means,
                         const UfTilePart *part)
{
    UfMeans values;
    encode(averager, means, part->height * UF_TILE_PX * averager->channels, values);
    (averager->cpu_flags & UF_CPU_AVX2 ? rows_avx2 : rows_scalar)(coarse, values, averager->channels,
                                                                  averager->sample, part);
}

bool uf_average_tile(const UfAverager *averager, const UfCoarse *coarse, const UfTilePart *part,
                     UfLight *room)
{
    UfMeans means;
    if (!coarse->some)
        return true;
    if (!uf_boxes_mean(&coarse->boxes, part->height * UF_TILE_PX, room, averager->source, averager->sample,
                       averager->channels, averager->cpu_flags, means))
        return false;
    if (averager->channels % 2 == 1 && !averager->adds_alpha)
        store_opaque(averager, coarse, means, part);
    else
        store_each(averager, coarse, means, part);
    return true;
}

/*
 * The driver: checks what it is asked, cuts the target into blocks, and these into tiles. A plain tile is
 * interpolated between few exact places; the others are mapped pixel by pixel, and averaged where the target
 * is the coarser one. Runs of blocks are shared out among threads as these become free; what a block holds
 * depends on nothing but its place.
 */
#include <underfoot/remap.h>

#include <math.h>
#include <omp.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "base/cpu.h"
#include "base/memory.h"
#include "base/report.h"
#include "base/smaller.h"
#include "remap/average.h"
#include "remap/bands.h"
#include "remap/blend.h"
#include "remap/coarse.h"
#include "remap/fill.h"
#include "remap/flow.h"
#include "remap/kernels.h"
#include "remap/map.h"
#include "remap/options.h"
#include "remap/plain.h"
#include "remap/ready.h"
#include "remap/sharp.h"
#include "remap/spline.h"
#include "remap/stretch.h"
#include "picture/colour.h"
#include "picture/picture_internal.h"
#include "remap/window.h"

/* A block is square enough that its part of the source stays in the cache. */
_Static_assert(UF_NODES <= UF_MAP_RUN, "a row of the lattice fits into a run");

typedef struct Job {
    UfPicture *target;
    UfSource source;
    UfMap map;
    UfAverager averager;
    UfSampleRun *sample_run;
    UfPlain plain;
    UfPlainTile *plain_tile; /* NULL when every pixel is mapped */
    UfBlend *blend;          /* NULL when nothing is stretched */
    size_t width_px, height_px, pixel_bytes;
    bool averages;
    bool trusts_angles; /* what counts as coarser is told by angles: see UF_SAMPLING_SHARP */
    bool keeps_border;  /* no alpha: a pixel whose centre is not seen stays 0 */
    UfFlow flow;
} Job;

/* What is computed for each pixel of a tile: [down][across]. */
typedef struct Exact {
    UfMapColumns columns;          /* one before and one behind the tile's */
    UfMapRow rows[UF_TILE_PX + 2]; /* one above and one below the tile's */
    UfExactPlaces places;
    double share[UF_TILE_PX][UF_TILE_PX];
    bool stretched[UF_TILE_PX][UF_TILE_PX]; /* longer than the source is ready for, fine by angles only */
    UfAxis axis[UF_TILE_PX][UF_TILE_PX];    /* of those */
    size_t stretched_count;
    UfJacobian jacobian[UF_TILE_PX][UF_TILE_PX];
    UfAveraged averaged[UF_TILE_PX * UF_TILE_PX]; /* to be, when all rows are interpolated */
    size_t averaged_count;
} Exact;

/* A tile of the target, cut off at its edges. */
typedef struct Place {
    size_t x_px, y_px, width, height;
} Place;

static uint8_t *out_at(const Job *job, size_t x_px, size_t y_px)
{
    return (uint8_t *)uf_picture_row(job->target, y_px) + x_px * job->pixel_bytes;
}

/* Asks for the lines that the tile to the right will be written to. */
static void fetch_target(const Job *job, const Place *place)
{
    const size_t bytes = UF_TILE_PX * job->pixel_bytes, stride = uf_picture_stride_bytes(job->target);
    const uint8_t *row = out_at(job, place->x_px, place->y_px) + bytes;
    for (size_t y = 0; y < place->height; y++, row += stride)
        for (size_t i = 63; i < bytes + 63; i += 64)
            __builtin_prefetch(row + i, 1);
}

static void interpolate(const Job *job, const UfTile *tile, const Place *place)
{
    fetch_target(job, place);
    job->plain_tile(&job->plain, tile, place->width, place->height, out_at(job, place->x_px, place->y_px),
                    uf_picture_stride_bytes(job->target));
}

static double ready_px_at(const Job *job, double v_px)
{
    return (double)uf_ready_px_at(&job->source, isnan(v_px) ? 0 : uf_floor_index(v_px));
}

/* Of the tile's row y. */
static void choose_shares(const Job *job, Exact *exact, size_t y, size_t count)
{
    const UfMapRow *rows = &exact->rows[y];
    for (size_t i = 0; i < count; i++) {
        exact->share[y][i] = 0;
        exact->stretched[y][i] = false;
        if (isnan(exact->places.u_px[y][i]) && job->keeps_border)
            continue;
        UfJacobian *jacobian = &exact->jacobian[y][i];
        *jacobian = uf_map_jacobian(&job->map, &rows[0], &rows[1], &rows[2], i + 1);
        exact->share[y][i] = uf_average_share(jacobian);
        if (job->trusts_angles && exact->share[y][i] > 0) {
            UfJacobian angular = uf_map_angular(&job->map, &rows[0], &rows[1], &rows[2], i + 1);
            exact->share[y][i] = uf_average_share(&angular);
            if (job->blend == NULL || exact->share[y][i] >= 1 || isnan(exact->places.u_px[y][i]))
                continue;
            exact->axis[y][i] = uf_stretch_axis(jacobian);
            exact->stretched[y][i] =
                uf_stretch_sets_in(&exact->axis[y][i], ready_px_at(job, exact->places.v_px[y][i]));
            exact->stretched_count += exact->stretched[y][i];
        }
    }
}

static void keep_places(Exact *exact, const UfMapRow *row, size_t from, size_t y, size_t count)
{
    memcpy(exact->places.u_px[y], row->u_px + from, count * sizeof(double));
    memcpy(exact->places.v_px[y], row->v_px + from, count * sizeof(double));
}

/* Where nothing is averaged. */
static void look_up_places(const Job *job, const Place *place, Exact *exact)
{
    const double left = (double)place->x_px + 0.5, top = (double)place->y_px + 0.5;
    memset(exact->share, 0, sizeof exact->share);
    memset(exact->stretched, 0, sizeof exact->stretched);
    uf_map_columns(&job->map, left, place->width, &exact->columns);
    for (size_t y = 0; y < place->height; y++) {
        uf_map_row(&job->map, &exact->columns, left, top + (double)y, place->width, &exact->rows[0]);
        keep_places(exact, &exact->rows[0], 0, y, place->width);
    }
}

static void look_up(const Job *job, const Place *place, Exact *exact)
{
    if (!job->averages) {
        look_up_places(job, place, exact);
        return;
    }
    const double left = (double)place->x_px - 0.5, top = (double)place->y_px - 0.5;
    const size_t count = place->width + 2;
    uf_map_columns(&job->map, left, count, &exact->columns);
    for (size_t row = 0; row < place->height + 2; row++)
        uf_map_row(&job->map, &exact->columns, left, top + (double)row, count, &exact->rows[row]);
    for (size_t y = 0; y < place->height; y++) {
        keep_places(exact, &exact->rows[y + 1], 1, y, place->width);
        choose_shares(job, exact, y, place->width);
    }
}

static bool is_outside(const Job *job, double u_px, double v_px)
{
    return !(u_px >= 0 && u_px <= (double)job->source.width_px && v_px >= 0 &&
             v_px <= (double)job->source.height_px);
}

/* All pixels, but for those that are averaged altogether where the places are no plain tile. */
static void interpolate_exactly(const Job *job, const Place *place, const Exact *exact)
{
    UfTilePlaces room;
    UfTile tile;
    if (job->plain_tile != NULL &&
        uf_tile_of_places(&exact->places, place->width, place->height, &room, &tile) &&
        uf_plain_holds(&job->source, &tile)) {
        interpolate(job, &tile, place);
        return;
    }
    for (size_t y = 0; y < place->height; y++) {
        double u_px[UF_TILE_PX];
        for (size_t i = 0; i < place->width; i++)
            u_px[i] = exact->share[y][i] >= 1 ? NAN : exact->places.u_px[y][i];
        job->sample_run(&job->source, u_px, exact->places.v_px[y], place->width,
                        out_at(job, place->x_px, place->y_px + y));
    }
}

/* What is stretched is mended, what is to be averaged is listed. */
static void finish_pixel(const Job *job, const Place *place, size_t x, size_t y, Exact *exact)
{
    const double at_x = (double)(place->x_px + x) + 0.5, at_y = (double)(place->y_px + y) + 0.5;
    const double u_px = exact->places.u_px[y][x], v_px = exact->places.v_px[y][x];
    uint8_t *out = out_at(job, place->x_px + x, place->y_px + y);
    if (exact->stretched[y][x]) {
        const UfStretchPixel pixel = {&exact->rows[y], x + 1, at_x, at_y, exact->axis[y][x]};
        UfPlaces places;
        UfFootprint print;
        uf_stretch_footprint(&job->map, &pixel, ready_px_at(job, v_px), &places, &print);
        job->blend(&job->source, &print, out);
    }
    if (exact->share[y][x] > 0 && !(job->keeps_border && is_outside(job, u_px, v_px)))
        exact->averaged[exact->averaged_count++] =
            (UfAveraged){at_x, at_y, u_px, v_px, exact->share[y][x], exact->jacobian[y][x], out};
}

static void fill_place(const Job *job, const Place *place, UfLight *room)
{
    Exact exact;
    exact.averaged_count = exact.stretched_count = 0;
    look_up(job, place, &exact);
    if (exact.stretched_count < place->width * place->height)
        interpolate_exactly(job, place, &exact);
    for (size_t y = 0; y < place->height; y++)
        for (size_t x = 0; x < place->width; x++)
            if (exact.share[y][x] > 0 || exact.stretched[y][x])
                finish_pixel(job, place, x, y, &exact);
    uf_average_pixels(&job->averager, exact.averaged, exact.averaged_count, room);
}

static void fill_exactly(const Job *job, size_t x_px, size_t y_px, size_t width, size_t height, UfLight *room)
{
    for (size_t y = 0; y < height; y += UF_TILE_PX)
        for (size_t x = 0; x < width; x += UF_TILE_PX) {
            const Place place = {x_px + x, y_px + y, uf_smaller(width - x, UF_TILE_PX),
                                 uf_smaller(height - y, UF_TILE_PX)};
            fill_place(job, &place, room);
        }
}

/* s and t of a tile's points. */
static const double at[UF_TILE_POINTS][2] = {{0, 0}, {-1, -1}, {1, -1}, {-1, 1}, {1, 1}};

static bool is_stretched_at(const Job *job, const UfJacobian *jacobian, double v_px)
{
    if (job->blend == NULL)
        return false;
    const UfAxis axis = uf_stretch_axis(jacobian);
    return uf_stretch_sets_in(&axis, ready_px_at(job, v_px));
}

/* Nothing is averaged, and no footprint longer than the source is ready for: told at the corners and in the
 * middle, between which the footprint hardly changes. */
static bool is_fine(const Job *job, const UfTile *tile)
{
    UfJacobian jacobians[UF_TILE_POINTS];
    if (!job->averages)
        return true;
    uf_tile_jacobians(tile, jacobians);
    for (size_t i = 0; i < UF_TILE_POINTS; i++) {
        if (!(uf_average_share(&jacobians[i]) > 0))
            continue;
        if (!job->trusts_angles)
            return false;
        UfPixelPoint place = uf_tile_place(tile, at[i][0], at[i][1]);
        UfJacobian angular = uf_map_angular_of(&job->map, place, &jacobians[i]);
        if (uf_average_share(&angular) > 0 || is_stretched_at(job, &jacobians[i], place.y_px))
            return false;
    }
    return true;
}

/* Somewhere in the tile a footprint is longer than the source is ready for. */
static bool is_stretched(const Job *job, const UfTile *tile)
{
    UfJacobian jacobians[UF_TILE_POINTS];
    uf_tile_jacobians(tile, jacobians);
    for (size_t i = 0; i < UF_TILE_POINTS; i++)
        if (is_stretched_at(job, &jacobians[i], uf_tile_place(tile, at[i][0], at[i][1]).y_px))
            return true;
    return false;
}

/* Nowhere in the tile, whose nodes are `node_px` apart, is a pole of the source so close that footprints are
 * bent. */
static bool is_straight(const Job *job, const UfTile *tile, size_t node_px)
{
    const double per_px = (double)UF_NODE_PX / (double)node_px;
    UfJacobian jacobians[UF_TILE_POINTS];
    uf_tile_jacobians(tile, jacobians);
    for (size_t i = 0; i < UF_TILE_POINTS; i++) {
        const UfJacobian *j = &jacobians[i];
        const UfJacobian one = {j->ux * per_px, j->vx * per_px, j->uy * per_px, j->vy * per_px};
        if (!uf_average_is_far(&job->averager, &one, uf_tile_place(tile, at[i][0], at[i][1]).y_px,
                               UF_STRAIGHT_FROM_PX + (double)node_px))
            return false;
    }
    return true;
}

/* The footprints of a tile that is no polynomial, from parts of it that are. */
static bool find_in_parts(const Job *job, const Place *place, size_t node_px, UfCoarse *out)
{
    const size_t nodes = UF_TILE_PX / node_px + 1, side = 2 * node_px;
    UfLattice lattice;
    UfTile tile;
    uf_lattice_fill(&job->map, place->x_px, place->y_px, node_px, nodes, &lattice);
    for (size_t y = 0; y < UF_TILE_PX; y += side)
        for (size_t x = 0; x < UF_TILE_PX; x += side) {
            if (!uf_tile_fit(&lattice, x / side, y / side, &tile) || !is_straight(job, &tile, node_px))
                return false;
            uf_coarse_add(&job->map, &tile, x, y, side, job->trusts_angles, job->averager.cpu_flags, out);
        }
    return true;
}

/* `tile` is NULL where it does not fit, `holds` says whether it could be interpolated. */
static bool average(const Job *job, const UfTile *tile, bool holds, const Place *place, UfLight *room)
{
    UfCoarse coarse;
    if (tile == NULL) {
        if (!find_in_parts(job, place, UF_NODE_PX / 2, &coarse) &&
            !find_in_parts(job, place, UF_NODE_PX / 4, &coarse))
            return false;
    } else {
        if (!is_straight(job, tile, UF_NODE_PX))
            return false;
        uf_coarse_add(&job->map, tile, 0, 0, UF_TILE_PX, job->trusts_angles, job->averager.cpu_flags,
                      &coarse);
    }
    uf_coarse_finish(&job->map, place->width, place->height, job->averager.cpu_flags, &coarse);
    if (!coarse.altogether && (tile == NULL || !holds || is_stretched(job, tile)))
        return false;
    if (!coarse.altogether)
        interpolate(job, tile, place);
    const UfTilePart part = {.width = place->width,
                             .height = place->height,
                             .out = out_at(job, place->x_px, place->y_px),
                             .stride_bytes = uf_picture_stride_bytes(job->target)};
    return uf_average_tile(&job->averager, &coarse, &part, room);
}

/* From few exact places. False: pixel by pixel. */
static bool fill_tile(const Job *job, const UfLattice *lattice, size_t across, size_t down,
                      const Place *place, UfLight *room)
{
    UfTile tile;
    const bool fits = uf_tile_fit(lattice, across, down, &tile);
    const bool holds = fits && uf_plain_holds(&job->source, &tile);
    if (holds && is_fine(job, &tile)) {
        interpolate(job, &tile, place);
        return true;
    }
    return room != NULL && uf_average_is_straight(&job->averager) &&
           average(job, fits ? &tile : NULL, holds, place, room);
}

/* A row of tiles; neighbours that are mapped pixel by pixel are so together. */
static void fill_tiles(const Job *job, const UfLattice *lattice, size_t x_px, size_t y_px, size_t down,
                       UfLight *room)
{
    const size_t top = y_px + down * UF_TILE_PX, right = uf_smaller(x_px + UF_BLOCK_PX, job->width_px);
    const size_t height = uf_smaller(UF_TILE_PX, job->height_px - top);
    size_t exact_from = x_px;
    for (size_t across = 0, left = x_px; left < right; across++, left += UF_TILE_PX) {
        const Place place = {left, top, uf_smaller(UF_TILE_PX, right - left), height};
        if (!fill_tile(job, lattice, across, down, &place, room))
            continue;
        if (left > exact_from)
            fill_exactly(job, exact_from, top, left - exact_from, height, room);
        exact_from = left + place.width;
    }
    if (right > exact_from)
        fill_exactly(job, exact_from, top, right - exact_from, height, room);
}

static void fill_block(const Job *job, size_t x_px, size_t y_px, UfLight *room)
{
    const size_t height = uf_smaller(UF_BLOCK_PX, job->height_px - y_px),
                 width = uf_smaller(UF_BLOCK_PX, job->width_px - x_px);
    if (job->plain_tile == NULL) {
        fill_exactly(job, x_px, y_px, width, height, room);
        return;
    }
    UfLattice lattice;
    uf_lattice_fill(&job->map, x_px, y_px, UF_NODE_PX, UF_NODES, &lattice);
    if (room != NULL)
        room->ahead = uf_lattice_area(&lattice);
    for (size_t down = 0; down * UF_TILE_PX < height; down++)
        fill_tiles(job, &lattice, x_px, y_px, down, room);
}

typedef struct Run {
    size_t first, end;
} Run;

/* Half a thread's share of the blocks that are left, so that all threads end together. */
static Run take(atomic_size_t *next, size_t count, size_t threads)
{
    Run run = {.first = atomic_load_explicit(next, memory_order_relaxed)};
    do
        run.end = run.first + (count - run.first + 2 * threads - 1) / (2 * threads);
    while (!atomic_compare_exchange_weak(next, &run.first, run.end));
    return run;
}

/* Neighbours read the same lines of the source and share lines of the target: runs of them are a thread's. */
static void fill_blocks(Job *job, const UfBandBlock *blocks, size_t count, UfLight *rooms, int threads)
{
    atomic_size_t next = 0;
#pragma omp parallel num_threads(threads)
    {
        UfLight *room = rooms == NULL ? NULL : &rooms[omp_get_thread_num()];
        Run run = take(&next, count, (size_t)threads);
        for (; run.first < run.end; run = take(&next, count, (size_t)threads))
            for (size_t i = run.first; i < run.end; i++) {
                fill_block(job, blocks[i].x_px, blocks[i].y_px, room);
                uf_flow_filled(&job->flow, blocks[i].y_px);
            }
    }
}

static void rooms_free(UfLight *rooms, int threads)
{
    for (int i = 0; rooms != NULL && i < threads; i++)
        uf_light_free(&rooms[i]);
    free(rooms);
}

/* One for each thread; none where no windows of light are made. */
static UfStatus rooms_create(const Job *job, int threads, UfLight **out, UfReport *report)
{
    if (!job->averages || !uf_light_serves(&job->source))
        return UF_OK;
    UfLight *rooms = *out = uf_alloc_zero((size_t)threads, sizeof *rooms);
    if (rooms == NULL)
        return uf_fail_memory(report);
    for (int i = 0; i < threads; i++)
        if (!uf_light_create(&rooms[i]))
            return uf_fail_memory(report);
    return UF_OK;
}

static bool is_sound(const UfView *view)
{
    bool sound = view != NULL && uf_projection_name(view->projection) != NULL && view->scale_px > 0 &&
                 isfinite(view->scale_px) && isfinite(view->centre_x_px) && isfinite(view->centre_y_px) &&
                 view->width_px > 0 && view->height_px > 0;
    for (int i = 0; sound && i < 9; i++)
        sound = isfinite(view->rotation.m[i / 3][i % 3]);
    return sound;
}

static UfStatus check(const UfPicture *source, const UfView *source_view, const UfView *target_view,
                      const UfRemapOptions *options, UfReport *report)
{
    if (source == NULL)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no picture to remap");
    if (!is_sound(source_view) || !is_sound(target_view))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "a view makes no sense: size and scale must be above 0 and all numbers finite");
    if (source_view->width_px != uf_picture_width_px(source) ||
        source_view->height_px != uf_picture_height_px(source))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the picture is %zu x %zu pixels, its view says %zu x %zu: they must agree",
                       uf_picture_width_px(source), uf_picture_height_px(source), source_view->width_px,
                       source_view->height_px);
    return uf_check_remap_options(options, report);
}

static UfSampleRun *run_of(const UfKernels *kernels, UfSampling sampling)
{
    if (sampling == UF_SAMPLING_NEAREST)
        return kernels->nearest;
    if (sampling == UF_SAMPLING_SHARP)
        return kernels->sharp;
    return sampling == UF_SAMPLING_BILINEAR ? kernels->bilinear : kernels->bicubic;
}

static void prepare(Job *job, const UfPicture *source, const UfView *source_view, const UfView *target_view,
                    const UfRemapOptions *options, const UfTransfer *transfer, UfPicture *target)
{
    UfSample sample = uf_picture_sample(source);
    size_t channels = uf_picture_channels(source);
    bool adds_alpha = options->with_alpha && !uf_picture_has_alpha(source);
    UfKernels kernels;
    job->target = target;
    uf_kernels_init(&kernels, sample, channels, adds_alpha, 0);
    job->source = uf_source_of_picture(source, transfer);
    uf_source_set_edges(&job->source, source_view);
    job->map = uf_map_create(target_view, source_view, &job->source);
    job->sample_run = run_of(&kernels, options->sampling);
    job->plain = (UfPlain){&job->source, job->sample_run};
    job->plain_tile = uf_plain_tile(options->sampling, sample, channels, adds_alpha, uf_cpu_flags());
    job->width_px = target_view->width_px;
    job->height_px = target_view->height_px;
    job->pixel_bytes = (channels + adds_alpha) * (size_t)sample;
    /* sharp sampling has rules of its own */
    job->averages = options->sampling != UF_SAMPLING_NEAREST &&
                    (!options->interpolates_only || options->sampling == UF_SAMPLING_SHARP);
    job->trusts_angles =
        options->sampling == UF_SAMPLING_SHARP && (source_view->projection == UF_PROJECTION_EQUIRECTANGULAR ||
                                                   source_view->projection == UF_PROJECTION_RECTILINEAR);
    if (options->sampling == UF_SAMPLING_SHARP && job->map.wraps && job->map.over_top && job->map.over_bottom)
        job->blend = uf_blend_of(sample, channels, adds_alpha, uf_cpu_flags());
    job->keeps_border = !adds_alpha && !uf_picture_has_alpha(source);
    job->averager = (UfAverager){.map = &job->map,
                                 .source = &job->source,
                                 .transfer = transfer,
                                 .sum_bilinear = kernels.sum_bilinear,
                                 .sum_bicubic = kernels.sum_bicubic,
                                 .sample = sample,
                                 .channels = channels,
                                 .adds_alpha = adds_alpha,
                                 .cpu_flags = uf_cpu_flags()};
}

/*
 * Means are taken from light that is made of whole blocks of the source's rows, which reach beyond the last
 * row that is looked at, and stays for what is filled later.
 */
#define LIGHT_BEYOND_PX ((size_t)2 * UF_LIGHT_ROWS)

/* With the coefficients of a band at a time, or all of them of a source that is no sphere. */
static UfStatus fill_sharply(Job *job, const UfPicture *source, const UfBands *bands, UfLight *rooms,
                             int threads, UfReport *report)
{
    const UfSample sample = uf_picture_sample(source);
    const size_t channels = uf_picture_channels(source);
    UfSpline spline = {0};
    UfStatus status = UF_OK;
    for (size_t first = 0, end = bands->count; status == UF_OK && first < bands->count; first = end) {
        UfSeen seen = {0};
        ptrdiff_t first_row, end_row = job->source.height_px;
        if (bands->rows > 0)
            status = uf_bands_next(bands, &job->map, first, &end, &seen, report);
        if (status == UF_OK && bands->rows > 0)
            uf_spline_rows(&seen, job->source.height_px, &first_row, &end_row);
        if (status == UF_OK)
            status = uf_flow_await(&job->flow, (size_t)end_row + LIGHT_BEYOND_PX, report);
        if (status == UF_OK)
            status = uf_spline_create(&job->source, sample, channels, seen.columns == NULL ? NULL : &seen,
                                      threads, &spline, report);
        if (status == UF_OK)
            fill_blocks(job, bands->blocks + first, end - first, rooms, threads);
        uf_seen_free(&seen);
    }
    uf_spline_free(&spline);
    return status;
}

/* While rows come so much of the source is waited for at least: threads are started for each part. */
#define ROWS_PARTS 16u

/* All blocks, or one part after the other of what can be filled from the rows that are there. */
static UfStatus fill_plainly(Job *job, UfBands *bands, UfLight *rooms, int threads, UfReport *report)
{
    UfFlow *flow = &job->flow;
    const size_t height = flow->source_height_px, last = bands->count - 1;
    UfStatus status = UF_OK;
    for (size_t first = 0, end; status == UF_OK && first < bands->count; first = end) {
        const size_t least = (size_t)bands->blocks[first].end_row, most = (size_t)bands->blocks[last].end_row;
        const size_t wanted = uf_larger(least, uf_smaller(most, flow->arrived_px + height / ROWS_PARTS));
        status = uf_flow_await(flow, wanted + LIGHT_BEYOND_PX, report);
        end = uf_bands_held(bands, first,
                            flow->arrived_px == height ? height : flow->arrived_px - LIGHT_BEYOND_PX);
        if (status == UF_OK)
            fill_blocks(job, bands->blocks + first, end - first, rooms, threads);
    }
    return status;
}

/* Which blocks are filled together. */
static UfStatus list_bands(const Job *job, const UfPicture *source, const UfView *target_view, int threads,
                           const UfRemapOptions *options, UfBands *out, UfReport *report)
{
    const UfMap *map = &job->map;
    const bool serves = map->wraps && map->over_top && map->over_bottom && uf_seen_serves(target_view);
    if (job->blend != NULL && serves)
        return uf_bands_create(
            map, UF_BLOCK_PX,
            uf_spline_row_bytes(&job->source, uf_picture_sample(source), uf_picture_channels(source)),
            threads, out, report);
    if (options->sampling != UF_SAMPLING_SHARP && serves && job->flow.arrived_px < job->flow.source_height_px)
        return uf_bands_by_end(map, UF_BLOCK_PX, threads, out, report);
    return uf_bands_none(map, UF_BLOCK_PX, out, report);
}

/* When all is prepared. */
static UfStatus fill(Job *job, const UfPicture *source, const UfView *target_view,
                     const UfRemapOptions *options, int threads, UfReport *report)
{
    UfBands bands = {0};
    UfLight *rooms = NULL;
    const size_t across = (job->width_px + UF_BLOCK_PX - 1) / UF_BLOCK_PX;
    UfStatus status = uf_flow_open(&job->flow, options->rows, uf_picture_height_px(source), job->target,
                                   UF_BLOCK_PX, across, report);
    if (status == UF_OK)
        status = list_bands(job, source, target_view, threads, options, &bands, report);
    if (status == UF_OK)
        status = rooms_create(job, threads, &rooms, report);
    if (status == UF_OK && options->sampling == UF_SAMPLING_SHARP)
        status = fill_sharply(job, source, &bands, rooms, threads, report);
    else if (status == UF_OK)
        status = fill_plainly(job, &bands, rooms, threads, report);
    uf_flow_close(&job->flow, status);
    uf_bands_free(&bands);
    rooms_free(rooms, threads);
    return status;
}

UfStatus uf_remap_fill(const UfPicture *source, const UfView *source_view, const UfView *target_view,
                       const UfRemapOptions *options, UfPicture *target, UfReport *report)
{
    Job job = {0};
    UfTransfer *transfer = NULL;
    float *ready = NULL;
    const int threads = uf_remap_threads(options);
    UfStatus status = UF_OK;
    uf_prefer_large_pages(uf_picture_row(target, 0),
                          target_view->height_px * uf_picture_stride_bytes(target));
    if (options->sampling != UF_SAMPLING_NEAREST)
        status = uf_transfer_create(source, &transfer, report);
    if (status != UF_OK)
        return status;
    prepare(&job, source, source_view, target_view, options, transfer, target);
    /* a turned panorama's own pixels are short and long on every row near a pole */
    if (job.blend != NULL && target_view->projection != UF_PROJECTION_EQUIRECTANGULAR) {
        job.source.ready_px = ready = uf_ready_find(&job.map, threads);
        status = ready == NULL ? uf_fail_memory(report) : UF_OK;
    }
    if (status == UF_OK)
        status = fill(&job, source, target_view, options, threads, report);
    free(ready);
    uf_transfer_free(&transfer);
    return status;
}

UfStatus uf_remap(const UfPicture *source, const UfView *source_view, const UfView *target_view,
                  const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    const UfRemapOptions defaults = {0};
    UfPicture *target = NULL;
    options = options == NULL ? &defaults : options;
    UfStatus status = check(source, source_view, target_view, options, report);
    if (status != UF_OK)
        return status;
    size_t channels = uf_picture_channels(source);
    channels += options->with_alpha && channels % 2 == 1;
    status = uf_picture_create_unset(target_view->width_px, target_view->height_px, channels,
                                     uf_picture_sample(source), &target, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(source, target, report);
    if (status == UF_OK)
        status = uf_remap_fill(source, source_view, target_view, options, target, report);
    if (status == UF_OK)
        *out = target;
    else
        uf_picture_free(&target);
    return status;
}

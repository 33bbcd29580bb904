/*
 * The driver: checks what it is asked, cuts the target into tiles, and runs the kernels over their rows.
 * Tiles are shared out among threads as these become free; what a tile holds depends on nothing but its
 * place.
 */
#include <underfoot/remap.h>

#include <math.h>

#include "base/report.h"
#include "remap/average.h"
#include "remap/kernels.h"
#include "remap/map.h"
#include "remap/options.h"
#include "remap/spline.h"
#include "remap/stretch.h"
#include "picture/colour.h"

/* Square enough that its part of the source stays in the cache. One column more on each side is mapped. */
#define TILE_PX 128u
_Static_assert(TILE_PX + 2 <= UF_MAP_RUN, "a tile's row and its neighbours fit into a run");

typedef struct Job {
    UfPicture *target;
    UfSource source;
    UfMap map;
    UfAverager averager;
    UfSampleRun *sample_run;
    UfBlendPlaces *blend; /* NULL when nothing is stretched */
    size_t width_px, height_px, pixel_bytes;
    bool averages;
    bool trusts_angles; /* what counts as coarser is told by angles: see UF_SAMPLING_SHARP */
    bool keeps_border;  /* no alpha: a pixel whose centre is not seen stays 0 */
} Job;

typedef struct Tile {
    UfMapColumns columns;
    UfMapRow rows[3];
    double share[TILE_PX];
    bool stretched[TILE_PX]; /* fine enough by angles only */
    double u_px[TILE_PX], v_px[TILE_PX];
    UfJacobian jacobian[TILE_PX];
} Tile;

/* A pixel that is averaged altogether is hidden from the interpolation. */
static void choose_shares(const Job *job, Tile *tile, const UfMapRow *rows[3], size_t count)
{
    for (size_t i = 0; i < count; i++) {
        tile->u_px[i] = rows[1]->u_px[i + 1];
        tile->v_px[i] = rows[1]->v_px[i + 1];
        tile->share[i] = 0;
        tile->stretched[i] = false;
        if (!job->averages || (isnan(tile->u_px[i]) && job->keeps_border))
            continue;
        tile->jacobian[i] = uf_map_jacobian(&job->map, rows[0], rows[1], rows[2], i + 1);
        tile->share[i] = uf_average_share(&tile->jacobian[i]);
        if (job->trusts_angles && tile->share[i] > 0) {
            UfJacobian angular = uf_map_angular(&job->map, rows[0], rows[1], rows[2], i + 1);
            tile->share[i] = uf_average_share(&angular);
            tile->stretched[i] = job->blend != NULL && tile->share[i] < 1;
        }
        if (tile->share[i] >= 1)
            tile->u_px[i] = NAN;
    }
}

static bool is_outside(const Job *job, double u_px, double v_px)
{
    return !(u_px >= 0 && u_px <= (double)job->source.width_px && v_px >= 0 &&
             v_px <= (double)job->source.height_px);
}

static void fill_row(const Job *job, Tile *tile, const UfMapRow *rows[3], size_t x_px, size_t y_px,
                     size_t count)
{
    uint8_t *out = (uint8_t *)uf_picture_row(job->target, y_px) + x_px * job->pixel_bytes;
    UfPlaces places;
    choose_shares(job, tile, rows, count);
    job->sample_run(&job->source, tile->u_px, tile->v_px, count, out);
    for (size_t i = 0; i < count; i++) {
        if (tile->stretched[i] && uf_stretch_places(&job->map, &tile->jacobian[i], (double)(x_px + i) + 0.5,
                                                    (double)y_px + 0.5, &places))
            job->blend(&job->source, &places, out + i * job->pixel_bytes);
        if (!(tile->share[i] > 0))
            continue;
        double u_px = rows[1]->u_px[i + 1], v_px = rows[1]->v_px[i + 1];
        if (job->keeps_border && is_outside(job, u_px, v_px))
            continue;
        uf_average_pixel(&job->averager, &tile->jacobian[i], (double)(x_px + i) + 0.5, (double)y_px + 0.5,
                         u_px, v_px, tile->share[i], out + i * job->pixel_bytes);
    }
}

static void fill_tile(const Job *job, size_t x_px, size_t y_px)
{
    Tile tile;
    size_t width = job->width_px - x_px < TILE_PX ? job->width_px - x_px : TILE_PX;
    size_t height = job->height_px - y_px < TILE_PX ? job->height_px - y_px : TILE_PX;
    double left = (double)x_px - 0.5, top = (double)y_px - 0.5;
    uf_map_columns(&job->map, left, width + 2, &tile.columns);
    for (size_t ahead = 0; ahead < height + 2; ahead++) {
        uf_map_row(&job->map, &tile.columns, left, top + (double)ahead, width + 2, &tile.rows[ahead % 3]);
        if (ahead < 2)
            continue;
        size_t y = ahead - 2;
        const UfMapRow *rows[3] = {&tile.rows[y % 3], &tile.rows[(y + 1) % 3], &tile.rows[(y + 2) % 3]};
        fill_row(job, &tile, rows, x_px, y_px + y, width);
    }
}

static void run(const Job *job, int threads)
{
    size_t across = (job->width_px + TILE_PX - 1) / TILE_PX;
    size_t tiles = across * ((job->height_px + TILE_PX - 1) / TILE_PX);
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t tile = 0; tile < tiles; tile++)
        fill_tile(job, tile % across * TILE_PX, tile / across * TILE_PX);
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
                    const UfRemapOptions *options, const UfTransfer *transfer)
{
    UfSample sample = uf_picture_sample(source);
    size_t channels = uf_picture_channels(source);
    bool adds_alpha = options->with_alpha && !uf_picture_has_alpha(source);
    UfKernels kernels;
    uf_kernels_init(&kernels, sample, channels, adds_alpha, 0);
    job->source = uf_source_of_picture(source, transfer);
    uf_source_set_edges(&job->source, source_view);
    job->map = uf_map_create(target_view, source_view, &job->source);
    job->sample_run = run_of(&kernels, options->sampling);
    job->width_px = target_view->width_px;
    job->height_px = target_view->height_px;
    job->pixel_bytes = (channels + adds_alpha) * (size_t)sample;
    job->averages = options->sampling != UF_SAMPLING_NEAREST;
    job->trusts_angles =
        options->sampling == UF_SAMPLING_SHARP && (source_view->projection == UF_PROJECTION_EQUIRECTANGULAR ||
                                                   source_view->projection == UF_PROJECTION_RECTILINEAR);
    if (options->sampling == UF_SAMPLING_SHARP && job->map.wraps && job->map.over_top && job->map.over_bottom)
        job->blend = kernels.blend;
    job->keeps_border = !adds_alpha && !uf_picture_has_alpha(source);
    job->averager = (UfAverager){.map = &job->map,
                                 .source = &job->source,
                                 .transfer = transfer,
                                 .sum_bilinear = kernels.sum_bilinear,
                                 .sum_bicubic = kernels.sum_bicubic,
                                 .sample = sample,
                                 .channels = channels,
                                 .adds_alpha = adds_alpha};
}

UfStatus uf_remap(const UfPicture *source, const UfView *source_view, const UfView *target_view,
                  const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    const UfRemapOptions defaults = {0};
    Job job = {0};
    UfTransfer *transfer = NULL;
    UfSpline spline = {0};
    options = options == NULL ? &defaults : options;
    UfStatus status = check(source, source_view, target_view, options, report);
    if (status != UF_OK)
        return status;
    size_t channels = uf_picture_channels(source);
    channels += options->with_alpha && channels % 2 == 1;
    status = uf_picture_create(target_view->width_px, target_view->height_px, channels,
                               uf_picture_sample(source), &job.target, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(source, job.target, report);
    if (status == UF_OK && options->sampling != UF_SAMPLING_NEAREST)
        status = uf_transfer_create(source, &transfer, report);
    if (status != UF_OK)
        goto cleanup;
    prepare(&job, source, source_view, target_view, options, transfer);
    if (options->sampling == UF_SAMPLING_SHARP)
        status = uf_spline_create(&job.source, uf_picture_sample(source), uf_picture_channels(source),
                                  uf_remap_threads(options), &spline, report);
    if (status != UF_OK)
        goto cleanup;
    run(&job, uf_remap_threads(options));
    *out = job.target;
    job.target = NULL;
cleanup:
    uf_spline_free(&spline);
    uf_transfer_free(&transfer);
    uf_picture_free(&job.target);
    return status;
}

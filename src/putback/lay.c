/*
 * The panorama is gone through in tiles. For each part that reaches a tile the weighted difference is made
 * for as much of the part as the tile sees, resampled to the tile by uf_remap, and added up.
 *
 * Round a part lies a rim of zeros: over the pixel at its border the weight falls evenly to 0, being a half
 * at the border itself, so the parts on both sides of a cube's edge add up to 1.
 */
#include "putback/lay.h"

#include <math.h>
#include <omp.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "putback/reach.h"
#include "putback/survival.h"
#include "remap/window.h"

#define TILE_PX ((size_t)128)
/* Zeros round a part, and room round what a tile sees of it. */
#define RIM_PX  4
#define ROOM_PX 12
/* Paint has edges that no lens makes: the sharp kernel rings there, and does not average in a face's corners.
 */
#define SAMPLING UF_SAMPLING_BICUBIC
/* Two changes of one pixel contradict each other from this difference on. */
#define CONTRADICTION (2.0 / 255.0)

typedef struct Job {
    UfPicture *panorama;
    UfView view;
    const UfPart *parts;
    UfReach *reaches; /* one a part */
    size_t count, colours;
    UfTouched *touched;
} Job;

/* What is added to a tile: premultiplied, 0..1. */
typedef struct Sheet {
    float add[TILE_PX * TILE_PX * UF_PART_SAMPLES];
    float taken[TILE_PX * TILE_PX]; /* the part of the panorama's pixel that goes */
    float left[TILE_PX * TILE_PX];  /* of the weight, for the parts before */
    UfBox tile;
    size_t contradictions;
} Sheet;

/* A rectangle of a part's pixels; it may lie beyond the part's edges. */
typedef struct Region {
    ptrdiff_t x0, y0, x1, y1;
} Region;

/* What of the part's pixels, rim included, the window sees; false when nothing. */
static bool region_of(const Job *job, const UfPart *part, const UfBox *window, Region *out)
{
    double width = (double)uf_part_width_px(part), height = (double)uf_part_height_px(part);
    double left = INFINITY, right = -INFINITY, top = INFINITY, bottom = -INFINITY, step = 1;
    for (size_t y = window->y0; y < window->y1; y++) {
        UfPixelPoint last = {NAN, NAN};
        for (size_t x = window->x0; x < window->x1; x++) {
            UfDirection direction;
            UfPixelPoint at;
            bool seen =
                uf_view_direction(&job->view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction) &&
                uf_view_pixel(&part->view, direction, &at) && at.x_px > -RIM_PX && at.y_px > -RIM_PX &&
                at.x_px < width + RIM_PX && at.y_px < height + RIM_PX;
            if (!seen) {
                last.x_px = NAN;
                continue;
            }
            left = fmin(left, at.x_px);
            right = fmax(right, at.x_px);
            top = fmin(top, at.y_px);
            bottom = fmax(bottom, at.y_px);
            if (!isnan(last.x_px))
                step = fmax(step, fmax(fabs(at.x_px - last.x_px), fabs(at.y_px - last.y_px)));
            last = at;
        }
    }
    if (!(right >= left))
        return false;
    double room = ROOM_PX + 2 * step;
    out->x0 = (ptrdiff_t)floor(fmax(left - room, -RIM_PX));
    out->y0 = (ptrdiff_t)floor(fmax(top - room, -RIM_PX));
    out->x1 = (ptrdiff_t)ceil(fmin(right + room, width + RIM_PX));
    out->y1 = (ptrdiff_t)ceil(fmin(bottom + room, height + RIM_PX));
    return true;
}

static UfView region_view(const UfPart *part, const Region *region)
{
    UfView view = part->view;
    view.centre_x_px -= (double)region->x0;
    view.centre_y_px -= (double)region->y0;
    view.width_px = (size_t)(region->x1 - region->x0);
    view.height_px = (size_t)(region->y1 - region->y0);
    return view;
}

/*
 * What of a region comes home, as flat pictures: colours; what is taken from the panorama, alpha and nothing;
 * and the mask's weight.
 */
typedef struct Sources {
    UfPicture *colour, *rest, *weight;
} Sources;

static void sources_clear(Sources *sources)
{
    uf_picture_free(&sources->colour);
    uf_picture_free(&sources->rest);
    uf_picture_free(&sources->weight);
}

/* The part of the region that lies inside the edit, and buffers for it. */
typedef struct Inside {
    size_t x0, y0, width, height, samples;
    float *difference, *anew, *replaced, *room;
} Inside;

static void inside_clear(Inside *inside)
{
    free(inside->difference);
    free(inside->anew);
    free(inside->replaced);
    free(inside->room);
}

static UfStatus inside_load(const UfPart *part, const Region *region, Inside *out, UfReport *report)
{
    ptrdiff_t part_width = (ptrdiff_t)uf_part_width_px(part),
              part_height = (ptrdiff_t)uf_part_height_px(part);
    ptrdiff_t x1 = region->x1 < part_width ? region->x1 : part_width;
    ptrdiff_t y1 = region->y1 < part_height ? region->y1 : part_height;
    out->x0 = region->x0 > 0 ? (size_t)region->x0 : 0;
    out->y0 = region->y0 > 0 ? (size_t)region->y0 : 0;
    out->samples = uf_part_colours(part) + 1;
    if (x1 <= (ptrdiff_t)out->x0 || y1 <= (ptrdiff_t)out->y0)
        return UF_OK;
    out->width = (size_t)x1 - out->x0;
    out->height = (size_t)y1 - out->y0;
    size_t count = out->width * out->height;
    out->difference = uf_alloc(count * out->samples, sizeof(float));
    out->anew = uf_alloc(count * out->samples, sizeof(float));
    out->replaced = uf_alloc(count, sizeof(float));
    out->room = uf_alloc(3 * count, sizeof(float));
    if (out->difference == NULL || out->anew == NULL || out->replaced == NULL || out->room == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < out->height; y++) {
        size_t at = y * out->width * out->samples;
        uf_part_difference(part, out->y0 + y, out->x0, (size_t)x1, out->difference + at);
        uf_part_anew(part, out->y0 + y, out->x0, (size_t)x1, out->anew + at);
    }
    return UF_OK;
}

static void fill_row(const UfPart *part, const Region *region, const Inside *in, size_t y, Sources *out)
{
    size_t colours = in->samples - 1, row = (size_t)((ptrdiff_t)(in->y0 + y) - region->y0);
    size_t left = (size_t)((ptrdiff_t)in->x0 - region->x0), at = y * in->width;
    const uint8_t *weights = part->weight + (in->y0 + y) * uf_part_width_px(part) + in->x0;
    float *colour = (float *)uf_picture_row(out->colour, row) + left * colours;
    float *rest = (float *)uf_picture_row(out->rest, row) + left * 3;
    float *mask = (float *)uf_picture_row(out->weight, row) + left;
    for (size_t x = 0; x < in->width; x++, at++) {
        const float *difference = in->difference + at * in->samples, *anew = in->anew + at * in->samples;
        float weight = (float)weights[x] / 255.0f, replaced = in->replaced[at];
        for (size_t c = 0; c < colours; c++)
            colour[x * colours + c] = weight * difference[c] + replaced * anew[c];
        rest[3 * x] = replaced;
        rest[3 * x + 1] = weight * difference[colours] + replaced * anew[colours];
        mask[x] = weight;
    }
}

static UfStatus sources_create(const UfPart *part, const Region *region, Sources *out, UfReport *report)
{
    size_t width = (size_t)(region->x1 - region->x0), height = (size_t)(region->y1 - region->y0);
    Inside inside = {0};
    UfStatus status =
        uf_picture_create(width, height, uf_part_colours(part), UF_SAMPLE_F32, &out->colour, report);
    if (status == UF_OK)
        status = uf_picture_create(width, height, 3, UF_SAMPLE_F32, &out->rest, report);
    if (status == UF_OK)
        status = uf_picture_create(width, height, 1, UF_SAMPLE_F32, &out->weight, report);
    if (status == UF_OK)
        status = inside_load(part, region, &inside, report);
    if (status == UF_OK && inside.width > 0) {
        size_t stride = uf_part_width_px(part);
        UfPatchOfPart patch = {.width = inside.width,
                               .height = inside.height,
                               .samples = inside.samples,
                               .difference = inside.difference,
                               .anew = inside.anew,
                               .weight = part->weight + inside.y0 * stride + inside.x0,
                               .weight_stride = stride};
        uf_survival_find(&patch, inside.replaced, inside.room);
        for (size_t y = 0; y < inside.height; y++)
            fill_row(part, region, &inside, y, out);
    }
    inside_clear(&inside);
    return status;
}

static UfStatus resample(const Job *job, const UfPart *part, const Region *region, const UfBox *window,
                         Sources *out, UfReport *report)
{
    Sources from = {0};
    UfView source_view = region_view(part, region);
    UfView target =
        uf_view_window(&job->view, window->x0, window->y0, window->x1 - window->x0, window->y1 - window->y0);
    UfRemapOptions sharp = {.sampling = SAMPLING, .threads = 1};
    UfRemapOptions smooth = {.sampling = UF_SAMPLING_BILINEAR, .threads = 1};
    UfStatus status = sources_create(part, region, &from, report);
    if (status == UF_OK)
        status = uf_remap(from.colour, &source_view, &target, &sharp, &out->colour, report);
    if (status == UF_OK)
        status = uf_remap(from.rest, &source_view, &target, &sharp, &out->rest, report);
    if (status == UF_OK)
        status = uf_remap(from.weight, &source_view, &target, &smooth, &out->weight, report);
    sources_clear(&from);
    return status;
}

/* Would what is there already, and the change that is to go under it, look different? `old` is what both
 * stand on. */
static bool contradicts(const float *there, float there_weight, const float *below, float below_weight,
                        const float *old, size_t colours, float taken_there, float taken_below)
{
    if (there_weight < 0.5f || below_weight < 0.5f)
        return false;
    for (size_t c = 0; c < colours; c++) {
        float one = (there[c] - taken_there * old[c]) / there_weight;
        float other = (below[c] - taken_below * old[c]) / below_weight;
        if (fabsf(one - other) > (float)CONTRADICTION)
            return true;
    }
    return false;
}

/* The panorama's pixel, premultiplied, 0..1. */
static void load_pixel(const Job *job, size_t x, size_t y, float out[static UF_PART_SAMPLES])
{
    UfSample sample = uf_picture_sample(job->panorama);
    bool has_alpha = uf_picture_has_alpha(job->panorama);
    const uint8_t *row = uf_picture_row_const(job->panorama, y);
    const uint8_t *pixel = row + x * uf_picture_channels(job->panorama) * (size_t)sample;
    double alpha = 1, unit = 1 / uf_sample_max(sample);
    if (has_alpha)
        alpha = uf_sample_load(pixel + job->colours * (size_t)sample, sample) * unit;
    for (size_t c = 0; c < job->colours; c++)
        out[c] = (float)(uf_sample_load(pixel + c * (size_t)sample, sample) * alpha * unit);
    out[job->colours] = (float)alpha;
}

/* Puts a resampled part under what later parts have left room for. */
static void put_under(const Job *job, Sheet *sheet, const UfBox *window, const Sources *from)
{
    size_t colours = job->colours;
    for (size_t y = window->y0; y < window->y1; y++) {
        const float *colour = uf_picture_row_const(from->colour, y - window->y0);
        const float *rest = uf_picture_row_const(from->rest, y - window->y0);
        const float *mask = uf_picture_row_const(from->weight, y - window->y0);
        for (size_t x = window->x0; x < window->x1; x++, colour += colours, rest += 3, mask++) {
            size_t at = (y - sheet->tile.y0) * TILE_PX + x - sheet->tile.x0;
            float *add = sheet->add + at * UF_PART_SAMPLES;
            float weight = *mask, left = sheet->left[at], old[UF_PART_SAMPLES];
            if (left < 0.5f && weight >= 0.5f) {
                load_pixel(job, x, y, old);
                sheet->contradictions +=
                    contradicts(add, 1 - left, colour, weight, old, colours, sheet->taken[at], rest[0]);
            }
            float share = weight > left ? left / weight : 1;
            for (size_t c = 0; c < colours; c++)
                add[c] += share * colour[c];
            add[colours] += share * rest[1];
            sheet->taken[at] += share * rest[0];
            sheet->left[at] = fmaxf(left - weight, 0);
        }
    }
}

/* True when the sheet has anything to add. */
static UfStatus fill_sheet(const Job *job, Sheet *sheet, bool *any, UfReport *report)
{
    UfStatus status = UF_OK;
    *any = false;
    sheet->contradictions = 0;
    for (size_t i = job->count; status == UF_OK && i-- > 0;) {
        UfBox window;
        Region region;
        if (job->parts[i].box.x1 == 0 || !uf_reach_within(&job->reaches[i], &sheet->tile, &window) ||
            !region_of(job, &job->parts[i], &window, &region))
            continue;
        if (!*any) {
            memset(sheet->add, 0, sizeof sheet->add);
            memset(sheet->taken, 0, sizeof sheet->taken);
            for (size_t at = 0; at < TILE_PX * TILE_PX; at++)
                sheet->left[at] = 1;
            *any = true;
        }
        Sources resampled = {0};
        status = resample(job, &job->parts[i], &region, &window, &resampled, report);
        if (status == UF_OK)
            put_under(job, sheet, &window, &resampled);
        sources_clear(&resampled);
    }
    return status;
}

/* One pixel; true when its samples are other ones now. */
static bool add_pixel(uint8_t *pixel, const float *add, float taken, size_t colours, bool has_alpha,
                      UfSample sample)
{
    uint8_t before[UF_PART_SAMPLES * sizeof(float)];
    const double max = uf_sample_max(sample), kept = 1 - (double)taken;
    size_t bytes = (colours + has_alpha) * (size_t)sample;
    bool any = taken != 0;
    for (size_t c = 0; c <= colours; c++)
        any = any || add[c] != 0;
    if (!any)
        return false;
    memcpy(before, pixel, bytes);
    double alpha = 1, alpha_after = 1;
    if (has_alpha) {
        alpha = uf_sample_load(pixel + colours * (size_t)sample, sample) / max;
        alpha_after = fmin(fmax(kept * alpha + (double)add[colours], 0), 1);
        uf_sample_store(pixel + colours * (size_t)sample, alpha_after * max, sample);
    }
    for (size_t c = 0; alpha_after > 0 && c < colours; c++) {
        double there = uf_sample_load(pixel + c * (size_t)sample, sample);
        uf_sample_store(pixel + c * (size_t)sample,
                        (kept * there * alpha + (double)add[c] * max) / alpha_after, sample);
    }
    return memcmp(before, pixel, bytes) != 0;
}

static void add_row(const Job *job, const Sheet *sheet, size_t y, UfLaid *laid)
{
    bool has_alpha = uf_picture_has_alpha(job->panorama);
    UfSample sample = uf_picture_sample(job->panorama);
    size_t pixel_bytes = uf_picture_channels(job->panorama) * (size_t)sample, changed = 0;
    uint8_t *row = uf_picture_row(job->panorama, y);
    const float *taken = sheet->taken + (y - sheet->tile.y0) * TILE_PX;
    const float *add = sheet->add + (y - sheet->tile.y0) * TILE_PX * UF_PART_SAMPLES;
    for (size_t x = sheet->tile.x0; x < sheet->tile.x1; x++, add += UF_PART_SAMPLES, taken++) {
        if (!add_pixel(row + x * pixel_bytes, add, *taken, job->colours, has_alpha, sample))
            continue;
        changed++;
        if (job->touched != NULL)
            uf_touched_add(job->touched, x, y, x + 1, y + 1);
    }
    if (changed == 0)
        return;
    if (laid->changed_px == 0 || y < laid->top_px)
        laid->top_px = y;
    if (y + 1 > laid->bottom_px)
        laid->bottom_px = y + 1;
    laid->changed_px += changed;
    /* a row between latitudes a and b has (sin b - sin a)/2 of the sphere */
    double height = (double)job->view.height_px, width = (double)job->view.width_px;
    double share = (cos((double)y * UF_PI / height) - cos((double)(y + 1) * UF_PI / height)) / 2;
    laid->sphere_percent += 100 * share * (double)changed / width;
}

static UfStatus lay_tile(const Job *job, Sheet *sheet, UfLaid *laid, UfReport *report)
{
    bool any;
    UfStatus status = fill_sheet(job, sheet, &any, report);
    if (status != UF_OK || !any)
        return status;
    laid->contradictions_px += sheet->contradictions;
    for (size_t y = sheet->tile.y0; y < sheet->tile.y1; y++)
        add_row(job, sheet, y, laid);
    return UF_OK;
}

static UfBox tile_box(const Job *job, size_t number)
{
    size_t across = (job->view.width_px + TILE_PX - 1) / TILE_PX;
    size_t x = number % across * TILE_PX, y = number / across * TILE_PX;
    return (UfBox){.x0 = x,
                   .y0 = y,
                   .x1 = x + TILE_PX < job->view.width_px ? x + TILE_PX : job->view.width_px,
                   .y1 = y + TILE_PX < job->view.height_px ? y + TILE_PX : job->view.height_px};
}

static void gather(UfLaid *all, const UfLaid *one)
{
    if (one->changed_px > 0 && (all->changed_px == 0 || one->top_px < all->top_px))
        all->top_px = one->top_px;
    all->bottom_px = one->bottom_px > all->bottom_px ? one->bottom_px : all->bottom_px;
    all->changed_px += one->changed_px;
    all->sphere_percent += one->sphere_percent;
    all->contradictions_px += one->contradictions_px;
}

/* Tiles are whole numbers of cells, so no two threads mark the same cell. Each tile's sums are added in the
 * order of the tiles: the result does not depend on the number of threads. */
static UfStatus run(const Job *job, int threads, UfLaid *laid, UfReport *report)
{
    size_t across = (job->view.width_px + TILE_PX - 1) / TILE_PX;
    size_t tiles = across * ((job->view.height_px + TILE_PX - 1) / TILE_PX);
    UfLaid *each = uf_alloc_zero(tiles, sizeof *each);
    UfStatus status = UF_OK;
    if (each == NULL)
        return uf_fail_memory(report);
#pragma omp parallel num_threads(threads > 0 ? threads : omp_get_num_procs())
    {
        Sheet *sheet = uf_alloc(1, sizeof *sheet);
        UfStatus own = sheet == NULL ? UF_ERROR_MEMORY : UF_OK;
#pragma omp for schedule(dynamic)
        for (size_t tile = 0; tile < tiles; tile++) {
            if (own != UF_OK)
                continue;
            sheet->tile = tile_box(job, tile);
            own = lay_tile(job, sheet, &each[tile], NULL);
        }
        free(sheet);
        if (own != UF_OK)
#pragma omp critical
            status = own;
    }
    for (size_t tile = 0; tile < tiles; tile++)
        gather(laid, &each[tile]);
    free(each);
    return status == UF_OK ? UF_OK : uf_fail(report, status, "not enough memory to bring the changes home");
}

UfStatus uf_lay(UfPicture *panorama, const UfPart *parts, size_t count, int threads, UfTouched *touched,
                UfLaid *out, UfReport *report)
{
    Job job = {.panorama = panorama,
               .view = uf_view_equirectangular(uf_picture_width_px(panorama)),
               .parts = parts,
               .count = count,
               .colours = uf_picture_channels(panorama) <= 2 ? 1 : 3,
               .touched = touched};
    UfLaid laid = {0};
    job.reaches = uf_alloc_zero(count, sizeof *job.reaches);
    UfStatus status = job.reaches == NULL ? uf_fail_memory(report) : UF_OK;
    for (size_t i = 0; status == UF_OK && i < count; i++)
        if (parts[i].box.x1 > 0)
            status = uf_reach_find(&parts[i], &job.view, &job.reaches[i], report);
    if (status == UF_OK)
        status = run(&job, threads, &laid, report);
    for (size_t i = 0; job.reaches != NULL && i < count; i++)
        uf_reach_clear(&job.reaches[i]);
    free(job.reaches);
    if (status == UF_OK)
        *out = laid;
    return status;
}

/* Covering the nadir or the zenith: arguments, the choice of the fill, blending into the picture. */
#include <underfoot/patch.h>

#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/cap.h"
#include "patch/floor.h"
#include "patch/grain.h"
#include "patch/logo.h"
#include "patch/membrane.h"
#include "patch/over.h"
#include "patch/region.h"
#include "patch/plate.h"
#include "patch/rows.h"

#define BAND_ROWS 32u
/* Pixels of a row at a time; the most bytes that one has: four floats. */
#define TILE_PX          ((size_t)128)
#define MOST_PIXEL_BYTES 16u
#define MIN_HEIGHT_PX    8u
/* Rows added round a hole that was found: its edge is soft. */
#define HOLE_EDGE_ROWS 2.0

/* What the cap is filled with; one of the pointers, or the colour. */
typedef struct Filler {
    UfFill fill;
    UfMembrane *membrane;
    UfFloor *floor;
    UfGrain *grain; /* of the smooth fill; NULL: none */
    UfPlateFit plate;
    double colour[3];
} Filler;

static UfStatus check_angles(const UfPatchOptions *options, UfReport *report)
{
    double most = uf_radians(UF_CAP_MAX_DEG) + 1e-9;
    if (!(options->cap_rad >= 0 && options->cap_rad <= most))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the cap is %g degrees: give a half-angle above 0 and up to %g",
                       uf_degrees(options->cap_rad), UF_CAP_MAX_DEG);
    if (!(options->feather_rad >= 0 && options->feather_rad < UF_PI / 2))
        return uf_fail(report, UF_ERROR_ARGUMENT, "the feather is %g degrees: give 0 or more, below 90",
                       uf_degrees(options->feather_rad));
    if (!isfinite(options->heading_rad))
        return uf_fail(report, UF_ERROR_ARGUMENT, "the heading is not a number");
    if (options->logo == NULL)
        return UF_OK;
    if (!(options->logo_cap_rad >= 0 && options->logo_cap_rad <= most))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the logo's cap is %g degrees: give a half-angle above 0 and up to %g",
                       uf_degrees(options->logo_cap_rad), UF_CAP_MAX_DEG);
    if (options->logo_contact_rad != 0 &&
        !(options->logo_contact_rad >= uf_radians(UF_LOGO_CONTACT_MIN_DEG) &&
          options->logo_contact_rad <= uf_radians(UF_LOGO_CONTACT_MAX_DEG)))
        return uf_fail(
            report, UF_ERROR_ARGUMENT, "the logo's contact edge is %g degrees: give %g to %g, or 0 for none",
            uf_degrees(options->logo_contact_rad), UF_LOGO_CONTACT_MIN_DEG, UF_LOGO_CONTACT_MAX_DEG);
    return UF_OK;
}

static UfStatus check_fill(const UfPatchOptions *options, UfReport *report)
{
    if ((int)options->fill < UF_FILL_FLOOR || options->fill > UF_FILL_NONE)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no fill number %d", (int)options->fill);
    if (options->plate != NULL && (options->fill != UF_FILL_FLOOR || options->plate->photo == NULL))
        return uf_fail(report, UF_ERROR_ARGUMENT, "a floor photograph goes with the floor fill");
    if (options->fill == UF_FILL_NONE && options->logo == NULL)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "no fill and no logo: there is nothing to cover the cap with");
    for (int c = 0; options->fill == UF_FILL_COLOUR && c < 3; c++)
        if (!(options->colour[c] >= 0 && options->colour[c] <= 1))
            return uf_fail(report, UF_ERROR_ARGUMENT, "the fill's colour lies outside 0..1");
    return UF_OK;
}

static UfStatus check_panorama(const UfPicture *panorama, UfReport *report)
{
    size_t width = uf_picture_width_px(panorama);
    size_t height = uf_picture_height_px(panorama);
    if (width != 2 * height)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the picture is %zu x %zu: a full panorama is twice as wide as it is high", width,
                       height);
    if (height < MIN_HEIGHT_PX)
        return uf_fail(report, UF_ERROR_ARGUMENT, "the picture is %zu x %zu: too small to be patched", width,
                       height);
    return UF_OK;
}

/* The hole about the pole and its soft edge. */
static UfStatus find_cap(const UfPicture *panorama, bool at_zenith, double *cap_rad, UfReport *report)
{
    double found = 0;
    UfStatus status = uf_find_hole(panorama, at_zenith, &found, report);
    if (status != UF_OK)
        return status;
    found += HOLE_EDGE_ROWS * UF_PI / (double)uf_picture_height_px(panorama);
    if (found > uf_radians(UF_CAP_MAX_DEG))
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the hole at the %s reaches %.1f degrees from the pole: more than the %g that can be covered",
            at_zenith ? "zenith" : "nadir", uf_degrees(found), UF_CAP_MAX_DEG);
    *cap_rad = found;
    return UF_OK;
}

static UfStatus make_cap(const UfPicture *panorama, const UfPatchOptions *options, UfCap *out,
                         UfReport *report)
{
    UfCap cap = {.width_px = uf_picture_width_px(panorama),
                 .height_px = uf_picture_height_px(panorama),
                 .at_zenith = options->at_zenith,
                 .cap_rad = options->cap_rad,
                 .feather_rad = options->feather_rad,
                 .threads = options->threads > 0 ? options->threads : omp_get_num_procs()};
    bool is_needed = !options->without_cap && (options->fill != UF_FILL_NONE || options->logo_cap_rad <= 0);
    if (options->without_cap)
        cap.cap_rad = 0;
    if (cap.cap_rad <= 0 && is_needed) {
        UfStatus status = find_cap(panorama, options->at_zenith, &cap.cap_rad, report);
        if (status != UF_OK)
            return status;
    }
    if (uf_cap_outer_rad(&cap) >= UF_PI / 2)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "cap and feather together are %g degrees: they must stay below the horizon, 90",
                       uf_degrees(uf_cap_outer_rad(&cap)));
    if (is_needed && uf_cap_ring_count(&cap, cap.cap_rad) == 0)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the cap of %g degrees is smaller than half a row of this picture: give at least %.3g",
                       uf_degrees(cap.cap_rad), 90.0 / (double)cap.height_px + 0.001);
    *out = cap;
    return UF_OK;
}

/* The Fourier series where the hole is round, the same by solving where it is not. */
static UfStatus prepare_smooth(const UfPicture *panorama, const UfCap *cap, unsigned seed, Filler *filler,
                               UfReport *report)
{
    UfStatus status = cap->region != NULL
                          ? uf_floor_spread(panorama, cap, &filler->floor, report)
                          : uf_membrane_from_picture(panorama, cap, &filler->membrane, report);
    if (status == UF_OK)
        status = uf_grain_measure(panorama, cap, seed, &filler->grain, report);
    return status;
}

/* The floor, or the membrane with a warning where the floor cannot be rebuilt. */
static UfStatus prepare_floor(const UfPicture *panorama, const UfCap *cap, unsigned seed, Filler *filler,
                              UfReport *report)
{
    UfReport *reason = uf_report_create();
    UfStatus status = uf_floor_rebuild(panorama, cap, seed, NULL, NULL, &filler->floor, reason);
    if (status == UF_ERROR_UNCLEAR) {
        uf_warn(report, "%s; it was filled smoothly instead", uf_report_error(reason));
        filler->fill = UF_FILL_SMOOTH;
        status = prepare_smooth(panorama, cap, seed, filler, report);
    } else if (status != UF_OK) {
        status = uf_fail(report, status, "%s", uf_report_error(reason));
    }
    uf_report_free(&reason);
    return status;
}

static UfStatus prepare(const UfPicture *panorama, const UfCap *cap, const UfPatchOptions *options,
                        Filler *filler, UfReport *report)
{
    switch (filler->fill) {
    case UF_FILL_FLOOR:
        if (options->plate != NULL) /* never smoothed over: a plate that does not fit is refused */
            return uf_floor_rebuild(panorama, cap, options->seed, options->plate, &filler->plate,
                                    &filler->floor, report);
        return prepare_floor(panorama, cap, options->seed, filler, report);
    case UF_FILL_SMOOTH:
        return prepare_smooth(panorama, cap, options->seed, filler, report);
    case UF_FILL_COLOUR:
        return uf_colour_of_srgb(options->colour, panorama, filler->colour, report);
    case UF_FILL_NONE:
        break;
    }
    return UF_OK;
}

static void colour_rows(const Filler *filler, size_t pixels, size_t channels, float *out)
{
    for (size_t i = 0; i < pixels; i++)
        for (size_t c = 0; c < channels; c++)
            out[i * channels + c] = (float)filler->colour[c];
}

/* Rows that are laid together: those of `band`, count x width x channels, or the membrane's that are ready.
 */
typedef struct Laying {
    UfPicture *panorama;
    const Filler *filler;
    const UfCap *cap;
    const UfTransfer *transfer;
    float *band;
    size_t y0, count;
    float weight[BAND_ROWS]; /* of each row, where it is_even */
    bool is_even[BAND_ROWS];
} Laying;

/* Makes up to BAND_ROWS rows of the fill from y0 on, in the order of the picture's. */
static UfStatus make_rows(Laying *l, size_t y0, size_t end, UfReport *report)
{
    double angles[BAND_ROWS];
    size_t channels = uf_colour_channels(l->panorama), count = end - y0 < BAND_ROWS ? end - y0 : BAND_ROWS;
    l->y0 = y0;
    l->count = count;
    if (l->filler->floor != NULL)
        return uf_floor_rows(l->filler->floor, l->cap, y0, count, channels, l->band, report);
    if (l->band != NULL) {
        colour_rows(l->filler, count * l->cap->width_px, channels, l->band);
        return UF_OK;
    }
    for (size_t i = 0; i < count; i++) /* rows and rings count the same way or against each other */
        angles[i] = uf_cap_ring_angle_rad(l->cap, uf_cap_row(l->cap, y0 + i));
    l->count = uf_membrane_ready(l->filler->membrane, angles, count);
    return UF_OK;
}

/* A run of a row while it is laid: up to TILE_PX pixels. */
typedef struct Run {
    float fill[TILE_PX * 3], weights[TILE_PX];
    float colour[TILE_PX * 3], alpha[TILE_PX];
    uint8_t before[TILE_PX * MOST_PIXEL_BYTES];
} Run;

static bool covers_all(const float *weights, size_t count)
{
    for (size_t x = 0; x < count; x++)
        if (!(weights[x] >= 1))
            return false;
    return true;
}

/* A run that is covered gets the fill; of another the pixels of weight 0 are not touched, not even by
 * rounding. */
static void blend_run(const Laying *l, size_t y, size_t x0, size_t count, Run *run)
{
    size_t pixel_bytes = uf_picture_stride_bytes(l->panorama) / l->cap->width_px;
    uint8_t *row = (uint8_t *)uf_picture_row(l->panorama, y) + x0 * pixel_bytes;
    memcpy(run->before, row, count * pixel_bytes);
    uf_run_load(l->panorama, y, x0, count, run->colour, run->alpha);
    uf_over(l->transfer, run->fill, run->weights, run->colour, run->alpha, count,
            uf_colour_channels(l->panorama));
    uf_run_store(l->panorama, y, x0, count, run->colour, run->alpha);
    for (size_t x = 0; x < count; x++)
        if (!(run->weights[x] > 0))
            memcpy(row + x * pixel_bytes, run->before + x * pixel_bytes, pixel_bytes);
}

static void lay_run(const Laying *l, size_t i, size_t x0, size_t count, Run *run)
{
    size_t channels = uf_colour_channels(l->panorama), y = l->y0 + i;
    if (l->band != NULL)
        memcpy(run->fill, l->band + (i * l->cap->width_px + x0) * channels,
               count * channels * sizeof *run->fill);
    else
        uf_membrane_run(l->filler->membrane, i, x0, count, run->fill);
    for (size_t x = 0; l->is_even[i] && x < count; x++)
        run->weights[x] = l->weight[i];
    if (!l->is_even[i])
        uf_cap_weights(l->cap, y, x0, count, run->weights);
    bool is_covered = l->is_even[i] ? l->weight[i] >= 1 : covers_all(run->weights, count);
    if (l->filler->grain != NULL)
        uf_grain_add(l->filler->grain, l->cap, y, x0, count, is_covered ? NULL : run->weights, run->fill);
    if (is_covered) /* then the weights are its alpha, too */
        uf_run_store(l->panorama, y, x0, count, run->fill, run->weights);
    else
        blend_run(l, y, x0, count, run);
}

/* Tile after tile, from top to bottom: what a tile needs of the membrane and the grain stays in the cache. */
static void lay_rows(Laying *l)
{
    size_t width = l->cap->width_px;
    for (size_t i = 0; i < l->count; i++)
        l->is_even[i] = uf_cap_weight_is_even(l->cap, l->y0 + i, &l->weight[i]);
#pragma omp parallel for schedule(static) num_threads(l->cap->threads)
    for (size_t i = 0; i < l->count; i++)
        uf_bring_pages(uf_picture_row(l->panorama, l->y0 + i), uf_picture_stride_bytes(l->panorama));
#pragma omp parallel for schedule(static) num_threads(l->cap->threads)
    for (size_t x = 0; x < width; x += TILE_PX) {
        Run run;
        for (size_t i = 0; i < l->count; i++)
            lay_run(l, i, x, width - x < TILE_PX ? width - x : TILE_PX, &run);
    }
}

/* Marks the runs of a row that were covered. */
static void touch_parts(const float *weights, size_t width, size_t y, UfTouched *touched)
{
    for (size_t x = 0, from = 0; x <= width; x++) {
        if (x < width && weights[x] > 0)
            continue;
        if (x > from)
            uf_touched_add(touched, from, y, x, y + 1);
        from = x + 1;
    }
}

static UfStatus touch_rows(const UfCap *cap, size_t y0, size_t y1, UfTouched *touched, UfReport *report)
{
    if (cap->region == NULL) {
        uf_touched_add(touched, 0, y0, cap->width_px, y1);
        return UF_OK;
    }
    float *weights = uf_alloc(cap->width_px, sizeof *weights);
    if (weights == NULL)
        return uf_fail_memory(report);
    for (size_t y = y0; y < y1; y++) {
        uf_cap_weights(cap, y, 0, cap->width_px, weights);
        touch_parts(weights, cap->width_px, y, touched);
    }
    free(weights);
    return UF_OK;
}

/* Fills and feathers rows [y0, y1), band by band. */
static UfStatus cover(UfPicture *panorama, const Filler *filler, const UfCap *cap, size_t y0, size_t y1,
                      UfReport *report)
{
    UfTransfer *transfer = NULL;
    UfStatus status = uf_transfer_create(panorama, &transfer, report);
    Laying laying = {.panorama = panorama, .filler = filler, .cap = cap, .transfer = transfer};
    if (filler->membrane == NULL) {
        laying.band = uf_alloc(BAND_ROWS * cap->width_px * uf_colour_channels(panorama), sizeof *laying.band);
        if (status == UF_OK && laying.band == NULL)
            status = uf_fail_memory(report);
    }
    for (size_t y = y0; status == UF_OK && y < y1; y += laying.count) {
        status = make_rows(&laying, y, y1, report);
        if (status == UF_OK)
            lay_rows(&laying);
    }
    free(laying.band);
    uf_transfer_free(&transfer);
    return status;
}

static UfStatus check_sun(const UfPatchOptions *options, UfReport *report)
{
    if (!options->has_sun)
        return UF_OK;
    if (options->at_zenith)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "a shadow lies on the floor: it cannot be covered at the zenith");
    if (!(options->sun.lat_rad > 0 && options->sun.lat_rad <= UF_PI / 2) || !isfinite(options->sun.lon_rad))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the sun's elevation is %g degrees: it throws a shadow above 0 and up to 90",
                       uf_degrees(options->sun.lat_rad));
    if (!(options->height_m >= 0 && options->height_m <= 100 && options->shadow_width_m >= 0 &&
          options->shadow_width_m <= 100))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "a height of %g m and a shadow %g m wide make no sense: give metres, up to 100",
                       options->height_m, options->shadow_width_m);
    return UF_OK;
}

static UfStatus check_arguments(const UfPicture *panorama, const UfPatchOptions *options, UfReport *report)
{
    UfStatus status = check_panorama(panorama, report);
    if (status == UF_OK)
        status = check_angles(options, report);
    if (status == UF_OK)
        status = check_fill(options, report);
    if (status == UF_OK)
        status = check_sun(options, report);
    return status;
}

/* Covers the cap and its feather; *result gets the fill that it came to, *rings how many rings may have
 * changed.
 */
static UfStatus lay_fill(UfPicture *panorama, const UfCap *cap, const UfPatchOptions *options,
                         UfTouched *touched, UfPatchResult *result, size_t *rings, UfReport *report)
{
    Filler filler = {.fill = options->fill};
    double outer_rad = fmax(uf_cap_outer_rad(cap), cap->region != NULL ? cap->region->far_rad + 1e-9 : 0);
    size_t count = uf_cap_ring_count(cap, outer_rad);
    size_t first = uf_cap_first_row(cap, count);
    UfStatus status = prepare(panorama, cap, options, &filler, report);
    if (status == UF_OK)
        status = cover(panorama, &filler, cap, first, first + count, report);
    if (status == UF_OK && touched != NULL)
        status = touch_rows(cap, first, first + count, touched, report);
    result->fill_used = filler.fill;
    result->plate = filler.plate;
    *rings = count;
    uf_membrane_free(&filler.membrane);
    uf_grain_free(&filler.grain);
    uf_floor_free(&filler.floor);
    return status;
}

UfStatus uf_patch(UfPicture *panorama, const UfPatchOptions *options, UfTouched *touched,
                  UfPatchResult *result, UfReport *report)
{
    UfCap cap = {0};
    UfRegion *region = NULL;
    UfPatchResult found = {.fill_used = options->fill};
    size_t fill_rings = 0, logo_rings = 0;
    UfStatus status = check_arguments(panorama, options, report);
    if (status == UF_OK)
        status = make_cap(panorama, options, &cap, report);
    if (status == UF_OK)
        status = uf_region_create(options, &cap, &region, &found, report);
    cap.region = region;
    if (status == UF_OK && options->plate != NULL)
        status = uf_plate_check(options->plate, &cap, report);
    if (status == UF_OK && options->fill != UF_FILL_NONE)
        status = lay_fill(panorama, &cap, options, touched, &found, &fill_rings, report);
    if (status == UF_OK && options->logo != NULL)
        status = uf_logo_lay(panorama, options, &cap,
                             options->logo_cap_rad > 0 ? options->logo_cap_rad : cap.cap_rad, touched,
                             &logo_rings, report);
    if (status == UF_OK && result != NULL) {
        size_t rings = fill_rings > logo_rings ? fill_rings : logo_rings;
        found.cap_rad = cap.cap_rad;
        found.first_row_px = uf_cap_first_row(&cap, rings);
        found.last_row_px = found.first_row_px + rings;
        *result = found;
    }
    uf_region_free(&region);
    return status;
}

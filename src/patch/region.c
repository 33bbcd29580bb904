/* Shadow and mask as weights of the panorama's pixels. */
#include "patch/region.h"

#include <math.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "base/smoothstep.h"
#include "patch/rows.h"
#include "patch/shadow.h"

/* The floor is a smear beyond this angle: a shadow is not followed further. */
#define SHADOW_REACH_RAD (60.0 * UF_PI / 180)
/* Common practice, no source: tripod, head and camera, the photographer away. */
#define SHADOW_WIDTH_M 0.6
/* Common practice, no source. */
#define HEIGHT_M 1.5
/* Weights below half a code of 8 bits are nothing. */
#define LEAST_WEIGHT 0.002F

void uf_region_free(UfRegion **region)
{
    if (region == NULL || *region == NULL)
        return;
    free((*region)->weight);
    free(*region);
    *region = NULL;
}

bool uf_cap_weight_is_even(const UfCap *cap, size_t y_px, float *weight)
{
    const UfRegion *region = cap->region;
    *weight = (float)uf_cap_weight(cap, uf_cap_ring_angle_rad(cap, uf_cap_row(cap, y_px)));
    return region == NULL || y_px < region->first_row_px || y_px >= region->first_row_px + region->row_count;
}

void uf_cap_weights(const UfCap *cap, size_t y_px, size_t x0_px, size_t count, float *out)
{
    const UfRegion *region = cap->region;
    float weight;
    if (uf_cap_weight_is_even(cap, y_px, &weight)) {
        for (size_t x = 0; x < count; x++)
            out[x] = weight;
        return;
    }
    const float *row = region->weight + (y_px - region->first_row_px) * region->width_px + x0_px;
    for (size_t x = 0; x < count; x++)
        out[x] = row[x] > weight ? row[x] : weight;
}

float uf_cap_weight_at(const UfCap *cap, size_t x_px, size_t y_px)
{
    float weight;
    uf_cap_weights(cap, y_px, x_px, 1, &weight);
    return weight;
}

bool uf_region_holds(const UfRegion *region, UfDirection direction)
{
    UfLonLat at = uf_lonlat_from_direction(direction);
    double width = (double)region->width_px;
    double u = (at.lon_rad / (2 * UF_PI) + 0.5) * width, v = (0.5 - at.lat_rad / UF_PI) * width / 2;
    for (int k = 0; k < 4; k++) {
        double y = floor(v - 0.5 + (k >> 1)), x = floor(u - 0.5 + (k & 1));
        if (y < (double)region->first_row_px || y >= (double)(region->first_row_px + region->row_count))
            continue;
        x -= width * floor(x / width);
        size_t column = (size_t)x < region->width_px ? (size_t)x : 0;
        if (region->weight[((size_t)y - region->first_row_px) * region->width_px + column] > 0)
            return true;
    }
    return false;
}

static UfStatus region_over(const UfCap *cap, double angle_rad, UfRegion **out, UfReport *report)
{
    UfRegion *region = uf_alloc_zero(1, sizeof *region);
    if (region == NULL)
        return uf_fail_memory(report);
    region->width_px = cap->width_px;
    region->row_count = uf_cap_ring_count(cap, angle_rad);
    region->first_row_px = uf_cap_first_row(cap, region->row_count);
    region->weight = uf_alloc_zero(region->row_count * region->width_px, sizeof *region->weight);
    if (region->weight == NULL) {
        uf_region_free(&region);
        return uf_fail_memory(report);
    }
    *out = region;
    return UF_OK;
}

/* How much an angle on the sphere is of a short way on the floor, at a point and in the direction away from
 * the edge: a gnomonic picture is stretched by 1/cos^2 outwards and by 1/cos across. */
static double angle_of(const UfShadow *shadow, double x, double z, double distance)
{
    double step = 1e-4, r = hypot(x, z), cosine2 = 1 / (1 + r * r);
    double gx = uf_shadow_distance(shadow, x + step, z) - uf_shadow_distance(shadow, x - step, z);
    double gz = uf_shadow_distance(shadow, x, z + step) - uf_shadow_distance(shadow, x, z - step);
    double g = hypot(gx, gz);
    if (!(g > 0) || !(r > 0))
        return distance;
    double outwards = (gx * x + gz * z) / (g * r), across = sqrt(fmax(0, 1 - outwards * outwards));
    return distance * hypot(outwards * cosine2, across * sqrt(cosine2));
}

static void shadow_row(const UfShadow *shadow, const UfCap *cap, UfRegion *region, size_t row)
{
    double angle = uf_cap_ring_angle_rad(cap, uf_cap_row(cap, region->first_row_px + row));
    double r = tan(angle);
    for (size_t i = 0; i < region->width_px; i++) {
        double lon = (((double)i + 0.5) / (double)region->width_px - 0.5) * 2 * UF_PI;
        double x = r * sin(lon), z = r * cos(lon);
        double distance = uf_shadow_distance(shadow, x, z);
        float weight = 1;
        if (distance > 0) {
            double t = cap->feather_rad > 0 ? 1 - angle_of(shadow, x, z, distance) / cap->feather_rad : 0;
            weight = (float)uf_smoothstep(t);
        }
        float *here = &region->weight[row * region->width_px + i];
        *here = fmaxf(*here, weight > LEAST_WEIGHT ? weight : 0);
    }
}

static UfStatus add_shadow(const UfPatchOptions *options, const UfCap *cap, UfRegion *region,
                           UfPatchResult *result, UfReport *report)
{
    double height = options->height_m > 0 ? options->height_m : HEIGHT_M;
    double width = options->shadow_width_m > 0 ? options->shadow_width_m : SHADOW_WIDTH_M;
    UfShadow shadow = uf_shadow_of(options->sun, width / height, tan(cap->cap_rad), tan(SHADOW_REACH_RAD));
    if (shadow.is_cut)
        uf_warn(report,
                "the shadow reaches %.1f m from the tripod, further than the floor can be used: it was "
                "covered up to %.1f "
                "m, %.0f degrees from the nadir",
                (shadow.head_to + shadow.head_radius) * height, shadow.cut * height,
                uf_degrees(SHADOW_REACH_RAD));
    for (size_t row = 0; row < region->row_count; row++)
        shadow_row(&shadow, cap, region, row);
    result->shadow_length_m = fmin(shadow.head_to + shadow.head_radius, shadow.cut) * height;
    result->shadow_is_cut = shadow.is_cut;
    return UF_OK;
}

/* What a pixel of the mask says: its alpha where it has one that varies, its brightness otherwise. */
typedef struct MaskRows {
    float *colour, *alpha;
    bool by_alpha;
    size_t channels;
} MaskRows;

static float mask_value(const MaskRows *rows, size_t x)
{
    float sum = 0;
    if (rows->by_alpha)
        return rows->alpha[x];
    for (size_t c = 0; c < rows->channels; c++)
        sum += rows->colour[x * rows->channels + c];
    return sum / (float)rows->channels * rows->alpha[x];
}

static bool alpha_varies(const UfPicture *mask, MaskRows *rows)
{
    if (!uf_picture_has_alpha(mask))
        return false;
    float low = 2, high = -1;
    for (size_t y = 0; y < uf_picture_height_px(mask); y++) {
        uf_row_load(mask, y, rows->colour, rows->alpha);
        for (size_t x = 0; x < uf_picture_width_px(mask); x++) {
            low = fminf(low, rows->alpha[x]);
            high = fmaxf(high, rows->alpha[x]);
        }
    }
    return high - low > 0.5F;
}

static void add_mask_row(const MaskRows *rows, UfRegion *region, size_t row)
{
    for (size_t x = 0; x < region->width_px; x++) {
        float weight = fminf(mask_value(rows, x), 1);
        float *here = &region->weight[row * region->width_px + x];
        if (weight > LEAST_WEIGHT)
            *here = fmaxf(*here, weight > 1 - LEAST_WEIGHT ? 1 : weight);
    }
}

/* The mask as the panorama sees it, all of it, so that what lies too far away is noticed. */
static UfStatus project_mask(const UfPatchOptions *options, const UfCap *cap, UfPicture **out,
                             UfReport *report)
{
    UfView whole = uf_view_equirectangular(uf_picture_width_px(options->mask));
    UfView target = uf_view_equirectangular(cap->width_px);
    UfRemapOptions how = {
        .sampling = UF_SAMPLING_BILINEAR, .threads = cap->threads, .with_alpha = options->mask_view != NULL};
    const UfView *from = options->mask_view;
    if (from == NULL && uf_picture_width_px(options->mask) != 2 * uf_picture_height_px(options->mask))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the mask is %zu x %zu: give a 2:1 panorama, or a face or view taken out of this one",
                       uf_picture_width_px(options->mask), uf_picture_height_px(options->mask));
    return uf_remap(options->mask, from != NULL ? from : &whole, &target, &how, out, report);
}

static UfStatus check_reach(const UfCap *cap, size_t painted_px, double far_rad, UfReport *report)
{
    if (painted_px == 0)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the mask is empty: paint white what is to be covered, black what is to stay");
    if (far_rad > uf_radians(UF_CAP_MAX_DEG))
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the mask reaches %.0f degrees from the %s, and at most %g can be covered: take spots further up "
            "out with view, retouch them and bring them home with putback",
            uf_degrees(far_rad), cap->at_zenith ? "zenith" : "nadir", UF_CAP_MAX_DEG);
    return UF_OK;
}

static UfStatus add_mask(const UfPatchOptions *options, const UfCap *cap, UfRegion *region, UfReport *report)
{
    UfPicture *projected = NULL;
    size_t room = uf_picture_width_px(options->mask) > cap->width_px ? uf_picture_width_px(options->mask)
                                                                     : cap->width_px;
    MaskRows rows = {.channels = uf_colour_channels(options->mask)};
    size_t painted = 0;
    double far_rad = 0;
    rows.colour = uf_alloc(room * rows.channels, sizeof *rows.colour);
    rows.alpha = uf_alloc(room, sizeof *rows.alpha);
    UfStatus status = rows.colour == NULL || rows.alpha == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK) {
        rows.by_alpha = alpha_varies(options->mask, &rows);
        status = project_mask(options, cap, &projected, report);
    }
    for (size_t y = 0; status == UF_OK && y < cap->height_px; y++) {
        size_t before = painted;
        uf_row_load(projected, y, rows.colour, rows.alpha);
        for (size_t x = 0; x < cap->width_px; x++)
            painted += mask_value(&rows, x) > LEAST_WEIGHT;
        if (painted > before)
            far_rad = fmax(far_rad, uf_cap_ring_angle_rad(cap, uf_cap_row(cap, y)));
        if (y >= region->first_row_px && y < region->first_row_px + region->row_count)
            add_mask_row(&rows, region, y - region->first_row_px);
    }
    if (status == UF_OK)
        status = check_reach(cap, painted, far_rad, report);
    uf_picture_free(&projected);
    free(rows.colour);
    free(rows.alpha);
    return status;
}

/* Rows without anything at the side away from the pole go. */
static void trim(UfRegion *region, const UfCap *cap)
{
    double far_rad = 0;
    for (size_t row = 0; row < region->row_count; row++)
        for (size_t x = 0; x < region->width_px; x++)
            if (region->weight[row * region->width_px + x] > 0) {
                far_rad =
                    fmax(far_rad, uf_cap_ring_angle_rad(cap, uf_cap_row(cap, region->first_row_px + row)));
                break;
            }
    region->far_rad = far_rad;
    size_t rows = uf_cap_ring_count(cap, far_rad + 1e-9), first = uf_cap_first_row(cap, rows);
    memmove(region->weight, region->weight + (first - region->first_row_px) * region->width_px,
            rows * region->width_px * sizeof *region->weight);
    region->first_row_px = first;
    region->row_count = rows;
}

UfStatus uf_region_create(const UfPatchOptions *options, const UfCap *cap, UfRegion **out,
                          UfPatchResult *result, UfReport *report)
{
    UfRegion *region = NULL;
    if (!options->has_sun && options->mask == NULL)
        return UF_OK;
    UfStatus status = region_over(cap, uf_radians(UF_CAP_MAX_DEG), &region, report);
    if (status == UF_OK && options->has_sun)
        status = add_shadow(options, cap, region, result, report);
    if (status == UF_OK && options->mask != NULL)
        status = add_mask(options, cap, region, report);
    if (status != UF_OK) {
        uf_region_free(&region);
        return status;
    }
    trim(region, cap);
    *out = region;
    return UF_OK;
}

/* From pixels to segments. */
#include "level/segments.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"

/* Larger pictures are made smaller first: a pixel of 0.18 degrees is fine enough for what follows. */
#define WORK_WIDTH_PX 2048u
/* Gradients below 2 codes of 255 across a pixel are rounding and noise. */
#define LEAST_GRADIENT (2.0f / 255)
/* Normals within 12 degrees belong together. */
#define SAME_COSINE 0.978f
/* Shorter ones say little about where they lead. */
#define LEAST_LENGTH_DEG 3.0
/*
 * The ends of an edge are off by a part of a pixel, so that it misses what it leads to by that over its
 * length; and nothing that was built is straighter than the least doubt. Measured on rendered scenes of known
 * lean.
 */
#define DOUBT_PX        0.15
#define LEAST_DOUBT_DEG 0.06
/* Points of a straight edge lie this near to it, root mean square, in pixels. */
#define MOST_SPREAD_PX 0.8

typedef struct Field {
    size_t width, height, first, last; /* rows first .. last - 1 are looked at */
    float *brightness;
    float (*gradient)[3]; /* in the world's axes, per radian; zero where there is no edge */
    float *strength;      /* its length; negative once it belongs to a segment */
    uint32_t *queue;
} Field;

static float sample_of(const void *row, size_t index, UfSample sample)
{
    if (sample == UF_SAMPLE_U8)
        return (float)((const uint8_t *)row)[index] / 255;
    if (sample == UF_SAMPLE_U16)
        return (float)((const uint16_t *)row)[index] / 65535;
    float value = ((const float *)row)[index];
    return value > 0 ? (value < 1 ? value : 1) : 0; /* NaN too */
}

/* Stored values (what the eye sees of them), their mean; -1 where the picture is transparent. */
static void read_brightness(const UfPicture *picture, float *out)
{
    size_t width = uf_picture_width_px(picture), channels = uf_picture_channels(picture);
    size_t colours = channels - uf_picture_has_alpha(picture);
    UfSample sample = uf_picture_sample(picture);
    for (size_t y = 0; y < uf_picture_height_px(picture); y++) {
        const void *row = uf_picture_row_const(picture, y);
        for (size_t x = 0; x < width; x++, out++) {
            *out = 0;
            for (size_t c = 0; c < colours; c++)
                *out += sample_of(row, x * channels + c, sample) / (float)colours;
            if (colours < channels && sample_of(row, x * channels + colours, sample) < 0.5f)
                *out = -1;
        }
    }
}

/* Columns left and right round the seam. */
static size_t left_of(const Field *field, size_t x)
{
    return x == 0 ? field->width - 1 : x - 1;
}

static size_t right_of(const Field *field, size_t x)
{
    return x + 1 == field->width ? 0 : x + 1;
}

/*
 * The gradient by differences over 3 x 3 pixels, weights 3, 10, 3 across (H. Scharr, Optimale Operatoren in
 * der digitalen Bildverarbeitung, Heidelberg 2000): they keep its direction better than Sobel's.
 */
static bool gradient_at(const Field *field, size_t x, size_t y, float *across, float *down)
{
    const size_t columns[3] = {left_of(field, x), x, right_of(field, x)};
    float v[3][3];
    for (size_t r = 0; r < 3; r++)
        for (size_t k = 0; k < 3; k++) {
            v[r][k] = field->brightness[(y + r - 1) * field->width + columns[k]];
            if (v[r][k] < 0)
                return false;
        }
    *across = (3 * (v[0][2] - v[0][0]) + 10 * (v[1][2] - v[1][0]) + 3 * (v[2][2] - v[2][0])) / 32;
    *down = (3 * (v[2][0] - v[0][0]) + 10 * (v[2][1] - v[0][1]) + 3 * (v[2][2] - v[0][2])) / 32;
    return true;
}

static UfDirection direction_of(const Field *field, size_t x, size_t y)
{
    double lon_rad = (((double)x + 0.5) / (double)field->width - 0.5) * 2 * UF_PI;
    double lat_rad = (0.5 - ((double)y + 0.5) / (double)field->height) * UF_PI;
    return uf_direction_from_lonlat((UfLonLat){lon_rad, lat_rad});
}

/* Unit normals of nearly upright edges: d/d(lambda) leads east over cos(phi), d/d(phi) north. */
static void find_edges(Field *field, double lean_rad)
{
    const float most_up = (float)sin(lean_rad);
    for (size_t y = field->first; y < field->last; y++)
        for (size_t x = 0; x < field->width; x++) {
            size_t at = y * field->width + x;
            float across, down;
            field->strength[at] = 0;
            if (!gradient_at(field, x, y, &across, &down))
                continue;
            UfDirection d = direction_of(field, x, y);
            double level = sqrt(d.x * d.x + d.z * d.z);
            double east = (double)across / level, north = -(double)down;
            double length = sqrt(east * east + north * north);
            if (fabs((double)across) + fabs((double)down) < (double)LEAST_GRADIENT)
                continue;
            east /= length;
            north /= length;
            float *normal = field->gradient[at];
            normal[0] = (float)((east * d.z - north * d.y * d.x) / level);
            normal[1] = (float)(north * level);
            normal[2] = (float)((-east * d.x - north * d.y * d.z) / level);
            if (fabsf(normal[1]) <= most_up)
                field->strength[at] = (float)(length * level); /* per pixel of the sphere's area */
        }
}

/* What a growing segment has gathered. */
typedef struct Region {
    double scatter[3][3]; /* sum w d d' */
    double weight;
    double normal[3]; /* sum of the normals */
    size_t count;
} Region;

static void gather(const Field *field, size_t at, Region *region)
{
    UfDirection d = direction_of(field, at % field->width, at / field->width);
    const double point[3] = {d.x, d.y, d.z};
    double weight = (double)field->strength[at];
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++)
            region->scatter[i][k] += weight * point[i] * point[k];
        region->normal[i] += (double)field->gradient[at][i];
    }
    region->weight += weight;
}

static bool agrees(const Field *field, size_t at, const Region *region)
{
    const float *normal = field->gradient[at];
    double length = sqrt(region->normal[0] * region->normal[0] + region->normal[1] * region->normal[1] +
                         region->normal[2] * region->normal[2]);
    double cosine = (region->normal[0] * (double)normal[0] + region->normal[1] * (double)normal[1] +
                     region->normal[2] * (double)normal[2]);
    return cosine > (double)SAME_COSINE * length;
}

/* The neighbours of the queue's pixels, as long as there are any that agree. Taken ones turn negative. */
static Region grow(Field *field, size_t seed)
{
    Region region = {0};
    field->queue[0] = (uint32_t)seed;
    region.count = 1;
    gather(field, seed, &region);
    field->strength[seed] = -field->strength[seed];
    for (size_t next = 0; next < region.count; next++) {
        size_t x = field->queue[next] % field->width, y = field->queue[next] / field->width;
        const size_t columns[3] = {left_of(field, x), x, right_of(field, x)};
        for (size_t r = y == field->first ? 1 : 0; r < 3 && y + r - 1 < field->last; r++)
            for (size_t k = 0; k < 3; k++) {
                size_t at = (y + r - 1) * field->width + columns[k];
                if (!(field->strength[at] > 0) || !agrees(field, at, &region))
                    continue;
                gather(field, at, &region);
                field->strength[at] = -field->strength[at];
                field->queue[region.count++] = (uint32_t)at;
            }
    }
    return region;
}

/* Its extent along its great circle, as seen from the middle. */
static double length_of(const Field *field, const Region *region, UfDirection normal, double middle[3])
{
    const double along[3] = {normal.y * middle[2] - normal.z * middle[1],
                             normal.z * middle[0] - normal.x * middle[2],
                             normal.x * middle[1] - normal.y * middle[0]};
    double least = 0, most = 0;
    for (size_t i = 0; i < region->count; i++) {
        UfDirection d = direction_of(field, field->queue[i] % field->width, field->queue[i] / field->width);
        double at = atan2(d.x * along[0] + d.y * along[1] + d.z * along[2],
                          d.x * middle[0] + d.y * middle[1] + d.z * middle[2]);
        least = fmin(least, at);
        most = fmax(most, at);
    }
    return most - least;
}

static bool segment_of(const Field *field, Region *region, UfSegment *out)
{
    const double pixel_rad = 2 * UF_PI / (double)field->width;
    double values[3];
    if ((double)region->count * pixel_rad < uf_radians(LEAST_LENGTH_DEG))
        return false;
    UfDirection normal = uf_least_axis(region->scatter, values);
    double spread_rad = sqrt(fmax(values[0], 0) / region->weight);
    if (spread_rad > MOST_SPREAD_PX * pixel_rad)
        return false;
    UfDirection d = direction_of(field, field->queue[0] % field->width, field->queue[0] / field->width);
    double middle[3] = {d.x, d.y, d.z};
    out->normal = normal;
    out->length_rad = length_of(field, region, normal, middle);
    out->doubt_rad = hypot(uf_radians(LEAST_DOUBT_DEG), DOUBT_PX * pixel_rad / out->length_rad);
    return out->length_rad >= uf_radians(LEAST_LENGTH_DEG);
}

static bool keep_segment(UfSegments *segments, size_t *room, UfSegment segment)
{
    if (segments->count == *room) {
        size_t more = *room == 0 ? 256 : *room * 2;
        UfSegment *items = uf_realloc(segments->items, more, sizeof *items);
        if (items == NULL)
            return false;
        segments->items = items;
        *room = more;
    }
    segments->items[segments->count++] = segment;
    return true;
}

/* Strong edges first: classes of strength, each down to 0.92 of the one before; the last takes what is left.
 */
#define CLASSES    64
#define CLASS_STEP 0.92f

static bool gather_segments(Field *field, UfSegments *out)
{
    float strongest = 0;
    size_t room = 0;
    const size_t end = field->last * field->width;
    for (size_t at = field->first * field->width; at < end; at++)
        strongest = fmaxf(strongest, field->strength[at]);
    float least = strongest;
    for (int class = 0; class < CLASSES && strongest > 0; class ++) {
        least = class + 1 < CLASSES ? least * CLASS_STEP : 0;
        for (size_t at = field->first * field->width; at < end; at++) {
            if (!(field->strength[at] > least))
                continue;
            Region region = grow(field, at);
            UfSegment segment;
            if (segment_of(field, &region, &segment) && !keep_segment(out, &room, segment))
                return false;
        }
    }
    return true;
}

static bool make_field(const UfPicture *picture, double reach_rad, Field *field)
{
    size_t pixels;
    field->width = uf_picture_width_px(picture);
    field->height = uf_picture_height_px(picture);
    double row_rad = UF_PI / (double)field->height;
    double margin = fmax(1, ceil((UF_PI / 2 - reach_rad) / row_rad));
    field->first = (size_t)margin;
    field->last = field->height > field->first ? field->height - field->first : field->first;
    if (!uf_product(field->width, field->height, &pixels))
        return false;
    field->brightness = uf_alloc(pixels, sizeof *field->brightness);
    field->gradient = uf_alloc(pixels, sizeof *field->gradient);
    field->strength = uf_alloc_zero(pixels, sizeof *field->strength);
    field->queue = uf_alloc(pixels, sizeof *field->queue);
    if (field->brightness == NULL || field->gradient == NULL || field->strength == NULL ||
        field->queue == NULL)
        return false;
    read_brightness(picture, field->brightness);
    return true;
}

UfStatus uf_find_segments(const UfPicture *panorama, double lean_rad, double reach_rad, UfSegments *out,
                          UfReport *report)
{
    Field field = {0};
    UfSegments segments = {0};
    UfPicture *smaller = NULL;
    UfStatus status = UF_OK;
    if (uf_picture_width_px(panorama) > WORK_WIDTH_PX)
        status = uf_resize(panorama, WORK_WIDTH_PX, WORK_WIDTH_PX / 2, true, NULL, &smaller, report);
    if (status != UF_OK)
        goto cleanup;
    if (!make_field(smaller != NULL ? smaller : panorama, reach_rad, &field)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    find_edges(&field, lean_rad);
    if (!gather_segments(&field, &segments)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    *out = segments;
    segments.items = NULL;
cleanup:
    free(segments.items);
    free(field.brightness);
    free(field.gradient);
    free(field.strength);
    free(field.queue);
    uf_picture_free(&smaller);
    return status;
}

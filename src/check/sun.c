/*
 * The sun by its glow. The picture is made small, in linear light; places above the horizon that reach nine
 * tenths of the brightest are grouped; the largest group by solid angle is the sun when it is compact, when
 * no second group rivals it, and when the light falls off all around it.
 */
#include <underfoot/sun.h>

#include <math.h>
#include <stdlib.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/rows.h"
#include "picture/colour.h"

#define WIDTH  1024u
#define HEIGHT (WIDTH / 2)
/* Rows nearer to the horizon than 2 degrees hold lamps and windows. */
#define LEAST_LAT_DEG 2.0
/* In linear light, of the brightest and of what the picture can show. */
#define GROUP_LEVEL 0.9F
#define LEAST_LEVEL 0.8F
/* A glow is not larger than this, and its farthest part not further out than twice the radius of a disc of
 * its area. */
#define MOST_RADIUS_DEG 9.0
#define MOST_SPREAD     2.2
/* What the second group may have of the first one's solid angle. */
#define MOST_RIVAL 0.4
/* Around the group, this many of its radii (and at least so many degrees) away, the sky is darker by this
 * much. */
#define RING_FACTOR    2.5
#define LEAST_RING_DEG 4.0
#define MOST_RING      0.75F

typedef struct Group {
    double solid, x, y, z; /* solid angle; sum of directions */
    size_t first, count;   /* in the queue */
} Group;

typedef struct Sky {
    float *light;
    uint8_t *seen;
    size_t *queue;
    size_t rows;
} Sky;

static UfDirection direction_of(size_t i)
{
    double lon = (((double)(i % WIDTH) + 0.5) / WIDTH - 0.5) * 2 * UF_PI;
    double lat = (0.5 - ((double)(i / WIDTH) + 0.5) / HEIGHT) * UF_PI;
    return uf_direction_from_lonlat((UfLonLat){lon, lat});
}

static double solid_of(size_t i)
{
    double cell = 2 * UF_PI / WIDTH;
    return cell * cell * sin(((double)(i / WIDTH) + 0.5) / HEIGHT * UF_PI);
}

static UfStatus read_sky(const UfPicture *panorama, Sky *sky, UfReport *report)
{
    UfView whole = uf_view_equirectangular(uf_picture_width_px(panorama)),
           small = uf_view_equirectangular(WIDTH);
    UfRemapOptions options = {0};
    UfPicture *picture = NULL;
    UfTransfer *transfer = NULL;
    size_t channels = uf_colour_channels(panorama);
    float *row = uf_alloc(WIDTH * channels, sizeof *row);
    UfStatus status =
        row == NULL ? uf_fail_memory(report) : uf_remap(panorama, &whole, &small, &options, &picture, report);
    if (status == UF_OK)
        status = uf_transfer_create(panorama, &transfer, report);
    for (size_t y = 0; status == UF_OK && y < sky->rows; y++) {
        uf_row_load(picture, y, row, NULL);
        for (size_t x = 0; x < WIDTH; x++) {
            float sum = 0;
            for (size_t c = 0; c < channels; c++)
                sum += uf_transfer_to_linear(transfer, row[x * channels + c]) / (float)channels;
            sky->light[y * WIDTH + x] = isfinite(sum) ? sum : 0;
        }
    }
    uf_transfer_free(&transfer);
    uf_picture_free(&picture);
    free(row);
    return status;
}

/* All places joined to `start` that are as bright; the seam is no border. */
static Group grow(Sky *sky, size_t start, float level, size_t at)
{
    Group group = {.first = at, .count = 1};
    sky->queue[at] = start;
    sky->seen[start] = 1;
    for (size_t k = at; k < group.first + group.count; k++) {
        size_t i = sky->queue[k], x = i % WIDTH, y = i / WIDTH;
        UfDirection d = direction_of(i);
        double solid = solid_of(i);
        group.solid += solid;
        group.x += solid * d.x;
        group.y += solid * d.y;
        group.z += solid * d.z;
        size_t next[4] = {y * WIDTH + (x + 1) % WIDTH, y * WIDTH + (x + WIDTH - 1) % WIDTH,
                          y > 0 ? i - WIDTH : i, y + 1 < sky->rows ? i + WIDTH : i};
        for (int n = 0; n < 4; n++)
            if (sky->seen[next[n]] == 0 && sky->light[next[n]] >= level) {
                sky->seen[next[n]] = 1;
                sky->queue[group.first + group.count++] = next[n];
            }
    }
    return group;
}

/* The farthest part of the group from its middle. */
static double spread_of(const Sky *sky, const Group *group, UfDirection middle)
{
    double farthest = 0;
    for (size_t k = group->first; k < group->first + group->count; k++)
        farthest = fmax(farthest, uf_angle_between_rad(direction_of(sky->queue[k]), middle));
    return farthest;
}

/* Mean light of the sky on a ring round the middle. */
static float ring_light(const Sky *sky, UfDirection middle, double from, double to)
{
    double sum = 0, count = 0;
    for (size_t i = 0; i < sky->rows * WIDTH; i++) {
        double angle = uf_angle_between_rad(direction_of(i), middle);
        if (angle >= from && angle < to) {
            sum += solid_of(i) * (double)sky->light[i];
            count += solid_of(i);
        }
    }
    return count > 0 ? (float)(sum / count) : 0;
}

static UfStatus unclear(UfReport *report, const char *why)
{
    return uf_fail(
        report, UF_ERROR_UNCLEAR,
        "the sun is not clear in the picture: %s; say where it stands, as its yaw and elevation in degrees",
        why);
}

static UfStatus judge(const Sky *sky, const Group *best, const Group *second, float peak, UfLonLat *out,
                      UfReport *report)
{
    double length = hypot(hypot(best->x, best->y), best->z), radius = sqrt(best->solid / UF_PI);
    UfDirection middle = {best->x / length, best->y / length, best->z / length};
    double ring = fmax(RING_FACTOR * radius, uf_radians(LEAST_RING_DEG));
    if (radius > uf_radians(MOST_RADIUS_DEG))
        return unclear(report, "a large part of the sky is as bright");
    if (spread_of(sky, best, middle) > MOST_SPREAD * radius + uf_radians(0.6))
        return unclear(report, "what is brightest is no compact glow");
    if (second->solid > MOST_RIVAL * best->solid)
        return unclear(report, "several places are about as bright");
    if (ring_light(sky, middle, ring, 1.3 * ring) > MOST_RING * peak)
        return unclear(report, "the sky around the brightest place is hardly darker");
    *out = uf_lonlat_from_direction(middle);
    return UF_OK;
}

static UfStatus find(Sky *sky, UfLonLat *out, UfReport *report)
{
    Group best = {0}, second = {0};
    float peak = 0;
    for (size_t i = 0; i < sky->rows * WIDTH; i++)
        peak = fmaxf(peak, sky->light[i]);
    if (peak < LEAST_LEVEL)
        return unclear(report, "nothing above the horizon is as bright as the sun or its glow");
    for (size_t i = 0, used = 0; i < sky->rows * WIDTH; i++) {
        if (sky->seen[i] != 0 || sky->light[i] < GROUP_LEVEL * peak)
            continue;
        Group group = grow(sky, i, GROUP_LEVEL * peak, used);
        used += group.count;
        if (group.solid > best.solid) {
            second = best;
            best = group;
        } else if (group.solid > second.solid) {
            second = group;
        }
    }
    return judge(sky, &best, &second, peak, out, report);
}

UfStatus uf_find_sun(const UfPicture *panorama, UfLonLat *out, UfReport *report)
{
    if (uf_picture_width_px(panorama) != 2 * uf_picture_height_px(panorama))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the picture is %zu x %zu: a full panorama is twice as wide as it is high",
                       uf_picture_width_px(panorama), uf_picture_height_px(panorama));
    Sky sky = {.rows = (size_t)((0.5 - LEAST_LAT_DEG / 180) * HEIGHT)};
    sky.light = uf_alloc(sky.rows * WIDTH, sizeof *sky.light);
    sky.seen = uf_alloc_zero(sky.rows * WIDTH, 1);
    sky.queue = uf_alloc(sky.rows * WIDTH, sizeof *sky.queue);
    UfStatus status = UF_OK;
    if (sky.light == NULL || sky.seen == NULL || sky.queue == NULL)
        status = uf_fail_memory(report);
    if (status == UF_OK)
        status = read_sky(panorama, &sky, report);
    if (status == UF_OK)
        status = find(&sky, out, report);
    free(sky.light);
    free(sky.seen);
    free(sky.queue);
    return status;
}

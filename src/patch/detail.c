/*
 * The floor is interpolated twice, into the plane and home again, and each time it loses some of its finest
 * detail: the fill would look soft beside the ring. So the plane P becomes P + a (P - B P), B the 3 x 3
 * binomial mean, with a such that on a band of the ring the way home gives back the detail (the mean square
 * of the second difference across rows) that the panorama has there. Rows are first averaged along themselves
 * over a pixel of the plane: near the pole the panorama has more pixels than that, and their noise is not
 * what is seen straight down. The way home is linear, so two remaps give that energy for every a.
 */
#include "patch/detail.h"

#include <math.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/region.h"
#include "patch/rows.h"

/* The band starts this far outside the cap and is this wide. */
#define BAND_START_RAD (1.0 * UF_PI / 180)
#define BAND_WIDTH_RAD (4.0 * UF_PI / 180)
#define MOST_ROWS      64u /* of the band: more of them tell no more */
#define MOST_AMOUNT    1.5

/* The sharpened canvas, `amount` 1, as a new canvas. */
static UfStatus sharpened(const UfCanvas *from, UfCanvas *out, UfReport *report)
{
    UfStatus status = uf_canvas_create(from->width, from->height, out, report);
    if (status != UF_OK)
        return status;
    size_t stride = 4 * from->width;
    memcpy(out->value, from->value, from->height * stride * sizeof *out->value);
    memcpy(out->cell, from->cell, from->width * from->height);
    for (size_t y = 1; y + 1 < from->height; y++)
        for (size_t i = 4; i + 4 < stride; i++) {
            const float *p = from->value + y * stride + i;
            const float *above = p - stride, *below = p + stride;
            float corners = above[-4] + above[4] + below[-4] + below[4];
            float sides = above[0] + below[0] + p[-4] + p[4];
            out->value[y * stride + i] = 2 * p[0] - (4 * p[0] + 2 * sides + corners) / 16;
        }
    return UF_OK;
}

/* Rows y0 .. y0 + count - 1 as the plane gives them home. */
static UfStatus bring_home(const UfFloorPlane *plane, const UfPicture *panorama, const UfCap *cap, size_t y0,
                           size_t count, UfPicture **out, UfReport *report)
{
    UfPicture *picture = NULL;
    UfView target = uf_cap_rows_view(cap, y0, count);
    UfRemapOptions options = {.threads = cap->threads};
    UfStatus status = uf_floor_plane_picture(plane, panorama, &picture, report);
    if (status == UF_OK)
        status = uf_remap(picture, &plane->view, &target, &options, out, report);
    uf_picture_free(&picture);
    return status;
}

/* Sums over the band of second differences across rows: of the panorama, of the plane, of what sharpening
 * adds. */
typedef struct Energies {
    double panorama, plane, cross, added;
} Energies;

typedef struct Triple {
    float *row[3]; /* three consecutive rows */
} Triple;

static double second_difference(const Triple *t, size_t i)
{
    return (double)t->row[0][i] - 2 * (double)t->row[1][i] + (double)t->row[2][i];
}

/* Each value becomes the mean of `count` pixels from it on, round the seam; `copy` is as long as the row. */
static void average_along(float *row, size_t width, size_t channels, size_t count, float *copy)
{
    memcpy(copy, row, width * channels * sizeof *row);
    for (size_t x = 0; x < width; x++)
        for (size_t c = 0; c < channels; c++) {
            float sum = 0;
            for (size_t k = 0; k < count; k++)
                sum += copy[(x + k) % width * channels + c];
            row[x * channels + c] = sum / (float)count;
        }
}

/* Three rows from y0 on, each pixel the mean of `along`. */
static void load_triple(const UfPicture *picture, size_t y, size_t along, float *copy, Triple *t)
{
    for (size_t k = 0; k < 3; k++) {
        uf_row_load(picture, y + k, t->row[k], NULL);
        average_along(t->row[k], uf_picture_width_px(picture), uf_colour_channels(picture), along, copy);
    }
}

/* is_ring: for every value of the middle row whether it counts; NULL where all do. */
static void add_rows(const Triple *panorama, const Triple *plane, const Triple *sharp, size_t values,
                     const uint8_t *is_ring, Energies *e)
{
    for (size_t i = 0; i < values; i++) {
        if (is_ring != NULL && is_ring[i] == 0)
            continue;
        double a = second_difference(panorama, i);
        double b = second_difference(plane, i);
        double added = second_difference(sharp, i) - b;
        if (!isfinite(a) || !isfinite(b) || !isfinite(added))
            continue;
        e->panorama += a * a;
        e->plane += b * b;
        e->cross += 2 * b * added;
        e->added += added * added;
    }
}

static bool is_source(const UfCanvas *canvas, UfPixelPoint at)
{
    const double near = 3;
    if (!(at.x_px > near && at.y_px > near && at.x_px < (double)canvas->width - near &&
          at.y_px < (double)canvas->height - near))
        return false;
    for (int k = 0; k < 4; k++) {
        size_t x = (size_t)(at.x_px + ((k & 1) != 0 ? near : -near));
        size_t y = (size_t)(at.y_px + ((k & 2) != 0 ? near : -near));
        if (canvas->cell[y * canvas->width + x] != UF_CELL_SOURCE)
            return false;
    }
    return true;
}

/* Which of the panorama's values in rows y0 .. y0 + count - 1 the plane holds as ring; the caller frees it.
 */
static uint8_t *ring_of(const UfCap *cap, const UfFloorPlane *plane, size_t y0, size_t count, size_t channels)
{
    uint8_t *is_ring = uf_alloc_zero(count * cap->width_px, channels);
    for (size_t i = 0; is_ring != NULL && i < count * cap->width_px; i++) {
        double x = (double)(i % cap->width_px) + 0.5, y = (double)(y0 + i / cap->width_px) + 0.5;
        UfLonLat place = {(x / (double)cap->width_px - 0.5) * 2 * UF_PI,
                          (0.5 - y / (double)cap->height_px) * UF_PI};
        UfPixelPoint at;
        bool holds = uf_view_pixel(&plane->view, uf_direction_from_lonlat(place), &at) &&
                     is_source(&plane->canvas, at);
        memset(is_ring + i * channels, holds, channels);
    }
    return is_ring;
}

/* The rows that say how sharp the floor is: just outside the cap; through the middle of a region. */
static void choose_band(const UfCap *cap, size_t *first, size_t *last)
{
    double from = cap->cap_rad + BAND_START_RAD, to = from + BAND_WIDTH_RAD;
    if (cap->region != NULL) {
        from = fmax(cap->region->far_rad / 2, from);
        to = from + BAND_WIDTH_RAD;
    }
    *first = uf_cap_ring_count(cap, from);
    *last = uf_cap_ring_count(cap, to);
    if (*last < *first + 3)
        *last = *first + 3;
    if (*last > *first + MOST_ROWS)
        *last = *first + MOST_ROWS;
}

static UfStatus measure(const UfPicture *panorama, size_t y0, size_t count, size_t along,
                        const UfPicture *plane, const UfPicture *sharp, const uint8_t *is_ring, Energies *out,
                        UfReport *report)
{
    size_t values = uf_picture_width_px(panorama) * uf_colour_channels(panorama);
    float *buffer = uf_alloc(10 * values, sizeof *buffer);
    if (buffer == NULL)
        return uf_fail_memory(report);
    float *copy = buffer + 9 * values;
    Triple triple[3];
    for (size_t t = 0; t < 3; t++)
        for (size_t k = 0; k < 3; k++)
            triple[t].row[k] = buffer + (3 * t + k) * values;
    for (size_t y = 0; y + 2 < count; y++) {
        load_triple(panorama, y0 + y, along, copy, &triple[0]);
        load_triple(plane, y, along, copy, &triple[1]);
        load_triple(sharp, y, along, copy, &triple[2]);
        add_rows(&triple[0], &triple[1], &triple[2], values,
                 is_ring != NULL ? is_ring + (y + 1) * values : NULL, out);
    }
    free(buffer);
    return UF_OK;
}

/* How many of the panorama's pixels lie along a parallel of the band in one of the plane's. */
static size_t plane_pixel(const UfCap *cap, size_t first, size_t last)
{
    double angle = (double)(first + last) / 2 / (double)cap->height_px * UF_PI;
    return (size_t)lrint(fmin(fmax(1 / sin(angle), 1), 32));
}

/* The a >= 0 at which plane + a cross + a^2 added reaches the panorama's energy. */
static double amount_of(const Energies *e)
{
    double missing = e->panorama - e->plane;
    if (!(missing > 0) || !(e->added > 0))
        return 0;
    double half = e->cross / 2;
    double amount = (sqrt(half * half + e->added * missing) - half) / e->added;
    return fmin(amount, MOST_AMOUNT);
}

UfStatus uf_detail_restore(const UfPicture *panorama, const UfCap *cap, UfFloorPlane *plane, UfReport *report)
{
    UfPicture *home = NULL, *sharp_home = NULL;
    UfFloorPlane sharp = *plane;
    Energies energies = {0};
    uint8_t *is_ring = NULL;
    size_t first, last;
    choose_band(cap, &first, &last);
    size_t y0 = cap->at_zenith ? first : cap->height_px - last;
    UfStatus status = sharpened(&plane->canvas, &sharp.canvas, report);
    if (status != UF_OK)
        return status;
    if (cap->region != NULL) {
        is_ring = ring_of(cap, plane, y0, last - first, uf_colour_channels(panorama));
        if (is_ring == NULL) {
            status = uf_fail_memory(report);
            goto cleanup;
        }
    }
    if ((status = bring_home(plane, panorama, cap, y0, last - first, &home, report)) != UF_OK ||
        (status = bring_home(&sharp, panorama, cap, y0, last - first, &sharp_home, report)) != UF_OK ||
        (status = measure(panorama, y0, last - first, plane_pixel(cap, first, last), home, sharp_home,
                          is_ring, &energies, report)) != UF_OK)
        goto cleanup;
    float amount = (float)amount_of(&energies);
    for (size_t i = 0; i < 4 * plane->canvas.width * plane->canvas.height; i++)
        plane->canvas.value[i] += amount * (sharp.canvas.value[i] - plane->canvas.value[i]);
cleanup:
    free(is_ring);
    uf_picture_free(&home);
    uf_picture_free(&sharp_home);
    uf_canvas_clear(&sharp.canvas);
    return status;
}

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

#include "base/memory.h"
#include "base/report.h"
#include "patch/pole.h"
#include "patch/region.h"
#include "patch/rows.h"

/* The band starts this far outside the cap and is this wide. */
#define BAND_START_RAD (1.0 * UF_PI / 180)
#define BAND_WIDTH_RAD (4.0 * UF_PI / 180)
#define MOST_ROWS      64u /* of the band: more of them tell no more */
#define MOST_AMOUNT    1.5

/* The sharpened canvas, `amount` 1, as a new canvas. */
static UfStatus sharpened(const UfCanvas *from, int threads, UfCanvas *out, UfReport *report)
{
    UfStatus status = uf_canvas_create(from->width, from->height, out, report);
    if (status != UF_OK)
        return status;
    size_t stride = 4 * from->width;
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t y = 0; y < from->height; y++) {
        const float *row = from->value + y * stride;
        memcpy(out->value + y * stride, row, stride * sizeof *row);
        for (size_t i = 4; y > 0 && y + 1 < from->height && i + 4 < stride; i++) {
            const float *p = row + i, *above = p - stride, *below = p + stride;
            float corners = above[-4] + above[4] + below[-4] + below[4];
            float sides = above[0] + below[0] + p[-4] + p[4];
            out->value[y * stride + i] = 2 * p[0] - (4 * p[0] + 2 * sides + corners) / 16;
        }
    }
    return UF_OK;
}

/* Sums over the band of second differences across rows: of the panorama, of the plane, of what sharpening
 * adds. */
typedef struct Energies {
    double panorama, plane, cross, added;
} Energies;

/* Consecutive rows: the panorama's, those that the plane gives home, those that its sharpened copy does. */
typedef struct Band {
    size_t first_px, count, values; /* values of a row */
    float *row[3];                  /* count x values each */
} Band;

/* Each value becomes the mean of `along` pixels from it on, round the seam. */
static UfStatus average_along(const Band *band, float *rows, size_t channels, size_t along, int threads,
                              UfReport *report)
{
    bool is_short = false;
#pragma omp parallel num_threads(threads) reduction(|| : is_short)
    {
        float *copy = uf_alloc(band->values + along * channels, sizeof *copy);
        is_short = copy == NULL;
#pragma omp for schedule(static)
        for (size_t y = 0; y < band->count; y++) {
            float *row = rows + y * band->values;
            if (is_short)
                continue;
            memcpy(copy, row, band->values * sizeof *row);
            for (size_t i = 0; i < along * channels; i++) /* a short row more than once */
                copy[band->values + i] = copy[i];
            for (size_t i = 0; i < band->values; i++)
                row[i] /= (float)along;
            for (size_t k = 1; k < along; k++)
                for (size_t i = 0; i < band->values; i++)
                    row[i] += copy[i + k * channels] / (float)along;
        }
        free(copy);
    }
    return is_short ? uf_fail_memory(report) : UF_OK;
}

static double second_difference(const float *middle, size_t values)
{
    return (double)*(middle - values) - 2 * (double)middle[0] + (double)middle[values];
}

/* is_ring: for every value of the band whether it counts; NULL where all do. */
static void add_row(const Band *band, size_t y, const uint8_t *is_ring, Energies *e)
{
    size_t values = band->values;
    for (size_t i = y * values; i < (y + 1) * values; i++) {
        if (is_ring != NULL && is_ring[i] == 0)
            continue;
        double a = second_difference(band->row[0] + i, values);
        double b = second_difference(band->row[1] + i, values);
        double added = second_difference(band->row[2] + i, values) - b;
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

static UfStatus fill_band(const UfPicture *panorama, const UfCap *cap, const UfFloorPlane *plane,
                          const UfCanvas *sharp, const Band *band, size_t along, UfReport *report)
{
    const UfCanvas *shown[2] = {&plane->canvas, sharp};
    size_t channels = uf_colour_channels(panorama);
    UfStatus status = UF_OK;
    for (size_t y = 0; y < band->count; y++)
        uf_row_load(panorama, band->first_px + y, band->row[0] + y * band->values, NULL);
    for (size_t k = 0; status == UF_OK && k < 2; k++)
        status = uf_pole_rows(shown[k], &plane->view, plane->is_root, cap, band->first_px, band->count,
                              channels, band->row[k + 1], report);
    for (size_t k = 0; status == UF_OK && k < 3; k++)
        status = average_along(band, band->row[k], channels, along, cap->threads, report);
    return status;
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
    UfCanvas sharp = {0};
    Energies energies = {0};
    uint8_t *is_ring = NULL;
    size_t first, last, channels = uf_colour_channels(panorama);
    choose_band(cap, &first, &last);
    size_t y0 = cap->at_zenith ? first : cap->height_px - last, values = cap->width_px * channels;
    float *rows = uf_alloc(3 * (last - first) * values, sizeof *rows);
    Band band = {.first_px = y0, .count = last - first, .values = values};
    for (size_t k = 0; rows != NULL && k < 3; k++)
        band.row[k] = rows + k * band.count * values;
    if (cap->region != NULL)
        is_ring = ring_of(cap, plane, y0, last - first, channels);
    UfStatus status =
        rows == NULL || (cap->region != NULL && is_ring == NULL) ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK)
        status = sharpened(&plane->canvas, cap->threads, &sharp, report);
    if (status == UF_OK)
        status = fill_band(panorama, cap, plane, &sharp, &band, plane_pixel(cap, first, last), report);
    for (size_t y = 1; status == UF_OK && y + 1 < band.count; y++)
        add_row(&band, y, is_ring, &energies);
    if (status == UF_OK) {
        float amount = (float)amount_of(&energies);
#pragma omp parallel for simd schedule(static) num_threads(cap->threads)
        for (size_t i = 0; i < 4 * plane->canvas.width * plane->canvas.height; i++)
            plane->canvas.value[i] += amount * (sharp.value[i] - plane->canvas.value[i]);
    }
    free(is_ring);
    free(rows);
    uf_canvas_clear(&sharp);
    return status;
}

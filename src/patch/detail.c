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
#include <omp.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/pole.h"
#include "patch/region.h"
#include "patch/rows.h"

/* The band starts this far outside the cap and is this wide. */
#define BAND_START_RAD (1.0 * UF_PI / 180)
#define BAND_WIDTH_RAD (4.0 * UF_PI / 180)
#define MOST_ROWS      24u /* of the band: more of them tell no more */
/* What interpolation and averaging read beyond a place of the plane. */
#define AROUND_PX 6
/* Nothing of the plane lies farther from the pole. */
#define MOST_ANGLE_RAD 1.5
#define MOST_AMOUNT    1.5
/*
 * Of the panorama's energy. Voting, and that what is copied comes from where rows lie farther apart than in
 * the cap, take an eighth of the detail's size again: measured on nine floors, against truth. A third of that
 * is given before: more would show as noise where nothing is taken.
 */
#define WANTED 1.08

/* P + amount (P - B P) for pixels x0 .. x1 - 1 of a row, not its first nor last one; of rows of P. */
static void sharpen_run(const float *restrict above, const float *restrict row, const float *restrict below,
                        size_t x0, size_t x1, float amount, float *restrict out)
{
#pragma omp simd
    for (size_t i = 4 * x0; i < 4 * x1; i++) {
        float corners = above[i - 4] + above[i + 4] + below[i - 4] + below[i + 4];
        float sides = above[i] + below[i] + row[i - 4] + row[i + 4];
        out[i] = row[i] + amount * (row[i] - (4 * row[i] + 2 * sides + corners) / 16);
    }
}

/*
 * The canvas itself, where it is picture or will be seen. Each thread keeps the rows that it and its
 * neighbour have changed already.
 */
static UfStatus sharpen(UfFloorPlane *plane, float amount, int threads, UfReport *report)
{
    UfCanvas *canvas = &plane->canvas;
    size_t stride = 4 * canvas->width, inner = canvas->height - 2;
    float *lines = uf_alloc((size_t)threads * 3 * stride, sizeof *lines);
    if (lines == NULL)
        return uf_fail_memory(report);
#pragma omp parallel num_threads(threads)
    {
        size_t count = (size_t)omp_get_num_threads(), me = (size_t)omp_get_thread_num();
        size_t from = 1 + inner * me / count, to = 1 + inner * (me + 1) / count;
        float *above = lines + 3 * me * stride, *here = above + stride, *end = here + stride;
        memcpy(above, canvas->value + (from - 1) * stride, stride * sizeof *above);
        memcpy(end, canvas->value + to * stride, stride * sizeof *end);
#pragma omp barrier
        for (size_t y = from; y < to; y++) {
            float *row = canvas->value + y * stride, *before = above;
            memcpy(here, row, stride * sizeof *here);
            for (size_t x0, x1 = 0; uf_canvas_next_run(canvas, plane->shown, y, &x0, &x1);)
                sharpen_run(above, here, y + 1 < to ? row + stride : end, x0 > 1 ? x0 : 1,
                            x1 < canvas->width ? x1 : canvas->width - 1, amount, row);
            above = here;
            here = before;
        }
    }
    free(lines);
    return UF_OK;
}

/* Half the length of a chord of a circle at a distance from its middle; 0 outside. */
static double half_chord(double radius, double distance)
{
    return sqrt(fmax(radius * radius - distance * distance, 0));
}

/* A ring of the canvas with `amount` 1, in a new canvas; it is 0 elsewhere. Radii in pixels. */
static UfStatus sharpened_ring(const UfCanvas *from, const UfView *view, double inner_px, double outer_px,
                               int threads, UfCanvas *out, UfReport *report)
{
    UfStatus status = uf_canvas_create(from->width, from->height, out, report);
    if (status != UF_OK)
        return status;
    size_t stride = 4 * from->width;
    double middle = view->centre_x_px, last = (double)from->width - 1;
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t y = 1; y < from->height - 1; y++) {
        const float *row = from->value + y * stride;
        double off = (double)y + 0.5 - view->centre_y_px, far = half_chord(outer_px, off),
               near = half_chord(inner_px, off);
        /* left of the hole in the ring, and right of it */
        const double ends[2][2] = {{middle - far - 1, middle - near}, {middle + near, middle + far + 1}};
        for (int side = 0; far > 0 && side < 2; side++) {
            size_t x0 = (size_t)fmin(fmax(ends[side][0], 1), last),
                   x1 = (size_t)fmin(fmax(ends[side][1], 1), last);
            sharpen_run(row - stride, row, row + stride, x0, x1, 1, out->value + y * stride);
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
    float *columns = uf_pole_columns(cap);
    UfStatus status = columns != NULL ? UF_OK : uf_fail_memory(report);
    for (size_t y = 0; y < band->count; y++)
        uf_row_load(panorama, band->first_px + y, band->row[0] + y * band->values, NULL);
    for (size_t k = 0; status == UF_OK && k < 2; k++)
        status = uf_pole_rows(shown[k], &plane->view, plane->is_root, cap, columns, band->first_px,
                              band->count, channels, band->row[k + 1], report);
    for (size_t k = 0; status == UF_OK && k < 3; k++)
        status = average_along(band, band->row[k], channels, along, cap->threads, report);
    free(columns);
    return status;
}

/* Where a ring of the panorama lies in the plane. */
static double ring_px(const UfCap *cap, const UfFloorPlane *plane, size_t ring)
{
    return plane->view.scale_px * tan(fmin(uf_cap_ring_angle_rad(cap, ring), MOST_ANGLE_RAD));
}

/* How many of the panorama's pixels lie along a parallel of the band in one of the plane's. */
static size_t plane_pixel(const UfCap *cap, size_t first, size_t last)
{
    double angle = (double)(first + last) / 2 / (double)cap->height_px * UF_PI;
    return (size_t)lrint(fmin(fmax(1 / sin(angle), 1), 32));
}

/* The a >= 0 at which plane + a cross + a^2 added reaches what is wanted of the panorama's energy. */
static double amount_of(const Energies *e)
{
    double missing = WANTED * e->panorama - e->plane;
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
        status = sharpened_ring(&plane->canvas, &plane->view, fmax(ring_px(cap, plane, first) - AROUND_PX, 0),
                                ring_px(cap, plane, last) + AROUND_PX, cap->threads, &sharp, report);
    if (status == UF_OK)
        status = fill_band(panorama, cap, plane, &sharp, &band, plane_pixel(cap, first, last), report);
    for (size_t y = 1; status == UF_OK && y + 1 < band.count; y++)
        add_row(&band, y, is_ring, &energies);
    uf_canvas_clear(&sharp);
    float amount = (float)amount_of(&energies);
    if (status == UF_OK && amount > 0)
        status = sharpen(plane, amount, cap->threads, report);
    free(is_ring);
    free(rows);
    return status;
}

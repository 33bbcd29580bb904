/* From the plane home into the panorama's rows. */
#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/four.h"
#include "patch/pole.h"

/* More places than this for a pixel, along and across the row, change nothing that is seen. */
#define MOST_PLACES 16
/* Up to here interpolation itself covers what a pixel covers, but for a few hundredths. */
#define LEAST_SPREAD 0.7

/* A row is a circle: its places are the middle, and sine and cosine of the longitude times two vectors. */
typedef struct Circle {
    float sine_x, sine_y, cosine_x, cosine_y;
} Circle;

typedef struct Home {
    const UfCanvas *canvas;
    const UfView *view;
    bool is_root;
    size_t width, height, channels;
    const float *sine, *cosine; /* of each column's longitude */
} Home;

/* false where the plane does not show that latitude */
static bool circle_at(const Home *h, double lat_rad, Circle *out)
{
    UfPixelPoint east, ahead;
    if (!uf_view_pixel(h->view, uf_direction_from_lonlat((UfLonLat){UF_PI / 2, lat_rad}), &east) ||
        !uf_view_pixel(h->view, uf_direction_from_lonlat((UfLonLat){0, lat_rad}), &ahead))
        return false;
    *out = (Circle){(float)(east.x_px - h->view->centre_x_px), (float)(east.y_px - h->view->centre_y_px),
                    (float)(ahead.x_px - h->view->centre_x_px), (float)(ahead.y_px - h->view->centre_y_px)};
    return true;
}

/* A place on the canvas, interpolated; places beyond it are moved to its edge. */
UF_FOUR_INLINE UfFour look_up(const UfCanvas *canvas, float x, float y)
{
    x -= 1.5F; /* to the first of the four taps' centres */
    y -= 1.5F;
    float last_x = (float)canvas->width - 4, last_y = (float)canvas->height - 4;
    x = x > 0 ? (x < last_x ? x : last_x) : 0;
    y = y > 0 ? (y < last_y ? y : last_y) : 0;
    size_t ix = (size_t)x, iy = (size_t)y;
    return uf_four_weighed(canvas->value + 4 * (iy * canvas->width + ix), 4 * canvas->width, x - (float)ix,
                           y - (float)iy);
}

UF_FOUR_INLINE void store(const Home *h, UfFour four, bool is_square, float *out)
{
    if (is_square != h->is_root)
        four = h->is_root ? uf_four_square(four) : uf_four_signed_root(four);
    if (h->channels == 3)
        memcpy(out, &four, 3 * sizeof *out);
    else
        out[0] = four[0];
}

/* A row of the panorama: where its pixels are looked at. */
typedef struct Row {
    size_t rows, places;                          /* 0 rows where the plane does not show it */
    Circle circles[MOST_PLACES];                  /* `rows` of them */
    float sine[MOST_PLACES], cosine[MOST_PLACES]; /* of the `places` along the row, from the pixel's middle */
} Row;

/* Columns that are done for all rows before the next: what they see of the plane stays in the cache. */
#define COLUMNS 256u

/* Pixels that are one place each. */
UF_FOUR_INLINE void plain_run(const Home *h, const Circle *circle, size_t x0, size_t x1, float *out)
{
    float middle_x = (float)h->view->centre_x_px, middle_y = (float)h->view->centre_y_px;
    for (size_t x = x0; x < x1; x++)
        store(h,
              look_up(h->canvas, middle_x + circle->sine_x * h->sine[x] + circle->cosine_x * h->cosine[x],
                      middle_y + circle->sine_y * h->sine[x] + circle->cosine_y * h->cosine[x]),
              false, out + x * h->channels);
}

/* Pixels that are the mean of several places. */
UF_FOUR_INLINE void averaged_run(const Home *h, const Row *row, size_t x0, size_t x1, float *out)
{
    float middle_x = (float)h->view->centre_x_px, middle_y = (float)h->view->centre_y_px;
    for (size_t x = x0; x < x1; x++) {
        UfFour sum = {0};
        for (size_t k = 0; k < row->places; k++) {
            float s = h->sine[x] * row->cosine[k] + h->cosine[x] * row->sine[k];
            float c = h->cosine[x] * row->cosine[k] - h->sine[x] * row->sine[k];
            for (size_t j = 0; j < row->rows; j++) {
                const Circle *circle = &row->circles[j];
                sum += uf_four_square(look_up(h->canvas, middle_x + circle->sine_x * s + circle->cosine_x * c,
                                              middle_y + circle->sine_y * s + circle->cosine_y * c));
            }
        }
        store(h, sum / uf_four_of((float)(row->rows * row->places)), true, out + x * h->channels);
    }
}

UF_CLONES static void fill_run(const Home *h, const Row *row, size_t x0, size_t x1, float *out)
{
    if (row->rows == 0)
        memset(out + x0 * h->channels, 0, (x1 - x0) * h->channels * sizeof *out);
    else if (row->rows == 1 && row->places == 1)
        plain_run(h, &row->circles[0], x0, x1, out);
    else
        averaged_run(h, row, x0, x1, out);
}

/*
 * What a pixel covers beyond the pixel's breadth that interpolation covers already (the variances of the two
 * add up), and in how many places it is looked at.
 */
static double spread_of(double extent, size_t *places)
{
    double spread = sqrt(fmax(extent * extent - 1, 0));
    double count = spread < LEAST_SPREAD ? 1 : fmin(ceil(extent), MOST_PLACES);
    *places = (size_t)count;
    return spread;
}

static void prepare_row(const Home *h, size_t y, Row *row)
{
    double step = UF_PI / (double)h->height, lat = UF_PI / 2 - ((double)y + 0.5) * step;
    Circle here, next;
    row->rows = 0;
    if (!circle_at(h, lat, &here) || !circle_at(h, lat + (lat < 0 ? step : -step) / 8, &next))
        return;
    double radius = hypot((double)here.cosine_x, (double)here.cosine_y);
    double down = 8 * fabs(hypot((double)next.cosine_x, (double)next.cosine_y) - radius);
    double spread_down = spread_of(down, &row->rows),
           spread_along = spread_of(radius * 2 * UF_PI / (double)h->width, &row->places);
    for (size_t j = 0; j < row->rows; j++) {
        double offset = (((double)j + 0.5) / (double)row->rows - 0.5) * spread_down / fmax(down, 1e-9);
        if (row->rows == 1 || !circle_at(h, lat + offset * step, &row->circles[j]))
            row->circles[j] = here;
    }
    double turn = row->places > 1 ? spread_along / (double)row->places / radius : 0;
    for (size_t k = 0; k < row->places; k++) {
        double angle = ((double)k - ((double)row->places - 1) / 2) * turn;
        row->sine[k] = (float)sin(angle);
        row->cosine[k] = (float)cos(angle);
    }
}

float *uf_pole_columns(const UfCap *cap)
{
    size_t width = cap->width_px;
    float *columns = uf_alloc(2 * width, sizeof *columns);
    if (columns == NULL)
        return NULL;
#pragma omp parallel for schedule(static) num_threads(cap->threads)
    for (size_t x = 0; x < width; x++) {
        double lon = (((double)x + 0.5) / (double)width - 0.5) * 2 * UF_PI;
        columns[x] = (float)sin(lon);
        columns[width + x] = (float)cos(lon);
    }
    return columns;
}

UfStatus uf_pole_rows(const UfCanvas *canvas, const UfView *view, bool is_root, const UfCap *cap,
                      const float *columns, size_t y0_px, size_t count, size_t channels, float *out,
                      UfReport *report)
{
    Home h = {canvas,         view,     is_root, cap->width_px,
              cap->height_px, channels, columns, columns + cap->width_px};
    Row *rows = uf_alloc(count, sizeof *rows);
    if (rows == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < count; i++)
        prepare_row(&h, y0_px + i, &rows[i]);
#pragma omp parallel for schedule(dynamic, 1) num_threads(cap->threads)
    for (size_t x = 0; x < h.width; x += COLUMNS)
        for (size_t i = 0; i < count; i++)
            fill_run(&h, &rows[i], x, x + COLUMNS < h.width ? x + COLUMNS : h.width,
                     out + i * h.width * channels);
    free(rows);
    return UF_OK;
}

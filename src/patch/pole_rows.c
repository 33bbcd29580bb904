/* From the plane home into the panorama's rows. */
#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/four.h"
#include "patch/pole.h"
#include "remap/keys.h"

/* More places than this for a pixel, along and across the row, change nothing that is seen. */
#define MOST_PLACES 16

/* A row is a circle: its places are the middle, and sine and cosine of the longitude times two vectors. */
typedef struct Circle {
    float sine_x, sine_y, cosine_x, cosine_y;
} Circle;

typedef struct Home {
    const UfCanvas *canvas;
    const UfView *view;
    bool is_root;
    size_t width, height, channels;
    float *sine, *cosine; /* of each column's longitude */
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
static inline UfFour look_up(const UfCanvas *canvas, float x, float y)
{
    float wx[4], wy[4];
    x -= 1.5F; /* to the first of the four taps' centres */
    y -= 1.5F;
    float last_x = (float)canvas->width - 4, last_y = (float)canvas->height - 4;
    x = x > 0 ? (x < last_x ? x : last_x) : 0;
    y = y > 0 ? (y < last_y ? y : last_y) : 0;
    size_t ix = (size_t)x, iy = (size_t)y;
    uf_keys_weights_single(x - (float)ix, &wx[0], &wx[1], &wx[2], &wx[3]);
    uf_keys_weights_single(y - (float)iy, &wy[0], &wy[1], &wy[2], &wy[3]);
    return uf_four_weighed(canvas->value + 4 * (iy * canvas->width + ix), 4 * canvas->width, wx, wy);
}

static void store(const Home *h, UfFour four, bool is_square, float *out)
{
    for (size_t c = 0; c < h->channels; c++)
        out[c] = is_square == h->is_root ? four[c]
                 : h->is_root            ? uf_signed_square(four[c])
                                         : uf_signed_root(four[c]);
}

/* A row whose pixels are one place each. */
static void plain_row(const Home *h, const Circle *circle, float *out)
{
    float middle_x = (float)h->view->centre_x_px, middle_y = (float)h->view->centre_y_px;
    for (size_t x = 0; x < h->width; x++)
        store(h,
              look_up(h->canvas, middle_x + circle->sine_x * h->sine[x] + circle->cosine_x * h->cosine[x],
                      middle_y + circle->sine_y * h->sine[x] + circle->cosine_y * h->cosine[x]),
              false, out + x * h->channels);
}

/* The means of `places` along each of the circles; `turn` is the angle between two places. */
static void averaged_row(const Home *h, const Circle *circles, size_t rows, size_t places, double turn,
                         float *out)
{
    float middle_x = (float)h->view->centre_x_px, middle_y = (float)h->view->centre_y_px;
    float sine[MOST_PLACES], cosine[MOST_PLACES];
    for (size_t k = 0; k < places; k++) {
        double angle = ((double)k - ((double)places - 1) / 2) * turn;
        sine[k] = (float)sin(angle);
        cosine[k] = (float)cos(angle);
    }
    for (size_t x = 0; x < h->width; x++) {
        UfFour sum = {0};
        for (size_t k = 0; k < places; k++) {
            float s = h->sine[x] * cosine[k] + h->cosine[x] * sine[k];
            float c = h->cosine[x] * cosine[k] - h->sine[x] * sine[k];
            for (size_t j = 0; j < rows; j++)
                sum += uf_four_square(look_up(h->canvas,
                                              middle_x + circles[j].sine_x * s + circles[j].cosine_x * c,
                                              middle_y + circles[j].sine_y * s + circles[j].cosine_y * c));
        }
        store(h, sum / uf_four_of((float)(rows * places)), true, out + x * h->channels);
    }
}

/*
 * What a pixel covers beyond the pixel's breadth that interpolation covers already (the variances of the two
 * add up), and in how many places it is looked at.
 */
static double spread_of(double extent, size_t *places)
{
    double spread = sqrt(fmax(extent * extent - 1, 0));
    double count = spread < 0.3 ? 1 : fmin(ceil(extent), MOST_PLACES);
    *places = (size_t)count;
    return spread;
}

static void fill_row(const Home *h, size_t y, float *out)
{
    double step = UF_PI / (double)h->height, lat = UF_PI / 2 - ((double)y + 0.5) * step;
    Circle here, next, circles[MOST_PLACES];
    if (!circle_at(h, lat, &here) || !circle_at(h, lat + (lat < 0 ? step : -step) / 8, &next)) {
        memset(out, 0, h->width * h->channels * sizeof *out);
        return;
    }
    double radius = hypot((double)here.cosine_x, (double)here.cosine_y);
    double down = 8 * fabs(hypot((double)next.cosine_x, (double)next.cosine_y) - radius);
    size_t rows, places;
    double spread_down = spread_of(down, &rows),
           spread_along = spread_of(radius * 2 * UF_PI / (double)h->width, &places);
    if (rows == 1 && places == 1) {
        plain_row(h, &here, out);
        return;
    }
    for (size_t j = 0; j < rows; j++) {
        double offset = (((double)j + 0.5) / (double)rows - 0.5) * spread_down / fmax(down, 1e-9);
        if (rows == 1 || !circle_at(h, lat + offset * step, &circles[j]))
            circles[j] = here;
    }
    averaged_row(h, circles, rows, places, places > 1 ? spread_along / (double)places / radius : 0, out);
}

UfStatus uf_pole_rows(const UfCanvas *canvas, const UfView *view, bool is_root, const UfCap *cap,
                      size_t y0_px, size_t count, size_t channels, float *out, UfReport *report)
{
    Home h = {canvas, view, is_root, cap->width_px, cap->height_px, channels, NULL, NULL};
    h.sine = uf_alloc(2 * h.width, sizeof *h.sine);
    if (h.sine == NULL)
        return uf_fail_memory(report);
    h.cosine = h.sine + h.width;
    for (size_t x = 0; x < h.width; x++) {
        double lon = (((double)x + 0.5) / (double)h.width - 0.5) * 2 * UF_PI;
        h.sine[x] = (float)sin(lon);
        h.cosine[x] = (float)cos(lon);
    }
#pragma omp parallel for schedule(dynamic, 1) num_threads(cap->threads)
    for (size_t i = 0; i < count; i++)
        fill_row(&h, y0_px + i, out + i * h.width * channels);
    free(h.sine);
    return UF_OK;
}

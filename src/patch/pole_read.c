/*
 * From the panorama into the plane, tile by tile: the part of the panorama that a tile needs becomes a small
 * window of floats, in which rows are averaged over what a pixel of the plane takes of them, and then
 * columns.
 */
#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/four.h"
#include "patch/pole.h"
#include "patch/rows.h"
#include "remap/window.h"

#define TILE_W 64
#define TILE_H 32
/*
 * Places are computed every NODE pixels and interpolated between by cubics (Lagrange's, four nodes). The
 * longitude's fourth derivative is at most 6 / r^4 at r pixels from the middle, and the error 0.0235 NODE^4
 * times that: below 1/100 pixel of a panorama 32768 wide from NEAR_PX on. Nearer than that every place is
 * computed.
 */
#define NODE    8
#define NODES_X (TILE_W / NODE + 3)
#define NODES_Y (TILE_H / NODE + 3)
#define NEAR_PX 160.0
/* Keys' kernel looks so far. */
#define BEFORE 1
#define BEHIND 2
/* Alpha nearer to 1 than this is opaque. */
#define OPAQUE 0.002F

typedef struct Source {
    const UfPicture *picture;
    const UfPoleRead *read;
    size_t width, height, channels, colours;
    UfSample sample;
    float light[256], value[256]; /* of 8-bit codes */
    float weight[4][NODE];        /* of the four nodes about each place between two */
} Source;

/* What a thread works in; the buffers grow. */
typedef struct Desk {
    float u[TILE_W * TILE_H], v[TILE_W * TILE_H]; /* in the panorama, from the window's first pixel on */
    float *line, *window, *raw;
    size_t line_room, window_room, raw_room;
} Desk;

/* Half-open, in the panorama's pixels; columns run on across the seam, rows over the poles. */
typedef struct Window {
    long x0, x1, y0, y1;
} Window;

static float *grow(float **buffer, size_t *room, size_t count)
{
    if (count > *room) {
        free(*buffer);
        *buffer = uf_alloc(count, sizeof **buffer);
        *room = *buffer != NULL ? count : 0;
    }
    return *buffer;
}

static void desk_free(Desk *desk)
{
    free(desk->line);
    free(desk->window);
    free(desk->raw);
    free(desk);
}

/* A sample as light, squared unless it is light already, or as the canvas has it. */
static inline float of_sample(float v, bool is_root, bool as_light)
{
    if (as_light)
        return is_root ? v : uf_signed_square(v);
    return is_root ? uf_signed_root(v) : v;
}

static void source_open(const UfPicture *panorama, const UfPoleRead *read, Source *s)
{
    *s = (Source){.picture = panorama,
                  .read = read,
                  .width = uf_picture_width_px(panorama),
                  .height = uf_picture_height_px(panorama),
                  .channels = uf_picture_channels(panorama),
                  .colours = uf_colour_channels(panorama),
                  .sample = uf_picture_sample(panorama)};
    for (int i = 0; i < 256; i++) {
        s->light[i] = of_sample((float)i / 255.0F, read->is_root, true);
        s->value[i] = of_sample((float)i / 255.0F, read->is_root, false);
    }
    for (int i = 0; i < NODE; i++) {
        float t = (float)i / NODE;
        s->weight[0][i] = -t * (t - 1) * (t - 2) / 6;
        s->weight[1][i] = (t + 1) * (t - 1) * (t - 2) / 2;
        s->weight[2][i] = -(t + 1) * t * (t - 2) / 2;
        s->weight[3][i] = (t + 1) * t * (t - 1) / 6;
    }
}

/* 3 or 1 colours without alpha, of 8 bits: by table. */
static void load_codes(const Source *s, const uint8_t *from, size_t count, bool as_light, float *out)
{
    const float *table = as_light ? s->light : s->value;
    if (s->colours == 3)
        for (size_t i = 0; i < count; i++)
            uf_four_store(out + 4 * i,
                          (UfFour){table[from[3 * i]], table[from[3 * i + 1]], table[from[3 * i + 2]], 1});
    else
        for (size_t i = 0; i < count; i++)
            uf_four_store(out + 4 * i, (UfFour){table[from[i]], 0, 0, 1});
}

static float sample_at(const Source *s, const uint8_t *row, size_t i)
{
    return (float)(uf_sample_load(row + i * (size_t)s->sample, s->sample) / uf_sample_max(s->sample));
}

/* Any pixel: colours times alpha, and alpha; nothing where a colour is no number. */
static void load_pixel(const Source *s, const uint8_t *row, size_t x, bool as_light, float *out)
{
    float alpha = s->channels > s->colours ? sample_at(s, row, x * s->channels + s->colours) : 1;
    UfFour four = {0, 0, 0, alpha};
    bool is_number = isfinite(alpha);
    for (size_t c = 0; c < s->colours; c++) {
        float v = sample_at(s, row, x * s->channels + c);
        is_number = is_number && isfinite(v);
        four[c] = of_sample(v, s->read->is_root, as_light) * alpha;
    }
    uf_four_store(out, is_number ? four : (UfFour){0});
}

/* Columns x0 .. x0 + count - 1 of a row; both may lie beyond the picture. */
static void load_line(const Source *s, long x0, long y, size_t count, bool as_light, float *out)
{
    long width = (long)s->width, height = (long)s->height;
    if (y < 0 || y >= height) { /* over the pole lies the opposite meridian */
        y = y < 0 ? -1 - y : 2 * height - 1 - y;
        x0 += width / 2;
    }
    const uint8_t *row = uf_picture_row_const(s->picture, (size_t)y);
    size_t x = (size_t)(((x0 % width) + width) % width);
    for (size_t done = 0; done < count;) {
        size_t run = count - done < s->width - x ? count - done : s->width - x;
        if (s->sample == UF_SAMPLE_U8 && s->channels == s->colours)
            load_codes(s, row + x * s->channels, run, as_light, out + 4 * done);
        else
            for (size_t i = 0; i < run; i++)
                load_pixel(s, row, x + i, as_light, out + 4 * (done + i));
        done += run;
        x = 0;
    }
}

/* Pixels of the panorama in one of the plane at its row y: along the row, and across rows. */
static double along(const Source *s, long y)
{
    double angle = fabs((double)y + 0.5) * UF_PI / (double)s->height;
    double tangent = fmax(fabs(tan(angle)), 1e-6);
    return fmin((double)s->width / (2 * UF_PI * s->read->view.scale_px * tangent), (double)s->width / 2);
}

static double across(const Source *s, long y)
{
    double cosine = cos(fabs((double)y + 0.5) * UF_PI / (double)s->height);
    return (double)s->width / (2 * UF_PI * s->read->view.scale_px) * cosine * cosine;
}

/*
 * The mean over a pixel of the plane that takes up `extent` of the panorama's: whole pixels, and of the two
 * at the ends a part. Half-way between two breadths: the extent's, which lets nothing fine through but blurs,
 * and the one whose variance is that of the extent beyond the one pixel that is a sample already, (extent^2 -
 * 1) / 12, which is as sharp as can be. Both go over into nothing where plane and panorama are as fine as
 * each other.
 */
typedef struct Mean {
    size_t side; /* pixels on each side of the middle one; 0: none, the sample as it is */
    float inner, outer;
} Mean;

static Mean mean_over(double extent, bool is_sharp)
{
    double m = ceil((extent - 1) / 2 - 1e-9);
    if (!(m >= 1))
        return (Mean){0, 1, 0};
    /* the variance of 2 m - 1 whole pixels and two parts, together `breadth`, solved for the breadth */
    double squares = (m - 1) * m * (2 * m - 1) / 3;
    double breadth = (m * m * (2 * m - 1) - squares) / (m * m - (extent * extent - 1) / 12);
    if (!is_sharp)
        breadth = fmin(fmax((breadth + extent) / 2, 2 * m - 1), 2 * m + 1);
    return (Mean){(size_t)m, (float)(1 / breadth), (float)((breadth - (2 * m - 1)) / 2 / breadth)};
}

/* The means of floats `step` apart, for `count` of them from `from` on. */
static void average(const float *from, size_t step, Mean mean, size_t count, float *out)
{
    if (mean.side == 0) {
        memcpy(out, from, count * sizeof *out);
        return;
    }
    for (size_t i = 0; i < count; i += 4) {
        UfFour inner = uf_four_load(from + i);
        for (size_t k = 1; k < mean.side; k++)
            inner += uf_four_load(from + i - k * step) + uf_four_load(from + i + k * step);
        UfFour outer = uf_four_load(from + i - mean.side * step) + uf_four_load(from + i + mean.side * step);
        uf_four_store(out + i, uf_four_of(mean.inner) * inner + uf_four_of(mean.outer) * outer);
    }
}

/* One row of the window, averaged along itself. */
static bool fill_line(const Source *s, const Window *window, long y, bool as_light, Desk *desk, float *out)
{
    size_t count = (size_t)(window->x1 - window->x0);
    Mean mean = mean_over(along(s, y), s->read->is_sharp);
    if (mean.side == 0) {
        load_line(s, window->x0, y, count, as_light, out);
        return true;
    }
    if (grow(&desk->line, &desk->line_room, 4 * (count + 2 * mean.side)) == NULL)
        return false;
    load_line(s, window->x0 - (long)mean.side, y, count + 2 * mean.side, as_light, desk->line);
    average(desk->line + 4 * mean.side, 4, mean, 4 * count, out);
    return true;
}

/* The window's values as the canvas has them. */
static bool fill_window(const Source *s, const Window *window, Desk *desk)
{
    size_t stride = 4 * (size_t)(window->x1 - window->x0), rows = (size_t)(window->y1 - window->y0);
    size_t side = 0;
    bool as_light = false;
    for (long y = window->y0; y < window->y1; y++) {
        size_t here = mean_over(across(s, y), s->read->is_sharp).side;
        side = here > side ? here : side;
        as_light = as_light || here > 0 || along(s, y) > 1;
    }
    float *lines = side > 0 ? grow(&desk->raw, &desk->raw_room, stride * (rows + 2 * side))
                            : grow(&desk->window, &desk->window_room, stride * rows);
    if (lines == NULL || grow(&desk->window, &desk->window_room, stride * rows) == NULL)
        return false;
    for (size_t y = 0; y < rows + 2 * side; y++)
        if (!fill_line(s, window, window->y0 - (long)side + (long)y, as_light, desk, lines + y * stride))
            return false;
    for (size_t y = 0; side > 0 && y < rows; y++)
        average(lines + (y + side) * stride, stride,
                mean_over(across(s, window->y0 + (long)y), s->read->is_sharp), stride,
                desk->window + y * stride);
    if (as_light) {
        float *values = desk->window;
#pragma omp simd
        for (size_t i = 0; i < stride * rows; i++)
            values[i] = uf_signed_root(values[i]);
    }
    return true;
}

/* A pixel's place in the panorama; u runs on from `near_u`. */
static void place_of(const Source *s, double x, double y, double near_u, double *u, double *v)
{
    UfDirection direction;
    *u = near_u;
    *v = 0;
    if (!uf_view_direction(&s->read->view, (UfPixelPoint){x, y}, &direction))
        return;
    UfLonLat at = uf_lonlat_from_direction(direction);
    *u = near_u + remainder((at.lon_rad / (2 * UF_PI) + 0.5) * (double)s->width - near_u, (double)s->width);
    *v = (0.5 - at.lat_rad / UF_PI) * (double)s->height;
}

typedef struct Tile {
    size_t x0, y0, width, height; /* in the canvas */
} Tile;

/* Places relative to the one in the tile's middle, so that floats hold them. */
static void interpolate_places(const Source *s, const Tile *tile, double middle_u, double middle_v,
                               Desk *desk)
{
    float node_u[NODES_Y][NODES_X], node_v[NODES_Y][NODES_X];
    float line_u[NODES_X], line_v[NODES_X];
    for (int j = 0; j < NODES_Y; j++)
        for (int i = 0; i < NODES_X; i++) {
            double u, v;
            place_of(s, (double)tile->x0 + (i - 1) * NODE + 0.5, (double)tile->y0 + (j - 1) * NODE + 0.5,
                     middle_u, &u, &v);
            node_u[j][i] = (float)(u - middle_u);
            node_v[j][i] = (float)(v - middle_v);
        }
    for (size_t y = 0; y < tile->height; y++) {
        size_t j = y / NODE, dy = y % NODE;
        for (int i = 0; i < NODES_X; i++) {
            line_u[i] = line_v[i] = 0;
            for (size_t k = 0; k < 4; k++) {
                line_u[i] += s->weight[k][dy] * node_u[j + k][i];
                line_v[i] += s->weight[k][dy] * node_v[j + k][i];
            }
        }
        for (size_t i = 0; i * NODE < tile->width; i++)
            for (size_t dx = 0; dx < NODE; dx++) {
                float u = 0, v = 0;
                for (size_t k = 0; k < 4; k++) {
                    u += s->weight[k][dx] * line_u[i + k];
                    v += s->weight[k][dx] * line_v[i + k];
                }
                desk->u[y * TILE_W + i * NODE + dx] = u;
                desk->v[y * TILE_W + i * NODE + dx] = v;
            }
    }
}

static void compute_places(const Source *s, const Tile *tile, double middle_u, double middle_v, Desk *desk)
{
    for (size_t y = 0; y < tile->height; y++)
        for (size_t x = 0; x < tile->width; x++) {
            double u, v;
            place_of(s, (double)(tile->x0 + x) + 0.5, (double)(tile->y0 + y) + 0.5, middle_u, &u, &v);
            desk->u[y * TILE_W + x] = (float)(u - middle_u);
            desk->v[y * TILE_W + x] = (float)(v - middle_v);
        }
}

/* The tile's places, from the first pixel of the window on that they ask for. */
static Window find_places(const Source *s, const Tile *tile, double nearest, Desk *desk)
{
    double middle_u, middle_v;
    place_of(s, (double)tile->x0 + (double)tile->width / 2, (double)tile->y0 + (double)tile->height / 2,
             (double)s->width / 2, &middle_u, &middle_v);
    /* nodes lie up to two steps beyond the tile */
    if (nearest > NEAR_PX + 3 * NODE)
        interpolate_places(s, tile, middle_u, middle_v, desk);
    else
        compute_places(s, tile, middle_u, middle_v, desk);
    float low_u = INFINITY, high_u = -INFINITY, low_v = INFINITY, high_v = -INFINITY;
    for (size_t y = 0; y < tile->height; y++)
        for (size_t x = 0; x < tile->width; x++) {
            float u = desk->u[y * TILE_W + x], v = desk->v[y * TILE_W + x];
            low_u = u < low_u ? u : low_u;
            high_u = u > high_u ? u : high_u;
            low_v = v < low_v ? v : low_v;
            high_v = v > high_v ? v : high_v;
        }
    Window window = {(long)floor(middle_u + (double)low_u - 0.5) - BEFORE,
                     (long)floor(middle_u + (double)high_u - 0.5) + BEHIND + 2,
                     (long)floor(middle_v + (double)low_v - 0.5) - BEFORE,
                     (long)floor(middle_v + (double)high_v - 0.5) + BEHIND + 2};
    /* from places to the first of the four taps' pixel centres */
    float shift_u = (float)(middle_u - 0.5 - BEFORE - (double)window.x0),
          shift_v = (float)(middle_v - 0.5 - BEFORE - (double)window.y0);
    for (size_t i = 0; i < (size_t)TILE_W * TILE_H; i++) {
        desk->u[i] += shift_u;
        desk->v[i] += shift_v;
    }
    return window;
}

UF_CLONES static void sample_tile(const Window *window, const Tile *tile, const Desk *desk, UfCanvas *canvas)
{
    size_t stride = 4 * (size_t)(window->x1 - window->x0);
    for (size_t y = 0; y < tile->height; y++)
        for (size_t x = 0; x < tile->width; x++) {
            float u = desk->u[y * TILE_W + x], v = desk->v[y * TILE_W + x];
            /* never negative, rounding aside */
            size_t ix = u > 0 ? (size_t)u : 0, iy = v > 0 ? (size_t)v : 0;
            UfFour four =
                uf_four_weighed(desk->window + iy * stride + 4 * ix, stride, u - (float)ix, v - (float)iy);
            size_t i = (tile->y0 + y) * canvas->width + tile->x0 + x;
            float alpha = four[3];
            bool is_opaque = fabsf(alpha - 1) < OPAQUE;
            canvas->cell[i] = is_opaque ? UF_CELL_SOURCE : UF_CELL_IDLE;
            if (!is_opaque)
                four = alpha > 0.01F ? four / uf_four_of(alpha) : (UfFour){0};
            four[3] = 0;
            uf_four_store(canvas->value + 4 * i, four);
        }
}

static double gap(double from, double to, double at)
{
    return at < from ? from - at : at > to ? at - to : 0;
}

/* The tile's distances from the plane's middle: of its nearest and its farthest point. */
static void tile_distances(const UfView *view, const Tile *tile, double *nearest, double *farthest)
{
    double x0 = (double)tile->x0, y0 = (double)tile->y0;
    double x1 = x0 + (double)tile->width, y1 = y0 + (double)tile->height;
    *nearest = hypot(gap(x0, x1, view->centre_x_px), gap(y0, y1, view->centre_y_px));
    *farthest = hypot(fmax(fabs(x0 - view->centre_x_px), fabs(x1 - view->centre_x_px)),
                      fmax(fabs(y0 - view->centre_y_px), fabs(y1 - view->centre_y_px)));
}

/* false: no memory */
static bool read_tile(const Source *s, const Tile *tile, Desk *desk, UfCanvas *canvas)
{
    double nearest, farthest;
    tile_distances(&s->read->view, tile, &nearest, &farthest);
    if (farthest < s->read->nearest_px || nearest > s->read->farthest_px) {
        for (size_t y = 0; y < tile->height; y++)
            memset(canvas->cell + (tile->y0 + y) * canvas->width + tile->x0, UF_CELL_IDLE, tile->width);
        return true;
    }
    Window window = find_places(s, tile, nearest, desk);
    if (!fill_window(s, &window, desk))
        return false;
    sample_tile(&window, tile, desk, canvas);
    return true;
}

UfStatus uf_pole_read(const UfPicture *panorama, const UfPoleRead *read, UfCanvas *canvas, UfReport *report)
{
    Source source;
    size_t across_tiles = (canvas->width + TILE_W - 1) / TILE_W,
           down_tiles = (canvas->height + TILE_H - 1) / TILE_H;
    bool is_short = false;
    source_open(panorama, read, &source);
#pragma omp parallel num_threads(read->threads) reduction(|| : is_short)
    {
        Desk *desk = uf_alloc_zero(1, sizeof *desk);
        is_short = desk == NULL;
#pragma omp for schedule(dynamic, 4)
        for (size_t t = 0; t < across_tiles * down_tiles; t++) {
            Tile tile = {t % across_tiles * TILE_W, t / across_tiles * TILE_H, TILE_W, TILE_H};
            if (is_short)
                continue;
            tile.width = canvas->width - tile.x0 < TILE_W ? canvas->width - tile.x0 : TILE_W;
            tile.height = canvas->height - tile.y0 < TILE_H ? canvas->height - tile.y0 : TILE_H;
            is_short = !read_tile(&source, &tile, desk, canvas);
        }
        if (desk != NULL)
            desk_free(desk);
    }
    return is_short ? uf_fail_memory(report) : UF_OK;
}

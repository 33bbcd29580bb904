/*
 * Extrema of differences of Gaussians, over octaves of three scales each; their main gradient directions; and
 * histograms of gradient directions about them (4 x 4 x 8). D. G. Lowe, IJCV 60(2), 2004, sections 3 to 6.
 */
#include "patch/features.h"

#include <math.h>

#include "base/memory.h"

#define PI              3.14159265358979323846
#define SCALES          3
#define LAYERS          (SCALES + 3)
#define FIRST_SIGMA     1.6
#define LEAST_SIDE      24
#define LEAST_CONTRAST  0.004F
#define EDGE_RATIO      10.0
#define DIRECTIONS      36
#define CELLS           4
#define CELL_DIRECTIONS 8
/* Nothing unknown within this many sigmas of a feature. */
#define CLEAR_SIGMAS 5.0

typedef struct Octave {
    UfGrey layer[LAYERS];
    float *away; /* distance of each pixel to the nearest unknown one, in pixels */
    double step; /* a pixel of it in pixels of the picture */
} Octave;

typedef struct List {
    UfFeature *items;
    size_t count, room;
} List;

static void octave_clear(Octave *o)
{
    for (size_t i = 0; i < LAYERS; i++)
        uf_grey_clear(&o->layer[i]);
    free(o->away);
    o->away = NULL;
}

static double layer_sigma(size_t layer)
{
    return FIRST_SIGMA * pow(2, (double)layer / SCALES);
}

/* Two passes with steps of 1 and sqrt 2 (G. Borgefors, 1986); the picture's border counts as unknown. */
static UfStatus distances(const UfGrey *grey, float **out, UfReport *report)
{
    size_t w = grey->width, h = grey->height;
    float *away = uf_alloc(w * h, sizeof *away);
    if (away == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++) {
            float *d = &away[y * w + x];
            *d = 0;
            if (!grey->known[y * w + x] || x == 0 || y == 0 || x + 1 == w || y + 1 == h)
                continue;
            *d = fminf(fminf(d[-1], *(d - w)) + 1, fminf(*(d - w - 1), *(d - w + 1)) + 1.414F);
        }
    for (size_t y = h; y-- > 0;)
        for (size_t x = w; x-- > 0;) {
            float *d = &away[y * w + x];
            if (*d > 0)
                *d = fminf(*d, fminf(fminf(d[1], d[w]) + 1, fminf(d[w + 1], d[w - 1]) + 1.414F));
        }
    *out = away;
    return UF_OK;
}

/* Layer 0 is blurred to FIRST_SIGMA already. */
static UfStatus fill_octave(Octave *o, int threads, UfReport *report)
{
    UfStatus status = distances(&o->layer[0], &o->away, report);
    for (size_t i = 1; status == UF_OK && i < LAYERS; i++) {
        double more = sqrt(pow(layer_sigma(i), 2) - pow(layer_sigma(i - 1), 2));
        status = uf_grey_blur(&o->layer[i - 1], more, threads, &o->layer[i], report);
    }
    return status;
}

static float difference(const Octave *o, size_t layer, size_t i)
{
    return o->layer[layer + 1].value[i] - o->layer[layer].value[i];
}

static bool is_extremum(const Octave *o, size_t layer, size_t i)
{
    float here = difference(o, layer, i);
    size_t w = o->layer[0].width;
    for (size_t l = layer - 1; l <= layer + 1; l++)
        for (size_t k = 0; k < 9; k++) {
            size_t j = i + k % 3 - 1 + (k / 3) * w - w;
            if (l == layer && j == i)
                continue;
            float there = difference(o, l, j);
            if (here > 0 ? there >= here : there <= here)
                return false;
        }
    return true;
}

/* Curvatures of about the same size both ways: a corner or a blob, no edge. */
static bool is_point(const Octave *o, size_t layer, size_t i)
{
    size_t w = o->layer[0].width;
    double here = (double)difference(o, layer, i);
    double xx = (double)(difference(o, layer, i + 1) + difference(o, layer, i - 1)) - 2 * here;
    double yy = (double)(difference(o, layer, i + w) + difference(o, layer, i - w)) - 2 * here;
    double xy = (double)(difference(o, layer, i + w + 1) - difference(o, layer, i + w - 1) -
                         difference(o, layer, i - w + 1) + difference(o, layer, i - w - 1)) /
                4;
    double trace = xx + yy, determinant = xx * yy - xy * xy;
    return determinant > 0 && trace * trace * EDGE_RATIO < (EDGE_RATIO + 1) * (EDGE_RATIO + 1) * determinant;
}

/* Where the parabola through three values has its top, within half a step. */
static double top_of(float before, float here, float after)
{
    double curve = (double)(before + after - 2 * here);
    if (fabs(curve) < 1e-12)
        return 0;
    return fmax(-0.5, fmin(0.5, (double)(before - after) / (2 * curve)));
}

static void gradient(const UfGrey *g, size_t i, double *x, double *y)
{
    *x = (double)(g->value[i + 1] - g->value[i - 1]);
    *y = (double)(g->value[i + g->width] - g->value[i - g->width]);
}

/* Directions of the gradient about a point, weighted by a Gaussian of 1.5 sigma, smoothed. */
static void direction_histogram(const UfGrey *g, double cx, double cy, double sigma, double out[DIRECTIONS])
{
    double raw[DIRECTIONS] = {0};
    long reach = (long)ceil(4.5 * sigma), x0 = (long)floor(cx), y0 = (long)floor(cy);
    for (long y = y0 - reach; y <= y0 + reach; y++)
        for (long x = x0 - reach; x <= x0 + reach; x++) {
            if (x < 1 || y < 1 || x + 1 >= (long)g->width || y + 1 >= (long)g->height)
                continue;
            double gx, gy, dx = (double)x + 0.5 - cx, dy = (double)y + 0.5 - cy;
            gradient(g, (size_t)y * g->width + (size_t)x, &gx, &gy);
            double weight = exp(-(dx * dx + dy * dy) / (2 * 2.25 * sigma * sigma));
            double turn = atan2(gy, gx) / (2 * PI) + 1;
            raw[(size_t)lround(turn * DIRECTIONS) % DIRECTIONS] += weight * hypot(gx, gy);
        }
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < DIRECTIONS; i++)
            out[i] = (raw[(i + DIRECTIONS - 1) % DIRECTIONS] + 2 * raw[i] + raw[(i + 1) % DIRECTIONS]) / 4;
        memcpy(raw, out, sizeof raw);
    }
}

/* Spreads one gradient over the neighbouring cells and directions. */
static void add_gradient(double row, double column, double turn, double amount, float *numbers)
{
    int r0 = (int)floor(row), c0 = (int)floor(column), t0 = (int)floor(turn);
    for (int k = 0; k < 8; k++) {
        int r = r0 + (k & 1), c = c0 + (k >> 1 & 1), t = t0 + (k >> 2);
        if (r < 0 || c < 0 || r >= CELLS || c >= CELLS)
            continue;
        double share = (1 - fabs(row - r)) * (1 - fabs(column - c)) * (1 - fabs(turn - t));
        numbers[(r * CELLS + c) * CELL_DIRECTIONS + (t + CELL_DIRECTIONS) % CELL_DIRECTIONS] +=
            (float)(share * amount);
    }
}

/* Unit length, no number above 0.2, unit length again. */
static void normalise(float *numbers)
{
    for (int pass = 0; pass < 2; pass++) {
        double sum = 1e-20;
        for (size_t i = 0; i < UF_FEATURE_NUMBERS; i++)
            sum += (double)(numbers[i] * numbers[i]);
        for (size_t i = 0; i < UF_FEATURE_NUMBERS; i++) {
            numbers[i] = (float)((double)numbers[i] / sqrt(sum));
            if (pass == 0)
                numbers[i] = fminf(numbers[i], 0.2F);
        }
    }
}

static void describe(const UfGrey *g, double cx, double cy, double sigma, UfFeature *feature)
{
    double cell = 3 * sigma, c = cos(feature->angle_rad), s = sin(feature->angle_rad);
    long reach = (long)ceil(cell * sqrt(2) * (CELLS + 1) / 2), x0 = (long)floor(cx), y0 = (long)floor(cy);
    memset(feature->numbers, 0, sizeof feature->numbers);
    for (long y = y0 - reach; y <= y0 + reach; y++)
        for (long x = x0 - reach; x <= x0 + reach; x++) {
            if (x < 1 || y < 1 || x + 1 >= (long)g->width || y + 1 >= (long)g->height)
                continue;
            double gx, gy, dx = (double)x + 0.5 - cx, dy = (double)y + 0.5 - cy;
            double u = (c * dx + s * dy) / cell, v = (-s * dx + c * dy) / cell;
            if (fabs(u) > (CELLS + 1) / 2.0 || fabs(v) > (CELLS + 1) / 2.0)
                continue;
            gradient(g, (size_t)y * g->width + (size_t)x, &gx, &gy);
            double turn = (atan2(gy, gx) - feature->angle_rad) / (2 * PI);
            turn = (turn - floor(turn)) * CELL_DIRECTIONS;
            double weight = exp(-(u * u + v * v) / (0.5 * CELLS * CELLS));
            add_gradient(v + CELLS / 2.0 - 0.5, u + CELLS / 2.0 - 0.5, turn, weight * hypot(gx, gy),
                         feature->numbers);
        }
    normalise(feature->numbers);
}

static UfStatus append(List *list, const UfFeature *feature, UfReport *report)
{
    if (list->count == list->room) {
        size_t room = list->room > 0 ? 2 * list->room : 256;
        UfFeature *items = uf_realloc(list->items, room, sizeof *items);
        if (items == NULL)
            return uf_fail_memory(report);
        list->items = items;
        list->room = room;
    }
    list->items[list->count++] = *feature;
    return UF_OK;
}

/* The point of layer `layer` at pixel `i`, once for each of its main directions; described later. */
static UfStatus add_point(const Octave *o, size_t layer, size_t i, List *list, UfReport *report)
{
    double histogram[DIRECTIONS], most = 0;
    size_t w = o->layer[0].width;
    double x = (double)(i % w) + 0.5 +
               top_of(difference(o, layer, i - 1), difference(o, layer, i), difference(o, layer, i + 1));
    double y = (double)(i / w) + 0.5 +
               top_of(difference(o, layer, i - w), difference(o, layer, i), difference(o, layer, i + w));
    double sigma =
        FIRST_SIGMA * pow(2, ((double)layer + top_of(difference(o, layer - 1, i), difference(o, layer, i),
                                                     difference(o, layer + 1, i))) /
                                 SCALES);
    direction_histogram(&o->layer[layer], x, y, sigma, histogram);
    for (size_t k = 0; k < DIRECTIONS; k++)
        most = fmax(most, histogram[k]);
    for (size_t k = 0; k < DIRECTIONS; k++) {
        double before = histogram[(k + DIRECTIONS - 1) % DIRECTIONS], after = histogram[(k + 1) % DIRECTIONS];
        if (histogram[k] < 0.8 * most || histogram[k] <= before || histogram[k] < after)
            continue;
        double turn = (double)k + top_of((float)before, (float)histogram[k], (float)after);
        /* the picture's pixels for now are the octave's: describing needs them */
        UfFeature feature = {.at = {x, y},
                             .scale = sigma,
                             .angle_rad = turn * 2 * PI / DIRECTIONS,
                             .strength = fabsf(difference(o, layer, i))};
        feature.numbers[0] = (float)layer;
        UfStatus status = append(list, &feature, report);
        if (status != UF_OK)
            return status;
    }
    return UF_OK;
}

static UfStatus find_points(const Octave *o, List *list, UfReport *report)
{
    size_t w = o->layer[0].width, h = o->layer[0].height;
    for (size_t layer = 1; layer <= SCALES; layer++) {
        float clear = (float)(CLEAR_SIGMAS * layer_sigma(layer));
        for (size_t y = 1; y + 1 < h; y++)
            for (size_t x = 1; x + 1 < w; x++) {
                size_t i = y * w + x;
                if (o->away[i] < clear || fabsf(difference(o, layer, i)) < LEAST_CONTRAST ||
                    !is_extremum(o, layer, i) || !is_point(o, layer, i))
                    continue;
                UfStatus status = add_point(o, layer, i, list, report);
                if (status != UF_OK)
                    return status;
            }
    }
    return UF_OK;
}

static int stronger_first(const void *a, const void *b)
{
    const UfFeature *p = a, *q = b;
    if (p->strength != q->strength)
        return p->strength > q->strength ? -1 : 1;
    if (p->at.y != q->at.y)
        return p->at.y < q->at.y ? -1 : 1;
    if (p->at.x != q->at.x)
        return p->at.x < q->at.x ? -1 : 1;
    return p->angle_rad < q->angle_rad ? -1 : p->angle_rad > q->angle_rad;
}

/* The points of one octave described, and brought into the picture's pixels. */
static void describe_points(const Octave *o, List *list, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(dynamic, 16)
    for (size_t k = 0; k < list->count; k++) {
        UfFeature *feature = &list->items[k];
        size_t layer = (size_t)feature->numbers[0];
        describe(&o->layer[layer], feature->at.x, feature->at.y, feature->scale, feature);
        feature->at = (UfSpot){feature->at.x * o->step, feature->at.y * o->step};
        feature->scale *= o->step;
    }
}

/* Twice the size, bilinear. */
static UfStatus doubled_picture(const UfGrey *from, UfGrey *out, UfReport *report)
{
    UfStatus status = uf_grey_create(2 * from->width, 2 * from->height, out, report);
    for (size_t y = 0; status == UF_OK && y < out->height; y++)
        for (size_t x = 0; x < out->width; x++) {
            double value = 0;
            size_t i = y * out->width + x;
            out->known[i] = uf_grey_at(from, (UfSpot){((double)x + 0.5) / 2, ((double)y + 0.5) / 2}, &value);
            out->value[i] = (float)value;
        }
    return status;
}

static UfStatus first_octave(const UfGrey *picture, bool doubled, int threads, Octave *o, UfReport *report)
{
    UfGrey twice = {0};
    UfStatus status = doubled ? doubled_picture(picture, &twice, report) : UF_OK;
    /* the picture itself is taken to be blurred by half a pixel */
    double there = doubled ? 1.0 : 0.5;
    if (status == UF_OK)
        status = uf_grey_blur(doubled ? &twice : picture, sqrt(FIRST_SIGMA * FIRST_SIGMA - there * there),
                              threads, &o->layer[0], report);
    o->step = doubled ? 0.5 : 1;
    uf_grey_clear(&twice);
    return status;
}

/* Every second pixel of the layer with twice the blur: pixel centres stay where they were on even pixels, so
 * means of four keep the half-pixel convention. */
static UfStatus next_octave(const Octave *o, Octave *next, UfReport *report)
{
    next->step = 2 * o->step;
    return uf_grey_halve(&o->layer[SCALES], &next->layer[0], report);
}

UfStatus uf_features_find(const UfGrey *picture, bool doubled, size_t most, int threads, UfFeature **out,
                          size_t *count, UfReport *report)
{
    Octave octave = {0}, next = {0};
    List all = {0};
    UfStatus status = first_octave(picture, doubled, threads, &octave, report);
    while (status == UF_OK) {
        List here = {0};
        if ((status = fill_octave(&octave, threads, report)) == UF_OK)
            status = find_points(&octave, &here, report);
        if (status == UF_OK && here.count > 0) {
            qsort(here.items, here.count, sizeof *here.items, stronger_first);
            here.count = here.count < most ? here.count : most;
            describe_points(&octave, &here, threads);
        }
        for (size_t i = 0; status == UF_OK && i < here.count; i++)
            status = append(&all, &here.items[i], report);
        free(here.items);
        if (status != UF_OK || octave.layer[0].width < (size_t)2 * LEAST_SIDE ||
            octave.layer[0].height < (size_t)2 * LEAST_SIDE)
            break;
        status = next_octave(&octave, &next, report);
        octave_clear(&octave);
        octave = next;
        next = (Octave){0};
    }
    octave_clear(&octave);
    octave_clear(&next);
    if (status != UF_OK) {
        free(all.items);
        return status;
    }
    if (all.count > 0)
        qsort(all.items, all.count, sizeof *all.items, stronger_first);
    *out = all.items;
    *count = all.count < most ? all.count : most;
    return UF_OK;
}

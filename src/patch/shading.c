/*
 * Light falls off smoothly over a floor, texture does not: the logarithm of the picture is a smooth field
 * plus texture. The field is a quadratic in the plane's x and y, fitted to the ring by iteratively reweighted
 * least squares with Tukey's biweight (P. J. Huber, Robust Statistics, 1981), so that dark joints, legs and
 * bright patches pull little. It lies all around the hole, so inside it is interpolated.
 */
#include "patch/shading.h"

#include <math.h>

#include "base/memory.h"
#include "base/robust.h"
#include "patch/cholesky.h"

#define TERMS  UF_SHADING_TERMS
#define ROUNDS 6
/* Tukey's constant for 95 % efficiency, and the mean absolute deviation of a normal distribution. */
#define MEAN_DEVIATION 0.798
/* Keeps black out of the logarithm. */
#define DARK 0.02
/* The light is never taken to differ by more than this factor from its mean. */
#define MOST_LOG 1.4
/* The light is checked on the sources within this many hole radii, in so many sectors. */
#define CHECK_REACH 1.4
#define SECTORS     16
/* What the light may leave unexplained there: half of the differences, and a little. */
#define LEFT_SHARE 0.5
#define LEFT_FLOOR 0.06
/* About how many samples are fitted. */
#define SAMPLES_SIDE 220u

static void basis(const UfCanvas *canvas, size_t x_px, size_t y_px, double *b)
{
    double x = 2 * ((double)x_px + 0.5) / (double)canvas->width - 1;
    double y = 2 * ((double)y_px + 0.5) / (double)canvas->height - 1;
    b[0] = 1;
    b[1] = x;
    b[2] = y;
    b[3] = x * x;
    b[4] = x * y;
    b[5] = y * y;
}

static double evaluate(const double *term, const double *b)
{
    double sum = 0;
    for (int i = 0; i < TERMS; i++)
        sum += term[i] * b[i];
    return sum;
}

/* What is fitted: the logarithms of a channel at the sources of a regular grid, row by row. */
typedef struct Samples {
    const UfCanvas *canvas;
    size_t step;
    double *value;
} Samples;

static bool samples_create(const UfCanvas *canvas, size_t c, size_t step, Samples *out)
{
    size_t count = 0;
    Samples s = {canvas, step,
                 uf_alloc((canvas->width / step + 1) * (canvas->height / step + 1), sizeof *s.value)};
    for (size_t y = step / 2; s.value != NULL && y < canvas->height; y += step)
        for (size_t x = step / 2; x < canvas->width; x += step) {
            size_t i = y * canvas->width + x;
            if (canvas->cell[i] == UF_CELL_SOURCE)
                s.value[count++] = log(fmax(canvas->value[4 * i + c], 0) + DARK);
        }
    *out = s;
    return s.value != NULL;
}

/* One weighted fit; *spread goes from the one that weighs to the one that results (0: all weigh the same). */
static bool fit_once(const Samples *s, double *term, double *spread)
{
    double a[TERMS][TERMS] = {{0}}, right[TERMS] = {0}, b[TERMS], deviation = 0, count = 0;
    const UfCanvas *canvas = s->canvas;
    const double *next = s->value;
    for (size_t y = s->step / 2; y < canvas->height; y += s->step)
        for (size_t x = s->step / 2; x < canvas->width; x += s->step) {
            if (canvas->cell[y * canvas->width + x] != UF_CELL_SOURCE)
                continue;
            basis(canvas, x, y, b);
            double value = *next++, weight = 1;
            if (*spread > 0) {
                double off = value - evaluate(term, b);
                weight = uf_tukey_weight(off / (UF_TUKEY * *spread));
                deviation += fabs(off);
            }
            count++;
            for (int j = 0; j < TERMS; j++) {
                right[j] += weight * b[j] * value;
                for (int k = 0; k <= j; k++)
                    a[j][k] += weight * b[j] * b[k];
            }
        }
    if (count < 8 * TERMS || !uf_cholesky_factorise(TERMS, a[0], 1e-9, 0))
        return false;
    uf_cholesky_solve(TERMS, a[0], right);
    memcpy(term, right, sizeof right);
    *spread = *spread > 0 ? deviation / count / MEAN_DEVIATION + 1e-4 : 1;
    return true;
}

/* The light's mean over the sources goes out of the constant term. */
static void centre(const UfCanvas *canvas, size_t step, double *term)
{
    double b[TERMS], sum = 0, count = 0;
    for (size_t y = step / 2; y < canvas->height; y += step)
        for (size_t x = step / 2; x < canvas->width; x += step)
            if (canvas->cell[y * canvas->width + x] == UF_CELL_SOURCE) {
                basis(canvas, x, y, b);
                sum += evaluate(term, b);
                count++;
            }
    term[0] -= sum / count;
}

/* Sums over a sector: of the logarithm, and of what the light leaves of it. */
typedef struct Sector {
    double value, left, count;
} Sector;

static void sum_sectors(const UfCanvas *canvas, size_t c, size_t step, double reach, const double *term,
                        Sector *sector)
{
    for (size_t y = step / 2; y < canvas->height; y += step)
        for (size_t x = step / 2; x < canvas->width; x += step) {
            size_t i = y * canvas->width + x;
            double u = (double)x + 0.5 - (double)canvas->width / 2;
            double v = (double)y + 0.5 - (double)canvas->height / 2;
            if (canvas->cell[i] != UF_CELL_SOURCE || hypot(u, v) > reach)
                continue;
            double b[TERMS];
            basis(canvas, x, y, b);
            double value = log(fmax(canvas->value[4 * i + c], 0) + DARK);
            Sector *s = &sector[(size_t)((atan2(v, u) / (2 * M_PI) + 0.5) * SECTORS) % SECTORS];
            s->value += value;
            s->left += value - evaluate(term, b);
            s->count++;
        }
}

/*
 * Whether the light explains how bright the floor is around the hole. It does not where the ring holds
 * several things (a rug, a bright island in dark water): their brightness would be taken for light and bent
 * into the hole.
 */
static bool explains(const UfCanvas *canvas, size_t c, size_t step, double reach, const double *term)
{
    Sector sector[SECTORS] = {{0}};
    sum_sectors(canvas, c, step, reach, term, sector);
    double mean = 0, count = 0, differ = 0, left = 0;
    for (int i = 0; i < SECTORS; i++)
        if (sector[i].count > 0) {
            mean += sector[i].value / sector[i].count;
            count++;
        }
    for (int i = 0; i < SECTORS; i++)
        if (sector[i].count > 0) {
            differ += pow(sector[i].value / sector[i].count - mean / count, 2);
            left += pow(sector[i].left / sector[i].count, 2);
        }
    return left <= LEFT_SHARE * differ + count * LEFT_FLOOR * LEFT_FLOOR;
}

UfStatus uf_shading_fit(const UfCanvas *canvas, int threads, UfShading *out, UfReport *report)
{
    UfShading shading = {0};
    UfBox box;
    size_t step = canvas->width / SAMPLES_SIDE + 1;
    bool is_seen = true, is_light = uf_canvas_hole_box(canvas, 0, &box), has_room = true;
#pragma omp parallel for schedule(dynamic, 1) num_threads(threads) reduction(&& : is_seen, is_light, has_room)
    for (size_t c = 0; c < 3; c++) {
        Samples samples;
        has_room = samples_create(canvas, c, step, &samples) && has_room;
        double spread = 0, reach = CHECK_REACH * (double)(box.x1 - box.x0) / 2;
        for (int round = 0; round < ROUNDS; round++)
            is_seen = is_seen && samples.value != NULL && fit_once(&samples, shading.term[c], &spread);
        is_light = is_light && is_seen && explains(canvas, c, step, reach, shading.term[c]);
        centre(canvas, step, shading.term[c]);
        free(samples.value);
    }
    if (!has_room)
        return uf_fail_memory(report);
    if (!is_seen)
        return uf_fail(report, UF_ERROR_UNCLEAR, "too little floor is seen around the cap");
    *out = is_light ? shading : (UfShading){0};
    return UF_OK;
}

/*
 * Along a row the logarithm of the light is a parabola, so from pixel to pixel the light is multiplied by a
 * factor that is itself multiplied by a constant. After 4096 pixels the error is some 1e-9.
 */
typedef struct Run {
    double light, factor, change;
} Run;

static Run run_of(const UfCanvas *canvas, const double *term, double sign, size_t x_px, size_t y_px)
{
    double b[TERMS], here, next, after;
    basis(canvas, x_px, y_px, b);
    here = evaluate(term, b);
    basis(canvas, x_px + 1, y_px, b);
    next = evaluate(term, b);
    basis(canvas, x_px + 2, y_px, b);
    after = evaluate(term, b);
    return (Run){exp(sign * here), exp(sign * (next - here)), exp(sign * (after - 2 * next + here))};
}

static void scale_run(const UfShading *shading, double sign, size_t y, size_t x0, size_t x1, UfCanvas *canvas)
{
    const double most = exp(MOST_LOG), least = 1 / most;
    Run run[3];
    float *value = canvas->value + 4 * (y * canvas->width + x0);
    for (size_t c = 0; c < 3; c++)
        run[c] = run_of(canvas, shading->term[c], sign, x0, y);
    for (size_t x = x0; x < x1; x++, value += 4)
        for (size_t c = 0; c < 3; c++) {
            double light = run[c].light < most ? run[c].light : most;
            value[c] *= (float)(light > least ? light : least);
            run[c].light *= run[c].factor;
            run[c].factor *= run[c].change;
        }
}

void uf_shading_remove(const UfShading *shading, UfBox shown, size_t y, UfCanvas *canvas)
{
    for (size_t x0, x1 = 0; uf_canvas_next_run(canvas, shown, y, &x0, &x1);)
        scale_run(shading, -1, y, x0, x1, canvas);
}

void uf_shading_restore(const UfShading *shading, UfBox shown, int threads, UfCanvas *canvas)
{
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t y = shown.y0; y < shown.y1; y++)
        scale_run(shading, 1, y, shown.x0, shown.x1, canvas);
}

/*
 * The slope at the rim of a cap.
 *
 * A sky grows darker or brighter towards the zenith, and a harmonic function cannot: at the pole it is the
 * mean of its rim. So the first orders get one term more, that of a biharmonic function (Almansi's form u +
 * (r^2 - 1) v, both harmonic; E. Almansi, Annali di Matematica 2, 1899), which takes the slope at the rim as
 * given.
 *
 * The slope is fitted on a belt outside the rim, averaged into cells: r^k (1, q, q^2) cos, sin (k lon) with
 * q = (r^2 - 1)/2, by least squares reweighted with Tukey's biweight (A. E. Beaton, J. W. Tukey,
 * Technometrics 16, 1974), so that a lamp or the sun does not count. Its standard error s is the sandwich's
 * over sectors of the belt, within which the cells may hang together as they like (K.-Y. Liang, S. L. Zeger,
 * Biometrika 73, 1986). Each order is damped by e^2/(e^2 + s^2), all channels alike, so that no colour comes
 * in: tiles and clouds leave no slope. These papers are cited from memory.
 */
#include "patch/membrane_slope.h"

#include <math.h>
#include <omp.h>

#include "base/clones.h"
#include "base/memory.h"
#include "base/report.h"
#include "base/robust.h"
#include "base/smaller.h"
#include "patch/cholesky.h"
#include "patch/rows.h"

#define LEAST_BELT_RAD (4.0 * UF_PI / 180)
#define MOST_BELT_RAD  (12.0 * UF_PI / 180)

#define ACROSS   128u /* cells round the belt */
#define SECTORS  ((size_t)16)
#define MOST_UP  24u /* cells from rim to outer edge */
#define LEAST_UP 4u
#define RADIAL   ((size_t)3)
#define ANGULAR  ((size_t)5) /* 1, cos, sin, cos 2, sin 2 */
#define TERMS    (RADIAL * ANGULAR)
#define PADDED   ((size_t)16)
#define ROUNDS   12
/* Pixels that tell a cell's mean: more of its rows are not looked at. */
#define CELL_PIXELS 3072u
/* Sums side by side: a whole number of pixels. */
#define LANES ((size_t)12)
/* A spread below which nothing is odd. */
#define SPREAD_FLOOR (0.25 / 255)
/* The fill may leave the belt's colours by so much of their span. */
#define MOST_LEAVE 1.5

typedef struct Cell {
    double value[3], weight, r, trust;
    double angular[ANGULAR]; /* 1, r cos, r sin of the longitude, r^2 cos, r^2 sin of twice that */
} Cell;

typedef struct Belt {
    size_t channels, up, across, rows; /* cells, and rows that are looked at for each */
    Cell *cells;                       /* up x across */
    double most_q;
} Belt;

static double belt_rad(const UfCap *cap)
{
    return fmin(fmax(uf_cap_outer_rad(cap) / 2, LEAST_BELT_RAD), MOST_BELT_RAD);
}

double uf_slope_farthest_rad(const UfCap *cap)
{
    return uf_cap_outer_rad(cap) + belt_rad(cap);
}

/* The column where cell `a` of a row of cells begins. */
static size_t cell_start(const Belt *belt, size_t width, size_t a)
{
    return (a * width + belt->across - 1) / belt->across;
}

static inline bool is_sound(const float *colour, float alpha, size_t channels)
{
    bool is_sound = alpha > 0;
    for (size_t c = 0; c < channels; c++)
        is_sound = is_sound && isfinite(colour[c]);
    return is_sound;
}

static void add_pixels(const float *colour, const float *alpha, size_t count, size_t channels, Cell *cell)
{
    for (size_t x = 0; x < count; x++, colour += channels) {
        if (!is_sound(colour, alpha[x], channels))
            continue;
        cell->weight += (double)alpha[x];
        for (size_t c = 0; c < channels; c++)
            cell->value[c] += (double)(alpha[x] * colour[c]);
    }
}

/* The same of 8 and 16 bits without alpha: nothing has to be looked at, and the sums are exact in whatever
 * order (multiples of 2^-39, fewer than 2^14 unless the picture is wider than 32768). */
UF_CLONES static void add_codes(const float *colour, size_t count, size_t channels, Cell *cell)
{
    double sum[LANES] = {0};
    size_t values = count * channels, whole = values / LANES * LANES;
    for (size_t i = 0; i < whole; i += LANES)
#pragma omp simd
        for (size_t j = 0; j < LANES; j++)
            sum[j] += (double)colour[i + j];
    for (size_t i = whole; i < values; i++)
        sum[i - whole] += (double)colour[i];
    for (size_t j = 0; j < LANES; j++)
        cell->value[j % channels] += sum[j];
    cell->weight += (double)count;
}

static void add_row(const Belt *belt, size_t width, const float *colour, const float *alpha, Cell *cells)
{
    for (size_t a = 0; a < belt->across; a++) {
        size_t first = cell_start(belt, width, a), count = cell_start(belt, width, a + 1) - first;
        if (alpha == NULL)
            add_codes(colour + first * belt->channels, count, belt->channels, &cells[a]);
        else
            add_pixels(colour + first * belt->channels, alpha + first, count, belt->channels, &cells[a]);
    }
}

/* Means of the cells; a weight of 1 is a cell that is picture all over. */
static void finish_cells(const Belt *belt, size_t width, double rim, double angle_rad, Cell *cells)
{
    for (size_t a = 0; a < belt->across; a++) {
        Cell *cell = &cells[a];
        size_t first = cell_start(belt, width, a), end = cell_start(belt, width, a + 1);
        double r = tan(angle_rad / 2) / rim, phase = UF_PI * (double)(first + end - 1) / (double)width;
        const double angular[ANGULAR] = {1, r * cos(phase), r * sin(phase), r * r * cos(2 * phase),
                                         r * r * sin(2 * phase)};
        cell->r = r;
        memcpy(cell->angular, angular, sizeof angular);
        for (size_t c = 0; c < belt->channels && cell->weight > 0; c++)
            cell->value[c] /= cell->weight;
        cell->weight /= (double)((end - first) * belt->rows);
        cell->trust = 1;
    }
}

static UfStatus load(const UfPicture *panorama, const UfCap *cap, const UfSlopeBelt *rings, Belt *belt,
                     UfReport *report)
{
    size_t width = cap->width_px, threads = (size_t)cap->threads;
    double rim = tan(uf_cap_outer_rad(cap) / 2);
    float *colour = uf_alloc(threads * width * belt->channels, sizeof *colour);
    float *alpha = uf_alloc(threads * width, sizeof *alpha);
    bool is_code = uf_picture_sample(panorama) != UF_SAMPLE_F32 && !uf_picture_has_alpha(panorama);
    belt->cells = uf_alloc_zero(belt->up * belt->across, sizeof *belt->cells);
    UfStatus status = UF_OK;
    if (colour == NULL || alpha == NULL || belt->cells == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
#pragma omp parallel for schedule(static) num_threads(cap->threads)
    for (size_t u = 0; u < belt->up; u++) {
        size_t thread = (size_t)omp_get_thread_num();
        size_t ring = rings->first_ring + u * rings->rings + rings->skipped;
        float *row = colour + thread * width * belt->channels;
        float *row_alpha = is_code ? NULL : alpha + thread * width;
        Cell *cells = belt->cells + u * belt->across;
        for (size_t y = 0; y < belt->rows; y++) {
            uf_row_load(panorama, uf_cap_row(cap, ring + y), row, row_alpha);
            add_row(belt, width, row, row_alpha, cells);
        }
        double middle =
            (uf_cap_ring_angle_rad(cap, ring) + uf_cap_ring_angle_rad(cap, ring + belt->rows - 1)) / 2;
        finish_cells(belt, width, rim, middle, cells);
    }
    double last = belt->cells[(belt->up - 1) * belt->across].r;
    belt->most_q = (last * last - 1) / 2;
cleanup:
    free(colour);
    free(alpha);
    return status;
}

/* The functions that are fitted; term RADIAL j + m is angular function j times q^m. */
static void terms_of(const Belt *belt, const Cell *cell, double out[TERMS])
{
    double q = (cell->r * cell->r - 1) / 2 / belt->most_q;
    for (size_t j = 0; j < ANGULAR; j++)
        for (size_t m = 0; m < RADIAL; m++)
            out[j * RADIAL + m] = cell->angular[j] * (m == 0 ? 1 : m == 1 ? q : q * q);
}

/* Sums of products of the terms, and of terms and values; rows are as long as a vector's multiple. */
typedef struct Sums {
    double terms[TERMS][PADDED], values[3][PADDED];
} Sums;

UF_CLONES static void add_cells(const Belt *belt, Sums *sums)
{
    double t[PADDED] = {0}, weighted[PADDED];
    for (size_t i = 0; i < belt->up * belt->across; i++) {
        const Cell *cell = &belt->cells[i];
        double w = cell->weight * cell->trust;
        if (!(w > 0))
            continue;
        terms_of(belt, cell, t);
#pragma omp simd
        for (size_t a = 0; a < PADDED; a++)
            weighted[a] = w * t[a];
        for (size_t a = 0; a < TERMS; a++)
#pragma omp simd
            for (size_t b = 0; b < PADDED; b++)
                sums->terms[a][b] += weighted[a] * t[b];
        for (size_t c = 0; c < belt->channels; c++)
#pragma omp simd
            for (size_t a = 0; a < PADDED; a++)
                sums->values[c][a] += weighted[a] * cell->value[c];
    }
}

/* Weighted least squares: the matrix factorised, and the terms of each channel. */
static bool fit(const Belt *belt, double l[TERMS][TERMS], double x[3][TERMS])
{
    Sums sums = {.terms = {{0}}};
    add_cells(belt, &sums);
    for (size_t a = 0; a < TERMS; a++)
        memcpy(l[a], sums.terms[a], sizeof l[a]);
    for (size_t c = 0; c < 3; c++)
        memcpy(x[c], sums.values[c], sizeof x[c]);
    if (!uf_cholesky_factorise(TERMS, l[0], 0, 1e-9))
        return false;
    for (size_t c = 0; c < belt->channels; c++)
        uf_cholesky_solve(TERMS, l[0], x[c]);
    return true;
}

static void residuals(const Belt *belt, const Cell *cell, double x[3][TERMS], double t[TERMS], double out[3])
{
    terms_of(belt, cell, t);
    memcpy(out, cell->value, sizeof cell->value);
    for (size_t a = 0; a < TERMS; a++)
        for (size_t c = 0; c < belt->channels; c++)
            out[c] -= x[c][a] * t[a];
}

/* Tukey's weights about the fit; the spread is the median of the residuals, over all channels at once. */
static void trust_cells(const Belt *belt, double x[3][TERMS], double *far, double *sorted)
{
    size_t count = belt->up * belt->across, seen = 0;
    double t[TERMS], r[3];
    for (size_t i = 0; i < count; i++) {
        residuals(belt, &belt->cells[i], x, t, r);
        far[i] = 0;
        for (size_t c = 0; c < belt->channels; c++)
            far[i] = fmax(far[i], fabs(r[c]));
        if (belt->cells[i].weight > 0)
            sorted[seen++] = far[i];
    }
    double limit = UF_TUKEY * fmax(SPREAD_FLOOR, uf_robust_spread(sorted, seen));
    for (size_t i = 0; i < count; i++)
        belt->cells[i].trust = uf_tukey_weight(far[i] / limit);
}

/* Variance of every term, summed over the channels. */
static void variances(const Belt *belt, double l[TERMS][TERMS], double x[3][TERMS], double out[TERMS])
{
    double t[TERMS], r[3];
    memset(out, 0, TERMS * sizeof *out);
    for (size_t s = 0; s < SECTORS; s++) {
        double score[3][TERMS] = {{0}};
        for (size_t i = 0; i < belt->up * belt->across; i++) {
            const Cell *cell = &belt->cells[i];
            if (i % belt->across * SECTORS / belt->across != s)
                continue;
            residuals(belt, cell, x, t, r);
            for (size_t c = 0; c < belt->channels; c++)
                for (size_t a = 0; a < TERMS; a++)
                    score[c][a] += cell->weight * cell->trust * t[a] * r[c];
        }
        for (size_t c = 0; c < belt->channels; c++) {
            uf_cholesky_solve(TERMS, l[0], score[c]);
            for (size_t a = 0; a < TERMS; a++)
                out[a] += score[c][a] * score[c][a] * SECTORS / (SECTORS - ANGULAR);
        }
    }
}

/* Slopes, damped by what they are known to. */
static void slopes_of(const Belt *belt, double x[3][TERMS], const double variance[TERMS], UfSlope *out)
{
    const double unit = 1 / belt->most_q;
    for (size_t k = 0; k < UF_SLOPE_ORDERS; k++) {
        size_t cosine = (k == 0 ? 0 : 2 * k - 1) * RADIAL + 1, sine = cosine + RADIAL;
        double signal = 0, noise = variance[cosine] + (k > 0 ? variance[sine] : 0);
        for (size_t c = 0; c < belt->channels; c++)
            signal += x[c][cosine] * x[c][cosine] + (k > 0 ? x[c][sine] * x[c][sine] : 0);
        double kept = signal > 0 ? signal / (signal + noise) : 0;
        for (size_t c = 0; c < belt->channels; c++) {
            out->excess[c][k][0] = kept * unit * x[c][cosine] / (k > 0 ? 2 : 1);
            out->excess[c][k][1] = k > 0 ? -kept * unit * x[c][sine] / 2 : 0;
        }
    }
}

/* The most that the slopes add anywhere: r^k (1 - r^2)/2 is largest at r^2 = k/(k + 2). */
static double most_added(const UfSlope *slope, size_t c)
{
    const double most[UF_SLOPE_ORDERS] = {0.5, 0.19245, 0.125};
    double sum = 0;
    for (size_t k = 0; k < UF_SLOPE_ORDERS; k++)
        sum += (k > 0 ? 2 : 1) * most[k] * hypot(slope->excess[c][k][0], slope->excess[c][k][1]);
    return sum;
}

/* Keeps the fill near the colours of the belt, and above black. */
static void limit(const Belt *belt, UfSlope *slope)
{
    double share = 1;
    for (size_t c = 0; c < belt->channels; c++) {
        double low = INFINITY, high = -INFINITY, added = most_added(slope, c);
        for (size_t i = 0; i < belt->up * belt->across; i++) {
            const Cell *cell = &belt->cells[i];
            if (cell->weight > 0 && cell->trust > 0) {
                low = fmin(low, cell->value[c]);
                high = fmax(high, cell->value[c]);
            }
        }
        double allowed = MOST_LEAVE * (high - low);
        if (low >= 0)
            allowed = fmin(allowed, low);
        if (added > allowed)
            share = fmin(share, allowed / added);
    }
    for (size_t c = 0; c < belt->channels; c++)
        for (size_t k = 0; k < UF_SLOPE_ORDERS; k++)
            for (size_t i = 0; i < 2; i++)
                slope->excess[c][k][i] *= share;
}

static void estimate(const Belt *belt, double *far, double *sorted, UfSlope *out)
{
    double l[TERMS][TERMS], x[3][TERMS], variance[TERMS];
    for (int round = 0; round < ROUNDS; round++) {
        if (!fit(belt, l, x))
            return;
        trust_cells(belt, x, far, sorted);
    }
    if (!fit(belt, l, x))
        return;
    variances(belt, l, x, variance);
    slopes_of(belt, x, variance, out);
    limit(belt, out);
}

static size_t cells_across(const UfCap *cap)
{
    return uf_smaller(cap->width_px, ACROSS);
}

UfSlopeBelt uf_slope_belt(const UfCap *cap)
{
    const size_t first = uf_cap_ring_count(cap, uf_cap_outer_rad(cap));
    const size_t end = uf_cap_ring_count(cap, uf_slope_farthest_rad(cap));
    UfSlopeBelt belt = {.first_ring = first, .up = uf_smaller(end - first, MOST_UP)};
    if (belt.up < LEAST_UP || cells_across(cap) < 2 * SECTORS)
        return (UfSlopeBelt){0};
    const size_t enough = uf_larger(CELL_PIXELS * cells_across(cap) / cap->width_px, 1);
    belt.rings = (end - first) / belt.up;
    belt.looked_at = uf_smaller(belt.rings, enough);
    belt.skipped = (belt.rings - belt.looked_at) / 2;
    return belt;
}

UfStatus uf_slope_read(const UfPicture *panorama, const UfCap *cap, UfSlope *out, UfReport *report)
{
    UfSlope slope = {0};
    const UfSlopeBelt rings = uf_slope_belt(cap);
    Belt belt = {.channels = uf_colour_channels(panorama),
                 .across = cells_across(cap),
                 .up = rings.up,
                 .rows = rings.looked_at};
    if (belt.up == 0) {
        *out = slope;
        return UF_OK;
    }
    double *far = uf_alloc(2 * belt.up * belt.across, sizeof *far);
    UfStatus status = far == NULL ? uf_fail_memory(report) : load(panorama, cap, &rings, &belt, report);
    if (status == UF_OK) {
        estimate(&belt, far, far + belt.up * belt.across, &slope);
        *out = slope;
    }
    free(far);
    free(belt.cells);
    return status;
}

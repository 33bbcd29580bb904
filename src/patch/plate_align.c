/*
 * Refinement on intensities: Gauss and Newton on the eight parameters of a homography near the identity,
 * composed with the map (S. Baker, I. Matthews, Lucas-Kanade 20 Years On, IJCV 56(3), 2004, section 3.2), on
 * pictures whose light and contrast have been taken out (as the correlation of G. Evangelidis, E. Psarakis,
 * IEEE TPAMI 30(10), 2008, does not see them), with Cauchy's weights, so that what stands in only one of them
 * (a leg, a shoe) does not pull.
 */
#include "patch/plate_align.h"

#include <math.h>

#include "base/memory.h"

#define PARAMETERS   ((size_t)8)
#define ROUNDS       6
#define LEAST_PIXELS 200
#define CAUCHY       1.0

typedef struct Sums {
    double a[PARAMETERS * PARAMETERS], b[PARAMETERS];
    size_t count;
} Sums;

/* Coordinates about the middle, -1..1 or so, for a well-conditioned system. */
typedef struct Frame {
    double cx, cy, size;
} Frame;

/* Bilinear value and its slopes. */
static bool gradient_at(const UfGrey *g, UfSpot at, double *value, double *gx, double *gy)
{
    double u = at.x - 0.5, v = at.y - 0.5;
    if (!(u >= 0 && v >= 0 && u < (double)g->width - 1 && v < (double)g->height - 1))
        return false;
    size_t x = (size_t)u, y = (size_t)v, i = y * g->width + x;
    if (!(g->known[i] & g->known[i + 1] & g->known[i + g->width] & g->known[i + g->width + 1]))
        return false;
    u -= (double)x;
    v -= (double)y;
    double a = (double)g->value[i], b = (double)g->value[i + 1];
    double c = (double)g->value[i + g->width], d = (double)g->value[i + g->width + 1];
    *gx = (b - a) * (1 - v) + (d - c) * v;
    *gy = (c - a) * (1 - u) + (d - b) * u;
    *value = a + u * (b - a) + v * *gy;
    return true;
}

static void add_row(const UfGrey *still, const UfGrey *moved, const UfHomography *d, const Frame *f, size_t y,
                    Sums *sums)
{
    for (size_t x = 0; x < still->width; x++) {
        size_t i = y * still->width + x;
        UfSpot here = {(double)x + 0.5, (double)y + 0.5}, at;
        double value, gx, gy;
        if (!still->known[i] || !uf_homography_apply(d, here, &at) ||
            !gradient_at(moved, at, &value, &gx, &gy))
            continue;
        double u = (here.x - f->cx) / f->size, v = (here.y - f->cy) / f->size;
        double off = (double)still->value[i] - value;
        double weight = 1 / (1 + off * off / (CAUCHY * CAUCHY));
        gx *= f->size;
        gy *= f->size;
        double along = -(gx * u + gy * v);
        const double row[PARAMETERS] = {gx * u, gx * v, gx, gy * u, gy * v, gy, along * u, along * v};
        for (size_t j = 0; j < PARAMETERS; j++) {
            for (size_t k = 0; k <= j; k++)
                sums->a[j * PARAMETERS + k] += weight * row[j] * row[k];
            sums->b[j] += weight * row[j] * off;
        }
        sums->count++;
    }
}

/* The sums of all rows, each row's by itself and then in order: the same with any number of threads. */
static bool gather(const UfGrey *still, const UfGrey *moved, const UfHomography *d, const Frame *f,
                   int threads, Sums *out)
{
    Sums *rows = uf_alloc_zero(still->height, sizeof *rows);
    if (rows == NULL)
        return false;
#pragma omp parallel for num_threads(threads) schedule(dynamic, 8)
    for (size_t y = 0; y < still->height; y++)
        add_row(still, moved, d, f, y, &rows[y]);
    memset(out, 0, sizeof *out);
    for (size_t y = 0; y < still->height; y++) {
        for (size_t i = 0; i < PARAMETERS * PARAMETERS; i++)
            out->a[i] += rows[y].a[i];
        for (size_t i = 0; i < PARAMETERS; i++)
            out->b[i] += rows[y].b[i];
        out->count += rows[y].count;
    }
    free(rows);
    for (size_t j = 0; j < PARAMETERS; j++)
        for (size_t k = 0; k < j; k++)
            out->a[k * PARAMETERS + j] = out->a[j * PARAMETERS + k];
    return out->count >= LEAST_PIXELS;
}

/* The step in the frame's coordinates as a homography of pixels. */
static bool step_of(const double p[PARAMETERS], const Frame *f, UfHomography *out)
{
    UfHomography back, unit = {{{1 + p[0], p[1], p[2]}, {p[3], 1 + p[4], p[5]}, {p[6], p[7], 1}}};
    UfHomography to = uf_homography_scaling(1 / f->size, -f->cx / f->size, -f->cy / f->size);
    if (!uf_homography_inverse(&to, &back))
        return false;
    unit = uf_homography_product(&unit, &to);
    *out = uf_homography_product(&back, &unit);
    return true;
}

/* How far the corners of the middle half move: what lies outside is hardly seen. */
static double motion(const UfHomography *h, const Frame *f)
{
    double most = 0;
    for (int k = 0; k < 4; k++) {
        UfSpot at = {f->cx + (k & 1 ? 0.7 : -0.7) * f->size, f->cy + (k & 2 ? 0.7 : -0.7) * f->size}, to;
        if (!uf_homography_apply(h, at, &to))
            return INFINITY;
        most = fmax(most, hypot(to.x - at.x, to.y - at.y));
    }
    return most;
}

bool uf_plate_align(const UfGrey *still, const UfGrey *moved, int threads, UfHomography *correction,
                    double *step_px)
{
    double width = (double)still->width, height = (double)still->height;
    Frame f = {width / 2, height / 2, fmax(fmax(width, height), 2) / 2};
    UfHomography d = uf_homography_identity();
    for (int k = 0; k < ROUNDS; k++) {
        Sums sums;
        UfHomography step;
        if (!gather(still, moved, &d, &f, threads, &sums))
            return false;
        double scale = 0;
        for (size_t i = 0; i < PARAMETERS; i++)
            scale = fmax(scale, sums.a[i * (PARAMETERS + 1)]);
        for (size_t i = 0; i < PARAMETERS; i++) /* a little damping, for floors with lines one way only */
            sums.a[i * (PARAMETERS + 1)] += 1e-5 * scale;
        for (size_t i = 0; i < PARAMETERS * PARAMETERS; i++)
            sums.a[i] /= scale > 0 ? scale : 1;
        for (size_t i = 0; i < PARAMETERS; i++)
            sums.b[i] /= scale > 0 ? scale : 1;
        if (!uf_solve_linear(PARAMETERS, sums.a, sums.b) || !step_of(sums.b, &f, &step))
            return false;
        d = uf_homography_product(&d, &step);
        if (motion(&step, &f) < 0.01)
            break;
    }
    *step_px = motion(&d, &f);
    if (!isfinite(*step_px) || *step_px > 0.25 * f.size)
        return false;
    *correction = d;
    return true;
}

/* Over one box. */
static double correlate(const UfGrey *a, const UfGrey *b, size_t x0, size_t y0, size_t x1, size_t y1, long dx,
                        long dy, size_t *count)
{
    double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (size_t y = y0; y < y1; y++)
        for (size_t x = x0; x < x1; x++) {
            long u = (long)x + dx, v = (long)y + dy;
            if (u < 0 || v < 0 || u >= (long)b->width || v >= (long)b->height)
                continue;
            size_t i = y * a->width + x, j = (size_t)v * b->width + (size_t)u;
            if (!(a->known[i] & b->known[j]))
                continue;
            double p = (double)a->value[i], q = (double)b->value[j];
            n++;
            sa += p;
            sb += q;
            saa += p * p;
            sbb += q * q;
            sab += p * q;
        }
    *count = (size_t)n;
    double va = n * saa - sa * sa, vb = n * sbb - sb * sb;
    return va > 0 && vb > 0 ? (n * sab - sa * sb) / sqrt(va * vb) : 0;
}

double uf_plate_correlation(const UfGrey *a, const UfGrey *b, size_t *count)
{
    return correlate(a, b, 0, 0, a->width, a->height, 0, 0, count);
}

#define LEAST_LIKENESS 0.3
#define MOST_REACH     4

/* A piece's best place, and what of a shift its detail would show: d A d. */
typedef struct Shift {
    double dx, dy, xx, xy, yy;
    bool is_known;
} Shift;

static void add_structure(const UfGrey *g, size_t x0, size_t y0, size_t x1, size_t y1, Shift *out)
{
    for (size_t y = y0; y < y1; y++)
        for (size_t x = x0; x < x1; x++) {
            size_t i = y * g->width + x;
            if (x < 1 || y < 1 || x + 1 >= g->width || y + 1 >= g->height ||
                !(g->known[i - 1] & g->known[i + 1] & g->known[i - g->width] & g->known[i + g->width]))
                continue;
            double gx = (double)(g->value[i + 1] - g->value[i - 1]);
            double gy = (double)(g->value[i + g->width] - g->value[i - g->width]);
            out->xx += gx * gx;
            out->xy += gx * gy;
            out->yy += gy * gy;
        }
}

static Shift shift_of(const UfGrey *still, const UfGrey *moved, size_t x0, size_t y0, size_t piece, int reach)
{
    double score[2 * MOST_REACH + 1][2 * MOST_REACH + 1] = {{0}};
    size_t x1 = x0 + piece < still->width ? x0 + piece : still->width;
    size_t y1 = y0 + piece < still->height ? y0 + piece : still->height, count;
    Shift out = {.is_known = false};
    int bx = 0, by = 0;
    correlate(still, moved, x0, y0, x1, y1, 0, 0, &count);
    if (count < piece * piece / 2)
        return out;
    for (int v = -reach; v <= reach; v++)
        for (int u = -reach; u <= reach; u++)
            score[v + reach][u + reach] = correlate(still, moved, x0, y0, x1, y1, u, v, &count);
    for (int v = -reach; v <= reach; v++)
        for (int u = -reach; u <= reach; u++)
            if (score[v + reach][u + reach] > score[by + reach][bx + reach]) {
                bx = u;
                by = v;
            }
    double best = score[by + reach][bx + reach];
    out.is_known = best >= LEAST_LIKENESS;
    out.dx = bx;
    out.dy = by;
    add_structure(still, x0, y0, x1, y1, &out);
    if (!out.is_known || abs(bx) == reach || abs(by) == reach)
        return out;
    double left = score[by + reach][bx + reach - 1], right = score[by + reach][bx + reach + 1];
    double up = score[by + reach - 1][bx + reach], down = score[by + reach + 1][bx + reach];
    double cx = 2 * best - left - right, cy = 2 * best - up - down;
    out.dx += cx > 1e-6 ? (right - left) / (2 * cx) : 0;
    out.dy += cy > 1e-6 ? (down - up) / (2 * cy) : 0;
    return out;
}

double uf_plate_shifts(const UfGrey *still, const UfGrey *moved, size_t piece, int reach, int threads)
{
    size_t columns = still->width / piece, rows = still->height / piece;
    Shift *shifts = uf_alloc(columns * rows, sizeof *shifts);
    double sum = 0, total = 0;
    if (shifts == NULL)
        return -1;
    reach = reach < MOST_REACH ? reach : MOST_REACH;
#pragma omp parallel for num_threads(threads) schedule(dynamic, 1)
    for (size_t i = 0; i < columns * rows; i++)
        shifts[i] = shift_of(still, moved, i % columns * piece, i / columns * piece, piece, reach);
    for (size_t i = 0; i < columns * rows; i++) {
        const Shift *s = &shifts[i];
        if (!s->is_known)
            continue;
        sum += s->xx * s->dx * s->dx + 2 * s->xy * s->dx * s->dy + s->yy * s->dy * s->dy;
        total += (s->xx + s->yy) / 2; /* detail alike in all directions shows a shift's whole square */
    }
    free(shifts);
    return total > 0 ? sqrt(sum / total) : -1;
}

/*
 * The mean squared difference between the floor and itself shifted by d, over the pixels where both are
 * known,
 *
 *     D(d) = sum m(x) m(x+d) (f(x) - f(x+d))^2 / sum m(x) m(x+d),
 *
 * for all d at once: expanded, it is three correlations, done with FFTs. Its deepest local minima are the
 * floor's own repeats. That few shifts explain most of a picture's self-similarity: K. He, J. Sun, Statistics
 * of Patch Offsets for Image Completion, ECCV 2012.
 */
#include "patch/repeats.h"

#include <fftw3.h>
#include <math.h>

#include "base/memory.h"

/* Shifts shorter than this say that the picture is smooth, not that it repeats. */
#define MIN_SHIFT 6
/* Share of the known pixels that must overlap, and what is still called alike. */
#define MIN_OVERLAP 0.08
#define MAX_SCORE   0.9
/* No second minimum within this distance of a better one. */
#define APART 3

/* Transforms that are asked for: of the mask, and of each channel's values and their squares. */
enum { MASK = 0, VALUE, SQUARE = VALUE + 3, TRANSFORMS = SQUARE + 3 };

/* Each array holds a real field, its rows padded to `stride`, and after its transform that, in its place. */
typedef struct Field {
    int width, height; /* of the padded transforms */
    size_t stride;
    double *at[TRANSFORMS];
    double *cross, *overlap; /* of these arrays those that hold the sums of all shifts in the end */
} Field;

static void field_clear(Field *f)
{
    for (int k = 0; k < TRANSFORMS; k++)
        fftw_free(f->at[k]);
}

static bool field_allocate(Field *f)
{
    bool good = true;
    f->stride = 2 * ((size_t)f->width / 2 + 1);
    for (int k = 0; k < TRANSFORMS; k++)
        good = (f->at[k] = fftw_alloc_real(f->stride * (size_t)f->height)) != NULL && good;
    return good;
}

static bool is_source(const UfCanvas *canvas, size_t i)
{
    return canvas->cell[i] == UF_CELL_SOURCE;
}

static double source_mean(const UfCanvas *canvas, size_t c)
{
    double sum = 0, count = 0;
    for (size_t i = 0; i < canvas->width * canvas->height; i++)
        if (is_source(canvas, i)) {
            sum += canvas->value[4 * i + c];
            count++;
        }
    return count > 0 ? sum / count : 0;
}

/* The mask m, m (f - mean) or m (f - mean)^2 of a channel. */
static void lay_out(const Field *f, const UfCanvas *canvas, int which)
{
    size_t c = which == MASK ? 0 : (size_t)(which - VALUE) % 3;
    double mean = source_mean(canvas, c), *out = f->at[which];
    memset(out, 0, f->stride * (size_t)f->height * sizeof *out);
    for (size_t y = 0; y < canvas->height; y++)
        for (size_t x = 0; x < canvas->width; x++) {
            size_t i = y * canvas->width + x;
            double v = canvas->value[4 * i + c] - mean;
            if (is_source(canvas, i))
                out[y * f->stride + x] = which == MASK ? 1 : which < SQUARE ? v : v * v;
        }
}

/*
 * The spectrum of all channels' sums of squared differences takes the place of the first squares, that of the
 * overlap the place of the mask: f^2 against m, m against f^2, and -2 f against f; together real, as
 * D(d) = D(-d). Both are divided by the number of cells, as FFTW's way back is not.
 */
static void correlate(const Field *f)
{
    double scale = 1 / ((double)f->width * (double)f->height);
    for (size_t i = 0; i < f->stride * (size_t)f->height; i += 2) {
        double *mask = f->at[MASK] + i, *out = f->at[SQUARE] + i, sum = 0;
        for (int c = 0; c < 3; c++) {
            const double *value = f->at[VALUE + c] + i, *square = f->at[SQUARE + c] + i;
            double squares = square[0] * mask[0] + square[1] * mask[1];
            sum += 2 * (squares - value[0] * value[0] - value[1] * value[1]);
        }
        out[0] = sum * scale;
        mask[0] = (mask[0] * mask[0] + mask[1] * mask[1]) * scale;
        out[1] = mask[1] = 0;
    }
}

/* false when FFTW has no memory */
static bool transform_all(Field *f, const UfCanvas *canvas, int threads)
{
    fftw_complex *first = (fftw_complex *)(void *)f->at[MASK];
    fftw_plan there = fftw_plan_dft_r2c_2d(f->height, f->width, f->at[MASK], first, FFTW_ESTIMATE);
    fftw_plan back = fftw_plan_dft_c2r_2d(f->height, f->width, first, f->at[MASK], FFTW_ESTIMATE);
    bool good = there != NULL && back != NULL;
    if (good) {
#pragma omp parallel for schedule(dynamic, 1) num_threads(threads)
        for (int k = 0; k < TRANSFORMS; k++) {
            lay_out(f, canvas, k);
            fftw_execute_dft_r2c(there, f->at[k], (fftw_complex *)(void *)f->at[k]);
        }
        correlate(f);
#pragma omp parallel for schedule(dynamic, 1) num_threads(threads)
        for (int k = MASK; k <= SQUARE; k += SQUARE)
            fftw_execute_dft_c2r(back, (fftw_complex *)(void *)f->at[k], f->at[k]);
        f->overlap = f->at[MASK];
        f->cross = f->at[SQUARE];
    }
    fftw_destroy_plan(there);
    fftw_destroy_plan(back);
    return good;
}

/* The sums become means, where enough overlaps. */
static void divide_by_overlap(const Field *f)
{
    double least = MIN_OVERLAP * f->overlap[0];
    for (size_t i = 0; i < f->stride * (size_t)f->height; i++)
        f->cross[i] = f->overlap[i] < least ? INFINITY : f->cross[i] / f->overlap[i];
}

/* -width < dx < width, and so the rows */
static double difference(const Field *f, int dx, int dy)
{
    int x = dx < 0 ? dx + f->width : dx, y = dy < 0 ? dy + f->height : dy;
    return f->cross[(size_t)y * f->stride + (size_t)x];
}

static bool is_minimum(const Field *f, int dx, int dy)
{
    double here = difference(f, dx, dy);
    if (!isfinite(here))
        return false;
    for (int y = -1; y <= 1; y++)
        for (int x = -1; x <= 1; x++)
            if ((x != 0 || y != 0) && difference(f, dx + x, dy + y) < here)
                return false;
    return true;
}

/* Puts a shift into a sorted list of at most `limit`, whose members stay apart. */
static void insert(UfRepeats *list, size_t limit, int dx, int dy, float score)
{
    for (size_t i = 0; i < list->count; i++)
        if (abs(list->shift[i].dx - dx) <= APART && abs(list->shift[i].dy - dy) <= APART &&
            list->score[i] <= score)
            return;
    if (list->count == limit && list->score[limit - 1] <= score)
        return;
    size_t at = list->count < limit ? list->count++ : limit - 1;
    for (; at > 0 && list->score[at - 1] > score; at--) {
        list->shift[at] = list->shift[at - 1];
        list->score[at] = list->score[at - 1];
    }
    list->shift[at] = (UfShift){dx, dy};
    list->score[at] = score;
}

/* The best shifts of a length in [shortest, longest). */
static void pick(const Field *f, const UfCanvas *canvas, double variance, double shortest, double longest,
                 UfRepeats *out)
{
    int reach_x = (int)canvas->width - 1, reach_y = (int)canvas->height - 1;
    UfRepeats list = {0};
    for (int dy = -reach_y; dy <= reach_y; dy++)
        for (int dx = -reach_x; dx <= reach_x; dx++) {
            double length = hypot(dx, dy);
            if (length < shortest || length >= longest || !is_minimum(f, dx, dy))
                continue;
            double score = fmax(0, difference(f, dx, dy)) / (2 * variance);
            if (score < MAX_SCORE)
                insert(&list, UF_MAX_REPEATS / 2, dx, dy, (float)score);
        }
    for (size_t i = 0; i < list.count && out->count < UF_MAX_REPEATS; i++) {
        out->shift[out->count] = list.shift[i];
        out->score[out->count++] = list.score[i];
    }
}

/* A shift longer than this leads out of the hole from its very middle. */
static double hole_radius(const UfCanvas *canvas)
{
    UfBox box;
    if (!uf_canvas_hole_box(canvas, 0, &box))
        return MIN_SHIFT;
    double radius = (double)(box.x1 - box.x0 > box.y1 - box.y0 ? box.x1 - box.x0 : box.y1 - box.y0) / 2;
    return radius > MIN_SHIFT ? radius : MIN_SHIFT;
}

static double variance_of(const UfCanvas *canvas)
{
    double sum = 0, count = 0;
    for (size_t c = 0; c < 3; c++) {
        double mean = source_mean(canvas, c);
        for (size_t i = 0; i < canvas->width * canvas->height; i++)
            if (is_source(canvas, i)) {
                double v = canvas->value[4 * i + c] - mean;
                sum += v * v;
                count += c == 0;
            }
    }
    return count > 0 ? sum / count : 0;
}

/* The next size without a large prime factor, of which transforms are slow. */
static int smooth_size(int size)
{
    for (;; size++) {
        int rest = size;
        for (int prime = 2; prime <= 7; prime++)
            while (rest % prime == 0)
                rest /= prime;
        if (rest == 1)
            return size;
    }
}

UfStatus uf_repeats_find(const UfCanvas *canvas, int threads, UfRepeats *out, UfReport *report)
{
    Field f = {.width = smooth_size((int)(2 * canvas->width)),
               .height = smooth_size((int)(2 * canvas->height))};
    UfRepeats found = {0};
    double variance = variance_of(canvas);
    if (!field_allocate(&f) || (variance > 0 && !transform_all(&f, canvas, threads))) {
        field_clear(&f);
        return uf_fail_memory(report);
    }
    if (variance > 0) {
        divide_by_overlap(&f);
        double radius = hole_radius(canvas);
        pick(&f, canvas, variance, radius, INFINITY, &found);
        pick(&f, canvas, variance, MIN_SHIFT, radius, &found);
    }
    field_clear(&f);
    *out = found;
    return UF_OK;
}

/* Mean squared difference on a regular grid of about 4000 sample points. */
static double sampled_difference(const UfCanvas *canvas, UfShift shift)
{
    size_t step = canvas->width / 64 + 1;
    double sum = 0, count = 0;
    for (size_t y = step / 2; y < canvas->height; y += step)
        for (size_t x = step / 2; x < canvas->width; x += step) {
            long sx = (long)x + shift.dx, sy = (long)y + shift.dy;
            if (sx < 0 || sy < 0 || sx >= (long)canvas->width || sy >= (long)canvas->height)
                continue;
            size_t i = y * canvas->width + x;
            size_t j = (size_t)sy * canvas->width + (size_t)sx;
            if (!is_source(canvas, i) || !is_source(canvas, j))
                continue;
            for (size_t c = 0; c < 3; c++) {
                double d = canvas->value[4 * i + c] - canvas->value[4 * j + c];
                sum += d * d;
            }
            count++;
        }
    return count > 0 ? sum / count : INFINITY;
}

void uf_repeats_double(const UfCanvas *canvas, int threads, UfRepeats *repeats)
{
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t i = 0; i < repeats->count; i++) {
        UfShift base = {2 * repeats->shift[i].dx, 2 * repeats->shift[i].dy};
        UfShift best = base;
        double least = INFINITY;
        for (int k = 0; k < 9; k++) {
            UfShift s = {base.dx + k % 3 - 1, base.dy + k / 3 - 1};
            double d = sampled_difference(canvas, s);
            if (d < least) {
                least = d;
                best = s;
            }
        }
        repeats->shift[i] = best;
    }
}

void uf_repeats_halve(const UfRepeats *repeats, UfRepeats *out)
{
    *out = *repeats;
    for (size_t i = 0; i < out->count; i++) {
        out->shift[i].dx = (int)lrint(out->shift[i].dx / 2.0);
        out->shift[i].dy = (int)lrint(out->shift[i].dy / 2.0);
    }
}

/*
 * The Poisson equation by multigrid: red-black Gauss-Seidel, sums of residuals down, bilinear corrections up.
 * On its way down and up a level is gone through once: each stage follows a row behind the one before it.
 */
#include "patch/poisson.h"

#include <omp.h>
#include <stdbool.h>

#include "base/memory.h"
#include "base/smaller.h"
#include "patch/four.h"

#define MAX_LEVELS           16
#define SWEEPS               2
#define COARSEST_HALF_SWEEPS 120
#define COARSEST_SIDE        8u
/* All red cells, all black ones, and again; and residuals before the way down or corrections after it. */
#define STAGES (2 * SWEEPS + 1)
/* Rows of which a thread does the most at once, even. */
#define LEAST_ROWS 64u

/* Level 0 is the caller's; on the others u is a correction, 0 outside the hole. */
typedef struct Level {
    size_t width, height, stride; /* of u's rows, in cells; those of the others are `width` apart */
    const uint8_t *is_hole;
    float *u;
    const float *f;
    float hold;
    uint8_t *own_hole; /* what is to be freed */
    float *own_u, *own_f;
} Level;

static float *value_at(const Level *l, size_t x, size_t y)
{
    return l->u + 4 * (y * l->stride + x);
}

/* The sum of a cell's neighbours inside the rectangle, and how many they are: nearly always four. */
static UfFour sum_around(const Level *l, size_t x, size_t y, float *count)
{
    const float *u = value_at(l, x, y);
    UfFour sum = {0};
    *count = 0;
    if (x > 0) {
        sum += uf_four_load(u - 4);
        ++*count;
    }
    if (x + 1 < l->width) {
        sum += uf_four_load(u + 4);
        ++*count;
    }
    if (y > 0) {
        sum += uf_four_load(u - 4 * l->stride);
        ++*count;
    }
    if (y + 1 < l->height) {
        sum += uf_four_load(u + 4 * l->stride);
        ++*count;
    }
    return sum;
}

static inline UfFour sum_inside(const float *u, size_t stride)
{
    return uf_four_load(u - 4) + uf_four_load(u + 4) + uf_four_load(u - 4 * stride) +
           uf_four_load(u + 4 * stride);
}

/* The cells of one colour: a row's at the rectangle's edge one by one. */
static void relax_row(const Level *l, size_t y, size_t colour)
{
    const uint8_t *is_hole = l->is_hole + y * l->width;
    const float *f = l->f + 4 * y * l->width;
    const UfFour share = uf_four_of(1 / (4 + l->hold));
    bool is_edge = y == 0 || y + 1 == l->height;
    for (size_t x = (y + colour) % 2; x < l->width; x += 2) {
        if (!is_hole[x])
            continue;
        float *u = value_at(l, x, y);
        if (!is_edge && x > 0 && x + 1 < l->width) {
            uf_four_store(u, (sum_inside(u, l->stride) - uf_four_load(f + 4 * x)) * share);
        } else {
            float count;
            UfFour sum = sum_around(l, x, y, &count);
            uf_four_store(u, (sum - uf_four_load(f + 4 * x)) / uf_four_of(count + l->hold));
        }
    }
}

/* f - (Laplace(u) - hold u) of one cell. */
static inline UfFour residual(const Level *l, size_t x, size_t y)
{
    float count = 4;
    const float *u = value_at(l, x, y);
    bool is_inside = x > 0 && y > 0 && x + 1 < l->width && y + 1 < l->height;
    UfFour sum = is_inside ? sum_inside(u, l->stride) : sum_around(l, x, y, &count);
    return uf_four_load(l->f + 4 * (y * l->width + x)) - sum + uf_four_of(count + l->hold) * uf_four_load(u);
}

/*
 * A coarse cell's right side is the sum of its four residuals: the mean, times the square of the doubled
 * step. Rows in order: the first of two finds the coarse one empty.
 */
static void restrict_row(const Level *fine, const Level *coarse, size_t y)
{
    float *sums = coarse->own_f + 4 * (y / 2) * coarse->width;
    const uint8_t *is_hole = fine->is_hole + y * fine->width;
    if (y % 2 == 0) {
        memset(sums, 0, coarse->width * 4 * sizeof *sums);
        memset(coarse->own_u + 4 * (y / 2) * coarse->width, 0, coarse->width * 4 * sizeof *sums);
    }
    for (size_t x = 0; x < fine->width; x++)
        if (is_hole[x]) {
            float *sum = sums + 4 * (x / 2);
            uf_four_store(sum, uf_four_load(sum) + residual(fine, x, y));
        }
}

/* Bilinear: 9, 3, 3, 1 sixteenths of the four nearest coarse cells. */
static void prolong_cell(const Level *coarse, const Level *fine, size_t x, size_t y)
{
    size_t X = x / 2, Y = y / 2;
    size_t X2 = x % 2 == 0 ? (X > 0 ? X - 1 : X) : (X + 1 < coarse->width ? X + 1 : X);
    size_t Y2 = y % 2 == 0 ? (Y > 0 ? Y - 1 : Y) : (Y + 1 < coarse->height ? Y + 1 : Y);
    const float *row = value_at(coarse, 0, Y), *other = value_at(coarse, 0, Y2);
    float *u = value_at(fine, x, y);
    UfFour sides = uf_four_load(row + 4 * X2) + uf_four_load(other + 4 * X);
    UfFour sum =
        uf_four_of(9) * uf_four_load(row + 4 * X) + uf_four_of(3) * sides + uf_four_load(other + 4 * X2);
    uf_four_store(u, uf_four_load(u) + uf_four_of(1 / 16.0F) * sum);
}

static void prolong_row(const Level *coarse, const Level *fine, size_t y)
{
    for (size_t x = 0; x < fine->width; x++)
        if (fine->is_hole[y * fine->width + x])
            prolong_cell(coarse, fine, x, y);
}

/* A stage's work on one row of a level; down: sweeps, then residuals; up: corrections, then sweeps. */
static void work_row(const Level *l, const Level *coarse, bool is_down, size_t stage, size_t y)
{
    if (is_down && stage == STAGES - 1)
        restrict_row(l, coarse, y);
    else if (!is_down && stage == 0)
        prolong_row(coarse, l, y);
    else
        relax_row(l, y, (is_down ? stage : stage - 1) % 2);
}

/*
 * All stages on a level. A stage's row asks that the stage before has done it and the rows beside it, and
 * that the stage after has done neither: so each follows a row behind the other. Where two threads meet,
 * every stage leaves one more row undone than the one before; when both are through, one of them does what is
 * left.
 */
static void work(const Level *l, const Level *coarse, bool is_down, int threads)
{
#pragma omp parallel num_threads(threads) if (l->height / 2 > LEAST_ROWS)
    {
        size_t count = (size_t)omp_get_num_threads(), me = (size_t)omp_get_thread_num();
        count = uf_smaller(count, l->height / LEAST_ROWS + 1);
        size_t from = me < count ? l->height / 2 * me / count * 2 : l->height,
               to = me + 1 < count ? l->height / 2 * (me + 1) / count * 2 : l->height;
        for (size_t y = from; y < to + STAGES; y++)
            for (size_t s = 0; s < STAGES && s <= y - from; s++) {
                size_t row = y - s, first = from > 0 ? from + s : 0, end = to < l->height ? to - s : to;
                if (row >= first && row < end)
                    work_row(l, coarse, is_down, s, row);
            }
#pragma omp barrier
        for (size_t s = 1; to < l->height && s < STAGES; s++)
            for (size_t y = to - s; y < to + s; y++)
                work_row(l, coarse, is_down, s, y);
    }
}

static void cycle(const Level *levels, size_t count, size_t at, int threads)
{
    const Level *l = &levels[at];
    if (at + 1 == count) {
        for (size_t i = 0; i < COARSEST_HALF_SWEEPS; i++)
            for (size_t y = 0; y < l->height; y++)
                relax_row(l, y, i % 2);
        return;
    }
    work(l, l + 1, true, threads);
    cycle(levels, count, at + 1, threads);
    work(l, l + 1, false, threads);
}

/* Hole where all cells below are: a coarse hole that reaches beyond the fine one would not come to rest. */
static bool coarsen(const Level *fine, Level *out)
{
    Level l = {.width = (fine->width + 1) / 2, .height = (fine->height + 1) / 2, .hold = 4 * fine->hold};
    l.stride = l.width;
    size_t cells = l.width * l.height;
    l.own_hole = uf_alloc(cells, 1);
    l.own_u = uf_alloc(cells, 4 * sizeof(float));
    l.own_f = uf_alloc(cells, 4 * sizeof(float));
    l.is_hole = l.own_hole;
    l.u = l.own_u;
    l.f = l.own_f;
    if (l.own_hole == NULL || l.own_u == NULL || l.own_f == NULL) {
        free(l.own_hole);
        free(l.own_u);
        free(l.own_f);
        return false;
    }
    *out = l;
    memset(l.own_hole, 1, cells);
    for (size_t y = 0; y < fine->height; y++)
        for (size_t x = 0; x < fine->width; x++)
            l.own_hole[y / 2 * l.width + x / 2] &= fine->is_hole[y * fine->width + x];
    return true;
}

static bool has_hole(const Level *l)
{
    return memchr(l->is_hole, 1, l->width * l->height) != NULL;
}

UfStatus uf_poisson_solve(size_t width, size_t height, const uint8_t *is_hole, float *u, const float *f,
                          int cycles, int threads, UfReport *report)
{
    return uf_poisson_solve_held(width, height, is_hole, 0, width, u, f, cycles, threads, report);
}

UfStatus uf_poisson_solve_held(size_t width, size_t height, const uint8_t *is_hole, float hold, size_t stride,
                               float *u, const float *f, int cycles, int threads, UfReport *report)
{
    Level levels[MAX_LEVELS];
    size_t count = 1;
    UfStatus status = UF_OK;
    levels[0] = (Level){
        .width = width, .height = height, .stride = stride, .is_hole = is_hole, .u = u, .f = f, .hold = hold};
    while (count < MAX_LEVELS && levels[count - 1].width > COARSEST_SIDE &&
           levels[count - 1].height > COARSEST_SIDE && has_hole(&levels[count - 1])) {
        if (!coarsen(&levels[count - 1], &levels[count])) {
            status = uf_fail_memory(report);
            goto cleanup;
        }
        count++;
    }
    for (int i = 0; i < cycles; i++)
        cycle(levels, count, 0, threads);
cleanup:
    for (size_t l = 1; l < count; l++) {
        free(levels[l].own_hole);
        free(levels[l].own_u);
        free(levels[l].own_f);
    }
    return status;
}

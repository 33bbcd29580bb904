/* The Poisson equation by multigrid: red-black Gauss-Seidel, sums of residuals down, bilinear corrections up.
 */
#include "patch/poisson.h"

#include <omp.h>
#include <stdbool.h>

#include "base/memory.h"
#include "patch/four.h"

#define MAX_LEVELS      16
#define SWEEPS          2
#define COARSEST_SWEEPS 60
#define COARSEST_SIDE   8u

/* Level 0 is the caller's; on the others u is a correction, 0 outside the hole. */
typedef struct Level {
    size_t width, height;
    const uint8_t *is_hole;
    float *u;
    const float *f;
    float hold;
    uint8_t *own_hole; /* what is to be freed */
    float *own_u, *own_f;
} Level;

/* Neighbours of a cell inside the rectangle. */
static int neighbours(const Level *l, size_t x, size_t y, size_t *out)
{
    size_t i = y * l->width + x;
    int count = 0;
    if (x > 0)
        out[count++] = i - 1;
    if (x + 1 < l->width)
        out[count++] = i + 1;
    if (y > 0)
        out[count++] = i - l->width;
    if (y + 1 < l->height)
        out[count++] = i + l->width;
    return count;
}

/* A cell with four neighbours: nearly all have. */
static bool is_inside(const Level *l, size_t x, size_t y)
{
    return x > 0 && y > 0 && x + 1 < l->width && y + 1 < l->height;
}

static inline UfFour sum_around(const Level *l, size_t i)
{
    const float *u = l->u + 4 * i;
    return uf_four_load(u - 4) + uf_four_load(u + 4) + uf_four_load(u - 4 * l->width) +
           uf_four_load(u + 4 * l->width);
}

static void relax(const Level *l, size_t x, size_t y)
{
    size_t near[4], i = y * l->width + x;
    if (is_inside(l, x, y)) {
        uf_four_store(l->u + 4 * i,
                      (sum_around(l, i) - uf_four_load(l->f + 4 * i)) * uf_four_of(1 / (4 + l->hold)));
        return;
    }
    int count = neighbours(l, x, y, near);
    for (size_t c = 0; c < 4; c++) {
        float sum = 0;
        for (int n = 0; n < count; n++)
            sum += l->u[4 * near[n] + c];
        l->u[4 * i + c] = (sum - l->f[4 * i + c]) / ((float)count + l->hold);
    }
}

static void relax_row(const Level *l, size_t y, size_t colour)
{
    const uint8_t *is_hole = l->is_hole + y * l->width;
    for (size_t x = (y + colour) % 2; x < l->width; x += 2)
        if (is_hole[x])
            relax(l, x, y);
}

/*
 * First all red cells, then all black ones; a row's black ones follow as soon as the red ones about them are
 * done, so that the memory is gone through once. Each thread leaves its outermost rows until the others' red
 * ones are done.
 */
static void sweep(const Level *l, int threads)
{
#pragma omp parallel num_threads(threads) if (l->height > 64)
    {
        size_t count = (size_t)omp_get_num_threads(), me = (size_t)omp_get_thread_num();
        size_t from = l->height * me / count, to = l->height * (me + 1) / count;
        for (size_t y = from; y < to; y++) {
            relax_row(l, y, 0);
            if (y > from + 1)
                relax_row(l, y - 1, 1);
        }
#pragma omp barrier
        if (to > from)
            relax_row(l, from, 1);
        if (to > from + 1)
            relax_row(l, to - 1, 1);
    }
}

/* f - (Laplace(u) - hold u) of one cell. */
static inline UfFour residual(const Level *l, size_t x, size_t y)
{
    size_t near[4], i = y * l->width + x;
    UfFour sum = {0};
    float own = 4 + l->hold;
    if (is_inside(l, x, y)) {
        sum = sum_around(l, i);
    } else {
        int count = neighbours(l, x, y, near);
        for (int n = 0; n < count; n++)
            sum += uf_four_load(l->u + 4 * near[n]);
        own = (float)count + l->hold;
    }
    return uf_four_load(l->f + 4 * i) - sum + uf_four_of(own) * uf_four_load(l->u + 4 * i);
}

/* A coarse cell's right side is the sum of its four residuals: the mean, times the square of the doubled
 * step. */
static void restrict_residual(const Level *fine, const Level *coarse, int threads)
{
    memset(coarse->own_u, 0, coarse->width * coarse->height * 4 * sizeof(float));
    memset(coarse->own_f, 0, coarse->width * coarse->height * 4 * sizeof(float));
#pragma omp parallel for schedule(static) num_threads(threads) if (coarse->height > 64)
    for (size_t Y = 0; Y < coarse->height; Y++)
        for (size_t y = 2 * Y; y < 2 * Y + 2 && y < fine->height; y++)
            for (size_t x = 0; x < fine->width; x++)
                if (fine->is_hole[y * fine->width + x]) {
                    float *sum = coarse->own_f + 4 * (Y * coarse->width + x / 2);
                    uf_four_store(sum, uf_four_load(sum) + residual(fine, x, y));
                }
}

/* Bilinear: 9, 3, 3, 1 sixteenths of the four nearest coarse cells. */
static void prolong_cell(const Level *coarse, const Level *fine, size_t x, size_t y)
{
    size_t X = x / 2, Y = y / 2;
    size_t X2 = x % 2 == 0 ? (X > 0 ? X - 1 : X) : (X + 1 < coarse->width ? X + 1 : X);
    size_t Y2 = y % 2 == 0 ? (Y > 0 ? Y - 1 : Y) : (Y + 1 < coarse->height ? Y + 1 : Y);
    const float *row = coarse->u + 4 * Y * coarse->width, *other = coarse->u + 4 * Y2 * coarse->width;
    float *u = fine->u + 4 * (y * fine->width + x);
    UfFour sides = uf_four_load(row + 4 * X2) + uf_four_load(other + 4 * X);
    UfFour sum =
        uf_four_of(9) * uf_four_load(row + 4 * X) + uf_four_of(3) * sides + uf_four_load(other + 4 * X2);
    uf_four_store(u, uf_four_load(u) + uf_four_of(1 / 16.0F) * sum);
}

static void prolong(const Level *coarse, const Level *fine, int threads)
{
#pragma omp parallel for schedule(static) num_threads(threads) if (fine->height > 64)
    for (size_t y = 0; y < fine->height; y++)
        for (size_t x = 0; x < fine->width; x++)
            if (fine->is_hole[y * fine->width + x])
                prolong_cell(coarse, fine, x, y);
}

static void cycle(const Level *levels, size_t count, size_t at, int threads)
{
    const Level *l = &levels[at];
    if (at + 1 == count) {
        for (int i = 0; i < COARSEST_SWEEPS; i++)
            sweep(l, threads);
        return;
    }
    for (int i = 0; i < SWEEPS; i++)
        sweep(l, threads);
    restrict_residual(l, &levels[at + 1], threads);
    cycle(levels, count, at + 1, threads);
    prolong(&levels[at + 1], l, threads);
    for (int i = 0; i < SWEEPS; i++)
        sweep(l, threads);
}

/* Hole where all cells below are: a coarse hole that reaches beyond the fine one would not come to rest. */
static bool coarsen(const Level *fine, Level *out)
{
    Level l = {.width = (fine->width + 1) / 2, .height = (fine->height + 1) / 2, .hold = 4 * fine->hold};
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
    return uf_poisson_solve_held(width, height, is_hole, 0, u, f, cycles, threads, report);
}

UfStatus uf_poisson_solve_held(size_t width, size_t height, const uint8_t *is_hole, float hold, float *u,
                               const float *f, int cycles, int threads, UfReport *report)
{
    Level levels[MAX_LEVELS];
    size_t count = 1;
    UfStatus status = UF_OK;
    levels[0] = (Level){.width = width, .height = height, .is_hole = is_hole, .u = u, .f = f, .hold = hold};
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

/* A canvas and its halves. */
#include "patch/levels.h"

#include "base/smaller.h"

void uf_levels_clear(UfLevels *levels)
{
    for (size_t l = 1; l < levels->count; l++)
        uf_canvas_clear(&levels->canvas[l]);
    *levels = (UfLevels){0};
}

static void halve(UfCanvas *from, UfRowWork *work, void *data, int threads, UfCanvas *half)
{
#pragma omp parallel for schedule(static) num_threads(threads) if (half->height > 32)
    for (size_t y = 0; y < half->height; y++) {
        for (size_t k = 2 * y; work != NULL && k < 2 * y + 2 && k < from->height; k++)
            work(data, from, k);
        uf_canvas_halve_row(from, y, half);
    }
}

static bool is_small(const UfCanvas *canvas)
{
    return uf_larger(canvas->width, canvas->height) <= UF_LEVELS_SIDE_PX;
}

UfStatus uf_levels_build(UfCanvas *canvas, UfRowWork *work, void *data, int threads, UfLevels *out,
                         UfReport *report)
{
    UfLevels levels = {.canvas = {*canvas}, .count = 1};
    while (levels.count == 1 ||
           (levels.count < UF_MAX_LEVELS && !is_small(&levels.canvas[levels.count - 1]))) {
        UfCanvas *from = &levels.canvas[levels.count - 1], *half = from + 1;
        UfStatus status = uf_canvas_create_half(from, half, report);
        if (status != UF_OK) {
            uf_levels_clear(&levels);
            return status;
        }
        halve(from, levels.count == 1 ? work : NULL, data, threads, half);
        levels.count++;
    }
    *out = levels;
    return UF_OK;
}

void uf_levels_mark(UfLevels *levels, int threads)
{
    for (size_t l = 1; l < levels->count; l++) {
        UfCanvas *half = &levels->canvas[l];
#pragma omp parallel for schedule(static) num_threads(threads) if (half->height > 256)
        for (size_t y = 0; y < half->height; y++)
            uf_canvas_halve_cells(&levels->canvas[l - 1], y, half);
    }
}

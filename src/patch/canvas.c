/* The floor's plane while it is rebuilt. */
#include "patch/canvas.h"

#include <math.h>

#include "base/memory.h"
#include "patch/four.h"

UfStatus uf_canvas_create(size_t width, size_t height, UfCanvas *out, UfReport *report)
{
    UfCanvas canvas = {.width = width, .height = height};
    size_t pixels;
    if (!uf_product(width, height, &pixels))
        return uf_fail_memory(report);
    canvas.value = uf_alloc_zero(pixels, 4 * sizeof *canvas.value);
    canvas.cell = uf_alloc_zero(pixels, sizeof *canvas.cell);
    if (canvas.value == NULL || canvas.cell == NULL) {
        uf_canvas_clear(&canvas);
        return uf_fail_memory(report);
    }
    *out = canvas;
    return UF_OK;
}

void uf_canvas_clear(UfCanvas *canvas)
{
    free(canvas->value);
    free(canvas->cell);
    *canvas = (UfCanvas){0};
}

/* Advice: a block that cannot be made smaller stays as it is. */
static void *shrink(void *block, size_t count, size_t size_bytes)
{
    void *smaller = uf_realloc(block, count, size_bytes);
    return smaller != NULL ? smaller : block;
}

void uf_canvas_crop(UfCanvas *canvas, UfBox box)
{
    size_t width = box.x1 - box.x0, height = box.y1 - box.y0;
    for (size_t y = 0; y < height; y++) {
        size_t from = (box.y0 + y) * canvas->width + box.x0;
        memmove(canvas->value + 4 * y * width, canvas->value + 4 * from, 4 * width * sizeof *canvas->value);
        memmove(canvas->cell + y * width, canvas->cell + from, width);
    }
    canvas->value = shrink(canvas->value, width * height, 4 * sizeof *canvas->value);
    canvas->cell = shrink(canvas->cell, width * height, 1);
    canvas->width = width;
    canvas->height = height;
}

/* A row of the half canvas lies under two rows, at an odd edge under one twice; so do its pixels. */
static size_t second_row(const UfCanvas *from, size_t y)
{
    return 2 * y + 1 < from->height ? 2 * y + 1 : 2 * y;
}

void uf_canvas_halve_cells(const UfCanvas *from, size_t y, UfCanvas *half)
{
    const uint8_t *above = from->cell + 2 * y * from->width,
                  *below = from->cell + second_row(from, y) * from->width;
    uint8_t *out = half->cell + y * half->width;
    for (size_t x = 0, last = from->width - 1; x < half->width; x++) {
        size_t left = 2 * x, right = left < last ? left + 1 : left;
        /* sources are 0, and of the other two only holes have the lowest bit */
        unsigned any = (unsigned)above[left] | above[right] | below[left] | below[right];
        out[x] = (uint8_t)((any & UF_CELL_HOLE) != 0 ? UF_CELL_HOLE : any);
    }
}

void uf_canvas_halve_row(const UfCanvas *from, size_t y, UfCanvas *half)
{
    const float *above = from->value + 8 * y * from->width,
                *below = from->value + 4 * second_row(from, y) * from->width;
    float *out = half->value + 4 * y * half->width;
    for (size_t x = 0, last = from->width - 1; x < half->width; x++) {
        size_t left = 8 * x, right = 2 * x < last ? left + 4 : left;
        UfFour sum = uf_four_load(above + left) + uf_four_load(above + right) + uf_four_load(below + left) +
                     uf_four_load(below + right);
        uf_four_store(out + 4 * x, sum * uf_four_of(0.25F));
    }
    uf_canvas_halve_cells(from, y, half);
}

UfStatus uf_canvas_create_half(const UfCanvas *canvas, UfCanvas *out, UfReport *report)
{
    UfStatus status = uf_canvas_create((canvas->width + 1) / 2, (canvas->height + 1) / 2, out, report);
    if (status == UF_OK)
        uf_prefer_large_pages(out->value, out->width * out->height * 4 * sizeof *out->value);
    return status;
}

static UfStatus halve(const UfCanvas *canvas, int threads, UfCanvas *out, UfReport *report)
{
    UfCanvas half = {0};
    UfStatus status = uf_canvas_create_half(canvas, &half, report);
    if (status != UF_OK)
        return status;
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t y = 0; y < half.height; y++)
        uf_canvas_halve_row(canvas, y, &half);
    *out = half;
    return UF_OK;
}

UfStatus uf_canvas_reduce(const UfCanvas *canvas, unsigned times, int threads, UfCanvas *out,
                          UfReport *report)
{
    UfCanvas now = {0};
    UfStatus status = UF_OK;
    if (times == 0) {
        status = uf_canvas_create(canvas->width, canvas->height, &now, report);
        if (status == UF_OK) {
            memcpy(now.value, canvas->value, canvas->width * canvas->height * 4 * sizeof *now.value);
            memcpy(now.cell, canvas->cell, canvas->width * canvas->height);
        }
    }
    for (unsigned i = 0; status == UF_OK && i < times; i++) {
        UfCanvas half = {0};
        status = halve(i == 0 ? canvas : &now, threads, &half, report);
        uf_canvas_clear(&now);
        now = half;
    }
    if (status == UF_OK)
        *out = now;
    return status;
}

bool uf_canvas_hole_box(const UfCanvas *canvas, size_t margin, UfBox *out)
{
    UfBox box = {canvas->width, canvas->height, 0, 0};
    for (size_t y = 0; y < canvas->height; y++) {
        const uint8_t *row = canvas->cell + y * canvas->width;
        const uint8_t *first = memchr(row, UF_CELL_HOLE, canvas->width);
        if (first == NULL)
            continue;
        const uint8_t *last = memrchr(row, UF_CELL_HOLE, canvas->width);
        box.x0 = (size_t)(first - row) < box.x0 ? (size_t)(first - row) : box.x0;
        box.x1 = (size_t)(last - row) + 1 > box.x1 ? (size_t)(last - row) + 1 : box.x1;
        box.y0 = y < box.y0 ? y : box.y0;
        box.y1 = y + 1;
    }
    if (box.x1 == 0)
        return false;
    out->x0 = box.x0 > margin ? box.x0 - margin : 0;
    out->y0 = box.y0 > margin ? box.y0 - margin : 0;
    out->x1 = box.x1 + margin < canvas->width ? box.x1 + margin : canvas->width;
    out->y1 = box.y1 + margin < canvas->height ? box.y1 + margin : canvas->height;
    return true;
}

/* Pixels between two that count. */
static size_t sample_step(const UfCanvas *canvas)
{
    return (canvas->width > canvas->height ? canvas->width : canvas->height) / 512 + 1;
}

/* Means of the sources' values, or of their absolute distance from `centre`, where that is not NULL. */
static void source_means(const UfCanvas *canvas, const double *centre, double out[3])
{
    double sum[3] = {0}, count = 0;
    size_t step = sample_step(canvas);
    for (size_t y = step / 2; y < canvas->height; y += step)
        for (size_t x = step / 2; x < canvas->width; x += step) {
            size_t i = y * canvas->width + x;
            if (canvas->cell[i] != UF_CELL_SOURCE)
                continue;
            count++;
            for (size_t c = 0; c < 3; c++) {
                double value = canvas->value[4 * i + c];
                sum[c] += centre != NULL ? fabs(value - centre[c]) : value;
            }
        }
    for (size_t c = 0; c < 3; c++)
        out[c] = count > 0 ? sum[c] / count : 0;
}

double uf_canvas_deviation(const UfCanvas *canvas, float *mean)
{
    double centre[3], deviation[3];
    source_means(canvas, NULL, centre);
    source_means(canvas, centre, deviation);
    for (size_t c = 0; mean != NULL && c < 3; c++)
        mean[c] = (float)centre[c];
    return fmax(deviation[0], fmax(deviation[1], deviation[2]));
}

void uf_canvas_empty_hole(UfCanvas *canvas, size_t y)
{
    const uint8_t *cell = canvas->cell + y * canvas->width, *end = cell + canvas->width, *to;
    for (const uint8_t *from = cell; (from = memchr(from, UF_CELL_HOLE, (size_t)(end - from))) != NULL;
         from = to) {
        for (to = from; to < end && *to == UF_CELL_HOLE;)
            to++;
        memset(canvas->value + 4 * (y * canvas->width + (size_t)(from - cell)), 0,
               (size_t)(to - from) * 4 * sizeof *canvas->value);
    }
}

bool uf_canvas_next_run(const UfCanvas *canvas, UfBox keep, size_t y, size_t *x0, size_t *x1)
{
    const uint8_t *cell = canvas->cell + y * canvas->width;
    bool is_kept = y >= keep.y0 && y < keep.y1 && keep.x1 > keep.x0;
    size_t from = *x1, end = canvas->width, least = is_kept ? keep.x1 : 0;
    if (from == 0) {
        size_t first = is_kept ? keep.x0 : end;
        while (from < first && cell[from] == UF_CELL_IDLE)
            from++;
    }
    while (end > from && end > least && cell[end - 1] == UF_CELL_IDLE)
        end--;
    while (from < end && cell[from] == UF_CELL_HOLE)
        from++;
    size_t to = from;
    while (to < end && cell[to] != UF_CELL_HOLE)
        to++;
    *x0 = from;
    *x1 = to;
    return to > from;
}

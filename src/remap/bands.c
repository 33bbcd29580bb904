/* Which blocks of a target belong together. */
#include "remap/bands.h"

#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "base/smaller.h"
#include "remap/spline.h"

static int by_place(const void *a, const void *b)
{
    const UfBandBlock *p = a, *q = b;
    if (p->y_px != q->y_px)
        return p->y_px < q->y_px ? -1 : 1;
    return p->x_px < q->x_px ? -1 : p->x_px > q->x_px;
}

static int by_first_row(const void *a, const void *b)
{
    const UfBandBlock *p = a, *q = b;
    if (p->first_row != q->first_row)
        return p->first_row < q->first_row ? -1 : 1;
    return by_place(a, b);
}

static int by_end_row(const void *a, const void *b)
{
    const UfBandBlock *p = a, *q = b;
    return p->end_row < q->end_row ? -1 : p->end_row > q->end_row;
}

static void see_block(const UfBands *bands, const UfMap *map, const UfBandBlock *block, UfSeen *seen)
{
    uf_seen_add(map, block->x_px, block->y_px,
                uf_smaller(block->x_px + bands->block_px, map->target.width_px),
                uf_smaller(block->y_px + bands->block_px, map->target.height_px), seen);
}

/* Rows of coefficients that fit, as far as columns are seen at all. */
static double rows_that_fit(const UfSeen *all, ptrdiff_t height, size_t width, size_t row_bytes)
{
    size_t columns = 0;
    ptrdiff_t first, end;
    uf_spline_rows(all, height, &first, &end);
    for (size_t x = 0; x < width; x++)
        columns += all->columns[x];
    const bool whole = first == 0 || end == height;
    const double part = whole || columns == 0 ? 1 : (double)columns / (double)width;
    return (double)UF_BAND_BYTES / ((double)row_bytes * part);
}

/* One band where everything fits; else bands of the same breadth. */
static ptrdiff_t breadth(const UfBands *bands, const UfSeen *all, ptrdiff_t height, double fitting)
{
    ptrdiff_t longest = 0, from, to;
    for (size_t i = 0; i < bands->count; i++) {
        const ptrdiff_t rows = bands->blocks[i].end_row - bands->blocks[i].first_row;
        longest = rows > longest ? rows : longest;
    }
    uf_spline_rows(all, height, &from, &to);
    if ((double)(to - from) <= fitting)
        return height + 1;
    const ptrdiff_t span = bands->blocks[bands->count - 1].first_row - bands->blocks[0].first_row;
    const double room = fitting - (double)longest - 2 * UF_SPLINE_COLD;
    const ptrdiff_t most = room > UF_BAND_LEAST_ROWS ? (ptrdiff_t)room : UF_BAND_LEAST_ROWS;
    return span / (span / most + 1) + 1;
}

/* In rows from top to bottom. */
static UfStatus list_blocks(const UfMap *map, size_t block_px, UfBands *out, UfReport *report)
{
    const size_t width = map->target.width_px, height = map->target.height_px;
    const size_t across = (width + block_px - 1) / block_px, down = (height + block_px - 1) / block_px;
    out->block_px = block_px;
    out->blocks = uf_alloc(across * down, sizeof *out->blocks);
    if (out->blocks == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < height; y += block_px)
        for (size_t x = 0; x < width; x += block_px)
            out->blocks[out->count++] =
                (UfBandBlock){.end_row = (ptrdiff_t)map->source.height_px, .x_px = x, .y_px = y};
    return UF_OK;
}

UfStatus uf_bands_none(const UfMap *map, size_t block_px, UfBands *out, UfReport *report)
{
    return list_blocks(map, block_px, out, report);
}

/* Rows of every block, and the columns that any of them sees, unless NULL; `columns` has a row for each
 * thread. */
static void see_blocks(UfBands *bands, const UfMap *map, int threads, bool *columns)
{
    const size_t width = map->source.width_px;
#pragma omp parallel for schedule(dynamic, 8) num_threads(threads)
    for (size_t i = 0; i < bands->count; i++) {
        UfBandBlock *block = &bands->blocks[i];
        UfSeen seen = {.first_row = (ptrdiff_t)map->source.height_px,
                       .columns = columns == NULL ? NULL : columns + (size_t)omp_get_thread_num() * width};
        see_block(bands, map, block, &seen);
        block->first_row = seen.first_row;
        block->end_row = seen.end_row;
    }
}

static UfSeen join(const UfBands *bands, const UfMap *map, int threads, bool *columns)
{
    const size_t width = map->source.width_px;
    UfSeen all = {.first_row = (ptrdiff_t)map->source.height_px, .columns = columns};
    for (size_t i = 0; i < bands->count; i++) {
        const UfBandBlock *block = &bands->blocks[i];
        all.first_row = block->first_row < all.first_row ? block->first_row : all.first_row;
        all.end_row = block->end_row > all.end_row ? block->end_row : all.end_row;
    }
    for (size_t i = width; i < (size_t)threads * width; i++)
        columns[i % width] = columns[i % width] || columns[i];
    return all;
}

UfStatus uf_bands_create(const UfMap *map, size_t block_px, size_t row_bytes, int threads, UfBands *out,
                         UfReport *report)
{
    const ptrdiff_t height = (ptrdiff_t)map->source.height_px;
    UfStatus status = list_blocks(map, block_px, out, report);
    if (status != UF_OK)
        return status;
    bool *columns = uf_alloc_zero(map->source.width_px, (size_t)threads);
    if (columns == NULL)
        return uf_fail_memory(report);
    see_blocks(out, map, threads, columns);
    out->all = join(out, map, threads, columns);
    qsort(out->blocks, out->count, sizeof *out->blocks, by_first_row);
    out->rows =
        breadth(out, &out->all, height, rows_that_fit(&out->all, height, map->source.width_px, row_bytes));
    return UF_OK;
}

UfStatus uf_bands_by_end(const UfMap *map, size_t block_px, int threads, UfBands *out, UfReport *report)
{
    UfStatus status = list_blocks(map, block_px, out, report);
    if (status != UF_OK)
        return status;
    see_blocks(out, map, threads, NULL);
    qsort(out->blocks, out->count, sizeof *out->blocks, by_end_row);
    return UF_OK;
}

size_t uf_bands_held(UfBands *bands, size_t from, size_t rows)
{
    size_t end = from;
    while (end < bands->count && bands->blocks[end].end_row <= (ptrdiff_t)rows)
        end++;
    qsort(bands->blocks + from, end - from, sizeof *bands->blocks, by_place);
    return end;
}

UfStatus uf_bands_next(const UfBands *bands, const UfMap *map, size_t from, size_t *end, UfSeen *seen,
                       UfReport *report)
{
    const UfBandBlock *first = &bands->blocks[from];
    seen->columns = uf_alloc_zero(map->source.width_px, sizeof *seen->columns);
    if (seen->columns == NULL)
        return uf_fail_memory(report);
    if (bands->rows > (ptrdiff_t)map->source.height_px) {
        memcpy(seen->columns, bands->all.columns, map->source.width_px * sizeof *seen->columns);
        seen->first_row = bands->all.first_row;
        seen->end_row = bands->all.end_row;
        *end = bands->count;
        return UF_OK;
    }
    seen->first_row = first->first_row;
    size_t i = from;
    for (; i < bands->count && bands->blocks[i].first_row < first->first_row + bands->rows; i++)
        see_block(bands, map, &bands->blocks[i], seen);
    *end = i;
    return UF_OK;
}

void uf_bands_free(UfBands *bands)
{
    free(bands->blocks);
    uf_seen_free(&bands->all);
    *bands = (UfBands){0};
}

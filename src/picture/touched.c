/* Which cells of 8 x 8 pixels of the upright picture were changed: one byte a cell, so that rows are memset
 * and memchr. */
#include "picture/picture_internal.h"

struct UfTouched {
    size_t width_px, height_px;
    size_t columns, rows; /* in cells */
    uint8_t *cells;
};

UfStatus uf_touched_create(size_t width_px, size_t height_px, UfTouched **out, UfReport *report)
{
    if (width_px == 0 || height_px == 0 || width_px > UF_PICTURE_MAX_SIDE_PX ||
        height_px > UF_PICTURE_MAX_SIDE_PX)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a picture of %zu x %zu pixels makes no sense", width_px,
                       height_px);
    UfTouched *touched = uf_alloc_zero(1, sizeof *touched);
    if (touched == NULL)
        return uf_fail_memory(report);
    touched->width_px = width_px;
    touched->height_px = height_px;
    touched->columns = (width_px + UF_TOUCHED_CELL_PX - 1) / UF_TOUCHED_CELL_PX;
    touched->rows = (height_px + UF_TOUCHED_CELL_PX - 1) / UF_TOUCHED_CELL_PX;
    touched->cells = uf_alloc_zero(touched->columns, touched->rows);
    if (touched->cells == NULL) {
        free(touched);
        return uf_fail_memory(report);
    }
    *out = touched;
    return UF_OK;
}

void uf_touched_free(UfTouched **touched)
{
    if (touched == NULL || *touched == NULL)
        return;
    free((*touched)->cells);
    free(*touched);
    *touched = NULL;
}

typedef struct CellRange {
    size_t first_column, columns, first_row, end_row;
} CellRange;

/* The cells that overlap [x0, x1) x [y0, y1) inside the picture; false when there are none. */
static bool cells_of(const UfTouched *touched, size_t x0, size_t y0, size_t x1, size_t y1, CellRange *out)
{
    if (x1 > touched->width_px)
        x1 = touched->width_px;
    if (y1 > touched->height_px)
        y1 = touched->height_px;
    if (x0 >= x1 || y0 >= y1)
        return false;
    out->first_column = x0 / UF_TOUCHED_CELL_PX;
    out->columns = (x1 - 1) / UF_TOUCHED_CELL_PX + 1 - out->first_column;
    out->first_row = y0 / UF_TOUCHED_CELL_PX;
    out->end_row = (y1 - 1) / UF_TOUCHED_CELL_PX + 1;
    return true;
}

void uf_touched_add(UfTouched *touched, size_t x0_px, size_t y0_px, size_t x1_px, size_t y1_px)
{
    CellRange range;
    if (!cells_of(touched, x0_px, y0_px, x1_px, y1_px, &range))
        return;
    for (size_t row = range.first_row; row < range.end_row; row++)
        memset(touched->cells + row * touched->columns + range.first_column, 1, range.columns);
}

bool uf_touched_any(const UfTouched *touched, size_t x0_px, size_t y0_px, size_t x1_px, size_t y1_px)
{
    CellRange range;
    if (!cells_of(touched, x0_px, y0_px, x1_px, y1_px, &range))
        return false;
    for (size_t row = range.first_row; row < range.end_row; row++)
        if (memchr(touched->cells + row * touched->columns + range.first_column, 1, range.columns) != NULL)
            return true;
    return false;
}

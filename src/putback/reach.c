/*
 * The mask is cut into small blocks. A block of a flat view is bounded by four great circles, along which
 * longitude is monotonic, so its corners bound its longitudes; its latitudes are bounded by them but for the
 * little that a great circle bulges. A block that holds a pole has all longitudes.
 */
#include "putback/reach.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"

/* Room for the kernels on both sides, in pixels of the edit and of the panorama. */
#define PAD_PX    3.0
#define MARGIN_PX 2.0

void uf_reach_clear(UfReach *reach)
{
    free(reach->cells);
    *reach = (UfReach){0};
}

/* Cells of columns [x0, x1), which may run over the seam, and rows [y0, y1). */
static void mark(UfReach *reach, const UfView *panorama, double x0, double x1, double y0, double y1)
{
    double width = (double)panorama->width_px, height = (double)panorama->height_px;
    if (x1 - x0 >= width) {
        x0 = 0;
        x1 = width - 1;
    }
    size_t top = (size_t)fmax(y0, 0) / UF_REACH_CELL_PX;
    size_t bottom = (size_t)fmin(fmax(y1, 0), height - 1) / UF_REACH_CELL_PX;
    double turn =
        floor(x0 / width) * width; /* brings x0 into the picture, and x1 perhaps behind its right edge */
    size_t left = (size_t)(x0 - turn), right = (size_t)(x1 - turn), end = panorama->width_px - 1;
    size_t first_end = right < end ? right : end;
    for (size_t row = top; row <= bottom && row < reach->down; row++) {
        uint8_t *cells = reach->cells + row * reach->across;
        for (size_t cell = left / UF_REACH_CELL_PX; cell <= first_end / UF_REACH_CELL_PX; cell++)
            cells[cell] = 1;
        if (right > end)
            for (size_t cell = 0; cell <= (right - panorama->width_px) / UF_REACH_CELL_PX; cell++)
                cells[cell] = 1;
    }
}

/* Is the pole at latitude +-90 degrees in the block? */
static bool holds_pole(const UfView *view, double sign, double x0, double y0, double x1, double y1)
{
    UfPixelPoint at;
    return uf_view_pixel(view, (UfDirection){0, sign, 0}, &at) && at.x_px >= x0 && at.x_px <= x1 &&
           at.y_px >= y0 && at.y_px <= y1;
}

static void mark_block(UfReach *reach, const UfPart *part, const UfView *panorama, double x0, double y0,
                       double x1, double y1)
{
    const UfPixelPoint corners[5] = {{(x0 + x1) / 2, (y0 + y1) / 2}, {x0, y0}, {x1, y0}, {x0, y1}, {x1, y1}};
    double width = (double)panorama->width_px, height = (double)panorama->height_px;
    double left = 0, right = 0, top = height, bottom = 0, middle = 0;
    for (int i = 0; i < 5; i++) {
        UfDirection direction;
        UfPixelPoint at;
        if (!uf_view_direction(&part->view, corners[i], &direction) ||
            !uf_view_pixel(panorama, direction, &at))
            continue;
        if (i == 0)
            middle = at.x_px;
        double away = at.x_px - middle;
        away -= round(away / width) * width;
        left = fmin(left, away);
        right = fmax(right, away);
        top = fmin(top, at.y_px);
        bottom = fmax(bottom, at.y_px);
    }
    if (holds_pole(&part->view, 1, x0, y0, x1, y1)) {
        top = 0;
        right = left + width;
    }
    if (holds_pole(&part->view, -1, x0, y0, x1, y1)) {
        bottom = height;
        right = left + width;
    }
    /* a great circle of length L bulges by L^2/8 tan(latitude); never by more than L */
    double nearest = fmax(fmin(top, height - bottom), 0.5) * UF_PI / height;
    double length = fmax(bottom - top, fmin(right - left, height) * sin(fmin(nearest + 0.1, UF_PI / 2)));
    double bulge = fmin(length * length / 8 * UF_PI / height / tan(nearest), length);
    mark(reach, panorama, middle + left - MARGIN_PX, middle + right + MARGIN_PX, top - bulge - MARGIN_PX,
         bottom + bulge + MARGIN_PX);
}

static bool any(const UfPart *part, size_t x0, size_t y0, size_t x1, size_t y1)
{
    size_t width = uf_part_width_px(part);
    for (size_t y = y0; y < y1; y++)
        for (size_t x = x0; x < x1; x++)
            if (part->weight[y * width + x] != 0)
                return true;
    return false;
}

/* Edge of the blocks: about a cell of the panorama. */
static size_t block_side(const UfPart *part, const UfView *panorama)
{
    double side = UF_REACH_CELL_PX * part->view.scale_px / panorama->scale_px;
    return side < 1 ? 1 : side > UF_REACH_CELL_PX ? UF_REACH_CELL_PX : (size_t)side;
}

UfStatus uf_reach_find(const UfPart *part, const UfView *panorama, UfReach *out, UfReport *report)
{
    UfReach reach = {.across = (panorama->width_px + UF_REACH_CELL_PX - 1) / UF_REACH_CELL_PX,
                     .down = (panorama->height_px + UF_REACH_CELL_PX - 1) / UF_REACH_CELL_PX};
    size_t side = block_side(part, panorama);
    const UfBox box = part->box;
    reach.cells = uf_alloc_zero(reach.across, reach.down);
    if (reach.cells == NULL)
        return uf_fail_memory(report);
    for (size_t y = box.y0; y < box.y1; y += side)
        for (size_t x = box.x0; x < box.x1; x += side) {
            size_t x1 = x + side < box.x1 ? x + side : box.x1, y1 = y + side < box.y1 ? y + side : box.y1;
            if (any(part, x, y, x1, y1))
                mark_block(&reach, part, panorama, (double)x - PAD_PX, (double)y - PAD_PX,
                           (double)x1 + PAD_PX, (double)y1 + PAD_PX);
        }
    *out = reach;
    return UF_OK;
}

bool uf_reach_within(const UfReach *reach, const UfBox *tile, UfBox *out)
{
    UfBox box = {.x0 = tile->x1, .y0 = tile->y1};
    for (size_t y = tile->y0 / UF_REACH_CELL_PX; y * UF_REACH_CELL_PX < tile->y1; y++)
        for (size_t x = tile->x0 / UF_REACH_CELL_PX; x * UF_REACH_CELL_PX < tile->x1; x++) {
            if (reach->cells[y * reach->across + x] == 0)
                continue;
            size_t left = x * UF_REACH_CELL_PX, top = y * UF_REACH_CELL_PX;
            size_t right = left + UF_REACH_CELL_PX, bottom = top + UF_REACH_CELL_PX;
            box.x0 = left < box.x0 ? left : box.x0;
            box.y0 = top < box.y0 ? top : box.y0;
            box.x1 = right > box.x1 ? right : box.x1;
            box.y1 = bottom > box.y1 ? bottom : box.y1;
        }
    if (box.x1 == 0)
        return false;
    box.x1 = box.x1 < tile->x1 ? box.x1 : tile->x1;
    box.y1 = box.y1 < tile->y1 ? box.y1 : tile->y1;
    *out = box;
    return true;
}

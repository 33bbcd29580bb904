/*
 * Light comes from all sides of a room; beside a thing that lies on the floor some of it is missing. How much
 * is taken to be the share of the thing in a soft disc about the place: the logo's alpha, smoothed. On a grid
 * as coarse as the softness allows.
 */
#include "patch/logo_contact.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/rows.h"

/* Cells of the grid in the breadth, and beyond it, so that the shade has died out at the grid's edge. */
#define CELLS_IN_BREADTH 6
#define MARGIN_CELLS     (CELLS_IN_BREADTH + 2)
/* Light that is missing where the thing is all round; by eye on the sample floors, common practice, no
 * source. */
#define STRENGTH 0.6F

typedef struct Grid {
    size_t width, height;
    double cell_px; /* of the logo */
    float *alpha, *other;
} Grid;

/* Mean of the logo's alpha, `alpha`, over one cell. */
static float cell_of(const UfPicture *logo, const float *alpha, const Grid *grid, size_t x, size_t y)
{
    size_t w = uf_picture_width_px(logo), h = uf_picture_height_px(logo);
    size_t points = (size_t)ceil(grid->cell_px);
    float sum = 0;
    for (size_t j = 0; j < points; j++)
        for (size_t i = 0; i < points; i++) {
            double u = ((double)x - MARGIN_CELLS + ((double)i + 0.5) / (double)points) * grid->cell_px;
            double v = ((double)y - MARGIN_CELLS + ((double)j + 0.5) / (double)points) * grid->cell_px;
            if (u >= 0 && v >= 0 && u < (double)w && v < (double)h)
                sum += alpha[(size_t)v * w + (size_t)u];
        }
    return sum / (float)(points * points);
}

static UfStatus read_alpha(const UfPicture *logo, Grid *grid, UfReport *report)
{
    size_t w = uf_picture_width_px(logo), h = uf_picture_height_px(logo);
    float *colour = uf_alloc(w * uf_colour_channels(logo), sizeof *colour),
          *alpha = uf_alloc(w * h, sizeof *alpha);
    UfStatus status = colour == NULL || alpha == NULL ? uf_fail_memory(report) : UF_OK;
    for (size_t y = 0; status == UF_OK && y < h; y++)
        uf_row_load(logo, y, colour, alpha + y * w);
    for (size_t i = 0; status == UF_OK && i < grid->width * grid->height; i++)
        grid->alpha[i] = cell_of(logo, alpha, grid, i % grid->width, i / grid->width);
    free(colour);
    free(alpha);
    return status;
}

/* A raised cosine, along rows or columns: `step` cells apart; lines of `count` cells, from one to the other
 * `next`. */
static void smooth(const float *from, float *to, size_t count, size_t step, size_t lines, size_t next)
{
    float weight[2 * CELLS_IN_BREADTH + 1], total = 0;
    for (int k = -CELLS_IN_BREADTH; k <= CELLS_IN_BREADTH; k++)
        total += weight[k + CELLS_IN_BREADTH] = 0.5F + 0.5F * (float)cos(M_PI * k / (CELLS_IN_BREADTH + 0.5));
    for (size_t line = 0; line < lines; line++)
        for (size_t i = 0; i < count; i++) {
            float sum = 0;
            for (size_t k = 0; k <= (size_t)2 * CELLS_IN_BREADTH; k++) {
                size_t at = i + k;
                if (at >= CELLS_IN_BREADTH && at - CELLS_IN_BREADTH < count)
                    sum += weight[k] * from[line * next + (at - CELLS_IN_BREADTH) * step];
            }
            to[line * next + i * step] = sum / total;
        }
}

static UfStatus store(const Grid *grid, size_t colours, UfPicture **out, UfReport *report)
{
    float *black = uf_alloc_zero(grid->width * colours, sizeof *black);
    UfStatus status =
        black == NULL ? uf_fail_memory(report)
                      : uf_picture_create(grid->width, grid->height, colours + 1, UF_SAMPLE_U16, out, report);
    for (size_t y = 0; status == UF_OK && y < grid->height; y++)
        uf_row_store(*out, y, black, grid->alpha + y * grid->width);
    free(black);
    return status;
}

double uf_logo_contact_farthest_rad(double logo_cap_rad, double contact_rad)
{
    /* the margin on both sides of a corner, and less than a cell that the grid is larger than the logo */
    double most = sqrt(2) * (MARGIN_CELLS + 1.0) / CELLS_IN_BREADTH;
    double rim = tan(logo_cap_rad), breadth = tan(logo_cap_rad + contact_rad) - rim;
    return atan(rim + most * breadth);
}

UfStatus uf_logo_contact(const UfPicture *logo, const UfView *logo_view, double breadth_px, UfPicture **out,
                         UfView *view, UfReport *report)
{
    Grid grid = {.cell_px = breadth_px / CELLS_IN_BREADTH};
    grid.width = (size_t)ceil((double)uf_picture_width_px(logo) / grid.cell_px) + (size_t)2 * MARGIN_CELLS;
    grid.height = (size_t)ceil((double)uf_picture_height_px(logo) / grid.cell_px) + (size_t)2 * MARGIN_CELLS;
    size_t cells = 0;
    UfStatus status = UF_OK;
    if (uf_product(grid.width, grid.height, &cells)) {
        grid.alpha = uf_alloc(cells, sizeof *grid.alpha);
        grid.other = uf_alloc(cells, sizeof *grid.other);
    }
    if (grid.alpha == NULL || grid.other == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    if ((status = read_alpha(logo, &grid, report)) != UF_OK)
        goto cleanup;
    smooth(grid.alpha, grid.other, grid.width, 1, grid.height, grid.width);
    smooth(grid.other, grid.alpha, grid.height, grid.width, grid.width, 1);
    for (size_t i = 0; i < cells; i++)
        grid.alpha[i] *= STRENGTH;
    if ((status = store(&grid, uf_colour_channels(logo), out, report)) != UF_OK)
        goto cleanup;
    *view = *logo_view;
    view->width_px = grid.width;
    view->height_px = grid.height;
    view->scale_px = logo_view->scale_px / grid.cell_px;
    view->centre_x_px = logo_view->centre_x_px / grid.cell_px + MARGIN_CELLS;
    view->centre_y_px = logo_view->centre_y_px / grid.cell_px + MARGIN_CELLS;
cleanup:
    free(grid.alpha);
    free(grid.other);
    return status;
}

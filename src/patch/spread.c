/* Coarse on purpose: each pixel of the grid is the mean of what it covers, so that grain does not draw
 * streaks. */
#include "patch/spread.h"

#include <math.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/poisson.h"
#include "patch/region.h"
#include "patch/rows.h"

#define SIDE_PX 768u
#define CYCLES  30
/* Pixels of the grid beyond the hole's edge that take part of it. */
#define SOFT_PX 1

typedef struct Grid {
    UfView view;
    UfPicture *picture;
    float *value, *nothing; /* four a pixel */
    uint8_t *is_hole;       /* 1: to be solved */
} Grid;

/* Large enough for the hole and a ring of a quarter more. */
static UfView view_of(const UfCap *cap)
{
    double far_rad = fmax(cap->cap_rad, cap->region->far_rad),
           reach = 2 * tan(fmin(1.25 * far_rad + 0.05, 2.0) / 2);
    return (UfView){.projection = UF_PROJECTION_STEREOGRAPHIC,
                    .rotation = uf_cap_rotation(cap, 0),
                    .scale_px = SIDE_PX / 2 / reach,
                    .centre_x_px = SIDE_PX / 2.0,
                    .centre_y_px = SIDE_PX / 2.0,
                    .width_px = SIDE_PX,
                    .height_px = SIDE_PX};
}

/* Any part of a cell of the grid: its middle and its corners. */
static bool touches_hole(const UfCap *cap, const UfView *view, size_t x, size_t y)
{
    UfDirection pole = {0, cap->at_zenith ? 1 : -1, 0};
    for (int k = 0; k < 9; k++) {
        UfPixelPoint at = {(double)x + 0.5 * (k % 3), (double)y + 0.5 * (k / 3)};
        UfDirection direction;
        if (!uf_view_direction(view, at, &direction))
            continue;
        if (uf_angle_between_rad(direction, pole) < cap->cap_rad || uf_region_holds(cap->region, direction))
            return true;
    }
    return false;
}

static void mark_hole(const UfCap *cap, Grid *grid)
{
    const int side = (int)SIDE_PX;
    uint8_t *raw = grid->is_hole + (size_t)SIDE_PX * SIDE_PX; /* the second half of the buffer */
#pragma omp parallel for schedule(dynamic, 8) num_threads(cap->threads)
    for (int i = 0; i < side * side; i++)
        raw[i] = touches_hole(cap, &grid->view, (size_t)(i % side), (size_t)(i / side));
    for (int y = 0; y < side; y++)
        for (int x = 0; x < side; x++)
            for (int j = y - SOFT_PX; j <= y + SOFT_PX && raw[y * side + x] != 0; j++)
                for (int i = x - SOFT_PX; i <= x + SOFT_PX; i++)
                    if (i >= 0 && j >= 0 && i < side && j < side)
                        grid->is_hole[j * side + i] = 1;
}

/* The picture around the hole; transparent places are solved like the hole. The first guess is the mean. */
static UfStatus load(Grid *grid, UfReport *report)
{
    size_t channels = uf_colour_channels(grid->picture), count = 0;
    double mean[3] = {0};
    float *colour = uf_alloc(SIDE_PX * channels, sizeof *colour), *alpha = uf_alloc(SIDE_PX, sizeof *alpha);
    if (colour == NULL || alpha == NULL) {
        free(colour);
        free(alpha);
        return uf_fail_memory(report);
    }
    for (size_t y = 0; y < SIDE_PX; y++) {
        uf_row_load(grid->picture, y, colour, alpha);
        for (size_t x = 0; x < SIDE_PX; x++) {
            size_t i = y * SIDE_PX + x;
            if (grid->is_hole[i] != 0 || !(alpha[x] > 0.5F)) {
                grid->is_hole[i] = 1;
                continue;
            }
            count++;
            for (size_t c = 0; c < channels; c++) {
                grid->value[4 * i + c] = colour[x * channels + c];
                mean[c] += (double)colour[x * channels + c];
            }
        }
    }
    for (size_t i = 0; count > 0 && i < (size_t)SIDE_PX * SIDE_PX; i++)
        for (size_t c = 0; grid->is_hole[i] != 0 && c < channels; c++)
            grid->value[4 * i + c] = (float)(mean[c] / (double)count);
    free(colour);
    free(alpha);
    return count > 0
               ? UF_OK
               : uf_fail(report, UF_ERROR_UNCLEAR, "nothing around what is to be covered is opaque picture");
}

UfStatus uf_spread(const UfPicture *panorama, const UfCap *cap, UfCanvas *out, UfView *view, UfReport *report)
{
    size_t cells = (size_t)SIDE_PX * SIDE_PX;
    UfView whole = uf_view_equirectangular(cap->width_px);
    UfRemapOptions options = {.threads = cap->threads};
    Grid grid = {.view = view_of(cap)};
    grid.value = uf_alloc_zero(4 * cells, sizeof *grid.value);
    grid.nothing = uf_alloc_zero(4 * cells, sizeof *grid.nothing);
    grid.is_hole = uf_alloc_zero(2 * cells, 1);
    UfStatus status =
        grid.value == NULL || grid.nothing == NULL || grid.is_hole == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK)
        status = uf_remap(panorama, &whole, &grid.view, &options, &grid.picture, report);
    if (status != UF_OK)
        goto cleanup;
    mark_hole(cap, &grid);
    if ((status = load(&grid, report)) != UF_OK)
        goto cleanup;
    status = uf_poisson_solve(SIDE_PX, SIDE_PX, grid.is_hole, grid.value, grid.nothing, CYCLES, cap->threads,
                              report);
    if (status != UF_OK)
        goto cleanup;
    *out = (UfCanvas){SIDE_PX, SIDE_PX, grid.value, grid.is_hole};
    *view = grid.view;
    grid.value = NULL;
    grid.is_hole = NULL;
cleanup:
    uf_picture_free(&grid.picture);
    free(grid.value);
    free(grid.nothing);
    free(grid.is_hole);
    return status;
}

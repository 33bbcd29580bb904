/* What is said about each area of unseen cells: its centre, its share, how far it reaches. */
#include "plan/areas.h"

#include <math.h>

#include "base/memory.h"
#include "plan/touching.h"

/* Smaller areas are left out of the list: a circle of 0.115 degrees. They stay in the share that is not seen.
 */
#define LEAST_SHARE 1e-6
/* An area whose centre is so near to a pole is centred on it: its longitude would be noise. */
#define POLE_SNAP_RAD 1e-3

typedef struct Sums {
    double x, y, z, area, open_area;
    UfDirection centre, farthest;
    double farthest_square; /* of the chord between them */
} Sums;

/* The mean of a cell's directions. Blocks are large: Gauss and Legendre's three points each way (Abramowitz
 * and Stegun, 25.4.30). */
static UfDirection mean_direction(const UfCells *cells, const UfCell *cell)
{
    static const double at[3] = {0.1127016653792583, 0.5, 0.8872983346207417};
    static const double weight[3] = {5.0 / 18, 8.0 / 18, 5.0 / 18};
    if (cell->side <= 1u << (cells->level - cells->first_level))
        return cell->middle;
    UfDirection mean = {0, 0, 0};
    for (int i = 0; i < 9; i++) {
        UfDirection here = uf_cell_direction(cells, cell, at[i % 3], at[i / 3]);
        double share = weight[i % 3] * weight[i / 3];
        mean = (UfDirection){mean.x + share * here.x, mean.y + share * here.y, mean.z + share * here.z};
    }
    return mean;
}

static void add_to_sums(const UfCells *cells, const UfCell *cell, Sums *sums)
{
    double area = (double)cell->side * cell->side;
    UfDirection mean = mean_direction(cells, cell);
    sums->x += area * mean.x;
    sums->y += area * mean.y;
    sums->z += area * mean.z;
    sums->area += area;
    sums->open_area += (cell->look & UF_LOOK_CONTAINED) == 0 ? area : 0;
}

/* An area all round the sphere has no centre of gravity but the sphere's: the larger axis part is taken then.
 */
static void set_centre(Sums *sums)
{
    double length = sqrt(sums->x * sums->x + sums->y * sums->y + sums->z * sums->z);
    if (!(length > 1e-9 * sums->area)) {
        sums->centre = (UfDirection){0, -1, 0};
        return;
    }
    sums->centre = (UfDirection){sums->x / length, sums->y / length, sums->z / length};
    if (hypot(sums->centre.x, sums->centre.z) < POLE_SNAP_RAD)
        sums->centre = (UfDirection){0, sums->centre.y > 0 ? 1 : -1, 0};
}

static double chord_square(UfDirection a, UfDirection b)
{
    double x = a.x - b.x, y = a.y - b.y, z = a.z - b.z;
    return x * x + y * y + z * z;
}

static void widen_to(UfDirection at, Sums *sums)
{
    double square = chord_square(sums->centre, at);
    if (square >= sums->farthest_square) {
        sums->farthest_square = square;
        sums->farthest = at;
    }
}

/* A cell that is not whole counts as its middle. */
static void widen(const UfCells *cells, const UfCell *cell, Sums *sums)
{
    double beyond = uf_cells_block_radius(cell->side / uf_cells_side(cells)); /* its corners, and more */
    double enough = sqrt(sums->farthest_square) - beyond;
    if (enough > 0 && chord_square(sums->centre, cell->middle) < enough * enough)
        return;
    if (!cell->is_whole) {
        widen_to(cell->middle, sums);
        return;
    }
    UfDirection corners[4];
    uf_cell_corners(cells, cell, corners);
    for (int i = 0; i < 4; i++)
        widen_to(corners[i], sums);
}

static int by_share(const void *a, const void *b)
{
    double share_a = ((const UfBlindArea *)a)->share;
    double share_b = ((const UfBlindArea *)b)->share;
    return (share_a < share_b) - (share_a > share_b);
}

static UfStatus list_areas(const Sums *sums, size_t count, double whole, UfPlan *plan, UfReport *report)
{
    UfBlindArea *areas = uf_alloc(count, sizeof *areas);
    if (areas == NULL)
        return uf_fail_memory(report);
    size_t found = 0;
    for (size_t i = 0; i < count; i++) {
        if (!(sums[i].area > LEAST_SHARE * whole))
            continue;
        UfLonLat at = uf_lonlat_from_direction(sums[i].centre);
        areas[found++] = (UfBlindArea){.lon_rad = at.lon_rad,
                                       .lat_rad = at.lat_rad,
                                       .radius_rad = uf_angle_between_rad(sums[i].centre, sums[i].farthest),
                                       .share = sums[i].area / whole,
                                       .lens_share = sums[i].open_area / whole};
    }
    qsort(areas, found, sizeof *areas, by_share);
    for (size_t i = 0; i < found && i < UF_PLAN_MAX_BLIND; i++)
        plan->blind[i] = areas[i];
    plan->blind_count = found;
    free(areas);
    return UF_OK;
}

UfStatus uf_find_areas(const UfCells *cells, UfPlan *plan, UfReport *report)
{
    plan->blind_count = 0;
    if (cells->count == 0)
        return UF_OK;
    uint32_t *areas = uf_alloc(cells->count, sizeof *areas);
    size_t count = 0;
    Sums *sums = NULL;
    UfStatus status = areas != NULL ? uf_number_areas(cells, areas, &count, report) : uf_fail_memory(report);
    if (status != UF_OK)
        goto cleanup;
    sums = uf_alloc_zero(count, sizeof *sums);
    if (sums == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    for (size_t i = 0; i < cells->count; i++)
        add_to_sums(cells, &cells->cells[i], &sums[areas[i]]);
    for (size_t i = 0; i < count; i++)
        set_centre(&sums[i]);
    for (size_t i = 0; i < cells->count; i++)
        widen(cells, &cells->cells[i], &sums[areas[i]]);
    status = list_areas(sums, count, uf_cells_side(cells) * uf_cells_side(cells), plan, report);
cleanup:
    free(areas);
    free(sums);
    return status;
}

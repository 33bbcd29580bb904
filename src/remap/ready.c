/* Looking over a target for its shortest footprints. */
#include "remap/ready.h"

#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "remap/lobe.h"

/* Footprints are looked at this far apart in the target. */
#define APART_PX 16u
/*
 * Detail of the equator's size gives a circle of r pixels round the pole no more than pi r waves, and some
 * more of which little is left (the Bessel functions J_m(pi r)): these are kept.
 */
#define POLE_WAVES 3

/* The rows about a footprint, halfway to the next one, cannot be filtered further than it allows. */
static void note(const UfMap *map, const UfJacobian *jacobian, double v_px, float *lengths)
{
    const double height = (double)map->source.height_px;
    double reach = (fabs(jacobian->vx) + fabs(jacobian->vy)) * APART_PX / 2 + 1;
    double top = fmax(0, v_px - reach), bottom = fmin(height, v_px + reach);
    float length = (float)hypot(jacobian->ux, jacobian->uy);
    for (size_t y = (size_t)top; (double)y < bottom; y++)
        lengths[y] = length < lengths[y] ? length : lengths[y];
}

static void look(const UfMap *map, double x_px, double y_px, float *lengths)
{
    UfMapColumns columns;
    UfMapRow rows[3];
    uf_map_columns(map, x_px - 1, 3, &columns);
    for (int i = 0; i < 3; i++)
        uf_map_row(map, &columns, x_px - 1, y_px - 1 + i, 3, &rows[i]);
    if (isnan(rows[1].u_px[1]))
        return;
    UfJacobian jacobian = uf_map_jacobian(map, &rows[0], &rows[1], &rows[2], 1);
    note(map, &jacobian, rows[1].v_px[1], lengths);
}

static float worth(float length, size_t width_px)
{
    double kept = 1 / (1 / (double)length + 2.0 * POLE_WAVES / (double)width_px);
    return isfinite(length) && uf_lobe_share(kept) > 0 ? (float)kept : 1;
}

/* The shortest length on each row, of rows of nodes that are shared out among threads. */
static void look_over(const UfMap *map, int threads, float *lengths)
{
    const size_t width = map->target.width_px, height = map->target.height_px, rows = map->source.height_px;
    /* in the middle of each piece, of small targets in theirs */
    const double middle_x = fmin(APART_PX, (double)width) / 2, middle_y = fmin(APART_PX, (double)height) / 2;
    for (size_t i = 0; i < (size_t)threads * rows; i++)
        lengths[i] = INFINITY;
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t y = 0; y < height; y += APART_PX)
        for (size_t x = 0; x < width; x += APART_PX)
            look(map, (double)x + middle_x, (double)y + middle_y,
                 lengths + (size_t)omp_get_thread_num() * rows);
    for (size_t i = rows; i < (size_t)threads * rows; i++)
        lengths[i % rows] = lengths[i] < lengths[i % rows] ? lengths[i] : lengths[i % rows];
}

float *uf_ready_find(const UfMap *map, int threads)
{
    float *lengths = uf_alloc(map->source.height_px, (size_t)threads * sizeof *lengths);
    if (lengths == NULL)
        return NULL;
    look_over(map, threads, lengths);
    for (size_t y = 0; y < map->source.height_px; y++)
        lengths[y] = worth(lengths[y], map->source.width_px);
    return lengths;
}

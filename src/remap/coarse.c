/* Differentiating a tile. */
#include "remap/coarse.h"

#include <math.h>

#include "base/cpu.h"
#include "remap/average.h"
#include "remap/window.h"

/* Of each row of a tile, in powers of s: mean places of squares of side 1 about the pixels, and the steps for
 * one pixel across and down. */
typedef struct Rows {
    float at[3][UF_TILE_PX], across[2][UF_TILE_PX], down[3][UF_TILE_PX];
} Rows;

/* What pixels are computed from: coefficients, of the cosine of the latitude, too, where that is asked for.
 */
typedef struct Work {
    const double (*u)[3], (*v)[3];
    double level[3][3];
    double per_px; /* steps of s and t to a pixel */
    double off_u, off_v;
    bool by_angles;
    size_t side, first; /* number of the first pixel */
} Work;

/* The mean place is a 24th of the sum of the second derivatives beside the middle's. */
UF_INLINE void find_rows(const double (*of)[3], double offset, double per_px, int side, Rows *out)
{
    const double bend = per_px * per_px / 12;
#pragma omp simd
    for (int y = 0; y < side; y++) {
        const double t = (y + 0.5) * per_px - 1;
        const double a = of[0][0] + t * (of[1][0] + t * of[2][0]),
                     b = of[0][1] + t * (of[1][1] + t * of[2][1]),
                     c = of[0][2] + t * (of[1][2] + t * of[2][2]);
        out->at[0][y] = (float)(a + bend * (c + of[2][0]) + offset);
        out->at[1][y] = (float)(b + bend * of[2][1]);
        out->at[2][y] = (float)(c + bend * of[2][2]);
        out->across[0][y] = (float)(b * per_px);
        out->across[1][y] = (float)(2 * c * per_px);
        out->down[0][y] = (float)((of[1][0] + 2 * t * of[2][0]) * per_px);
        out->down[1][y] = (float)((of[1][1] + 2 * t * of[2][1]) * per_px);
        out->down[2][y] = (float)((of[1][2] + 2 * t * of[2][2]) * per_px);
    }
}

/* Places and steps along one axis of the source. */
UF_INLINE void fill_axis(const Rows *rows, const float *s, int side, float *at, float *across, float *down)
{
    for (int y = 0; y < side; y++, at += UF_TILE_PX, across += UF_TILE_PX, down += UF_TILE_PX) {
        const float a = rows->at[0][y], b = rows->at[1][y], c = rows->at[2][y];
        const float x0 = rows->across[0][y], x1 = rows->across[1][y];
        const float y0 = rows->down[0][y], y1 = rows->down[1][y], y2 = rows->down[2][y];
#pragma omp simd
        for (int i = 0; i < side; i++) {
            at[i] = a + s[i] * (b + s[i] * c);
            across[i] = x0 + s[i] * x1;
            down[i] = y0 + s[i] * (y1 + s[i] * y2);
        }
    }
}

UF_INLINE void fill_level(const Work *work, const float *s, int side, float *level)
{
    for (int y = 0; y < side; y++, level += UF_TILE_PX) {
        const double t = (y + 0.5) * work->per_px - 1;
        float row[3];
        for (int k = 0; k < 3; k++)
            row[k] = (float)(work->level[0][k] + t * (work->level[1][k] + t * work->level[2][k]));
#pragma omp simd
        for (int i = 0; i < side; i++)
            level[i] = row[0] + s[i] * (row[1] + s[i] * row[2]);
    }
}

UF_INLINE void fill_side(const Work *work, int side, UfCoarse *out)
{
    const size_t first = work->first;
    UfSlopes *slopes = &out->slopes;
    float s[UF_TILE_PX];
    Rows rows;
    for (int i = 0; i < side; i++)
        s[i] = (float)((i + 0.5) * work->per_px - 1);
    find_rows(work->u, work->off_u, work->per_px, side, &rows);
    fill_axis(&rows, s, side, out->boxes.u + first, slopes->ux + first, slopes->uy + first);
    find_rows(work->v, work->off_v, work->per_px, side, &rows);
    fill_axis(&rows, s, side, out->boxes.v + first, slopes->vx + first, slopes->vy + first);
    if (work->by_angles)
        fill_level(work, s, side, out->level + first);
}

UF_INLINE void fill(const Work *work, UfCoarse *out)
{
    if (work->side == UF_TILE_PX)
        fill_side(work, UF_TILE_PX, out);
    else
        fill_side(work, (int)work->side, out);
}

/* All shares are 1, and so clearly that no root need be taken. */
UF_INLINE bool is_clear(const UfCoarse *coarse)
{
    const UfSlopes *slopes = &coarse->slopes;
    const float clear = 1.001F * UF_SHARE_TO * UF_SHARE_TO;
    float least = INFINITY;
#pragma omp simd reduction(min : least)
    for (int i = 0; i < UF_BOXES_MAX; i++) {
        const float round = coarse->level[i], ux = slopes->ux[i] * round, uy = slopes->uy[i] * round;
        const float vx = slopes->vx[i], vy = slopes->vy[i];
        const float e = ux * ux + vx * vx, g = uy * uy + vy * vy, f = ux * uy + vx * vy;
        /* the squares of the singular values lie on both sides of `clear`, or beyond it in the mean */
        const float apart = f * f - (clear - e) * (clear - g), beyond = e + g - 2 * clear;
        const float more = apart > beyond ? apart : beyond;
        least = more < least ? more : least;
    }
    return least > 0;
}

/* In loops that the compiler makes vectors of: it does not where a branch could spare some of the work. */
UF_INLINE void fill_shares(UfCoarse *out)
{
    const UfSlopes *slopes = &out->slopes;
    const float *const level = out->level;
    float *const share = out->share;
#pragma omp simd
    for (int i = 0; i < UF_BOXES_MAX; i++)
        share[i] =
            uf_share_place(slopes->ux[i] * level[i], slopes->uy[i] * level[i], slopes->vx[i], slopes->vy[i]);
#pragma omp simd
    for (int i = 0; i < UF_BOXES_MAX; i++)
        share[i] = share[i] > 0 ? share[i] : 0;
#pragma omp simd
    for (int i = 0; i < UF_BOXES_MAX; i++)
        share[i] = share[i] < 1 ? share[i] : 1;
#pragma omp simd
    for (int i = 0; i < UF_BOXES_MAX; i++)
        share[i] = uf_share_smooth(share[i]);
}

/* Widens it by the values. */
UF_INLINE void find_range(const float *values, int count, float *least, float *most)
{
    float low = *least, high = *most;
#pragma omp simd reduction(min : low) reduction(max : high)
    for (int i = 0; i < count; i++) {
        low = values[i] < low ? values[i] : low;
        high = values[i] > high ? values[i] : high;
    }
    *least = low;
    *most = high;
}

/* Returns whether all of them are 1. */
UF_INLINE bool find_shares(size_t width, size_t height, UfCoarse *out)
{
    float least = 1, most = 0;
    if (is_clear(out)) {
        for (size_t i = 0; i < UF_BOXES_MAX; i++)
            out->share[i] = 1;
        return out->some = true;
    }
    fill_shares(out);
    if (width == UF_TILE_PX)
        find_range(out->share, (int)(height * UF_TILE_PX), &least, &most);
    else
        for (size_t y = 0; y < height; y++)
            find_range(out->share + y * UF_TILE_PX, (int)width, &least, &most);
    out->some = most > 0;
    return least >= 1;
}

/* The same code, compiled for one instruction set and another. */
static void fill_scalar(const Work *work, UfCoarse *out)
{
    fill(work, out);
}

static bool shares_scalar(size_t width, size_t height, UfCoarse *out)
{
    return find_shares(width, height, out);
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static void fill_avx2(const Work *work, UfCoarse *out)
{
    fill(work, out);
}

__attribute__((target("avx2"))) static bool shares_avx2(size_t width, size_t height, UfCoarse *out)
{
    return find_shares(width, height, out);
}
#else
#define fill_avx2   fill_scalar
#define shares_avx2 shares_scalar
#endif

/* Room before the base, for what the footprints reach. */
static void set_base(const UfTile *tile, size_t side, UfCoarse *out)
{
    UfJacobian jacobians[UF_TILE_POINTS];
    double u = 0, v = 0;
    uf_tile_jacobians(tile, jacobians);
    for (size_t i = 0; i < UF_TILE_POINTS; i++) {
        const double across = fabs(jacobians[i].ux) + fabs(jacobians[i].uy),
                     down = fabs(jacobians[i].vx) + fabs(jacobians[i].vy);
        u = across > u ? across : u;
        v = down > v ? down : v;
    }
    out->first_u = tile->base_u;
    const double steps = (double)UF_TILE_PX / (double)side; /* the Jacobians are for whole tiles */
    out->boxes.base_u = tile->base_u - 32 - (ptrdiff_t)(16 * steps * u) - UF_TILE_PX;
    out->boxes.base_v = tile->base_v - 32 - (ptrdiff_t)(16 * steps * v) - UF_TILE_PX;
}

/* The parabolas through the cosines at the nodes. */
static void level_of(const UfMap *map, const UfTile *tile, double out[3][3])
{
    double rows[3][3], at[3];
    for (int k = 0; k < 3; k++) {
        for (int i = 0; i < 3; i++) {
            const double v_px = uf_tile_place(tile, k - 1, i - 1).y_px;
            at[i] = cos((map->source.centre_y_px - v_px) / map->source.scale_px);
        }
        uf_parabola(at[0], at[1], at[2], rows[k]);
    }
    for (int i = 0; i < 3; i++) {
        uf_parabola(rows[0][i], rows[1][i], rows[2][i], at);
        for (int k = 0; k < 3; k++)
            out[i][k] = at[k];
    }
}

void uf_coarse_add(const UfMap *map, const UfTile *tile, size_t left, size_t top, size_t side, bool by_angles,
                   unsigned cpu_flags, UfCoarse *out)
{
    const double turn_px = map->round_px;
    if (left == 0 && top == 0) {
        set_base(tile, side, out);
        for (size_t i = 0; i < UF_BOXES_MAX && !by_angles; i++)
            out->level[i] = 1;
    }
    const double turns = round((double)(tile->base_u - out->first_u) / turn_px);
    Work work = {.u = tile->u,
                 .v = tile->v,
                 .per_px = 2 / (double)side,
                 .off_u = (double)(tile->base_u - out->boxes.base_u) - turns * turn_px - 0.5,
                 .off_v = (double)(tile->base_v - out->boxes.base_v) - 0.5,
                 .by_angles = by_angles,
                 .side = side,
                 .first = top * UF_TILE_PX + left};
    if (by_angles)
        level_of(map, tile, work.level);
    (cpu_flags & UF_CPU_AVX2 ? fill_avx2 : fill_scalar)(&work, out);
}

void uf_coarse_finish(const UfMap *map, size_t width, size_t height, unsigned cpu_flags, UfCoarse *out)
{
    uf_boxes_size(&out->slopes, UF_BOXES_MAX, (float)map->round_px, cpu_flags, &out->boxes);
    out->altogether = (cpu_flags & UF_CPU_AVX2 ? shares_avx2 : shares_scalar)(width, height, out);
}

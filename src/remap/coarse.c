/* Differentiating a tile. */
#include "remap/coarse.h"

#include <math.h>

#include "base/cpu.h"
#include "remap/average.h"
#include "remap/window.h"

/* Of a row, in powers of s: the values, their slopes down the tile, and half the slopes of these. */
typedef struct Row {
    float a, b, c, da, db, dc, dda, ddb, ddc;
} Row;

/* `of` are the nine coefficients. */
static Row row_of(const double *of, double t, double offset)
{
    Row row = {.a = (float)(of[0] + t * (of[3] + t * of[6]) + offset),
               .b = (float)(of[1] + t * (of[4] + t * of[7])),
               .c = (float)(of[2] + t * (of[5] + t * of[8])),
               .da = (float)(of[3] + 2 * t * of[6]),
               .db = (float)(of[4] + 2 * t * of[7]),
               .dc = (float)(of[5] + 2 * t * of[8]),
               .dda = (float)of[6],
               .ddb = (float)of[7],
               .ddc = (float)of[8]};
    return row;
}

/* What a row of pixels is computed from; level is the cosine of the latitude, or 1. */
typedef struct Work {
    Row u, v, level;
    float per_px;       /* steps of s and t to a pixel */
    size_t side, first; /* number of the first pixel */
} Work;

UF_INLINE void fill_row(const Work *work, UfCoarse *out)
{
    const Row u = work->u, v = work->v, level = work->level;
    const float per_px = work->per_px;
    float *const at_u = out->boxes.u + work->first, *const at_v = out->boxes.v + work->first;
    float *const ux = out->slopes.ux + work->first, *const uy = out->slopes.uy + work->first;
    float *const vx = out->slopes.vx + work->first, *const vy = out->slopes.vy + work->first;
    float *const round = out->level + work->first;
    /* the mean place of a square of side 1 is a 24th of the sum of the second derivatives beside its middle's
     */
    const float bend = per_px * per_px / 12;
#pragma omp simd
    for (int i = 0; i < (int)work->side; i++) {
        const float s = ((float)i + 0.5F) * per_px - 1;
        at_u[i] = u.a + s * (u.b + s * u.c) + bend * (u.c + u.dda + s * (u.ddb + s * u.ddc));
        at_v[i] = v.a + s * (v.b + s * v.c) + bend * (v.c + v.dda + s * (v.ddb + s * v.ddc));
        ux[i] = (u.b + 2 * s * u.c) * per_px;
        uy[i] = (u.da + s * (u.db + s * u.dc)) * per_px;
        vx[i] = (v.b + 2 * s * v.c) * per_px;
        vy[i] = (v.da + s * (v.db + s * v.dc)) * per_px;
        round[i] = level.a + s * (level.b + s * level.c);
    }
}

/* In loops that the compiler makes vectors of: it does not where a branch could spare some of the work. */
UF_INLINE void fill_shares(const UfSlopes *slopes, const float *level, float *share)
{
#pragma omp simd
    for (size_t i = 0; i < UF_BOXES_MAX; i++)
        share[i] =
            uf_share_place(slopes->ux[i] * level[i], slopes->uy[i] * level[i], slopes->vx[i], slopes->vy[i]);
#pragma omp simd
    for (size_t i = 0; i < UF_BOXES_MAX; i++)
        share[i] = share[i] > 0 ? share[i] : 0;
#pragma omp simd
    for (size_t i = 0; i < UF_BOXES_MAX; i++)
        share[i] = share[i] < 1 ? share[i] : 1;
#pragma omp simd
    for (size_t i = 0; i < UF_BOXES_MAX; i++)
        share[i] = uf_share_smooth(share[i]);
}

static void row_scalar(const Work *work, UfCoarse *out)
{
    fill_row(work, out);
}

static void shares_scalar(UfCoarse *out)
{
    fill_shares(&out->slopes, out->level, out->share);
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static void row_avx2(const Work *work, UfCoarse *out)
{
    fill_row(work, out);
}

__attribute__((target("avx2"))) static void shares_avx2(UfCoarse *out)
{
    fill_shares(&out->slopes, out->level, out->share);
}
#endif

/* Room before the base, for what the footprints reach. */
static void set_base(const UfTile *tile, size_t side, UfCoarse *out)
{
    UfJacobian jacobians[UF_TILE_POINTS];
    double u = 0, v = 0;
    uf_tile_jacobians(tile, jacobians);
    for (size_t i = 0; i < UF_TILE_POINTS; i++) {
        u = fmax(u, fabs(jacobians[i].ux) + fabs(jacobians[i].uy));
        v = fmax(v, fabs(jacobians[i].vx) + fabs(jacobians[i].vy));
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
    double level[3][3] = {{1}};
    const double per_px = 2 / (double)side, turn_px = map->round_px;
    if (left == 0 && top == 0)
        set_base(tile, side, out);
    if (by_angles)
        level_of(map, tile, level);
    const double turns = round((double)(tile->base_u - out->first_u) / turn_px);
    const double off_u = (double)(tile->base_u - out->boxes.base_u) - turns * turn_px,
                 off_v = (double)(tile->base_v - out->boxes.base_v);
    for (size_t y = 0; y < side; y++) {
        const double t = ((double)y + 0.5) * per_px - 1;
        const Work work = {.u = row_of(tile->u[0], t, off_u - 0.5),
                           .v = row_of(tile->v[0], t, off_v - 0.5),
                           .level = row_of(level[0], t, 0),
                           .per_px = (float)per_px,
                           .side = side,
                           .first = (top + y) * UF_TILE_PX + left};
#if defined(__x86_64__)
        if (cpu_flags & UF_CPU_AVX2)
            row_avx2(&work, out);
        else
#endif
            row_scalar(&work, out);
    }
    (void)cpu_flags;
}

void uf_coarse_finish(const UfMap *map, size_t width, size_t height, unsigned cpu_flags, UfCoarse *out)
{
    uf_boxes_size(&out->slopes, UF_BOXES_MAX, (float)map->round_px, cpu_flags, &out->boxes);
#if defined(__x86_64__)
    if (cpu_flags & UF_CPU_AVX2)
        shares_avx2(out);
    else
#endif
        shares_scalar(out);
    out->count = 0;
    out->altogether = true;
    for (size_t y = 0; y < height; y++)
        for (size_t i = y * UF_TILE_PX; i < y * UF_TILE_PX + width; i++) {
            out->numbers[out->count] = (uint16_t)i;
            out->count += out->share[i] > 0;
            out->altogether = out->altogether && out->share[i] >= 1;
        }
}

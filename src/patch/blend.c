/*
 * Gradient-domain blending (P. Perez, M. Gangnet, A. Blake, Poisson Image Editing, ACM TOG 22(3), 2003).
 * Between two neighbours that come from the same place the wanted difference is that place's; where a seam
 * runs between them, it is the mean of what the two places say. Such means add up to tints and blotches over
 * a long way, so the picture is held to the voted one: differences to it die out within HOLD_SHARE of the
 * hole.
 */
#include "patch/blend.h"

#include "base/memory.h"
#include "patch/poisson.h"

#define CYCLES     6
#define HOLD_SHARE (1 / 12.0F)
#define HOLD_PX    6.0F

typedef struct Blend {
    const UfMatcher *m;
    const UfCanvas *canvas;
    size_t width, height; /* of the matcher's box */
} Blend;

static bool is_hole(const Blend *b, size_t x, size_t y)
{
    return b->canvas->cell[y * b->canvas->width + x] == UF_CELL_HOLE;
}

/* Adds value(to) - value(from), both seen with the shift of the place at (x, y); false without one. */
static bool add_view(const Blend *b, size_t x, size_t y, size_t from, size_t to, float *sum)
{
    size_t place = (y - b->m->box.y0) * b->width + x - b->m->box.x0;
    if (!b->m->is_place[place])
        return false;
    long shift = (long)b->m->match[place].dy * (long)b->canvas->width + b->m->match[place].dx;
    const float *p = b->canvas->value + 4 * ((long)from + shift);
    const float *q = b->canvas->value + 4 * ((long)to + shift);
    for (size_t c = 0; c < 4; c++)
        sum[c] += q[c] - p[c];
    return true;
}

/* Adds the wanted difference between a hole pixel and its neighbour to the divergence. */
static void add_difference(const Blend *b, size_t x, size_t y, long dx, long dy, float *divergence)
{
    size_t nx = (size_t)((long)x + dx), ny = (size_t)((long)y + dy);
    size_t from = y * b->canvas->width + x, to = ny * b->canvas->width + nx;
    float sum[4] = {0};
    int views = add_view(b, x, y, from, to, sum);
    if (is_hole(b, nx, ny))
        views += add_view(b, nx, ny, from, to, sum);
    for (size_t c = 0; views > 0 && c < 4; c++)
        divergence[c] += sum[c] / (float)views;
}

UfStatus uf_blend_seams(const UfMatcher *matcher, UfCanvas *canvas, UfReport *report)
{
    Blend b = {matcher, canvas, uf_box_width(matcher->box), uf_box_height(matcher->box)};
    size_t cells = b.width * b.height;
    UfBox box = matcher->box;
    uint8_t *hole = uf_alloc_zero(cells, 1);
    float *u = uf_alloc(cells, 4 * sizeof *u);
    float *f = uf_alloc_zero(cells, 4 * sizeof *f);
    float side = (float)(b.width < b.height ? b.width : b.height);
    float length = side * HOLD_SHARE > HOLD_PX ? side * HOLD_SHARE : HOLD_PX, hold = 1 / (length * length);
    UfStatus status = UF_OK;
    if (hole == NULL || u == NULL || f == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
#pragma omp parallel for schedule(static) num_threads(matcher->threads)
    for (size_t y = 0; y < b.height; y++) {
        memcpy(u + 4 * y * b.width, canvas->value + 4 * ((box.y0 + y) * canvas->width + box.x0),
               b.width * 4 * sizeof *u);
        for (size_t x = 1; y > 0 && y + 1 < b.height && x + 1 < b.width; x++) {
            if (!is_hole(&b, box.x0 + x, box.y0 + y))
                continue;
            float *divergence = f + 4 * (y * b.width + x);
            hole[y * b.width + x] = 1;
            add_difference(&b, box.x0 + x, box.y0 + y, 1, 0, divergence);
            add_difference(&b, box.x0 + x, box.y0 + y, -1, 0, divergence);
            add_difference(&b, box.x0 + x, box.y0 + y, 0, 1, divergence);
            add_difference(&b, box.x0 + x, box.y0 + y, 0, -1, divergence);
            for (size_t c = 0; c < 4; c++)
                divergence[c] -= hold * u[4 * (y * b.width + x) + c];
        }
    }
    status = uf_poisson_solve_held(b.width, b.height, hole, hold, u, f, CYCLES, matcher->threads, report);
    if (status != UF_OK)
        goto cleanup;
    for (size_t y = 0; y < b.height; y++)
        for (size_t x = 0; x < b.width; x++)
            if (hole[y * b.width + x])
                memcpy(canvas->value + 4 * ((box.y0 + y) * canvas->width + box.x0 + x),
                       u + 4 * (y * b.width + x), 4 * sizeof *u);
cleanup:
    free(hole);
    free(u);
    free(f);
    return status;
}

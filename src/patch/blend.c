/*
 * Gradient-domain blending (P. Perez, M. Gangnet, A. Blake, Poisson Image Editing, ACM TOG 22(3), 2003).
 * Between two neighbours that come from the same place the wanted difference is that place's; where a seam
 * runs between them, it is the mean of what the two places say. Such means add up to tints and blotches over
 * a long way, so the picture is held to the voted one: differences to it die out within HOLD_SHARE of the
 * hole.
 */
#include "patch/blend.h"

#include "base/memory.h"
#include "patch/four.h"
#include "patch/poisson.h"

#define CYCLES     2
#define HOLD_SHARE (1 / 12.0F)
#define HOLD_PX    6.0F

typedef struct Blend {
    const UfMatcher *m;
    const UfCanvas *canvas;
    size_t width, height; /* of the matcher's box */
} Blend;

/* value(to) - value(from), both seen with the shift of the place at (x, y), added; false without one. */
static inline bool add_view(const Blend *b, size_t place, const float *from, const float *to, UfFour *sum)
{
    if (!b->m->is_place[place])
        return false;
    long shift = 4 * ((long)b->m->match[place].dy * (long)b->canvas->width + b->m->match[place].dx);
    *sum += uf_four_load(to + shift) - uf_four_load(from + shift);
    return true;
}

/*
 * The divergence of the wanted differences between a hole pixel of the canvas and its four neighbours;
 * `place` is its cell of the box.
 */
static UfFour divergence_at(const Blend *b, size_t pixel, size_t place)
{
    const long canvas_step[4] = {1, -1, (long)b->canvas->width, -(long)b->canvas->width};
    const long box_step[4] = {1, -1, (long)b->width, -(long)b->width};
    const float *from = b->canvas->value + 4 * pixel;
    UfFour divergence = {0};
    for (int k = 0; k < 4; k++) {
        const float *to = from + 4 * canvas_step[k];
        UfFour sum = {0};
        int views = add_view(b, place, from, to, &sum);
        if (b->canvas->cell[(long)pixel + canvas_step[k]] == UF_CELL_HOLE)
            views += add_view(b, (size_t)((long)place + box_step[k]), from, to, &sum);
        if (views > 0)
            divergence += views == 2 ? sum * uf_four_of(0.5F) : sum;
    }
    return divergence;
}

UfStatus uf_blend_seams(const UfMatcher *matcher, UfCanvas *canvas, UfReport *report)
{
    Blend b = {matcher, canvas, uf_box_width(matcher->box), uf_box_height(matcher->box)};
    size_t cells = b.width * b.height;
    UfBox box = matcher->box;
    uint8_t *hole = uf_alloc_zero(cells, 1);
    float *f = uf_alloc(cells, 4 * sizeof *f), *u = canvas->value + 4 * (box.y0 * canvas->width + box.x0);
    float side = (float)(b.width < b.height ? b.width : b.height);
    float length = side * HOLD_SHARE > HOLD_PX ? side * HOLD_SHARE : HOLD_PX, hold = 1 / (length * length);
    UfStatus status = UF_OK;
    if (hole == NULL || f == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    uf_prefer_large_pages(f, cells * 4 * sizeof *f);
#pragma omp parallel for schedule(static) num_threads(matcher->threads)
    for (size_t y = 1; y < b.height - 1; y++)
        for (size_t x = 1; x + 1 < b.width; x++) {
            size_t pixel = (box.y0 + y) * canvas->width + box.x0 + x, place = y * b.width + x;
            if (canvas->cell[pixel] != UF_CELL_HOLE)
                continue;
            hole[place] = 1;
            uf_four_store(f + 4 * place, divergence_at(&b, pixel, place) -
                                             uf_four_of(hold) * uf_four_load(canvas->value + 4 * pixel));
        }
    status = uf_poisson_solve_held(b.width, b.height, hole, hold, canvas->width, u, f, CYCLES,
                                   matcher->threads, report);
cleanup:
    free(hole);
    free(f);
    return status;
}

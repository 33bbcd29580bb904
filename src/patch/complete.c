/*
 * Completion from coarse to fine: find for every patch that touches the hole the most similar one of the
 * source, let all patches that cover a pixel vote for its colour, and again. Y. Wexler, E. Shechtman, M.
 * Irani, Space-Time Completion of Video, IEEE TPAMI 29(3), 463-476 (2007).
 */
#include "patch/complete.h"

#include <math.h>

#include "base/memory.h"
#include "patch/blend.h"
#include "patch/labels.h"
#include "patch/patchmatch.h"
#include "patch/repeats.h"

#define REACH      UF_PATCH_REACH
#define MAX_LEVELS 12
/* The hole's size at the coarsest level, and the canvas's side at which repeats are looked for. */
#define COARSEST_HOLE_PX 100u
#define REPEATS_SIDE_PX  400u
/* From this side of the hole on a level is large. */
#define LARGE_SIDE_PX 450u
/* A patch's say falls with its distance from the picture that is known (Wexler et al., section 3.2). */
#define CONFIDENCE_BASE 1.3F

typedef struct Levels {
    UfCanvas canvas[MAX_LEVELS]; /* 0 is a copy of the caller's struct, not owned */
    size_t count;
} Levels;

static size_t hole_side(const UfCanvas *canvas)
{
    UfBox box;
    if (!uf_canvas_hole_box(canvas, 0, &box))
        return 0;
    size_t w = uf_box_width(box), h = uf_box_height(box);
    return w > h ? w : h;
}

static UfStatus build_levels(const UfCanvas *canvas, Levels *levels, UfReport *report)
{
    levels->canvas[0] = *canvas;
    levels->count = 1;
    while (levels->count < MAX_LEVELS &&
           hole_side(&levels->canvas[levels->count - 1]) >= (size_t)2 * COARSEST_HOLE_PX) {
        UfStatus status =
            uf_canvas_halve(&levels->canvas[levels->count - 1], &levels->canvas[levels->count], report);
        if (status != UF_OK)
            return status;
        levels->count++;
    }
    return UF_OK;
}

/* Hole values at the coarsest level: relaxed to the mean of their neighbours. */
static void relax_hole(UfCanvas *canvas)
{
    size_t w = canvas->width;
    for (int turn = 0; turn < 400; turn++)
        for (size_t y = 1; y + 1 < canvas->height; y++)
            for (size_t x = 1; x + 1 < w; x++) {
                size_t i = y * w + x;
                if (canvas->cell[i] != UF_CELL_HOLE)
                    continue;
                for (size_t c = 0; c < 4; c++)
                    canvas->value[4 * i + c] =
                        (canvas->value[4 * (i - 1) + c] + canvas->value[4 * (i + 1) + c] +
                         canvas->value[4 * (i - w) + c] + canvas->value[4 * (i + w) + c]) /
                        4;
            }
}

/* City-block distance to the nearest pixel that is not hole, in two passes; box-sized. */
static void hole_depth(const UfCanvas *canvas, UfBox box, float *depth)
{
    size_t w = uf_box_width(box), h = uf_box_height(box);
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++) {
            float *d = depth + y * w + x;
            *d = canvas->cell[(box.y0 + y) * canvas->width + box.x0 + x] == UF_CELL_HOLE ? 1e9F : 0;
            if (x > 0)
                *d = fminf(*d, d[-1] + 1);
            if (y > 0)
                *d = fminf(*d, *(d - w) + 1);
        }
    for (size_t y = h; y-- > 0;)
        for (size_t x = w; x-- > 0;) {
            float *d = depth + y * w + x;
            if (x + 1 < w)
                *d = fminf(*d, d[1] + 1);
            if (y + 1 < h)
                *d = fminf(*d, d[w] + 1);
        }
}

/* The 75th percentile of all distances: Wexler's sigma^2. By a histogram of the logarithm. */
static float usual_distance(const UfMatcher *m)
{
    size_t cells = uf_box_width(m->box) * uf_box_height(m->box), total = 0, below = 0;
    size_t histogram[256] = {0};
    for (size_t p = 0; p < cells; p++)
        if (m->is_place[p]) {
            float bin = 128 + 8 * log2f(m->match[p].distance + 1e-9F);
            histogram[bin < 0 ? 0 : bin > 255 ? 255 : (size_t)bin]++;
            total++;
        }
    size_t bin = 0;
    while (bin < 255 && (below += histogram[bin]) * 4 < total * 3)
        bin++;
    return exp2f(((float)bin + 1 - 128) / 8);
}

typedef struct Voting {
    const UfMatcher *matcher;
    const float *weight; /* of each place */
} Voting;

/* The weighted mean of what all patches over this pixel say. */
static void vote_pixel(const Voting *v, UfCanvas *canvas, size_t x, size_t y)
{
    const UfMatcher *m = v->matcher;
    size_t w = uf_box_width(m->box);
    float sum[4] = {0}, total = 0;
    for (size_t qy = y - REACH; qy <= y + REACH; qy++)
        for (size_t qx = x - REACH; qx <= x + REACH; qx++) {
            if (qx < m->box.x0 || qy < m->box.y0 || qx >= m->box.x1 || qy >= m->box.y1)
                continue;
            size_t q = (qy - m->box.y0) * w + qx - m->box.x0;
            if (!m->is_place[q])
                continue;
            const float *from = canvas->value + 4 * ((size_t)((long)y + m->match[q].dy) * canvas->width +
                                                     (size_t)((long)x + m->match[q].dx));
            for (size_t c = 0; c < 4; c++)
                sum[c] += v->weight[q] * from[c];
            total += v->weight[q];
        }
    if (total > 0)
        for (size_t c = 0; c < 4; c++)
            canvas->value[4 * (y * canvas->width + x) + c] = sum[c] / total;
}

/* How much each place's patch counts. */
static void weigh(const UfMatcher *m, const float *depth, float *weight)
{
    size_t cells = uf_box_width(m->box) * uf_box_height(m->box);
    float scale = 1 / (2 * usual_distance(m));
    for (size_t p = 0; p < cells; p++)
        if (m->is_place[p])
            weight[p] =
                powf(CONFIDENCE_BASE, -fminf(depth[p], 60)) * expf(-fminf(m->match[p].distance * scale, 60)) +
                1e-12F;
}

static UfStatus vote(const UfMatcher *m, UfCanvas *canvas, UfReport *report)
{
    size_t w = uf_box_width(m->box), h = uf_box_height(m->box);
    float *depth = uf_alloc(w * h, sizeof *depth);
    float *weight = uf_alloc_zero(w * h, sizeof *weight);
    UfStatus status = UF_OK;
    if (depth == NULL || weight == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    hole_depth(canvas, m->box, depth);
    weigh(m, depth, weight);
    Voting voting = {m, weight};
    /* sources are never hole, so pixels can be renewed in place */
#pragma omp parallel for schedule(dynamic, 8) num_threads(m->threads)
    for (size_t y = m->box.y0; y < m->box.y1; y++)
        for (size_t x = m->box.x0; x < m->box.x1; x++)
            if (canvas->cell[y * canvas->width + x] == UF_CELL_HOLE)
                vote_pixel(&voting, canvas, x, y);
cleanup:
    free(depth);
    free(weight);
    return status;
}

/*
 * How hard a level is worked on: much where it is small. Where it is large, what to copy has been found on
 * the levels before, and is only made exact.
 */
static int turns_of_level(size_t side)
{
    if (side <= 200)
        return 8;
    return side <= LARGE_SIDE_PX ? 3 : 1;
}

static void search(UfMatcher *m)
{
    if (uf_box_width(m->box) > LARGE_SIDE_PX) {
        uf_matcher_search(m, 1, 2, false);
        return;
    }
    for (int step = 4; step >= 1; step /= 2)
        uf_matcher_search(m, step, 8, true);
}

static UfStatus work_level(UfMatcher *m, UfCanvas *canvas, UfReport *report)
{
    int turns = turns_of_level(uf_box_width(m->box));
    UfStatus status = vote(m, canvas, report);
    for (int turn = 0; status == UF_OK && turn < turns; turn++) {
        uf_matcher_measure(m);
        search(m);
        status = vote(m, canvas, report);
    }
    return status;
}

/* The repeats at every level, from where they are found. */
static UfStatus find_repeats(const Levels *levels, UfRepeats *of_level, UfReport *report)
{
    size_t at = 0;
    while (at + 1 < levels->count && levels->canvas[at].width > REPEATS_SIDE_PX)
        at++;
    UfStatus status = uf_repeats_find(&levels->canvas[at], &of_level[at], report);
    if (status != UF_OK)
        return status;
    for (size_t l = at; l-- > 0;) {
        of_level[l] = of_level[l + 1];
        uf_repeats_double(&levels->canvas[l], &of_level[l]);
    }
    for (size_t l = at + 1; l < levels->count; l++)
        uf_repeats_halve(&of_level[l - 1], &of_level[l]);
    return UF_OK;
}

/* The first level: choices from the repeats, cut where they differ least. */
static UfStatus start_level(UfMatcher *m, UfCanvas *canvas, UfReport *report)
{
    relax_hole(canvas);
    uf_matcher_start(m, NULL);
    return uf_labels_choose(m, report);
}

static UfStatus run(Levels *levels, unsigned seed, int threads, UfReport *report)
{
    UfRepeats *repeats = uf_alloc_zero(MAX_LEVELS, sizeof *repeats);
    UfMatcher coarse = {0}, fine = {0};
    if (repeats == NULL)
        return uf_fail_memory(report);
    UfStatus status = find_repeats(levels, repeats, report);
    for (size_t l = levels->count; status == UF_OK && l-- > 0;) {
        UfCanvas *canvas = &levels->canvas[l];
        bool is_first = l + 1 == levels->count;
        status = uf_matcher_create(canvas, &repeats[l], seed + (unsigned)l, threads, &fine, report);
        if (status != UF_OK)
            break;
        if (is_first)
            status = start_level(&fine, canvas, report);
        else
            uf_matcher_start(&fine, &coarse);
        if (status == UF_OK)
            status = work_level(&fine, canvas, report);
        if (status == UF_OK && l == 0)
            status = uf_blend_seams(&fine, canvas, report);
        uf_matcher_clear(&coarse);
        coarse = fine;
        fine = (UfMatcher){0};
    }
    uf_matcher_clear(&coarse);
    uf_matcher_clear(&fine);
    free(repeats);
    return status;
}

UfStatus uf_complete(UfCanvas *canvas, unsigned seed, int threads, UfReport *report)
{
    Levels levels = {0};
    UfStatus status = build_levels(canvas, &levels, report);
    if (status == UF_OK)
        status = run(&levels, seed, threads, report);
    for (size_t l = 1; l < levels.count; l++)
        uf_canvas_clear(&levels.canvas[l]);
    return status;
}

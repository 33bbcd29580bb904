/*
 * Completion from coarse to fine: find for every patch that touches the hole the most similar one of the
 * source, let all patches that cover a pixel vote for its colour, and again. Y. Wexler, E. Shechtman, M.
 * Irani, Space-Time Completion of Video, IEEE TPAMI 29(3), 463-476 (2007).
 */
#include "patch/complete.h"

#include <math.h>

#include "base/memory.h"
#include "base/smaller.h"
#include "patch/blend.h"
#include "patch/four.h"
#include "patch/labels.h"
#include "patch/patchmatch.h"
#include "patch/poisson.h"
#include "patch/repeats.h"

#define REACH      UF_PATCH_REACH
#define PATCH_SIDE UF_PATCH_SIDE
/* Multigrid cycles for the hole's first values, which only start the search. */
#define RELAX_CYCLES 2
/* The hole's size at the coarsest level, and the canvas's side at which repeats are looked for. */
#define COARSEST_HOLE_PX 100u
#define REPEATS_SIDE_PX  400u
/* From this side of the hole on a level is large. */
#define LARGE_SIDE_PX 450u
/* A patch's say falls with its distance from the picture that is known (Wexler et al., section 3.2). */
#define CONFIDENCE_BASE 1.3F
/* Beyond this many pixels it falls no further. */
#define DEEPEST 60

static size_t hole_side(const UfCanvas *canvas)
{
    UfBox box;
    if (!uf_canvas_hole_box(canvas, 0, &box))
        return 0;
    size_t w = uf_box_width(box), h = uf_box_height(box);
    return w > h ? w : h;
}

/* So many levels that the hole is small on the last one. */
static size_t level_count(const UfLevels *levels)
{
    size_t count = 1;
    while (count < levels->count && hole_side(&levels->canvas[count - 1]) >= (size_t)2 * COARSEST_HOLE_PX)
        count++;
    return count;
}

/* Hole values at the coarsest level: the mean of their neighbours. */
static UfStatus relax_hole(UfCanvas *canvas, int threads, UfReport *report)
{
    size_t cells = canvas->width * canvas->height;
    uint8_t *hole = uf_alloc(cells, 1);
    float *zero = uf_alloc_zero(cells, 4 * sizeof *zero);
    UfStatus status = hole == NULL || zero == NULL ? uf_fail_memory(report) : UF_OK;
    for (size_t i = 0; status == UF_OK && i < cells; i++)
        hole[i] = canvas->cell[i] == UF_CELL_HOLE;
    if (status == UF_OK)
        status = uf_poisson_solve(canvas->width, canvas->height, hole, canvas->value, zero, RELAX_CYCLES,
                                  threads, report);
    free(hole);
    free(zero);
    return status;
}

/* City-block distance to the nearest pixel that is not hole, DEEPEST at most, in two passes; box-sized. */
static void hole_depth(const UfCanvas *canvas, UfBox box, uint8_t *depth)
{
    size_t w = uf_box_width(box), h = uf_box_height(box);
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++) {
            uint8_t *d = depth + y * w + x;
            int least = canvas->cell[(box.y0 + y) * canvas->width + box.x0 + x] == UF_CELL_HOLE ? DEEPEST : 0;
            if (x > 0 && d[-1] + 1 < least)
                least = d[-1] + 1;
            if (y > 0 && *(d - w) + 1 < least)
                least = *(d - w) + 1;
            *d = (uint8_t)least;
        }
    for (size_t y = h; y-- > 0;)
        for (size_t x = w; x-- > 0;) {
            uint8_t *d = depth + y * w + x;
            int least = *d;
            if (x + 1 < w && d[1] + 1 < least)
                least = d[1] + 1;
            if (y + 1 < h && d[w] + 1 < least)
                least = d[w] + 1;
            *d = (uint8_t)least;
        }
}

/* The 75th percentile of all distances: Wexler's sigma^2. By a histogram of the logarithm. */
static float usual_distance(const UfMatcher *m)
{
    size_t cells = uf_box_width(m->box) * uf_box_height(m->box), total = 0, below = 0;
    size_t histogram[256] = {0};
#pragma omp parallel for schedule(static) num_threads(m->threads) reduction(+ : total, histogram)
    for (size_t p = 0; p < cells; p++)
        if (m->is_place[p]) {
            uint32_t distance = m->match[p].distance;
            float bin = distance > 0 ? 8 * log2f((float)distance + 1) : 0; /* 256 where there is none yet */
            histogram[bin < 255 ? (size_t)bin : 255]++;
            total++;
        }
    size_t bin = 0;
    while (bin < 255 && (below += histogram[bin]) * 4 < total * 3)
        bin++;
    return exp2f(((float)bin + 1) / 8);
}

/* A level's, each array as large as the matcher's box. */
typedef struct Voting {
    UfMatcher *matcher;
    uint8_t *depth; /* how far from the picture that is known */
    float *weight;  /* how much a place's patch counts; 0 where there is no place, or nothing is summed up */
    uint8_t *alike; /* have all places of the PATCH_SIDE x PATCH_SIDE that end here chosen the same? */
    uint8_t *is_even; /* does each pixel of the place's patch lie in the middle of such places? */
    /* Of each place: have all pixels of its patch been copied from where it says? */
    uint8_t *is_copied;
} Voting;

static void voting_clear(Voting *v)
{
    free(v->depth);
    free(v->weight);
    free(v->alike);
    free(v->is_even);
    free(v->is_copied);
}

static UfStatus voting_create(UfMatcher *m, Voting *out, UfReport *report)
{
    size_t cells = uf_box_width(m->box) * uf_box_height(m->box);
    Voting v = {m,
                uf_alloc(cells, 1),
                uf_alloc(cells, sizeof *v.weight),
                uf_alloc(cells, 1),
                uf_alloc(cells, 1),
                uf_alloc(cells, 1)};
    if (v.depth == NULL || v.weight == NULL || v.alike == NULL || v.is_even == NULL || v.is_copied == NULL) {
        voting_clear(&v);
        return uf_fail_memory(report);
    }
    hole_depth(m->canvas, m->box, v.depth);
    *out = v;
    return UF_OK;
}

/* Columns that one thread goes down. */
#define COLUMNS 128u
/* All places whose patches reach a pixel of one patch. */
#define WIDE (2 * PATCH_SIDE - 1)
#define NONE INT32_MIN

/* A row's choices as distances in the canvas; NONE where there is no place. */
static void read_choices(const UfMatcher *m, size_t first, size_t count, int32_t *choice)
{
    const int32_t width = (int32_t)m->canvas->width;
    const UfMatch *match = m->match + first;
    for (size_t x = 0; x < count; x++)
        choice[x] = m->is_place[first + x] ? match[x].dy * width + match[x].dx : NONE;
}

/* How many rows of `side` alike end here, one above the other, `side` at most. */
static inline uint8_t alike_rows(unsigned along, uint8_t above, bool as_above, unsigned side)
{
    unsigned rows = as_above ? above + 1U : 1;
    return (uint8_t)(along < side ? 0 : rows < side ? rows : side);
}

/* The columns from `first` on. */
static void find_alike_below(const Voting *v, size_t first)
{
    size_t w = uf_box_width(v->matcher->box), h = uf_box_height(v->matcher->box);
    size_t from = first >= WIDE - 1 ? first - (WIDE - 1) : 0, to = uf_smaller(first + COLUMNS, w);
    uint8_t narrow[COLUMNS + WIDE] = {0}, wide[COLUMNS + WIDE] = {0}, along[COLUMNS + WIDE];
    int32_t choices[2][COLUMNS + WIDE] = {{0}}, *above = choices[0], *here = choices[1];
    size_t count = to - from, skip = first - from;
    for (size_t x = 0; x < count; x++)
        above[x] = NONE;
    for (size_t y = 0; y < h; y++) {
        read_choices(v->matcher, y * w + from, count, here);
        along[0] = here[0] != NONE;
        for (size_t x = 1; x < count; x++) {
            unsigned length = here[x] == here[x - 1] ? along[x - 1] + 1U : 1;
            along[x] = (uint8_t)(here[x] == NONE ? 0 : length < WIDE ? length : WIDE);
        }
        uint8_t *alike = v->alike + y * w + from;
        for (size_t x = skip; x < count; x++) {
            bool as_above = here[x] == above[x];
            narrow[x] = alike_rows(along[x], narrow[x], as_above, PATCH_SIDE);
            wide[x] = alike_rows(along[x], wide[x], as_above, WIDE);
            alike[x] = narrow[x] == PATCH_SIDE;
        }
        if (y >= WIDE - 1) {
            uint8_t *is_even = v->is_even + (y - WIDE / 2) * w + from - WIDE / 2;
            for (size_t x = skip > WIDE - 1 ? skip : WIDE - 1; x < count; x++)
                is_even[x] = wide[x] == WIDE;
        }
        int32_t *before = above;
        above = here;
        here = before;
    }
}

/* Most of a large hole is copied in one piece: where all patches over a pixel say the same, nothing is summed
 * up. */
static void find_alike(const Voting *v)
{
    size_t w = uf_box_width(v->matcher->box), cells = w * uf_box_height(v->matcher->box);
    memset(v->is_even, 0, cells);
#pragma omp parallel for schedule(static) num_threads(v->matcher->threads)
    for (size_t first = 0; first < w; first += COLUMNS)
        find_alike_below(v, first);
}

/* How much each place's patch counts, where anything is summed up. */
static void weigh(const Voting *v)
{
    const UfMatcher *m = v->matcher;
    size_t cells = uf_box_width(m->box) * uf_box_height(m->box);
    float scale = 1 / (2 * usual_distance(m)), confidence[DEEPEST + 1];
    for (int d = 0; d <= DEEPEST; d++)
        confidence[d] = powf(CONFIDENCE_BASE, -(float)d);
#pragma omp parallel for schedule(static) num_threads(m->threads)
    for (size_t p = 0; p < cells; p++) {
        v->is_copied[p] = v->is_even[p] && v->depth[p] >= PATCH_SIDE; /* then the patch is all hole */
        v->weight[p] = 0;
        if (m->is_place[p] && !v->is_even[p])
            v->weight[p] =
                confidence[v->depth[p]] * expf(-fminf((float)m->match[p].distance * scale, 60)) + 1e-12F;
    }
}

/* The weighted mean of what the places [x0, x1) x [y0, y1) of the box say about a pixel. */
static void sum_up(const Voting *v, size_t x0, size_t y0, size_t x1, size_t y1, float *pixel)
{
    const UfMatcher *m = v->matcher;
    size_t w = uf_box_width(m->box);
    UfFour sum = {0};
    float total = 0;
    for (size_t y = y0; y < y1; y++)
        for (size_t p = y * w + x0, end = y * w + x1; p < end; p++) {
            long offset = (long)m->match[p].dy * (long)m->canvas->width + m->match[p].dx;
            sum += uf_four_of(v->weight[p]) * uf_four_load(pixel + 4 * offset);
            total += v->weight[p];
        }
    if (total > 0)
        uf_four_store(pixel, sum / uf_four_of(total));
}

/* Renews the hole in row y of the box. */
static void vote_row(const Voting *v, UfCanvas *canvas, size_t y)
{
    const UfMatcher *m = v->matcher;
    size_t w = uf_box_width(m->box), h = uf_box_height(m->box);
    size_t first = (m->box.y0 + y) * canvas->width + m->box.x0;
    size_t y0 = y > REACH ? y - REACH : 0, y1 = uf_smaller(y + REACH + 1, h);
    bool is_whole = y1 - y0 == PATCH_SIDE;
    for (size_t x = 0; x < w; x++) {
        float *pixel = canvas->value + 4 * (first + x);
        size_t last = (y1 - 1) * w + x + REACH;
        if (canvas->cell[first + x] != UF_CELL_HOLE)
            continue;
        if (is_whole && x >= REACH && x + REACH < w && v->alike[last]) {
            long offset = (long)m->match[last].dy * (long)canvas->width + m->match[last].dx;
            uf_four_store(pixel, uf_four_load(pixel + 4 * offset));
        } else {
            sum_up(v, x > REACH ? x - REACH : 0, y0, uf_smaller(x + REACH + 1, w), y1, pixel);
        }
    }
}

/* Renews the hole. Sources are never hole, so that can be done in place. */
static void vote(const Voting *v, UfCanvas *canvas)
{
    UfMatcher *m = v->matcher;
    find_alike(v);
    weigh(v);
#pragma omp parallel for schedule(dynamic, 8) num_threads(m->threads)
    for (size_t y = 0; y < uf_box_height(m->box); y++) {
        vote_row(v, canvas, y);
        uf_matcher_code(m, (m->box.y0 + y) * canvas->width + m->box.x0, uf_box_width(m->box));
    }
}

/*
 * How hard a level is worked on: much where it is small. Where it is large, what to copy has been found on
 * the levels before, and is only made exact.
 */
static int turns_of_level(size_t side)
{
    if (side <= 200)
        return 8;
    return side <= LARGE_SIDE_PX ? 2 : 1;
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
    Voting voting = {0};
    UfStatus status = voting_create(m, &voting, report);
    if (status != UF_OK)
        return status;
    vote(&voting, canvas);
    for (int turns = turns_of_level(uf_box_width(m->box)); turns > 0; turns--) {
        uf_matcher_measure(m, voting.is_copied);
        search(m);
        vote(&voting, canvas);
    }
    voting_clear(&voting);
    return UF_OK;
}

/* A level's repeats and its matcher. */
typedef struct Stage {
    UfRepeats repeats;
    UfMatcher matcher;
} Stage;

/* The repeats at the level where they are looked for and at smaller ones; that level's number. */
static UfStatus find_repeats(const UfLevels *levels, size_t count, int threads, Stage *stage,
                             size_t *found_at, UfReport *report)
{
    size_t at = 0;
    while (at + 1 < count && levels->canvas[at].width > REPEATS_SIDE_PX)
        at++;
    UfStatus status = uf_repeats_find(&levels->canvas[at], threads, &stage[at].repeats, report);
    for (size_t l = at + 1; l < count; l++)
        uf_repeats_halve(&stage[l - 1].repeats, &stage[l].repeats);
    *found_at = at;
    return status;
}

static UfStatus create_matcher(const UfLevels *levels, size_t l, unsigned seed, int threads, Stage *stage,
                               UfReport *report)
{
    return uf_matcher_create(&levels->canvas[l], &stage[l].repeats, seed + (unsigned)l, threads,
                             &stage[l].matcher, report);
}

/* What the levels below the smallest need that does not depend on what is chosen there. */
static UfStatus prepare(const UfLevels *levels, size_t count, size_t found_at, unsigned seed, int threads,
                        Stage *stage)
{
    for (size_t l = found_at; l-- > 0;) {
        stage[l].repeats = stage[l + 1].repeats;
        uf_repeats_double(&levels->canvas[l], threads, &stage[l].repeats);
    }
    UfStatus status = UF_OK;
    for (size_t l = count - 1; status == UF_OK && l-- > 0;)
        status = create_matcher(levels, l, seed, threads, stage, NULL);
    return status;
}

/*
 * The smallest level: choices from the repeats, cut where they differ least. One thread does that; meanwhile
 * another prepares the other levels.
 */
static UfStatus start(UfLevels *levels, size_t count, unsigned seed, int threads, Stage *stage,
                      UfReport *report)
{
    size_t found_at = 0;
    UfMatcher *first = &stage[count - 1].matcher;
    UfStatus prepared = UF_OK, status = find_repeats(levels, count, threads, stage, &found_at, report);
    if (status == UF_OK)
        status = relax_hole(&levels->canvas[count - 1], threads, report);
    if (status == UF_OK)
        status = create_matcher(levels, count - 1, seed, threads, stage, report);
    if (status != UF_OK)
        return status;
    uf_matcher_start(first, NULL);
#pragma omp parallel sections num_threads(threads < 2 ? threads : 2)
    {
#pragma omp section
        status = uf_labels_choose(first, report);
#pragma omp section
        prepared = prepare(levels, count, found_at, seed, threads, stage);
    }
    /* where the smallest level has sources to copy, the others have */
    return status == UF_OK && prepared != UF_OK ? uf_fail_memory(report) : status;
}

UfStatus uf_complete(UfLevels *levels, unsigned seed, int threads, UfReport *report)
{
    size_t count = level_count(levels);
    Stage *stage = uf_alloc_zero(count, sizeof *stage);
    if (stage == NULL)
        return uf_fail_memory(report);
    UfStatus status = start(levels, count, seed, threads, stage, report);
    for (size_t l = count; status == UF_OK && l-- > 0;) {
        UfMatcher *matcher = &stage[l].matcher;
        if (l + 1 < count) {
            uf_matcher_start(matcher, &stage[l + 1].matcher);
            uf_matcher_clear(&stage[l + 1].matcher);
            uf_canvas_clear(&levels->canvas[l + 1]);
        }
        status = work_level(matcher, &levels->canvas[l], report);
        uf_matcher_finish(matcher); /* the next level and the seams need no more */
        if (status == UF_OK && l == 0)
            status = uf_blend_seams(matcher, &levels->canvas[0], report);
    }
    for (size_t l = 0; l < count; l++)
        uf_matcher_clear(&stage[l].matcher);
    free(stage);
    return status;
}

/* The hole tiled with shifted copies of the source. */
#include "patch/labels.h"

#include <math.h>

#include "base/memory.h"
#include "patch/gridcut.h"

#define SWEEPS 2
#define SCALE  1000.0F
/* What a shift that leads nowhere costs, and how strongly the known rim holds. */
#define FORBIDDEN  100000000
#define RIM_WEIGHT 3.0F
/*
 * What a place pays for a shift after which nothing is alike; a perfect repeat is free. A seam that runs
 * inside joints costs little, and what it encloses would stand out of line.
 */
#define PRICE 10
/* Shifts in all directions beside the repeats, so that every place has one. */
#define SPOKES 24
/* Of the repeats the best: those that lead out of the hole from its middle, and shorter ones for its edge. */
#define FAR_REPEATS  48
#define NEAR_REPEATS 16
#define MAX_LABELS   (FAR_REPEATS + NEAR_REPEATS + SPOKES)

typedef struct Labelling {
    UfMatcher *matcher;
    UfShift shift[MAX_LABELS];
    int32_t price[MAX_LABELS]; /* of a place that takes it */
    int count;
    int16_t *label; /* of each place; -1: none */
    UfGridCut *cut;
    size_t width, height; /* of the box */
} Labelling;

/* Where a shift leads from a place. */
typedef struct Spot {
    long x, y;
} Spot;

static Spot shifted_spot(const Labelling *l, size_t place, UfShift shift)
{
    size_t width = l->width > 0 ? l->width : 1;
    return (Spot){(long)(l->matcher->box.x0 + place % width) + shift.dx,
                  (long)(l->matcher->box.y0 + place / width) + shift.dy};
}

static const float *value_at(const Labelling *l, size_t place, UfShift shift)
{
    const UfMatcher *m = l->matcher;
    Spot at = shifted_spot(l, place, shift);
    return m->canvas->value + 4 * ((size_t)at.y * m->canvas->width + (size_t)at.x);
}

static bool leads_to_source(const Labelling *l, size_t place, int label)
{
    const UfMatcher *m = l->matcher;
    Spot at = shifted_spot(l, place, l->shift[label]);
    return at.x >= 0 && at.y >= 0 && at.x < (long)m->canvas->width && at.y < (long)m->canvas->height &&
           m->is_valid[(size_t)at.y * m->canvas->width + (size_t)at.x];
}

static float apart(const float *a, const float *b)
{
    float x = a[0] - b[0], y = a[1] - b[1], z = a[2] - b[2];
    return sqrtf(x * x + y * y + z * z);
}

/* What a place pays for a shift: its price; on the known rim, also how far the copy is from the picture. */
static int32_t place_cost(const Labelling *l, size_t place, int label)
{
    const UfMatcher *m = l->matcher;
    if (!leads_to_source(l, place, label))
        return FORBIDDEN;
    UfShift none = {0, 0};
    Spot at = shifted_spot(l, place, none);
    if (m->canvas->cell[(size_t)at.y * m->canvas->width + (size_t)at.x] != UF_CELL_SOURCE)
        return l->price[label];
    return l->price[label] + (int32_t)(RIM_WEIGHT * SCALE *
                                       apart(value_at(l, place, l->shift[label]), value_at(l, place, none)));
}

/* How much the seam between two neighbours with different shifts shows. */
static int32_t seam_cost(const Labelling *l, size_t p, size_t q, int a, int b)
{
    if (a == b)
        return 0;
    UfShift sa = l->shift[a], sb = l->shift[b];
    return 1 + (int32_t)(SCALE * (apart(value_at(l, p, sa), value_at(l, p, sb)) +
                                  apart(value_at(l, q, sa), value_at(l, q, sb))));
}

static bool in_picture(const Labelling *l, size_t place, int label)
{
    const UfMatcher *m = l->matcher;
    Spot at = shifted_spot(l, place, l->shift[label]);
    return at.x >= 1 && at.y >= 1 && at.x + 1 < (long)m->canvas->width && at.y + 1 < (long)m->canvas->height;
}

/* The pair's terms when each keeps its label (source side) or takes `alpha` (sink side); Kolmogorov and Zabih
 * 2004. */
static void add_pair(Labelling *l, size_t p, size_t q, int direction, int alpha)
{
    int fp = l->label[p], fq = l->label[q];
    if (!in_picture(l, p, alpha) || !in_picture(l, q, alpha) || !in_picture(l, p, fq) ||
        !in_picture(l, q, fp))
        return;
    int32_t keep = seam_cost(l, p, q, fp, fq);
    int32_t q_takes = seam_cost(l, p, q, fp, alpha);
    int32_t p_takes = seam_cost(l, p, q, alpha, fq);
    if (q_takes + p_takes < keep) /* rounding only: a metric fulfils it */
        p_takes = keep - q_takes;
    /* keep both: `keep`; only q takes: q_takes; only p takes: p_takes; both: 0 */
    uf_gridcut_add_node(l->cut, p, keep, p_takes);
    uf_gridcut_add_node(l->cut, q, 0, -p_takes);
    uf_gridcut_add_edge(l->cut, p, direction, q_takes + p_takes - keep);
}

/* One expansion; true when something changed. */
static bool expand(Labelling *l, int alpha)
{
    size_t width = l->width, count = width * l->height;
    bool has_changed = false;
    uf_gridcut_reset(l->cut);
    for (size_t p = 0, x = 0; p < count; p++, x = x + 1 < width ? x + 1 : 0) {
        if (l->label[p] < 0)
            continue;
        uf_gridcut_add_node(l->cut, p, place_cost(l, p, l->label[p]), place_cost(l, p, alpha));
        if (x + 1 < width && l->label[p + 1] >= 0)
            add_pair(l, p, p + 1, UF_GRID_RIGHT, alpha);
        if (p + width < count && l->label[p + width] >= 0)
            add_pair(l, p, p + width, UF_GRID_DOWN, alpha);
    }
    uf_gridcut_solve(l->cut);
    for (size_t p = 0; p < count; p++)
        if (l->label[p] >= 0 && l->label[p] != alpha && uf_gridcut_is_sink(l->cut, p)) {
            l->label[p] = (int16_t)alpha;
            has_changed = true;
        }
    return has_changed;
}

/* The repeats, and spokes as long as lead from the hole's middle to the middle of the ring. */
static void collect_shifts(Labelling *l)
{
    const UfMatcher *m = l->matcher;
    double hole = (double)(l->width > l->height ? l->width : l->height) / 2;
    int far = 0, near = 0;
    for (size_t i = 0; i < m->repeats->count; i++) {
        UfShift shift = m->repeats->shift[i];
        if (hypot(shift.dx, shift.dy) >= hole ? far++ < FAR_REPEATS : near++ < NEAR_REPEATS) {
            l->price[l->count] = (int32_t)(PRICE * m->repeats->score[i]);
            l->shift[l->count++] = shift;
        }
    }
    double canvas = (double)(m->canvas->width < m->canvas->height ? m->canvas->width : m->canvas->height) / 2;
    for (int i = 0; i < SPOKES; i++) {
        double angle = 2 * M_PI * i / SPOKES,
               length = i % 2 == 0 ? (hole + canvas) / 2 : hole + 2.0 * UF_PATCH_REACH;
        l->price[l->count] = PRICE;
        l->shift[l->count++] = (UfShift){(int)lrint(length * cos(angle)), (int)lrint(length * sin(angle))};
    }
}

/* The first label that is allowed: repeats come best first. */
static void start_labels(Labelling *l)
{
    for (size_t p = 0; p < l->width * l->height; p++) {
        l->label[p] = -1;
        for (int i = 0; l->matcher->is_place[p] && l->label[p] < 0 && i < l->count; i++)
            if (leads_to_source(l, p, i))
                l->label[p] = (int16_t)i;
    }
}

/* A label that lost every place in one sweep is not tried again. */
static void find_used(const Labelling *l, bool is_used[MAX_LABELS])
{
    memset(is_used, false, MAX_LABELS * sizeof *is_used);
    for (size_t p = 0; p < l->width * l->height; p++)
        if (l->label[p] >= 0)
            is_used[l->label[p]] = true;
}

UfStatus uf_labels_choose(UfMatcher *matcher, UfReport *report)
{
    Labelling l = {
        .matcher = matcher, .width = uf_box_width(matcher->box), .height = uf_box_height(matcher->box)};
    UfGridCut *cut = NULL;
    if (l.width == 0 || l.height == 0)
        return UF_OK;
    UfStatus status = uf_gridcut_create(l.width, l.height, &cut, report);
    if (status != UF_OK)
        return status;
    l.cut = cut;
    l.label = uf_alloc(l.width * l.height, sizeof *l.label);
    if (l.label == NULL) {
        uf_gridcut_free(&cut);
        return uf_fail_memory(report);
    }
    collect_shifts(&l);
    start_labels(&l);
    bool has_changed = true, is_used[MAX_LABELS];
    memset(is_used, true, sizeof is_used);
    for (int sweep = 0; sweep < SWEEPS && has_changed; sweep++) {
        has_changed = false;
        for (int alpha = 0; alpha < l.count; alpha++)
            if (is_used[alpha])
                has_changed |= expand(&l, alpha);
        find_used(&l, is_used);
    }
    for (size_t p = 0; p < l.width * l.height; p++)
        if (l.label[p] >= 0)
            matcher->match[p] =
                (UfMatch){(int16_t)l.shift[l.label[p]].dx, (int16_t)l.shift[l.label[p]].dy, UF_NO_DISTANCE};
    free(l.label);
    uf_gridcut_free(&cut);
    return UF_OK;
}

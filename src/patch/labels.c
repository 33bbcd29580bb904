/* The hole tiled with shifted copies of the source. */
#include "patch/labels.h"

#include <math.h>

#include "base/memory.h"
#include "patch/gridcut.h"

#define SWEEPS 2
#define SCALE  1000.0F
/* How strongly the known rim holds. */
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
    long step[MAX_LABELS];     /* pixels from a place's to the one that it leads to */
    int count;
    int16_t *label; /* of each place; -1: none */
    int32_t *cost;  /* of each place, of its label */
    /* While a label is tried: how unlike the place is with it and with its own, and what it can do. */
    float *apart;
    uint8_t *state;
    UfGridCut *cut;
    size_t width, height; /* of the box */
} Labelling;

/*
 * A label tried leads a place out of the canvas, so that no seam is asked for; or the place keeps what it
 * has, because the label leads it to no source or is its own; or it may choose.
 */
enum { LEADS_OUT = 0, KEEPS, MAY_CHOOSE };

/* A place, by its column and row in the box; its number, and that of its pixel of the canvas. */
typedef struct Place {
    size_t x, y, index, pixel;
} Place;

static Place place_at(const Labelling *l, size_t x, size_t y)
{
    const UfMatcher *m = l->matcher;
    return (Place){x, y, y * l->width + x, (m->box.y0 + y) * m->canvas->width + m->box.x0 + x};
}

/* Does a shift lead at least `margin` pixels into the canvas? */
static bool leads_inside(const Labelling *l, Place p, UfShift shift, long margin)
{
    const UfMatcher *m = l->matcher;
    long x = (long)(m->box.x0 + p.x) + shift.dx, y = (long)(m->box.y0 + p.y) + shift.dy;
    return x >= margin && y >= margin && x + margin < (long)m->canvas->width &&
           y + margin < (long)m->canvas->height;
}

/* The canvas's pixel that a shift leads to. */
static size_t pixel_of(const Labelling *l, Place p, int label)
{
    return (size_t)((long)p.pixel + l->step[label]);
}

static const float *value_at(const Labelling *l, Place p, int label)
{
    return l->matcher->canvas->value + 4 * pixel_of(l, p, label);
}

static bool leads_to_source(const Labelling *l, Place p, int label)
{
    return leads_inside(l, p, l->shift[label], 0) && l->matcher->is_valid[pixel_of(l, p, label)];
}

static float apart(const float *a, const float *b)
{
    float x = a[0] - b[0], y = a[1] - b[1], z = a[2] - b[2];
    return sqrtf(x * x + y * y + z * z);
}

/* What a place pays for a shift to a source: its price; on the known rim, also how far the copy is from the
 * picture. */
static int32_t place_cost(const Labelling *l, Place p, int label)
{
    const UfCanvas *canvas = l->matcher->canvas;
    if (canvas->cell[p.pixel] != UF_CELL_SOURCE)
        return l->price[label];
    return l->price[label] +
           (int32_t)(RIM_WEIGHT * SCALE * apart(value_at(l, p, label), canvas->value + 4 * p.pixel));
}

static bool in_picture(const Labelling *l, Place p, int label)
{
    return leads_inside(l, p, l->shift[label], 1);
}

/* How much a seam shows that runs between two places, by how unlike the two shifts are at each of them. */
static int32_t seam_cost(float at_p, float at_q)
{
    return 1 + (int32_t)(SCALE * (at_p + at_q));
}

/*
 * The pair's terms when each keeps its label (source side) or takes `alpha` (sink side); Kolmogorov and Zabih
 * 2004. Most pairs have the same label: then what has been found of each place is all that is asked. A place
 * that keeps what it has is no node: the seam to it is the other's own cost.
 */
static inline void add_pair(const Labelling *l, Place p, Place q, UfGridNode *p_node, UfGridNode *q_node,
                            int direction, int alpha)
{
    int fp = l->label[p.index], fq = l->label[q.index];
    uint8_t p_state = l->state[p.index], q_state = l->state[q.index];
    if (p_state == LEADS_OUT || q_state == LEADS_OUT || (p_state == KEEPS && q_state == KEEPS))
        return;
    int32_t keep = 0, q_takes = 0, p_takes = 0;
    if (fp == fq) { /* what they have leads both to a source */
        q_takes = p_takes = fp == alpha ? 0 : seam_cost(l->apart[p.index], l->apart[q.index]);
    } else {
        if (!in_picture(l, p, fq) || !in_picture(l, q, fp))
            return;
        keep = seam_cost(apart(value_at(l, p, fp), value_at(l, p, fq)),
                         apart(value_at(l, q, fp), value_at(l, q, fq)));
        if (fp != alpha)
            q_takes = seam_cost(l->apart[p.index], apart(value_at(l, q, fp), value_at(l, q, alpha)));
        if (fq != alpha)
            p_takes = seam_cost(apart(value_at(l, p, alpha), value_at(l, p, fq)), l->apart[q.index]);
    }
    if (q_takes + p_takes < keep) /* rounding only: a metric fulfils it */
        p_takes = keep - q_takes;
    /* keep both: `keep`; only q takes: q_takes; only p takes: p_takes; both: 0 */
    if (q_state == KEEPS) {
        uf_gridcut_add_node(p_node, keep, p_takes);
    } else if (p_state == KEEPS) {
        uf_gridcut_add_node(q_node, keep, q_takes);
    } else {
        uf_gridcut_add_node(p_node, keep, p_takes);
        uf_gridcut_add_node(q_node, 0, -p_takes);
        uf_gridcut_add_edge(p_node, direction, q_takes + p_takes - keep);
    }
}

/* What is asked of each place when a label is tried. */
static void look_at_places(Labelling *l, int alpha)
{
    for (size_t y = 0; y < l->height; y++)
        for (size_t x = 0; x < l->width; x++) {
            Place p = place_at(l, x, y);
            int label = l->label[p.index];
            bool leads = label >= 0 && in_picture(l, p, alpha);
            bool may_choose = leads && label != alpha && leads_to_source(l, p, alpha);
            l->state[p.index] = may_choose ? MAY_CHOOSE : leads ? KEEPS : LEADS_OUT;
            if (leads)
                l->apart[p.index] = apart(value_at(l, p, label), value_at(l, p, alpha));
        }
}

/* One expansion; true when something changed. */
static bool expand(Labelling *l, int alpha)
{
    bool has_changed = false;
    uf_gridcut_reset(l->cut);
    look_at_places(l, alpha);
    for (size_t y = 0; y < l->height; y++) {
        UfGridNode *node = uf_gridcut_row(l->cut, y),
                   *below = uf_gridcut_row(l->cut, y + 1 < l->height ? y + 1 : y);
        for (size_t x = 0; x < l->width; x++) {
            Place p = place_at(l, x, y);
            if (l->label[p.index] < 0)
                continue;
            if (l->state[p.index] == MAY_CHOOSE)
                uf_gridcut_add_node(node + x, l->cost[p.index], place_cost(l, p, alpha));
            if (x + 1 < l->width && l->label[p.index + 1] >= 0)
                add_pair(l, p, place_at(l, x + 1, y), node + x, node + x + 1, UF_GRID_RIGHT, alpha);
            if (y + 1 < l->height && l->label[p.index + l->width] >= 0)
                add_pair(l, p, place_at(l, x, y + 1), node + x, below + x, UF_GRID_DOWN, alpha);
        }
    }
    uf_gridcut_solve(l->cut);
    for (size_t y = 0; y < l->height; y++)
        for (size_t x = 0; x < l->width; x++) {
            Place p = place_at(l, x, y);
            if (l->state[p.index] == MAY_CHOOSE && uf_gridcut_is_sink(l->cut, x, y)) {
                l->label[p.index] = (int16_t)alpha;
                l->cost[p.index] = place_cost(l, p, alpha);
                has_changed = true;
            }
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
    for (int i = 0; i < l->count; i++)
        l->step[i] = (long)l->shift[i].dy * (long)m->canvas->width + l->shift[i].dx;
}

/* The first label that is allowed: repeats come best first. */
static void start_labels(Labelling *l)
{
    for (size_t i = 0; i < l->width * l->height; i++) {
        Place p = place_at(l, i % l->width, i / l->width);
        l->label[i] = -1;
        for (int k = 0; l->matcher->is_place[i] && l->label[i] < 0 && k < l->count; k++)
            if (leads_to_source(l, p, k)) {
                l->label[i] = (int16_t)k;
                l->cost[i] = place_cost(l, p, k);
            }
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
    l.cost = uf_alloc(l.width * l.height, sizeof *l.cost);
    l.apart = uf_alloc_zero(l.width * l.height, sizeof *l.apart);
    l.state = uf_alloc(l.width * l.height, 1);
    if (l.label == NULL || l.cost == NULL || l.apart == NULL || l.state == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
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
cleanup:
    free(l.label);
    free(l.cost);
    free(l.apart);
    free(l.state);
    uf_gridcut_free(&cut);
    return status;
}

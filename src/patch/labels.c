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
static inline bool leads_inside(const Labelling *l, const Place *p, UfShift shift, long margin)
{
    const UfMatcher *m = l->matcher;
    long x = (long)(m->box.x0 + p->x) + shift.dx, y = (long)(m->box.y0 + p->y) + shift.dy;
    return x >= margin && y >= margin && x + margin < (long)m->canvas->width &&
           y + margin < (long)m->canvas->height;
}

/* The canvas's pixel that a shift leads to. */
static inline size_t pixel_of(const Labelling *l, const Place *p, int label)
{
    return (size_t)((long)p->pixel + l->step[label]);
}

static inline const float *value_at(const Labelling *l, const Place *p, int label)
{
    return l->matcher->canvas->value + 4 * pixel_of(l, p, label);
}

static inline bool leads_to_source(const Labelling *l, const Place *p, int label)
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
static inline int32_t place_cost(const Labelling *l, const Place *p, int label)
{
    const UfCanvas *canvas = l->matcher->canvas;
    if (canvas->cell[p->pixel] != UF_CELL_SOURCE)
        return l->price[label];
    return l->price[label] +
           (int32_t)(RIM_WEIGHT * SCALE * apart(value_at(l, p, label), canvas->value + 4 * p->pixel));
}

static inline bool in_picture(const Labelling *l, const Place *p, int label)
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
static inline void add_pair(const Labelling *l, const Place *p, const Place *q, UfGridNode *p_node,
                            UfGridNode *q_node, int direction, int alpha)
{
    int fp = l->label[p->index], fq = l->label[q->index];
    uint8_t p_state = l->state[p->index], q_state = l->state[q->index];
    if (p_state == LEADS_OUT || q_state == LEADS_OUT || (p_state == KEEPS && q_state == KEEPS))
        return;
    int32_t keep = 0, q_takes = 0, p_takes = 0;
    if (fp == fq) { /* what they have leads both to a source */
        q_takes = p_takes = fp == alpha ? 0 : seam_cost(l->apart[p->index], l->apart[q->index]);
    } else {
        if (!in_picture(l, p, fq) || !in_picture(l, q, fp))
            return;
        keep = seam_cost(apart(value_at(l, p, fp), value_at(l, p, fq)),
                         apart(value_at(l, q, fp), value_at(l, q, fq)));
        if (fp != alpha)
            q_takes = seam_cost(l->apart[p->index], apart(value_at(l, q, fp), value_at(l, q, alpha)));
        if (fq != alpha)
            p_takes = seam_cost(apart(value_at(l, p, alpha), value_at(l, p, fq)), l->apart[q->index]);
    }
    if (q_takes + p_takes < keep) /* rounding only: a metric fulfils it */
        p_takes = keep - q_takes;
    /* keep both: `keep`; only q takes: q_takes; only p takes: p_takes; both: 0 */
    if (q_state == KEEPS) {
        uf_gridcut_add_node(p_node, keep, p_takes);
    } else if (p_state == KEEPS) {
        uf_gridcut_add_node(q_node, keep, q_takes);
    } else {
        /* what the pair costs whichever takes it lies on the edges both ways, so that the terminals get
         * little */
        int32_t both = q_takes + p_takes - keep, back = p_takes - keep / 2;
        back = back < 0 ? 0 : back > both ? both : back;
        uf_gridcut_add_node(p_node, keep, p_takes - back);
        uf_gridcut_add_node(q_node, 0, back - p_takes);
        uf_gridcut_add_edge(p_node, direction, both - back);
        uf_gridcut_add_edge(q_node, direction ^ 1, back);
    }
}

/* The columns of a row of the box from which a label leads into the canvas, and not to its outermost pixels.
 */
static void columns_inside(const Labelling *l, size_t y, int label, size_t *x0, size_t *x1)
{
    const UfMatcher *m = l->matcher;
    long first = 1 - l->shift[label].dx - (long)m->box.x0,
         end = (long)m->canvas->width - 1 - l->shift[label].dx - (long)m->box.x0,
         row = (long)(m->box.y0 + y) + l->shift[label].dy;
    bool is_inside = row >= 1 && row + 1 < (long)m->canvas->height && end > 0 && first < (long)l->width;
    *x0 = is_inside && first > 0 ? (size_t)first : 0;
    *x1 = !is_inside ? 0 : end < (long)l->width ? (size_t)end : l->width;
}

/* May a place take a label that leads it into the canvas? By its number and its pixel's. */
static inline bool may_choose(const Labelling *l, size_t index, size_t pixel, int alpha)
{
    int label = l->label[index];
    return label >= 0 && label != alpha && l->matcher->is_valid[(size_t)((long)pixel + l->step[alpha])];
}

/*
 * The part of the box, in places, that holds all that may take a label, and their neighbours; false when none
 * may. The rest is not looked at.
 */
static bool find_part(const Labelling *l, int alpha, UfBox *out)
{
    UfBox part = {l->width, l->height, 0, 0};
    for (size_t y = 0; y < l->height; y++) {
        size_t x0, x1, row = y * l->width;
        Place first = place_at(l, 0, y);
        columns_inside(l, y, alpha, &x0, &x1);
        while (x0 < x1 && !may_choose(l, row + x0, first.pixel + x0, alpha))
            x0++;
        if (x0 >= x1)
            continue;
        while (x1 > part.x1 && x1 > x0 && !may_choose(l, row + x1 - 1, first.pixel + x1 - 1, alpha))
            x1--;
        part.x0 = x0 < part.x0 ? x0 : part.x0;
        part.x1 = x1 > part.x1 ? x1 : part.x1;
        part.y0 = y < part.y0 ? y : part.y0;
        part.y1 = y + 1;
    }
    if (part.y1 == 0)
        return false;
    out->x0 = part.x0 > 0 ? part.x0 - 1 : 0;
    out->y0 = part.y0 > 0 ? part.y0 - 1 : 0;
    out->x1 = part.x1 < l->width ? part.x1 + 1 : l->width;
    out->y1 = part.y1 < l->height ? part.y1 + 1 : l->height;
    return true;
}

/* What is asked of each place of the part when a label is tried. */
static void look_at_places(Labelling *l, UfBox part, int alpha)
{
    const float *value = l->matcher->canvas->value;
    for (size_t y = part.y0; y < part.y1; y++) {
        size_t x0, x1;
        Place first = place_at(l, 0, y);
        columns_inside(l, y, alpha, &x0, &x1);
        for (size_t x = part.x0; x < part.x1; x++) {
            size_t index = first.index + x;
            long pixel = (long)(first.pixel + x);
            int label = l->label[index];
            l->state[index] = LEADS_OUT;
            if (label < 0 || x < x0 || x >= x1)
                continue;
            l->state[index] = may_choose(l, index, (size_t)pixel, alpha) ? MAY_CHOOSE : KEEPS;
            l->apart[index] =
                apart(value + 4 * (pixel + l->step[label]), value + 4 * (pixel + l->step[alpha]));
        }
    }
}

/* Nodes and edges of the part. */
static void build_cut(const Labelling *l, UfBox part, int alpha)
{
    uf_gridcut_reset(l->cut, uf_box_width(part), uf_box_height(part));
    for (size_t y = part.y0; y < part.y1; y++) {
        UfGridNode *node = uf_gridcut_row(l->cut, y - part.y0),
                   *below = uf_gridcut_row(l->cut, y + 1 < part.y1 ? y + 1 - part.y0 : 0);
        for (size_t x = part.x0; x < part.x1; x++, node++, below++) {
            Place p = place_at(l, x, y), right = place_at(l, x + 1, y), under = place_at(l, x, y + 1);
            if (l->label[p.index] < 0)
                continue;
            if (l->state[p.index] == MAY_CHOOSE)
                uf_gridcut_add_node(node, l->cost[p.index], place_cost(l, &p, alpha));
            if (x + 1 < part.x1 && l->label[right.index] >= 0)
                add_pair(l, &p, &right, node, node + 1, UF_GRID_RIGHT, alpha);
            if (y + 1 < part.y1 && l->label[under.index] >= 0)
                add_pair(l, &p, &under, node, below, UF_GRID_DOWN, alpha);
        }
    }
}

/* One expansion; true when something changed. */
static bool expand(Labelling *l, int alpha)
{
    bool has_changed = false;
    UfBox part;
    if (!find_part(l, alpha, &part))
        return false;
    look_at_places(l, part, alpha);
    build_cut(l, part, alpha);
    uf_gridcut_solve(l->cut);
    for (size_t y = part.y0; y < part.y1; y++)
        for (size_t x = part.x0; x < part.x1; x++) {
            Place p = place_at(l, x, y);
            if (l->state[p.index] == MAY_CHOOSE && uf_gridcut_is_sink(l->cut, x - part.x0, y - part.y0)) {
                l->label[p.index] = (int16_t)alpha;
                l->cost[p.index] = place_cost(l, &p, alpha);
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
            if (leads_to_source(l, &p, k)) {
                l->label[i] = (int16_t)k;
                l->cost[i] = place_cost(l, &p, k);
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

/* Minimum cut on a grid (Boykov and Kolmogorov 2004). Names follow the paper: grow, augment, adopt. */
#include "patch/gridcut.h"

#include "base/memory.h"

enum { FREE = 0, SOURCE, SINK };
/* Parents: a direction, or one of these. */
enum { PARENT_TERMINAL = UF_GRID_DIRECTIONS, PARENT_NONE };

/* The grid has a frame of nodes without capacity, so that every node has four neighbours. */
struct UfGridCut {
    size_t width, height, stride;
    ptrdiff_t step[UF_GRID_DIRECTIONS]; /* to a node's neighbours */
    UfGridNode *node;
    uint32_t now;
    UfGridNode **active; /* circular queue, each node at most once */
    size_t active_head, active_count;
    UfGridNode **orphan;
    size_t orphan_count;
};

static size_t nodes(const UfGridCut *g)
{
    return g->stride * (g->height + 2);
}

/* The framed grid's index of a node of the caller's. */
static size_t framed(const UfGridCut *g, size_t x, size_t y)
{
    return (y + 1) * g->stride + x + 1;
}

void uf_gridcut_free(UfGridCut **cut)
{
    if (cut == NULL || *cut == NULL)
        return;
    UfGridCut *g = *cut;
    free(g->node);
    free(g->active);
    free(g->orphan);
    free(g);
    *cut = NULL;
}

UfStatus uf_gridcut_create(size_t width, size_t height, UfGridCut **out, UfReport *report)
{
    UfGridCut *g = uf_alloc_zero(1, sizeof *g);
    if (g == NULL)
        return uf_fail_memory(report);
    size_t n = (width + 2) * (height + 2);
    g->node = uf_alloc(n, sizeof *g->node);
    g->active = uf_alloc(n, sizeof(UfGridNode *));
    g->orphan = uf_alloc(n, sizeof(UfGridNode *));
    if (g->node == NULL || g->active == NULL || g->orphan == NULL) {
        uf_gridcut_free(&g);
        return uf_fail_memory(report);
    }
    uf_gridcut_reset(g, width, height);
    *out = g;
    return UF_OK;
}

void uf_gridcut_reset(UfGridCut *g, size_t width, size_t height)
{
    g->width = width;
    g->height = height;
    g->stride = width + 2;
    g->step[UF_GRID_RIGHT] = 1;
    g->step[UF_GRID_LEFT] = -1;
    g->step[UF_GRID_DOWN] = (ptrdiff_t)g->stride;
    g->step[UF_GRID_UP] = -(ptrdiff_t)g->stride;
    memset(g->node, 0, nodes(g) * sizeof *g->node);
}

UfGridNode *uf_gridcut_row(UfGridCut *g, size_t y)
{
    return g->node + framed(g, 0, y);
}

bool uf_gridcut_is_sink(const UfGridCut *g, size_t x, size_t y)
{
    return g->node[framed(g, x, y)].tree == SINK;
}

/* What is left of the edge along which `tree` grows from a node of its to another in that direction. */
static inline int32_t *way(UfGridNode *node, UfGridNode *other, int direction, int tree)
{
    return tree == SOURCE ? &node->edge[direction] : &other->edge[direction ^ 1];
}

static size_t wrapped(const UfGridCut *g, size_t at)
{
    return at >= nodes(g) ? at - nodes(g) : at;
}

static void activate(UfGridCut *g, UfGridNode *node)
{
    if (node->is_active)
        return;
    node->is_active = 1;
    g->active[wrapped(g, g->active_head + g->active_count++)] = node;
}

static UfGridNode *next_active(UfGridCut *g)
{
    while (g->active_count > 0) {
        UfGridNode *node = g->active[g->active_head];
        g->active_head = wrapped(g, g->active_head + 1);
        g->active_count--;
        node->is_active = 0;
        if (node->tree != FREE)
            return node;
    }
    return NULL;
}

static void plant(UfGridCut *g)
{
    g->active_head = g->active_count = g->orphan_count = 0;
    g->now = 1;
    for (UfGridNode *node = g->node, *end = node + nodes(g); node < end; node++) {
        node->is_active = 0;
        node->mark = 1;
        node->distance = 1;
        node->parent = node->terminal != 0 ? PARENT_TERMINAL : PARENT_NONE;
        node->tree = node->terminal > 0 ? SOURCE : node->terminal < 0 ? SINK : FREE;
        if (node->tree != FREE)
            activate(g, node);
    }
}

/* Grows one node; the direction in which it meets the other tree, or UF_GRID_DIRECTIONS. */
static int grow(UfGridCut *g, UfGridNode *node)
{
    for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
        UfGridNode *other = node + g->step[d];
        if (*way(node, other, d, node->tree) <= 0)
            continue;
        if (other->tree == FREE) {
            other->tree = node->tree;
            other->parent = (uint8_t)(d ^ 1);
            other->mark = node->mark;
            other->distance = node->distance + 1;
            activate(g, other);
        } else if (other->tree != node->tree) {
            return d;
        } else if (other->mark <= node->mark && other->distance > node->distance) {
            /* a shorter way to the terminal */
            other->parent = (uint8_t)(d ^ 1);
            other->mark = node->mark;
            other->distance = node->distance + 1;
        }
    }
    return UF_GRID_DIRECTIONS;
}

static void orphan(UfGridCut *g, UfGridNode *node)
{
    node->parent = PARENT_NONE;
    g->orphan[g->orphan_count++] = node;
}

static inline int32_t bottleneck(const UfGridCut *g, UfGridNode *node, int tree, int32_t least)
{
    while (node->parent != PARENT_TERMINAL) {
        int d = node->parent;
        UfGridNode *up = node + g->step[d];
        int32_t room = *way(up, node, d ^ 1, tree);
        least = room < least ? room : least;
        node = up;
    }
    int32_t room = node->terminal < 0 ? -node->terminal : node->terminal;
    return room < least ? room : least;
}

static inline void push(UfGridCut *g, UfGridNode *node, int tree, int32_t flow)
{
    while (node->parent != PARENT_TERMINAL) {
        int d = node->parent;
        UfGridNode *up = node + g->step[d];
        *way(node, up, d, tree) += flow;
        if ((*way(up, node, d ^ 1, tree) -= flow) == 0)
            orphan(g, node);
        node = up;
    }
    node->terminal += tree == SOURCE ? -flow : flow;
    if (node->terminal == 0)
        orphan(g, node);
}

/* `from` is the source's, the node in that direction the sink's. */
static void augment(UfGridCut *g, UfGridNode *from, int direction)
{
    UfGridNode *to = from + g->step[direction];
    int32_t flow = bottleneck(g, from, SOURCE, from->edge[direction]);
    flow = bottleneck(g, to, SINK, flow);
    from->edge[direction] -= flow;
    to->edge[direction ^ 1] += flow;
    push(g, from, SOURCE, flow);
    push(g, to, SINK, flow);
}

/* Distance to the terminal through parents; UINT32_MAX when the way ends at an orphan. Marks the way. */
static uint32_t origin_distance(const UfGridCut *g, UfGridNode *node)
{
    uint32_t steps = 0;
    UfGridNode *at = node;
    for (;;) {
        if (at->mark == g->now) {
            steps += at->distance;
            break;
        }
        steps++;
        if (at->parent == PARENT_TERMINAL) {
            at->mark = g->now;
            at->distance = 1;
            break;
        }
        if (at->parent == PARENT_NONE)
            return UINT32_MAX;
        at += g->step[at->parent];
    }
    uint32_t left = steps;
    for (at = node; at->mark != g->now; at += g->step[at->parent]) {
        at->mark = g->now;
        at->distance = left--;
    }
    return steps;
}

/* A new parent in the same tree, the nearest to the terminal; otherwise the node becomes free. */
static void adopt(UfGridCut *g, UfGridNode *node)
{
    uint32_t best = UINT32_MAX;
    int parent = PARENT_NONE, tree = node->tree;
    for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
        UfGridNode *other = node + g->step[d];
        if (other->tree != tree || *way(other, node, d ^ 1, tree) <= 0)
            continue;
        uint32_t distance = origin_distance(g, other);
        if (distance < best) {
            best = distance;
            parent = d;
        }
    }
    if (parent != PARENT_NONE) {
        node->parent = (uint8_t)parent;
        node->mark = g->now;
        node->distance = best + 1;
        return;
    }
    for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
        UfGridNode *other = node + g->step[d];
        if (other->tree != tree)
            continue;
        if (*way(other, node, d ^ 1, tree) > 0)
            activate(g, other);
        if (other->parent == (d ^ 1))
            orphan(g, other);
    }
    node->tree = FREE;
}

void uf_gridcut_solve(UfGridCut *g)
{
    plant(g);
    for (UfGridNode *node = next_active(g); node != NULL; node = next_active(g)) {
        /* a node goes on growing as long as its tree keeps it */
        for (int d; node->tree != FREE && (d = grow(g, node)) != UF_GRID_DIRECTIONS;) {
            if (node->tree == SOURCE)
                augment(g, node, d);
            else
                augment(g, node + g->step[d], d ^ 1);
            g->now++;
            while (g->orphan_count > 0)
                adopt(g, g->orphan[--g->orphan_count]);
        }
    }
}

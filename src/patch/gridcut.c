/* Minimum cut on a grid (Boykov and Kolmogorov 2004). Names follow the paper: grow, augment, adopt. */
#include "patch/gridcut.h"

#include "base/memory.h"

enum { FREE = 0, SOURCE, SINK };
/* Parents: a direction, or one of these. */
enum { PARENT_TERMINAL = UF_GRID_DIRECTIONS, PARENT_NONE };

#define NO_NODE SIZE_MAX

/* The grid has a frame of nodes without capacity, so that every node has four neighbours. */
struct UfGridCut {
    size_t width, height, stride;
    size_t step[UF_GRID_DIRECTIONS]; /* to a node's neighbours; negative ones wrap, as unsigned sums do */
    UfGridNode *node;
    uint32_t now;
    size_t *active, active_head, active_count; /* circular queue, each node at most once */
    size_t *orphan, orphan_count;
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
    g->width = width;
    g->height = height;
    g->stride = width + 2;
    g->step[UF_GRID_RIGHT] = 1;
    g->step[UF_GRID_LEFT] = (size_t)-1;
    g->step[UF_GRID_DOWN] = g->stride;
    g->step[UF_GRID_UP] = (size_t)0 - g->stride;
    size_t n = nodes(g);
    g->node = uf_alloc_zero(n, sizeof *g->node);
    g->active = uf_alloc(n, sizeof *g->active);
    g->orphan = uf_alloc(n, sizeof *g->orphan);
    if (g->node == NULL || g->active == NULL || g->orphan == NULL) {
        uf_gridcut_free(&g);
        return uf_fail_memory(report);
    }
    *out = g;
    return UF_OK;
}

void uf_gridcut_reset(UfGridCut *g)
{
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

static size_t neighbour(const UfGridCut *g, size_t node, int direction)
{
    return node + g->step[direction];
}

static int32_t *edge(UfGridCut *g, size_t node, int direction)
{
    return &g->node[node].edge[direction];
}

/* Residual capacity along which `tree` grows from node to its neighbour. */
static int32_t growth(UfGridCut *g, size_t node, int direction, size_t other)
{
    return g->node[node].tree == SOURCE ? *edge(g, node, direction) : *edge(g, other, direction ^ 1);
}

static size_t wrapped(const UfGridCut *g, size_t at)
{
    return at >= nodes(g) ? at - nodes(g) : at;
}

static void activate(UfGridCut *g, size_t node)
{
    if (g->node[node].is_active)
        return;
    g->node[node].is_active = 1;
    g->active[wrapped(g, g->active_head + g->active_count++)] = node;
}

static size_t next_active(UfGridCut *g)
{
    while (g->active_count > 0) {
        size_t node = g->active[g->active_head];
        g->active_head = wrapped(g, g->active_head + 1);
        g->active_count--;
        g->node[node].is_active = 0;
        if (g->node[node].tree != FREE)
            return node;
    }
    return NO_NODE;
}

static void plant(UfGridCut *g)
{
    g->active_head = g->active_count = g->orphan_count = 0;
    g->now = 1;
    for (size_t i = 0; i < nodes(g); i++) {
        g->node[i].is_active = 0;
        g->node[i].mark = 1;
        g->node[i].distance = 1;
        g->node[i].parent = g->node[i].terminal != 0 ? PARENT_TERMINAL : PARENT_NONE;
        g->node[i].tree = g->node[i].terminal > 0 ? SOURCE : g->node[i].terminal < 0 ? SINK : FREE;
        if (g->node[i].tree != FREE)
            activate(g, i);
    }
}

/* Grows one node; true when the trees meet: then the edge goes from *from (source tree) along *direction. */
static bool grow(UfGridCut *g, size_t node, size_t *from, int *direction)
{
    for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
        size_t other = neighbour(g, node, d);
        if (growth(g, node, d, other) <= 0)
            continue;
        if (g->node[other].tree == FREE) {
            g->node[other].tree = g->node[node].tree;
            g->node[other].parent = (uint8_t)(d ^ 1);
            g->node[other].mark = g->node[node].mark;
            g->node[other].distance = g->node[node].distance + 1;
            activate(g, other);
        } else if (g->node[other].tree != g->node[node].tree) {
            *from = g->node[node].tree == SOURCE ? node : other;
            *direction = g->node[node].tree == SOURCE ? d : d ^ 1;
            return true;
        } else if (g->node[other].mark <= g->node[node].mark &&
                   g->node[other].distance > g->node[node].distance) {
            /* a shorter way to the terminal */
            g->node[other].parent = (uint8_t)(d ^ 1);
            g->node[other].mark = g->node[node].mark;
            g->node[other].distance = g->node[node].distance + 1;
        }
    }
    return false;
}

static void orphan(UfGridCut *g, size_t node)
{
    g->node[node].parent = PARENT_NONE;
    g->orphan[g->orphan_count++] = node;
}

/* The edge by which flow passes between a node and its parent: out of the node in the sink's tree, into it
 * else. */
static int32_t *parent_edge(UfGridCut *g, size_t node)
{
    int d = g->node[node].parent;
    return g->node[node].tree == SINK ? edge(g, node, d) : edge(g, neighbour(g, node, d), d ^ 1);
}

static int32_t *parent_edge_back(UfGridCut *g, size_t node)
{
    int d = g->node[node].parent;
    return g->node[node].tree == SINK ? edge(g, neighbour(g, node, d), d ^ 1) : edge(g, node, d);
}

static int32_t bottleneck(UfGridCut *g, size_t node, int32_t least)
{
    while (g->node[node].parent != PARENT_TERMINAL) {
        int32_t room = *parent_edge(g, node);
        least = room < least ? room : least;
        node = neighbour(g, node, g->node[node].parent);
    }
    int32_t room = g->node[node].terminal < 0 ? -g->node[node].terminal : g->node[node].terminal;
    return room < least ? room : least;
}

static void push(UfGridCut *g, size_t node, int32_t flow)
{
    while (g->node[node].parent != PARENT_TERMINAL) {
        size_t up = neighbour(g, node, g->node[node].parent);
        *parent_edge_back(g, node) += flow;
        if ((*parent_edge(g, node) -= flow) == 0)
            orphan(g, node);
        node = up;
    }
    g->node[node].terminal += g->node[node].terminal > 0 ? -flow : flow;
    if (g->node[node].terminal == 0)
        orphan(g, node);
}

static void augment(UfGridCut *g, size_t from, int direction)
{
    size_t to = neighbour(g, from, direction);
    int32_t flow = bottleneck(g, to, bottleneck(g, from, *edge(g, from, direction)));
    *edge(g, from, direction) -= flow;
    *edge(g, to, direction ^ 1) += flow;
    push(g, from, flow);
    push(g, to, flow);
}

/* Distance to the terminal through parents; UINT32_MAX when the way ends at an orphan. Marks the way. */
static uint32_t origin_distance(UfGridCut *g, size_t node)
{
    uint32_t steps = 0;
    size_t at = node;
    for (;;) {
        if (g->node[at].mark == g->now) {
            steps += g->node[at].distance;
            break;
        }
        steps++;
        if (g->node[at].parent == PARENT_TERMINAL) {
            g->node[at].mark = g->now;
            g->node[at].distance = 1;
            break;
        }
        if (g->node[at].parent == PARENT_NONE)
            return UINT32_MAX;
        at = neighbour(g, at, g->node[at].parent);
    }
    uint32_t left = steps;
    for (at = node; g->node[at].mark != g->now; at = neighbour(g, at, g->node[at].parent)) {
        g->node[at].mark = g->now;
        g->node[at].distance = left--;
    }
    return steps;
}

/* A new parent in the same tree, the nearest to the terminal; otherwise the node becomes free. */
static void adopt(UfGridCut *g, size_t node)
{
    uint32_t best = UINT32_MAX;
    int parent = PARENT_NONE;
    for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
        size_t other = neighbour(g, node, d);
        if (g->node[other].tree != g->node[node].tree || growth(g, other, d ^ 1, node) <= 0)
            continue;
        uint32_t distance = origin_distance(g, other);
        if (distance < best) {
            best = distance;
            parent = d;
        }
    }
    if (parent != PARENT_NONE) {
        g->node[node].parent = (uint8_t)parent;
        g->node[node].mark = g->now;
        g->node[node].distance = best + 1;
        return;
    }
    for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
        size_t other = neighbour(g, node, d);
        if (g->node[other].tree != g->node[node].tree)
            continue;
        if (growth(g, other, d ^ 1, node) > 0)
            activate(g, other);
        if (g->node[other].parent == (d ^ 1))
            orphan(g, other);
    }
    g->node[node].tree = FREE;
}

void uf_gridcut_solve(UfGridCut *g)
{
    size_t from = 0;
    int direction = 0;
    plant(g);
    for (size_t node = next_active(g); node != NO_NODE; node = next_active(g)) {
        /* a node goes on growing as long as its tree keeps it */
        while (g->node[node].tree != FREE && grow(g, node, &from, &direction)) {
            augment(g, from, direction);
            g->now++;
            while (g->orphan_count > 0)
                adopt(g, g->orphan[--g->orphan_count]);
        }
    }
}

/*
 * Minimum cut on a grid of pixels with four neighbours.
 *
 * Y. Boykov, V. Kolmogorov, An Experimental Comparison of Min-Cut/Max-Flow Algorithms for Energy Minimization
 * in Vision, IEEE TPAMI 26(9), 1124-1137 (2004): two search trees grow from source and sink, and are mended
 * rather than built anew after each augmentation. Capacities are whole numbers, so the cut does not depend on
 * rounding.
 */
#ifndef UF_PATCH_GRIDCUT_H
#define UF_PATCH_GRIDCUT_H

#include "base/report.h"

#include <stdbool.h>
#include <stdint.h>

/* Towards right, left, down, up; opposite directions differ in the lowest bit. */
enum { UF_GRID_RIGHT = 0, UF_GRID_LEFT, UF_GRID_DOWN, UF_GRID_UP, UF_GRID_DIRECTIONS };

/* All that is asked of a node lies together, in half a cache line. */
typedef struct UfGridNode {
    int32_t edge[UF_GRID_DIRECTIONS]; /* capacities; while it is solved, what is left of them */
    int32_t terminal;                 /* > 0 from the source, < 0 to the sink */
    uint32_t mark, distance;          /* when the distance to the terminal was last known to be right */
    uint8_t tree, parent, is_active;
} UfGridNode;

/* Opaque. */
typedef struct UfGridCut UfGridCut;

UfStatus uf_gridcut_create(size_t width, size_t height, UfGridCut **out, UfReport *report);
void uf_gridcut_free(UfGridCut **cut);
/* Forgets all capacities; the grid gets this size, no more rows or columns than it was created with. */
void uf_gridcut_reset(UfGridCut *cut, size_t width, size_t height);
/* The nodes of a row, to add to before it is solved. */
UfGridNode *uf_gridcut_row(UfGridCut *cut, size_t y);

/* Adds cost `if_sink` for the node on the sink's side and `if_source` on the source's. Any sign. */
static inline void uf_gridcut_add_node(UfGridNode *node, int32_t if_source, int32_t if_sink)
{
    node->terminal += if_sink - if_source;
}

/* Capacity (>= 0) from a node to its neighbour: the cost of the node on the source's side, the neighbour not.
 */
static inline void uf_gridcut_add_edge(UfGridNode *node, int direction, int32_t capacity)
{
    node->edge[direction] += capacity;
}

void uf_gridcut_solve(UfGridCut *cut);
/* After solving: free nodes count as the source's. */
bool uf_gridcut_is_sink(const UfGridCut *cut, size_t x, size_t y);

#endif

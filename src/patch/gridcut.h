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

/* Opaque. */
typedef struct UfGridCut UfGridCut;

UfStatus uf_gridcut_create(size_t width, size_t height, UfGridCut **out, UfReport *report);
void uf_gridcut_free(UfGridCut **cut);
/* Forgets all capacities. */
void uf_gridcut_reset(UfGridCut *cut);
/* Adds cost `if_sink` for the node on the sink's side and `if_source` on the source's. Any sign. */
void uf_gridcut_add_node(UfGridCut *cut, size_t x, size_t y, int32_t if_source, int32_t if_sink);
/* Capacity (>= 0) from a node to its neighbour: the cost of the node on the source's side, the neighbour not.
 */
void uf_gridcut_add_edge(UfGridCut *cut, size_t x, size_t y, int direction, int32_t capacity);
void uf_gridcut_solve(UfGridCut *cut);
/* After solving: free nodes count as the source's. */
bool uf_gridcut_is_sink(const UfGridCut *cut, size_t x, size_t y);

#endif

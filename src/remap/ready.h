/*
 * What the rows of a full sphere can be low-passed to before they become coefficients: where the pixels of a
 * target are, on each row, about equally long along it, one filter serves them all.
 */
#ifndef UF_REMAP_READY_H
#define UF_REMAP_READY_H

#include "remap/map.h"

/*
 * For each row of the source the length of the shortest footprint on it, in pixels of the row; 1 where it is
 * too short to be filtered, or where the target does not look. NULL without memory.
 */
float *uf_ready_find(const UfMap *map, int threads);

#endif

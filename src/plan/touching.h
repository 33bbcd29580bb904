/* Which unseen cells belong together. */
#ifndef UF_PLAN_TOUCHING_H
#define UF_PLAN_TOUCHING_H

#include "plan/cells.h"

/*
 * Numbers the areas that cells sharing a side or a corner make, from 0: writes each cell's number into
 * `areas`, which has room for cells->count. *count: how many there are.
 */
UfStatus uf_number_areas(const UfCells *cells, uint32_t *areas, size_t *count, UfReport *report);

#endif

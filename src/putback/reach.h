/*
 * Which cells of the panorama the mask of a part may reach: a little more than it does, and never less. All
 * else is left alone without being looked at.
 */
#ifndef UF_PUTBACK_REACH_H
#define UF_PUTBACK_REACH_H

#include "putback/part.h"

/* The cells of UfTouched. */
#define UF_REACH_CELL_PX 8u

typedef struct UfReach {
    size_t across, down;
    uint8_t *cells;
} UfReach;

UfStatus uf_reach_find(const UfPart *part, const UfView *panorama, UfReach *out, UfReport *report);
/* Fine on a zeroed UfReach. */
void uf_reach_clear(UfReach *reach);
/* The smallest rectangle of pixels that holds the reached cells among [x0, x1) x [y0, y1); false: there are
 * none. */
bool uf_reach_within(const UfReach *reach, const UfBox *tile, UfBox *out);

#endif

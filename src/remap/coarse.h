/*
 * The footprints of a tile's pixels, from the polynomials that give their places (remap/tile.h): what is
 * differentiated is off by less than 1/100 where the places are right to UF_TILE_ERROR_PX, the hundredth part
 * of a pixel's length.
 */
#ifndef UF_REMAP_COARSE_H
#define UF_REMAP_COARSE_H

#include "remap/boxes.h"
#include "remap/tile.h"

_Static_assert(UF_TILE_PX *UF_TILE_PX <= UF_BOXES_MAX, "a tile's boxes fit");

/* Pixels are numbered along the tile's rows, from 0, UF_TILE_PX to a row. */
typedef struct UfCoarse {
    UfBoxes boxes;
    UfSlopes slopes;
    float level[UF_BOXES_MAX]; /* cosine of the latitude, where shares are told by angles; else 1 */
    ptrdiff_t first_u;         /* the first part's base */
    float share[UF_BOXES_MAX]; /* how much of the mean goes into the pixel: uf_average_share */
    bool some, altogether;     /* not all shares are 0; all are 1 */
} UfCoarse;

/*
 * Adds the places of the pixels from (left, top) on, side x side, whose polynomials are those of `tile`: a
 * whole tile or a part of one, with nodes side / 2 apart. (0, 0) comes first: it sets the base.
 */
void uf_coarse_add(const UfMap *map, const UfTile *tile, size_t left, size_t top, size_t side, bool by_angles,
                   unsigned cpu_flags, UfCoarse *out);
/* When all places are there: the boxes, and the shares; what is told of all of them is so of the first width
 * x height pixels. */
void uf_coarse_finish(const UfMap *map, size_t width, size_t height, unsigned cpu_flags, UfCoarse *out);

#endif

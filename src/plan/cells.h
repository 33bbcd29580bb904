/* Which directions no frame sees: the sphere in cells, split where the answer changes. */
#ifndef UF_PLAN_CELLS_H
#define UF_PLAN_CELLS_H

#include <stdint.h>

#include "plan/rig.h"

/* Most levels: 2^level cells a side. */
#define UF_CELLS_MAX_LEVEL 15

/* An unseen cell; x, y and side count the smallest cells. */
typedef struct UfCell {
    UfDirection middle;
    uint64_t code; /* of its lower corner along the Z-order curve */
    uint16_t x, y, side;
    uint8_t look;  /* UF_LOOK_... at its centre: never SEEN */
    bool is_whole; /* the corners say the same */
} UfCell;

typedef struct UfCells {
    UfCell *cells; /* owned, sorted by code */
    size_t count;
    int first_level, level; /* of the largest cells that are looked at, and of the smallest */
    /* Shares of the sphere that would have come out with the smallest cells of each level. */
    double unseen_share[UF_CELLS_MAX_LEVEL + 1],
        open_share[UF_CELLS_MAX_LEVEL + 1]; /* open: no frame contains it */
} UfCells;

typedef struct UfCellsOptions {
    int first_level, last_level;
    int threads;
} UfCellsOptions;

/* The level at which cells are fine enough not to step over the rig's thinnest part. */
int uf_cells_first_level(const UfRig *rig);
/* The caller clears *out in every case. The result does not depend on the number of threads. */
UfStatus uf_cells_make(const UfRig *rig, UfCellsOptions options, UfCells *out, UfReport *report);
void uf_cells_clear(UfCells *cells);

/* No direction of a square block of the square is farther from its middle. */
double uf_cells_block_radius(double side);
/* Cones that hold the blocks of each level, whose middles are still to be put in as their axes. */
void uf_cells_block_cones(UfCone cones[UF_CELLS_MAX_LEVEL + 1]);

double uf_cells_side(const UfCells *cells);
/* A point of a cell, u and v from 0 to 1 across it. */
UfDirection uf_cell_direction(const UfCells *cells, const UfCell *cell, double u, double v);
/* Row by row. */
void uf_cell_corners(const UfCells *cells, const UfCell *cell, UfDirection out[4]);

#endif

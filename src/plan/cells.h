/* Which directions no frame sees: the sphere in cells, split where the answer changes. */
#ifndef UF_PLAN_CELLS_H
#define UF_PLAN_CELLS_H

#include <stdint.h>

#include "plan/rig.h"

/* Most levels: 2^level cells a side. */
#define UF_CELLS_MAX_LEVEL 15

/* An unseen cell; x, y and side count the smallest cells. */
typedef struct UfCell {
    uint64_t code; /* of its lower corner along the Z-order curve */
    uint32_t x, y, side;
    unsigned look; /* UF_LOOK_... at its centre: never SEEN */
    bool is_whole; /* the corners say the same */
    UfDirection middle;
} UfCell;

typedef struct UfCells {
    UfCell *cells; /* owned, sorted by code */
    size_t count;
    uint32_t *starts;       /* owned: where cells with each value of the code's first bits begin */
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

double uf_cells_side(const UfCells *cells);
/* A point of a cell, u and v from 0 to 1 across it. */
UfDirection uf_cell_direction(const UfCells *cells, const UfCell *cell, double u, double v);
/* Index of the unseen cell that holds the smallest cell (x, y); cells->count when there is none. */
size_t uf_cells_find(const UfCells *cells, int64_t x, int64_t y);

#endif

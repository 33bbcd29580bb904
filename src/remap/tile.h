/*
 * Places within a small tile of the target, from few exact ones.
 *
 * A lattice of exact places, UF_NODE_PX apart, is laid over a block of the target. In a tile of 3 x 3 nodes u
 * and v are the polynomials of degree 2 in x and in y that run through the nodes. Interpolating a function f
 * so with a step h errs by at most h^3 max|f'''| / (9 sqrt 3) (P. J. Davis, Interpolation and Approximation,
 * 1963, section 3.1, with the maximum of |s(s^2 - 1)| worked out), and h^3 f''' is the lattice's third
 * difference. The fit is taken where that bound, doubled, stays below UF_TILE_ERROR_PX; elsewhere (poles,
 * seams, edges of what is seen) every place is computed exactly.
 *
 * The lattice's places lie on multiples of 2^-20 pixel, so that whole steps and turns stay exact.
 */
#ifndef UF_REMAP_TILE_H
#define UF_REMAP_TILE_H

#include "remap/light.h"
#include "remap/map.h"

#define UF_TILE_PX       16u
#define UF_NODE_PX       8u
#define UF_BLOCK_PX      128u
#define UF_NODES         (UF_BLOCK_PX / UF_NODE_PX + 1)
#define UF_TILE_ERROR_PX (1.0 / 256)

typedef struct UfLattice {
    size_t nodes; /* a side, 4 to UF_NODES */
    double u_px[UF_NODES][UF_NODES],
        v_px[UF_NODES][UF_NODES]; /* [down][across]; NaN where there is no place */
    double turn_px; /* what u may differ by where it goes round; 0: it does not, here or anywhere */
} UfLattice;

/* The lattice of `nodes` a side whose corner is at (x_px, y_px), a multiple of node_px, which is a power of
 * two: UF_NODE_PX for blocks, less for parts of tiles. */
void uf_lattice_fill(const UfMap *map, size_t x_px, size_t y_px, size_t node_px, size_t nodes,
                     UfLattice *out);

/* What its places and the pixels close around them take, to be read ahead. Empty where no node has a place.
 */
UfLightArea uf_lattice_area(const UfLattice *lattice);

/* From the tile's base to the pixels' places, from centre to centre: [down][across]. */
typedef struct UfTilePlaces {
    float x[UF_TILE_PX][UF_TILE_PX], y[UF_TILE_PX][UF_TILE_PX];
} UfTilePlaces;

/*
 * u - base_u = sum of u[i][k] s^k t^i, v alike, with s and t from -1 to 1 across and down the tile. The bases
 * are whole pixels, and every place in the tile lies at least two pixels beyond them.
 */
typedef struct UfTile {
    ptrdiff_t base_u, base_v;
    ptrdiff_t reach_u, reach_v; /* and less than this far beyond them */
    double u[3][3], v[3][3];
    const UfTilePlaces *places; /* instead of u and v, of which nothing is known then; or NULL */
} UfTile;

/* The tile at (across, down) in the lattice, counted in tiles of two steps. False when it must be computed
 * exactly. */
bool uf_tile_fit(const UfLattice *lattice, size_t across, size_t down, UfTile *out);
UfPixelPoint uf_tile_place(const UfTile *tile, double s, double t);

/* Exact places, [down][across]; what lies beyond the first width x height does not matter. */
typedef struct UfExactPlaces {
    double u_px[UF_TILE_PX][UF_TILE_PX], v_px[UF_TILE_PX][UF_TILE_PX];
} UfExactPlaces;

/* A tile of places, which are put into `room`. False where one is missing or they lie too far apart. */
bool uf_tile_of_places(const UfExactPlaces *places, size_t width, size_t height, UfTilePlaces *room,
                       UfTile *out);
/* The place of the tile's pixel (x, y). */
UfPixelPoint uf_tile_pixel(const UfTile *tile, size_t x, size_t y);

/* The coefficients of s^0, s^1, s^2 of the parabola through three values at -1, 0, 1. */
void uf_parabola(double before, double middle, double after, double out[3]);

/* The middle, then the corners: {s, t} = {-1, -1}, {1, -1}, {-1, 1}, {1, 1}. */
#define UF_TILE_POINTS 5u
/* The steps for one pixel of the target there. */
void uf_tile_jacobians(const UfTile *tile, UfJacobian out[UF_TILE_POINTS]);

#endif

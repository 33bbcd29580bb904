/* Polynomials through a lattice, and how far off they can be. */
#include "remap/tile.h"

#include <math.h>
#include <string.h>

/* 1/(9 sqrt 3), and twice it for what the difference does not say about the third derivative nearby. */
#define ERROR_PART (2 * 0.06415002990995842)
/* The largest sum of |Lagrange's weights| on three even nodes: what errors across grow by on their way down.
 */
#define GROWTH 1.25
/* A tile that reaches further is no tile to interpolate in. */
#define REACH_MAX_PX 1024

/* Whether places lie more than half a turn apart. Where none do, no neighbour lies on the other side of a
 * seam. */
static bool goes_round(const UfLattice *lattice, double turn_px)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < lattice->nodes; i++)
        for (size_t k = 0; k < lattice->nodes; k++) {
            const double u = lattice->u_px[i][k];
            least = u < least ? u : least;
            most = u > most ? u : most;
        }
    return most - least > turn_px / 2;
}

/* The lattice is the same view at 1/node_px of its size: a power of two, so that nothing is rounded. */
void uf_lattice_fill(const UfMap *map, size_t x_px, size_t y_px, size_t node_px, size_t nodes, UfLattice *out)
{
    UfMap coarse = *map;
    UfMapColumns columns;
    UfMapRow row;
    const double left = (double)(x_px / node_px), top = (double)(y_px / node_px), step = (double)node_px;
    coarse.target.scale_px /= step;
    coarse.target.centre_x_px /= step;
    coarse.target.centre_y_px /= step;
    out->nodes = nodes;
    uf_map_columns(&coarse, left, nodes, &columns);
    for (size_t i = 0; i < nodes; i++) {
        uf_map_row(&coarse, &columns, left, top + (double)i, nodes, &row);
        memcpy(out->u_px[i], row.u_px, nodes * sizeof row.u_px[0]);
        memcpy(out->v_px[i], row.v_px, nodes * sizeof row.v_px[0]);
    }
    out->turn_px = map->round_px > 0 && goes_round(out, map->round_px) ? map->round_px : 0;
}

/* u without its jump round the turn, as seen from `middle`. */
static double near(double value, double middle, double turn_px)
{
    if (value - middle > turn_px / 2)
        return value - turn_px;
    return middle - value > turn_px / 2 ? value + turn_px : value;
}

/* Beyond the places. */
#define AROUND_PX 16

UfLightArea uf_lattice_area(const UfLattice *lattice)
{
    double left = INFINITY, right = -INFINITY, top = INFINITY, bottom = -INFINITY, first = NAN;
    for (size_t i = 0; i < lattice->nodes; i++)
        for (size_t k = 0; k < lattice->nodes; k++) {
            double u = lattice->u_px[i][k], v = lattice->v_px[i][k];
            if (isnan(u))
                continue;
            first = isnan(first) ? u : first;
            if (lattice->turn_px > 0)
                u = near(u, first, lattice->turn_px);
            left = u < left ? u : left;
            right = u > right ? u : right;
            top = v < top ? v : top;
            bottom = v > bottom ? v : bottom;
        }
    if (isnan(first))
        return (UfLightArea){0};
    return (UfLightArea){(ptrdiff_t)floor(left) - AROUND_PX, (ptrdiff_t)floor(top) - AROUND_PX,
                         (ptrdiff_t)ceil(right) + AROUND_PX, (ptrdiff_t)ceil(bottom) + AROUND_PX};
}

/* Four nodes a side: the tile's three and one more, which the error is told by. */
typedef struct Nodes {
    double at[4][4];
    size_t x, y; /* where the tile's first node lies among them */
} Nodes;

static Nodes nodes_of(const double (*lattice)[UF_NODES], size_t nodes, double turn_px, size_t across,
                      size_t down)
{
    Nodes out = {.x = 2 * across + 3 < nodes ? 0 : 1, .y = 2 * down + 3 < nodes ? 0 : 1};
    for (size_t i = 0; i < 4; i++)
        memcpy(out.at[i], &lattice[2 * down + i - out.y][2 * across - out.x], sizeof out.at[i]);
    if (!(turn_px > 0))
        return out;
    const double middle = lattice[2 * down + 1][2 * across + 1];
    for (size_t i = 0; i < 16; i++)
        out.at[i / 4][i % 4] = near(out.at[i / 4][i % 4], middle, turn_px);
    return out;
}

static double third(double a, double b, double c, double d)
{
    return fabs(d - a - 3 * (c - b));
}

/* NaN where a node is missing. */
static double error_of(const Nodes *nodes)
{
    double across = 0, down = 0;
    for (size_t i = 0; i < 4; i++) {
        double a = third(nodes->at[i][0], nodes->at[i][1], nodes->at[i][2], nodes->at[i][3]);
        double d = third(nodes->at[0][i], nodes->at[1][i], nodes->at[2][i], nodes->at[3][i]);
        across = a <= across ? across : a;
        down = d <= down ? down : d;
    }
    return ERROR_PART * (GROWTH * across + down);
}

void uf_parabola(double before, double middle, double after, double out[3])
{
    out[0] = middle;
    out[1] = (after - before) / 2;
    out[2] = (after + before) / 2 - middle;
}

static void fit(const Nodes *nodes, double base, double out[3][3])
{
    double rows[3][3];
    for (size_t i = 0; i < 3; i++) {
        const double *at = &nodes->at[nodes->y + i][nodes->x];
        uf_parabola(at[0] - base, at[1] - base, at[2] - base, rows[i]);
    }
    for (size_t k = 0; k < 3; k++) {
        double column[3];
        uf_parabola(rows[0][k], rows[1][k], rows[2][k], column);
        for (size_t i = 0; i < 3; i++)
            out[i][k] = column[i];
    }
}

/* Whole pixels that hold all places of the tile: between its nodes a parabola leaves their range by a quarter
 * at most. */
static bool range_of(const Nodes *nodes, ptrdiff_t *base, ptrdiff_t *reach)
{
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < 3; i++)
        for (size_t k = 0; k < 3; k++) {
            double value = nodes->at[nodes->y + i][nodes->x + k];
            least = value < least ? value : least;
            most = value > most ? value : most;
        }
    double slack = (most - least) / 2;
    if (!(most - least < REACH_MAX_PX))
        return false;
    *base = (ptrdiff_t)floor(least - slack) - 2;
    *reach = (ptrdiff_t)ceil(most + slack) - *base;
    return true;
}

bool uf_tile_fit(const UfLattice *lattice, size_t across, size_t down, UfTile *out)
{
    const Nodes u = nodes_of(lattice->u_px, lattice->nodes, lattice->turn_px, across, down);
    const Nodes v = nodes_of(lattice->v_px, lattice->nodes, 0, across, down);
    if (!(error_of(&u) <= UF_TILE_ERROR_PX && error_of(&v) <= UF_TILE_ERROR_PX) ||
        !range_of(&u, &out->base_u, &out->reach_u) || !range_of(&v, &out->base_v, &out->reach_v))
        return false;
    out->places = NULL;
    fit(&u, (double)out->base_u, out->u);
    fit(&v, (double)out->base_v, out->v);
    return true;
}

/* Derivatives in the middle, and where s and t are -1 or 1: a step of s or t is UF_NODE_PX pixels. */
static void slopes(const double at[3][3], double by_x[UF_TILE_POINTS], double by_y[UF_TILE_POINTS])
{
    by_x[0] = at[0][1] / UF_NODE_PX;
    by_y[0] = at[1][0] / UF_NODE_PX;
    for (int side = 0; side < 2; side++) {
        const double s = side == 0 ? -1 : 1;
        const double even = at[0][1] + at[2][1] + 2 * s * (at[0][2] + at[2][2]),
                     odd = at[1][1] + 2 * s * at[1][2];
        const double first = at[1][0] + s * at[1][1] + at[1][2];
        const double second = 2 * (at[2][0] + s * at[2][1] + at[2][2]);
        by_x[1 + side] = (even - odd) / UF_NODE_PX;
        by_x[3 + side] = (even + odd) / UF_NODE_PX;
        by_y[1 + side] = (first - second) / UF_NODE_PX;
        by_y[3 + side] = (first + second) / UF_NODE_PX;
    }
}

void uf_tile_jacobians(const UfTile *tile, UfJacobian out[UF_TILE_POINTS])
{
    double ux[UF_TILE_POINTS], uy[UF_TILE_POINTS], vx[UF_TILE_POINTS], vy[UF_TILE_POINTS];
    slopes(tile->u, ux, uy);
    slopes(tile->v, vx, vy);
    for (size_t i = 0; i < UF_TILE_POINTS; i++)
        out[i] = (UfJacobian){.ux = ux[i], .uy = uy[i], .vx = vx[i], .vy = vy[i]};
}

static double value_at(const double at[3][3], double s, double t)
{
    double rows[3];
    for (size_t i = 0; i < 3; i++)
        rows[i] = at[i][0] + s * (at[i][1] + s * at[i][2]);
    return rows[0] + t * (rows[1] + t * rows[2]);
}

UfPixelPoint uf_tile_place(const UfTile *tile, double s, double t)
{
    return (UfPixelPoint){(double)tile->base_u + value_at(tile->u, s, t),
                          (double)tile->base_v + value_at(tile->v, s, t)};
}

/* Whole pixels around all of them. */
static bool range_of_places(const double (*at)[UF_TILE_PX], size_t width, size_t height, ptrdiff_t *base,
                            ptrdiff_t *reach)
{
    double least = INFINITY, most = -INFINITY;
    bool there = true;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            least = at[y][x] < least ? at[y][x] : least;
            most = at[y][x] > most ? at[y][x] : most;
            there = there && !isnan(at[y][x]);
        }
    if (!there || !(most - least < REACH_MAX_PX))
        return false;
    *base = (ptrdiff_t)floor(least) - 2;
    *reach = (ptrdiff_t)ceil(most) + 1 - *base;
    return true;
}

bool uf_tile_of_places(const UfExactPlaces *places, size_t width, size_t height, UfTilePlaces *room,
                       UfTile *out)
{
    if (!range_of_places(places->u_px, width, height, &out->base_u, &out->reach_u) ||
        !range_of_places(places->v_px, width, height, &out->base_v, &out->reach_v))
        return false;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < UF_TILE_PX; x++) {
            const size_t there = x < width ? x : width - 1;
            room->x[y][x] = (float)(places->u_px[y][there] - (double)out->base_u - 0.5);
            room->y[y][x] = (float)(places->v_px[y][there] - (double)out->base_v - 0.5);
        }
    out->places = room;
    return true;
}

UfPixelPoint uf_tile_pixel(const UfTile *tile, size_t x, size_t y)
{
    if (tile->places != NULL)
        return (UfPixelPoint){(double)tile->base_u + 0.5 + (double)tile->places->x[y][x],
                              (double)tile->base_v + 0.5 + (double)tile->places->y[y][x]};
    return uf_tile_place(tile, ((double)x + 0.5) / UF_NODE_PX - 1, ((double)y + 0.5) / UF_NODE_PX - 1);
}

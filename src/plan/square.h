/* The whole sphere on a square, equal areas on equal areas: where the sampling of directions lives. */
#ifndef UF_PLAN_SQUARE_H
#define UF_PLAN_SQUARE_H

#include <stdint.h>

#include <underfoot/sphere.h>

/* u and v from 0 to 1. */
UfDirection uf_square_direction(double u, double v);
/*
 * Each side of the square is folded about its middle. Brings a cell (x, y) of `side` x `side` cells that lies
 * just outside back inside.
 */
void uf_square_fold(int64_t side, int64_t *x, int64_t *y);

#endif

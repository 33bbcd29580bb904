/* The whole sphere on a square, equal areas on equal areas: where the sampling of directions lives. */
#ifndef UF_PLAN_SQUARE_H
#define UF_PLAN_SQUARE_H

#include <underfoot/sphere.h>

/* u and v from 0 to 1. */
UfDirection uf_square_direction(double u, double v);
/* Four at once, in half the time. */
void uf_square_four(const double u[4], const double v[4], UfDirection out[4]);

#endif

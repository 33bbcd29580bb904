/* How steeply the picture runs into a round cap: what the membrane adds to the values of the rim. */
#ifndef UF_PATCH_MEMBRANE_SLOPE_H
#define UF_PATCH_MEMBRANE_SLOPE_H

#include <underfoot/picture.h>

#include "patch/cap.h"

/* Azimuthal orders 0, 1, 2: brightness towards the pole, across it, and saddles. */
#define UF_SLOPE_ORDERS 3

/*
 * Beside the harmonic continuation r^k f_k, order k gets r^k (r^2 - 1)/2 e_k: nothing at the rim r = 1, and
 * there the slope e_k. As coefficients of e^(i k x 2 pi/width), x the column; [channel][order][real,
 * imaginary].
 */
typedef struct UfSlope {
    double excess[3][UF_SLOPE_ORDERS][2];
} UfSlope;

/* From the belt outside cap + feather. Zeros where the belt does not tell. */
UfStatus uf_slope_read(const UfPicture *panorama, const UfCap *cap, UfSlope *out, UfReport *report);
/* How far from the pole uf_slope_read looks. */
double uf_slope_farthest_rad(const UfCap *cap);

/* The belt's cells, ring by ring: of the rings [first_ring + i * rings, + rings), i below `up`, only
 * `looked_at` are, from number `skipped` on. up is 0 where the picture is too small to tell a slope from
 * anything. */
typedef struct UfSlopeBelt {
    size_t first_ring, up, rings, skipped, looked_at;
} UfSlopeBelt;

UfSlopeBelt uf_slope_belt(const UfCap *cap);

#endif

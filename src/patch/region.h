/*
 * What is covered beside the cap: a shadow on the floor, a painted mask. Weights for the panorama's pixels,
 * as the cap has them for its rows: 1 covered, 0 left alone.
 */
#ifndef UF_PATCH_REGION_H
#define UF_PATCH_REGION_H

#include <underfoot/patch.h>

#include "patch/cap.h"

struct UfRegion {
    size_t width_px, first_row_px, row_count; /* the rows that hold anything */
    float *weight;                            /* row_count x width_px */
    double far_rad;                           /* the largest angle from the pole that holds anything */
};

/*
 * *out is NULL when the options ask for neither. UF_ERROR_ARGUMENT for a mask that is no panorama or covers
 * nothing, UF_ERROR_UNCLEAR where the mask or the shadow lies where nothing can be covered. The caller owns
 * *out.
 */
UfStatus uf_region_create(const UfPatchOptions *options, const UfCap *cap, UfRegion **out,
                          UfPatchResult *result, UfReport *report);
void uf_region_free(UfRegion **region);

/* The larger of the cap's and the region's weight at `count` pixels of a row, and at one. */
void uf_cap_weights(const UfCap *cap, size_t y_px, size_t x0_px, size_t count, float *out);
/* Is a row's weight the same all along? Then *weight is it. */
bool uf_cap_weight_is_even(const UfCap *cap, size_t y_px, float *weight);
float uf_cap_weight_at(const UfCap *cap, size_t x_px, size_t y_px);
/* Is any of this place covered? Within a pixel of the panorama. */
bool uf_region_holds(const UfRegion *region, UfDirection direction);

#endif

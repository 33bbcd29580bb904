/* Two pictures of the same floor brought to lie on each other, and how well they do. */
#ifndef UF_PATCH_PLATE_ALIGN_H
#define UF_PATCH_PLATE_ALIGN_H

#include "patch/grey.h"

/*
 * One round: `moved` is the photo as it lies on the floor's grid now, `still` the floor; both are detail
 * (uf_grey_detail). Finds the homography D near the identity with moved(D x) = still(x), robustly, and
 * multiplies it to *correction from the right side of the map. False when there is too little to go by.
 * *step_px: how far it moved the farthest known pixel.
 */
bool uf_plate_align(const UfGrey *still, const UfGrey *moved, int threads, UfHomography *correction,
                    double *step_px);
/* Correlation coefficient over the pixels known in both; `count` how many. */
double uf_plate_correlation(const UfGrey *a, const UfGrey *b, size_t *count);
/*
 * How far pieces of `moved` lie from where they belong on `still`, searched within `reach` pixels, to a
 * fraction of one. Rms, weighted by the detail that shows it: along a board nothing does. -1: no piece can
 * tell.
 */
double uf_plate_shifts(const UfGrey *still, const UfGrey *moved, size_t piece, int reach, int threads);

#endif

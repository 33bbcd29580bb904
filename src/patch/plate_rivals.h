/* Where else a picture would fit, by whole shifts. */
#ifndef UF_PATCH_PLATE_RIVALS_H
#define UF_PATCH_PLATE_RIVALS_H

#include "patch/grey.h"

typedef struct UfRival {
    int dx, dy;
    double correlation;
} UfRival;

/*
 * `moved` is a larger grid about the same middle as `still`; both are detail (uf_grey_detail). The best peaks
 * of the correlation of still(x) and moved(x + shift), best first, at most `most`, at least `apart` from each
 * other (and from no shift at all when `not_near_zero`), over shifts that leave `least_pixels` known in both.
 */
UfStatus uf_plate_rivals(const UfGrey *still, const UfGrey *moved, double apart, bool not_near_zero,
                         size_t least_pixels, UfRival *out, size_t most, size_t *count, UfReport *report);

#endif

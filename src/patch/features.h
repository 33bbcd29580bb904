/*
 * Distinctive points of a picture with descriptions that do not change with scale, turn and light.
 *
 * D. G. Lowe, Distinctive Image Features from Scale-Invariant Keypoints, IJCV 60(2), 91-110 (2004).
 */
#ifndef UF_PATCH_FEATURES_H
#define UF_PATCH_FEATURES_H

#include "patch/grey.h"

#define UF_FEATURE_NUMBERS 128

typedef struct UfFeature {
    UfSpot at;        /* pixels of the picture */
    double scale;     /* sigma of the Gaussian, pixels */
    double angle_rad; /* of the main gradient, from x towards y */
    float strength;
    float numbers[UF_FEATURE_NUMBERS]; /* of unit length */
} UfFeature;

/*
 * At most `most` features, the strongest, in an order that does not depend on the number of threads. The
 * picture is doubled first when `doubled`. Nothing near unknown pixels. The caller frees *out.
 */
UfStatus uf_features_find(const UfGrey *picture, bool doubled, size_t most, int threads, UfFeature **out,
                          size_t *count, UfReport *report);

#endif

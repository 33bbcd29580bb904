/* Laying one thing over another, and bringing its colours along. */
#ifndef UF_PATCH_OVER_H
#define UF_PATCH_OVER_H

#include <underfoot/picture.h>

#include "picture/colour.h"

/*
 * "over" (Porter and Duff 1984) for `count` pixels of 1 or 3 channels with straight alpha, in linear light:
 * `under` becomes the result. over_alpha 0 leaves a pixel exactly as it is, 1 makes it exactly `over`.
 */
void uf_over(const UfTransfer *transfer, const float *over, const float *over_alpha, float *under,
             float *under_alpha, size_t count, size_t channels);

/* The logo in the panorama's colour space, with the panorama's depth or more. On success the caller owns
 * *out. */
UfStatus uf_logo_colours(const UfPicture *logo, const UfPicture *panorama, UfPicture **out, UfReport *report);

#endif

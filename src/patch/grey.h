/* One-channel pictures with gaps, for finding where two pictures fit. */
#ifndef UF_PATCH_GREY_H
#define UF_PATCH_GREY_H

#include <stdint.h>

#include "base/report.h"
#include "patch/homography.h"

typedef struct UfGrey {
    size_t width, height;
    float *value;   /* width x height */
    uint8_t *known; /* 1 or 0 */
} UfGrey;

/* Zeros. Clear with uf_grey_clear. */
UfStatus uf_grey_create(size_t width, size_t height, UfGrey *out, UfReport *report);
void uf_grey_clear(UfGrey *grey);
/* The longer one. */
static inline size_t uf_grey_side(const UfGrey *grey)
{
    return grey->width > grey->height ? grey->width : grey->height;
}
/* Mean of the three colours (the first alone when the others are 0 everywhere) of 4 floats a pixel. */
UfStatus uf_grey_of_colour(size_t width, size_t height, const float *value, const uint8_t *known,
                           size_t channels, UfGrey *out, UfReport *report);
/* Half the size (rounded up): means of the known; known where all four are. */
UfStatus uf_grey_halve(const UfGrey *from, UfGrey *out, UfReport *report);
/* Gaussian of the known values, and of nothing else: weights go with `known`. `out` may be `from`. Unknown
 * pixels get the surrounding mean. */
UfStatus uf_grey_blur(const UfGrey *from, double sigma, int threads, UfGrey *out, UfReport *report);
/*
 * Detail alone: the mean about each pixel (Gaussian of `sigma`) taken away and the spread about it divided
 * out, with `floor` as its least value, so that light and shade, exposure and contrast do not matter.
 */
UfStatus uf_grey_detail(const UfGrey *from, double sigma, double floor, int threads, UfGrey *out,
                        UfReport *report);
/* Bilinear at a point (pixel centres at +1/2); false unless all four are known. */
bool uf_grey_at(const UfGrey *grey, UfSpot at, double *out);

#endif

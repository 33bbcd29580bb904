/*
 * A part: one flat view that comes home, an edited picture beside the same one made anew. A face or a view is
 * one part, a sheet has six.
 *
 * Both pictures are of one size and sample type and in the panorama's colours. The difference is taken as it
 * will be added: with alpha premultiplied, 0..1 of full scale. With a_e, e of the edit and a_r, r of the one
 * made anew, what the edit shows is laid over what was there,
 *
 *     a = max(a_e, a_r),  a c = a_e e + max(0, a_r - a_e) r,
 *
 * so that what was erased shows what was there, and what was painted on nothing stays.
 */
#ifndef UF_PUTBACK_PART_H
#define UF_PUTBACK_PART_H

#include <math.h>

#include <underfoot/putback.h>

/* Colours of a pixel at most, and alpha. */
#define UF_PART_SAMPLES 4

typedef struct UfBox {
    size_t x0, y0, x1, y1; /* [x0, x1) x [y0, y1); empty when x1 is 0 */
} UfBox;

typedef struct UfPart {
    size_t edit; /* number of the edit that it belongs to */
    UfView view; /* at the edit's size */
    const UfPicture *edited;
    UfPicture *owned; /* `edited`, unless that is the caller's own picture */
    UfPicture *anew;
    bool resized, converted, from_jpeg;
    uint8_t *weight; /* 255 where all of the difference comes home; width x height, NULL when nothing does */
    UfBox box;       /* where the weight is not 0 */
} UfPart;

/* Fine on a zeroed UfPart. */
void uf_part_clear(UfPart *part);

size_t uf_part_width_px(const UfPart *part);
size_t uf_part_height_px(const UfPart *part);
/* Colours of the panorama: 1 or 3. */
size_t uf_part_colours(const UfPart *part);

/* Pixels [x0, x1) of row y: for each the premultiplied difference of its colours and then of alpha. */
void uf_part_difference(const UfPart *part, size_t y_px, size_t x0_px, size_t x1_px, float *out);
/* The largest of a pixel's differences, without its sign. */
static inline float uf_largest(const float *pixel, size_t samples)
{
    float most = 0;
    for (size_t i = 0; i < samples; i++) {
        const float size = fabsf(pixel[i]);
        most = size > most ? size : most;
    }
    return most;
}

/* The same pixels as they were made anew: colours premultiplied, and alpha. */
void uf_part_anew(const UfPart *part, size_t y_px, size_t x0_px, size_t x1_px, float *out);

#endif

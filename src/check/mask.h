/*
 * Areas of an equirectangular picture as one bit a pixel: connected across the seam and over the poles, and
 * measured on the sphere.
 */
#ifndef UF_CHECK_MASK_H
#define UF_CHECK_MASK_H

#include <stdint.h>

#include <underfoot/sphere.h>

#include "base/report.h"

typedef struct UfMask {
    size_t width_px, height_px, row_words;
    uint64_t *bits;
    size_t first_row_px, last_row_px; /* set bits lie in rows first_row .. last_row - 1 */
} UfMask;

UfStatus uf_mask_create(size_t width_px, size_t height_px, UfMask *out, UfReport *report);
void uf_mask_free(UfMask *mask);
/* Takes all bits back; costs only the rows that have some. */
void uf_mask_clear(UfMask *mask);

static inline bool uf_mask_get(const UfMask *mask, size_t x_px, size_t y_px)
{
    return mask->bits[y_px * mask->row_words + x_px / 64] >> (x_px % 64) & 1;
}

/* Sets the bit without minding the range of rows: for filling a mask row by row, in parallel. */
static inline void uf_mask_set_bit(UfMask *mask, size_t x_px, size_t y_px)
{
    mask->bits[y_px * mask->row_words + x_px / 64] |= (uint64_t)1 << (x_px % 64);
}

static inline void uf_mask_set(UfMask *mask, size_t x_px, size_t y_px)
{
    uf_mask_set_bit(mask, x_px, y_px);
    if (y_px < mask->first_row_px)
        mask->first_row_px = y_px;
    if (y_px >= mask->last_row_px)
        mask->last_row_px = y_px + 1;
}

/* What adds up while an area is collected. */
typedef struct UfAreaSum {
    size_t pixels;
    double sphere_share; /* 0..1 */
    double x, y, z;      /* integral of the direction over the area */
} UfAreaSum;

/*
 * Adds to `area` the pixels of `of` that are 8-connected to (x, y), wrapping across the seam; all pixels of
 * the first row meet in the zenith and those of the last row in the nadir. Bits that `area` has already are a
 * border.
 */
UfStatus uf_mask_flood(const UfMask *of, size_t x_px, size_t y_px, UfMask *area, UfAreaSum *sum,
                       UfReport *report);

typedef bool UfPixelTest(const void *context, size_t x_px, size_t y_px);

/* Grows `area` by up to `steps` rings of neighbouring pixels that pass the test. */
UfStatus uf_mask_grow(UfMask *area, unsigned steps, UfPixelTest *passes, const void *context,
                      UfReport *report);

/* What there is to know about the whole area. */
typedef struct UfAreaShape {
    UfAreaSum sum;
    double outline_rad; /* length of its border on the sphere */
    double hard_share;  /* share of the border, by length, where it is above `hard_step` */
    UfDirection centre; /* of gravity */
    double radius_rad;  /* of the smallest circle about the centre that holds the area */
} UfAreaShape;

/* How far a pixel is from what the area holds. */
typedef double UfPixelStep(const void *context, size_t x_px, size_t y_px);

void uf_mask_measure(const UfMask *area, UfPixelStep *step, double hard_step, const void *context,
                     UfAreaShape *out);

/* 4 pi-corrected isoperimetric quotient A (4 pi - A) / L^2: 1 for a circle, small for what is frayed or
 * riddled. */
double uf_area_roundness(const UfAreaShape *shape);

#endif

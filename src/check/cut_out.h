/*
 * Cut-outs: telling what was left out of a picture from what is dark, bright or plain in it.
 */
#ifndef UF_CHECK_CUT_OUT_H
#define UF_CHECK_CUT_OUT_H

#include <underfoot/check.h>

#include "check/level.h"
#include "check/mask.h"

/* What one kind of hole looks for. */
typedef struct UfSearch {
    UfPixels pixels;
    UfHoleKind kind;
    const uint8_t *fill; /* the pixel whose colour fills it; any for a transparent one */
    const UfMask *core;  /* the pixels that are hole for certain, as uf_search_mark has them */
    double tolerance;    /* private */
} UfSearch;

/* A black pixel of any sample type. */
extern const uint8_t uf_black_pixel[4 * sizeof(float)];

/*
 * The colour that fills a pole's row; NULL when none has nearly all of it, or when that colour is black or,
 * at the zenith, white. Borrowed from the picture.
 */
const uint8_t *uf_pole_fill(const UfPixels *pixels, bool at_zenith);

/* Marks the core in rows first .. last - 1. */
void uf_search_mark(const UfSearch *search, size_t first_row_px, size_t last_row_px, UfMask *core);

/* Large enough to be told? */
bool uf_search_is_large(const UfSearch *search, const UfAreaSum *sum);

/*
 * Floods the core from (x, y) into `area`, takes in its disturbed edge and measures it. *is_hole says whether
 * it is one; *shape is set when it is.
 */
UfStatus uf_search_examine(UfSearch *search, size_t x_px, size_t y_px, UfMask *area, UfAreaShape *shape,
                           bool *is_hole, UfReport *report);

/* Rows about a pole that the area fills without a gap, and those up to the farthest that it reaches. */
void uf_rows_about_pole(const UfMask *area, bool at_zenith, size_t *whole_rows, size_t *reached_rows);

#endif

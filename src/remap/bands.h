/*
 * A target filled band by band of the source, so that the spline's coefficients of one band are there at a
 * time and not those of the whole source, which take twice its memory.
 *
 * The target's blocks are sorted by the first row of the source that they look at; those that begin within
 * so many rows belong to one band, and the rows that any of them looks at have coefficients for it. Rows
 * where bands overlap are made twice, and are the same both times (remap/spline.h): the bits of the target
 * do not depend on bands.
 */
#ifndef UF_REMAP_BANDS_H
#define UF_REMAP_BANDS_H

#include "remap/seen.h"

/* What the coefficients of a band may take, where rows are not so long that it would have too few of them. */
#define UF_BAND_BYTES ((size_t)40 << 20)
/* Rows in which the blocks of a band begin, at least. */
#define UF_BAND_LEAST_ROWS 256

typedef struct UfBandBlock {
    ptrdiff_t first_row,
        end_row;       /* that it looks at; where nothing is seen, first_row is the source's height */
    size_t x_px, y_px; /* its corner in the target */
} UfBandBlock;

typedef struct UfBands {
    UfBandBlock *blocks; /* owned; by first_row */
    size_t count, block_px;
    ptrdiff_t rows; /* in which a band's blocks begin; more than the source has where one holds them all */
    UfSeen all;     /* what all blocks see */
} UfBands;

/* The source is a full sphere, uf_seen_serves the target; row_bytes: of a row of coefficients. Zeroed before.
 */
UfStatus uf_bands_create(const UfMap *map, size_t block_px, size_t row_bytes, int threads, UfBands *out,
                         UfReport *report);
/* All blocks in one band of which nothing more is known, so that each looks at all rows: `rows` is 0. */
UfStatus uf_bands_none(const UfMap *map, size_t block_px, UfBands *out, UfReport *report);
/* The same of a full sphere and a target that uf_seen_serves, by the last row that blocks look at. */
UfStatus uf_bands_by_end(const UfMap *map, size_t block_px, int threads, UfBands *out, UfReport *report);
/* Of blocks in that order from `from` on the end of those that look at no row from `rows` on, which are put
 * in the target's order. */
size_t uf_bands_held(UfBands *bands, size_t from, size_t rows);
/* The end of the band that begins with block `from`, and what its blocks look at. `seen` is zeroed before. */
UfStatus uf_bands_next(const UfBands *bands, const UfMap *map, size_t from, size_t *end, UfSeen *seen,
                       UfReport *report);
void uf_bands_free(UfBands *bands);

#endif

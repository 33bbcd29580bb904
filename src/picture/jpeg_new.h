/*
 * MCUs of new pixels, coded for a JPEG whose other MCUs stay: a JPEG of their pixels alone is walked through. Where
 * libjpeg can code it with that file's own Huffman tables its bits are taken, otherwise its symbols.
 */
#ifndef UF_PICTURE_JPEG_NEW_H
#define UF_PICTURE_JPEG_NEW_H

#include "picture/jpeg_band.h"
#include "picture/jpeg_splice.h"

/* The file that the new MCUs are for, and its picture, which is upright. */
typedef struct UfJpegTarget {
    struct jpeg_decompress_struct *jpeg; /* has read the header */
    const UfJpegWalk *walk;              /* through the file, wherever it is */
    const UfPicture *picture;
    bool own_codes; /* uf_jpeg_codes_complete(jpeg) */
} UfJpegTarget;

/* MCUs of columns [first_column, end_column) and rows [first_row, end_row), which are set by the caller. */
typedef struct UfJpegNew {
    size_t first_row, end_row, first_column, end_column;
    /* private */
    UfJpegBand band;
    UfJpegWalk walk; /* through the band's data */
    bool walk_is_open;
    UfJpegPlace end;                   /* of the band's data */
    int predictors[MAX_COMPS_IN_SCAN]; /* there */
} UfJpegNew;

/* `new` is zeroed before. */
void uf_jpeg_new_init(UfJpegNew *new, const char *name);
void uf_jpeg_new_clear(UfJpegNew *new);
/* Codes them; several threads may, each its own. Reports nothing. */
UfStatus uf_jpeg_new_code(UfJpegNew *new, const UfJpegTarget *target);
/* The next MCU, row by row, comes into the output, or is left out; `predictors` are the output's, and follow. */
bool uf_jpeg_new_put(UfJpegNew *new, const UfJpegTarget *target, UfJpegBits *bits,
                     int predictors[MAX_COMPS_IN_SCAN]);
bool uf_jpeg_new_drop(UfJpegNew *new);
/* All of them at once, where the target has own_codes and no restart markers. */
bool uf_jpeg_new_put_all(UfJpegNew *new, UfJpegBits *bits, int predictors[MAX_COMPS_IN_SCAN]);

#endif

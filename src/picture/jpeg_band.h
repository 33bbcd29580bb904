/* DCT coefficients of a rectangle of a picture, made with another JPEG's tables. */
#ifndef UF_PICTURE_JPEG_BAND_H
#define UF_PICTURE_JPEG_BAND_H

#include "picture/jpeg_internal.h"

typedef struct UfJpegBand {
    size_t left_px, top_px, width_px,
        height_px;            /* set by the caller; in stored coordinates, left and top on MCUs */
    jvirt_barray_ptr *blocks; /* the result, read through `reader`; valid until the next one */
    struct jpeg_decompress_struct reader;
    struct jpeg_compress_struct writer;
    UfJpegErrors reader_errors, writer_errors;
    unsigned char *bytes;
    unsigned long size_bytes;
    uint8_t *pixels;
} UfJpegBand;

/* `band` is zeroed before. */
void uf_jpeg_band_init(UfJpegBand *band, const char *name, UfReport *report);
void uf_jpeg_band_clear(UfJpegBand *band);
/* `like`: the source, whose coefficients have been read. `picture` is upright. */
UfStatus uf_jpeg_band_make(UfJpegBand *band, struct jpeg_decompress_struct *like, const UfPicture *picture,
                           int orientation, UfReport *report);

#endif

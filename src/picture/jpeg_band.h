/* A rectangle of a picture as another JPEG would hold it: its entropy-coded data, or its DCT coefficients. */
#ifndef UF_PICTURE_JPEG_BAND_H
#define UF_PICTURE_JPEG_BAND_H

#include "picture/jpeg_internal.h"

typedef struct UfJpegBand {
    size_t left_px, top_px, width_px,
        height_px;            /* set by the caller; in stored coordinates, left and top on MCUs */
    bool own_codes;      /* set by the caller: the other JPEG's Huffman tables, too, which are complete */
    unsigned char *bytes; /* a JPEG of the rectangle alone; valid until the next one */
    unsigned long size_bytes;
    size_t data_start;        /* where its entropy-coded data begin */
    jvirt_barray_ptr *blocks; /* its coefficients, read through `reader`; valid until the next one */
    struct jpeg_decompress_struct reader; /* has read the header */
    /* private */
    struct jpeg_compress_struct writer;
    UfJpegErrors reader_errors, writer_errors;
    uint8_t *pixels;
} UfJpegBand;

/* `band` is zeroed before. */
void uf_jpeg_band_init(UfJpegBand *band, const char *name, UfReport *report);
void uf_jpeg_band_clear(UfJpegBand *band);
/* Makes `bytes`. `like`: the other JPEG, whose header has been read. `picture` is upright. */
UfStatus uf_jpeg_band_code(UfJpegBand *band, struct jpeg_decompress_struct *like, const UfPicture *picture,
                           int orientation, UfReport *report);
/* The same, then makes `blocks` of it. */
UfStatus uf_jpeg_band_make(UfJpegBand *band, struct jpeg_decompress_struct *like, const UfPicture *picture,
                           int orientation, UfReport *report);

#endif

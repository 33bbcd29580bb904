/* Reading a JPEG's coefficients and writing them again as the source was written. */
#ifndef UF_PICTURE_JPEG_RECODE_H
#define UF_PICTURE_JPEG_RECODE_H

#include "picture/jpeg_internal.h"

/* Zeroed before uf_jpeg_recoder_init. */
typedef struct UfJpegRecoder {
    struct jpeg_decompress_struct source;
    struct jpeg_compress_struct target;
    UfJpegErrors source_errors, target_errors;
    jvirt_barray_ptr *blocks; /* of the source, to be read and changed */
    UfMetadata metadata;      /* of the source */
    size_t mcu_width_px, mcu_height_px;
    bool codes_missing; /* set by whoever brings blocks that the source's Huffman tables have no codes for */
    jpeg_scan_info scans[UF_JPEG_MAX_SCANS];
    int scan_count;
} UfJpegRecoder;

void uf_jpeg_recoder_init(UfJpegRecoder *recoder, const char *source, const char *target, UfReport *report);
void uf_jpeg_recoder_clear(UfJpegRecoder *recoder);
/* Header and metadata; then all coefficients. Both inside the caller's setjmp(source_errors.jump). */
UfStatus uf_jpeg_recoder_open(UfJpegRecoder *recoder, UfInput *input, UfReport *report);
UfStatus uf_jpeg_recoder_read(UfJpegRecoder *recoder, UfInput *input, UfReport *report);
/* The markers in their places, `metadata` instead of the old ones. Sets its own jumps. */
UfStatus uf_jpeg_recoder_write(UfJpegRecoder *recoder, const UfMetadata *metadata, UfOutput *output,
                               UfReport *report);

#endif

/* What the JPEG files share: libjpeg's error exit turned into a status, and the markers. */
#ifndef UF_PICTURE_JPEG_INTERNAL_H
#define UF_PICTURE_JPEG_INTERNAL_H

#include <setjmp.h>
#include <stdio.h>

#include <jpeglib.h>

#include "picture/picture_internal.h"

/*
 * More scans than any encoder makes (a usual progressive file has 10): each costs a pass over all blocks,
 * however few bytes it has. The number is common practice, no source.
 */
#define UF_JPEG_MAX_SCANS 200

/* The error manager of one (de)compressor; `base` comes first, so that libjpeg's pointer is this structure's.
 */
typedef struct UfJpegErrors {
    struct jpeg_error_mgr base;
    struct jpeg_progress_mgr progress;
    jmp_buf jump;
    UfReport *report;
    const char *name; /* of the file, for warnings */
    UfStatus status;  /* after the jump */
    bool in_image;    /* past the header: damage is no longer harmless */
} UfJpegErrors;

/* Sets up `errors`; the caller then calls setjmp(errors->jump). */
struct jpeg_error_mgr *uf_jpeg_errors_init(UfJpegErrors *errors, const char *name, UfReport *report);
/* Refuses files of endless scans, from now on. */
void uf_jpeg_limit_scans(struct jpeg_decompress_struct *jpeg, UfJpegErrors *errors);

/* The progress monitor that does it. */
void uf_jpeg_count_scans(j_common_ptr jpeg);

/* What a marker segment is. */
typedef enum UfJpegSegment {
    UF_JPEG_OTHER = 0,
    UF_JPEG_JFIF,
    UF_JPEG_JFXX, /* JFIF's thumbnail */
    UF_JPEG_ADOBE,
    UF_JPEG_EXIF,
    UF_JPEG_XMP,
    UF_JPEG_XMP_EXTENDED,
    UF_JPEG_ICC,
    UF_JPEG_MULTI_PICTURE,
    UF_JPEG_GAIN_MAP
} UfJpegSegment;

/* marker: 0xE0..0xEF, 0xFE; data: payload. */
UfJpegSegment uf_jpeg_segment_kind(int marker, const uint8_t *data, size_t size_bytes);

/* Payload prefixes, their closing NUL included. */
#define UF_JPEG_EXIF_PREFIX_BYTES     6u
#define UF_JPEG_XMP_PREFIX_BYTES      29u
#define UF_JPEG_EXTENDED_PREFIX_BYTES 35u
/* GUID, full length, offset */
#define UF_JPEG_EXTENDED_HEAD_BYTES (UF_JPEG_EXTENDED_PREFIX_BYTES + 32u + 4u + 4u)
extern const char uf_jpeg_exif_prefix[];
extern const char uf_jpeg_xmp_prefix[];
extern const char uf_jpeg_extended_prefix[];
#define UF_JPEG_MAX_PAYLOAD_BYTES 65533u
/* XMP Specification Part 3, 1.1.3: the largest main packet. */
#define UF_JPEG_MAX_XMP_BYTES 65502u

/* Reads the picture's metadata from the markers that libjpeg saved. */
UfStatus uf_jpeg_read_metadata(struct jpeg_decompress_struct *jpeg, const char *name, UfMetadata *out,
                               UfReport *report);

/* Where marker segments go: to a compressor whose header is written, or straight to a file. One of them is
 * set. */
typedef struct UfJpegSink {
    struct jpeg_compress_struct *jpeg;
    FILE *stream;
} UfJpegSink;

/* One segment, at most UF_JPEG_MAX_PAYLOAD_BYTES. */
void uf_jpeg_put_segment(const UfJpegSink *sink, int marker, const void *prefix, size_t prefix_bytes,
                         const uint8_t *data, size_t size_bytes);
/* Write one kind of metadata each; what does not fit is left out with a warning. */
void uf_jpeg_put_exif(const UfJpegSink *sink, UfBlob exif, UfReport *report);
void uf_jpeg_put_icc(const UfJpegSink *sink, UfBlob icc, UfReport *report);
void uf_jpeg_put_xmp(const UfJpegSink *sink, UfBlob xmp, UfReport *report);
void uf_jpeg_put_xmp_extended(const UfJpegSink *sink, UfBlob xmp, UfBlob extended);
/*
 * The markers of `list` again, in their order, with EXIF, XMP and ICC from `metadata` in the places of the
 * old ones; `old` is what `list` held. The multi-picture index, the gain map's and JFIF's thumbnail are left
 * out.
 */
void uf_jpeg_repeat_markers(const UfJpegSink *sink, const struct jpeg_marker_struct *list,
                            const UfMetadata *old, const UfMetadata *metadata, UfReport *report);
/* The GUID (32 characters) that the main packet names for its extended packet; false when it names none. */
bool uf_jpeg_extended_guid(UfBlob xmp, char guid[32]);

/* Opens a JPEG for reading: header read, markers saved, kind checked. Inside the caller's setjmp. */
UfStatus uf_jpeg_open(struct jpeg_decompress_struct *jpeg, FILE *stream, UfReport *report);
/*
 * ITU-T T.81, B.2.4.1: the elements of a quantisation table are 1 or more. libjpeg lets a zero pass and
 * divides by it when it quantises. Valid once decoding has been started, when every component has its table.
 */
UfStatus uf_jpeg_check_quantisation(const struct jpeg_decompress_struct *jpeg, UfReport *report);
/* Where the entropy-coded data begin: the byte behind SOS, after uf_jpeg_open. */
uint64_t uf_jpeg_data_start(const struct jpeg_decompress_struct *jpeg, const UfInput *input);
/* Bytes of the coefficients of the whole picture. */
size_t uf_jpeg_coefficient_bytes(const struct jpeg_decompress_struct *jpeg);

/* Huffman tables: every category of DC differences of 8-bit pictures; every AC symbol that these blocks need.
 */
bool uf_jpeg_dc_codes_complete(const JHUFF_TBL *table);
bool uf_jpeg_ac_codes_exist(const JHUFF_TBL *table, const JCOEF *blocks, size_t block_count);
/* A table may have two codes for a symbol; libjpeg decodes with it, but does not encode. */
bool uf_jpeg_codes_are_unique(const JHUFF_TBL *table);
/* Can libjpeg code any 8-bit picture with the tables that the scan's header names? */
bool uf_jpeg_codes_complete(const struct jpeg_decompress_struct *jpeg);
/* To a compressor whose other parameters are set. */
void uf_jpeg_copy_codes(const struct jpeg_decompress_struct *from, struct jpeg_compress_struct *to);

/* The file again with other metadata; tables and entropy-coded data byte for byte, nothing behind EOI. */
UfStatus uf_jpeg_copy_with_metadata(UfInput *source, const UfMetadata *metadata, UfOutput *output,
                                    UfReport *report);
/* The same up to the scan's header, SOS, which begins at *end of the source. */
UfStatus uf_jpeg_copy_head_with_metadata(UfInput *source, const UfMetadata *metadata, UfOutput *output,
                                         uint64_t *end, UfReport *report);
/* What stands behind EOI can't be known to stay true. */
void uf_jpeg_warn_of_trailer(const UfInput *input, uint64_t end, UfReport *report);
UfStatus uf_jpeg_rewrite(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                         const UfWriteOptions *options, UfOutput *output, UfReport *report);
/* The same by way of the coefficients of the whole picture, which serves every kind of file. */
UfStatus uf_jpeg_rewrite_coefficients(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                                      UfOutput *output, UfReport *report);
/* As uf_picture_shift has it. */
UfStatus uf_jpeg_shift_step(UfInput *source, size_t *step_px, UfReport *report);
UfStatus uf_jpeg_shift(UfInput *source, size_t shift_px, const UfMetadata *metadata, UfOutput *output,
                       UfReport *report);
UfStatus uf_jpeg_retag(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report);

#endif

/* What the codecs see of a picture. Only src/picture/ includes this. */
#ifndef UF_PICTURE_INTERNAL_H
#define UF_PICTURE_INTERNAL_H

#include <underfoot/picture.h>

#include "base/file.h"
#include "base/memory.h"
#include "base/report.h"
#include "picture/metadata.h"

/* Edge of the cells of UfTouched. */
#define UF_TOUCHED_CELL_PX 8u

struct UfPicture {
    size_t width_px, height_px, channels, stride_bytes;
    UfSample sample;
    uint8_t *data;                     /* of row 0, be it there or not */
    size_t held_first_px, held_end_px; /* the rows that are there */
    size_t reserved_bytes; /* of address space, when not all rows are there; 0: `data` is from malloc */
    UfFormat format;       /* of the file it came from */
    int orientation;       /* of the stored pixels in that file, 1..8: the picture itself is upright */
    UfMetadata metadata;
    size_t described_width_px, described_height_px; /* the upright size that the metadata speak of */
    void *note; /* from malloc, or NULL: what its codec noted while reading, for its own `rewrite` */
};

/* A picture of zeros of which only rows [first, end), which are not empty, are there. */
UfStatus uf_picture_create_part(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                                size_t first_px, size_t end_px, UfPicture **out, UfReport *report);
/* A whole picture whose samples may be anything: for who sets all of them. */
UfStatus uf_picture_create_unset(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                                 UfPicture **out, UfReport *report);
/*
 * The rows that `options` ask for, widened to multiples of `step_px` (1..UF_PICTURE_MAX_SIDE_PX) and of the
 * cells of UfTouched; all of them where nothing is left out. end - first >= 1.
 */
void uf_rows_wanted(const UfReadOptions *options, size_t height_px, size_t step_px, size_t *first_px,
                    size_t *end_px);

/* Telling of a picture that is being read (UfReadOptions.rows_read). */
typedef struct UfRowsRead {
    const UfReadOptions *options;
    size_t told_px;
} UfRowsRead;

/* The rows before end_px and the metadata are there; now and then that is told. */
void uf_rows_tell(UfRowsRead *rows, UfPicture *picture, size_t end_px);
/* The picture that was told of will be freed. */
void uf_rows_gone(UfRowsRead *rows);

/* How far the picture that is being written is there (UfWriteOptions.rows). */
typedef struct UfRowsToWrite {
    const UfWriteOptions *options;
    size_t there_px;
} UfRowsToWrite;

/* Waits for the rows before end_px. */
UfStatus uf_rows_wait(UfRowsToWrite *rows, size_t end_px, UfReport *report);

static inline bool uf_row_is_passed_over(const UfSparseRows *sparse, size_t y_px)
{
    return sparse->period_px > 0 && y_px >= sparse->first_px && y_px < sparse->end_px &&
           (y_px - sparse->base_px) % sparse->period_px >= sparse->kept_px;
}

/* One file format. A new one is one file and one line in codec.c. */
typedef struct UfCodec {
    UfFormat format;
    const char *name;
    const char *extensions; /* ".jpg .jpeg" */
    bool (*matches)(const uint8_t *head, size_t size_bytes);
    UfStatus (*probe)(UfInput *input, UfPictureInfo *out, UfReport *report);
    /*
     * Reads the metadata without decoding pixels; from PNG also what stands behind IDAT. *out is cleared by
     * the caller before and after; on failure it may be partly filled.
     */
    UfStatus (*read_metadata)(UfInput *input, UfMetadata *out, UfReport *report);
    UfStatus (*read)(UfInput *input, const UfReadOptions *options, UfPicture **out, UfReport *report);
    /* `picture` is upright; its metadata are already corrected. Its rows may still be coming. */
    UfStatus (*write)(const UfPicture *picture, const UfWriteOptions *options, UfOutput *output,
                      UfReport *report);
    /* NULL, or: are the pixels of this file of a kind that `rewrite` can change? */
    bool (*can_rewrite)(UfInput *source);
    /*
     * Rewrites `source` with the touched parts of `picture`, in the stored orientation. NULL: the format
     * can't, use write. picture->metadata are already corrected.
     */
    UfStatus (*rewrite)(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                        const UfWriteOptions *options, UfOutput *output, UfReport *report);
    /* NULL, or: the whole columns that `shift` moves; *step_px 0 when this file's can't be moved. */
    UfStatus (*shift_step)(UfInput *source, size_t *step_px, UfReport *report);
    /* Column x of the output is column x + shift_px of `source`, round the edge, in the stored orientation 1.
     */
    UfStatus (*shift)(UfInput *source, size_t shift_px, const UfMetadata *metadata, UfOutput *output,
                      UfReport *report);
    /* Copies `source` with another XMP packet (main packet), everything else as it is. */
    UfStatus (*retag)(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report);
} UfCodec;

extern const UfCodec uf_codec_jpeg;
extern const UfCodec uf_codec_png;
extern const UfCodec uf_codec_tiff;

/* The codec whose magic fits; NULL for none. */
const UfCodec *uf_codec_of_input(UfInput *input);
const UfCodec *uf_codec_of_format(UfFormat format);

/*
 * Refuses sizes that are zero, too large, or whose pixels (plus `extra_bytes`, what the codec itself will
 * hold) exceed the limit; call it before any allocation that follows the header's sizes.
 */
UfStatus uf_check_size(size_t width_px, size_t height_px, size_t channels, UfSample sample,
                       size_t extra_bytes, size_t max_memory_bytes, UfReport *report);

/*
 * EXIF orientation (CIPA DC-008, tag 0x0112). Turns the picture's stored pixels upright, in place of its
 * buffer; sets width and height. orientation 1..8.
 */
UfStatus uf_orient_upright(UfPicture *picture, int orientation, UfReport *report);
/* The size that the upright picture has when it is stored in `orientation`. */
void uf_orient_stored_size(const UfPicture *picture, int orientation, size_t *width_px, size_t *height_px);
/* Copies a rectangle, given in stored coordinates and inside the picture, out of the upright picture. */
void uf_orient_stored_rect(const UfPicture *picture, int orientation, size_t x0_px, size_t y0_px,
                           size_t width_px, size_t height_px, uint8_t *out, size_t out_stride_bytes);
/* uf_touched_any for a rectangle given in stored coordinates. */
bool uf_touched_any_stored(const UfTouched *touched, const UfPicture *picture, int orientation, size_t x0_px,
                           size_t y0_px, size_t x1_px, size_t y1_px);

/* The first column (row) behind stored column (row) `position` that belongs to the next cell of UfTouched. */
size_t uf_orient_next_cell(const UfPicture *picture, int orientation, bool rows, size_t position);

/*
 * Row y of the picture in another sample type, rounded and clipped. Float without a profile is linear light
 * and is given the sRGB curve (IEC 61966-2-1) on its way to integers. `out` holds width * channels samples.
 */
void uf_row_as(const UfPicture *picture, size_t y_px, UfSample sample, void *out);

#endif

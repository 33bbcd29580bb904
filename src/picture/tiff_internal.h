/* What the TIFF files share: libtiff on our own files, its messages in our report, and the kinds that are
 * handled. */
#ifndef UF_PICTURE_TIFF_INTERNAL_H
#define UF_PICTURE_TIFF_INTERNAL_H

#include <tiffio.h>

#include "picture/picture_internal.h"

/* A file as libtiff sees it, and what libtiff said about it. Stays where it is while the TIFF is open. */
typedef struct UfTiffFile {
    int fd;
    off_t position;
    const char *name;
    UfReport *report;
    int error;      /* errno of a failed read or write, 0 otherwise */
    char text[512]; /* libtiff's first complaint */
} UfTiffFile;

/* Opens with libtiff's mode ("r", "r+", "w", "w8"); NULL on failure, the reason is in file->text. */
TIFF *uf_tiff_open(UfTiffFile *file, int fd, const char *name, const char *mode, UfReport *report);
/* UF_ERROR_IO after a failed read or write, otherwise UF_ERROR_FORMAT, with libtiff's words. */
UfStatus uf_tiff_fail(const UfTiffFile *file, const char *what, UfReport *report);

/* How a directory stores its pixels, checked to be a kind that is handled. */
typedef struct UfTiffLayout {
    size_t width_px, height_px;
    size_t stored_channels; /* samples a pixel in the file: 1 for a palette */
    size_t channels;        /* in the picture */
    UfSample sample;
    uint16_t photometric, compression, planar;
    bool has_alpha, premultiplied;
    bool tiled, separate;
    int orientation;
    size_t tile_width_px, tile_height_px; /* of a tile; strips: the width and the rows of a strip */
    size_t chunk_bytes;                   /* of a decoded strip or tile of one plane, or of all */
} UfTiffLayout;

UfStatus uf_tiff_layout(TIFF *tiff, UfTiffLayout *out, UfReport *report);
/* "LZW", "deflate", ...; NULL for what is not handled. */
const char *uf_tiff_compression_name(uint16_t compression);

/* Samples of one row between the file's meaning (white is 0, alpha multiplied in) and the picture's. */
void uf_tiff_row_from_file(const UfTiffLayout *layout, void *row, size_t width_px);
void uf_tiff_row_to_file(const UfTiffLayout *layout, void *row, size_t width_px);

UfStatus uf_tiff_write(const UfPicture *picture, const UfWriteOptions *options, UfOutput *output,
                       UfReport *report);
bool uf_tiff_can_rewrite(UfInput *source);
UfStatus uf_tiff_rewrite(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                         const UfWriteOptions *options, UfOutput *output, UfReport *report);
UfStatus uf_tiff_retag(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report);

#endif

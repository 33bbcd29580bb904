/* Some rows of a JPEG without decoding the others. */
#ifndef UF_PICTURE_JPEG_ROWS_H
#define UF_PICTURE_JPEG_ROWS_H

#include "picture/jpeg_internal.h"

/*
 * Fills the held rows of `picture`, which are whole MCU rows, from a file of one sequential Huffman scan
 * whose header `jpeg` has read, but for those that will be replaced; the pixels are those that decoding the
 * whole file gives. False where that is not possible (another kind of file, damage above or in these rows, no
 * end, no memory): nothing was reported, and `jpeg` can go on.
 */
bool uf_jpeg_read_rows(const struct jpeg_decompress_struct *jpeg, UfInput *input, const UfReadOptions *options,
                       UfPicture *picture);

#endif

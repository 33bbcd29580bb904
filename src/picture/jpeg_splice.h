/* Changing MCUs of a JPEG in its entropy-coded data: bits that need not change are copied as bits. */
#ifndef UF_PICTURE_JPEG_SPLICE_H
#define UF_PICTURE_JPEG_SPLICE_H

#include "picture/jpeg_bits.h"

#include <sys/stat.h>

/*
 * Where rows of MCUs begin, noted by who walked there to read some of them (UfPicture.note), so that a splice of
 * the same file need not walk there again.
 */
typedef struct UfJpegNote {
    struct stat file;
    size_t mcu_row, count; /* the first noted row, and how many are noted; the last may be the end */
    UfJpegMark marks[];
} UfJpegNote;

/*
 * As uf_jpeg_rewrite, for files of one sequential Huffman scan. *served is false when that is not possible:
 * another kind of file, missing codes, damage; the output may then be partly written, and nothing was
 * reported. threads: at least 1; they never change the bytes.
 */
UfStatus uf_jpeg_splice(const UfPicture *picture, UfInput *source, const UfTouched *touched, UfOutput *output,
                        int threads, bool *served, UfReport *report);

/* Steps over one MCU of the source, which comes into the output; `predictors` are the output's, and follow.
 */
bool uf_jpeg_splice_mcu(UfJpegWalk *walk, UfJpegBits *bits, int predictors[MAX_COMPS_IN_SCAN]);

#endif

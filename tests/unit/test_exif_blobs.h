/* EXIF blobs for tests, made and listed by ExifTool in the working folder. */
#ifndef UF_TESTS_UNIT_TEST_EXIF_BLOBS_H
#define UF_TESTS_UNIT_TEST_EXIF_BLOBS_H

#include "picture/metadata.h"

/* Camera, MakerNote, GPS, interoperability, thumbnail, orientation 6; order is "II" or "MM". */
UfBlob exif_blob_make(const char *order);
/* ExifTool's listing of a blob, without the tags that the options in `left_out` name; free it. */
char *exif_blob_list(UfBlob blob, const char *left_out);

#endif

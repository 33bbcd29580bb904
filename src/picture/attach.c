/* Metadata for pictures that were made here rather than read. */
#include "picture/picture_internal.h"

UfStatus uf_picture_set_exif(UfPicture *picture, const void *data, size_t size_bytes, UfReport *report)
{
    return uf_blob_set(&picture->metadata.exif, data, size_bytes, report);
}

UfStatus uf_picture_set_icc(UfPicture *picture, const void *data, size_t size_bytes, UfReport *report)
{
    return uf_blob_set(&picture->metadata.icc, data, size_bytes, report);
}

/* The blobs that travel beside the pixels. */
#include "picture/metadata.h"

#include "base/memory.h"

void uf_blob_clear(UfBlob *blob)
{
    free(blob->data);
    blob->data = NULL;
    blob->size_bytes = 0;
}

UfStatus uf_blob_set(UfBlob *blob, const void *data, size_t size_bytes, UfReport *report)
{
    uint8_t *copy = NULL;
    if (size_bytes > 0) {
        copy = uf_duplicate(data, size_bytes);
        if (copy == NULL)
            return uf_fail_memory(report);
    }
    free(blob->data); /* last, so that `data` may lie in the blob itself */
    blob->data = copy;
    blob->size_bytes = size_bytes;
    return UF_OK;
}

UfStatus uf_metadata_add_extra(UfMetadata *metadata, UfFormat format, uint32_t kind, const void *data,
                               size_t size_bytes, UfReport *report)
{
    UfExtra *grown = uf_realloc(metadata->extras, metadata->extra_count + 1, sizeof *grown);
    if (grown == NULL)
        return uf_fail_memory(report);
    metadata->extras = grown;
    UfExtra *extra = &grown[metadata->extra_count];
    *extra = (UfExtra){.format = format, .kind = kind};
    UfStatus status = uf_blob_set(&extra->content, data, size_bytes, report);
    if (status == UF_OK)
        metadata->extra_count++;
    return status;
}

void uf_metadata_clear(UfMetadata *metadata)
{
    uf_blob_clear(&metadata->exif);
    uf_blob_clear(&metadata->icc);
    uf_blob_clear(&metadata->xmp);
    uf_blob_clear(&metadata->xmp_extended);
    for (size_t i = 0; i < metadata->extra_count; i++)
        uf_blob_clear(&metadata->extras[i].content);
    free(metadata->extras);
    *metadata = (UfMetadata){0};
}

static UfStatus copy_all(const UfMetadata *from, UfMetadata *to, UfReport *report)
{
    const struct {
        UfBlob from, *to;
    } blobs[] = {{from->exif, &to->exif},
                 {from->icc, &to->icc},
                 {from->xmp, &to->xmp},
                 {from->xmp_extended, &to->xmp_extended}};
    for (size_t i = 0; i < sizeof blobs / sizeof blobs[0]; i++) {
        UfStatus status = uf_blob_set(blobs[i].to, blobs[i].from.data, blobs[i].from.size_bytes, report);
        if (status != UF_OK)
            return status;
    }
    for (size_t i = 0; i < from->extra_count; i++) {
        const UfExtra *extra = &from->extras[i];
        UfStatus status = uf_metadata_add_extra(to, extra->format, extra->kind, extra->content.data,
                                                extra->content.size_bytes, report);
        if (status != UF_OK)
            return status;
    }
    to->has_multi_picture = from->has_multi_picture;
    to->has_gain_map = from->has_gain_map;
    return UF_OK;
}

UfStatus uf_metadata_copy(const UfMetadata *from, UfMetadata *to, UfReport *report)
{
    UfMetadata copy = {0};
    UfStatus status = copy_all(from, &copy, report);
    if (status != UF_OK) {
        uf_metadata_clear(&copy);
        return status;
    }
    uf_metadata_clear(to);
    *to = copy;
    return UF_OK;
}

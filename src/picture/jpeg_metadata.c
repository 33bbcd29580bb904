/*
 * Metadata in JPEG marker segments.
 *
 * EXIF: APP1 "Exif" (CIPA DC-008). XMP: APP1, extended XMP in further APP1 segments (XMP Specification Part
 * 3, 1.1.3). ICC: APP2 "ICC_PROFILE" (ICC.1 Annex B). Multi-picture index: APP2 "MPF" (CIPA DC-007). Gain
 * map: APP2 "urn:iso:std:iso:ts:21496:-1" (ISO 21496-1; the string from memory).
 */
#include "picture/jpeg_internal.h"

const char uf_jpeg_exif_prefix[] = "Exif\0";
const char uf_jpeg_xmp_prefix[] = "http://ns.adobe.com/xap/1.0/";
const char uf_jpeg_extended_prefix[] = "http://ns.adobe.com/xmp/extension/";

typedef struct SegmentKind {
    const char *prefix;
    size_t prefix_bytes;
    int marker;
    UfJpegSegment kind;
} SegmentKind;

static const SegmentKind segment_kinds[] = {
    {"JFIF", 5, JPEG_APP0, UF_JPEG_JFIF},
    {"JFXX", 5, JPEG_APP0, UF_JPEG_JFXX},
    {uf_jpeg_exif_prefix, UF_JPEG_EXIF_PREFIX_BYTES, JPEG_APP0 + 1, UF_JPEG_EXIF},
    {uf_jpeg_xmp_prefix, UF_JPEG_XMP_PREFIX_BYTES, JPEG_APP0 + 1, UF_JPEG_XMP},
    {uf_jpeg_extended_prefix, UF_JPEG_EXTENDED_PREFIX_BYTES, JPEG_APP0 + 1, UF_JPEG_XMP_EXTENDED},
    {"ICC_PROFILE", 12, JPEG_APP0 + 2, UF_JPEG_ICC},
    {"MPF", 4, JPEG_APP0 + 2, UF_JPEG_MULTI_PICTURE},
    {"urn:iso:std:iso:ts:21496:-1", 27, JPEG_APP0 + 2, UF_JPEG_GAIN_MAP},
    {"Adobe", 5, JPEG_APP0 + 14, UF_JPEG_ADOBE},
};

UfJpegSegment uf_jpeg_segment_kind(int marker, const uint8_t *data, size_t size_bytes)
{
    for (size_t i = 0; i < sizeof segment_kinds / sizeof *segment_kinds; i++) {
        const SegmentKind *known = &segment_kinds[i];
        if (marker == known->marker && size_bytes >= known->prefix_bytes &&
            memcmp(data, known->prefix, known->prefix_bytes) == 0)
            return known->kind;
    }
    return UF_JPEG_OTHER;
}

static uint32_t big_endian_32(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

bool uf_jpeg_extended_guid(UfBlob xmp, char guid[32])
{
    static const char name[] = "HasExtendedXMP";
    if (xmp.size_bytes == 0)
        return false;
    const uint8_t *found = memmem(xmp.data, xmp.size_bytes, name, sizeof name - 1);
    if (found == NULL)
        return false;
    /* both forms: attribute ="GUID" and element >GUID< */
    const uint8_t *end = xmp.data + xmp.size_bytes;
    const uint8_t *value = found + sizeof name - 1;
    while (value < end && strchr(" \t\r\n=>\"'", *value) != NULL)
        value++;
    if (end - value < 32)
        return false;
    for (int i = 0; i < 32; i++)
        if (strchr("0123456789ABCDEFabcdef", value[i]) == NULL || value[i] == '\0')
            return false;
    memcpy(guid, value, 32);
    return true;
}

static bool is_chunk_of(const struct jpeg_marker_struct *marker, const char guid[32])
{
    return marker->marker == JPEG_APP0 + 1 && marker->data_length > UF_JPEG_EXTENDED_HEAD_BYTES &&
           memcmp(marker->data, uf_jpeg_extended_prefix, UF_JPEG_EXTENDED_PREFIX_BYTES) == 0 &&
           memcmp(marker->data + UF_JPEG_EXTENDED_PREFIX_BYTES, guid, 32) == 0;
}

/* The chunk that begins at `offset` of a packet of `full` bytes. */
static const struct jpeg_marker_struct *chunk_at(const struct jpeg_marker_struct *list, const char guid[32],
                                                 size_t full, size_t offset)
{
    for (const struct jpeg_marker_struct *marker = list; marker != NULL; marker = marker->next) {
        if (!is_chunk_of(marker, guid))
            continue;
        const uint8_t *head = marker->data + UF_JPEG_EXTENDED_PREFIX_BYTES + 32;
        if (big_endian_32(head) == full && big_endian_32(head + 4) == offset)
            return marker;
    }
    return NULL;
}

/* Chunks may come in any order; they must meet without holes and fill the length that they announce. */
static UfStatus read_extended_xmp(const struct jpeg_marker_struct *list, const char *name,
                                  UfMetadata *metadata, UfReport *report)
{
    char guid[32];
    if (!uf_jpeg_extended_guid(metadata->xmp, guid))
        return UF_OK;
    size_t full = 0, present = 0;
    for (const struct jpeg_marker_struct *marker = list; marker != NULL; marker = marker->next) {
        if (!is_chunk_of(marker, guid))
            continue;
        full = full == 0 ? big_endian_32(marker->data + UF_JPEG_EXTENDED_PREFIX_BYTES + 32) : full;
        present += marker->data_length - UF_JPEG_EXTENDED_HEAD_BYTES;
    }
    /* `full` is only believed when the file holds that many bytes */
    uint8_t *packet = full > 0 && full <= present ? uf_alloc(full, 1) : NULL;
    size_t offset = 0;
    while (packet != NULL && offset < full) {
        const struct jpeg_marker_struct *chunk = chunk_at(list, guid, full, offset);
        size_t size = chunk == NULL ? 0 : chunk->data_length - UF_JPEG_EXTENDED_HEAD_BYTES;
        if (size == 0 || size > full - offset)
            break;
        memcpy(packet + offset, chunk->data + UF_JPEG_EXTENDED_HEAD_BYTES, size);
        offset += size;
    }
    if (packet == NULL || offset < full) {
        free(packet);
        uf_warn(report, "%s: the extended XMP is incomplete and is left out", name);
        return UF_OK;
    }
    metadata->xmp_extended.data = packet;
    metadata->xmp_extended.size_bytes = full;
    return UF_OK;
}

static UfStatus read_icc(struct jpeg_decompress_struct *jpeg, const char *name, UfMetadata *metadata,
                         bool present, UfReport *report)
{
    JOCTET *profile = NULL;
    unsigned size = 0;
    if (!present)
        return UF_OK;
    if (!jpeg_read_icc_profile(jpeg, &profile, &size)) {
        uf_warn(report, "%s: the colour profile is incomplete and is left out; colours are taken as sRGB",
                name);
        return UF_OK;
    }
    UfStatus status = uf_blob_set(&metadata->icc, profile, size, report);
    free(profile);
    return status;
}

/* The first segment of its kind counts. */
static UfStatus set_first(UfBlob *blob, const uint8_t *data, size_t size_bytes, UfReport *report)
{
    return blob->size_bytes == 0 && size_bytes > 0 ? uf_blob_set(blob, data, size_bytes, report) : UF_OK;
}

static UfStatus read_segment(const struct jpeg_marker_struct *marker, UfMetadata *out, bool *has_icc,
                             UfReport *report)
{
    const uint8_t *data = marker->data;
    size_t size = marker->data_length;
    switch (uf_jpeg_segment_kind(marker->marker, data, size)) {
    case UF_JPEG_EXIF:
        return set_first(&out->exif, data + UF_JPEG_EXIF_PREFIX_BYTES, size - UF_JPEG_EXIF_PREFIX_BYTES,
                         report);
    case UF_JPEG_XMP:
        return set_first(&out->xmp, data + UF_JPEG_XMP_PREFIX_BYTES, size - UF_JPEG_XMP_PREFIX_BYTES, report);
    case UF_JPEG_ICC:
        *has_icc = true;
        return UF_OK;
    case UF_JPEG_MULTI_PICTURE:
        out->has_multi_picture = true;
        return UF_OK;
    case UF_JPEG_GAIN_MAP:
        out->has_gain_map = true;
        return UF_OK;
    case UF_JPEG_JFXX:
    case UF_JPEG_ADOBE:
    case UF_JPEG_XMP_EXTENDED:
        return UF_OK;
    default: /* JFIF too: for its density */
        return uf_metadata_add_extra(out, UF_FORMAT_JPEG, (uint32_t)marker->marker, data, size, report);
    }
}

UfStatus uf_jpeg_read_metadata(struct jpeg_decompress_struct *jpeg, const char *name, UfMetadata *out,
                               UfReport *report)
{
    UfStatus status = UF_OK;
    bool has_icc = false;
    for (const struct jpeg_marker_struct *marker = jpeg->marker_list; marker != NULL && status == UF_OK;
         marker = marker->next)
        status = read_segment(marker, out, &has_icc, report);
    if (status == UF_OK)
        status = read_icc(jpeg, name, out, has_icc, report);
    if (status == UF_OK)
        status = read_extended_xmp(jpeg->marker_list, name, out, report);
    if (status == UF_OK && out->xmp.size_bytes > 0 && uf_xmp_has_gain_map(out->xmp))
        out->has_gain_map = true;
    return status;
}

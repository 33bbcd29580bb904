/* Writing metadata as JPEG marker segments; jpeg_metadata.c names the sources. */
#include "picture/jpeg_internal.h"

void uf_jpeg_put_segment(const UfJpegSink *sink, int marker, const void *prefix, size_t prefix_bytes,
                         const uint8_t *data, size_t size_bytes)
{
    size_t length = prefix_bytes + size_bytes + 2;
    const uint8_t head[4] = {0xFF, (uint8_t)marker, (uint8_t)(length >> 8), (uint8_t)length};
    if (sink->jpeg == NULL) { /* a failed write shows in ferror() */
        (void)fwrite(head, 1, sizeof head, sink->stream);
        if (prefix_bytes > 0)
            (void)fwrite(prefix, 1, prefix_bytes, sink->stream);
        if (size_bytes > 0)
            (void)fwrite(data, 1, size_bytes, sink->stream);
        return;
    }
    jpeg_write_m_header(sink->jpeg, marker, (unsigned)(prefix_bytes + size_bytes));
    for (size_t i = 0; i < prefix_bytes; i++)
        jpeg_write_m_byte(sink->jpeg, ((const uint8_t *)prefix)[i]);
    for (size_t i = 0; i < size_bytes; i++)
        jpeg_write_m_byte(sink->jpeg, data[i]);
}

void uf_jpeg_put_exif(const UfJpegSink *sink, UfBlob exif, UfReport *report)
{
    if (exif.size_bytes == 0)
        return;
    if (exif.size_bytes > UF_JPEG_MAX_PAYLOAD_BYTES - UF_JPEG_EXIF_PREFIX_BYTES)
        uf_warn(report,
                "the EXIF data (%zu bytes) do not fit into a JPEG, which holds %u bytes: they are left out",
                exif.size_bytes, UF_JPEG_MAX_PAYLOAD_BYTES - UF_JPEG_EXIF_PREFIX_BYTES);
    else
        uf_jpeg_put_segment(sink, JPEG_APP0 + 1, uf_jpeg_exif_prefix, UF_JPEG_EXIF_PREFIX_BYTES, exif.data,
                            exif.size_bytes);
}

/* Profile bytes of a segment, and how many segments there can be (ICC.1 Annex B). */
#define ICC_CHUNK_BYTES 65519u
#define MAX_ICC_CHUNKS  255u

void uf_jpeg_put_icc(const UfJpegSink *sink, UfBlob icc, UfReport *report)
{
    size_t count = (icc.size_bytes + ICC_CHUNK_BYTES - 1) / ICC_CHUNK_BYTES;
    if (count > MAX_ICC_CHUNKS) {
        uf_warn(report, "the colour profile (%zu bytes) does not fit into a JPEG and is left out",
                icc.size_bytes);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        uint8_t head[14] = "ICC_PROFILE";
        size_t left = icc.size_bytes - i * ICC_CHUNK_BYTES;
        head[12] = (uint8_t)(i + 1);
        head[13] = (uint8_t)count;
        uf_jpeg_put_segment(sink, JPEG_APP0 + 2, head, sizeof head, icc.data + i * ICC_CHUNK_BYTES,
                            left < ICC_CHUNK_BYTES ? left : ICC_CHUNK_BYTES);
    }
}

void uf_jpeg_put_xmp(const UfJpegSink *sink, UfBlob xmp, UfReport *report)
{
    if (xmp.size_bytes == 0)
        return;
    if (xmp.size_bytes > UF_JPEG_MAX_PAYLOAD_BYTES - UF_JPEG_XMP_PREFIX_BYTES)
        uf_warn(report, "the XMP packet (%zu bytes) does not fit into a JPEG and is left out",
                xmp.size_bytes);
    else
        uf_jpeg_put_segment(sink, JPEG_APP0 + 1, uf_jpeg_xmp_prefix, UF_JPEG_XMP_PREFIX_BYTES, xmp.data,
                            xmp.size_bytes);
}

static void put_big_endian_32(uint8_t *out, size_t value)
{
    for (int i = 0; i < 4; i++)
        out[i] = (uint8_t)(value >> (24 - 8 * i));
}

void uf_jpeg_put_xmp_extended(const UfJpegSink *sink, UfBlob xmp, UfBlob extended)
{
    uint8_t head[UF_JPEG_EXTENDED_HEAD_BYTES];
    char guid[32];
    if (extended.size_bytes == 0 || extended.size_bytes > UINT32_MAX || !uf_jpeg_extended_guid(xmp, guid))
        return;
    memcpy(head, uf_jpeg_extended_prefix, UF_JPEG_EXTENDED_PREFIX_BYTES);
    memcpy(head + UF_JPEG_EXTENDED_PREFIX_BYTES, guid, 32);
    put_big_endian_32(head + UF_JPEG_EXTENDED_PREFIX_BYTES + 32, extended.size_bytes);
    size_t room = UF_JPEG_MAX_PAYLOAD_BYTES - UF_JPEG_EXTENDED_HEAD_BYTES;
    for (size_t offset = 0; offset < extended.size_bytes; offset += room) {
        size_t left = extended.size_bytes - offset;
        put_big_endian_32(head + UF_JPEG_EXTENDED_PREFIX_BYTES + 36, offset);
        uf_jpeg_put_segment(sink, JPEG_APP0 + 1, head, sizeof head, extended.data + offset,
                            left < room ? left : room);
    }
}

static bool same_blob(UfBlob a, UfBlob b)
{
    return a.size_bytes == b.size_bytes && (a.size_bytes == 0 || memcmp(a.data, b.data, a.size_bytes) == 0);
}

/* What of the new metadata has found its place. */
typedef struct Placed {
    bool exif, xmp, icc;
} Placed;

static void place_exif(const UfJpegSink *sink, const UfMetadata *metadata, Placed *placed, UfReport *report)
{
    if (!placed->exif)
        uf_jpeg_put_exif(sink, metadata->exif, report);
    placed->exif = true;
}

static void place_xmp(const UfJpegSink *sink, const UfMetadata *metadata, Placed *placed, UfReport *report)
{
    if (!placed->xmp) {
        uf_jpeg_put_xmp(sink, metadata->xmp, report);
        uf_jpeg_put_xmp_extended(sink, metadata->xmp, metadata->xmp_extended);
    }
    placed->xmp = true;
}

static void repeat_marker(const UfJpegSink *sink, const struct jpeg_marker_struct *marker,
                          const UfMetadata *metadata, bool same_icc, Placed *placed, UfReport *report)
{
    switch (uf_jpeg_segment_kind(marker->marker, marker->data, marker->data_length)) {
    case UF_JPEG_EXIF:
        place_exif(sink, metadata, placed, report);
        return;
    case UF_JPEG_XMP:
        place_xmp(sink, metadata, placed, report);
        return;
    case UF_JPEG_XMP_EXTENDED: /* follows its main packet */
    case UF_JPEG_JFXX:
    case UF_JPEG_MULTI_PICTURE:
    case UF_JPEG_GAIN_MAP:
        return;
    case UF_JPEG_ICC:
        if (same_icc)
            break;
        if (!placed->icc)
            uf_jpeg_put_icc(sink, metadata->icc, report);
        placed->icc = true;
        return;
    default:
        break;
    }
    uf_jpeg_put_segment(sink, marker->marker, NULL, 0, marker->data, marker->data_length);
}

/* What the file did not have stands behind JFIF: EXIF first (CIPA DC-008 wants it early), then XMP. */
void uf_jpeg_repeat_markers(const UfJpegSink *sink, const struct jpeg_marker_struct *list,
                            const UfMetadata *old, const UfMetadata *metadata, UfReport *report)
{
    Placed placed = {0};
    bool same_icc = same_blob(old->icc, metadata->icc);
    for (const struct jpeg_marker_struct *marker = list; marker != NULL; marker = marker->next) {
        UfJpegSegment kind = uf_jpeg_segment_kind(marker->marker, marker->data, marker->data_length);
        bool front = kind == UF_JPEG_JFIF || kind == UF_JPEG_JFXX;
        if (!front && old->exif.size_bytes == 0)
            place_exif(sink, metadata, &placed, report);
        if (!front && kind != UF_JPEG_EXIF && old->xmp.size_bytes == 0)
            place_xmp(sink, metadata, &placed, report);
        repeat_marker(sink, marker, metadata, same_icc, &placed, report);
    }
    place_exif(sink, metadata, &placed, report);
    place_xmp(sink, metadata, &placed, report);
    if (!same_icc && !placed.icc)
        uf_jpeg_put_icc(sink, metadata->icc, report);
}

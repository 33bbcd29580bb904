/*
 * Metadata in PNG chunks (W3C PNG Specification, third edition): iCCP, eXIf, and the iTXt chunk that holds
 * XMP (XMP Specification Part 3, 1.1.5). All other chunks that stay true are kept as they are.
 */
#include "picture/png_internal.h"

#define ZLIB_CONST /* its input is not written to */
#include <zlib.h>

static const char xmp_keyword[] = "XML:com.adobe.xmp";

bool uf_png_is_xmp(uint32_t type, const uint8_t *data, size_t size_bytes)
{
    return type == UF_PNG_ITXT && size_bytes > sizeof xmp_keyword + 4 &&
           memcmp(data, xmp_keyword, sizeof xmp_keyword) == 0;
}

/* A whole zlib stream; false when it is damaged or unpacks to more than the limit. */
static bool inflate_all(const uint8_t *data, size_t size_bytes, UfBlob *out)
{
    z_stream stream = {.next_in = data, .avail_in = (uInt)size_bytes};
    uint8_t *grown, *buffer = NULL;
    size_t capacity = 0;
    int result = Z_OK;
    if (size_bytes > UINT32_MAX || inflateInit(&stream) != Z_OK)
        return false;
    while (result == Z_OK && capacity < UF_PNG_MAX_CHUNK_BYTES) {
        size_t more = capacity == 0 ? 16384 : capacity * 2;
        if ((grown = uf_realloc(buffer, more, 1)) == NULL)
            break;
        buffer = grown;
        stream.next_out = buffer + stream.total_out;
        stream.avail_out = (uInt)(more - stream.total_out);
        capacity = more;
        result = inflate(&stream, Z_NO_FLUSH);
        if (result == Z_BUF_ERROR && stream.avail_out == 0)
            result = Z_OK;
        else if (result == Z_OK && stream.avail_out > 0)
            break; /* the input ends early */
    }
    size_t total = stream.total_out;
    inflateEnd(&stream);
    if (result != Z_STREAM_END || total == 0) {
        free(buffer);
        return false;
    }
    out->data = buffer;
    out->size_bytes = total;
    return true;
}

/* name NUL method stream */
static UfStatus read_icc(const uint8_t *data, size_t size_bytes, const char *name, UfMetadata *out,
                         UfReport *report)
{
    const uint8_t *end = size_bytes == 0 ? NULL : memchr(data, '\0', size_bytes < 80 ? size_bytes : 80);
    UfBlob profile = {0};
    if (out->icc.size_bytes > 0)
        return UF_OK;
    if (end == NULL || (size_t)(end - data) + 2 >= size_bytes || end[1] != 0 ||
        !inflate_all(end + 2, size_bytes - (size_t)(end - data) - 2, &profile)) {
        uf_warn(report, "%s: the colour profile is damaged and is left out; colours are taken as sRGB", name);
        return UF_OK;
    }
    out->icc = profile;
    return UF_OK;
}

/* keyword NUL flag method language NUL translated-keyword NUL text */
static UfStatus read_xmp(const uint8_t *data, size_t size_bytes, const char *name, UfMetadata *out,
                         UfReport *report)
{
    if (out->xmp.size_bytes > 0)
        return UF_OK;
    const uint8_t *end = data + size_bytes;
    bool packed = data[sizeof xmp_keyword] == 1;
    const uint8_t *text = data + sizeof xmp_keyword + 2;
    for (int skipped = 0; skipped < 2 && text != NULL; skipped++) {
        const uint8_t *nul = text < end ? memchr(text, '\0', (size_t)(end - text)) : NULL;
        text = nul == NULL ? NULL : nul + 1;
    }
    if (text == end)
        return UF_OK;
    if (text != NULL && !packed)
        return uf_blob_set(&out->xmp, text, (size_t)(end - text), report);
    UfBlob packet = {0};
    if (text == NULL || !inflate_all(text, (size_t)(end - text), &packet))
        uf_warn(report, "%s: the XMP is damaged and is left out", name);
    else
        out->xmp = packet;
    return UF_OK;
}

bool uf_png_stands_first(uint32_t type)
{
    static const char first[][5] = {"cHRM", "gAMA", "sBIT", "sRGB", "cICP",
                                    "mDCV", "cLLI", "mDCv", "cLLi", "iCCP"};
    for (size_t i = 0; i < sizeof first / sizeof *first; i++)
        if (type == UF_PNG_TYPE(first[i][0], first[i][1], first[i][2], first[i][3]))
            return true;
    return false;
}

typedef enum ChunkFate { CHUNK_KEPT, CHUNK_DROPPED, CHUNK_ANIMATION } ChunkFate;

/*
 * What is bound to the palette or the stored samples goes. Unknown chunks follow the safe-to-copy bit, which
 * is the fourth letter's case (PNG 5.4).
 */
static ChunkFate fate_of(uint32_t type)
{
    static const char kept[][5] = {"tIME", "sCAL", "pCAL", "sTER"};
    static const char dropped[][5] = {"bKGD", "hIST", "tRNS", "sPLT", "PLTE"};
    static const char animation[][5] = {"acTL", "fcTL", "fdAT"};
    for (size_t i = 0; i < sizeof kept / sizeof *kept; i++)
        if (type == UF_PNG_TYPE(kept[i][0], kept[i][1], kept[i][2], kept[i][3]))
            return CHUNK_KEPT;
    for (size_t i = 0; i < sizeof dropped / sizeof *dropped; i++)
        if (type == UF_PNG_TYPE(dropped[i][0], dropped[i][1], dropped[i][2], dropped[i][3]))
            return CHUNK_DROPPED;
    for (size_t i = 0; i < sizeof animation / sizeof *animation; i++)
        if (type == UF_PNG_TYPE(animation[i][0], animation[i][1], animation[i][2], animation[i][3]))
            return CHUNK_ANIMATION;
    return uf_png_stands_first(type) || (type & 0x20) != 0 ? CHUNK_KEPT : CHUNK_DROPPED;
}

UfStatus uf_png_read_chunk(uint32_t type, const uint8_t *data, size_t size_bytes, const char *name,
                           size_t channels, UfMetadata *out, UfReport *report)
{
    if (type == UF_PNG_ICCP)
        return read_icc(data, size_bytes, name, out, report);
    if (type == UF_PNG_EXIF)
        return out->exif.size_bytes > 0 || size_bytes == 0
                   ? UF_OK
                   : uf_blob_set(&out->exif, data, size_bytes, report);
    if (uf_png_is_xmp(type, data, size_bytes))
        return read_xmp(data, size_bytes, name, out, report);
    /* significant bits have one byte a channel: of no use when a palette or a transparent colour was expanded
     */
    if (type == UF_PNG_TYPE('s', 'B', 'I', 'T') && size_bytes != channels)
        return UF_OK;
    ChunkFate fate = fate_of(type);
    if (fate == CHUNK_ANIMATION)
        uf_warn(report, "%s: is an animation; only its first picture is used", name);
    return fate == CHUNK_KEPT ? uf_metadata_add_extra(out, UF_FORMAT_PNG, type, data, size_bytes, report)
                              : UF_OK;
}

UfStatus uf_png_xmp_chunk(UfBlob xmp, UfBlob *out, UfReport *report)
{
    /* flag, method, empty language, empty translated keyword: four zeros after the keyword's own */
    size_t head = sizeof xmp_keyword + 4;
    if (xmp.size_bytes > INT32_MAX - head)
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "the XMP packet (%zu bytes) does not fit into a PNG",
                       xmp.size_bytes);
    uint8_t *chunk = uf_alloc_zero(head + xmp.size_bytes, 1);
    if (chunk == NULL)
        return uf_fail_memory(report);
    memcpy(chunk, xmp_keyword, sizeof xmp_keyword);
    memcpy(chunk + head, xmp.data, xmp.size_bytes);
    out->data = chunk;
    out->size_bytes = head + xmp.size_bytes;
    return UF_OK;
}

UfStatus uf_png_icc_chunk(UfBlob icc, UfBlob *out, UfReport *report)
{
    static const char profile_name[] = "ICC profile";
    size_t head = sizeof profile_name + 1;
    if (icc.size_bytes > UF_PNG_MAX_CHUNK_BYTES)
        return uf_fail(report, UF_ERROR_UNSUPPORTED, "the colour profile (%zu bytes) does not fit into a PNG",
                       icc.size_bytes);
    uLongf packed = compressBound((uLong)icc.size_bytes);
    uint8_t *chunk = uf_alloc_zero(head + packed, 1);
    if (chunk == NULL)
        return uf_fail_memory(report);
    memcpy(chunk, profile_name, sizeof profile_name);
    if (compress2(chunk + head, &packed, icc.data, (uLong)icc.size_bytes, Z_BEST_COMPRESSION) != Z_OK) {
        free(chunk);
        return uf_fail_memory(report);
    }
    out->data = chunk;
    out->size_bytes = head + packed;
    return UF_OK;
}

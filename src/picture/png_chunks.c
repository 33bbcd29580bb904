/*
 * PNG as a row of chunks (W3C PNG Specification, 5.3: length, type, data, CRC), without decoding pixels:
 * metadata from before and behind IDAT, and the copy that exchanges the XMP alone.
 */
#include <zlib.h>

#include "picture/png_internal.h"

#define SIGNATURE_BYTES 8u

/* A chunk's head, the stream standing at its data. */
typedef struct Chunk {
    uint32_t size_bytes, type;
} Chunk;

static uint32_t big_endian_32(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

static void put_big_endian_32(uint8_t *out, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        out[i] = (uint8_t)(value >> (24 - 8 * i));
}

static UfStatus next_chunk(UfInput *input, Chunk *out, UfReport *report)
{
    uint8_t head[8];
    if (fread(head, 1, sizeof head, input->stream) != sizeof head)
        return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
    out->size_bytes = big_endian_32(head);
    out->type = big_endian_32(head + 4);
    if (out->size_bytes > INT32_MAX || out->size_bytes > input->size_bytes)
        return uf_fail(report, UF_ERROR_FORMAT, "the PNG has a chunk of %u bytes, more than the file",
                       out->size_bytes);
    return UF_OK;
}

static bool is_metadata(uint32_t type)
{
    return (type & 0x20000000u) != 0; /* ancillary: the first letter's case */
}

/* The chunk's data and a check of its CRC; *data is NULL for an empty chunk and freed by the caller. */
static UfStatus load_chunk(UfInput *input, const Chunk *chunk, uint8_t **data, UfReport *report)
{
    uint8_t type[4], crc[4];
    uint8_t *bytes = chunk->size_bytes == 0 ? NULL : uf_alloc(chunk->size_bytes, 1);
    if (chunk->size_bytes > 0 && bytes == NULL)
        return uf_fail_memory(report);
    put_big_endian_32(type, chunk->type);
    UfStatus status = UF_OK;
    if ((chunk->size_bytes > 0 && fread(bytes, 1, chunk->size_bytes, input->stream) != chunk->size_bytes) ||
        fread(crc, 1, 4, input->stream) != 4)
        status = uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
    else {
        uLong sum = crc32(crc32(0, NULL, 0), type, 4);
        if (bytes != NULL)
            sum = crc32(sum, bytes, chunk->size_bytes);
        if (sum != big_endian_32(crc))
            status = uf_fail(report, UF_ERROR_FORMAT,
                             "the PNG is damaged: the checksum of a %.4s chunk is wrong", (const char *)type);
    }
    if (status == UF_OK)
        *data = bytes;
    else
        free(bytes);
    return status;
}

bool uf_png_metadata_come_first(UfInput *input)
{
    Chunk chunk = {0};
    bool pixels = false, late = fseeko(input->stream, SIGNATURE_BYTES, SEEK_SET) != 0;
    while (!late && chunk.type != UF_PNG_IEND) {
        late = next_chunk(input, &chunk, NULL) != UF_OK || (pixels && is_metadata(chunk.type)) ||
               fseeko(input->stream, (off_t)chunk.size_bytes + 4, SEEK_CUR) != 0;
        pixels = pixels || chunk.type == UF_PNG_IDAT;
    }
    return !late;
}

UfStatus uf_png_read_metadata(UfInput *input, UfMetadata *out, UfReport *report)
{
    Chunk chunk = {0};
    if (fseeko(input->stream, SIGNATURE_BYTES, SEEK_SET) != 0)
        return uf_fail_errno(report, "cannot be read", input->path);
    while (chunk.type != UF_PNG_IEND) {
        UfStatus status = next_chunk(input, &chunk, report);
        if (status != UF_OK)
            return status;
        if (!is_metadata(chunk.type) || chunk.size_bytes > UF_PNG_MAX_CHUNK_BYTES) {
            if (fseeko(input->stream, (off_t)chunk.size_bytes + 4, SEEK_CUR) != 0)
                return uf_fail_errno(report, "cannot be read", input->path);
            continue;
        }
        uint8_t *data = NULL;
        status = load_chunk(input, &chunk, &data, report);
        if (status == UF_OK)
            status = uf_png_read_chunk(chunk.type, data, chunk.size_bytes, input->path, 0, out, report);
        free(data);
        if (status != UF_OK)
            return status;
    }
    return UF_OK;
}

static UfStatus write_chunk(UfOutput *output, uint32_t type, UfBlob content, UfReport *report)
{
    uint8_t head[8], crc[4];
    put_big_endian_32(head, (uint32_t)content.size_bytes);
    put_big_endian_32(head + 4, type);
    uLong sum = crc32(crc32(0, NULL, 0), head + 4, 4);
    sum = crc32(sum, content.data, (uInt)content.size_bytes);
    put_big_endian_32(crc, (uint32_t)sum);
    if (fwrite(head, 1, 8, output->stream) != 8 ||
        fwrite(content.data, 1, content.size_bytes, output->stream) != content.size_bytes ||
        fwrite(crc, 1, 4, output->stream) != 4)
        return uf_fail_errno(report, "cannot be written", output->final_path);
    return UF_OK;
}

/* Copies `size` bytes as they are. */
static UfStatus copy_bytes(UfInput *input, UfOutput *output, uint64_t size, UfReport *report)
{
    uint8_t buffer[65536];
    while (size > 0) {
        size_t part = size < sizeof buffer ? (size_t)size : sizeof buffer;
        if (fread(buffer, 1, part, input->stream) != part)
            return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
        if (fwrite(buffer, 1, part, output->stream) != part)
            return uf_fail_errno(report, "cannot be written", output->final_path);
        size -= part;
    }
    return UF_OK;
}

/* Is the chunk, whose data the stream stands at, the one with the XMP? The stream stays where it is. */
static UfStatus chunk_is_xmp(UfInput *input, const Chunk *chunk, bool *out, UfReport *report)
{
    uint8_t head[32];
    size_t size = chunk->size_bytes < sizeof head ? chunk->size_bytes : sizeof head;
    *out = false;
    if (chunk->type != UF_PNG_ITXT)
        return UF_OK;
    if (fread(head, 1, size, input->stream) != size || fseeko(input->stream, -(off_t)size, SEEK_CUR) != 0)
        return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
    *out = uf_png_is_xmp(chunk->type, head, size);
    return UF_OK;
}

/*
 * The new XMP takes the old one's place, or stands behind the chunks before PLTE and IDAT. What follows IEND
 * is copied too.
 */
UfStatus uf_png_retag(UfInput *source, UfBlob xmp, UfOutput *output, UfReport *report)
{
    UfBlob packet = {0};
    Chunk chunk = {0};
    bool written = false;
    UfStatus status = uf_png_xmp_chunk(xmp, &packet, report);
    if (status == UF_OK) {
        rewind(source->stream);
        status = copy_bytes(source, output, SIGNATURE_BYTES, report);
    }
    while (status == UF_OK && chunk.type != UF_PNG_IEND) {
        bool is_old = false;
        status = next_chunk(source, &chunk, report);
        if (status == UF_OK)
            status = chunk_is_xmp(source, &chunk, &is_old, report);
        bool before = chunk.type == UF_PNG_IDAT || chunk.type == UF_PNG_IEND;
        if (status == UF_OK && (is_old || before) && !written) {
            status = write_chunk(output, UF_PNG_ITXT, packet, report);
            written = true;
        }
        if (status == UF_OK)
            status = is_old ? (fseeko(source->stream, (off_t)chunk.size_bytes + 4, SEEK_CUR) == 0
                                   ? UF_OK
                                   : uf_fail_errno(report, "cannot be read", source->path))
                            : (fseeko(source->stream, -8, SEEK_CUR) == 0
                                   ? copy_bytes(source, output, (uint64_t)chunk.size_bytes + 12, report)
                                   : uf_fail_errno(report, "cannot be read", source->path));
    }
    off_t end = status == UF_OK ? ftello(source->stream) : -1;
    if (status == UF_OK && end >= 0 && (uint64_t)end < source->size_bytes)
        status = copy_bytes(source, output, source->size_bytes - (uint64_t)end, report);
    free(packet.data);
    return status;
}

/*
 * How much of a PNG's zlib stream can stay when its rows change from some row on: all deflate blocks that end
 * before that row. They are found by unpacking the stream block by block.
 */
#include <zlib.h>

#include "picture/png_coder.h"

#define INPUT_BYTES  ((size_t)1 << 17)
#define OUTPUT_BYTES ((size_t)1 << 18)
/* A block whose end is so far from the row is not worth its memory: everything is coded anew. */
#define MOST_TAIL_BYTES ((size_t)256 << 20)

struct UfPngStream {
    UfInput *source;
    uint64_t chunk_left; /* bytes of this IDAT that have not been read */
    bool is_in_chunk, has_ended;
};

static UfStatus next_idat(UfPngStream *stream, UfReport *report)
{
    uint8_t head[12];
    FILE *file = stream->source->stream;
    for (;;) {
        if (stream->is_in_chunk && fread(head, 1, 4, file) != 4) /* the CRC: libpng has checked it */
            return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
        bool follows = stream->is_in_chunk;
        if (fread(head, 1, 8, file) != 8)
            return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
        stream->chunk_left =
            (uint64_t)head[0] << 24 | (uint64_t)head[1] << 16 | (uint64_t)head[2] << 8 | head[3];
        stream->is_in_chunk = memcmp(head + 4, "IDAT", 4) == 0;
        if (stream->is_in_chunk)
            return UF_OK;
        if (follows || memcmp(head + 4, "IEND", 4) == 0) { /* IDAT chunks stand together */
            stream->has_ended = true;
            return UF_OK;
        }
        if (stream->chunk_left > stream->source->size_bytes ||
            fseeko(file, (off_t)stream->chunk_left + 4, SEEK_CUR) != 0)
            return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
    }
}

UfStatus uf_png_stream_open(UfInput *source, UfPngStream **out, UfReport *report)
{
    UfPngStream *stream = uf_alloc_zero(1, sizeof *stream);
    if (stream == NULL)
        return uf_fail_memory(report);
    stream->source = source;
    if (fseeko(source->stream, 8, SEEK_SET) != 0) { /* behind the signature */
        free(stream);
        return uf_fail_errno(report, "cannot be read", source->path);
    }
    *out = stream;
    return UF_OK;
}

UfStatus uf_png_stream_read(UfPngStream *stream, uint8_t *buffer, size_t size, size_t *got, UfReport *report)
{
    *got = 0;
    while (*got < size) {
        if (stream->chunk_left == 0) {
            UfStatus status = stream->has_ended ? UF_OK : next_idat(stream, report);
            if (status != UF_OK || stream->has_ended)
                return status;
            continue;
        }
        size_t part = size - *got < stream->chunk_left ? size - *got : (size_t)stream->chunk_left;
        if (fread(buffer + *got, 1, part, stream->source->stream) != part)
            return uf_fail(report, UF_ERROR_FORMAT, "the PNG ends too early");
        *got += part;
        stream->chunk_left -= part;
    }
    return UF_OK;
}

void uf_png_stream_close(UfPngStream **stream)
{
    free(*stream);
    *stream = NULL;
}

/* Unpacking up to the row. */
typedef struct Search {
    UfPngStream *stream;
    z_stream inflate;
    bool has_inflate;
    uint8_t *input;
    uint8_t *tail; /* filtered bytes: the window before the last block's end, and all behind it */
    size_t tail_bytes, tail_room, window_bytes;
    uint64_t out, target;
    unsigned long adler;
    UfPngKept found;
} Search;

/* A block has ended here: what stands before the window is not needed any more. */
static void note_block(Search *search)
{
    uint64_t taken = search->inflate.total_in;
    int unused = search->inflate.data_type & 7;
    search->found.bytes = taken - (unused > 0);
    search->found.bits = unused > 0 ? 8 - unused : 0;
    search->found.bit_values = unused > 0 ? search->inflate.next_in[-1] & ((1u << (8 - unused)) - 1u) : 0;
    size_t keep = search->tail_bytes < UF_PNG_WINDOW_BYTES ? search->tail_bytes : UF_PNG_WINDOW_BYTES;
    memmove(search->tail, search->tail + search->tail_bytes - keep, keep);
    search->tail_bytes = search->window_bytes = keep;
}

static UfStatus make_room(Search *search, UfReport *report)
{
    if (search->tail_room - search->tail_bytes >= OUTPUT_BYTES)
        return UF_OK;
    size_t room = 2 * search->tail_room + 2 * OUTPUT_BYTES;
    uint8_t *larger = uf_realloc(search->tail, room, 1);
    if (larger == NULL)
        return uf_fail_memory(report);
    search->tail = larger;
    search->tail_room = room;
    return UF_OK;
}

/* One call of inflate, which ends at a block's end, too. False when the stream cannot be gone on with. */
static UfStatus step(Search *search, bool *goes_on, UfReport *report)
{
    z_stream *z = &search->inflate;
    size_t got;
    UfStatus status = make_room(search, report);
    if (status == UF_OK && z->avail_in == 0) {
        status = uf_png_stream_read(search->stream, search->input + 1, INPUT_BYTES, &got, report);
        search->input[0] = z->next_in != NULL ? z->next_in[-1] : 0; /* note_block looks one byte back */
        z->next_in = search->input + 1;
        z->avail_in = (uInt)got;
    }
    if (status != UF_OK)
        return status;
    uint64_t left = search->target - search->out;
    z->next_out = search->tail + search->tail_bytes;
    z->avail_out = (uInt)(left < OUTPUT_BYTES ? left : OUTPUT_BYTES);
    int result = inflate(z, Z_BLOCK);
    size_t made = (size_t)(z->next_out - (search->tail + search->tail_bytes));
    search->adler = adler32_z(search->adler, search->tail + search->tail_bytes, made);
    search->tail_bytes += made;
    search->out += made;
    if (result != Z_OK && result != Z_BUF_ERROR && result != Z_STREAM_END)
        return uf_fail(report, UF_ERROR_FORMAT, "the PNG is damaged (zlib: %s)",
                       z->msg != NULL ? z->msg : "no text");
    bool block_ends = (z->data_type & 128) != 0, is_last = (z->data_type & 64) != 0;
    *goes_on = result == Z_OK && !(block_ends && is_last) && search->tail_bytes < MOST_TAIL_BYTES;
    if (block_ends && !is_last)
        note_block(search);
    return UF_OK;
}

static UfStatus search_open(Search *search, UfInput *source, UfReport *report)
{
    UfStatus status = uf_png_stream_open(source, &search->stream, report);
    if (status != UF_OK)
        return status;
    search->input = uf_alloc(INPUT_BYTES + 1, 1);
    if (search->input == NULL || inflateInit(&search->inflate) != Z_OK)
        return uf_fail_memory(report);
    search->has_inflate = true;
    return UF_OK;
}

static void search_close(Search *search)
{
    if (search->has_inflate)
        (void)inflateEnd(&search->inflate);
    uf_png_stream_close(&search->stream);
    free(search->input);
    free(search->tail);
}

UfStatus uf_png_keep(UfInput *source, size_t row, size_t row_bytes, UfPngKept *out, UfReport *report)
{
    Search search = {.adler = 1, .target = (uint64_t)row * (row_bytes + 1)};
    bool goes_on = true;
    UfStatus status = search_open(&search, source, report);
    while (status == UF_OK && goes_on && search.out < search.target)
        status = step(&search, &goes_on, report);
    if (status == UF_OK && search.out == search.target && search.found.bytes > 2) {
        *out = search.found;
        out->row = row;
        out->tail = search.tail;
        out->tail_bytes = search.tail_bytes;
        out->window_bytes = search.window_bytes;
        out->adler = search.adler;
        search.tail = NULL;
    }
    search_close(&search);
    return status;
}

void uf_png_kept_clear(UfPngKept *kept)
{
    free(kept->tail);
    *kept = (UfPngKept){0};
}

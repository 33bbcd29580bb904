/* Entropy-coded data from ranges and codes (ITU-T T.81 F.1.2, B.1.1.5). */
#include "picture/jpeg_bits.h"

#include <endian.h>

#define BUFFER_BYTES 131072u
/* Room that is made before bytes are put one by one. */
#define ROOM_BYTES 16u
/* Ranges longer than this go from file to file. */
#define LONG_RANGE_BYTES 65536u
#define CHUNK_BYTES      16384u

#define MAX_DC_BITS 11u

UfStatus uf_jpeg_bits_open(UfJpegBits *bits, UfInput *source, UfOutput *output, UfReport *report)
{
    bits->source = source;
    bits->output = output;
    bits->report = report;
    bits->capacity = BUFFER_BYTES;
    bits->buffer = uf_alloc(bits->capacity, 1);
    bits->status = bits->buffer == NULL ? uf_fail_memory(report) : UF_OK;
    return bits->status;
}

void uf_jpeg_bits_clear(UfJpegBits *bits)
{
    free(bits->buffer);
    *bits = (UfJpegBits){0};
}

static void write_buffer(UfJpegBits *bits)
{
    if (bits->status == UF_OK && fwrite(bits->buffer, 1, bits->fill, bits->output->stream) != bits->fill)
        bits->status = uf_fail_errno(bits->report, "cannot be written", bits->output->final_path);
    bits->fill = 0;
}

/* Room for `size` more bytes; false when there is none, and the status says why. */
static bool make_room(UfJpegBits *bits, size_t size)
{
    if (size <= bits->capacity - bits->fill)
        return true;
    if (bits->output != NULL) {
        write_buffer(bits);
        return size <= bits->capacity;
    }
    uint8_t *grown = NULL;
    if (bits->capacity <= SIZE_MAX / 4 && size < bits->capacity)
        grown = uf_realloc(bits->buffer, 2 * bits->capacity, 1);
    if (grown == NULL) {
        bits->status = uf_fail_memory(bits->report);
        bits->fill = 0; /* what comes now is lost, and the status tells */
        return size <= bits->capacity;
    }
    bits->buffer = grown;
    bits->capacity *= 2;
    return true;
}

static void put_byte(UfJpegBits *bits, uint8_t byte)
{
    bits->buffer[bits->fill++] = byte;
    if (byte == 0xFF)
        bits->buffer[bits->fill++] = 0;
}

static bool holds_ff(uint32_t word)
{
    return ((~word - 0x01010101u) & word & 0x80808080u) != 0;
}

/* The lowest `count` bits of `value`, the others being 0; count 0..32. */
static inline void put(UfJpegBits *bits, uint32_t value, unsigned count)
{
    bits->held = bits->held << count | value;
    bits->held_count += count;
    if (bits->held_count < 32 || !make_room(bits, ROOM_BYTES))
        return;
    bits->held_count -= 32;
    uint32_t word = (uint32_t)(bits->held >> bits->held_count);
    if (!holds_ff(word)) {
        uint32_t bytes = htobe32(word);
        memcpy(bits->buffer + bits->fill, &bytes, sizeof bytes);
        bits->fill += sizeof bytes;
        return;
    }
    for (int shift = 24; shift >= 0; shift -= 8)
        put_byte(bits, (uint8_t)(word >> shift));
}

/* Writes the whole bytes that are held. */
static void settle(UfJpegBits *bits)
{
    if (!make_room(bits, ROOM_BYTES))
        return;
    while (bits->held_count >= 8) {
        bits->held_count -= 8;
        put_byte(bits, (uint8_t)(bits->held >> bits->held_count));
    }
}

void uf_jpeg_bits_bytes(UfJpegBits *bits, const uint8_t *data, size_t size_bytes)
{
    while (size_bytes > 0 && bits->status == UF_OK) {
        size_t part = size_bytes < CHUNK_BYTES ? size_bytes : CHUNK_BYTES;
        if (!make_room(bits, part))
            return;
        memcpy(bits->buffer + bits->fill, data, part);
        bits->fill += part;
        data += part;
        size_bytes -= part;
    }
}

static size_t read_source(UfJpegBits *bits, uint64_t at, uint8_t *out, size_t size)
{
    size_t got = uf_jpeg_bytes_read(&bits->bytes, at, out, size);
    if (got < size && bits->status == UF_OK)
        bits->status = uf_fail(bits->report, UF_ERROR_FORMAT, "the JPEG ends too early");
    return got;
}

/* Bytes of the source as they are, stuffed zeros and markers among them. */
static void copy_bytes(UfJpegBits *bits, uint64_t from, uint64_t to)
{
    uint8_t chunk[CHUNK_BYTES];
    if (bits->output != NULL && bits->bytes.memory == NULL && to - from >= LONG_RANGE_BYTES) {
        write_buffer(bits);
        if (bits->status == UF_OK)
            bits->status = uf_output_copy(bits->output, bits->source, from, to, bits->report);
        return;
    }
    while (from < to && bits->status == UF_OK) {
        size_t part = to - from < sizeof chunk ? (size_t)(to - from) : sizeof chunk;
        uf_jpeg_bits_bytes(bits, chunk, read_source(bits, from, chunk, part));
        from += part;
    }
}

/* Four of the `left` bytes that hold no 0xFF and so no stuffed zero; false when they do. */
static bool take_word(const uint8_t *from, size_t left, uint32_t *word)
{
    if (left < sizeof *word)
        return false;
    memcpy(word, from, sizeof *word);
    *word = be32toh(*word);
    return !holds_ff(*word);
}

/* [from, to) bit by bit, taking out stuffed zeros and putting in new ones. */
static void copy_shifted(UfJpegBits *bits, UfJpegPlace from, UfJpegPlace to)
{
    uint8_t chunk[CHUNK_BYTES];
    uint8_t last = 0;
    unsigned skip = from.bit;
    uint64_t end = to.byte + (to.bit > 0 ? 1 : 0);
    for (uint64_t at = from.byte; at < end && bits->status == UF_OK;) {
        size_t part = end - at < sizeof chunk ? (size_t)(end - at) : sizeof chunk;
        part = read_source(bits, at, chunk, part);
        size_t whole = to.byte - at < part ? (size_t)(to.byte - at) : part;
        for (size_t i = 0; i < part; i++, at++) {
            uint32_t word;
            while (skip == 0 && last != 0xFF && i < whole && take_word(chunk + i, whole - i, &word)) {
                put(bits, word, 32);
                i += sizeof word;
                at += sizeof word;
            }
            if (i == part)
                break;
            unsigned keep = at == to.byte ? to.bit : 8;
            bool stuffed = last == 0xFF && chunk[i] == 0;
            last = chunk[i];
            if (stuffed || keep <= skip)
                continue;
            put(bits, (last & (0xFFu >> skip)) >> (8 - keep), keep - skip);
            skip = 0;
        }
    }
}

/* The part of the first byte that is not there yet, so that whole bytes can follow; *from moves on. */
static void complete_byte(UfJpegBits *bits, UfJpegPlace *from)
{
    uint8_t byte;
    if (read_source(bits, from->byte, &byte, 1) != 1)
        return;
    put(bits, byte & (0xFFu >> from->bit), 8 - from->bit);
    from->byte += byte == 0xFF ? 2 : 1;
    from->bit = 0;
}

void uf_jpeg_bits_flush(UfJpegBits *bits)
{
    if (!bits->has_range)
        return;
    bits->has_range = false;
    UfJpegPlace from = bits->from, to = bits->to;
    if (bits->in_phase && from.byte < to.byte) {
        if (from.bit > 0)
            complete_byte(bits, &from);
        settle(bits);
        if (from.byte < to.byte)
            copy_bytes(bits, from.byte, to.byte);
        from = (UfJpegPlace){to.byte, 0};
    }
    copy_shifted(bits, from, to);
}

static bool follows(const UfJpegBits *bits, const UfJpegBytes *bytes, UfJpegPlace place)
{
    return bits->has_range && bits->to.byte == place.byte && bits->to.bit == place.bit &&
           bits->bytes.memory == bytes->memory && bits->bytes.fd == bytes->fd;
}

bool uf_jpeg_bits_go_on_at(const UfJpegBits *bits, const UfJpegBytes *bytes, UfJpegPlace place)
{
    return bits->in_phase && follows(bits, bytes, place);
}

void uf_jpeg_bits_range(UfJpegBits *bits, const UfJpegBytes *bytes, UfJpegPlace from, UfJpegPlace to)
{
    if (follows(bits, bytes, from)) {
        bits->to = to;
        return;
    }
    uf_jpeg_bits_flush(bits);
    bits->has_range = true;
    bits->in_phase = bits->held_count % 8 == from.bit;
    bits->bytes = *bytes;
    bits->from = from;
    bits->to = to;
}

/* F.1.2.3: the last byte of an interval is filled up with ones. */
static void fill_up(UfJpegBits *bits)
{
    unsigned missing = (8 - bits->held_count % 8) % 8;
    put(bits, (1u << missing) - 1, missing);
    settle(bits);
}

static void put_marker(UfJpegBits *bits, int marker)
{
    const uint8_t bytes[2] = {0xFF, (uint8_t)marker};
    uf_jpeg_bits_flush(bits);
    fill_up(bits);
    uf_jpeg_bits_bytes(bits, bytes, sizeof bytes);
}

void uf_jpeg_bits_restart(UfJpegBits *bits, unsigned number)
{
    put_marker(bits, JPEG_RST0 + (int)number);
}

static unsigned bits_of(unsigned magnitude)
{
    return magnitude == 0 ? 0 : 32u - (unsigned)__builtin_clz(magnitude);
}

/* A symbol and the `size` bits of the value behind it. */
static inline void put_symbol(UfJpegBits *bits, const UfJpegCodes *codes, unsigned symbol, uint32_t value,
                              unsigned size)
{
    bits->codes_missing |= codes->length[symbol] == 0;
    put(bits, (uint32_t)codes->code[symbol] << size | value, codes->length[symbol] + size);
}

/* Negative differences less one (F.1.2.1). */
void uf_jpeg_bits_dc(UfJpegBits *bits, const UfJpegCodes *codes, int difference)
{
    unsigned size = bits_of((unsigned)abs(difference));
    uint32_t low = (uint32_t)(difference < 0 ? difference - 1 : difference) & ((1u << size) - 1);
    uf_jpeg_bits_flush(bits);
    if (size > MAX_DC_BITS)
        bits->codes_missing = true;
    else
        put_symbol(bits, codes, size, low, size);
}

void uf_jpeg_bits_ac(UfJpegBits *bits, const UfJpegCodes *codes, const UfJpegSymbols *block)
{
    uf_jpeg_bits_flush(bits);
    for (unsigned i = 0; i < block->count; i++)
        put_symbol(bits, codes, block->symbol[i], block->value[i], block->symbol[i] & 15u);
}

void uf_jpeg_bits_finish(UfJpegBits *bits)
{
    put_marker(bits, JPEG_EOI);
    if (bits->output != NULL)
        write_buffer(bits);
}

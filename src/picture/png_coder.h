/*
 * The zlib stream of a PNG (W3C PNG Specification, clauses 7.3, 9 and 10), coded in bands of rows on several
 * threads.
 *
 * Every band is a run of deflate blocks (RFC 1951) of its own that may point back into the band before it,
 * closed on a byte; put one behind the other they are one stream. The bands follow from the picture alone, so
 * that the bytes do not depend on the number of threads.
 *
 * A stream can also go on from the beginning of another one: the bits of the blocks before some place in the
 * other file are kept as they are, and coding starts there (the way of zlib's own example gzappend.c).
 */
#ifndef UF_PICTURE_PNG_CODER_H
#define UF_PICTURE_PNG_CODER_H

#include "picture/picture_internal.h"

/* RFC 1950: deflate, window 32 KiB, a fast level; a multiple of 31. */
#define UF_PNG_STREAM_HEADER "\x78\x5E"
/* What deflate can point back to. */
#define UF_PNG_WINDOW_BYTES 32768u

/* The part of a source's stream that stays, and what is needed to go on from it. Zero: nothing is kept. */
typedef struct UfPngKept {
    uint64_t bytes;      /* whole bytes of the stream that are kept, its 2-byte header included; 0 for none */
    int bits;            /* bits of the byte behind them that are kept, too, 0..7 */
    unsigned bit_values; /* that byte */
    size_t row;          /* the first row that is coded anew */
    uint8_t *tail; /* filtered bytes before that row: window, and what the kept bits do not reach; owned */
    size_t window_bytes, tail_bytes;
    unsigned long adler; /* Adler-32 of all filtered bytes before that row */
} UfPngKept;

/*
 * Looks in a PNG that is not interlaced for the last deflate block that ends before row `row`. row_bytes
 * without the filter's byte. UF_ERROR_FORMAT when the stream is damaged. On success the caller clears *out.
 */
UfStatus uf_png_keep(UfInput *source, size_t row, size_t row_bytes, UfPngKept *out, UfReport *report);
void uf_png_kept_clear(UfPngKept *kept);

/* Reads the stream itself, without the chunks around it. */
typedef struct UfPngStream UfPngStream;
UfStatus uf_png_stream_open(UfInput *source, UfPngStream **out, UfReport *report);
/* Up to `size` bytes; *got 0 at the stream's end. */
UfStatus uf_png_stream_read(UfPngStream *stream, uint8_t *buffer, size_t size, size_t *got, UfReport *report);
void uf_png_stream_close(UfPngStream **stream);

typedef struct UfPngCoder UfPngCoder;
/* `picture`, `kept` and `options` are borrowed; of the options threads and rows are followed. */
UfStatus uf_png_coder_create(const UfPicture *picture, UfSample sample, const UfPngKept *kept,
                             const UfWriteOptions *options, UfPngCoder **out, UfReport *report);
/*
 * The next piece of the stream, valid until the next call; *size 0 when all has been given. With something
 * kept the first piece follows the kept bytes.
 */
UfStatus uf_png_coder_next(UfPngCoder *coder, const uint8_t **data, size_t *size, UfReport *report);
void uf_png_coder_free(UfPngCoder **coder);

/*
 * The row as a filter byte and row_bytes filtered ones, by the filter that leaves the least sum of absolute
 * values (PNG, 12.7). `above` is zeros for the first row; pixel_bytes at least 1. scratch: 5 x row_bytes.
 */
void uf_png_filter(const uint8_t *row, const uint8_t *above, size_t row_bytes, size_t pixel_bytes,
                   uint8_t *scratch, uint8_t *out);

#endif

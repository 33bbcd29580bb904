/*
 * Entropy-coded data being put together from ranges of other such data and from symbols: bits are shifted where
 * they have to be, zeros stuffed behind 0xFF (ITU-T T.81 B.1.1.5), restart markers kept. Failures stay in
 * `status`.
 */
#ifndef UF_PICTURE_JPEG_BITS_H
#define UF_PICTURE_JPEG_BITS_H

#include "picture/jpeg_walk.h"

typedef struct UfJpegBits {
    UfInput *source;  /* long ranges of its file are copied by the system */
    UfOutput *output; /* or NULL: everything stays in `buffer` */
    UfReport *report;
    UfStatus status;
    bool codes_missing; /* the tables lack a code that was needed */
    uint8_t *buffer;    /* owned */
    size_t fill, capacity;
    /* private */
    uint64_t held; /* bits that are no whole 32 yet, the newest lowest */
    unsigned held_count;
    bool has_range, in_phase; /* in_phase: its bits need no shifting */
    UfJpegBytes bytes;        /* the data that the range is of */
    UfJpegPlace from, to;
} UfJpegBits;

/* output NULL: into memory. UF_ERROR_MEMORY on failure; clear it in either case. `bits` is zeroed before. */
UfStatus uf_jpeg_bits_open(UfJpegBits *bits, UfInput *source, UfOutput *output, UfReport *report);
void uf_jpeg_bits_clear(UfJpegBits *bits);
/* Whole bytes as they are; only where no bits are open. */
void uf_jpeg_bits_bytes(UfJpegBits *bits, const uint8_t *data, size_t size_bytes);
/*
 * [from, to) of other data, which are looked at when something else follows, or uf_jpeg_bits_flush. Ranges that
 * follow each other become one. Only a range that is in phase may hold restart markers.
 */
void uf_jpeg_bits_range(UfJpegBits *bits, const UfJpegBytes *bytes, UfJpegPlace from, UfJpegPlace to);
void uf_jpeg_bits_flush(UfJpegBits *bits);
/* True when a range that begins at `place` would go on with the present one without shifting. */
bool uf_jpeg_bits_go_on_at(const UfJpegBits *bits, const UfJpegBytes *bytes, UfJpegPlace place);
/* Fills up the last byte, then restart marker `number`, 0..7. */
void uf_jpeg_bits_restart(UfJpegBits *bits, unsigned number);
/* A DC difference (F.1.2.1); the other coefficients of a block (F.1.2.2). */
void uf_jpeg_bits_dc(UfJpegBits *bits, const UfJpegCodes *codes, int difference);
void uf_jpeg_bits_ac(UfJpegBits *bits, const UfJpegCodes *codes, const UfJpegSymbols *block);
/* Fills up the last byte, then EOI; all is written. */
void uf_jpeg_bits_finish(UfJpegBits *bits);

#endif

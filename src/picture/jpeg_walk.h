/*
 * Walking through the entropy-coded data of a sequential Huffman scan without decoding it: where MCUs begin,
 * and what their DC predictors are there (ITU-T T.81 E.2.4, F.2.2).
 *
 * The bytes come from outside. Whatever is not exactly as an encoder writes it (a code that does not exist, a
 * marker in the wrong place, a coefficient beyond the block) makes the walk fail; libjpeg then says what is
 * wrong with the file.
 */
#ifndef UF_PICTURE_JPEG_WALK_H
#define UF_PICTURE_JPEG_WALK_H

#include "picture/jpeg_internal.h"

#define UF_JPEG_LOOK_BITS      10u
#define UF_JPEG_RUN_BITS       11u
#define UF_JPEG_MAX_MCU_BLOCKS 10u                         /* T.81 B.2.3 */
#define UF_JPEG_WALK_TABLES    ((size_t)2 * NUM_HUFF_TBLS) /* DC, then AC */

/* A file, or bytes in memory (`memory` not NULL). */
typedef struct UfJpegBytes {
    const uint8_t *memory;
    int fd;
    uint64_t size_bytes;
} UfJpegBytes;

/* Reads up to `size` bytes at `offset`; returns how many there were. */
size_t uf_jpeg_bytes_read(const UfJpegBytes *bytes, uint64_t offset, uint8_t *out, size_t size);

/* A bit of the data: `bit` 0 is a byte's most significant one. `byte` never is that of a stuffed zero. */
typedef struct UfJpegPlace {
    uint64_t byte;
    unsigned bit;
} UfJpegPlace;

/* Where a walk was: what it needs to go on from there in the same file. */
typedef struct UfJpegMark {
    UfJpegPlace place;
    int predictors[MAX_COMPS_IN_SCAN];
    size_t mcus_to_restart;
    unsigned next_restart;
} UfJpegMark;

/*
 * A Huffman table, for reading and for writing. look[]: the next bits of the data to
 * bits of code and value (0..7) | symbol << 8 | coefficients that it stands for << 16; 0 for longer codes.
 */
typedef struct UfJpegCodes {
    union {                                         /* see jpeg_walk.c */
        uint32_t run[1u << UF_JPEG_RUN_BITS];       /* of AC codes */
        int32_t difference[1u << UF_JPEG_RUN_BITS]; /* of DC codes */
    };
    uint32_t look[1u << UF_JPEG_LOOK_BITS];
    int32_t largest[17];     /* code of each length; -1: none (T.81 F.2.2.3, MAXCODE) */
    int32_t first_value[17]; /* index of the value of code 0 of that length, may be negative */
    uint8_t values[256];
    uint16_t code[256];  /* of each symbol */
    uint8_t length[256]; /* 0: the table lacks the symbol */
} UfJpegCodes;

/* The next bits of the data. */
typedef struct UfJpegWindow {
    const uint8_t *next;     /* the byte behind them */
    const uint8_t *plain;    /* none of the bytes from `next` up to here is 0xFF */
    uint64_t bits;           /* from the top */
    unsigned count, padding; /* how many, the last `padding` of which are none of the file's */
} UfJpegWindow;

typedef struct UfJpegWalkBlock {
    const UfJpegCodes *dc, *ac;
    unsigned component; /* its number within the scan */
    bool first;         /* of its component in the MCU */
} UfJpegWalkBlock;

typedef struct UfJpegWalk {
    UfJpegBytes bytes;
    size_t columns, rows; /* in MCUs */
    size_t mcu_width_px, mcu_height_px;
    unsigned components, block_count;
    UfJpegWalkBlock blocks[UF_JPEG_MAX_MCU_BLOCKS];
    int predictors[MAX_COMPS_IN_SCAN];
    size_t restart_interval; /* in MCUs; 0: none */
    size_t mcus_to_restart;  /* 0 with an interval: a marker is due before the next MCU */
    unsigned next_restart;   /* 0..7 */
    uint64_t start;          /* the first byte of the data */
    /* private */
    UfJpegCodes *tables[UF_JPEG_WALK_TABLES]; /* owned; a walk that shares another's has none */
    uint8_t *buffer;
    uint64_t base; /* offset of buffer[0] */
    size_t filled;
    UfJpegWindow window;
    const uint8_t *low; /* when the window is there the buffer is filled again */
    bool broken;
} UfJpegWalk;

/* What a component's first block in an MCU looks like. */
typedef struct UfJpegMcuDc {
    UfJpegPlace from, to; /* the DC difference's code and bits */
    int value;
} UfJpegMcuDc;

/* The smallest and the largest DC value of each component; none when least > most. */
typedef struct UfJpegRange {
    int least[MAX_COMPS_IN_SCAN], most[MAX_COMPS_IN_SCAN];
} UfJpegRange;
extern const UfJpegRange uf_jpeg_no_range;

/* DC values of 8-bit pictures lie in -limit .. limit - 1: 11 bits and a sign (T.81 F.1.2.1). */
#define UF_JPEG_DC_LIMIT 2048

/* A block as symbols (T.81 F.1.2): the DC value, then codes with the bits of the values behind them. */
typedef struct UfJpegSymbols {
    int dc;
    unsigned count;
    uint8_t symbol[DCTSIZE2];
    uint16_t value[DCTSIZE2]; /* as many bits as the symbol's lower half says */
} UfJpegSymbols;

/*
 * Prepares for a file whose header libjpeg has read; the data begin at `start`. False when the file is of
 * another kind (progressive, arithmetic, several scans), its tables are damaged or memory is short. Clear it
 * in either case; `walk` is zeroed before.
 */
bool uf_jpeg_walk_open(UfJpegWalk *walk, const struct jpeg_decompress_struct *jpeg, const UfJpegBytes *bytes,
                       uint64_t start);
/* Another walk through the same data, which has to be cleared before `walk` is; `out` is zeroed before. */
bool uf_jpeg_walk_share(const UfJpegWalk *walk, UfJpegWalk *out);
void uf_jpeg_walk_clear(UfJpegWalk *walk);
/* To the beginning of other data that are laid out and coded in the same way. */
void uf_jpeg_walk_begin(UfJpegWalk *walk, const UfJpegBytes *bytes, uint64_t start);
UfJpegPlace uf_jpeg_walk_place(const UfJpegWalk *walk);
UfJpegMark uf_jpeg_walk_mark(const UfJpegWalk *walk);
void uf_jpeg_walk_resume(UfJpegWalk *walk, const UfJpegMark *mark);
bool uf_jpeg_walk_restart_is_due(const UfJpegWalk *walk);
/* Steps over the marker that is due. */
bool uf_jpeg_walk_restart(UfJpegWalk *walk);
/* Steps over `count` MCUs and the restart markers before and between them. */
bool uf_jpeg_walk_skip(UfJpegWalk *walk, size_t count);
/* Steps over one MCU, no marker being due; dc[component]. */
bool uf_jpeg_walk_mcu(UfJpegWalk *walk, UfJpegMcuDc dc[MAX_COMPS_IN_SCAN]);
/* The same for who does not know what the DC values began with: they are not judged, but widen *range. */
bool uf_jpeg_walk_guess(UfJpegWalk *walk, UfJpegRange *range);
/* The byte up to which the data have been taken up: at most that of a few codes beyond the walk's place. */
uint64_t uf_jpeg_walk_reached(const UfJpegWalk *walk);
/* One MCU, too, saying what it is made of; blocks[i]. */
bool uf_jpeg_walk_symbols(UfJpegWalk *walk, UfJpegSymbols blocks[UF_JPEG_MAX_MCU_BLOCKS]);
/*
 * Before `mcus` MCUs that nobody wants to know: looks for the end of the picture, over the restart markers
 * that are due, without looking into the MCUs. False when something else comes first; *end is the byte behind
 * EOI.
 */
bool uf_jpeg_walk_find_end(const UfJpegWalk *walk, size_t mcus, uint64_t *end);
/* After the last MCU: false when the picture does not end here; *end is the byte behind EOI. */
bool uf_jpeg_walk_finish(UfJpegWalk *walk, uint64_t *end);

#endif

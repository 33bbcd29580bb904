/*
 * The walk through entropy-coded data (ITU-T T.81 F.2.2). Symbols are looked up by the next ten bits,
 * together with the bits of the value that follows, so that most coefficients cost one step; nothing is
 * dequantised or stored.
 */
#include "picture/jpeg_walk.h"

#include <endian.h>
#include <errno.h>
#include <limits.h>
#include <unistd.h>

/* Read at a time. Before each MCU at least LEAST_BYTES are there or the file is at its end. */
#define BUFFER_BYTES 131072u
/* 10 blocks of 64 codes of 16 bits with 15 bits of value, each byte stuffed, and what is read ahead. */
#define LEAST_BYTES 8192u
/* Bytes behind `next` that stay, for uf_jpeg_walk_place: 8 bytes, each stuffed. */
#define KEPT_BYTES 32u
/* Read at a time when only the end is looked for. */
#define CHUNK_BYTES 16384u
/* Bytes of 0xFF behind the end of the file: a marker that no scan holds. */
#define FENCE_BYTES 16u

/* Coefficients that symbols stand for: a block is done at 64 or from BLOCK_DONE on, otherwise it is damaged.
 */
#define BLOCK_DONE 256u
#define NO_SYMBOL  65u
/* DC differences of 8-bit pictures have at most 11 bits (T.81 table F.1). */
#define MAX_DC_BITS 11u
/* Beyond this no guess of DC values makes sense. */
#define GUESS_LIMIT 16777216

#define ALWAYS_INLINE static inline __attribute__((always_inline))

const UfJpegRange uf_jpeg_no_range = {{INT_MAX, INT_MAX, INT_MAX, INT_MAX},
                                      {INT_MIN, INT_MIN, INT_MIN, INT_MIN}};

size_t uf_jpeg_bytes_read(const UfJpegBytes *bytes, uint64_t offset, uint8_t *out, size_t size)
{
    size_t got = 0;
    if (offset >= bytes->size_bytes)
        return 0;
    if (size > bytes->size_bytes - offset)
        size = (size_t)(bytes->size_bytes - offset);
    if (bytes->memory != NULL) {
        memcpy(out, bytes->memory + offset, size);
        return size;
    }
    while (got < size) {
        ssize_t n = pread(bytes->fd, out + got, size - got, (off_t)(offset + got));
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            break;
        got += (size_t)n;
    }
    return got;
}

/* The coefficients that an AC symbol (zeros << 4 | bits) stands for. */
static unsigned advance_of(unsigned symbol)
{
    if (symbol == 0x00)
        return BLOCK_DONE;
    if ((symbol & 15u) == 0 && symbol != 0xF0)
        return NO_SYMBOL;
    return (symbol >> 4) + 1;
}

static uint32_t entry_of(unsigned length, unsigned symbol)
{
    return (length + (symbol & 15u)) | symbol << 8 | advance_of(symbol) << 16;
}

/*
 * For the next bits of AC data, all the symbols that are whole in them, with their values: bits taken | 1 <<
 * 8 when the last one ends the block | coefficients that the others stand for << 16. 0: not even one is
 * whole.
 */
static void make_runs(UfJpegCodes *codes)
{
    for (uint32_t bits = 0; bits < 1u << UF_JPEG_RUN_BITS; bits++) {
        unsigned taken = 0, coefficients = 0, done = 0;
        while (done == 0 && taken < UF_JPEG_RUN_BITS) {
            /* what lies beyond the bits is 0 here; a symbol that needs it is not whole */
            uint32_t next = bits << taken & ((1u << UF_JPEG_RUN_BITS) - 1);
            uint32_t entry = codes->look[next >> (UF_JPEG_RUN_BITS - UF_JPEG_LOOK_BITS)];
            unsigned advance = entry >> 16;
            if (entry == 0 || (entry & 255u) > UF_JPEG_RUN_BITS - taken || advance == NO_SYMBOL)
                break;
            taken += entry & 255u;
            done = advance == BLOCK_DONE;
            coefficients += done ? 0 : advance;
        }
        codes->run[bits] = taken | done << 8 | coefficients << 16;
    }
}

/* `size` bits as a value (F.2.2.1, EXTEND). */
static inline int extended(unsigned bits, unsigned size)
{
    return size > 0 && bits < 1u << (size - 1) ? (int)bits - (1 << size) + 1 : (int)bits;
}

/* For the next bits of DC data: bits taken | difference << 8; 0: code and value are not whole in them. */
static void make_differences(UfJpegCodes *codes)
{
    for (uint32_t bits = 0; bits < 1u << UF_JPEG_RUN_BITS; bits++) {
        uint32_t entry = codes->look[bits >> (UF_JPEG_RUN_BITS - UF_JPEG_LOOK_BITS)];
        unsigned taken = entry & 255u, size = entry >> 8 & 255u;
        bool is_whole = entry != 0 && taken <= UF_JPEG_RUN_BITS && size <= MAX_DC_BITS;
        unsigned value = is_whole ? bits >> (UF_JPEG_RUN_BITS - taken) & ((1u << size) - 1) : 0;
        codes->difference[bits] = is_whole ? extended(value, size) * 256 + (int32_t)taken : 0;
    }
}

/* T.81 annex C; kind 0: DC. False for a table that is none. */
static bool make_codes(const JHUFF_TBL *table, size_t kind, UfJpegCodes *out)
{
    uint32_t code = 0;
    size_t index = 0;
    memset(out, 0, sizeof *out);
    memcpy(out->values, table->huffval, sizeof out->values);
    for (unsigned length = 1; length <= 16; length++, code <<= 1) {
        size_t count = table->bits[length];
        out->first_value[length] = (int32_t)index - (int32_t)code;
        if (count > 256 - index || code + count > 1u << length)
            return false;
        for (size_t i = 0; i < count; i++, index++, code++) {
            unsigned symbol = out->values[index];
            out->code[symbol] = (uint16_t)code;
            out->length[symbol] = (uint8_t)length;
            if (length > UF_JPEG_LOOK_BITS)
                continue;
            unsigned free_bits = UF_JPEG_LOOK_BITS - length;
            for (uint32_t j = 0; j < 1u << free_bits; j++)
                out->look[code << free_bits | j] = entry_of(length, symbol);
        }
        out->largest[length] = count > 0 ? (int32_t)code - 1 : -1;
    }
    if (kind == 0)
        make_differences(out);
    else
        make_runs(out);
    return index > 0;
}

/* The tables that the scan names, each made once; dc 0, ac NUM_HUFF_TBLS. */
static const UfJpegCodes *codes_for(UfJpegWalk *walk, JHUFF_TBL *const *tables, int number, size_t kind)
{
    if (number < 0 || number >= NUM_HUFF_TBLS || tables[number] == NULL)
        return NULL;
    UfJpegCodes **codes = &walk->tables[kind + (size_t)number];
    if (*codes != NULL)
        return *codes;
    *codes = uf_alloc(1, sizeof **codes);
    if (*codes != NULL && !make_codes(tables[number], kind, *codes)) {
        free(*codes);
        *codes = NULL;
    }
    return *codes;
}

static bool is_one_sequential_scan(const struct jpeg_decompress_struct *jpeg)
{
    return !jpeg->progressive_mode && !jpeg->arith_code && jpeg->data_precision == 8 &&
           jpeg->comps_in_scan == jpeg->num_components && jpeg->comps_in_scan >= 1 &&
           jpeg->comps_in_scan <= MAX_COMPS_IN_SCAN && jpeg->Ss == 0 && jpeg->Se == DCTSIZE2 - 1 &&
           jpeg->Ah == 0 && jpeg->Al == 0;
}

/* A.2.2, A.2.3: a scan of one component has MCUs of one block, whatever its sampling factors. */
static bool lay_out(UfJpegWalk *walk, const struct jpeg_decompress_struct *jpeg)
{
    bool alone = jpeg->comps_in_scan == 1;
    walk->components = (unsigned)jpeg->comps_in_scan;
    for (unsigned c = 0; c < walk->components; c++) {
        const jpeg_component_info *component = jpeg->cur_comp_info[c];
        int blocks = alone ? 1 : component->h_samp_factor * component->v_samp_factor;
        const UfJpegCodes *dc = codes_for(walk, jpeg->dc_huff_tbl_ptrs, component->dc_tbl_no, 0);
        const UfJpegCodes *ac = codes_for(walk, jpeg->ac_huff_tbl_ptrs, component->ac_tbl_no, NUM_HUFF_TBLS);
        if (dc == NULL || ac == NULL)
            return false;
        for (int i = 0; i < blocks; i++) {
            if (walk->block_count == UF_JPEG_MAX_MCU_BLOCKS)
                return false;
            walk->blocks[walk->block_count++] = (UfJpegWalkBlock){dc, ac, c, i == 0};
        }
    }
    walk->mcu_width_px = DCTSIZE * (alone ? 1u : (size_t)jpeg->max_h_samp_factor);
    walk->mcu_height_px = DCTSIZE * (alone ? 1u : (size_t)jpeg->max_v_samp_factor);
    walk->columns = (jpeg->image_width + walk->mcu_width_px - 1) / walk->mcu_width_px;
    walk->rows = (jpeg->image_height + walk->mcu_height_px - 1) / walk->mcu_height_px;
    return true;
}

/* Moves what is left to the front and reads on. */
static void fill(UfJpegWalk *walk)
{
    size_t used = (size_t)(walk->window.next - walk->buffer);
    size_t dropped = used > KEPT_BYTES ? used - KEPT_BYTES : 0;
    memmove(walk->buffer, walk->buffer + dropped, walk->filled - dropped);
    walk->filled -= dropped;
    walk->base += dropped;
    size_t wanted = BUFFER_BYTES - walk->filled;
    size_t got =
        uf_jpeg_bytes_read(&walk->bytes, walk->base + walk->filled, walk->buffer + walk->filled, wanted);
    walk->filled += got;
    walk->window.next = walk->window.plain = walk->buffer + (used - dropped);
    memset(walk->buffer + walk->filled, 0xFF, FENCE_BYTES);
    /* at the end of the file the fence stops the walk */
    walk->low = walk->buffer + (got < wanted ? BUFFER_BYTES + FENCE_BYTES : BUFFER_BYTES - LEAST_BYTES);
}

static void begin_at(UfJpegWalk *walk, const uint8_t *next)
{
    walk->window = (UfJpegWindow){.next = next, .plain = next};
    walk->mcus_to_restart = walk->restart_interval;
    memset(walk->predictors, 0, sizeof walk->predictors);
}

void uf_jpeg_walk_begin(UfJpegWalk *walk, const UfJpegBytes *bytes, uint64_t start)
{
    walk->bytes = *bytes;
    walk->start = walk->base = start;
    walk->filled = 0;
    walk->next_restart = 0;
    walk->broken = false;
    begin_at(walk, walk->buffer);
    fill(walk);
}

bool uf_jpeg_walk_open(UfJpegWalk *walk, const struct jpeg_decompress_struct *jpeg, const UfJpegBytes *bytes,
                       uint64_t start)
{
    if (!is_one_sequential_scan(jpeg) || !lay_out(walk, jpeg))
        return false;
    walk->restart_interval = jpeg->restart_interval;
    walk->buffer = uf_alloc(BUFFER_BYTES + FENCE_BYTES, 1);
    if (walk->buffer == NULL)
        return false;
    uf_jpeg_walk_begin(walk, bytes, start);
    return true;
}

bool uf_jpeg_walk_share(const UfJpegWalk *walk, UfJpegWalk *out)
{
    *out = *walk;
    memset(out->tables, 0, sizeof out->tables);
    out->buffer = uf_alloc(BUFFER_BYTES + FENCE_BYTES, 1);
    if (out->buffer == NULL)
        return false;
    uf_jpeg_walk_begin(out, &walk->bytes, walk->start);
    return true;
}

void uf_jpeg_walk_clear(UfJpegWalk *walk)
{
    for (size_t i = 0; i < UF_JPEG_WALK_TABLES; i++)
        free(walk->tables[i]);
    free(walk->buffer);
    *walk = (UfJpegWalk){0};
}

static inline uint64_t load_8_bytes(const uint8_t *at)
{
    uint64_t value;
    memcpy(&value, at, sizeof value);
    return be64toh(value);
}

/* Byte by byte over stuffed zeros; at a marker zeros follow, which are counted. Then looks for the next 0xFF:
 * behind the data there is the fence. */
static __attribute__((noinline)) UfJpegWindow refill_slowly(UfJpegWindow window)
{
    while (window.count < 56) {
        uint64_t byte = *window.next;
        if (window.padding > 0 || (byte == 0xFF && window.next[1] != 0)) {
            window.padding += 8;
            byte = 0;
        } else {
            window.next += byte == 0xFF ? 2 : 1;
        }
        window.bits |= byte << (56 - window.count);
        window.count += 8;
    }
    if (window.padding == 0)
        window.plain = rawmemchr(window.next, 0xFF);
    return window;
}

/* 56 to 63 bits. */
ALWAYS_INLINE void refill(UfJpegWindow *window)
{
    if (window->plain - window->next < 8) {
        *window = refill_slowly(*window);
        return;
    }
    window->bits |= load_8_bytes(window->next) >> window->count;
    window->next += (63 - window->count) >> 3;
    window->count |= 56;
}

static inline void drop(UfJpegWindow *window, unsigned bits)
{
    window->bits <<= bits;
    window->count -= bits;
}

/* Codes longer than the table's (F.2.2.3); what is none ends the block in a way that is noticed. */
static uint32_t long_code(const UfJpegCodes *codes, uint64_t bits)
{
    for (unsigned length = UF_JPEG_LOOK_BITS + 1; length <= 16; length++) {
        int32_t code = (int32_t)(bits >> (64 - length));
        if (code <= codes->largest[length])
            return entry_of(length, codes->values[(codes->first_value[length] + code) & 255]);
    }
    return NO_SYMBOL << 16 | 0xFF00u;
}

static inline uint32_t next_symbol(uint64_t bits, const UfJpegCodes *codes)
{
    uint32_t entry = codes->look[bits >> (64 - UF_JPEG_LOOK_BITS)];
    return entry != 0 ? entry : long_code(codes, bits);
}

/* The difference (F.2.2.1); false where there is none. Leaves 36 bits or more. */
ALWAYS_INLINE bool next_difference(UfJpegWindow *window, const UfJpegCodes *codes, int *out)
{
    refill(window);
    int32_t whole = codes->difference[window->bits >> (64 - UF_JPEG_RUN_BITS)];
    if (whole != 0) {
        drop(window, (unsigned)whole & 255u);
        *out = whole >> 8;
        return true;
    }
    uint32_t entry = next_symbol(window->bits, codes);
    unsigned size = entry >> 8 & 255u;
    if (size > MAX_DC_BITS)
        return false;
    unsigned length = (entry & 255u) - size;
    *out = extended(size == 0 ? 0 : (unsigned)(window->bits << length >> (64 - size)), size);
    drop(window, length + size);
    return true;
}

/* The symbols that are whole in the next bits, if those are no more than the block has room for. */
ALWAYS_INLINE bool take_run(UfJpegWindow *window, const UfJpegCodes *codes, unsigned *k, bool *done)
{
    uint32_t run = codes->run[window->bits >> (64 - UF_JPEG_RUN_BITS)];
    if (run == 0 || *k + (run >> 16) >= DCTSIZE2)
        return false;
    drop(window, run & 255u);
    *k += run >> 16;
    *done = (run & 256u) != 0;
    return true;
}

/* False where the coefficients are no block. Two runs take 22 bits at most, which are there. */
ALWAYS_INLINE bool skip_ac(UfJpegWindow *window, const UfJpegCodes *codes)
{
    unsigned k = 1;
    bool done = false;
    for (;;) {
        bool ran = take_run(window, codes, &k, &done);
        if (ran && !done)
            ran = take_run(window, codes, &k, &done);
        if (done)
            return true;
        refill(window);
        if (ran)
            continue;
        uint32_t entry = next_symbol(window->bits, codes);
        drop(window, entry & 255u);
        k += entry >> 16;
        if (k >= DCTSIZE2)
            return k == DCTSIZE2 || k >= BLOCK_DONE;
    }
}

static UfJpegPlace place_of(const UfJpegWalk *walk, UfJpegWindow window)
{
    unsigned ahead = window.count > window.padding ? window.count - window.padding : 0;
    unsigned whole = (ahead + 7) / 8;
    const uint8_t *at = window.next;
    for (unsigned i = 0; i < whole; i++)
        at -= at[-1] == 0 && at - walk->buffer >= 2 && at[-2] == 0xFF ? 2 : 1;
    return (UfJpegPlace){walk->base + (uint64_t)(at - walk->buffer), whole * 8 - ahead};
}

static bool in_limits(int dc)
{
    return dc < UF_JPEG_DC_LIMIT && dc >= -UF_JPEG_DC_LIMIT;
}

static bool widen(UfJpegRange *range, unsigned component, int dc)
{
    range->least[component] = dc < range->least[component] ? dc : range->least[component];
    range->most[component] = dc > range->most[component] ? dc : range->most[component];
    return dc < GUESS_LIMIT && dc > -GUESS_LIMIT;
}

/* `dc` and `range` may be NULL: each pair makes a function of its own. */
ALWAYS_INLINE void step(UfJpegWalk *walk, UfJpegMcuDc *dc, UfJpegRange *range)
{
    if (walk->window.next >= walk->low)
        fill(walk);
    UfJpegWindow window = walk->window; /* a copy, which stays in registers */
    bool sound = true;
    for (unsigned i = 0; i < walk->block_count && sound; i++) {
        const UfJpegWalkBlock *block = &walk->blocks[i];
        int difference = 0, *predictor = &walk->predictors[block->component];
        if (dc != NULL && block->first)
            dc[block->component].from = place_of(walk, window);
        sound = next_difference(&window, block->dc, &difference);
        *predictor += difference;
        sound = sound && (range != NULL ? widen(range, block->component, *predictor) : in_limits(*predictor));
        if (dc != NULL && block->first) {
            dc[block->component].to = place_of(walk, window);
            dc[block->component].value = *predictor;
        }
        sound = sound && skip_ac(&window, block->ac);
    }
    walk->window = window;
    walk->broken |= !sound || window.count < window.padding;
}

UfJpegPlace uf_jpeg_walk_place(const UfJpegWalk *walk)
{
    return place_of(walk, walk->window);
}

UfJpegMark uf_jpeg_walk_mark(const UfJpegWalk *walk)
{
    UfJpegMark mark = {.place = uf_jpeg_walk_place(walk),
                       .mcus_to_restart = walk->mcus_to_restart,
                       .next_restart = walk->next_restart};
    memcpy(mark.predictors, walk->predictors, sizeof mark.predictors);
    return mark;
}

void uf_jpeg_walk_resume(UfJpegWalk *walk, const UfJpegMark *mark)
{
    walk->base = mark->place.byte;
    walk->filled = 0;
    walk->broken = false;
    begin_at(walk, walk->buffer);
    fill(walk);
    refill(&walk->window);
    drop(&walk->window, mark->place.bit);
    memcpy(walk->predictors, mark->predictors, sizeof walk->predictors);
    walk->mcus_to_restart = mark->mcus_to_restart;
    walk->next_restart = mark->next_restart;
}

bool uf_jpeg_walk_restart_is_due(const UfJpegWalk *walk)
{
    return walk->restart_interval > 0 && walk->mcus_to_restart == 0;
}

/* The marker must follow the bits that fill up the last byte; *next is where it begins. */
static bool at_marker(UfJpegWalk *walk, uint8_t marker, const uint8_t **next)
{
    if (walk->window.next >= walk->low)
        fill(walk);
    const UfJpegWindow *window = &walk->window;
    /* whole bytes may have been taken ahead: then there are more of them than there should be */
    if (walk->broken || window->count < window->padding || window->count - window->padding >= 8)
        return false;
    *next = window->next;
    size_t left = walk->filled - (size_t)(window->next - walk->buffer);
    return left >= 2 && window->next[0] == 0xFF && window->next[1] == marker;
}

bool uf_jpeg_walk_restart(UfJpegWalk *walk)
{
    const uint8_t *marker;
    if (!at_marker(walk, (uint8_t)(JPEG_RST0 + walk->next_restart), &marker))
        return false;
    begin_at(walk, marker + 2);
    walk->next_restart = (walk->next_restart + 1) % 8;
    return true;
}

bool uf_jpeg_walk_mcu(UfJpegWalk *walk, UfJpegMcuDc dc[MAX_COMPS_IN_SCAN])
{
    if (dc == NULL)
        step(walk, NULL, NULL);
    else
        step(walk, dc, NULL);
    walk->mcus_to_restart -= walk->restart_interval > 0 ? 1 : 0;
    return !walk->broken;
}

bool uf_jpeg_walk_guess(UfJpegWalk *walk, UfJpegRange *range)
{
    step(walk, NULL, range);
    walk->mcus_to_restart -= walk->restart_interval > 0 ? 1 : 0;
    return !walk->broken;
}

uint64_t uf_jpeg_walk_reached(const UfJpegWalk *walk)
{
    return walk->base + (uint64_t)(walk->window.next - walk->buffer);
}

/* The symbols of a block's AC coefficients. */
static bool take_ac(UfJpegWindow *window, const UfJpegCodes *codes, UfJpegSymbols *out)
{
    unsigned k = 1;
    out->count = 0;
    do {
        refill(window);
        uint32_t entry = next_symbol(window->bits, codes);
        unsigned symbol = entry >> 8 & 255u, size = symbol & 15u, length = (entry & 255u) - size;
        out->symbol[out->count] = (uint8_t)symbol;
        out->value[out->count++] = (uint16_t)(size == 0 ? 0 : window->bits << length >> (64 - size));
        drop(window, entry & 255u);
        k += entry >> 16;
    } while (k < DCTSIZE2);
    return k == DCTSIZE2 || k >= BLOCK_DONE;
}

bool uf_jpeg_walk_symbols(UfJpegWalk *walk, UfJpegSymbols blocks[UF_JPEG_MAX_MCU_BLOCKS])
{
    if (walk->window.next >= walk->low)
        fill(walk);
    for (unsigned i = 0; i < walk->block_count && !walk->broken; i++) {
        const UfJpegWalkBlock *block = &walk->blocks[i];
        int difference = 0, *predictor = &walk->predictors[block->component];
        bool sound = next_difference(&walk->window, block->dc, &difference);
        *predictor += difference;
        blocks[i].dc = *predictor;
        walk->broken = !sound || !in_limits(*predictor) || !take_ac(&walk->window, block->ac, &blocks[i]);
    }
    walk->broken |= walk->window.count < walk->window.padding;
    walk->mcus_to_restart -= walk->restart_interval > 0 ? 1 : 0;
    return !walk->broken;
}

bool uf_jpeg_walk_skip(UfJpegWalk *walk, size_t count)
{
    while (count > 0) {
        if (uf_jpeg_walk_restart_is_due(walk) && !uf_jpeg_walk_restart(walk))
            return false;
        size_t run =
            walk->restart_interval > 0 && walk->mcus_to_restart < count ? walk->mcus_to_restart : count;
        for (size_t i = 0; i < run && !walk->broken; i++)
            step(walk, NULL, NULL);
        walk->mcus_to_restart -= walk->restart_interval > 0 ? run : 0;
        count -= run;
        if (walk->broken)
            return false;
    }
    return true;
}

/* Restart markers before and between MCUs that are to come. */
static size_t markers_due(const UfJpegWalk *walk, size_t mcus)
{
    if (walk->restart_interval == 0 || mcus <= walk->mcus_to_restart)
        return 0;
    return 1 + (mcus - walk->mcus_to_restart - 1) / walk->restart_interval;
}

bool uf_jpeg_walk_find_end(const UfJpegWalk *walk, size_t mcus, uint64_t *end)
{
    uint8_t chunk[CHUNK_BYTES];
    uint64_t at = uf_jpeg_walk_place(walk).byte;
    size_t due = markers_due(walk, mcus), got;
    unsigned number = walk->next_restart;
    bool after_ff = false;
    for (; (got = uf_jpeg_bytes_read(&walk->bytes, at, chunk, sizeof chunk)) > 0; at += got)
        for (const uint8_t *byte = chunk; byte < chunk + got; byte++) {
            if (!after_ff && (byte = memchr(byte, 0xFF, (size_t)(chunk + got - byte))) == NULL)
                break;
            if (!after_ff) {
                after_ff = true;
                continue;
            }
            after_ff = false;
            if (*byte == 0)
                continue;
            *end = at + (uint64_t)(byte - chunk) + 1;
            if (due == 0 || *byte != JPEG_RST0 + number)
                return due == 0 && *byte == JPEG_EOI;
            number = (number + 1) % 8;
            due--;
        }
    return false;
}

bool uf_jpeg_walk_finish(UfJpegWalk *walk, uint64_t *end)
{
    const uint8_t *marker;
    if (!at_marker(walk, JPEG_EOI, &marker))
        return false;
    *end = walk->base + (uint64_t)(marker - walk->buffer) + 2;
    return true;
}

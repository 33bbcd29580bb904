/* Converting runs of pixels, and moving the window. */
#include "remap/light.h"

#include <stdlib.h>

#include "base/cpu.h"
#include "base/memory.h"
#include "remap/lanes.h"
#include "remap/window.h"

#define ROOM_FLOATS (UF_CHANNELS_MAX * UF_LIGHT_PLANE_FLOATS)
#define ROOM_RUNS   (UF_LIGHT_PLANE_FLOATS / UF_LIGHT_RUN)
/* How far a block has come. */
enum { ASKED = 1, READY };

/* Keeps rows from falling on the same lines of the cache. */
#define GAP_FLOATS 16
/* Of the cache. */
#define LINE_BYTES 64

bool uf_light_serves(const UfSource *source)
{
    return source->wraps && source->over_top && source->over_bottom && source->width_px % 2 == 0;
}

bool uf_light_create(UfLight *out)
{
    *out = (UfLight){.samples = aligned_alloc(LINE_BYTES, ROOM_FLOATS * sizeof *out->samples),
                     .states = uf_alloc(ROOM_RUNS, sizeof *out->states)};
    if (out->samples != NULL && out->states != NULL)
        return true;
    uf_light_free(out);
    return false;
}

void uf_light_free(UfLight *light)
{
    free(light->samples);
    free(light->states);
    *light = (UfLight){0};
}

/* One channel of codes through a table. */
UF_INLINE void look_up(const float *table, const uint8_t *at, size_t channels, UfSample sample, float *to)
{
    const size_t step = channels * (size_t)sample;
    for (size_t i = 0; i < UF_LIGHT_RUN; i += UF_LANES, at += UF_LANES * step) {
#define CODE(k) table[uf_code_load(at + (k)*step, sample)]
        const UfLanes some = {CODE(0), CODE(1), CODE(2), CODE(3), CODE(4), CODE(5), CODE(6), CODE(7)};
        memcpy(to + i, &some, sizeof some);
#undef CODE
    }
}

/* Three channels of floats, side by side. */
UF_INLINE void part_three(const uint8_t *pixel, float *to)
{
    for (size_t i = 0; i < UF_LIGHT_RUN; i += UF_LANES) {
        const UfLanesAt *const from = (const UfLanesAt *)(const void *)(pixel + 3 * i * sizeof *to);
        const UfLanes v[3] = {from[0], from[1], from[2]};
/* lanes 0, 3, 6 of the first, 1, 4, 7 of the second, 2, 5 of the third */
#define EVERY_THIRD(a, b, c)                                                                                 \
    __builtin_shufflevector(__builtin_shufflevector(a, b, 0, 9, 2, 3, 12, 5, 6, 15), c, 0, 1, 10, 3, 4, 13,  \
                            6, 7)
        const UfLanes mixed[3] = {EVERY_THIRD(v[0], v[1], v[2]), EVERY_THIRD(v[2], v[0], v[1]),
                                  EVERY_THIRD(v[1], v[2], v[0])};
#undef EVERY_THIRD
        const UfLanes planes[3] = {__builtin_shufflevector(mixed[0], mixed[0], 0, 3, 6, 1, 4, 7, 2, 5),
                                   __builtin_shufflevector(mixed[1], mixed[1], 1, 4, 7, 2, 5, 0, 3, 6),
                                   __builtin_shufflevector(mixed[2], mixed[2], 2, 5, 0, 3, 6, 1, 4, 7)};
        for (size_t c = 0; c < 3; c++)
            *(UfLanesAt *)(void *)(to + c * UF_LIGHT_PLANE_FLOATS + i) = planes[c];
    }
}

/* Colours as parts of the largest value, where there is no table. */
UF_INLINE void take_values(const UfSource *source, const uint8_t *pixel, size_t channels, size_t colours,
                           UfSample sample, float *to)
{
    const float max = (float)uf_sample_max(sample);
    if (sample == UF_SAMPLE_F32 && channels == 3) {
        part_three(pixel, to);
    } else {
        for (size_t c = 0; c < colours; c++)
            for (size_t i = 0; i < UF_LIGHT_RUN; i++)
                to[c * UF_LIGHT_PLANE_FLOATS + i] =
                    (float)uf_sample_load(pixel + (i * channels + c) * (size_t)sample, sample) / max;
    }
    for (size_t c = 0; c < colours && sample == UF_SAMPLE_F32 && source->transfer != NULL; c++) {
        float *plane = to + c * UF_LIGHT_PLANE_FLOATS;
        uf_transfer_row_to_linear(source->transfer, plane, UF_LIGHT_RUN, plane);
    }
}

/* A plane at a time: short loops of a known length, in which nothing has to be asked. */
UF_INLINE void convert(const UfSource *source, const uint8_t *pixel, size_t channels, UfSample sample,
                       float *to)
{
    const bool has_alpha = channels % 2 == 0;
    const size_t colours = channels - has_alpha;
    if (sample != UF_SAMPLE_F32 && source->linear != NULL)
        for (size_t c = 0; c < colours; c++)
            look_up(source->linear, pixel + c * (size_t)sample, channels, sample,
                    to + c * UF_LIGHT_PLANE_FLOATS);
    else
        take_values(source, pixel, channels, colours, sample, to);
    if (!has_alpha)
        return;
    float *const alpha = to + colours * UF_LIGHT_PLANE_FLOATS;
    for (size_t i = 0; i < UF_LIGHT_RUN; i++)
        alpha[i] = (float)(uf_sample_load(pixel + (i * channels + colours) * (size_t)sample, sample) /
                           uf_sample_max(sample));
    for (size_t c = 0; c < colours; c++, to += UF_LIGHT_PLANE_FLOATS)
        for (size_t i = 0; i < UF_LIGHT_RUN; i++)
            to[i] = alpha[i] > 0 ? alpha[i] * to[i] : 0;
}

/* The rows of a block of pixels: where they are, and what room their light has. */
typedef struct Block {
    const uint8_t *rows[UF_LIGHT_ROWS];
    float *to;
    size_t row_step; /* in floats */
} Block;

UF_INLINE void convert_rows(const UfSource *source, const Block *block, size_t channels, UfSample sample)
{
    for (size_t r = 0; r < UF_LIGHT_ROWS; r++)
        convert(source, block->rows[r], channels, sample, block->to + r * block->row_step);
}

UF_INLINE void convert_any(const UfSource *source, const Block *block, size_t channels, UfSample sample)
{
#define CASES(type)                                                                                          \
    switch (channels) {                                                                                      \
    case 1:                                                                                                  \
        convert_rows(source, block, 1, type);                                                                \
        break;                                                                                               \
    case 2:                                                                                                  \
        convert_rows(source, block, 2, type);                                                                \
        break;                                                                                               \
    case 3:                                                                                                  \
        convert_rows(source, block, 3, type);                                                                \
        break;                                                                                               \
    default:                                                                                                 \
        convert_rows(source, block, 4, type);                                                                \
        break;                                                                                               \
    }
    if (sample == UF_SAMPLE_U8) {
        CASES(UF_SAMPLE_U8)
    } else if (sample == UF_SAMPLE_U16) {
        CASES(UF_SAMPLE_U16)
    } else {
        CASES(UF_SAMPLE_F32)
    }
#undef CASES
}

typedef void Convert(const UfSource *source, const Block *block, size_t channels, UfSample sample);

static void convert_scalar(const UfSource *source, const Block *block, size_t channels, UfSample sample)
{
    convert_any(source, block, channels, sample);
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static void convert_avx2(const UfSource *source, const Block *block,
                                                         size_t channels, UfSample sample)
{
    convert_any(source, block, channels, sample);
}
#else
#define convert_avx2 convert_scalar
#endif

/* Where the source has the pixel that may lie beyond its edges. */
static const uint8_t *row_of(const UfSource *source, ptrdiff_t *x, ptrdiff_t y)
{
    const ptrdiff_t width = source->width_px, height = source->height_px;
    for (y = uf_wrapped(y, 2 * height); y >= height; y = 2 * height - 1 - y)
        *x += width / 2; /* over the pole, into the opposite meridian */
    *x = uf_wrapped(*x, width);
    return source->data + (size_t)y * source->stride_bytes;
}

/* How the source is read. */
typedef struct Reader {
    const UfSource *source;
    UfSample sample;
    size_t channels, pixel_bytes;
    Convert *convert;
} Reader;

/* A block inside the source. */
static const uint8_t *inner_block(const Reader *reader, ptrdiff_t x, ptrdiff_t y)
{
    const UfSource *source = reader->source;
    const bool inside = x >= 0 && y >= 0 && x + (ptrdiff_t)UF_LIGHT_RUN <= source->width_px &&
                        y + (ptrdiff_t)UF_LIGHT_ROWS <= source->height_px;
    return inside ? source->data + (size_t)y * source->stride_bytes + (size_t)x * reader->pixel_bytes : NULL;
}

/* The block from (x, y) on. */
static void convert_block(const Reader *reader, ptrdiff_t x, ptrdiff_t y, float *to, size_t row_step)
{
    const UfSource *source = reader->source;
    const size_t bytes = reader->pixel_bytes;
    const uint8_t *const inner = inner_block(reader, x, y);
    _Alignas(16) uint8_t gathered[UF_LIGHT_ROWS][sizeof(float) * UF_LIGHT_RUN * UF_CHANNELS_MAX];
    Block block = {.to = to, .row_step = row_step};
    for (size_t r = 0; r < UF_LIGHT_ROWS; r++) {
        if (inner != NULL) {
            block.rows[r] = inner + r * source->stride_bytes;
            continue;
        }
        ptrdiff_t at = x;
        const uint8_t *row = row_of(source, &at, y + (ptrdiff_t)r);
        block.rows[r] = row + (size_t)at * bytes;
        if (at + (ptrdiff_t)UF_LIGHT_RUN <= source->width_px)
            continue;
        /* across the seam, of a source that may be narrower than a run */
        for (size_t i = 0; i < UF_LIGHT_RUN; i++)
            memcpy(gathered[r] + i * bytes, row + (size_t)((at + (ptrdiff_t)i) % source->width_px) * bytes,
                   bytes);
        block.rows[r] = gathered[r];
    }
    reader->convert(source, &block, reader->channels, reader->sample);
}

/* Asks for the block's lines: what is read of a row is too short for the processor to foresee more. Into the
 * larger cache: the smaller one is full of the window. */
static void fetch_block(const Reader *reader, ptrdiff_t x, ptrdiff_t y)
{
    const char *at = (const char *)inner_block(reader, x, y);
    for (size_t r = 0; at != NULL && r < UF_LIGHT_ROWS; r++, at += reader->source->stride_bytes)
        for (size_t i = 0; i <= UF_LIGHT_RUN * reader->pixel_bytes; i += LINE_BYTES)
            __builtin_prefetch(at + i, 0, 2);
}

static bool is_inside(const UfLightArea *area, const UfLightArea *window)
{
    return area->left >= window->left && area->right <= window->right && area->top >= window->top &&
           area->bottom <= window->bottom;
}

/* Lays the window over the area; false when it is too large. */
static bool lay(UfLight *light, UfLightArea area)
{
    const size_t runs = ((size_t)(area.right - area.left) + UF_LIGHT_RUN - 1) / UF_LIGHT_RUN;
    const size_t blocks = ((size_t)(area.bottom - area.top) + UF_LIGHT_ROWS - 1) / UF_LIGHT_ROWS;
    const size_t rows = blocks * UF_LIGHT_ROWS;
    if (runs > ROOM_RUNS || rows > ROOM_RUNS)
        return false;
    const size_t row_step = runs * UF_LIGHT_RUN + GAP_FLOATS;
    if (rows * row_step > UF_LIGHT_PLANE_FLOATS)
        return false;
    area.right = area.left + (ptrdiff_t)(runs * UF_LIGHT_RUN);
    area.bottom = area.top + (ptrdiff_t)rows;
    light->area = area;
    light->row_step = row_step;
    memset(light->states, 0, blocks * runs);
    return true;
}

static bool is_empty(const UfLightArea *area)
{
    return area->left >= area->right || area->top >= area->bottom;
}

/* What of the area lies in the window. */
static UfLightArea inside(UfLightArea a, const UfLightArea *window)
{
    a.left = a.left > window->left ? a.left : window->left;
    a.top = a.top > window->top ? a.top : window->top;
    a.right = a.right < window->right ? a.right : window->right;
    a.bottom = a.bottom < window->bottom ? a.bottom : window->bottom;
    return a;
}

static UfLightArea both(UfLightArea a, const UfLightArea *b)
{
    a.left = a.left < b->left ? a.left : b->left;
    a.top = a.top < b->top ? a.top : b->top;
    a.right = a.right > b->right ? a.right : b->right;
    a.bottom = a.bottom > b->bottom ? a.bottom : b->bottom;
    return a;
}

/* By whole turns as close to the other as can be. */
static void turn(UfLightArea *area, const UfLightArea *other, ptrdiff_t turn_px)
{
    const ptrdiff_t off = (area->left + area->right - other->left - other->right) / 2;
    const ptrdiff_t turns = (off + (off < 0 ? -turn_px : turn_px) / 2) / turn_px;
    area->left -= turns * turn_px;
    area->right -= turns * turn_px;
}

/* Brings the blocks of the area that have not come so far to `state`. */
static void bring(UfLight *light, const Reader *reader, const UfLightArea *area, uint8_t state)
{
    const UfLightArea *window = &light->area;
    const size_t across = (size_t)(window->right - window->left) / UF_LIGHT_RUN;
    const size_t left = (size_t)(area->left - window->left) / UF_LIGHT_RUN,
                 right = (size_t)(area->right - 1 - window->left) / UF_LIGHT_RUN + 1;
    const size_t top = (size_t)(area->top - window->top) / UF_LIGHT_ROWS,
                 bottom = (size_t)(area->bottom - 1 - window->top) / UF_LIGHT_ROWS + 1;
    for (size_t down = top; down < bottom; down++)
        for (size_t run = left; run < right; run++) {
            uint8_t *const at = &light->states[down * across + run];
            if (*at >= state)
                continue;
            *at = state;
            const ptrdiff_t x = window->left + (ptrdiff_t)(run * UF_LIGHT_RUN),
                            y = window->top + (ptrdiff_t)(down * UF_LIGHT_ROWS);
            if (state == READY)
                convert_block(reader, x, y,
                              light->samples + down * UF_LIGHT_ROWS * light->row_step + run * UF_LIGHT_RUN,
                              light->row_step);
            else
                fetch_block(reader, x, y);
        }
}

/* What will be asked for next if it goes on like this. */
static UfLightArea next(const UfLight *light, const UfLightArea *area)
{
    UfLightArea out = *area;
    const ptrdiff_t right = area->left - light->last.left, down = area->top - light->last.top;
    out.left += right;
    out.right += right;
    out.top += down;
    out.bottom += down;
    return inside(out, &light->area);
}

bool uf_light_take(UfLight *light, const UfSource *source, UfSample sample, size_t channels,
                   unsigned cpu_flags, UfLightArea *area)
{
    const Reader reader = {source, sample, channels, channels * (size_t)sample,
                           cpu_flags & UF_CPU_AVX2 ? convert_avx2 : convert_scalar};
    turn(area, &light->area, source->width_px);
    if (!is_inside(area, &light->area)) {
        turn(area, &light->ahead, source->width_px);
        if (!lay(light, both(*area, &light->ahead)) && !lay(light, *area))
            return false;
        light->last = *area;
    }
    const UfLightArea soon = next(light, area);
    if (!is_empty(&soon))
        bring(light, &reader, &soon, ASKED);
    bring(light, &reader, area, READY);
    light->last = *area;
    return true;
}

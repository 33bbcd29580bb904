/* Converting runs of pixels, and moving the window. */
#include "remap/light.h"

#include <stdlib.h>

#include "base/memory.h"
#include "remap/window.h"

#define ROOM_FLOATS ((size_t)1 << 20)
#define ROOM_RUNS   (ROOM_FLOATS / UF_LIGHT_RUN)
/* Keeps rows and planes from falling on the same lines of the cache. */
#define GAP_FLOATS 16

bool uf_light_serves(const UfSource *source)
{
    return source->wraps && source->over_top && source->over_bottom && source->width_px % 2 == 0;
}

bool uf_light_create(UfLight *out)
{
    *out = (UfLight){.samples = uf_alloc(ROOM_FLOATS, sizeof *out->samples),
                     .ready = uf_alloc(ROOM_RUNS, sizeof *out->ready)};
    if (out->samples != NULL && out->ready != NULL)
        return true;
    uf_light_free(out);
    return false;
}

void uf_light_free(UfLight *light)
{
    free(light->samples);
    free(light->ready);
    *light = (UfLight){0};
}

/* Where there is no table. */
UF_INLINE float light_of(const UfSource *source, const uint8_t *at, UfSample sample)
{
    const float value = (float)uf_sample_load(at, sample);
    if (sample == UF_SAMPLE_F32)
        return source->transfer == NULL ? value : uf_transfer_to_linear(source->transfer, value);
    return value / (float)uf_sample_max(sample);
}

/* A plane at a time: short loops, in which nothing has to be asked. */
UF_INLINE void convert(const UfSource *source, const uint8_t *pixel, size_t count, size_t channels,
                       UfSample sample, float *to, size_t plane_step)
{
    const bool has_alpha = channels % 2 == 0, by_table = sample != UF_SAMPLE_F32 && source->linear != NULL;
    const size_t colours = channels - has_alpha, bytes = (size_t)sample;
    const float *const linear = source->linear;
    for (size_t c = 0; c < colours; c++, to += plane_step, pixel += bytes)
        if (by_table)
            for (size_t i = 0; i < count; i++)
                to[i] = linear[uf_code_load(pixel + i * channels * bytes, sample)];
        else
            for (size_t i = 0; i < count; i++)
                to[i] = light_of(source, pixel + i * channels * bytes, sample);
    if (!has_alpha)
        return;
    for (size_t i = 0; i < count; i++)
        to[i] = (float)(uf_sample_load(pixel + i * channels * bytes, sample) / uf_sample_max(sample));
    for (size_t c = 1; c <= colours; c++)
        for (size_t i = 0; i < count; i++)
            to[i - c * plane_step] = to[i] > 0 ? to[i] * to[i - c * plane_step] : 0;
}

static void convert_any(const UfSource *source, const uint8_t *pixel, size_t count, size_t channels,
                        UfSample sample, float *to, size_t plane_step)
{
#define CASES(type)                                                                                          \
    switch (channels) {                                                                                      \
    case 1:                                                                                                  \
        convert(source, pixel, count, 1, type, to, plane_step);                                              \
        break;                                                                                               \
    case 2:                                                                                                  \
        convert(source, pixel, count, 2, type, to, plane_step);                                              \
        break;                                                                                               \
    case 3:                                                                                                  \
        convert(source, pixel, count, 3, type, to, plane_step);                                              \
        break;                                                                                               \
    default:                                                                                                 \
        convert(source, pixel, count, 4, type, to, plane_step);                                              \
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

static ptrdiff_t wrapped(ptrdiff_t value, ptrdiff_t period)
{
    const ptrdiff_t rest = value % period;
    return rest < 0 ? rest + period : rest;
}

/* Where the source has the pixel that may lie beyond its edges. */
static const uint8_t *row_of(const UfSource *source, ptrdiff_t *x, ptrdiff_t y)
{
    const ptrdiff_t width = source->width_px, height = source->height_px;
    for (y = wrapped(y, 2 * height); y >= height; y = 2 * height - 1 - y)
        *x += width / 2; /* over the pole, into the opposite meridian */
    *x = wrapped(*x, width);
    return source->data + (size_t)y * source->stride_bytes;
}

static void convert_run(const UfLight *light, const UfSource *source, UfSample sample, size_t channels,
                        ptrdiff_t x, ptrdiff_t y, float *to)
{
    const uint8_t *row = row_of(source, &x, y);
    for (size_t left = UF_LIGHT_RUN; left > 0; x = 0) {
        size_t some = (size_t)(source->width_px - x);
        some = some < left ? some : left;
        convert_any(source, row + (size_t)x * channels * (size_t)sample, some, channels, sample, to,
                    light->plane_step);
        to += some;
        left -= some;
    }
}

/* Asks for the run's lines of the cache: what is read of a row is too short for the processor to foresee
 * more. */
static void fetch_run(const UfSource *source, size_t pixel_bytes, ptrdiff_t x, ptrdiff_t y)
{
    const char *at = (const char *)row_of(source, &x, y) + (size_t)x * pixel_bytes;
    for (size_t i = 0; i <= UF_LIGHT_RUN * pixel_bytes; i += 64)
        __builtin_prefetch(at + i);
}

static bool is_inside(const UfLightArea *area, const UfLightArea *window)
{
    return area->left >= window->left && area->right <= window->right && area->top >= window->top &&
           area->bottom <= window->bottom;
}

/* Lays the window over the area; false when it is too large. */
static bool lay(UfLight *light, size_t planes, UfLightArea area)
{
    const size_t runs = ((size_t)(area.right - area.left) + UF_LIGHT_RUN - 1) / UF_LIGHT_RUN;
    const size_t rows = (size_t)(area.bottom - area.top);
    if (runs > ROOM_RUNS || rows > ROOM_RUNS)
        return false;
    const size_t plane_step = runs * UF_LIGHT_RUN + GAP_FLOATS;
    if (rows * plane_step * planes > ROOM_FLOATS)
        return false;
    area.right = area.left + (ptrdiff_t)(runs * UF_LIGHT_RUN);
    light->area = area;
    light->plane_step = plane_step;
    light->row_step = plane_step * planes;
    memset(light->ready, 0, rows * runs);
    return true;
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

bool uf_light_take(UfLight *light, const UfSource *source, UfSample sample, size_t channels,
                   UfLightArea *area)
{
    turn(area, &light->area, source->width_px);
    if (!is_inside(area, &light->area)) {
        turn(area, &light->ahead, source->width_px);
        if (!lay(light, channels, both(*area, &light->ahead)) && !lay(light, channels, *area))
            return false;
    }
    const size_t runs = (size_t)(light->area.right - light->area.left) / UF_LIGHT_RUN;
    const size_t first = (size_t)(area->left - light->area.left) / UF_LIGHT_RUN,
                 last = (size_t)(area->right - 1 - light->area.left) / UF_LIGHT_RUN;
    for (int convert = 0; convert < 2; convert++)
        for (ptrdiff_t y = area->top; y < area->bottom; y++) {
            const size_t row = (size_t)(y - light->area.top);
            uint8_t *ready = light->ready + row * runs;
            for (size_t run = first; run <= last; run++) {
                const ptrdiff_t x = light->area.left + (ptrdiff_t)(run * UF_LIGHT_RUN);
                if (ready[run])
                    continue;
                if (!convert) {
                    fetch_run(source, channels * (size_t)sample, x, y);
                    continue;
                }
                convert_run(light, source, sample, channels, x, y,
                            light->samples + row * light->row_step + run * UF_LIGHT_RUN);
                ready[run] = 1;
            }
        }
    return true;
}

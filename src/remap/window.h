/*
 * The square of source pixels that a kernel reads: straight from the picture inside it, gathered round the
 * edges. Every sample is a double between 0 and its type's maximum.
 */
#ifndef UF_REMAP_WINDOW_H
#define UF_REMAP_WINDOW_H

#include <string.h>

#include "remap/source.h"

#define UF_INLINE static inline __attribute__((always_inline))

/* Brought into 0 .. period - 1 by whole periods. */
UF_INLINE ptrdiff_t uf_wrapped(ptrdiff_t value, ptrdiff_t period)
{
    const ptrdiff_t rest = value % period;
    return rest < 0 ? rest + period : rest;
}

#define UF_TAPS_MAX        4
#define UF_WINDOW_TAPS_MAX 6

/* A view of taps x taps pixels: row r begins at base + r * stride_bytes. */
typedef struct UfWindow {
    const uint8_t *base;
    size_t stride_bytes;
} UfWindow;

/* Room for the pixels of a window that crosses an edge. */
typedef struct UfWindowRoom {
    _Alignas(16) uint8_t bytes[sizeof(float) * UF_WINDOW_TAPS_MAX * UF_WINDOW_TAPS_MAX * UF_CHANNELS_MAX];
} UfWindowRoom;

/* The slow way: pixel by pixel, with the edges' rules. */
UfWindow uf_window_gather(const UfSource *source, ptrdiff_t x, ptrdiff_t y, int taps, size_t channels,
                          UfSample sample, UfWindowRoom *room);

UF_INLINE UfWindow uf_window_at(const UfSource *source, ptrdiff_t x, ptrdiff_t y, int taps, size_t channels,
                                UfSample sample, UfWindowRoom *room)
{
    if (x >= 0 && y >= 0 && x + taps <= source->width_px && y + taps <= source->height_px) {
        size_t offset = (size_t)y * source->stride_bytes + (size_t)x * channels * (size_t)sample;
        return (UfWindow){source->data + offset, source->stride_bytes};
    }
    return uf_window_gather(source, x, y, taps, channels, sample, room);
}

UF_INLINE double uf_sample_max(UfSample sample)
{
    return sample == UF_SAMPLE_U8 ? 255.0 : sample == UF_SAMPLE_U16 ? 65535.0 : 1.0;
}

/* U8 and U16 only. */
UF_INLINE int uf_code_load(const uint8_t *at, UfSample sample)
{
    uint16_t code;
    if (sample == UF_SAMPLE_U8)
        return *at;
    memcpy(&code, at, sizeof code);
    return code;
}

UF_INLINE double uf_sample_load(const uint8_t *at, UfSample sample)
{
    if (sample == UF_SAMPLE_U8)
        return *at;
    if (sample == UF_SAMPLE_U16) {
        uint16_t code;
        memcpy(&code, at, sizeof code);
        return code;
    }
    float value;
    memcpy(&value, at, sizeof value);
    return (double)value;
}

UF_INLINE void uf_sample_store(uint8_t *at, double value, UfSample sample)
{
    if (sample == UF_SAMPLE_F32) {
        float stored = (float)value;
        memcpy(at, &stored, sizeof stored);
        return;
    }
    double max = uf_sample_max(sample);
    value = value > 0 ? value : 0;
    value = value < max ? value : max;
    uint16_t code = (uint16_t)(int)(value + 0.5);
    if (sample == UF_SAMPLE_U8)
        *at = (uint8_t)code;
    else
        memcpy(at, &code, sizeof code);
}

/* floor(value) for values above -2^20: the library's floor is a call on the oldest machines. */
UF_INLINE ptrdiff_t uf_floor_index(double value)
{
    return (ptrdiff_t)(value + 1048576.0) - 1048576;
}

#endif

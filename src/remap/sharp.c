/* The scalar sharp kernels, written once for all sample types and channels. */
#include "remap/sharp.h"

#include <math.h>

#include "remap/gathered.h"
#include "remap/plain.h"
#include "remap/spline.h"

/* The spline's value in every channel, in the source's units, colours premultiplied. */
UF_INLINE void spline_at(const UfSource *source, ptrdiff_t x, ptrdiff_t y, double tx, double ty,
                         size_t channels, UfSample kept, float *values)
{
    double weights_x[UF_SPLINE_TAPS], weights_y[UF_SPLINE_TAPS];
    float wx[UF_SPLINE_TAPS], wy[UF_SPLINE_TAPS];
    float columns[UF_SPLINE_TAPS * UF_CHANNELS_MAX];
    UfWindowRoom room;
    UfWindow window = uf_window_at(source->spline, x - 2, y - 2, UF_SPLINE_TAPS, channels, kept, &room);
    uf_spline_weights(tx, weights_x);
    uf_spline_weights(ty, weights_y);
    for (size_t k = 0; k < UF_SPLINE_TAPS; k++) {
        wx[k] = (float)weights_x[k];
        wy[k] = (float)weights_y[k];
    }
    for (size_t i = 0; i < UF_SPLINE_TAPS * channels; i++)
        columns[i] = 0;
    for (size_t r = 0; r < UF_SPLINE_TAPS; r++) {
        const uint8_t *row = window.base + r * window.stride_bytes;
#pragma omp simd
        for (size_t i = 0; i < UF_SPLINE_TAPS * channels; i++) {
            if (kept == UF_SAMPLE_F32)
                columns[i] += wy[r] * ((const float *)(const void *)row)[i];
            else
                columns[i] += wy[r] * (float)((const uint16_t *)(const void *)row)[i];
        }
    }
    for (size_t c = 0; c < channels; c++) {
        float sum = 0;
        for (size_t k = 0; k < UF_SPLINE_TAPS; k++)
            sum += wx[k] * columns[k * channels + c];
        if (kept != UF_SAMPLE_F32)
            sum = (sum - UF_SPLINE_CODE_ZERO) * (1 / UF_SPLINE_CODE_STEPS) + UF_SPLINE_CODE_GREY;
        values[c] = sum;
    }
}

/* The range of what is there: colours where alpha is above 0, alpha everywhere. */
UF_INLINE void range_at(const UfSource *source, ptrdiff_t x, ptrdiff_t y, size_t channels, UfSample sample,
                        float *lowest, float *highest)
{
    const bool has_alpha = channels % 2 == 0;
    const ptrdiff_t apart = uf_spread_at(source, y);
    for (size_t c = 0; c < channels; c++) {
        lowest[c] = INFINITY;
        highest[c] = -INFINITY;
    }
    for (int r = -1; r < UF_SHARP_NEAR - 1; r++)
        for (int k = -1; k < UF_SHARP_NEAR - 1; k++) {
            UfWindowRoom room;
            UfWindow pixel = uf_window_at(source, x + k * apart, y + r, 1, channels, sample, &room);
            bool seen =
                !has_alpha || uf_sample_load(pixel.base + (channels - 1) * (size_t)sample, sample) > 0;
            for (size_t c = seen ? 0 : channels - 1; c < channels; c++) {
                float value = (float)uf_sample_load(pixel.base + c * (size_t)sample, sample);
                lowest[c] = value < lowest[c] ? value : lowest[c];
                highest[c] = value > highest[c] ? value : highest[c];
            }
        }
}

UF_INLINE void sharp_pixel(const UfSource *source, double x_px, double y_px, size_t channels, UfSample sample,
                           bool adds_alpha, uint8_t *out)
{
    double x = x_px - 0.5, y = y_px - 0.5;
    ptrdiff_t ix = uf_floor_index(x), iy = uf_floor_index(y);
    double tx = x - (double)ix, ty = y - (double)iy;
    if (tx == 0 && ty == 0) {
        UfWindowRoom room;
        UfWindow window = uf_window_at(source, ix, iy, 1, channels, sample, &room);
        uf_copy_pixel(window.base, channels, sample, adds_alpha, out);
        return;
    }
    UfGathered at;
    spline_at(source, ix, iy, tx, ty, channels, uf_spline_sample(sample, channels), at.values);
    range_at(source, ix, iy, channels, sample, at.lowest, at.highest);
    double cover = channels % 2 == 0 || adds_alpha ? uf_coverage(source, x_px, y_px) : 1;
    uf_store_gathered(&at, cover, channels, sample, adds_alpha, out);
}

UF_INLINE void sharp_run(const UfSource *source, const double *x_px, const double *y_px, size_t count,
                         size_t channels, UfSample sample, bool adds_alpha, uint8_t *out)
{
    const size_t pixel_bytes = (channels + adds_alpha) * (size_t)sample;
    for (size_t i = 0; i < count; i++, out += pixel_bytes)
        if (uf_is_seen(source, x_px[i], y_px[i]))
            sharp_pixel(source, x_px[i], y_px[i], channels, sample, adds_alpha, out);
        else
            memset(out, 0, pixel_bytes);
}

#define NAME(kind, type, channels, adds) kind##_##type##_##channels##_##adds
#define DEFINE(type, channels, adds)                                                                         \
    static void NAME(sharp, type, channels, adds)(const UfSource *source, const double *x_px,                \
                                                  const double *y_px, size_t count, void *out)               \
    {                                                                                                        \
        sharp_run(source, x_px, y_px, count, channels, UF_SAMPLE_##type, adds, out);                         \
    }
#define DEFINE_TYPE(type)                                                                                    \
    DEFINE(type, 1, 0)                                                                                       \
    DEFINE(type, 2, 0)                                                                                       \
    DEFINE(type, 3, 0)                                                                                       \
    DEFINE(type, 4, 0)                                                                                       \
    DEFINE(type, 1, 1)                                                                                       \
    DEFINE(type, 3, 1)

DEFINE_TYPE(U8)
DEFINE_TYPE(U16)
DEFINE_TYPE(F32)

/* [uf_table_row][channels - 1][adds alpha]; a picture that has alpha gets no second one. */
#define ENTRIES(type)                                                                                        \
    {                                                                                                        \
        {NAME(sharp, type, 1, 0), NAME(sharp, type, 1, 1)},                                                  \
            {NAME(sharp, type, 2, 0), NAME(sharp, type, 2, 0)},                                              \
            {NAME(sharp, type, 3, 0), NAME(sharp, type, 3, 1)},                                              \
            {NAME(sharp, type, 4, 0), NAME(sharp, type, 4, 0)},                                              \
    }
static UfSampleRun *const scalar[3][UF_CHANNELS_MAX][2] = {ENTRIES(U8), ENTRIES(U16), ENTRIES(F32)};

UfSampleRun *uf_sharp_run(UfSample sample, size_t channels, bool adds_alpha)
{
    return scalar[uf_table_row(sample)][channels - 1][adds_alpha];
}

/* Rows of a picture as floats. Without alpha a row is one run of samples, which the compiler makes quick. */
#include "patch/rows.h"

#include <string.h>

#include "patch/four.h"

size_t uf_colour_channels(const UfPicture *picture)
{
    return uf_picture_channels(picture) >= 3 ? 3 : 1;
}

UF_FOUR_INLINE void load_run(const void *row, size_t first, UfSample sample, size_t count, float *out)
{
    const uint8_t *u8 = (const uint8_t *)row + first;
    const uint16_t *u16 = (const uint16_t *)row + first;
    if (sample == UF_SAMPLE_U8) {
#pragma omp simd
        for (size_t i = 0; i < count; i++)
            out[i] = (float)u8[i] / 255.0F;
    } else if (sample == UF_SAMPLE_U16) {
#pragma omp simd
        for (size_t i = 0; i < count; i++)
            out[i] = (float)u16[i] / 65535.0F;
    } else {
        memcpy(out, (const float *)row + first, count * sizeof *out);
    }
}

/* 0..max, NaN becomes 0 */
static inline int32_t code_of(float value, float max)
{
    float scaled = value * max + 0.5F;
    scaled = scaled > 0 ? scaled : 0;
    return (int32_t)(scaled < max ? scaled : max);
}

UF_FOUR_INLINE void store_run(void *row, size_t first, UfSample sample, size_t count, const float *values)
{
    uint8_t *u8 = (uint8_t *)row + first;
    uint16_t *u16 = (uint16_t *)row + first;
    if (sample == UF_SAMPLE_U8) {
#pragma omp simd
        for (size_t i = 0; i < count; i++)
            u8[i] = (uint8_t)code_of(values[i], 255.0F);
    } else if (sample == UF_SAMPLE_U16) {
#pragma omp simd
        for (size_t i = 0; i < count; i++)
            u16[i] = (uint16_t)code_of(values[i], 65535.0F);
    } else {
        memcpy((float *)row + first, values, count * sizeof *values);
    }
}

UF_CLONES static void load(const UfPicture *picture, size_t y_px, size_t x0_px, size_t count, float *colour,
                           float *alpha)
{
    const void *row = uf_picture_row_const(picture, y_px);
    UfSample sample = uf_picture_sample(picture);
    size_t channels = uf_picture_channels(picture), colours = uf_colour_channels(picture);
    if (channels == colours)
        load_run(row, x0_px * colours, sample, count * colours, colour);
    for (size_t x = 0; channels > colours && x < count; x++)
        load_run(row, (x0_px + x) * channels, sample, colours, colour + x * colours);
    for (size_t x = 0; alpha != NULL && x < count; x++) {
        alpha[x] = 1;
        if (channels > colours)
            load_run(row, (x0_px + x) * channels + colours, sample, 1, alpha + x);
    }
}

UF_CLONES static void store(UfPicture *picture, size_t y_px, size_t x0_px, size_t count, const float *colour,
                            const float *alpha)
{
    void *row = uf_picture_row(picture, y_px);
    UfSample sample = uf_picture_sample(picture);
    size_t channels = uf_picture_channels(picture), colours = uf_colour_channels(picture);
    if (channels == colours)
        store_run(row, x0_px * colours, sample, count * colours, colour);
    for (size_t x = 0; channels > colours && x < count; x++) {
        store_run(row, (x0_px + x) * channels, sample, colours, colour + x * colours);
        store_run(row, (x0_px + x) * channels + colours, sample, 1, alpha + x);
    }
}

void uf_run_load(const UfPicture *picture, size_t y_px, size_t x0_px, size_t count, float *colour,
                 float *alpha)
{
    load(picture, y_px, x0_px, count, colour, alpha);
}

void uf_run_store(UfPicture *picture, size_t y_px, size_t x0_px, size_t count, const float *colour,
                  const float *alpha)
{
    store(picture, y_px, x0_px, count, colour, alpha);
}

void uf_row_load(const UfPicture *picture, size_t y_px, float *colour, float *alpha)
{
    load(picture, y_px, 0, uf_picture_width_px(picture), colour, alpha);
}

void uf_row_store(UfPicture *picture, size_t y_px, const float *colour, const float *alpha)
{
    store(picture, y_px, 0, uf_picture_width_px(picture), colour, alpha);
}

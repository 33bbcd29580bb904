/* Rows of a picture as floats. */
#include "patch/rows.h"

#include <math.h>

size_t uf_colour_channels(const UfPicture *picture)
{
    return uf_picture_channels(picture) >= 3 ? 3 : 1;
}

static float sample_load(const void *row, size_t index, UfSample sample)
{
    if (sample == UF_SAMPLE_U8)
        return (float)((const uint8_t *)row)[index] / 255.0F;
    if (sample == UF_SAMPLE_U16)
        return (float)((const uint16_t *)row)[index] / 65535.0F;
    return ((const float *)row)[index];
}

/* 0..max, NaN becomes 0 */
static unsigned code_of(float value, float max)
{
    float scaled = value * max + 0.5F;
    if (!(scaled > 0))
        return 0;
    return scaled >= max ? (unsigned)max : (unsigned)scaled;
}

static void sample_store(void *row, size_t index, UfSample sample, float value)
{
    if (sample == UF_SAMPLE_U8)
        ((uint8_t *)row)[index] = (uint8_t)code_of(value, 255.0F);
    else if (sample == UF_SAMPLE_U16)
        ((uint16_t *)row)[index] = (uint16_t)code_of(value, 65535.0F);
    else
        ((float *)row)[index] = value;
}

void uf_row_load(const UfPicture *picture, size_t y_px, float *colour, float *alpha)
{
    const void *row = uf_picture_row_const(picture, y_px);
    UfSample sample = uf_picture_sample(picture);
    size_t width = uf_picture_width_px(picture);
    size_t channels = uf_picture_channels(picture);
    size_t colours = uf_colour_channels(picture);
    for (size_t x = 0; x < width; x++)
        for (size_t c = 0; c < colours; c++)
            colour[x * colours + c] = sample_load(row, x * channels + c, sample);
    if (alpha == NULL)
        return;
    for (size_t x = 0; x < width; x++)
        alpha[x] = channels > colours ? sample_load(row, x * channels + colours, sample) : 1.0F;
}

void uf_row_store(UfPicture *picture, size_t y_px, const float *colour, const float *alpha)
{
    void *row = uf_picture_row(picture, y_px);
    UfSample sample = uf_picture_sample(picture);
    size_t width = uf_picture_width_px(picture);
    size_t channels = uf_picture_channels(picture);
    size_t colours = uf_colour_channels(picture);
    for (size_t x = 0; x < width; x++) {
        for (size_t c = 0; c < colours; c++)
            sample_store(row, x * channels + c, sample, colour[x * colours + c]);
        if (channels > colours)
            sample_store(row, x * channels + colours, sample, alpha[x]);
    }
}

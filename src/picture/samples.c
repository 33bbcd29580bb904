/* Rows in another sample type: what a format with fewer bits (or more) is given. */
#include "picture/picture_internal.h"

#include <math.h>

#include "picture/samples.h"

/* The sRGB curve, IEC 61966-2-1:1999 (constants second-hand; the standard was not opened). */
static float srgb_encode(float linear)
{
    return linear <= 0.0031308f ? 12.92f * linear : 1.055f * powf(linear, 1.0f / 2.4f) - 0.055f;
}

/* 0..1 to 0..max, rounded; values outside and NaN are clipped. */
static unsigned quantise(float value, unsigned max)
{
    if (!(value > 0))
        return 0;
    return value >= 1 ? max : (unsigned)(value * (float)max + 0.5f);
}

static void float_row(const UfPicture *picture, const float *in, UfSample sample, void *out)
{
    size_t count = picture->width_px * picture->channels;
    bool linear = picture->metadata.icc.size_bytes == 0;
    unsigned max = sample == UF_SAMPLE_U8 ? 255 : 65535;
    for (size_t i = 0; i < count; i++) {
        bool is_alpha = picture->channels % 2 == 0 && i % picture->channels == picture->channels - 1;
        unsigned code = quantise(linear && !is_alpha ? srgb_encode(in[i]) : in[i], max);
        if (sample == UF_SAMPLE_U8)
            ((uint8_t *)out)[i] = (uint8_t)code;
        else
            ((uint16_t *)out)[i] = (uint16_t)code;
    }
}

void uf_row_as(const UfPicture *picture, size_t y_px, UfSample sample, void *out)
{
    const void *in = uf_picture_row_const(picture, y_px);
    size_t count = picture->width_px * picture->channels;
    if (sample == picture->sample)
        memcpy(out, in, picture->stride_bytes);
    else if (picture->sample == UF_SAMPLE_F32)
        float_row(picture, in, sample, out);
    else if (picture->sample == UF_SAMPLE_U16 && sample == UF_SAMPLE_U8)
        for (size_t i = 0; i < count; i++)
            ((uint8_t *)out)[i] = (uint8_t)((((const uint16_t *)in)[i] * 255u + 32767u) / 65535u);
    else if (picture->sample == UF_SAMPLE_U8 && sample == UF_SAMPLE_U16)
        for (size_t i = 0; i < count; i++)
            ((uint16_t *)out)[i] = (uint16_t)(((const uint8_t *)in)[i] * 257u);
}

UfStatus uf_picture_as(const UfPicture *picture, UfSample sample, UfPicture **out, UfReport *report)
{
    UfPicture *result = NULL;
    UfStatus status =
        uf_picture_create(picture->width_px, picture->height_px, picture->channels, sample, &result, report);
    if (status == UF_OK)
        status = uf_blob_set(&result->metadata.icc, picture->metadata.icc.data,
                             picture->metadata.icc.size_bytes, report);
    if (status != UF_OK) {
        uf_picture_free(&result);
        return status;
    }
    for (size_t y = 0; y < picture->height_px; y++)
        uf_row_as(picture, y, sample, result->data + y * result->stride_bytes);
    *out = result;
    return UF_OK;
}

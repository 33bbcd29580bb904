/* Samples of any type as levels of 255, and pixels compared as they are stored. */
#ifndef UF_CHECK_LEVEL_H
#define UF_CHECK_LEVEL_H

#include <math.h>

#include <underfoot/picture.h>

#include "base/banned.h"

/* The parts of a picture that the checks look at again and again. */
typedef struct UfPixels {
    const UfPicture *picture;
    size_t width_px, height_px, channels, colours; /* colours: channels without alpha */
    size_t pixel_bytes, colour_bytes;
    UfSample sample;
    bool has_alpha;
} UfPixels;

static inline UfPixels uf_pixels_of(const UfPicture *picture)
{
    size_t channels = uf_picture_channels(picture);
    bool has_alpha = uf_picture_has_alpha(picture);
    UfSample sample = uf_picture_sample(picture);
    return (UfPixels){
        .picture = picture,
        .width_px = uf_picture_width_px(picture),
        .height_px = uf_picture_height_px(picture),
        .channels = channels,
        .colours = has_alpha ? channels - 1 : channels,
        .pixel_bytes = channels * (size_t)sample,
        .colour_bytes = (has_alpha ? channels - 1 : channels) * (size_t)sample,
        .sample = sample,
        .has_alpha = has_alpha,
    };
}

static inline const uint8_t *uf_pixel_at(const UfPixels *pixels, size_t x_px, size_t y_px)
{
    return (const uint8_t *)uf_picture_row_const(pixels->picture, y_px) + x_px * pixels->pixel_bytes;
}

/*
 * Sample number `channel` of a pixel in levels of 255. Float samples are linear light; the square root stands
 * for the sRGB curve, near enough for thresholds.
 */
static inline double uf_level(const UfPixels *pixels, const uint8_t *pixel, size_t channel)
{
    uint16_t whole;
    float real;
    switch (pixels->sample) {
    case UF_SAMPLE_U8:
        return pixel[channel];
    case UF_SAMPLE_U16:
        memcpy(&whole, pixel + channel * sizeof whole, sizeof whole);
        return whole / 257.0;
    case UF_SAMPLE_F32:
    default:
        memcpy(&real, pixel + channel * sizeof real, sizeof real);
        return real > 0 ? 255 * sqrt((double)real) : 0;
    }
}

/* Alpha in levels of 255, linear in every sample type; 255 without alpha. */
static inline double uf_alpha_level(const UfPixels *pixels, const uint8_t *pixel)
{
    if (!pixels->has_alpha)
        return 255;
    double level = uf_level(pixels, pixel, pixels->colours);
    return pixels->sample == UF_SAMPLE_F32 ? level * level / 255 : level;
}

static inline bool uf_is_transparent(const UfPixels *pixels, const uint8_t *pixel)
{
    return pixels->has_alpha && uf_alpha_level(pixels, pixel) <= 0;
}

static inline bool uf_same_colour(const UfPixels *pixels, const uint8_t *a, const uint8_t *b)
{
    return memcmp(a, b, pixels->colour_bytes) == 0;
}

/* Largest difference of a colour sample. */
static inline double uf_level_difference(const UfPixels *pixels, const uint8_t *a, const uint8_t *b)
{
    double largest = 0;
    for (size_t k = 0; k < pixels->colours; k++)
        largest = fmax(largest, fabs(uf_level(pixels, a, k) - uf_level(pixels, b, k)));
    return largest;
}

#endif

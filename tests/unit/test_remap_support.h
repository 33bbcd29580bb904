/* Pictures for the remap tests: made from formulas or noise, compared sample by sample. */
#ifndef TEST_REMAP_SUPPORT_H
#define TEST_REMAP_SUPPORT_H

#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include <underfoot/remap.h>

static const UfSample all_samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};

static inline UfPicture *make_picture(size_t width_px, size_t height_px, size_t channels, UfSample sample)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width_px, height_px, channels, sample, &picture, NULL), UF_OK);
    return picture;
}

static inline double get(const UfPicture *picture, size_t x, size_t y, size_t c)
{
    size_t at = x * uf_picture_channels(picture) + c;
    const void *row = uf_picture_row_const(picture, y);
    switch (uf_picture_sample(picture)) {
    case UF_SAMPLE_U8:
        return ((const uint8_t *)row)[at];
    case UF_SAMPLE_U16:
        return ((const uint16_t *)row)[at];
    default:
        return (double)((const float *)row)[at];
    }
}

static inline void set(UfPicture *picture, size_t x, size_t y, size_t c, double value)
{
    size_t at = x * uf_picture_channels(picture) + c;
    void *row = uf_picture_row(picture, y);
    switch (uf_picture_sample(picture)) {
    case UF_SAMPLE_U8:
        ((uint8_t *)row)[at] = (uint8_t)value;
        break;
    case UF_SAMPLE_U16:
        ((uint16_t *)row)[at] = (uint16_t)value;
        break;
    default:
        ((float *)row)[at] = (float)value;
        break;
    }
}

static inline double sample_max(UfSample sample)
{
    return sample == UF_SAMPLE_U8 ? 255 : sample == UF_SAMPLE_U16 ? 65535 : 1;
}

static inline void fill(UfPicture *picture, const double *pixel)
{
    for (size_t y = 0; y < uf_picture_height_px(picture); y++)
        for (size_t x = 0; x < uf_picture_width_px(picture); x++)
            for (size_t c = 0; c < uf_picture_channels(picture); c++)
                set(picture, x, y, c, pixel[c]);
}

/* A fixed stream of noise (Numerical Recipes' linear congruence). */
static inline double noise(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (double)(*state >> 8) / 16777216.0;
}

static inline void fill_noise(UfPicture *picture, uint32_t seed)
{
    UfSample sample = uf_picture_sample(picture);
    double max = sample_max(sample);
    for (size_t y = 0; y < uf_picture_height_px(picture); y++)
        for (size_t x = 0; x < uf_picture_width_px(picture); x++)
            for (size_t c = 0; c < uf_picture_channels(picture); c++) {
                double value = noise(&seed) * max;
                set(picture, x, y, c, sample == UF_SAMPLE_F32 ? value : floor(value + 0.5));
            }
}

static inline UfPicture *remap(const UfPicture *source, const UfView *from, const UfView *to,
                               const UfRemapOptions *options)
{
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    UfStatus status = uf_remap(source, from, to, options, &out, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return out;
}

/* Largest difference of any sample; both pictures have the same shape. */
static inline double largest_difference(const UfPicture *a, const UfPicture *b)
{
    double largest = 0;
    cr_assert_eq(uf_picture_width_px(a), uf_picture_width_px(b));
    cr_assert_eq(uf_picture_height_px(a), uf_picture_height_px(b));
    cr_assert_eq(uf_picture_channels(a), uf_picture_channels(b));
    for (size_t y = 0; y < uf_picture_height_px(a); y++)
        for (size_t x = 0; x < uf_picture_width_px(a); x++)
            for (size_t c = 0; c < uf_picture_channels(a); c++)
                largest = fmax(largest, fabs(get(a, x, y, c) - get(b, x, y, c)));
    return largest;
}

static inline bool same_bytes(const UfPicture *a, const UfPicture *b)
{
    size_t bytes = uf_picture_width_px(a) * uf_picture_channels(a) * (size_t)uf_picture_sample(a);
    for (size_t y = 0; y < uf_picture_height_px(a); y++)
        if (memcmp(uf_picture_row_const(a, y), uf_picture_row_const(b, y), bytes) != 0)
            return false;
    return true;
}

#endif

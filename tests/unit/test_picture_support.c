#include "test_picture_support.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

/* A linear congruential generator (Numerical Recipes, 2nd ed., 7.1): the same noise everywhere. */
static unsigned next_random(unsigned *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

Pixels noise_make(size_t width, size_t height, size_t channels, unsigned bits, unsigned seed)
{
    Pixels pixels = {.width = width, .height = height, .channels = channels, .bits = bits};
    size_t count = width * height * channels;
    unsigned state = seed * 7919u + 1u, max = bits == 8 ? 255 : 65535;
    pixels.codes = calloc(count, sizeof *pixels.codes);
    pixels.values = bits == 32 ? calloc(count, sizeof *pixels.values) : NULL;
    cr_assert(pixels.codes != NULL && (bits != 32 || pixels.values != NULL));
    for (size_t i = 0; i < count; i++) {
        size_t x = i / channels % width, y = i / channels / width;
        unsigned noise = next_random(&state) % (max / 4);
        unsigned code = (unsigned)((x + y) * (max / 2) / (width + height)) + noise;
        if (channels % 2 == 0 && i % channels == channels - 1)
            code = noise % 3 == 0 ? 0 : noise % 3 == 1 ? max : noise * 4;
        pixels.codes[i] = (uint16_t)code;
        if (bits == 32)
            pixels.values[i] = (float)code / 65535.0f;
    }
    return pixels;
}

UfPicture *picture_of(const Pixels *pixels)
{
    UfPicture *picture = NULL;
    UfSample sample = pixels->bits == 8 ? UF_SAMPLE_U8 : pixels->bits == 16 ? UF_SAMPLE_U16 : UF_SAMPLE_F32;
    cr_assert_eq(uf_picture_create(pixels->width, pixels->height, pixels->channels, sample, &picture, NULL),
                 UF_OK);
    for (size_t y = 0; y < pixels->height; y++) {
        void *row = uf_picture_row(picture, y);
        for (size_t i = 0; i < pixels->width * pixels->channels; i++) {
            size_t at = y * pixels->width * pixels->channels + i;
            if (pixels->bits == 8)
                ((uint8_t *)row)[i] = (uint8_t)pixels->codes[at];
            else if (pixels->bits == 16)
                ((uint16_t *)row)[i] = pixels->codes[at];
            else
                ((float *)row)[i] = pixels->values[at];
        }
    }
    return picture;
}

UfPicture *picture_read(const char *path)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    UfStatus status = uf_picture_read(path, NULL, &picture, report);
    cr_assert_eq(status, UF_OK, "%s: %s", path, uf_report_error(report));
    uf_report_free(&report);
    return picture;
}

void assert_samples(const UfPicture *picture, const Pixels *pixels, unsigned tolerance, const char *what)
{
    cr_assert_eq(uf_picture_width_px(picture), pixels->width, "%s", what);
    cr_assert_eq(uf_picture_height_px(picture), pixels->height, "%s", what);
    cr_assert_eq(uf_picture_channels(picture), pixels->channels, "%s", what);
    cr_assert_eq((unsigned)uf_picture_sample(picture) * 8, pixels->bits, "%s", what);
    for (size_t y = 0; y < pixels->height; y++)
        for (size_t i = 0; i < pixels->width * pixels->channels; i++) {
            const void *row = uf_picture_row_const(picture, y);
            size_t at = y * pixels->width * pixels->channels + i;
            if (pixels->bits == 32) {
                cr_assert_eq(((const float *)row)[i], pixels->values[at], "%s: row %zu, sample %zu", what, y,
                             i);
                continue;
            }
            int code = pixels->bits == 8 ? ((const uint8_t *)row)[i] : ((const uint16_t *)row)[i];
            unsigned difference = (unsigned)abs(code - (int)pixels->codes[at]);
            cr_assert(difference <= tolerance, "%s: row %zu, sample %zu: %d, not %u", what, y, i, code,
                      pixels->codes[at]);
        }
}

UfTouched *touched_of(const UfPicture *picture)
{
    UfTouched *touched = NULL;
    cr_assert_eq(
        uf_touched_create(uf_picture_width_px(picture), uf_picture_height_px(picture), &touched, NULL),
        UF_OK);
    return touched;
}

void picture_change(UfPicture *picture, UfTouched *touched, size_t x0, size_t y0, size_t x1, size_t y1)
{
    size_t channels = uf_picture_channels(picture);
    unsigned state = 99;
    for (size_t y = y0; y < y1; y++)
        for (size_t i = x0 * channels; i < x1 * channels; i++) {
            unsigned code = next_random(&state) & 0xFFFF;
            void *row = uf_picture_row(picture, y);
            if (uf_picture_sample(picture) == UF_SAMPLE_U8)
                ((uint8_t *)row)[i] = (uint8_t)(code >> 8);
            else if (uf_picture_sample(picture) == UF_SAMPLE_U16)
                ((uint16_t *)row)[i] = (uint16_t)code;
            else
                ((float *)row)[i] = (float)code / 65535.0f;
        }
    uf_touched_add(touched, x0, y0, x1, y1);
}

void stored_place(int orientation, size_t width, size_t height, size_t x, size_t y, size_t *stored_x,
                  size_t *stored_y)
{
    size_t from_right = width - 1 - x, from_bottom = height - 1 - y;
    /* row 0 / column 0: 1 top/left, 2 top/right, 3 bottom/right, 4 bottom/left, 5 left/top, 6 right/top,
     * 7 right/bottom, 8 left/bottom */
    const size_t column[9] = {0, x, from_right, from_right, x, y, y, from_bottom, from_bottom};
    const size_t row[9] = {0, y, y, from_bottom, from_bottom, x, from_right, from_right, x};
    *stored_x = column[orientation];
    *stored_y = row[orientation];
}

void exif_make(int orientation, uint8_t exif[EXIF_BYTES])
{
    static const uint8_t start[EXIF_BYTES] = {'E', 'x', 'i', 'f', 0, 0, 'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1,
                                              1,   18,  0,   3,   0, 0, 0,   1,   0, 0,  0, 0, 0, 0, 0, 0};
    memcpy(exif, start, EXIF_BYTES);
    exif[25] = (uint8_t)orientation;
}

/* PNG through libpng; an error of its own ends the test. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <png.h>

#include "support/pictures.h"
#include "support/pictures_formats.h"

static void on_error(png_structp png, png_const_charp text)
{
    (void)png;
    cr_assert_fail("libpng: %s", text);
}

static void on_warning(png_structp png, png_const_charp text)
{
    (void)png;
    (void)text;
}

static int colour_type(size_t channels)
{
    static const int types[] = {0, PNG_COLOR_TYPE_GRAY, PNG_COLOR_TYPE_GRAY_ALPHA, PNG_COLOR_TYPE_RGB,
                                PNG_COLOR_TYPE_RGB_ALPHA};
    return types[channels];
}

/* 6 x 6 x 6 colours. */
static void set_palette(png_structp png, png_infop info)
{
    png_color palette[216];
    for (int i = 0; i < 216; i++)
        palette[i] = (png_color){(png_byte)(i / 36 * 51), (png_byte)(i / 6 % 6 * 51), (png_byte)(i % 6 * 51)};
    png_set_PLTE(png, info, palette, 216);
}

static void set_extras(png_structp png, png_infop info, const PngOptions *options)
{
    if (options->icc != NULL)
        png_set_iCCP(png, info, "profile", 0, options->icc, (png_uint_32)options->icc_bytes);
    if (options->xmp == NULL)
        return;
    char key[] = "XML:com.adobe.xmp";
    char nothing[] = "";
    char *packet = strdup(options->xmp);
    cr_assert_not_null(packet);
    png_text text = {.compression = PNG_ITXT_COMPRESSION_NONE,
                     .key = key,
                     .text = packet,
                     .itxt_length = strlen(packet),
                     .lang = nothing,
                     .lang_key = nothing};
    png_set_text(png, info, &text, 1);
    free(packet);
}

static void pack_row(const Pixels *pixels, bool palette, size_t y, png_byte *row)
{
    size_t samples = pixels->width * pixels->channels;
    const uint16_t *codes = pixels->codes + y * samples;
    for (size_t x = 0; palette && x < pixels->width; x++) {
        const uint16_t *at = codes + x * pixels->channels;
        row[x] = (png_byte)((at[0] + 25) / 51 * 36 + (at[1] + 25) / 51 * 6 + (at[2] + 25) / 51);
    }
    for (size_t i = 0; !palette && i < samples; i++) {
        if (pixels->bits == 8) {
            row[i] = (png_byte)codes[i];
        } else {
            row[2 * i] = (png_byte)(codes[i] >> 8);
            row[2 * i + 1] = (png_byte)(codes[i] & 0xff);
        }
    }
}

void png_write(const char *path, const Pixels *pixels, const PngOptions *options)
{
    static const PngOptions defaults;
    const PngOptions *chosen = options != NULL ? options : &defaults;
    FILE *stream = fopen(path, "wb");
    cr_assert_not_null(stream);
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, on_error, on_warning);
    png_infop info = png_create_info_struct(png);
    png_init_io(png, stream);
    png_set_IHDR(png, info, (png_uint_32)pixels->width, (png_uint_32)pixels->height, (int)pixels->bits,
                 chosen->palette ? PNG_COLOR_TYPE_PALETTE : colour_type(pixels->channels),
                 chosen->interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    if (chosen->palette)
        set_palette(png, info);
    set_extras(png, info, chosen);
    if (chosen->level != 0)
        png_set_compression_level(png, chosen->level % 10);
    if (chosen->strategy != 0)
        png_set_compression_strategy(png, chosen->strategy);
    if (chosen->memory_level != 0)
        png_set_compression_mem_level(png, chosen->memory_level);
    if (chosen->chunk_bytes != 0)
        png_set_compression_buffer_size(png, chosen->chunk_bytes);
    size_t row_bytes = pixels->width * pixels->channels * 2;
    png_byte *all = calloc(pixels->height, row_bytes);
    png_byte **rows = calloc(pixels->height, sizeof *rows);
    cr_assert(all != NULL && rows != NULL);
    for (size_t y = 0; y < pixels->height; y++) {
        rows[y] = all + y * row_bytes;
        pack_row(pixels, chosen->palette, y, rows[y]);
    }
    png_write_info(png, info);
    png_write_image(png, rows);
    png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    free(rows);
    free(all);
    cr_assert_eq(fclose(stream), 0);
}

Pixels png_decode(FILE *stream)
{
    png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, on_error, on_warning);
    png_infop info = png_create_info_struct(png);
    png_init_io(png, stream);
    png_read_png(png, info, PNG_TRANSFORM_EXPAND, NULL);
    Pixels pixels = {.width = png_get_image_width(png, info),
                     .height = png_get_image_height(png, info),
                     .channels = png_get_channels(png, info),
                     .bits = png_get_bit_depth(png, info)};
    size_t samples = pixels.width * pixels.channels;
    pixels.codes = calloc(samples * pixels.height, sizeof *pixels.codes);
    cr_assert_not_null(pixels.codes);
    png_bytepp rows = png_get_rows(png, info);
    for (size_t y = 0; y < pixels.height; y++)
        for (size_t i = 0; i < samples; i++)
            pixels.codes[y * samples + i] =
                pixels.bits == 8 ? rows[y][i] : (uint16_t)(rows[y][2 * i] << 8 | rows[y][2 * i + 1]);
    png_destroy_read_struct(&png, &info, NULL);
    return pixels;
}

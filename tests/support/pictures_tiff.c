/* TIFF through libtiff. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include <tiffio.h>

#include "support/pictures.h"
#include "support/pictures_formats.h"

static void set_tags(TIFF *tiff, const Pixels *pixels, const TiffOptions *options)
{
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, (uint32_t)pixels->width);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, (uint32_t)pixels->height);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, (unsigned)pixels->channels);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, pixels->bits);
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT, pixels->bits == 32 ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, pixels->channels < 3 ? PHOTOMETRIC_MINISBLACK : PHOTOMETRIC_RGB);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, options->planar ? PLANARCONFIG_SEPARATE : PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION,
                 options->compression != 0 ? options->compression : COMPRESSION_NONE);
    if (options->predictor != 0)
        TIFFSetField(tiff, TIFFTAG_PREDICTOR, options->predictor);
    if (pixels->channels % 2 == 0) {
        uint16_t alpha = EXTRASAMPLE_UNASSALPHA;
        TIFFSetField(tiff, TIFFTAG_EXTRASAMPLES, 1, &alpha);
    }
    if (options->icc != NULL)
        TIFFSetField(tiff, TIFFTAG_ICCPROFILE, (uint32_t)options->icc_bytes, options->icc);
    if (options->xmp != NULL)
        TIFFSetField(tiff, TIFFTAG_XMLPACKET, (uint32_t)strlen(options->xmp), options->xmp);
    if (options->tile_side != 0) {
        TIFFSetField(tiff, TIFFTAG_TILEWIDTH, options->tile_side);
        TIFFSetField(tiff, TIFFTAG_TILELENGTH, options->tile_side);
    } else {
        TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP,
                     options->rows_per_strip != 0 ? options->rows_per_strip : 16u);
    }
}

static void put_sample(const Pixels *pixels, size_t at, uint8_t *to)
{
    uint8_t byte = (uint8_t)pixels->codes[at];
    if (pixels->bits == 8)
        *to = byte;
    else if (pixels->bits == 16)
        memcpy(to, &pixels->codes[at], 2);
    else
        memcpy(to, &pixels->values[at], 4);
}

/* A rectangle of the picture (of one plane, or all channels) into a buffer, zeros beyond the edges. */
static void pack(const Pixels *pixels, bool planar, size_t plane, size_t x0, size_t y0, size_t width,
                 size_t height, uint8_t *to)
{
    size_t bytes = pixels->bits / 8;
    size_t first = planar ? plane : 0;
    size_t count = planar ? 1 : pixels->channels;
    memset(to, 0, width * height * count * bytes);
    for (size_t y = 0; y < height && y0 + y < pixels->height; y++)
        for (size_t x = 0; x < width && x0 + x < pixels->width; x++)
            for (size_t c = 0; c < count; c++)
                put_sample(pixels, ((y0 + y) * pixels->width + x0 + x) * pixels->channels + first + c,
                           to + ((y * width + x) * count + c) * bytes);
}

static void write_plane(TIFF *tiff, const Pixels *pixels, const TiffOptions *options, size_t plane,
                        uint8_t *buffer)
{
    if (options->tile_side == 0) {
        for (size_t y = 0; y < pixels->height; y++) {
            pack(pixels, options->planar, plane, 0, y, pixels->width, 1, buffer);
            cr_assert_eq(TIFFWriteScanline(tiff, buffer, (uint32_t)y, (uint16_t)plane), 1);
        }
        return;
    }
    size_t side = options->tile_side;
    for (size_t y = 0; y < pixels->height; y += side)
        for (size_t x = 0; x < pixels->width; x += side) {
            pack(pixels, options->planar, plane, x, y, side, side, buffer);
            cr_assert(TIFFWriteTile(tiff, buffer, (uint32_t)x, (uint32_t)y, 0, (uint16_t)plane) > 0);
        }
}

void tiff_write(const char *path, const Pixels *pixels, const TiffOptions *options)
{
    static const TiffOptions defaults;
    const TiffOptions *chosen = options != NULL ? options : &defaults;
    TIFF *tiff = TIFFOpen(path, chosen->mode != NULL ? chosen->mode : "w");
    cr_assert_not_null(tiff);
    set_tags(tiff, pixels, chosen);
    size_t side = chosen->tile_side;
    size_t area = side != 0 ? side * side : pixels->width;
    uint8_t *buffer = malloc(area * pixels->channels * 4);
    cr_assert_not_null(buffer);
    for (size_t plane = 0; plane < (chosen->planar ? pixels->channels : 1); plane++)
        write_plane(tiff, pixels, chosen, plane, buffer);
    free(buffer);
    TIFFClose(tiff);
}

static void take_sample(Pixels *pixels, size_t at, const uint8_t *from)
{
    if (pixels->bits == 8)
        pixels->codes[at] = *from;
    else if (pixels->bits == 16)
        memcpy(&pixels->codes[at], from, 2);
    else
        memcpy(&pixels->values[at], from, 4);
}

static void unpack(Pixels *pixels, bool planar, size_t plane, size_t x0, size_t y0, size_t width,
                   size_t height, const uint8_t *from)
{
    size_t bytes = pixels->bits / 8;
    size_t first = planar ? plane : 0;
    size_t count = planar ? 1 : pixels->channels;
    for (size_t y = 0; y < height && y0 + y < pixels->height; y++)
        for (size_t x = 0; x < width && x0 + x < pixels->width; x++)
            for (size_t c = 0; c < count; c++)
                take_sample(pixels, ((y0 + y) * pixels->width + x0 + x) * pixels->channels + first + c,
                            from + ((y * width + x) * count + c) * bytes);
}

static void read_plane(TIFF *tiff, Pixels *pixels, bool planar, size_t plane)
{
    uint32_t tile_width = 0;
    uint32_t tile_height = 0;
    bool tiled = TIFFIsTiled(tiff) != 0;
    uint8_t *buffer = malloc((size_t)(tiled ? TIFFTileSize(tiff) : TIFFScanlineSize(tiff)));
    cr_assert_not_null(buffer);
    TIFFGetField(tiff, TIFFTAG_TILEWIDTH, &tile_width);
    TIFFGetField(tiff, TIFFTAG_TILELENGTH, &tile_height);
    for (size_t y = 0; !tiled && y < pixels->height; y++) {
        cr_assert_eq(TIFFReadScanline(tiff, buffer, (uint32_t)y, (uint16_t)plane), 1);
        unpack(pixels, planar, plane, 0, y, pixels->width, 1, buffer);
    }
    for (size_t y = 0; tiled && y < pixels->height; y += tile_height)
        for (size_t x = 0; x < pixels->width; x += tile_width) {
            cr_assert(TIFFReadTile(tiff, buffer, (uint32_t)x, (uint32_t)y, 0, (uint16_t)plane) > 0);
            unpack(pixels, planar, plane, x, y, tile_width, tile_height, buffer);
        }
    free(buffer);
}

Pixels tiff_decode(const char *path)
{
    TIFF *tiff = TIFFOpen(path, "r");
    cr_assert_not_null(tiff);
    uint32_t width = 0;
    uint32_t height = 0;
    uint16_t channels = 1;
    uint16_t bits = 8;
    uint16_t planar = PLANARCONFIG_CONTIG;
    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &height);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_SAMPLESPERPIXEL, &channels);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_BITSPERSAMPLE, &bits);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_PLANARCONFIG, &planar);
    Pixels pixels = {.width = width, .height = height, .channels = channels, .bits = bits};
    size_t count = pixels.width * pixels.height * pixels.channels;
    pixels.codes = calloc(count, sizeof *pixels.codes);
    pixels.values = bits == 32 ? calloc(count, sizeof *pixels.values) : NULL;
    cr_assert(pixels.codes != NULL && (bits != 32 || pixels.values != NULL));
    bool separate = planar == PLANARCONFIG_SEPARATE;
    for (size_t plane = 0; plane < (separate ? pixels.channels : 1); plane++)
        read_plane(tiff, &pixels, separate, plane);
    TIFFClose(tiff);
    return pixels;
}

Pixels picture_decode(const char *path)
{
    FILE *stream = fopen(path, "rb");
    cr_assert_not_null(stream, "%s", path);
    int first = fgetc(stream);
    rewind(stream);
    Pixels pixels;
    if (first == 0xff)
        pixels = jpeg_decode(stream);
    else if (first == 0x89)
        pixels = png_decode(stream);
    else
        pixels = tiff_decode(path);
    fclose(stream);
    return pixels;
}

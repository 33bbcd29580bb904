/*
 * TIFF (TIFF 6.0) and BigTIFF: kinds, refusals, files changed in part, and the copy that exchanges XMP. What
 * is compared with is written and read by libtiff.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <tiffio.h>

#include "picture/picture_internal.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(tiff, .init = folder_enter, .fini = folder_leave);

/* Compression, predictor, byte order and kind, strips or tiles, planes: all that libtiff can write here. */
static const TiffOptions layouts[] = {
    {.rows_per_strip = 7},
    {.rows_per_strip = 7, .mode = "wb"},
    {.rows_per_strip = 1000, .compression = COMPRESSION_LZW, .predictor = 2},
    {.rows_per_strip = 8, .compression = COMPRESSION_LZW, .mode = "wb"},
    {.rows_per_strip = 8, .compression = COMPRESSION_ADOBE_DEFLATE, .predictor = 2, .mode = "wb8"},
    {.rows_per_strip = 5, .compression = COMPRESSION_PACKBITS},
    {.tile_side = 16, .compression = COMPRESSION_ADOBE_DEFLATE, .mode = "w8"},
    {.tile_side = 32, .compression = COMPRESSION_LZW, .predictor = 2, .mode = "wb"},
    {.rows_per_strip = 8, .planar = true},
    {.rows_per_strip = 8, .planar = true, .compression = COMPRESSION_LZW, .predictor = 2, .mode = "wb"},
    {.tile_side = 16, .planar = true, .compression = COMPRESSION_ADOBE_DEFLATE},
};
#define LAYOUT_COUNT (sizeof layouts / sizeof *layouts)

static const struct {
    size_t channels;
    unsigned bits;
} depths[] = {{1, 8}, {3, 8}, {4, 8}, {1, 16}, {3, 16}, {4, 16}, {3, 32}, {4, 32}};
#define DEPTH_COUNT (sizeof depths / sizeof *depths)

/* Floats have a predictor of their own (3). */
static TiffOptions layout_for(size_t index, unsigned bits)
{
    TiffOptions options = layouts[index];
    bool big_endian = options.mode != NULL && strchr(options.mode, 'b') != NULL;
    if (bits == 32 && options.predictor == 2)
        options.predictor =
            big_endian ? 0 : 3; /* which libtiff 4.5 writes wrongly; see the test of its own below */
    return options;
}

Test(tiff, reads_every_layout)
{
    for (size_t d = 0; d < DEPTH_COUNT; d++)
        for (size_t i = 0; i < LAYOUT_COUNT; i++) {
            char what[64];
            Pixels pixels = noise_make(45, 37, depths[d].channels, depths[d].bits, (unsigned)(d + i));
            TiffOptions options = layout_for(i, depths[d].bits);
            snprintf(what, sizeof what, "layout %zu, %zu channels, %u bits", i, pixels.channels, pixels.bits);
            tiff_write("a.tif", &pixels, &options);
            UfPicture *picture = picture_read("a.tif");
            assert_samples(picture, &pixels, 0, what);
            uf_picture_free(&picture);
            pixels_free(&pixels);
        }
}

static TIFF *open_checked(const char *path)
{
    TIFF *tiff = TIFFOpen(path, "r");
    cr_assert_not_null(tiff, "%s", path);
    return tiff;
}

/* The packed bytes of strip or tile `index`. */
static Bytes raw_chunk(TIFF *tiff, uint32_t index)
{
    Bytes bytes = {.size = (size_t)TIFFGetStrileByteCount(tiff, index)};
    bytes.data = malloc(bytes.size + 1);
    cr_assert_not_null(bytes.data);
    tmsize_t got = TIFFIsTiled(tiff) ? TIFFReadRawTile(tiff, index, bytes.data, (tmsize_t)bytes.size)
                                     : TIFFReadRawStrip(tiff, index, bytes.data, (tmsize_t)bytes.size);
    cr_assert_eq(got, (tmsize_t)bytes.size);
    return bytes;
}

/* The number of strips or tiles that differ; those that don't meet rows [y0, y1) must not. */
static size_t compare_chunks(const char *a_path, const char *b_path, size_t y0, size_t y1, const char *what)
{
    TIFF *a = open_checked(a_path), *b = open_checked(b_path);
    uint32_t width = 0, height = 0, chunk_height = 0, chunk_width = 0;
    TIFFGetField(a, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(a, TIFFTAG_IMAGELENGTH, &height);
    if (TIFFIsTiled(a)) {
        TIFFGetField(a, TIFFTAG_TILELENGTH, &chunk_height);
        TIFFGetField(a, TIFFTAG_TILEWIDTH, &chunk_width);
    } else {
        TIFFGetField(a, TIFFTAG_ROWSPERSTRIP, &chunk_height);
        chunk_width = width;
    }
    uint32_t count = TIFFIsTiled(a) ? TIFFNumberOfTiles(a) : TIFFNumberOfStrips(a);
    uint32_t across = (width + chunk_width - 1) / chunk_width,
             down = (height + chunk_height - 1) / chunk_height;
    size_t differing = 0;
    for (uint32_t i = 0; i < count; i++) {
        Bytes before = raw_chunk(a, i), after = raw_chunk(b, i);
        if (before.size != after.size || memcmp(before.data, after.data, before.size) != 0) {
            size_t top = (size_t)(i % (across * down)) / across * chunk_height;
            cr_assert(top < y1 && top + chunk_height > y0, "%s: strip or tile %u changed", what, i);
            differing++;
        }
        bytes_free(&before);
        bytes_free(&after);
    }
    TIFFClose(a);
    TIFFClose(b);
    return differing;
}

/*
 * Every layout and depth: the touched strips hold the new samples, the samples beside them and all other
 * strips are what they were, and libtiff reads the whole.
 */
Test(tiff, rewriting_changes_touched_strips_and_tiles_only)
{
    for (size_t d = 0; d < DEPTH_COUNT; d++)
        for (size_t i = 0; i < LAYOUT_COUNT; i++) {
            char what[64];
            Pixels pixels = noise_make(45, 37, depths[d].channels, depths[d].bits, (unsigned)(d + i));
            TiffOptions options = layout_for(i, depths[d].bits);
            UfWriteOptions over = {.overwrite = true};
            snprintf(what, sizeof what, "layout %zu, %zu channels, %u bits", i, pixels.channels, pixels.bits);
            tiff_write("a.tif", &pixels, &options);
            UfPicture *picture = picture_read("a.tif");
            UfTouched *touched = touched_of(picture);
            UfReport *report = uf_report_create();
            picture_change(picture, touched, 8, 24, 40, 32);
            cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", &over, report), UF_OK,
                         "%s: %s", what, uf_report_error(report));
            cr_expect_eq(uf_report_warning_count(report), 0, "%s", uf_report_warning(report, 0));
            cr_expect_gt(compare_chunks("a.tif", "b.tif", 24, 32, what), 0, "%s", what);
            Pixels back = picture_decode("b.tif");
            assert_samples(picture, &back, 0, what);
            uf_report_free(&report);
            uf_touched_free(&touched);
            uf_picture_free(&picture);
            pixels_free(&pixels);
            pixels_free(&back);
        }
}

/* Of a part of the rows some are passed over: they hold zeros, the others are those of the whole, and so is
 * the file. */
Test(tiff, rows_that_are_passed_over_are_not_kept)
{
    const UfReadOptions some = {.first_row_px = 33, .end_row_px = 93, .sparse = {36, 80, 5, 17, 4}};
    const UfWriteOptions over = {.overwrite = true};
    for (size_t d = 0; d < DEPTH_COUNT; d++)
        for (size_t i = 0; i < LAYOUT_COUNT; i++) {
            char what[64];
            Pixels pixels = noise_make(45, 93, depths[d].channels, depths[d].bits, (unsigned)(d + i));
            TiffOptions options = layout_for(i, depths[d].bits);
            size_t passed = 0;
            UfPicture *part = NULL;
            snprintf(what, sizeof what, "layout %zu, %zu channels, %u bits", i, pixels.channels, pixels.bits);
            tiff_write("a.tif", &pixels, &options);
            UfPicture *whole = picture_read("a.tif");
            cr_assert_eq(uf_picture_read("a.tif", &some, &part, NULL), UF_OK, "%s", what);
            for (size_t y = 33; y < 93; y++) {
                const uint8_t *row = uf_picture_row_const(part, y);
                const size_t bytes = 45 * uf_picture_channels(part) * (size_t)uf_picture_sample(part);
                const bool kept = y < 36 || y >= 80 || (y - 5) % 17 < 4;
                const bool zero = row[0] == 0 && memcmp(row, row + 1, bytes - 1) == 0;
                passed += zero;
                cr_assert(kept ? memcmp(row, uf_picture_row_const(whole, y), bytes) == 0 : zero,
                          "%s: row %zu", what, y);
            }
            cr_expect_gt(passed, 30, "%s: %zu", what, passed);
            UfTouched *touched = touched_of(whole);
            picture_change(whole, touched, 8, 82, 40, 93);
            picture_change(part, touched, 8, 82, 40, 93);
            cr_assert_eq(uf_picture_rewrite(whole, "a.tif", touched, "b.tif", &over, NULL), UF_OK, "%s",
                         what);
            cr_assert_eq(uf_picture_rewrite(part, "a.tif", touched, "c.tif", &over, NULL), UF_OK, "%s", what);
            cr_expect(file_same("b.tif", "c.tif"), "%s", what);
            uf_touched_free(&touched);
            uf_picture_free(&part);
            uf_picture_free(&whole);
            pixels_free(&pixels);
        }
}

/*
 * One uncompressed strip of more than 8 kB, as image editors write it, which libtiff shows as many: changed
 * in its place, the rest of the file stays byte for byte. The lines of the change lie in several of libtiff's
 * pieces.
 */
Test(tiff, one_large_strip_is_changed_in_its_place)
{
    static const char *const modes[] = {"wl", "wb", "wl8"};
    for (size_t d = 0; d < DEPTH_COUNT; d++) {
        char what[64];
        const UfWriteOptions over = {.overwrite = true};
        Pixels pixels = noise_make(300, 141, depths[d].channels, depths[d].bits, (unsigned)d);
        snprintf(what, sizeof what, "%zu channels, %u bits", pixels.channels, pixels.bits);
        tiff_write("a.tif", &pixels, &(TiffOptions){.rows_per_strip = 141, .mode = modes[d % 3]});
        UfPicture *picture = picture_read("a.tif");
        UfTouched *touched = touched_of(picture);
        picture_change(picture, touched, 8, 56, 40, 141);
        cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", &over, NULL), UF_OK, "%s", what);
        Pixels back = picture_decode("b.tif");
        assert_samples(picture, &back, 0, what);
        Bytes before = file_read("a.tif"), after = file_read("b.tif");
        size_t pixel = pixels.channels * pixels.bits / 8, inside = (141 - 56) * (40 - 8) * pixel,
               differing = 0;
        cr_assert_eq(after.size, before.size, "%s", what);
        for (size_t i = 0; i < before.size; i++)
            differing += before.data[i] != after.data[i];
        cr_expect(differing > 0 && differing <= inside, "%s: %zu bytes differ", what, differing);
        bytes_free(&before);
        bytes_free(&after);
        uf_touched_free(&touched);
        uf_picture_free(&picture);
        pixels_free(&pixels);
        pixels_free(&back);
    }
}

/*
 * Big-endian, with the floating-point predictor, whose bytes don't follow the file's order (Adobe Photoshop
 * TIFF Technical Note 3): strips that a little-endian file packed stand in a big-endian one as they are.
 */
Test(tiff, rewriting_knows_the_byte_order_of_the_floating_point_predictor)
{
    Pixels pixels = noise_make(45, 37, 1, 32, 5);
    tiff_write("little.tif", &pixels,
               &(TiffOptions){.compression = COMPRESSION_ADOBE_DEFLATE, .predictor = 3});
    TIFF *little = open_checked("little.tif"), *big = TIFFOpen("a.tif", "wb");
    cr_assert_not_null(big);
    TIFFSetField(big, TIFFTAG_IMAGEWIDTH, 45);
    TIFFSetField(big, TIFFTAG_IMAGELENGTH, 37);
    TIFFSetField(big, TIFFTAG_BITSPERSAMPLE, 32);
    TIFFSetField(big, TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_IEEEFP);
    TIFFSetField(big, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISBLACK);
    TIFFSetField(big, TIFFTAG_ROWSPERSTRIP, 16);
    TIFFSetField(big, TIFFTAG_COMPRESSION, COMPRESSION_ADOBE_DEFLATE);
    TIFFSetField(big, TIFFTAG_PREDICTOR, PREDICTOR_FLOATINGPOINT);
    for (uint32_t i = 0; i < TIFFNumberOfStrips(little); i++) {
        Bytes strip = raw_chunk(little, i);
        cr_assert_eq(TIFFWriteRawStrip(big, i, strip.data, (tmsize_t)strip.size), (tmsize_t)strip.size);
        bytes_free(&strip);
    }
    TIFFClose(little);
    TIFFClose(big);
    UfPicture *picture = picture_read("a.tif");
    assert_samples(picture, &pixels, 0, "a.tif");
    UfTouched *touched = touched_of(picture);
    picture_change(picture, touched, 8, 24, 40, 32);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, NULL), UF_OK);
    Pixels back = picture_decode("b.tif");
    assert_samples(picture, &back, 0, "b.tif");
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    pixels_free(&pixels);
    pixels_free(&back);
}

Test(tiff, rewriting_nothing_gives_the_same_file)
{
    Pixels pixels = noise_make(45, 37, 3, 16, 1);
    tiff_write("a.tif", &pixels, &(TiffOptions){.compression = COMPRESSION_LZW, .mode = "wb"});
    UfPicture *picture = picture_read("a.tif");
    UfTouched *touched = touched_of(picture);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, NULL), UF_OK);
    cr_expect(file_same("a.tif", "b.tif"));
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    pixels_free(&pixels);
}

/* A TIFF made here, with tags that the support code does not know. */
typedef struct Special {
    size_t width, height;
    uint16_t channels, bits, format, photometric, extra, compression;
    uint16_t orientation;
    bool has_extra;
} Special;

static void special_write(const char *path, const Special *s, const void *samples)
{
    TIFF *tiff = TIFFOpen(path, "w");
    cr_assert_not_null(tiff);
    size_t row_bytes = (s->width * s->channels * s->bits + 7) / 8;
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, (uint32_t)s->width);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, (uint32_t)s->height);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, s->channels);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, s->bits);
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT, s->format == 0 ? SAMPLEFORMAT_UINT : s->format);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, s->photometric);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, s->compression == 0 ? COMPRESSION_NONE : s->compression);
    TIFFSetField(tiff, TIFFTAG_ORIENTATION, s->orientation == 0 ? 1 : s->orientation);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, 8);
    TIFFSetField(tiff, TIFFTAG_SOFTWARE, "a test of TIFF");
    if (s->has_extra)
        TIFFSetField(tiff, TIFFTAG_EXTRASAMPLES, 1, &s->extra);
    if (s->photometric == PHOTOMETRIC_PALETTE) {
        uint16_t map[3][256];
        for (unsigned i = 0; i < 256; i++) {
            map[0][i] = (uint16_t)(i * 257);
            map[1][i] = (uint16_t)((255 - i) * 257);
            map[2][i] = (uint16_t)((i ^ 0x55) * 257);
        }
        TIFFSetField(tiff, TIFFTAG_COLORMAP, map[0], map[1], map[2]);
    }
    uint8_t *row = malloc(row_bytes);
    cr_assert_not_null(row);
    for (size_t y = 0; y < s->height; y++) {
        memcpy(row, (const uint8_t *)samples + y * row_bytes, row_bytes);
        cr_assert_eq(TIFFWriteScanline(tiff, row, (uint32_t)y, 0), 1);
    }
    free(row);
    TIFFClose(tiff);
}

Test(tiff, white_is_zero_is_turned_round_and_back)
{
    uint8_t samples[16 * 16];
    for (unsigned i = 0; i < 256; i++)
        samples[i] = (uint8_t)i;
    special_write(
        "a.tif",
        &(Special){
            .width = 16, .height = 16, .channels = 1, .bits = 8, .photometric = PHOTOMETRIC_MINISWHITE},
        samples);
    UfPicture *picture = picture_read("a.tif");
    for (unsigned i = 0; i < 256; i++)
        cr_assert_eq(((const uint8_t *)uf_picture_row_const(picture, i / 16))[i % 16], 255 - i);
    UfTouched *touched = touched_of(picture);
    memset(uf_picture_row(picture, 3), 200, 8);
    uf_touched_add(touched, 0, 3, 8, 4);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, NULL), UF_OK);
    TIFF *tiff = open_checked("b.tif");
    uint8_t row[16];
    cr_assert_eq(TIFFReadScanline(tiff, row, 3, 0), 1);
    for (unsigned x = 0; x < 16; x++)
        cr_expect_eq(row[x], x < 8 ? 55 : 48 + x);
    TIFFClose(tiff);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

Test(tiff, palettes_are_expanded)
{
    uint8_t samples[16 * 16];
    for (unsigned i = 0; i < 256; i++)
        samples[i] = (uint8_t)i;
    special_write(
        "a.tif",
        &(Special){.width = 16, .height = 16, .channels = 1, .bits = 8, .photometric = PHOTOMETRIC_PALETTE},
        samples);
    UfPicture *picture = picture_read("a.tif");
    cr_assert_eq(uf_picture_channels(picture), 3);
    for (unsigned i = 0; i < 256; i++) {
        const uint8_t expected[3] = {(uint8_t)i, (uint8_t)(255 - i), (uint8_t)(i ^ 0x55)};
        cr_assert_arr_eq((const uint8_t *)uf_picture_row_const(picture, i / 16) + i % 16 * 3, expected, 3);
    }
    /* there is no room for other colours: the file is made anew */
    UfTouched *touched = touched_of(picture);
    picture_change(picture, touched, 0, 0, 8, 8);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, NULL), UF_OK);
    Pixels back = picture_decode("b.tif");
    assert_samples(picture, &back, 0, "b.tif");
    pixels_free(&back);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

/*
 * Associated alpha (TIFF 6.0 p. 69): the file's colours are multiplied by alpha. Every pair of them comes
 * back exactly, and pixels that were not touched keep the file's samples even in a strip that was.
 */
Test(tiff, multiplied_alpha_is_divided_out_and_back)
{
    uint8_t *samples = malloc(256 * 256 * 2);
    cr_assert_not_null(samples);
    for (unsigned i = 0; i < 256 * 256; i++) {
        samples[2 * i] = (uint8_t)(i % 256);
        samples[2 * i + 1] = (uint8_t)(i / 256);
    }
    special_write("a.tif",
                  &(Special){.width = 256,
                             .height = 256,
                             .channels = 2,
                             .bits = 8,
                             .photometric = PHOTOMETRIC_MINISBLACK,
                             .has_extra = true,
                             .extra = EXTRASAMPLE_ASSOCALPHA},
                  samples);
    UfPicture *picture = picture_read("a.tif");
    for (unsigned a = 0; a < 256; a++)
        for (unsigned c = 0; c < 256; c++) {
            unsigned expected = a == 0 ? 0 : c >= a ? 255 : (unsigned)lround(255.0 * c / a);
            cr_assert_eq(((const uint8_t *)uf_picture_row_const(picture, a))[2 * c], expected, "%u of %u", c,
                         a);
        }
    /* one cell is touched without a change: its valid pairs are exact again, the rest of the strip is
     * untouched */
    UfTouched *touched = touched_of(picture);
    uf_touched_add(touched, 0, 0, 128, 256);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, NULL), UF_OK);
    TIFF *tiff = open_checked("b.tif");
    for (unsigned a = 0; a < 256; a++) {
        uint8_t row[512];
        cr_assert_eq(TIFFReadScanline(tiff, row, a, 0), 1);
        for (unsigned c = 0; c < 256; c++)
            if (c >= 128 || c <= a)
                cr_assert_eq(row[2 * c], c, "%u of %u", c, a);
    }
    TIFFClose(tiff);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    free(samples);
}

/* The same for 16 bits and floats: the colours are divided, and multiplied to what they were. */
Test(tiff, multiplied_alpha_of_other_depths_is_divided_out_and_back)
{
    for (int floats = 0; floats < 2; floats++) {
        uint16_t whole[64 * 8 * 2];
        float real[64 * 8 * 2];
        for (unsigned i = 0; i < 64 * 8; i++) {
            unsigned alpha = i * 128, colour = alpha * (i % 7) / 7;
            whole[2 * i] = (uint16_t)colour;
            whole[2 * i + 1] = (uint16_t)alpha;
            real[2 * i] = (float)colour / 65536;
            real[2 * i + 1] = (float)alpha / 65536;
        }
        const Special special = {.width = 64,
                                 .height = 8,
                                 .channels = 2,
                                 .bits = floats ? 32 : 16,
                                 .format = floats ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT,
                                 .photometric = PHOTOMETRIC_MINISBLACK,
                                 .has_extra = true,
                                 .extra = EXTRASAMPLE_ASSOCALPHA};
        special_write("a.tif", &special, floats ? (const void *)real : whole);
        UfPicture *picture = picture_read("a.tif");
        for (unsigned i = 1; i < 64 * 8; i++) {
            const void *row = uf_picture_row_const(picture, i / 64);
            double share = (double)whole[2 * i] / whole[2 * i + 1];
            if (floats)
                cr_assert_float_eq(((const float *)row)[i % 64 * 2], share, 1e-6, "%u", i);
            else
                cr_assert_eq(((const uint16_t *)row)[i % 64 * 2], lround(65535 * share), "%u", i);
        }
        UfTouched *touched = touched_of(picture);
        uf_touched_add(touched, 0, 0, 64, 8);
        cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif",
                                        &(UfWriteOptions){.overwrite = true}, NULL),
                     UF_OK);
        TIFF *tiff = open_checked("b.tif");
        for (unsigned y = 0; y < 8; y++) {
            uint16_t row[128];
            float real_row[128];
            cr_assert_eq(TIFFReadScanline(tiff, floats ? (void *)real_row : row, y, 0), 1);
            for (unsigned i = 0; i < 128; i++)
                if (floats)
                    cr_assert_float_eq(real_row[i], real[y * 128 + i], 1e-6);
                else
                    cr_assert_eq(row[i], whole[y * 128 + i]);
        }
        TIFFClose(tiff);
        uf_touched_free(&touched);
        uf_picture_free(&picture);
    }
}

/* White is 0, at 16 bits and as floats. */
Test(tiff, white_is_zero_at_other_depths)
{
    const uint16_t whole[8] = {0, 1, 255, 256, 32767, 32768, 65534, 65535};
    const float real[8] = {0, 0.25f, 0.5f, 1, 0.125f, 0.75f, 0.875f, 0.0625f};
    for (int floats = 0; floats < 2; floats++) {
        const Special special = {.width = 8,
                                 .height = 1,
                                 .channels = 1,
                                 .bits = floats ? 32 : 16,
                                 .format = floats ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT,
                                 .photometric = PHOTOMETRIC_MINISWHITE};
        special_write("a.tif", &special, floats ? (const void *)real : whole);
        UfPicture *picture = picture_read("a.tif");
        const void *row = uf_picture_row_const(picture, 0);
        for (unsigned x = 0; x < 8; x++)
            if (floats)
                cr_expect_eq(((const float *)row)[x], 1 - real[x]);
            else
                cr_expect_eq(((const uint16_t *)row)[x], 65535 - whole[x]);
        uf_picture_free(&picture);
    }
}

Test(tiff, rewriting_follows_the_orientation)
{
    for (uint16_t orientation = 1; orientation <= 8; orientation++) {
        bool turned = orientation >= 5;
        Pixels stored = noise_make(turned ? 37 : 45, turned ? 45 : 37, 1, 8, 3);
        uint8_t samples[45 * 37];
        for (size_t i = 0; i < sizeof samples; i++)
            samples[i] = (uint8_t)stored.codes[i];
        special_write("a.tif",
                      &(Special){.width = stored.width,
                                 .height = stored.height,
                                 .channels = 1,
                                 .bits = 8,
                                 .photometric = PHOTOMETRIC_MINISBLACK,
                                 .orientation = orientation,
                                 .compression = COMPRESSION_LZW},
                      samples);
        UfPicture *picture = picture_read("a.tif");
        UfTouched *touched = touched_of(picture);
        UfWriteOptions over = {.overwrite = true};
        cr_assert_eq(uf_picture_width_px(picture), 45);
        picture_change(picture, touched, 30, 20, 45, 30);
        cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", &over, NULL), UF_OK);
        Pixels back = picture_decode("b.tif"); /* as stored */
        for (size_t y = 0; y < 37; y++)
            for (size_t x = 0; x < 45; x++) {
                size_t sx, sy;
                stored_place(orientation, 45, 37, x, y, &sx, &sy);
                cr_assert_eq(back.codes[sy * back.width + sx],
                             ((const uint8_t *)uf_picture_row_const(picture, y))[x], "orientation %u",
                             orientation);
            }
        UfPicture *again = picture_read("b.tif");
        cr_expect_eq(again->orientation, orientation);
        uf_picture_free(&again);
        uf_touched_free(&touched);
        uf_picture_free(&picture);
        pixels_free(&stored);
        pixels_free(&back);
    }
}

Test(tiff, kinds_that_are_not_handled_are_refused_with_advice)
{
    static const struct {
        Special special;
        const char *word;
    } cases[] = {
        {{.channels = 1, .bits = 1, .photometric = PHOTOMETRIC_MINISBLACK}, "1-bit"},
        {{.channels = 1, .bits = 16, .photometric = PHOTOMETRIC_MINISBLACK, .format = SAMPLEFORMAT_INT},
         "signed"},
        {{.channels = 1,
          .bits = 64,
          .photometric = PHOTOMETRIC_MINISBLACK,
          .format = SAMPLEFORMAT_COMPLEXIEEEFP},
         "complex"},
        {{.channels = 1, .bits = 64, .photometric = PHOTOMETRIC_MINISBLACK, .format = SAMPLEFORMAT_IEEEFP},
         "64-bit"},
        {{.channels = 1, .bits = 16, .photometric = PHOTOMETRIC_MINISBLACK, .format = SAMPLEFORMAT_IEEEFP},
         "16-bit floating"},
        {{.channels = 4, .bits = 8, .photometric = PHOTOMETRIC_SEPARATED}, "CMYK"},
        {{.channels = 3, .bits = 8, .photometric = PHOTOMETRIC_CIELAB}, "Lab"},
        {{.channels = 3, .bits = 8, .photometric = PHOTOMETRIC_YCBCR}, "YCbCr"},
        {{.channels = 5, .bits = 8, .photometric = PHOTOMETRIC_RGB}, "5 channels"},
        {{.channels = 1, .bits = 8, .photometric = PHOTOMETRIC_MINISBLACK, .compression = COMPRESSION_JPEG},
         "compression"},
    };
    uint8_t *samples = calloc(16 * 16, 8);
    cr_assert_not_null(samples);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        Special special = cases[i].special;
        UfPicture *picture = NULL;
        UfReport *report = uf_report_create();
        special.width = special.height = 16;
        special_write("a.tif", &special, samples);
        cr_expect_eq(uf_picture_read("a.tif", NULL, &picture, report), UF_ERROR_UNSUPPORTED, "case %zu", i);
        cr_expect_null(picture);
        cr_expect_not_null(strstr(uf_report_error(report), cases[i].word), "%s", uf_report_error(report));
        uf_report_free(&report);
    }
    free(samples);
}

/* The rest of the file: tags, a second page. ExifTool and libtiff look. */
Test(tiff, tagging_and_rewriting_leave_other_tags_and_pages)
{
    Pixels pixels = noise_make(64, 32, 3, 8, 1);
    size_t icc_bytes;
    uint8_t *icc = profile_make(&icc_bytes);
    for (int kind = 0; kind < 3; kind++) {
        static const char *const modes[] = {"w", "wb", "w8"}, *const more[] = {"a", "a", "a8"};
        UfWriteOptions over = {.overwrite = true};
        tiff_write("a.tif", &pixels, &(TiffOptions){.mode = modes[kind], .icc = icc, .icc_bytes = icc_bytes});
        tiff_write("a.tif", &pixels, &(TiffOptions){.mode = more[kind], .compression = COMPRESSION_LZW});
        Bytes before = file_read("a.tif");
        UfReport *report = uf_report_create();
        UfPhotoSphere pose = {.has_pitch = true, .pitch_deg = -1.5};
        cr_assert_eq(uf_picture_tag("a.tif", "b.tif", &pose, &over, report), UF_OK, "%s",
                     uf_report_error(report));
        /* again, with XMP of another length there already */
        pose.pitch_deg = 2.125;
        cr_assert_eq(uf_picture_tag("b.tif", "c.tif", &pose, &over, report), UF_OK);
        Bytes after = file_read("c.tif");
        cr_assert_gt(after.size, before.size);
        /* nothing but the link to the directory, in the head, is other than it was */
        cr_expect_arr_eq(before.data + 16, after.data + 16, before.size - 16);
        cr_expect_eq(compare_chunks("a.tif", "c.tif", 0, 0, "tag"), 0);
        Run run =
            RUN_PROGRAM("exiftool", "-s3", "-ProjectionType", "-PosePitchDegrees", "-validate", "c.tif");
        cr_expect_eq(strncmp(run.out, "equirectangular\n2.125\n", 22), 0, "%s", run.out);
        run_free(&run);
        UfPicture *picture = picture_read("c.tif");
        cr_expect_eq(uf_picture_icc(picture).size_bytes, icc_bytes);
        cr_expect_arr_eq(uf_picture_icc(picture).data, icc, icc_bytes);
        UfTouched *touched = touched_of(picture);
        picture_change(picture, touched, 0, 24, 64, 32);
        cr_assert_eq(uf_picture_rewrite(picture, "c.tif", touched, "d.tif", &over, report), UF_OK);
        TIFF *tiff = open_checked("d.tif");
        cr_expect_eq(TIFFNumberOfDirectories(tiff), 2);
        cr_expect_eq(TIFFIsBigTIFF(tiff), kind == 2);
        cr_expect_eq(TIFFIsBigEndian(tiff), kind == 1);
        TIFFClose(tiff);
        uf_touched_free(&touched);
        uf_picture_free(&picture);
        uf_report_free(&report);
        bytes_free(&before);
        bytes_free(&after);
    }
    free(icc);
    pixels_free(&pixels);
}

/* Two strips that share their bytes: one is changed, the other must not be. */
Test(tiff, strips_that_share_their_bytes_are_not_written_over)
{
    uint8_t samples[16 * 16];
    memset(samples, 7, sizeof samples);
    special_write(
        "a.tif",
        &(Special){
            .width = 16, .height = 16, .channels = 1, .bits = 8, .photometric = PHOTOMETRIC_MINISBLACK},
        samples);
    TIFF *tiff = open_checked("a.tif");
    uint64_t first = TIFFGetStrileOffset(tiff, 0), second = TIFFGetStrileOffset(tiff, 1);
    TIFFClose(tiff);
    /* the table of offsets: two LONGs side by side; the second is pointed at the first strip */
    Bytes bytes = file_read("a.tif");
    uint32_t table[2] = {(uint32_t)first, (uint32_t)second};
    size_t at = bytes_find(bytes, 0, table, sizeof table);
    cr_assert_neq(at, SIZE_MAX);
    file_poke("a.tif", at + 4, &table[0], 4);
    bytes_free(&bytes);
    UfPicture *picture = picture_read("a.tif");
    UfTouched *touched = touched_of(picture);
    memset(uf_picture_row(picture, 2), 99, 16);
    uf_touched_add(touched, 0, 2, 16, 3);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, NULL), UF_OK);
    Pixels back = picture_decode("b.tif");
    assert_samples(picture, &back, 0, "b.tif");
    cr_expect_eq(back.codes[10 * 16], 7);
    pixels_free(&back);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

/* Smaller copies inside the file can't be renewed: the user is told. */
Test(tiff, stale_copies_are_named)
{
    uint8_t samples[16 * 16] = {0};
    special_write(
        "a.tif",
        &(Special){
            .width = 16, .height = 16, .channels = 1, .bits = 8, .photometric = PHOTOMETRIC_MINISBLACK},
        samples);
    TIFF *tiff = TIFFOpen("a.tif", "a");
    cr_assert_not_null(tiff);
    TIFFSetField(tiff, TIFFTAG_SUBFILETYPE, FILETYPE_REDUCEDIMAGE);
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, 8);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, 8);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISBLACK);
    for (uint32_t y = 0; y < 8; y++)
        cr_assert_eq(TIFFWriteScanline(tiff, samples, y, 0), 1);
    TIFFClose(tiff);
    UfPicture *picture = picture_read("a.tif");
    UfTouched *touched = touched_of(picture);
    UfReport *report = uf_report_create();
    picture_change(picture, touched, 0, 0, 8, 8);
    cr_assert_eq(uf_picture_rewrite(picture, "a.tif", touched, "b.tif", NULL, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect_not_null(strstr(uf_report_warning(report, 0), "smaller copies"));
    uf_report_free(&report);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

/* A strip too large to be held beside the picture. */
Test(tiff, one_strip_for_all_is_read_row_by_row)
{
    Pixels pixels = noise_make(1500, 1000, 3, 16, 2);
    for (int i = 0; i < 2; i++) {
        tiff_write("a.tif", &pixels,
                   &(TiffOptions){.rows_per_strip = 1000,
                                  .compression = i == 0 ? COMPRESSION_NONE : COMPRESSION_LZW});
        UfPicture *picture = picture_read("a.tif");
        assert_samples(picture, &pixels, 0, "a.tif");
        uf_picture_free(&picture);
    }
    pixels_free(&pixels);
}

Test(tiff, bytes_do_not_depend_on_threads)
{
    static const int threads[] = {1, 2, 5};
    static const char *const names[] = {"a.tif", "b.tif", "c.tif"};
    for (unsigned bits = 8; bits <= 32; bits *= 2) {
        Pixels pixels = noise_make(700, 1001, 3, bits, 2);
        UfPicture *picture = picture_of(&pixels);
        for (size_t i = 0; i < 3; i++)
            cr_assert_eq(uf_picture_write(picture, names[i],
                                          &(UfWriteOptions){.threads = threads[i], .overwrite = true}, NULL),
                         UF_OK);
        cr_expect(file_same("a.tif", "b.tif") && file_same("a.tif", "c.tif"), "%u bits", bits);
        Pixels read = picture_decode("a.tif");
        assert_samples(picture, &read, 0, "a.tif");
        pixels_free(&read);
        uf_picture_free(&picture);
        pixels_free(&pixels);
    }
}

/* PNG: every kind that libpng can write, chunks, checksums, and the copy that exchanges XMP. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <png.h>
#include <zlib.h>

#include "picture/picture_internal.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(png, .init = folder_enter, .fini = folder_leave);

#define WIDTH  19u
#define HEIGHT 11u

/* What the test writes, straight through libpng. */
typedef struct Raw {
    int bits, colour_type;
    bool interlaced;
    const png_color *palette;
    int palette_size;
    const png_byte *alpha; /* of the palette */
    int alpha_size;
    const png_color_16 *transparent;
} Raw;

/* Sample of column x, row y: any number below 2 to the power of `bits`. */
static unsigned raw_sample(int bits, size_t x, size_t y)
{
    return (unsigned)(x * 37 + y * 101 + x * y) & ((1u << bits) - 1);
}

static void raw_write(const char *path, const Raw *raw)
{
    FILE *stream = fopen(path, "wb");
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    cr_assert(stream != NULL && info != NULL);
    png_init_io(png, stream);
    png_set_IHDR(png, info, WIDTH, HEIGHT, raw->bits, raw->colour_type,
                 raw->interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE, 0, 0);
    if (raw->palette != NULL)
        png_set_PLTE(png, info, raw->palette, raw->palette_size);
    if (raw->alpha != NULL || raw->transparent != NULL)
        png_set_tRNS(png, info, raw->alpha, raw->alpha_size, raw->transparent);
    png_write_info(png, info);
    size_t channels = png_get_channels(png, info), row_bytes = png_get_rowbytes(png, info);
    png_byte *rows[HEIGHT];
    for (size_t y = 0; y < HEIGHT; y++) {
        rows[y] = calloc(row_bytes, 1);
        cr_assert_not_null(rows[y]);
        for (size_t i = 0; i < WIDTH * channels; i++) {
            unsigned value = raw_sample(raw->bits, i, y);
            size_t bit = i * (size_t)raw->bits;
            if (raw->bits == 16)
                rows[y][2 * i] = (png_byte)(value >> 8);
            rows[y][raw->bits == 16 ? 2 * i + 1 : bit / 8] |=
                (png_byte)(raw->bits >= 8 ? value : value << (8 - raw->bits - (int)(bit % 8)));
        }
    }
    png_set_interlace_handling(png);
    png_write_image(png, rows);
    png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    for (size_t y = 0; y < HEIGHT; y++)
        free(rows[y]);
    cr_assert_eq(fclose(stream), 0);
}

Test(png, grey_of_few_bits_fills_the_range)
{
    for (int bits = 1; bits <= 4; bits *= 2)
        for (int interlaced = 0; interlaced < 2; interlaced++) {
            raw_write(
                "a.png",
                &(Raw){.bits = bits, .colour_type = PNG_COLOR_TYPE_GRAY, .interlaced = interlaced == 1});
            UfPicture *picture = picture_read("a.png");
            cr_assert_eq(uf_picture_channels(picture), 1);
            cr_assert_eq(uf_picture_sample(picture), UF_SAMPLE_U8);
            for (size_t y = 0; y < HEIGHT; y++)
                for (size_t x = 0; x < WIDTH; x++)
                    cr_assert_eq(((const uint8_t *)uf_picture_row_const(picture, y))[x],
                                 raw_sample(bits, x, y) * 255 / ((1u << bits) - 1), "%d bits", bits);
            uf_picture_free(&picture);
        }
}

/* All depths, with and without transparent entries. */
Test(png, palettes_come_as_colours)
{
    png_color palette[256];
    png_byte alpha[3] = {0, 128, 255};
    for (int i = 0; i < 256; i++)
        palette[i] = (png_color){(png_byte)(i * 7), (png_byte)(255 - i), (png_byte)(i * i)};
    for (int bits = 1; bits <= 8; bits *= 2)
        for (int transparent = 0; transparent < 2; transparent++) {
            raw_write("a.png", &(Raw){.bits = bits,
                                      .colour_type = PNG_COLOR_TYPE_PALETTE,
                                      .palette = palette,
                                      .palette_size = 1 << bits,
                                      .alpha = transparent ? alpha : NULL,
                                      .alpha_size = bits == 1 ? 2 : 3,
                                      .interlaced = bits == 2});
            UfPicture *picture = picture_read("a.png");
            size_t channels = transparent ? 4 : 3;
            cr_assert_eq(uf_picture_channels(picture), channels);
            for (size_t y = 0; y < HEIGHT; y++)
                for (size_t x = 0; x < WIDTH; x++) {
                    unsigned index = raw_sample(bits, x, y);
                    const uint8_t *pixel = (const uint8_t *)uf_picture_row_const(picture, y) + x * channels;
                    const uint8_t expected[4] = {palette[index].red, palette[index].green,
                                                 palette[index].blue, index < 3 ? alpha[index] : 255};
                    cr_assert_arr_eq(pixel, expected, channels, "%d bits, entry %u", bits, index);
                }
            uf_picture_free(&picture);
        }
}

Test(png, a_transparent_colour_comes_as_alpha)
{
    const png_color_16 grey8 = {.gray = 37}, rgb16 = {.red = 0, .green = 37, .blue = 74};
    raw_write("a.png", &(Raw){.bits = 8, .colour_type = PNG_COLOR_TYPE_GRAY, .transparent = &grey8});
    UfPicture *picture = picture_read("a.png");
    cr_assert_eq(uf_picture_channels(picture), 2);
    const uint8_t *row = uf_picture_row_const(picture, 0);
    const uint8_t expected[6] = {0, 255, 37, 0, 74, 255};
    cr_expect_arr_eq(row, expected, 6);
    uf_picture_free(&picture);
    raw_write("b.png", &(Raw){.bits = 16, .colour_type = PNG_COLOR_TYPE_RGB, .transparent = &rgb16});
    picture = picture_read("b.png");
    cr_assert_eq(uf_picture_channels(picture), 4);
    const uint16_t *wide = uf_picture_row_const(picture, 0);
    cr_expect_eq(wide[3], 0);
    cr_expect_eq(wide[7], 65535);
    cr_expect_eq(wide[1], 37);
    uf_picture_free(&picture);
}

/* A PNG as text: chunks with their right checksums are put together by hand. */
static void put_chunk(FILE *stream, const char *type, const void *data, size_t size)
{
    uint8_t head[8] = {(uint8_t)(size >> 24), (uint8_t)(size >> 16), (uint8_t)(size >> 8), (uint8_t)size};
    memcpy(head + 4, type, 4);
    uLong sum = crc32(crc32(0, NULL, 0), head + 4, 4);
    if (size > 0)
        sum = crc32(sum, data, (uInt)size);
    uint8_t crc[4] = {(uint8_t)(sum >> 24), (uint8_t)(sum >> 16), (uint8_t)(sum >> 8), (uint8_t)sum};
    fwrite(head, 1, 8, stream);
    fwrite(data, 1, size, stream);
    fwrite(crc, 1, 4, stream);
}

/* `from` with chunks put behind IHDR (first = true) or before IEND. */
static void insert_chunk(const char *from, const char *to, bool first, const char *type, const void *data,
                         size_t size)
{
    Bytes bytes = file_read(from);
    size_t at = first ? 33 : bytes.size - 12;
    FILE *stream = fopen(to, "wb");
    cr_assert_not_null(stream);
    fwrite(bytes.data, 1, at, stream);
    put_chunk(stream, type, data, size);
    fwrite(bytes.data + at, 1, bytes.size - at, stream);
    cr_assert_eq(fclose(stream), 0);
    bytes_free(&bytes);
}

static bool has(const char *path, const char *what)
{
    Bytes bytes = file_read(path);
    bool found = bytes_find(bytes, 0, what, strlen(what)) != SIZE_MAX;
    bytes_free(&bytes);
    return found;
}

/* Chunks that stay true come along to another PNG; those bound to the stored samples don't, nor to other
 * formats. */
Test(png, chunks_that_stay_true_come_along)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    png_write("a.png", &pixels, NULL);
    insert_chunk("a.png", "b.png", true, "gAMA", "\0\0\xB1\x8F", 4);
    insert_chunk("b.png", "c.png", true, "bKGD", "\0\1\0\1\0\1", 6);
    insert_chunk("c.png", "b.png", false, "tEXt", "Author\0Lantern", 14);
    insert_chunk("b.png", "c.png", false, "unKN", "unsafe", 6);
    insert_chunk("c.png", "b.png", false, "saFe", "", 0);
    insert_chunk("b.png", "c.png", true, "pHYs", "\0\0\x0B\x13\0\0\x0B\x13\1", 9);
    UfPicture *picture = picture_read("c.png");
    cr_assert_eq(uf_picture_write(picture, "d.png", NULL, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(picture, "d.tif", NULL, NULL), UF_OK);
    cr_expect(has("d.png", "gAMA") && has("d.png", "Lantern") && has("d.png", "saFe") &&
              has("d.png", "pHYs"));
    cr_expect_not(has("d.png", "bKGD") || has("d.png", "unKN"));
    cr_expect_not(has("d.tif", "gAMA"));
    Pixels back = picture_decode("d.png");
    cr_expect_arr_eq(back.codes, pixels.codes, 32 * 16 * 3 * 2);
    uf_picture_free(&picture);
    pixels_free(&pixels);
    pixels_free(&back);
}

static void expect_failure(const char *path, const char *word)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_picture_read(path, NULL, &picture, report), UF_ERROR_FORMAT);
    cr_expect_null(picture);
    cr_expect_not_null(strstr(uf_report_error(report), word), "%s", uf_report_error(report));
    uf_report_free(&report);
}

/* In the header, the pixels, and a text chunk behind them. */
Test(png, a_wrong_checksum_is_a_failure)
{
    static const char *const types[] = {"IHDR", "IDAT", "tEXt"};
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    png_write("plain.png", &pixels, NULL);
    for (int i = 0; i < 3; i++) {
        insert_chunk("plain.png", "a.png", false, "tEXt", "Author\0Lantern", 14);
        Bytes bytes = file_read("a.png");
        size_t at = bytes_find(bytes, 0, types[i], 4);
        size_t size = (size_t)bytes.data[at - 2] << 8 | bytes.data[at - 1];
        bytes.data[at + 4 + size] ^= 1;
        file_write("a.png", bytes.data, bytes.size);
        expect_failure("a.png", "CRC");
        bytes_free(&bytes);
    }
    pixels_free(&pixels);
}

Test(png, absurd_sizes_are_refused_before_anything_is_allocated)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    png_write("a.png", &pixels, NULL);
    Bytes bytes = file_read("a.png");
    static const uint32_t sizes[][2] = {{0, 16}, {0x7FFFFFFF, 0x7FFFFFFF}, {1000000, 1000000}, {1000001, 1}};
    for (size_t i = 0; i < 4; i++) {
        UfPicture *picture = NULL;
        UfReport *report = uf_report_create();
        for (int b = 0; b < 4; b++) {
            bytes.data[16 + b] = (uint8_t)(sizes[i][0] >> (24 - 8 * b));
            bytes.data[20 + b] = (uint8_t)(sizes[i][1] >> (24 - 8 * b));
        }
        uLong sum = crc32(crc32(0, NULL, 0), bytes.data + 12, 17);
        for (int b = 0; b < 4; b++)
            bytes.data[29 + b] = (uint8_t)(sum >> (24 - 8 * b));
        file_write("b.png", bytes.data, bytes.size);
        UfStatus status = uf_picture_read("b.png", NULL, &picture, report);
        cr_expect(status == UF_ERROR_FORMAT || status == UF_ERROR_MEMORY, "case %zu: %d", i, status);
        cr_expect_null(picture);
        cr_expect_neq(uf_report_error(report)[0], '\0');
        uf_report_free(&report);
    }
    bytes_free(&bytes);
    pixels_free(&pixels);
}

/* Two megabytes of zeros for every two kilobytes: an unpacked profile has a limit, the picture is read
 * without. */
Test(png, a_profile_that_unpacks_without_end_is_left_out)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    png_write("a.png", &pixels, NULL);
    size_t full = (size_t)300 << 20;
    uLongf room = full / 900 + 1000;
    uint8_t *chunk = calloc(1, room);
    cr_assert_not_null(chunk);
    memcpy(chunk, "bomb\0", 6);
    z_stream stream = {.next_out = chunk + 6, .avail_out = (uInt)room - 6};
    static uint8_t zeros[1 << 20];
    cr_assert_eq(deflateInit(&stream, 9), Z_OK);
    for (size_t done = 0; done < full; done += sizeof zeros) {
        stream.next_in = zeros;
        stream.avail_in = sizeof zeros;
        cr_assert_eq(deflate(&stream, done + sizeof zeros == full ? Z_FINISH : Z_NO_FLUSH),
                     done + sizeof zeros == full ? Z_STREAM_END : Z_OK);
    }
    insert_chunk("a.png", "b.png", true, "iCCP", chunk, 6 + stream.total_out);
    deflateEnd(&stream);
    free(chunk);
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_read("b.png", NULL, &picture, report), UF_OK, "%s", uf_report_error(report));
    cr_expect_eq(uf_picture_icc(picture).size_bytes, 0);
    cr_expect_eq(uf_report_warning_count(report), 1);
    uf_picture_free(&picture);
    uf_report_free(&report);
    pixels_free(&pixels);
}

static const char packet[] =
    "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>"
    "<rdf:Description rdf:about='' xmlns:dc='http://purl.org/dc/elements/1.1/' "
    "dc:source='kept'/></rdf:RDF></x:xmpmeta>";

Test(png, packed_xmp_is_unpacked)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    uint8_t chunk[1000] = "XML:com.adobe.xmp";
    uLongf size = sizeof chunk - 24;
    chunk[18] = 1; /* packed; method 0; language "en"; no translated keyword */
    memcpy(chunk + 20, "en\0\0", 4);
    cr_assert_eq(compress(chunk + 24, &size, (const Bytef *)packet, sizeof packet - 1), Z_OK);
    png_write("a.png", &pixels, NULL);
    for (int first = 0; first < 2; first++) {
        insert_chunk("a.png", "b.png", first == 1, "iTXt", chunk, 24 + size);
        UfPicture *picture = picture_read("b.png");
        cr_assert_eq(uf_picture_xmp(picture).size_bytes, sizeof packet - 1);
        cr_expect_arr_eq(uf_picture_xmp(picture).data, packet, sizeof packet - 1);
        uf_picture_free(&picture);
    }
    pixels_free(&pixels);
}

/* All other chunks, IDAT among them, stay byte for byte; XMP before or behind IDAT is replaced in its place.
 */
Test(png, tagging_leaves_all_other_chunks)
{
    Pixels pixels = noise_make(64, 32, 3, 16, 2);
    uint8_t chunk[1000] = "XML:com.adobe.xmp";
    memcpy(chunk + 22, packet, sizeof packet - 1);
    png_write("plain.png", &pixels, &(PngOptions){.interlaced = true});
    insert_chunk("plain.png", "text.png", false, "tEXt", "Author\0Lantern", 14);
    for (int place = 0; place < 3; place++) {
        if (place < 2)
            insert_chunk("text.png", "a.png", place == 0, "iTXt", chunk, 22 + sizeof packet - 1);
        else
            file_copy("text.png", "a.png");
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_picture_tag("a.png", "b.png", &(UfPhotoSphere){0},
                                    &(UfWriteOptions){.overwrite = true}, report),
                     UF_OK, "%s", uf_report_error(report));
        /* without its iTXt the result is the file without XMP */
        Bytes tagged = file_read("b.png"), plain = file_read("text.png");
        size_t at = bytes_find(tagged, 0, "iTXt", 4) - 4;
        size_t size = 12 + ((size_t)tagged.data[at + 2] << 8 | tagged.data[at + 3]);
        cr_assert_eq(tagged.size - size, plain.size);
        cr_expect_arr_eq(tagged.data, plain.data, at);
        cr_expect_arr_eq(tagged.data + at + size, plain.data + at, plain.size - at);
        Run run = RUN_PROGRAM("exiftool", "-s3", "-ProjectionType", "-XMP-dc:Source", "-Author", "b.png");
        cr_expect_str_eq(run.out,
                         place < 2 ? "equirectangular\nkept\nLantern\n" : "equirectangular\nLantern\n");
        run_free(&run);
        UfPicture *picture = picture_read("b.png");
        assert_samples(picture, &pixels, 0, "b.png");
        uf_picture_free(&picture);
        bytes_free(&tagged);
        bytes_free(&plain);
        uf_report_free(&report);
    }
    pixels_free(&pixels);
}

/* Orientation in eXIf (PNG, third edition) is honoured, and 1 afterwards. */
Test(png, orientation_is_applied_once)
{
    uint8_t exif[EXIF_BYTES];
    Pixels pixels = noise_make(24, 40, 3, 8, 4);
    exif_make(8, exif);
    png_write("a.png", &pixels, NULL);
    insert_chunk("a.png", "b.png", true, "eXIf", exif + 6, EXIF_BYTES - 6);
    UfPicture *picture = picture_read("b.png");
    cr_expect_eq(uf_picture_width_px(picture), 40);
    cr_assert_eq(uf_picture_write(picture, "c.png", NULL, NULL), UF_OK);
    UfPicture *again = picture_read("c.png");
    cr_expect_eq(uf_picture_width_px(again), 40);
    cr_expect_eq(uf_exif_orientation(uf_picture_exif(again)), 1);
    for (size_t y = 0; y < 24; y++)
        cr_expect_arr_eq(uf_picture_row_const(picture, y), uf_picture_row_const(again, y), 120);
    uf_picture_free(&picture);
    uf_picture_free(&again);
    pixels_free(&pixels);
}

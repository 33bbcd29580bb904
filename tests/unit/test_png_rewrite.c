/*
 * A PNG whose lower rows have changed keeps the beginning of its stream. libpng writes the sources and reads
 * the results.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include <zlib.h>

#include "picture/picture_internal.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(png_rewrite, .init = folder_enter, .fini = folder_leave);

#define WIDTH  256u
#define HEIGHT 128u

/* The zlib stream without the chunks around it. */
static Bytes stream_of(const char *path)
{
    Bytes file = file_read(path), out = {calloc(file.size, 1), 0};
    cr_assert_not_null(out.data);
    for (size_t at = 8; at + 12 <= file.size;) {
        const uint8_t *head = file.data + at;
        size_t size = (size_t)head[0] << 24 | (size_t)head[1] << 16 | (size_t)head[2] << 8 | head[3];
        if (memcmp(head + 4, "IDAT", 4) == 0) {
            memcpy(out.data + out.size, head + 8, size);
            out.size += size;
        }
        at += 12 + size;
    }
    bytes_free(&file);
    return out;
}

/* How many bytes behind the header two streams share. */
static size_t shared_bytes(const char *a, const char *b)
{
    Bytes one = stream_of(a), two = stream_of(b);
    size_t i = 2;
    while (i < one.size && i < two.size && one.data[i] == two.data[i])
        i++;
    bytes_free(&one);
    bytes_free(&two);
    return i - 2;
}

/* Inverts what lies in rows [y0, y1) and columns [x0, x1), rewrites a.png as b.png and reads that. */
static void rewrite(size_t x0, size_t y0, size_t x1, size_t y1, int threads)
{
    UfPicture *picture = picture_read("a.png");
    UfTouched *touched = NULL;
    UfReport *report = uf_report_create();
    UfWriteOptions options = {.overwrite = true, .threads = threads};
    size_t pixel = uf_picture_stride_bytes(picture) / uf_picture_width_px(picture);
    cr_assert_eq(
        uf_touched_create(uf_picture_width_px(picture), uf_picture_height_px(picture), &touched, report),
        UF_OK);
    for (size_t y = y0; y < y1; y++)
        for (size_t i = x0 * pixel; i < x1 * pixel; i++)
            ((uint8_t *)uf_picture_row(picture, y))[i] ^= 0x55;
    uf_touched_add(touched, x0, y0, x1, y1);
    cr_assert_eq(uf_picture_rewrite(picture, "a.png", touched, "b.png", &options, report), UF_OK, "%s",
                 uf_report_error(report));
    UfPicture *result = picture_read("b.png");
    cr_assert_eq(uf_picture_width_px(result), uf_picture_width_px(picture));
    cr_assert_eq(uf_picture_sample(result), uf_picture_sample(picture));
    for (size_t y = 0; y < uf_picture_height_px(picture); y++)
        cr_assert_arr_eq(uf_picture_row_const(result, y), uf_picture_row_const(picture, y),
                         uf_picture_stride_bytes(picture), "row %zu", y);
    uf_picture_free(&result);
    uf_picture_free(&picture);
    uf_touched_free(&touched);
    uf_report_free(&report);
}

/* Every way of coding that libpng offers, small memory so that there are many blocks, chunks of any size. */
Test(png_rewrite, beginning_of_every_kind_of_stream_stays)
{
    static const PngOptions ways[] = {{.memory_level = 1},
                                      {.level = 1, .memory_level = 1},
                                      {.level = 9, .memory_level = 2, .chunk_bytes = 7},
                                      {.level = 10, .memory_level = 1}, /* stored */
                                      {.strategy = Z_FIXED, .memory_level = 1, .chunk_bytes = 100},
                                      {.strategy = Z_HUFFMAN_ONLY, .memory_level = 1},
                                      {.strategy = Z_RLE, .memory_level = 3, .chunk_bytes = 65536}};
    for (size_t w = 0; w < sizeof ways / sizeof ways[0]; w++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (unsigned bits = 8; bits <= 16; bits += 8) {
                Pixels pixels = noise_make(WIDTH, HEIGHT, channels, bits, 4);
                png_write("a.png", &pixels, &ways[w]);
                rewrite(0, HEIGHT - 24, WIDTH, HEIGHT, 2);
                Bytes old = stream_of("a.png");
                /* noise: equal rows have equal shares; a block more or less */
                cr_expect_gt(shared_bytes("a.png", "b.png"), old.size * (HEIGHT - 24) / HEIGHT * 3 / 4,
                             "way %zu, %zu channels of %u bits", w, channels, bits);
                bytes_free(&old);
                pixels_free(&pixels);
            }
}

/* A stream of one block, a change in the first row, and none at all. */
Test(png_rewrite, streams_without_a_place_to_go_on_are_coded_anew)
{
    Pixels pixels = noise_make(40, 20, 3, 8, 5);
    png_write("a.png", &pixels, NULL);
    rewrite(0, 16, 40, 20, 1);
    rewrite(3, 0, 5, 1, 1);
    rewrite(0, 0, 0, 0, 1);
    pixels_free(&pixels);
}

/* Bands are of a mebibyte: this picture has several. */
Test(png_rewrite, threads_do_not_change_the_bytes)
{
    Pixels pixels = noise_make(1400, 700, 3, 16, 6);
    png_write("a.png", &pixels, &(PngOptions){.level = 1});
    for (size_t y0 = 0; y0 <= 400; y0 += 400) {
        rewrite(10, y0, 1400, 700, 1);
        file_copy("b.png", "one.png");
        rewrite(10, y0, 1400, 700, 3);
        cr_expect(file_same("b.png", "one.png"), "from row %zu", y0);
    }
    pixels_free(&pixels);
}

/* What is not stored as it is read goes the ordinary way. */
Test(png_rewrite, palettes_and_interlaced_pictures_come_out_right)
{
    Pixels pixels = noise_make(64, 32, 3, 8, 7);
    png_write("a.png", &pixels, &(PngOptions){.palette = true});
    rewrite(0, 24, 64, 32, 1);
    png_write("a.png", &pixels, &(PngOptions){.interlaced = true});
    rewrite(0, 24, 64, 32, 1);
    pixels_free(&pixels);
}

/* The file has been changed since it was read. */
Test(png_rewrite, a_damaged_stream_is_refused)
{
    Pixels pixels = noise_make(WIDTH, HEIGHT, 3, 8, 8);
    png_write("a.png", &pixels, &(PngOptions){.memory_level = 1});
    UfPicture *picture = picture_read("a.png");
    UfTouched *touched = NULL;
    UfReport *report = uf_report_create();
    Bytes bytes = file_read("a.png");
    cr_assert_eq(uf_touched_create(WIDTH, HEIGHT, &touched, NULL), UF_OK);
    uf_touched_add(touched, 0, HEIGHT - 8, WIDTH, HEIGHT);
    file_poke("a.png", bytes_find(bytes, 0, "IDAT", 4) + 400, "\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF", 8);
    UfStatus status = uf_picture_rewrite(picture, "a.png", touched, "b.png", NULL, report);
    cr_expect_eq(status, UF_ERROR_FORMAT, "%s", uf_report_error(report));
    cr_expect(!file_exists("b.png"));
    file_cut("a.png", "c.png", 900);
    cr_expect_eq(uf_picture_rewrite(picture, "c.png", touched, "b.png", NULL, report), UF_ERROR_FORMAT);
    cr_expect(!file_exists("b.png"));
    bytes_free(&bytes);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    uf_report_free(&report);
    pixels_free(&pixels);
}

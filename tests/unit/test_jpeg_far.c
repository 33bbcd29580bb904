/*
 * A walk through a scan on several threads against the walk on one: whatever the file, they come to the same
 * place with the same DC values, or both find the same file damaged.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "picture/jpeg_far.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(jpeg_far, .init = folder_enter, .fini = folder_leave);

#define WIDTH  401u
#define HEIGHT 317u

/* Noise, or a slope with a little of it. */
static void make_pnm(size_t channels, unsigned noise)
{
    Pixels pixels = noise_make(WIDTH, HEIGHT, channels, 8, 5);
    FILE *stream = fopen("base.pnm", "wb");
    cr_assert_not_null(stream);
    fprintf(stream, "P%c\n%u %u\n255\n", channels == 1 ? '5' : '6', WIDTH, HEIGHT);
    for (size_t i = 0; i < WIDTH * HEIGHT * channels; i++)
        putc((int)(i / channels % WIDTH * (255 - noise) / WIDTH + pixels.codes[i] * noise / 255), stream);
    cr_assert_eq(fclose(stream), 0);
    pixels_free(&pixels);
}

static void make_jpeg(const char *const arguments[4])
{
    const char *all[12] = {"cjpeg", "-quality", "95", "-outfile", "base.jpg"};
    size_t count = 5;
    for (size_t i = 0; i < 4 && arguments[i] != NULL; i++)
        all[count++] = arguments[i];
    all[count++] = "base.pnm";
    Run run = run_program(all, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

/* A walk that stands at the beginning of base.jpg's scan. */
typedef struct File {
    FILE *stream;
    struct jpeg_decompress_struct jpeg;
    UfJpegErrors errors;
    UfJpegWalk walk;
} File;

static void file_open(File *file)
{
    *file = (File){.stream = fopen("base.jpg", "rb")};
    cr_assert_not_null(file->stream);
    file->jpeg.err = uf_jpeg_errors_init(&file->errors, "base.jpg", NULL);
    if (setjmp(file->errors.jump))
        cr_assert_fail("libjpeg refuses the header");
    jpeg_create_decompress(&file->jpeg);
    cr_assert_eq(uf_jpeg_open(&file->jpeg, file->stream, NULL), UF_OK);
    Bytes content = file_read("base.jpg");
    const UfInput input = {.stream = file->stream};
    const UfJpegBytes bytes = {.fd = fileno(file->stream), .size_bytes = content.size};
    bytes_free(&content);
    cr_assert(uf_jpeg_walk_open(&file->walk, &file->jpeg, &bytes, uf_jpeg_data_start(&file->jpeg, &input)));
}

static void file_close(File *file)
{
    uf_jpeg_walk_clear(&file->walk);
    jpeg_destroy_decompress(&file->jpeg);
    fclose(file->stream);
}

static void expect_same_mark(const UfJpegWalk *far, const UfJpegWalk *near, const char *what)
{
    UfJpegMark a = uf_jpeg_walk_mark(far), b = uf_jpeg_walk_mark(near);
    cr_assert(a.place.byte == b.place.byte && a.place.bit == b.place.bit, "%s: byte %zu.%u instead of %zu.%u",
              what, (size_t)a.place.byte, a.place.bit, (size_t)b.place.byte, b.place.bit);
    cr_assert_eq(a.mcus_to_restart, b.mcus_to_restart, "%s", what);
    cr_assert_eq(a.next_restart, b.next_restart, "%s", what);
    for (unsigned c = 0; c < MAX_COMPS_IN_SCAN; c++)
        cr_assert_eq(a.predictors[c], b.predictors[c], "%s: DC of %u", what, c);
}

/* Walks `first` MCUs as far as one may, then the others; false where the file is damaged. */
static bool compare_walks(const char *what, size_t first, int threads)
{
    File far, near;
    uint64_t far_end = 0, near_end = 0;
    file_open(&far);
    file_open(&near);
    size_t all = near.walk.rows * near.walk.columns;
    first = first < all ? first : all;
    bool sound = uf_jpeg_walk_skip(&near.walk, first);
    cr_assert_eq(uf_jpeg_walk_far(&far.walk, first, threads), sound, "%s", what);
    if (sound)
        expect_same_mark(&far.walk, &near.walk, what);
    if (sound) {
        sound = uf_jpeg_walk_skip(&near.walk, all - first) && uf_jpeg_walk_finish(&near.walk, &near_end);
        cr_assert_eq(uf_jpeg_walk_far(&far.walk, all - first, threads) &&
                         uf_jpeg_walk_finish(&far.walk, &far_end),
                     sound, "%s", what);
    }
    if (sound) {
        expect_same_mark(&far.walk, &near.walk, what);
        cr_assert_eq(far_end, near_end, "%s", what);
    }
    file_close(&near);
    file_close(&far);
    return sound;
}

static void compare_all(const char *what)
{
    for (int threads = 1; threads <= 5; threads++)
        for (size_t i = 0; i < 4; i++) {
            static const size_t firsts[] = {SIZE_MAX, 777, 400, 0};
            cr_assert(compare_walks(what, firsts[i], threads), "%s", what);
        }
}

static const char *const codings[][2] = {
    {"-baseline"}, {"-optimize"}, {"-restart", "1"}, {"-restart", "7B"}, {"-restart", "200B"}};
#define CODINGS (sizeof codings / sizeof *codings)

Test(jpeg_far, several_threads_come_to_where_one_does)
{
    static const char *const samplings[] = {"1x1", "2x1", "2x2", "1x2", "4x1"};
    for (size_t channels = 1; channels <= 3; channels += 2)
        for (unsigned noise = 60; noise <= 255; noise += 195) {
            make_pnm(channels, noise);
            for (size_t s = 0; s < (channels == 1 ? 1 : sizeof samplings / sizeof *samplings); s++)
                for (size_t c = 0; c < CODINGS; c++) {
                    char what[64];
                    const char *const arguments[4] = {"-sample", samplings[s], codings[c][0], codings[c][1]};
                    make_jpeg(arguments);
                    snprintf(what, sizeof what, "%zu channels, %s, %s, noise %u", channels, samplings[s],
                             codings[c][0], noise);
                    compare_all(what);
                }
        }
}

/*
 * Three components of one block each with the same tables: nothing tells a guess which is which, so two of three
 * never fall into step. And a restart interval that leaves some pieces without a marker.
 */
Test(jpeg_far, halves_that_never_fall_into_step_are_walked_through)
{
    static const char *const arguments[][4] = {
        {"-rgb", "-baseline"}, {"-rgb", "-optimize"}, {"-sample", "2x2", "-restart", "300B"}};
    make_pnm(3, 200);
    for (size_t i = 0; i < 3; i++) {
        make_jpeg(arguments[i]);
        compare_all(arguments[i][1]);
    }
}

Test(jpeg_far, damage_is_found_by_several_as_by_one)
{
    size_t refused = 0, tried = 0;
    make_pnm(3, 200);
    for (size_t c = 0; c < CODINGS; c += 3) {
        const char *const arguments[4] = {"-sample", "2x2", codings[c][0], codings[c][1]};
        make_jpeg(arguments);
        Bytes file = file_read("base.jpg");
        for (size_t at = 700; at < file.size; at += 1009, tried++) {
            uint8_t old = file.data[at];
            file.data[at] = (uint8_t)(at % 3 == 0 ? 0xFF : old ^ 1u << at % 8);
            file_write("base.jpg", file.data, file.size);
            refused += compare_walks("a byte", SIZE_MAX, 2 + (int)(at % 3)) ? 0 : 1;
            file.data[at] = old;
        }
        file_write("base.jpg", file.data, file.size / 2);
        cr_expect_not(compare_walks("cut off", SIZE_MAX, 2));
        bytes_free(&file);
    }
    cr_expect(refused > 0 && refused < tried, "%zu of %zu", refused, tried);
}

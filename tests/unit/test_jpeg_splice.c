/*
 * JPEGs changed in their entropy-coded data, and read in part. The oracle is the way through libjpeg's
 * coefficients (which test_jpeg_rewrite.c holds against jpegtran): both must give the same blocks, whatever
 * the file; and the whole file decoded by libjpeg, whose rows those of a part must equal.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "picture/jpeg_splice.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(jpeg_splice, .init = folder_enter, .fini = folder_leave);

static const char *const samplings[] = {"1x1", "2x1", "2x2", "1x2", "4x1", "grey", "grey 2x2", "grey 3x1"};
/* -restart N: MCU rows, NB: MCUs; 7 divides no row of these pictures. */
static const char *const codings[][3] = {
    {"-baseline"}, {"-optimize"}, {"-restart", "1"}, {"-restart", "7B"}, {"-restart", "2B", "-optimize"}};
#define CODINGS (sizeof codings / sizeof *codings)
#define WIDTH   150u
#define HEIGHT  139u

static bool is_grey(const char *sampling)
{
    return strncmp(sampling, "grey", 4) == 0;
}

static void make_pnm(size_t channels, unsigned seed, unsigned noise)
{
    Pixels pixels = noise_make(WIDTH, HEIGHT, channels, 8, seed);
    FILE *stream = fopen("base.pnm", "wb");
    cr_assert_not_null(stream);
    fprintf(stream, "P%c\n%u %u\n255\n", channels == 1 ? '5' : '6', WIDTH, HEIGHT);
    for (size_t i = 0; i < WIDTH * HEIGHT * channels; i++)
        putc((int)(noise == 0 ? i / channels % WIDTH / 2 : pixels.codes[i]), stream);
    cr_assert_eq(fclose(stream), 0);
    pixels_free(&pixels);
}

static void make_jpeg(const char *sampling, const char *const coding[3])
{
    const char *factors = !is_grey(sampling) ? sampling : sampling[4] == ' ' ? sampling + 5 : "1x1";
    const char *arguments[12] = {"cjpeg", "-quality", "80", "-sample", factors, "-outfile", "base.jpg"};
    size_t count = 7;
    for (size_t i = 0; i < 3 && coding[i] != NULL; i++)
        arguments[count++] = coding[i];
    arguments[count++] = "base.pnm";
    Run run = run_program(arguments, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

/* Places that matter: bottom, top, a cell in the middle, the right edge, scattered cells, everything. */
#define MASKS 6u
static void change(UfPicture *picture, UfTouched *touched, size_t mask)
{
    static const size_t rects[5][4] = {{0, 107, WIDTH, HEIGHT},
                                       {0, 0, WIDTH, 20},
                                       {64, 64, 72, 72},
                                       {141, 30, WIDTH, 90},
                                       {0, 0, WIDTH, HEIGHT}};
    if (mask < 5)
        picture_change(picture, touched, rects[mask][0], rects[mask][1], rects[mask][2], rects[mask][3]);
    else
        for (size_t i = 0; i < 9; i++)
            picture_change(picture, touched, 5 + 16 * i, 3 + 14 * i, 9 + 16 * i, 8 + 14 * i);
}

typedef UfStatus (*Way)(const UfPicture *picture, UfInput *source, const UfTouched *touched, UfOutput *output,
                        UfReport *report);

static UfStatus spliced_only(const UfPicture *picture, UfInput *source, const UfTouched *touched,
                             UfOutput *output, UfReport *report)
{
    bool served = false;
    UfStatus status = uf_jpeg_splice(picture, source, touched, output, 2, &served, report);
    return status == UF_OK && !served ? UF_ERROR_UNSUPPORTED : status;
}

static UfStatus write_by(Way way, const UfPicture *picture, const UfTouched *touched, const char *path)
{
    UfInput source;
    UfOutput output;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_input_open("base.jpg", &source, report), UF_OK);
    cr_assert_eq(uf_output_open(path, true, &output, report), UF_OK);
    UfStatus status = way(picture, &source, touched, &output, report);
    if (status == UF_OK)
        cr_assert_eq(uf_output_commit(&output, report), UF_OK);
    else
        uf_output_discard(&output);
    uf_input_close(&source);
    uf_report_free(&report);
    return status;
}

static void compare_ways(const char *what, bool must_serve)
{
    for (size_t mask = 0; mask < MASKS; mask++) {
        UfPicture *picture = picture_read("base.jpg");
        UfTouched *touched = touched_of(picture);
        change(picture, touched, mask);
        UfStatus status = write_by(spliced_only, picture, touched, "spliced.jpg");
        cr_assert(status == UF_OK || (status == UF_ERROR_UNSUPPORTED && !must_serve),
                  "%s, mask %zu: status %d", what, mask, (int)status);
        cr_assert_eq(write_by(uf_jpeg_rewrite_coefficients, picture, touched, "whole.jpg"), UF_OK);
        if (status == UF_OK)
            cr_assert(jpeg_same_blocks("spliced.jpg", "whole.jpg", HEIGHT + 64), "%s, mask %zu", what, mask);
        cr_assert_not(file_same("whole.jpg", "base.jpg"));
        uf_touched_free(&touched);
        uf_picture_free(&picture);
    }
}

/* Tables made for the file may lack a code for the noise; all the others must not need the long way. */
Test(jpeg_splice, gives_the_blocks_of_the_coefficient_way)
{
    for (size_t s = 0; s < sizeof samplings / sizeof *samplings; s++) {
        make_pnm(is_grey(samplings[s]) ? 1 : 3, 7, 1);
        for (size_t c = 0; c < CODINGS; c++) {
            char what[64];
            snprintf(what, sizeof what, "%s %s %s", samplings[s], codings[c][0],
                     codings[c][1] == NULL ? "" : codings[c][1]);
            make_jpeg(samplings[s], codings[c]);
            compare_ways(what, strcmp(codings[c][0], "-optimize") != 0 && codings[c][2] == NULL);
        }
    }
}

/* A smooth picture's own tables have no codes for noise: the file is coded anew, and says the same. */
Test(jpeg_splice, missing_codes_take_the_long_way)
{
    static const char *const coding[3] = {"-optimize"};
    make_pnm(3, 7, 0);
    make_jpeg("2x2", coding);
    UfPicture *picture = picture_read("base.jpg");
    UfTouched *touched = touched_of(picture);
    change(picture, touched, 0);
    cr_expect_eq(write_by(spliced_only, picture, touched, "spliced.jpg"), UF_ERROR_UNSUPPORTED);
    cr_assert_eq(uf_picture_rewrite(picture, "base.jpg", touched, "out.jpg", NULL, NULL), UF_OK);
    cr_assert_eq(write_by(uf_jpeg_rewrite_coefficients, picture, touched, "whole.jpg"), UF_OK);
    cr_expect(file_same("out.jpg", "whole.jpg"));
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

/*
 * A Huffman table with two codes for a symbol: libjpeg reads it and does not write it. Found by the fuzz
 * target `splice`. The standard table for AC coefficients (T.81 table K.5) ends with these three symbols.
 */
Test(jpeg_splice, a_symbol_with_two_codes_is_no_damage)
{
    static const char end_of_table[] = "\xF8\xF9\xFA";
    make_pnm(3, 7, 1);
    make_jpeg("2x2", codings[0]);
    Bytes file = file_read("base.jpg");
    size_t at = bytes_find(file, 0, end_of_table, 3);
    cr_assert_lt(at, file.size);
    file_poke("base.jpg", at + 2, "\xF9", 1);
    compare_ways("two codes", true);
    bytes_free(&file);
}

static UfPicture *read_rows(const char *path, size_t first, size_t end, UfStatus *status)
{
    UfPicture *picture = NULL;
    UfReadOptions options = {.first_row_px = first, .end_row_px = end};
    *status = uf_picture_read(path, &options, &picture, NULL);
    return picture;
}

static void compare_rows(const UfPicture *whole, size_t first, size_t end, size_t most, const char *what)
{
    UfStatus status;
    size_t from, to;
    UfPicture *part = read_rows("base.jpg", first, end, &status);
    cr_assert_eq(status, UF_OK, "%s", what);
    uf_picture_held_rows(part, &from, &to);
    cr_expect(from <= first && to >= end, "%s: rows %zu to %zu are there", what, from, to);
    cr_expect(to - from <= most, "%s: %zu rows instead of %zu", what, to - from, most);
    cr_assert_eq(uf_picture_height_px(part), HEIGHT);
    for (size_t y = from; y < to; y++)
        cr_assert_arr_eq(uf_picture_row_const(part, y), uf_picture_row_const(whole, y),
                         uf_picture_stride_bytes(whole), "%s: row %zu", what, y);
    uf_picture_free(&part);
}

Test(jpeg_splice, rows_of_a_part_are_those_of_the_whole)
{
    static const char *const kinds[][3] = {
        {"-baseline"}, {"-restart", "7B"}, {"-optimize"}, {"-progressive"}};
    for (size_t s = 0; s < sizeof samplings / sizeof *samplings; s++) {
        make_pnm(is_grey(samplings[s]) ? 1 : 3, 11, 1);
        for (size_t k = 0; k < 4; k++) {
            char what[64];
            snprintf(what, sizeof what, "%s %s", samplings[s], kinds[k][0]);
            make_jpeg(samplings[s], kinds[k]);
            UfPicture *whole = picture_read("base.jpg");
            compare_rows(whole, 100, HEIGHT, 48, what);
            compare_rows(whole, 0, 9, 16, what);
            compare_rows(whole, 40, 41, 16, what);
            uf_picture_free(&whole);
        }
    }
}

/* More coded bytes than the buffers hold at first, in the rows that are read and in those that are coded
 * anew. */
Test(jpeg_splice, much_data_is_read_and_coded_like_little)
{
    const size_t width = 768, height = 512;
    Pixels pixels = noise_make(width, height, 3, 8, 4);
    FILE *stream = fopen("base.pnm", "wb");
    cr_assert_not_null(stream);
    fprintf(stream, "P6\n%zu %zu\n255\n", width, height);
    for (size_t i = 0; i < width * height * 3; i++)
        putc((int)pixels.codes[i], stream);
    cr_assert_eq(fclose(stream), 0);
    make_jpeg("1x1", codings[3]);
    UfStatus status;
    UfPicture *whole = picture_read("base.jpg"), *part = read_rows("base.jpg", 40, height, &status);
    cr_assert_eq(status, UF_OK);
    for (size_t y = 40; y < height; y++)
        cr_assert_arr_eq(uf_picture_row_const(part, y), uf_picture_row_const(whole, y),
                         uf_picture_stride_bytes(whole), "row %zu", y);
    UfTouched *touched = touched_of(whole);
    picture_change(part, touched, 0, 48, width, height);
    picture_change(whole, touched, 0, 48, width, height);
    cr_assert_eq(write_by(spliced_only, part, touched, "spliced.jpg"), UF_OK);
    cr_assert_eq(write_by(uf_jpeg_rewrite_coefficients, whole, touched, "whole.jpg"), UF_OK);
    cr_expect(jpeg_same_blocks("spliced.jpg", "whole.jpg", height));
    uf_touched_free(&touched);
    uf_picture_free(&part);
    uf_picture_free(&whole);
    pixels_free(&pixels);
}

/* Only what was read can be changed, and only in the same format; a copy holds as much. */
Test(jpeg_splice, a_part_is_patched_like_the_whole)
{
    UfStatus status;
    size_t from, to;
    make_pnm(3, 5, 1);
    make_jpeg("2x2", codings[3]);
    UfPicture *whole = picture_read("base.jpg"), *part = read_rows("base.jpg", 107, HEIGHT, &status),
              *copy = NULL;
    cr_assert_eq(status, UF_OK);
    cr_assert_eq(uf_picture_copy(part, &copy, NULL), UF_OK);
    UfTouched *touched = touched_of(whole);
    change(whole, touched, 0);
    change(copy, touched, 0);
    cr_assert_eq(uf_picture_rewrite(whole, "base.jpg", touched, "whole.jpg", NULL, NULL), UF_OK);
    cr_assert_eq(uf_picture_rewrite(copy, "base.jpg", touched, "part.jpg", NULL, NULL), UF_OK);
    cr_expect(file_same("whole.jpg", "part.jpg"));
    cr_expect_eq(uf_picture_rewrite(copy, "base.jpg", touched, "part.png", NULL, NULL), UF_ERROR_ARGUMENT);
    cr_expect_eq(uf_picture_write(part, "part2.jpg", NULL, NULL), UF_ERROR_ARGUMENT);
    cr_expect_not(file_exists("part2.jpg"));
    uf_picture_held_rows(whole, &from, &to);
    cr_expect(from == 0 && to == HEIGHT);
    uf_touched_free(&touched);
    uf_picture_free(&copy);
    uf_picture_free(&part);
    uf_picture_free(&whole);
}

/* What reading a part noted of the way saves walking it again, in the very file that was read only. */
static void compare_with_copy(UfPicture *part, UfPicture *copy, const UfTouched *touched, const char *what)
{
    const UfWriteOptions over = {.overwrite = true};
    cr_assert_eq(uf_picture_rewrite(part, "base.jpg", touched, "noted.jpg", &over, NULL), UF_OK, "%s", what);
    cr_assert_eq(uf_picture_rewrite(copy, "base.jpg", touched, "walked.jpg", &over, NULL), UF_OK, "%s", what);
    cr_expect(file_same("noted.jpg", "walked.jpg"), "%s", what);
}

Test(jpeg_splice, goes_on_where_reading_began)
{
    for (size_t s = 0; s < sizeof samplings / sizeof *samplings; s++)
        for (size_t c = 0; c < CODINGS; c++) {
            UfStatus status;
            UfPicture *copy = NULL;
            make_pnm(is_grey(samplings[s]) ? 1 : 3, 5, 1);
            make_jpeg(samplings[s], codings[c]);
            UfPicture *part = read_rows("base.jpg", 107, HEIGHT, &status);
            cr_assert_eq(status, UF_OK);
            UfTouched *touched = touched_of(part);
            change(part, touched, 0);
            cr_assert_eq(uf_picture_copy(part, &copy, NULL), UF_OK);
            compare_with_copy(part, copy, touched, samplings[s]);
            make_pnm(is_grey(samplings[s]) ? 1 : 3, 6, 1);
            make_jpeg(samplings[s], codings[c]);
            compare_with_copy(part, copy, touched, "another file");
            uf_touched_free(&touched);
            uf_picture_free(&copy);
            uf_picture_free(&part);
        }
}

/* Rows that are read, and of them those that are replaced: to the bottom, from the top, in between. */
static const size_t replacings[][4] = {
    {40, HEIGHT, 70, HEIGHT}, {0, 110, 0, 70}, {20, 125, 60, 100}, {0, HEIGHT, 0, HEIGHT - 20}};
#define REPLACINGS (sizeof replacings / sizeof *replacings)
/* An MCU row of the tallest kind. */
#define MOST_STEP 16u

static UfPicture *read_replaced(const size_t rows[4])
{
    UfPicture *picture = NULL;
    const UfReadOptions options = {.first_row_px = rows[0],
                                   .end_row_px = rows[1],
                                   .replaced_first_px = rows[2],
                                   .replaced_end_px = rows[3],
                                   .threads = 2};
    (void)uf_picture_read("base.jpg", &options, &picture, NULL);
    return picture;
}

/* Replaces the rows in both, and writes them. */
static void compare_replaced(const char *what, const size_t rows[4])
{
    UfPicture *whole = picture_read("base.jpg"), *part = read_replaced(rows);
    const UfWriteOptions over = {.overwrite = true};
    size_t zeros = 0;
    cr_assert_not_null(part, "%s", what);
    for (size_t y = rows[0]; y < rows[1]; y++) {
        const uint8_t *row = uf_picture_row_const(part, y);
        if (y < rows[2] || y >= rows[3])
            cr_assert_arr_eq(row, uf_picture_row_const(whole, y), uf_picture_stride_bytes(whole),
                             "%s: row %zu", what, y);
        else
            zeros += row[0] == 0 && memcmp(row, row + 1, uf_picture_stride_bytes(whole) - 1) == 0;
    }
    /* tables made for the file may lack a code that the first MCU then needs: all is decoded */
    if (strstr(what, "-optimize") == NULL)
        cr_expect_geq(zeros + 2 * (MOST_STEP - 1), rows[3] - rows[2], "%s: %zu left out", what, zeros);
    UfTouched *touched = touched_of(whole);
    picture_change(whole, touched, 0, rows[2], WIDTH, rows[3]);
    picture_change(part, touched, 0, rows[2], WIDTH, rows[3]);
    cr_assert_eq(uf_picture_rewrite(whole, "base.jpg", touched, "whole.jpg", &over, NULL), UF_OK, "%s", what);
    cr_assert_eq(uf_picture_rewrite(part, "base.jpg", touched, "part.jpg", &over, NULL), UF_OK, "%s", what);
    cr_expect(file_same("whole.jpg", "part.jpg"), "%s", what);
    uf_touched_free(&touched);
    uf_picture_free(&part);
    uf_picture_free(&whole);
}

Test(jpeg_splice, replaced_rows_are_not_decoded)
{
    for (size_t s = 0; s < sizeof samplings / sizeof *samplings; s++) {
        make_pnm(is_grey(samplings[s]) ? 1 : 3, 13, 1);
        for (size_t c = 0; c < CODINGS; c++) {
            make_jpeg(samplings[s], codings[c]);
            for (size_t r = 0; r < REPLACINGS; r++) {
                char what[64];
                snprintf(what, sizeof what, "%s %s %s, rows %zu", samplings[s], codings[c][0],
                         codings[c][2] == NULL ? "" : codings[c][2], r);
                compare_replaced(what, replacings[r]);
            }
        }
    }
}

/* Rows that are passed over hold zeros; the others what they do in the whole, and the file that is written is
 * the same. */
Test(jpeg_splice, rows_that_are_passed_over_are_not_kept)
{
    const UfReadOptions options = {
        .first_row_px = 40, .end_row_px = HEIGHT, .sparse = {45, 110, 3, 11, 4}, .threads = 2};
    const UfWriteOptions over = {.overwrite = true};
    for (size_t s = 0; s < sizeof samplings / sizeof *samplings; s++)
        for (size_t c = 0; c < CODINGS; c++) {
            UfPicture *part = NULL;
            size_t passed = 0;
            make_pnm(is_grey(samplings[s]) ? 1 : 3, 17, 1);
            make_jpeg(samplings[s], codings[c]);
            UfPicture *whole = picture_read("base.jpg");
            cr_assert_eq(uf_picture_read("base.jpg", &options, &part, NULL), UF_OK);
            for (size_t y = 40; y < HEIGHT; y++) {
                const uint8_t *row = uf_picture_row_const(part, y);
                const bool zero = row[0] == 0 && memcmp(row, row + 1, uf_picture_stride_bytes(part) - 1) == 0;
                const bool kept = y < 45 || y >= 110 || (y - 3) % 11 < 4;
                passed += zero;
                cr_assert(kept ? memcmp(row, uf_picture_row_const(whole, y), uf_picture_stride_bytes(part)) ==
                                     0
                               : zero,
                          "%s %s: row %zu", samplings[s], codings[c][0], y);
            }
            cr_expect_gt(passed, 35, "%zu", passed);
            UfTouched *touched = touched_of(whole);
            picture_change(whole, touched, 0, 120, WIDTH, HEIGHT);
            picture_change(part, touched, 0, 120, WIDTH, HEIGHT);
            cr_assert_eq(uf_picture_rewrite(whole, "base.jpg", touched, "whole.jpg", &over, NULL), UF_OK);
            cr_assert_eq(uf_picture_rewrite(part, "base.jpg", touched, "part.jpg", &over, NULL), UF_OK);
            cr_expect(file_same("whole.jpg", "part.jpg"), "%s %s", samplings[s], codings[c][0]);
            uf_touched_free(&touched);
            uf_picture_free(&part);
            uf_picture_free(&whole);
        }
}

/* Writes base.jpg with its replaced rows, if it can be read and written. */
static UfStatus replace(const char *path)
{
    UfPicture *part = read_replaced(replacings[0]);
    if (part == NULL)
        return UF_ERROR_FORMAT;
    UfTouched *touched = touched_of(part);
    picture_change(part, touched, 0, replacings[0][2], WIDTH, HEIGHT);
    UfStatus status =
        uf_picture_rewrite(part, "base.jpg", touched, path, &(UfWriteOptions){.overwrite = true}, NULL);
    uf_touched_free(&touched);
    uf_picture_free(&part);
    return status;
}

/* Codes that are replaced may be damaged; restart markers and the end have to be there. */
Test(jpeg_splice, damage_that_is_replaced_is_gone)
{
    make_pnm(3, 3, 1);
    make_jpeg("2x2", codings[2]);
    Bytes file = file_read("base.jpg");
    cr_assert_eq(replace("sound.jpg"), UF_OK);
    size_t at = file.size - 2500; /* the last restart interval but one */
    while (file.data[at - 1] == 0xFF || file.data[at] == 0xFF || file.data[at + 1] == 0xFF)
        at++;
    file_poke("base.jpg", at, "\x55", 1);
    cr_expect_eq(replace("mended.jpg"), UF_OK);
    cr_expect(file_same("sound.jpg", "mended.jpg"));
    file_poke("base.jpg", at, "\xFF\xD9", 2);
    cr_expect_eq(replace("early.jpg"), UF_ERROR_FORMAT);
    file_poke("base.jpg", at, file.data + at, 2);
    size_t marker = file.size - 3;
    while (file.data[marker - 1] != 0xFF || (file.data[marker] & 0xF8) != 0xD0)
        marker--;
    file_poke("base.jpg", marker, file.data[marker] == 0xD0 ? "\xD1" : "\xD0", 1);
    cr_expect_eq(replace("wrong.jpg"), UF_ERROR_FORMAT);
    file_write("base.jpg", file.data, file.size - 2);
    cr_expect_eq(replace("cut.jpg"), UF_ERROR_FORMAT);
    cr_expect_not(file_exists("early.jpg") || file_exists("wrong.jpg") || file_exists("cut.jpg"));
    bytes_free(&file);
}

/*
 * Damage: what libjpeg refuses when it reads everything is refused here, too, at the latest in writing; what
 * it takes (a changed bit may be another valid code) comes out with the same blocks.
 */
static void compare_verdicts(Bytes file, size_t size, const char *what)
{
    UfStatus in_part;
    UfPicture *whole = NULL, *part;
    file_write("base.jpg", file.data, size);
    UfStatus in_whole = uf_picture_read("base.jpg", NULL, &whole, NULL);
    if (whole != NULL) {
        UfTouched *touched = touched_of(whole);
        change(whole, touched, 1);
        in_whole = write_by(uf_jpeg_rewrite_coefficients, whole, touched, "whole.jpg");
        uf_touched_free(&touched);
    }
    part = read_rows("base.jpg", 0, 20, &in_part);
    if (part != NULL) {
        UfTouched *touched = touched_of(part);
        change(part, touched, 1);
        in_part = uf_picture_rewrite(part, "base.jpg", touched, "part.jpg",
                                     &(UfWriteOptions){.overwrite = true}, NULL);
        uf_touched_free(&touched);
    }
    cr_assert_eq(in_part, in_whole, "%s: %d instead of %d", what, (int)in_part, (int)in_whole);
    if (in_whole == UF_OK)
        cr_assert(jpeg_same_blocks("part.jpg", "whole.jpg", HEIGHT + 64), "%s", what);
    uf_picture_free(&whole);
    uf_picture_free(&part);
}

Test(jpeg_splice, damage_is_judged_as_libjpeg_does)
{
    make_pnm(1, 3, 1);
    make_jpeg("grey", codings[3]);
    Bytes file = file_read("base.jpg");
    size_t refused = 0;
    for (size_t at = 330; at < file.size; at += 97) {
        char what[64];
        uint8_t old = file.data[at];
        snprintf(what, sizeof what, "byte %zu", at);
        file.data[at] = (uint8_t)(at % 3 == 0 ? 0xFF : old ^ 1u << at % 8);
        compare_verdicts(file, file.size, what);
        file.data[at] = old;
        refused += file_exists("part.jpg") ? 0 : 1;
        remove("part.jpg");
    }
    for (size_t size = file.size - 5; size < file.size; size++)
        compare_verdicts(file, size, "cut off");
    cr_expect_gt(refused, 0);
    bytes_free(&file);
}

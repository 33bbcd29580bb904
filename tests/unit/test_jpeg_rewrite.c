/*
 * JPEGs changed in part. The oracle is libjpeg's own jpegtran, which can drop one JPEG's blocks into another;
 * and the coefficients themselves, read by libjpeg. ITU-T T.81 A.2: an MCU is Hmax*8 x Vmax*8 pixels.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include "picture/picture_internal.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(jpeg_rewrite, .init = folder_enter, .fini = folder_leave);

/* The picture's own pixels as a PPM or PGM, for cjpeg. */
static void write_part(const UfPicture *picture, size_t x0, size_t y0, size_t x1, size_t y1)
{
    size_t channels = uf_picture_channels(picture);
    FILE *stream = fopen("part.pnm", "wb");
    cr_assert_not_null(stream);
    fprintf(stream, "P%c\n%zu %zu\n255\n", channels == 1 ? '5' : '6', x1 - x0, y1 - y0);
    for (size_t y = y0; y < y1; y++)
        fwrite((const uint8_t *)uf_picture_row_const(picture, y) + x0 * channels, channels, x1 - x0, stream);
    cr_assert_eq(fclose(stream), 0);
}

static void run_checked(const char *const *arguments)
{
    Run run = run_program(arguments, NULL);
    cr_assert_eq(run.status, 0, "%s: %s", arguments[0], run.err);
    run_free(&run);
}
#define CHECKED(...) run_checked((const char *const[]){__VA_ARGS__, NULL})

/* Changes an MCU-aligned part of base.jpg through the library, and with jpegtran; both files must be the
 * same. */
static void compare_with_jpegtran(const char *sampling, const char *coding, const char *coding_value)
{
    UfPicture *picture = picture_read("base.jpg");
    UfTouched *touched = touched_of(picture);
    UfReport *report = uf_report_create();
    picture_change(picture, touched, 64, 32, 160, 96);
    UfStatus status = uf_picture_rewrite(picture, "base.jpg", touched, "out.jpg",
                                         &(UfWriteOptions){.overwrite = true}, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    cr_expect_eq(uf_report_warning_count(report), 0, "%s", uf_report_warning(report, 0));
    write_part(picture, 64, 32, 160, 96);
    CHECKED("cjpeg", "-quality", "85", "-sample", sampling, "-outfile", "part.jpg", "part.pnm");
    if (coding == NULL)
        CHECKED("jpegtran", "-copy", "all", "-drop", "+64+32", "part.jpg", "-outfile", "want.jpg",
                "base.jpg");
    else if (coding_value == NULL)
        CHECKED("jpegtran", "-copy", "all", coding, "-drop", "+64+32", "part.jpg", "-outfile", "want.jpg",
                "base.jpg");
    else
        CHECKED("jpegtran", "-copy", "all", coding, coding_value, "-drop", "+64+32", "part.jpg", "-outfile",
                "want.jpg", "base.jpg");
    cr_expect(file_same("out.jpg", "want.jpg"), "sampling %s, %s", sampling,
              coding == NULL ? "plain" : coding);
    cr_expect_not(file_same("out.jpg", "base.jpg"));
    uf_report_free(&report);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

static void try_codings(const char *sampling)
{
    static const char *const codings[][2] = {{NULL, NULL},        {"-progressive", NULL},
                                             {"-optimize", NULL}, {"-arithmetic", NULL},
                                             {"-restart", "1"},   {"-restart", "3B"}};
    for (size_t i = 0; i < sizeof codings / sizeof *codings; i++) {
        if (codings[i][0] == NULL)
            CHECKED("cjpeg", "-quality", "85", "-sample", sampling, "-outfile", "base.jpg", "base.pnm");
        else if (codings[i][1] == NULL)
            CHECKED("cjpeg", "-quality", "85", "-sample", sampling, codings[i][0], "-outfile", "base.jpg",
                    "base.pnm");
        else
            CHECKED("cjpeg", "-quality", "85", "-sample", sampling, codings[i][0], codings[i][1], "-outfile",
                    "base.jpg", "base.pnm");
        compare_with_jpegtran(sampling, codings[i][0], codings[i][1]);
    }
}

/* Sizes that end inside an MCU. */
static void make_base(size_t channels)
{
    Pixels pixels = noise_make(205, 123, channels, 8, 6);
    UfPicture *picture = picture_of(&pixels);
    write_part(picture, 0, 0, 205, 123);
    cr_assert_eq(rename("part.pnm", "base.pnm"), 0);
    uf_picture_free(&picture);
    pixels_free(&pixels);
}

Test(jpeg_rewrite, equals_jpegtran_for_4_4_4)
{
    make_base(3);
    try_codings("1x1");
}

Test(jpeg_rewrite, equals_jpegtran_for_4_2_2)
{
    make_base(3);
    try_codings("2x1");
}

Test(jpeg_rewrite, equals_jpegtran_for_4_2_0)
{
    make_base(3);
    try_codings("2x2");
}

Test(jpeg_rewrite, equals_jpegtran_for_4_4_0)
{
    make_base(3);
    try_codings("1x2");
}

Test(jpeg_rewrite, equals_jpegtran_for_4_1_1)
{
    make_base(3);
    try_codings("4x1");
}

Test(jpeg_rewrite, equals_jpegtran_for_grey)
{
    make_base(1);
    try_codings("1x1");
}

/* A JPEG's coefficients. */
typedef struct Blocks {
    struct jpeg_error_mgr errors;
    struct jpeg_decompress_struct jpeg;
    jvirt_barray_ptr *arrays;
    FILE *stream;
} Blocks;

static Blocks *blocks_open(const char *path)
{
    Blocks *blocks = calloc(1, sizeof *blocks);
    cr_assert_not_null(blocks);
    blocks->jpeg.err = jpeg_std_error(&blocks->errors);
    blocks->stream = fopen(path, "rb");
    cr_assert_not_null(blocks->stream);
    jpeg_create_decompress(&blocks->jpeg);
    jpeg_stdio_src(&blocks->jpeg, blocks->stream);
    jpeg_read_header(&blocks->jpeg, TRUE);
    blocks->arrays = jpeg_read_coefficients(&blocks->jpeg);
    return blocks;
}

static void blocks_close(Blocks *blocks)
{
    jpeg_destroy_decompress(&blocks->jpeg);
    fclose(blocks->stream);
    free(blocks);
}

static const JCOEF *block_at(Blocks *blocks, int component, JDIMENSION x, JDIMENSION y)
{
    return blocks->jpeg.mem->access_virt_barray((j_common_ptr)&blocks->jpeg, blocks->arrays[component], y, 1,
                                                FALSE)[0][x];
}

/*
 * Compares all blocks of two files; those of the marked MCUs (may[row * columns + column]) may differ.
 * Returns how many do.
 */
static size_t compare_blocks(const char *a_path, const char *b_path, const bool *may, size_t columns,
                             const char *what)
{
    Blocks *a = blocks_open(a_path), *b = blocks_open(b_path);
    size_t differing = 0;
    cr_assert_eq(a->jpeg.num_components, b->jpeg.num_components);
    for (int c = 0; c < a->jpeg.num_components; c++) {
        const jpeg_component_info *info = &a->jpeg.comp_info[c], *other = &b->jpeg.comp_info[c];
        cr_assert_eq(info->h_samp_factor, other->h_samp_factor);
        cr_assert_eq(info->v_samp_factor, other->v_samp_factor);
        cr_assert_arr_eq(info->quant_table->quantval, other->quant_table->quantval,
                         sizeof info->quant_table->quantval);
        for (JDIMENSION y = 0; y < info->height_in_blocks; y++)
            for (JDIMENSION x = 0; x < info->width_in_blocks; x++) {
                if (memcmp(block_at(a, c, x, y), block_at(b, c, x, y), sizeof(JBLOCK)) == 0)
                    continue;
                differing++;
                size_t column = x / (unsigned)info->h_samp_factor, row = y / (unsigned)info->v_samp_factor;
                cr_assert(may[row * columns + column], "%s: component %d, block %u %u changed", what, c, x,
                          y);
            }
    }
    blocks_close(a);
    blocks_close(b);
    return differing;
}

/* The MCUs (16 x 16 pixels) that hold a stored pixel of the upright cells [x0, x1) x [y0, y1). */
static bool *mcus_of(int orientation, size_t width, size_t height, size_t x0, size_t y0, size_t x1, size_t y1,
                     size_t *columns)
{
    size_t stored_width = orientation >= 5 ? height : width,
           stored_height = orientation >= 5 ? width : height;
    *columns = (stored_width + 15) / 16;
    bool *may = calloc(*columns * ((stored_height + 15) / 16), sizeof *may);
    cr_assert_not_null(may);
    for (size_t y = y0 / 8 * 8; y < (y1 + 7) / 8 * 8 && y < height; y++)
        for (size_t x = x0 / 8 * 8; x < (x1 + 7) / 8 * 8 && x < width; x++) {
            size_t sx, sy;
            stored_place(orientation, width, height, x, y, &sx, &sy);
            may[sy / 16 * *columns + sx / 16] = true;
        }
    return may;
}

/* 4:2:0, odd sizes, all eight orientations, in the middle and over the corner of the picture. */
Test(jpeg_rewrite, coefficients_outside_the_touched_mcus_stay_in_every_orientation)
{
    static const size_t parts[][4] = {{40, 17, 77, 51}, {101, 60, 117, 83}};
    for (int orientation = 1; orientation <= 8; orientation++)
        for (size_t i = 0; i < 2; i++) {
            uint8_t exif[EXIF_BYTES];
            bool turned = orientation >= 5;
            Pixels stored = noise_make(turned ? 83 : 117, turned ? 117 : 83, 3, 8, 6);
            char what[32];
            snprintf(what, sizeof what, "orientation %d, part %zu", orientation, i);
            exif_make(orientation, exif);
            jpeg_write("base.jpg", &stored, &(JpegOptions){.exif = exif, .exif_bytes = EXIF_BYTES});
            UfPicture *picture = picture_read("base.jpg");
            UfTouched *touched = touched_of(picture);
            cr_assert_eq(uf_picture_width_px(picture), 117);
            const size_t *p = parts[i];
            size_t columns;
            /* a flat colour, so that it can be found again */
            for (size_t y = p[1]; y < p[3]; y++)
                memset((uint8_t *)uf_picture_row(picture, y) + 3 * p[0], 200, 3 * (p[2] - p[0]));
            uf_touched_add(touched, p[0], p[1], p[2], p[3]);
            cr_assert_eq(uf_picture_rewrite(picture, "base.jpg", touched, "out.jpg",
                                            &(UfWriteOptions){.overwrite = true}, NULL),
                         UF_OK);
            bool *may = mcus_of(orientation, 117, 83, p[0], p[1], p[2], p[3], &columns);
            cr_expect_gt(compare_blocks("base.jpg", "out.jpg", may, columns, what), 0, "%s", what);
            UfPicture *back = picture_read("out.jpg");
            cr_expect_eq(back->orientation, orientation);
            const uint8_t *middle =
                (const uint8_t *)uf_picture_row_const(back, (p[1] + p[3]) / 2) + 3 * ((p[0] + p[2]) / 2);
            for (int c = 0; c < 3; c++)
                cr_expect(abs(middle[c] - 200) <= 6, "%s: %d", what, middle[c]);
            free(may);
            uf_picture_free(&back);
            uf_picture_free(&picture);
            uf_touched_free(&touched);
            pixels_free(&stored);
        }
}

/* With nothing touched, the tables and the entropy-coded data come out as they were, whatever made them. */
Test(jpeg_rewrite, nothing_touched_gives_the_same_file)
{
    static const char *const codings[] = {"-baseline", "-progressive", "-optimize", "-arithmetic"};
    make_base(3);
    for (size_t i = 0; i < 4; i++) {
        CHECKED("cjpeg", "-quality", "75", codings[i], "-outfile", "base.jpg", "base.pnm");
        UfPicture *picture = picture_read("base.jpg");
        UfTouched *touched = touched_of(picture);
        cr_assert_eq(uf_picture_rewrite(picture, "base.jpg", touched, "out.jpg",
                                        &(UfWriteOptions){.overwrite = true}, NULL),
                     UF_OK);
        cr_expect(file_same("base.jpg", "out.jpg"), "%s", codings[i]);
        uf_touched_free(&touched);
        uf_picture_free(&picture);
    }
}

/* The scans of the source, also unusual ones: here luma by itself first, and three separate baseline scans.
 */
Test(jpeg_rewrite, keeps_the_scans_of_the_source)
{
    static const char *const scripts[] = {
        "0;1;2;", "0 1 2:0-0,0,0;0:1-63,0,2;2:1-63,0,0;1:1-63,0,0;0:1-63,2,1;0:1-63,1,0;"};
    make_base(3);
    for (size_t i = 0; i < 2; i++) {
        file_write("scans", scripts[i], strlen(scripts[i]));
        CHECKED("cjpeg", "-quality", "85", "-sample", "2x2", "-scans", "scans", "-outfile", "base.jpg",
                "base.pnm");
        compare_with_jpegtran("2x2", "-scans", "scans");
    }
}

/*
 * Found by the fuzz target `splice`: nothing is decoded with the quantisation table of a component that no
 * scan brings, but its new blocks would be divided by it.
 */
Test(jpeg_rewrite, a_zero_in_the_table_of_a_missing_component_is_refused)
{
    make_base(3);
    file_write("scans", "0;1;2;", 6);
    CHECKED("cjpeg", "-quality", "85", "-scans", "scans", "-outfile", "base.jpg", "base.pnm");
    Bytes file = file_read("base.jpg");
    size_t first = bytes_find(file, 0, "\xFF\xDB", 2), second = bytes_find(file, first + 2, "\xFF\xDB", 2);
    size_t end = bytes_find(file, 0, "\xFF\xDA", 2) + 2;
    while (end + 2 < file.size && (file.data[end] != 0xFF || file.data[end + 1] == 0))
        end++;
    cr_assert(second < end && end + 2 < file.size);
    memcpy(file.data + end, "\xFF\xD9", 2);
    file_write("base.jpg", file.data, end + 2);
    UfPicture *picture = picture_read("base.jpg");
    file_poke("base.jpg", second + 9, "\0", 1);
    UfPicture *none = NULL;
    cr_expect_eq(uf_picture_read("base.jpg", NULL, &none, NULL), UF_ERROR_FORMAT);
    /* changed behind the reader's back */
    UfTouched *touched = touched_of(picture);
    uf_touched_add(touched, 0, 0, 8, 8);
    cr_expect_eq(uf_picture_rewrite(picture, "base.jpg", touched, "out.jpg", NULL, NULL), UF_ERROR_FORMAT);
    cr_expect(!file_exists("out.jpg"));
    uf_touched_free(&touched);
    uf_picture_free(&none);
    uf_picture_free(&picture);
    bytes_free(&file);
}

/*
 * A progressive file that never sends the last bit of its coefficients: with the same scans the new blocks
 * would lose theirs.
 */
Test(jpeg_rewrite, incomplete_scans_do_not_cut_the_new_blocks)
{
    static const char script[] = "0 1 2:0-0,0,0;0:1-63,0,1;1:1-63,0,1;2:1-63,0,1;";
    make_base(3);
    file_write("scans", script, strlen(script));
    CHECKED("cjpeg", "-quality", "85", "-sample", "1x1", "-scans", "scans", "-outfile", "base.jpg",
            "base.pnm");
    compare_with_jpegtran("1x1", "-progressive", NULL);
}

/* Markers in their order, JFIF's density, the comment and private segments among them. */
Test(jpeg_rewrite, markers_stay_in_their_order)
{
    make_base(3);
    CHECKED("cjpeg", "-quality", "85", "-outfile", "plain.jpg", "base.pnm");
    Bytes plain = file_read("plain.jpg");
    static const uint8_t head[] = {0xFF, 0xD8, 0xFF, 0xE0, 0,   16, 'J', 'F',  'I',  'F',  0,    1,   2,
                                   2,    0,    118,  0,    118, 0,  0,   0xFF, 0xFE, 0,    6,    'n', 'o',
                                   't',  'e',  0xFF, 0xEB, 0,   5,  'x', 'y',  'z',  0xFF, 0xED, 0,   2};
    FILE *stream = fopen("base.jpg", "wb");
    cr_assert_not_null(stream);
    fwrite(head, 1, sizeof head, stream);
    fwrite(plain.data + 20, 1, plain.size - 20, stream);
    cr_assert_eq(fclose(stream), 0);
    UfPicture *picture = picture_read("base.jpg");
    UfTouched *touched = touched_of(picture);
    picture_change(picture, touched, 10, 10, 20, 20);
    cr_assert_eq(uf_picture_rewrite(picture, "base.jpg", touched, "out.jpg", NULL, NULL), UF_OK);
    Bytes out = file_read("out.jpg");
    cr_expect_arr_eq(out.data, head, sizeof head);
    bytes_free(&plain);
    bytes_free(&out);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

Test(jpeg_rewrite, may_replace_its_own_source)
{
    make_base(3);
    CHECKED("cjpeg", "-quality", "85", "-outfile", "base.jpg", "base.pnm");
    UfPicture *picture = picture_read("base.jpg");
    UfTouched *touched = touched_of(picture);
    picture_change(picture, touched, 64, 32, 160, 96);
    cr_assert_eq(uf_picture_rewrite(picture, "base.jpg", touched, "other.jpg", NULL, NULL), UF_OK);
    FileState state = file_state("base.jpg");
    cr_expect_eq(uf_picture_rewrite(picture, "base.jpg", touched, "base.jpg", NULL, NULL), UF_ERROR_EXISTS);
    cr_expect(file_unchanged("base.jpg", &state));
    UfWriteOptions over = {.overwrite = true};
    cr_assert_eq(uf_picture_rewrite(picture, "base.jpg", touched, "base.jpg", &over, NULL), UF_OK);
    cr_expect(file_same("base.jpg", "other.jpg"));
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

Test(jpeg_rewrite, another_picture_than_the_source_is_refused)
{
    Pixels pixels = noise_make(64, 32, 3, 8, 1), smaller = noise_make(64, 31, 3, 8, 1);
    jpeg_write("a.jpg", &pixels, NULL);
    jpeg_write("b.jpg", &smaller, NULL);
    UfPicture *picture = picture_read("a.jpg");
    UfTouched *touched = touched_of(picture);
    uf_touched_add(touched, 0, 0, 9, 9);
    cr_expect_eq(uf_picture_rewrite(picture, "b.jpg", touched, "out.jpg", NULL, NULL), UF_ERROR_ARGUMENT);
    cr_expect_not(file_exists("out.jpg"));
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    pixels_free(&pixels);
    pixels_free(&smaller);
}

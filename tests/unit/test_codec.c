/* Formats behind one table: told from content, round trips of every kind, refusals, limits, cut files. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include <tiffio.h>

#include "picture/picture_internal.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(codec, .init = folder_enter, .fini = folder_leave);

Test(codec, the_format_is_told_from_the_name)
{
    cr_expect_eq(uf_format_from_name("a/b.JPG"), UF_FORMAT_JPEG);
    cr_expect_eq(uf_format_from_name("b.jpeg"), UF_FORMAT_JPEG);
    cr_expect_eq(uf_format_from_name("b.tar.png"), UF_FORMAT_PNG);
    cr_expect_eq(uf_format_from_name("b.Tif"), UF_FORMAT_TIFF);
    cr_expect_eq(uf_format_from_name("b.tiff"), UF_FORMAT_TIFF);
    cr_expect_eq(uf_format_from_name("b"), UF_FORMAT_UNKNOWN);
    cr_expect_eq(uf_format_from_name(".png"), UF_FORMAT_UNKNOWN);
    cr_expect_eq(uf_format_from_name("a.png/b"), UF_FORMAT_UNKNOWN);
    cr_expect_eq(uf_format_from_name("b.jp"), UF_FORMAT_UNKNOWN);
    cr_expect_eq(uf_format_from_name("b.jpg "), UF_FORMAT_UNKNOWN);
    cr_expect_str_eq(uf_format_name(UF_FORMAT_TIFF), "TIFF");
    cr_expect_str_eq(uf_format_name(UF_FORMAT_UNKNOWN), "unknown");
}

Test(codec, content_counts_and_not_the_name)
{
    Pixels pixels = noise_make(31, 17, 3, 8, 1);
    png_write("liar.jpg", &pixels, &(PngOptions){0});
    UfPicture *picture = picture_read("liar.jpg");
    cr_expect_eq(uf_picture_format(picture), UF_FORMAT_PNG);
    assert_samples(picture, &pixels, 0, "liar.jpg");
    uf_picture_free(&picture);
    pixels_free(&pixels);
}

typedef struct Kind {
    const char *name;
    size_t channels;
    unsigned bits;
} Kind;

static const Kind lossless_kinds[] = {{"a.png", 1, 8},  {"a.png", 2, 8},  {"a.png", 3, 8},  {"a.png", 4, 8},
                                      {"a.png", 1, 16}, {"a.png", 2, 16}, {"a.png", 3, 16}, {"a.png", 4, 16},
                                      {"a.tif", 1, 8},  {"a.tif", 2, 8},  {"a.tif", 3, 8},  {"a.tif", 4, 8},
                                      {"a.tif", 1, 16}, {"a.tif", 2, 16}, {"a.tif", 3, 16}, {"a.tif", 4, 16},
                                      {"a.tif", 1, 32}, {"a.tif", 3, 32}, {"a.tif", 4, 32}};
#define LOSSLESS_COUNT (sizeof lossless_kinds / sizeof *lossless_kinds)

static bool same_pixels(const Pixels *a, const Pixels *b)
{
    size_t count = a->width * a->height * a->channels;
    if (a->width != b->width || a->height != b->height || a->channels != b->channels || a->bits != b->bits)
        return false;
    return a->bits == 32 ? memcmp(a->values, b->values, count * sizeof *a->values) == 0
                         : memcmp(a->codes, b->codes, count * sizeof *a->codes) == 0;
}

/* What we write, libpng and libtiff read: every sample. */
Test(codec, written_samples_are_those_that_the_libraries_read)
{
    for (size_t i = 0; i < LOSSLESS_COUNT; i++) {
        const Kind *kind = &lossless_kinds[i];
        Pixels pixels = noise_make(53, 29, kind->channels, kind->bits, (unsigned)i);
        UfPicture *picture = picture_of(&pixels);
        cr_assert_eq(uf_picture_write(picture, kind->name, &(UfWriteOptions){.overwrite = true}, NULL),
                     UF_OK);
        Pixels back = picture_decode(kind->name);
        cr_expect(same_pixels(&pixels, &back), "%s, %zu channels of %u bits", kind->name, kind->channels,
                  kind->bits);
        UfPicture *again = picture_read(kind->name);
        assert_samples(again, &pixels, 0, kind->name);
        uf_picture_free(&again);
        uf_picture_free(&picture);
        pixels_free(&pixels);
        pixels_free(&back);
    }
}

/* What libpng and libtiff write, we read: every sample. */
Test(codec, read_samples_are_those_that_the_libraries_wrote)
{
    for (size_t i = 0; i < LOSSLESS_COUNT; i++) {
        const Kind *kind = &lossless_kinds[i];
        Pixels pixels = noise_make(53, 29, kind->channels, kind->bits, (unsigned)i);
        if (strcmp(kind->name, "a.png") == 0)
            png_write("a.png", &pixels, &(PngOptions){.interlaced = i % 2 == 1});
        else
            tiff_write("a.tif", &pixels, &(TiffOptions){.rows_per_strip = 7});
        UfPicture *picture = picture_read(kind->name);
        assert_samples(picture, &pixels, 0, kind->name);
        uf_picture_free(&picture);
        pixels_free(&pixels);
    }
}

Test(codec, depths_are_converted_where_the_caller_or_the_format_asks)
{
    Pixels pixels = noise_make(21, 13, 3, 16, 5);
    UfPicture *picture = picture_of(&pixels);
    cr_assert_eq(uf_picture_write(picture, "a.png", &(UfWriteOptions){.depth_bits = 8}, NULL), UF_OK);
    Pixels eight = picture_decode("a.png");
    cr_assert_eq(eight.bits, 8);
    for (size_t i = 0; i < 21 * 13 * 3; i++)
        cr_expect_eq(eight.codes[i], (pixels.codes[i] * 2 + 257) / 514, "sample %zu", i);
    UfPicture *narrow = picture_read("a.png");
    cr_assert_eq(uf_picture_write(narrow, "b.tif", &(UfWriteOptions){.depth_bits = 16}, NULL), UF_OK);
    Pixels wide = picture_decode("b.tif");
    cr_assert_eq(wide.bits, 16);
    for (size_t i = 0; i < 21 * 13 * 3; i++)
        cr_expect_eq(wide.codes[i], eight.codes[i] * 257, "sample %zu", i);
    cr_expect_eq(uf_picture_write(narrow, "c.tif", &(UfWriteOptions){.depth_bits = 12}, NULL),
                 UF_ERROR_ARGUMENT);
    cr_expect_not(file_exists("c.tif"));
    uf_picture_free(&picture);
    uf_picture_free(&narrow);
    pixels_free(&pixels);
    pixels_free(&eight);
    pixels_free(&wide);
}

/* Fails, says why with the file's name, and leaves nothing behind. */
static void expect_refusal(const UfPicture *picture, const char *path, const UfWriteOptions *options,
                           UfStatus expected, const char *word)
{
    UfReport *report = uf_report_create();
    char *before = folder_list();
    cr_expect_eq(uf_picture_write(picture, path, options, report), expected, "%s", path);
    cr_expect_not_null(strstr(uf_report_error(report), word), "%s", uf_report_error(report));
    cr_expect_not_null(strstr(uf_report_error(report), path), "%s", uf_report_error(report));
    char *after = folder_list();
    cr_expect_str_eq(before, after);
    free(before);
    free(after);
    uf_report_free(&report);
}

Test(codec, what_a_format_cannot_hold_is_refused_with_advice)
{
    Pixels pixels = noise_make(16, 8, 4, 8, 1);
    UfPicture *alpha = picture_of(&pixels), *wide = NULL;
    cr_assert_eq(uf_picture_create(65501, 1, 1, UF_SAMPLE_U8, &wide, NULL), UF_OK);
    expect_refusal(alpha, "a.jpg", NULL, UF_ERROR_UNSUPPORTED, ".png");
    expect_refusal(wide, "b.jpg", NULL, UF_ERROR_UNSUPPORTED, "65500");
    expect_refusal(alpha, "c.gif", NULL, UF_ERROR_ARGUMENT, ".jpg");
    expect_refusal(wide, "d.jpg", &(UfWriteOptions){.quality = 101}, UF_ERROR_ARGUMENT, "quality");
    uf_picture_free(&alpha);
    uf_picture_free(&wide);
    pixels_free(&pixels);
}

Test(codec, an_existing_file_stays_without_overwrite)
{
    Pixels pixels = noise_make(16, 8, 3, 8, 1);
    UfPicture *picture = picture_of(&pixels);
    file_write("a.png", "mine", 4);
    FileState state = file_state("a.png");
    expect_refusal(picture, "a.png", NULL, UF_ERROR_EXISTS, "--overwrite");
    cr_expect(file_unchanged("a.png", &state));
    uf_picture_free(&picture);
    pixels_free(&pixels);
}

static void write_all_formats(const Pixels *pixels)
{
    jpeg_write("a.jpg", pixels, &(JpegOptions){0});
    jpeg_write("p.jpg", pixels, &(JpegOptions){.progressive = true});
    png_write("a.png", pixels, &(PngOptions){0});
    png_write("i.png", pixels, &(PngOptions){.interlaced = true});
    tiff_write("a.tif", pixels, &(TiffOptions){.compression = COMPRESSION_LZW});
    tiff_write("t.tif", pixels, &(TiffOptions){.compression = COMPRESSION_ADOBE_DEFLATE, .tile_side = 16});
    tiff_write("n.tif", pixels, &(TiffOptions){.mode = "w8"});
}
static const char *const all_files[] = {"a.jpg", "p.jpg", "a.png", "i.png", "a.tif", "t.tif", "n.tif"};

Test(codec, pictures_over_the_memory_limit_are_refused)
{
    Pixels pixels = noise_make(64, 32, 3, 8, 1);
    UfReport *report = uf_report_create();
    write_all_formats(&pixels);
    for (size_t i = 0; i < sizeof all_files / sizeof *all_files; i++) {
        UfPicture *picture = NULL;
        UfReadOptions options = {.max_memory_bytes = 64 * 32 * 3 - 1};
        cr_expect_eq(uf_picture_read(all_files[i], &options, &picture, report), UF_ERROR_MEMORY, "%s",
                     all_files[i]);
        cr_expect_null(picture);
        cr_expect_not_null(strstr(uf_report_error(report), all_files[i]), "%s", uf_report_error(report));
        cr_expect_not_null(strstr(uf_report_error(report), "limit"), "%s", uf_report_error(report));
        options.max_memory_bytes = 64 * 32 * 3 * 8;
        cr_expect_eq(uf_picture_read(all_files[i], &options, &picture, report), UF_OK, "%s", all_files[i]);
        uf_picture_free(&picture);
    }
    uf_report_free(&report);
    pixels_free(&pixels);
}

/*
 * Every file cut at forty places: either the failure is clean, or (the pixels being whole) they are read as
 * they were.
 */
Test(codec, cut_files_fail_or_still_hold_all_their_pixels)
{
    Pixels pixels = noise_make(48, 24, 3, 8, 4);
    UfReport *report = uf_report_create();
    size_t failures = 0;
    write_all_formats(&pixels);
    for (size_t i = 0; i < sizeof all_files / sizeof *all_files; i++) {
        Bytes whole = file_read(all_files[i]);
        UfPicture *full = picture_read(all_files[i]);
        for (size_t cut = 0; cut < 40; cut++) {
            UfPicture *picture = NULL;
            size_t size = cut < 8 ? cut * 3 : whole.size - 1 - (39 - cut) * (whole.size / 40);
            file_write("cut", whole.data, size);
            uf_report_clear(report);
            UfStatus status = uf_picture_read("cut", NULL, &picture, report);
            if (status != UF_OK) {
                failures++;
                cr_expect_null(picture);
                cr_expect_eq(strncmp(uf_report_error(report), "cut: ", 5), 0, "%s", uf_report_error(report));
                continue;
            }
            for (size_t y = 0; y < 24; y++)
                cr_assert_arr_eq(uf_picture_row_const(picture, y), uf_picture_row_const(full, y), 48 * 3,
                                 "%s cut to %zu of %zu bytes", all_files[i], size, whole.size);
            uf_picture_free(&picture);
        }
        uf_picture_free(&full);
        bytes_free(&whole);
    }
    cr_expect(failures > 240, "%zu", failures);
    uf_report_free(&report);
    pixels_free(&pixels);
}

/* Any byte changed at any of many places: a failure or a picture, never a crash (the sanitizers watch). */
Test(codec, damaged_files_never_crash)
{
    Pixels pixels = noise_make(24, 12, 3, 8, 4);
    write_all_formats(&pixels);
    for (size_t i = 0; i < sizeof all_files / sizeof *all_files; i++) {
        Bytes whole = file_read(all_files[i]);
        for (size_t at = 0; at < whole.size; at += at < 400 ? 1 : 13) {
            UfPicture *picture = NULL;
            UfReadOptions options = {.max_memory_bytes = 1 << 24};
            uint8_t old = whole.data[at];
            whole.data[at] = (uint8_t)(old ^ (at % 3 == 0 ? 0xFF : at % 3 == 1 ? 0x01 : 0x80));
            file_write("bad", whole.data, whole.size);
            UfStatus status = uf_picture_read("bad", &options, &picture, NULL);
            cr_expect_eq(status == UF_OK, picture != NULL, "%s, byte %zu", all_files[i], at);
            uf_picture_free(&picture);
            whole.data[at] = old;
        }
        bytes_free(&whole);
    }
    pixels_free(&pixels);
}

Test(codec, probing_tells_the_header_upright)
{
    uint8_t exif[EXIF_BYTES];
    UfPictureInfo info;
    Pixels pixels = noise_make(24, 40, 3, 8, 4);
    exif_make(6, exif);
    jpeg_write(
        "a.jpg", &pixels,
        &(JpegOptions){
            .progressive = true, .horizontal = 2, .vertical = 1, .exif = exif, .exif_bytes = EXIF_BYTES});
    cr_assert_eq(uf_picture_probe("a.jpg", &info, NULL), UF_OK);
    cr_expect_eq(info.format, UF_FORMAT_JPEG);
    cr_expect_eq(info.width_px, 40);
    cr_expect_eq(info.height_px, 24);
    cr_expect_eq(info.orientation, 6);
    cr_expect(info.progressive);
    cr_expect_str_eq(info.encoding, "progressive 4:2:2");
    tiff_write("b.tif", &pixels,
               &(TiffOptions){.mode = "w8", .tile_side = 16, .compression = COMPRESSION_LZW});
    cr_assert_eq(uf_picture_probe("b.tif", &info, NULL), UF_OK);
    cr_expect(info.big_tiff && info.tiled);
    cr_expect_str_eq(info.encoding, "LZW");
    cr_expect_eq(info.height_px, 40);
    Bytes bytes = file_read("b.tif");
    cr_expect_eq(info.file_bytes, bytes.size);
    bytes_free(&bytes);
    pixels_free(&pixels);
}

/* Every format to every other one: EXIF, profile and XMP come along. */
Test(codec, metadata_travel_between_all_formats)
{
    static const char *const names[] = {"m.jpg", "m.png", "m.tif"};
    Pixels pixels = noise_make(32, 16, 3, 8, 4);
    size_t icc_bytes;
    uint8_t *icc = profile_make(&icc_bytes);
    jpeg_write("plain.jpg", &pixels, &(JpegOptions){.icc = icc, .icc_bytes = icc_bytes});
    Run run = RUN_PROGRAM("exiftool", "-q", "-Make=Lantern Works", "-ExposureTime=1/125", "-GPSLatitude=52.5",
                          "-GPSLatitudeRef=N", "-XMP-dc:Title=Ticket hall", "-o", "source.jpg", "plain.jpg");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    for (size_t from = 0; from < 3; from++) {
        UfPicture *first = picture_read("source.jpg");
        cr_assert_eq(uf_picture_write(first, names[from], &(UfWriteOptions){.overwrite = true}, NULL), UF_OK);
        UfPicture *second = picture_read(names[from]);
        for (size_t to = 0; to < 3; to++) {
            const char *out = to == 0 ? "o.jpg" : to == 1 ? "o.png" : "o.tif";
            cr_assert_eq(uf_picture_write(second, out, &(UfWriteOptions){.overwrite = true}, NULL), UF_OK);
            run = RUN_PROGRAM("exiftool", "-s3", "-n", "-Make", "-ExposureTime", "-GPSLatitude",
                              "-XMP-dc:Title", out);
            cr_expect_str_eq(run.out, "Lantern Works\n0.008\n52.5\nTicket hall\n", "%s to %s: %s",
                             names[from], out, run.out);
            run_free(&run);
            UfPicture *third = picture_read(out);
            cr_expect_eq(uf_picture_icc(third).size_bytes, icc_bytes);
            cr_expect_arr_eq(uf_picture_icc(third).data, icc, icc_bytes);
            uf_picture_free(&third);
        }
        uf_picture_free(&first);
        uf_picture_free(&second);
    }
    free(icc);
    pixels_free(&pixels);
}

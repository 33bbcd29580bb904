/*
 * `underfoot tag`: what other programs read from the result (ExifTool), and that nothing but the XMP changes.
 * Fields and ranges: Photo Sphere XMP Metadata, https://developers.google.com/streetview/spherical-metadata.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

static void make_pictures(void)
{
    folder_enter();
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    jpeg_write("in.jpg", &panorama, NULL);
    png_write("in.png", &panorama, NULL);
    tiff_write("in.tif", &panorama, &(TiffOptions){.compression = 5});
    pixels_free(&panorama);
}

TestSuite(cli_tag, .init = make_pictures, .fini = folder_leave);

static void assert_field(const char *file, const char *name, const char *wanted)
{
    char tag[80];
    snprintf(tag, sizeof tag, "-XMP-GPano:%s", name);
    Run run = RUN_PROGRAM("exiftool", "-s3", tag, file);
    run.out[strcspn(run.out, "\n")] = '\0';
    cr_expect_str_eq(run.out, wanted, "%s of %s: '%s'", name, file, run.out);
    run_free(&run);
}

static void assert_tagged(const char *file)
{
    assert_field(file, "ProjectionType", "equirectangular");
    assert_field(file, "UsePanoramaViewer", "True");
    assert_field(file, "FullPanoWidthPixels", "256");
    assert_field(file, "FullPanoHeightPixels", "128");
    assert_field(file, "CroppedAreaImageWidthPixels", "256");
    assert_field(file, "CroppedAreaImageHeightPixels", "128");
    assert_field(file, "CroppedAreaLeftPixels", "0");
    assert_field(file, "CroppedAreaTopPixels", "0");
    assert_field(file, "PoseHeadingDegrees", "215.5");
    assert_field(file, "PosePitchDegrees", "-1.25");
    assert_field(file, "PoseRollDegrees", "180");
}

Test(cli_tag, exiftool_reads_it_from_every_format)
{
    static const char *const endings[] = {"jpg", "png", "tif"};
    for (size_t i = 0; i < 3; i++) {
        char in[16];
        char out[16];
        snprintf(in, sizeof in, "in.%s", endings[i]);
        snprintf(out, sizeof out, "out.%s", endings[i]);
        Run run =
            RUN_UNDERFOOT("tag", in, "-o", out, "--heading", "215.5", "--pitch=-1.25", "--roll", "180deg");
        cr_assert_eq(run.status, 0, "%s", run.err);
        cr_expect_not_null(strstr(run.out, "full sphere of 256 x 128 pixels"), "%s", run.out);
        cr_expect_not_null(strstr(run.out, "heading 215.5 deg"), "%s", run.out);
        cr_expect_str_eq(run.err, "");
        assert_tagged(out);
        Pixels before = picture_decode(in);
        Pixels after = picture_decode(out);
        cr_expect(pixels_same_rows(&before, &after, before.height), "%s: pixels changed", out);
        pixels_free(&before);
        pixels_free(&after);
        run_free(&run);
    }
}

/* From SOS to the end (T.81 B.2.3) not one byte differs. */
Test(cli_tag, the_scan_of_a_jpeg_stays_byte_for_byte)
{
    Run run = RUN_UNDERFOOT("tag", "in.jpg", "-o", "out.jpg", "--heading", "10");
    cr_assert_eq(run.status, 0, "%s", run.err);
    static const unsigned char scan[] = {0xFF, 0xDA};
    Bytes before = file_read("in.jpg");
    Bytes after = file_read("out.jpg");
    size_t from = bytes_find(before, 0, scan, 2);
    size_t rest = before.size - from;
    cr_assert(from < before.size && rest < after.size);
    cr_expect_arr_eq(before.data + from, after.data + after.size - rest, rest);
    bytes_free(&before);
    bytes_free(&after);
    run_free(&run);
}

Test(cli_tag, headings_go_round)
{
    static const struct {
        const char *given, *written;
    } turns[] = {
        {"--heading=-90", "270"}, {"--heading=360", "0"}, {"--heading=725.5", "5.5"}, {"--heading=-0", "0"}};
    for (size_t i = 0; i < sizeof turns / sizeof turns[0]; i++) {
        Run run = RUN_UNDERFOOT("tag", "in.png", "-o", "out.png", "--overwrite", turns[i].given);
        cr_assert_eq(run.status, 0, "%s", run.err);
        assert_field("out.png", "PoseHeadingDegrees", turns[i].written);
        run_free(&run);
    }
}

Test(cli_tag, a_pose_that_is_not_given_stays)
{
    Run first = RUN_UNDERFOOT("tag", "in.jpg", "-o", "one.jpg", "--heading", "12", "--pitch", "3");
    Run second = RUN_UNDERFOOT("tag", "one.jpg", "-o", "two.jpg", "--pitch", "4");
    cr_assert_eq(first.status, 0, "%s", first.err);
    cr_assert_eq(second.status, 0, "%s", second.err);
    assert_field("two.jpg", "PoseHeadingDegrees", "12");
    assert_field("two.jpg", "PosePitchDegrees", "4");
    assert_field("two.jpg", "PoseRollDegrees", "");
    run_free(&first);
    run_free(&second);
}

Test(cli_tag, json_tells_the_same)
{
    Run run = RUN_UNDERFOOT("tag", "in.tif", "-o", "out.tif", "--heading", "12.25", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_eq(json_number_at(run.out, "heading_deg"), 12.25);
    cr_expect_eq(json_number_at(run.out, "width_px"), 256);
    char *out = json_at(run.out, "out");
    char *pitch = json_at(run.out, "pitch_deg");
    cr_expect_str_eq(out, "out.tif");
    cr_expect_str_eq(pitch, "(none)");
    free(out);
    free(pitch);
    run_free(&run);
}

Test(cli_tag, keeps_the_format)
{
    Run run = RUN_UNDERFOOT("tag", "in.jpg", "-o", "out.png");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "in.jpg: is a JPEG file"), "%s", run.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&run);
}

Test(cli_tag, in_place_with_overwrite)
{
    Run refused = RUN_UNDERFOOT("tag", "in.jpg", "-o", "in.jpg", "--heading", "5");
    cr_expect_eq(refused.status, 1);
    cr_expect_not_null(strstr(refused.err, "is the picture itself; add --overwrite"), "%s", refused.err);
    Run done = RUN_UNDERFOOT("tag", "in.jpg", "-o", "./in.jpg", "--heading", "5", "--overwrite");
    cr_expect_eq(done.status, 0, "%s", done.err);
    assert_field("in.jpg", "PoseHeadingDegrees", "5");
    char *left = folder_list();
    cr_expect_str_eq(left, "in.jpg\nin.png\nin.tif\n");
    free(left);
    run_free(&refused);
    run_free(&done);
}

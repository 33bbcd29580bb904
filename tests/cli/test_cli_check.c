/* `underfoot check`: facts and findings, as text and as JSON, and its exit status. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(cli_check, .init = folder_enter, .fini = folder_leave);

static void write_panorama(const char *path, const PanoramaOptions *options)
{
    Pixels panorama = panorama_make(options);
    png_write(path, &panorama, NULL);
    pixels_free(&panorama);
}

/* Tagged, with a profile: nothing is left to find. */
static void write_sound(const char *path)
{
    size_t icc_bytes = 0;
    uint8_t *icc = profile_make(&icc_bytes);
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("bare.png", &panorama, &(PngOptions){.icc = icc, .icc_bytes = icc_bytes});
    Run tag = RUN_UNDERFOOT("tag", "bare.png", "-o", path, "--heading", "30");
    cr_assert_eq(tag.status, 0, "%s", tag.err);
    cr_assert_eq(remove("bare.png"), 0);
    pixels_free(&panorama);
    free(icc);
    run_free(&tag);
}

Test(cli_check, a_sound_panorama_is_status_0)
{
    write_sound("sound.png");
    Run run = RUN_UNDERFOOT("check", "sound.png");
    cr_expect_eq(run.status, 0, "%s%s", run.out, run.err);
    cr_expect_not_null(strstr(run.out, "sound.png\n"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "256 x 128 pixels, 8 bit, RGB"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "equirectangular, full 256 x 128"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "heading 30 deg"), "%s", run.out);
    cr_expect_null(strstr(run.out, "finding"), "%s", run.out);
    cr_expect_str_eq(run.err, "");
    run_free(&run);
}

Test(cli_check, json_of_a_sound_panorama)
{
    write_sound("sound.png");
    Run run = RUN_UNDERFOOT("check", "--json", "sound.png");
    cr_expect_eq(run.status, 0, "%s%s", run.out, run.err);
    static const char *const values[][2] = {{"0.file", "sound.png"},
                                            {"0.error", "null"},
                                            {"0.findings", "[0]"},
                                            {"0.format", "PNG"},
                                            {"0.width_px", "256"},
                                            {"0.height_px", "128"},
                                            {"0.channels", "3"},
                                            {"0.depth_bits", "8"},
                                            {"0.is_float", "0"},
                                            {"0.orientation", "1"},
                                            {"0.has_xmp", "1"},
                                            {"0.is_two_to_one", "1"},
                                            {"0.holes", "[0]"},
                                            {"0.photo_sphere.present", "1"},
                                            {"0.photo_sphere.heading_deg", "30"},
                                            {"0.photo_sphere.full_width_px", "256"},
                                            {"0.photo_sphere.pitch_deg", "(none)"},
                                            {"1", "(none)"}};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
        char *value = json_at(run.out, values[i][0]);
        cr_expect_str_eq(value, values[i][1], "%s: %s", values[i][0], value);
        free(value);
    }
    Bytes file = file_read("sound.png");
    cr_expect_eq(json_number_at(run.out, "0.file_bytes"), (double)file.size);
    cr_expect(json_number_at(run.out, "0.seam_ratio") < 2);
    cr_expect(json_number_at(run.out, "0.nadir_spread_of_255") < 3);
    bytes_free(&file);
    run_free(&run);
}

Test(cli_check, findings_are_status_2_and_come_first)
{
    write_panorama("square.png", &(PanoramaOptions){.width = 128, .height = 128});
    Run run = RUN_UNDERFOOT("check", "square.png");
    cr_expect_eq(run.status, 2);
    cr_expect_not_null(strstr(run.out, "2:1"), "%s", run.out);
    cr_expect(strstr(run.out, "finding") < strstr(run.out, "  size "), "%s", run.out);
    run_free(&run);
}

Test(cli_check, a_hole_has_a_place_and_a_size)
{
    write_panorama(
        "hole.png",
        &(PanoramaOptions){.width = 512, .height = 256, .channels = 4, .hole = HOLE_BLACK, .hole_deg = 20});
    Run run = RUN_UNDERFOOT("check", "hole.png", "--json");
    cr_expect_eq(run.status, 2);
    char *kind = json_at(run.out, "0.holes.0.kind");
    cr_expect_str_eq(kind, "black");
    cr_expect_float_eq(json_number_at(run.out, "0.holes.0.pitch_deg"), -90, 1);
    cr_expect_float_eq(json_number_at(run.out, "0.holes.0.radius_deg"), 20, 1);
    /* a cap of 20 degrees: (1 - cos 20) / 2 = 3.015 % */
    cr_expect_float_eq(json_number_at(run.out, "0.holes.0.sphere_percent"), 3.015, 0.15);
    Run plain = RUN_UNDERFOOT("check", "hole.png");
    cr_expect_not_null(strstr(plain.out, "hole          black, about yaw "), "%s", plain.out);
    free(kind);
    run_free(&run);
    run_free(&plain);
}

/* The one that cannot be read is told; the others are looked at all the same. */
Test(cli_check, goes_on_after_a_file_that_cannot_be_read)
{
    write_sound("a.png");
    file_copy("a.png", "c.png");
    file_write("b.png", "no picture", 10);
    Run run = RUN_UNDERFOOT("check", "a.png", "b.png", "missing.png", "c.png");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.out, "a.png\n"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "c.png\n"), "%s", run.out);
    cr_expect_not_null(strstr(run.err, "b.png: "), "%s", run.err);
    cr_expect_not_null(strstr(run.err, "missing.png: cannot be opened"), "%s", run.err);
    Run json = RUN_UNDERFOOT("check", "--json", "a.png", "b.png", "missing.png", "c.png");
    cr_expect_eq(json.status, 1);
    char *count = json_at(json.out, "");
    char *error = json_at(json.out, "2.error");
    char *width = json_at(json.out, "2.width_px");
    cr_expect_str_eq(count, "[4]");
    cr_expect_not_null(strstr(error, "missing.png: cannot be opened"), "%s", error);
    cr_expect_str_eq(width, "(none)");
    cr_expect_eq(json_number_at(json.out, "3.width_px"), 256);
    free(count);
    free(error);
    free(width);
    run_free(&run);
    run_free(&json);
}

Test(cli_check, failure_outranks_findings)
{
    write_panorama("square.png", &(PanoramaOptions){.width = 64, .height = 64});
    Run run = RUN_UNDERFOOT("check", "missing.png", "square.png");
    cr_expect_eq(run.status, 1);
    Run turned = RUN_UNDERFOOT("check", "square.png", "missing.png");
    cr_expect_eq(turned.status, 1);
    run_free(&run);
    run_free(&turned);
}

Test(cli_check, reads_every_kind)
{
    Pixels eight = panorama_make(&(PanoramaOptions){0});
    Pixels sixteen = panorama_make(&(PanoramaOptions){.bits = 16, .channels = 4});
    Pixels real = panorama_make(&(PanoramaOptions){.bits = 32});
    jpeg_write("a.jpg", &eight, &(JpegOptions){.progressive = true});
    png_write("b.png", &eight, &(PngOptions){.palette = true, .interlaced = true});
    tiff_write("c.tif", &sixteen, &(TiffOptions){.mode = "w8", .tile_side = 64, .compression = 8});
    tiff_write("d.tif", &real, &(TiffOptions){.compression = 5});
    Run run = RUN_UNDERFOOT("check", "--json", "a.jpg", "b.png", "c.tif", "d.tif");
    cr_expect_neq(run.status, 1, "%s", run.err);
    static const char *const values[][2] = {
        {"0.format", "JPEG"}, {"0.is_progressive", "1"}, {"1.format", "PNG"},    {"1.channels", "3"},
        {"2.format", "TIFF"}, {"2.is_big_tiff", "1"},    {"2.is_tiled", "1"},    {"2.depth_bits", "16"},
        {"2.channels", "4"},  {"3.is_float", "1"},       {"3.depth_bits", "32"}, {"3.is_tiled", "0"}};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
        char *value = json_at(run.out, values[i][0]);
        cr_expect_str_eq(value, values[i][1], "%s: %s", values[i][0], value);
        free(value);
    }
    pixels_free(&eight);
    pixels_free(&sixteen);
    pixels_free(&real);
    run_free(&run);
}

Test(cli_check, a_full_disk_behind_stdout_is_a_failure)
{
    write_sound("sound.png");
    const RunOptions full = {.stdout_path = "/dev/full"};
    Run run = RUN_UNDERFOOT_WITH(&full, "check", "sound.png");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "cannot be written to standard output"), "%s", run.err);
    run_free(&run);
}

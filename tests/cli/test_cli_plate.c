/*
 * `underfoot patch --plate` from end to end, on the sample scenes of 1024 pixels and the photographs of their
 * bare floors; what is beneath the tripod is known from the scenes without hardware.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/photographs.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(cli_plate, .init = folder_enter, .fini = folder_leave);

#define ROWS 64 /* the lowest, about 11 degrees about the nadir: tripod and little else */

/* Decibels between the lowest rows of two panoramas. */
static double psnr(const char *path, const char *truth)
{
    Pixels a = picture_decode(path), b = picture_decode(truth);
    double sum = 0, count = 0;
    cr_assert(a.width == b.width && a.height == b.height && a.channels == b.channels);
    for (size_t y = a.height - ROWS; y < a.height; y++)
        for (size_t x = 0; x < a.width; x++)
            for (size_t c = 0; c < a.channels; c++) {
                double off = pixels_at(&a, x, y, c) - pixels_at(&b, x, y, c);
                sum += off * off;
                count++;
            }
    pixels_free(&a);
    pixels_free(&b);
    return -10 * log10(sum / count);
}

/* A scene at half its size, of `channels` channels and as deep as it was, as a PNG. */
static void write_half(const char *name, size_t channels, const char *to)
{
    char path[1024];
    Pixels whole = picture_decode(scene_path(name, path));
    Pixels half = {whole.width / 2, whole.height / 2, channels, whole.bits, NULL, NULL};
    half.codes = calloc(half.width * half.height * channels, sizeof *half.codes);
    cr_assert_not_null(half.codes);
    for (size_t i = 0; i < half.width * half.height * channels; i++) {
        size_t c = channels == 1 ? 1 : i % channels, x = 2 * (i / channels % half.width);
        size_t y = 2 * (i / channels / half.width), row = whole.width * whole.channels;
        const uint16_t *from = whole.codes + y * row + x * whole.channels + c;
        half.codes[i] =
            (uint16_t)((from[0] + from[whole.channels] + from[row] + from[row + whole.channels] + 2) / 4);
    }
    png_write(to, &half, &(PngOptions){.level = 1});
    pixels_free(&whole);
    pixels_free(&half);
}

/* The photograph lies where the tripod stood, and the result says how well. */
Test(cli_plate, covers_the_tripod_with_what_was_beneath_it)
{
    char panorama[1024], photo[1024], truth[1024];
    scene_path("ticket-hall-truth.jpg", truth);
    Run run = RUN_UNDERFOOT("patch", scene_path("ticket-hall.jpg", panorama), "-o", "out.jpg", "--cap", "25",
                            "--plate", scene_path("ticket-hall-floor.jpg", photo), "--json");
    cr_assert(run.status == 0 || run.status == 2, "status %d: %s", run.status, run.err);
    cr_expect(json_number_at(run.out, "plate.correlation") > 0.7);
    cr_expect(json_number_at(run.out, "plate.rival_correlation") <
              json_number_at(run.out, "plate.correlation"));
    cr_expect(json_number_at(run.out, "plate.shift_rms_px") < 1);
    cr_expect(json_number_at(run.out, "plate.cap_percent") > 90);
    cr_expect(psnr("out.jpg", truth) > 28, "%.1f dB", psnr("out.jpg", truth));
    cr_expect(psnr("out.jpg", truth) > psnr(panorama, truth) + 8, "the tripod makes %.1f dB",
              psnr(panorama, truth));
    run_free(&run);
}

Test(cli_plate, keeps_sixteen_bits)
{
    char photo[1024];
    write_half("workshop.tif", 3, "in.png");
    write_half("workshop-truth.tif", 3, "truth.png");
    Run run = RUN_UNDERFOOT("patch", "in.png", "-o", "out.png", "--cap", "25", "--plate",
                            scene_path("workshop-floor.jpg", photo));
    cr_assert(run.status == 0 || run.status == 2, "status %d: %s", run.status, run.err);
    cr_expect_not_null(strstr(run.out, "fill  plate"), "%s", run.out);
    Pixels out = picture_decode("out.png");
    cr_expect_eq(out.bits, 16);
    pixels_free(&out);
    cr_expect(psnr("out.png", "truth.png") > 28, "%.1f dB", psnr("out.png", "truth.png"));
    run_free(&run);
}

/* A grey panorama, tripod and shadow; the sun stands where the scene maker says. */
Test(cli_plate, goes_under_a_shadow_and_into_grey)
{
    char photo[1024];
    write_half("yard.jpg", 1, "in.png");
    write_half("yard-truth.jpg", 1, "truth.png");
    Run run = RUN_UNDERFOOT("patch", "in.png", "-o", "out.png", "--cap", "24", "--sun=-150.3,63.3", "--plate",
                            scene_path("yard-floor.jpg", photo));
    cr_assert(run.status == 0 || run.status == 2, "status %d: %s", run.status, run.err);
    cr_expect(psnr("out.png", "truth.png") > 24, "%.1f dB", psnr("out.png", "truth.png"));
    cr_expect(psnr("out.png", "truth.png") > psnr("in.png", "truth.png") + 8);
    run_free(&run);
}

static void write_points(const char *text)
{
    file_write("points.txt", text, strlen(text));
}

static void assert_refused(Run run, int status, const char *says)
{
    cr_expect_eq(run.status, status, "status %d: %s", run.status, run.err);
    cr_expect_not_null(strstr(run.err, says), "%s", run.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&run);
}

Test(cli_plate, refuses_a_photograph_of_another_floor)
{
    char photo[1024];
    write_half("workshop.tif", 3, "in.png");
    assert_refused(RUN_UNDERFOOT("patch", "in.png", "-o", "out.png", "--cap", "25", "--plate",
                                 scene_path("yard-floor.jpg", photo)),
                   1, "--plate-points");
}

Test(cli_plate, says_what_is_wrong_with_points_and_usage)
{
    char photo[1024], panorama[1024];
    scene_path("yard-floor.jpg", photo);
    scene_path("yard.jpg", panorama);
    write_points("1 2 3 4\n5 6 seven 8\n");
    assert_refused(RUN_UNDERFOOT("patch", panorama, "-o", "out.png", "--cap", "25", "--plate", photo,
                                 "--plate-points", "points.txt"),
                   1, "line 2");
    write_points("10 10 500 400\n90 10 520 400\n10 90 500 9000\n90 90 520 430\n");
    assert_refused(RUN_UNDERFOOT("patch", panorama, "-o", "out.png", "--cap", "25", "--plate", photo,
                                 "--plate-points", "points.txt"),
                   1, "point pair 3");
    assert_refused(RUN_UNDERFOOT("patch", panorama, "-o", "out.png", "--cap", "25", "--plate", "none.jpg"), 1,
                   "none.jpg");
    assert_refused(RUN_UNDERFOOT("patch", panorama, "-o", "out.png", "--cap", "25", "--plate", photo,
                                 "--fill", "smooth"),
                   64, "--fill");
    assert_refused(
        RUN_UNDERFOOT("patch", panorama, "-o", "out.png", "--cap", "25", "--plate-points", "points.txt"), 64,
        "--plate");
    assert_refused(
        RUN_UNDERFOOT("patch", panorama, "-o", "out.png", "--cap", "25", "--plate-rig", "points.txt"), 64,
        "--plate");
}

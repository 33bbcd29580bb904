/*
 * `underfoot patch` from end to end, on pictures that nobody here made: the Earth and Sun maps of Debian's
 * xplanet-images, 2:1 equirectangular JPEGs. Blocks above the soft edge are compared as coefficients, and
 * pixels as `djpeg -nosmooth` gives them, because fancy upsampling lets a pixel depend on its neighbours.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#include "support/files.h"
#include "support/json.h"
#include "support/photographs.h"
#include "support/pictures.h"
#include "support/program.h"

#define EARTH "/usr/share/xplanet/images/earth.jpg"
#define SUN   "/usr/share/xplanet/images/sun.jpg"

TestSuite(cli_patch, .init = folder_enter, .fini = folder_leave);

/* Status 0, or 2 with at least one warning in the result. */
static void assert_done(const Run *run)
{
    cr_assert(run->status == 0 || run->status == 2, "status %d: %s", run->status, run->err);
    char *warnings = json_at(run->out, "warnings");
    cr_assert_eq(run->status == 2, strcmp(warnings, "[0]") != 0, "status %d with warnings %s", run->status,
                 warnings);
    free(warnings);
}

/* First row that may change: where the soft edge begins. */
static size_t edge_row(size_t height, double outer_deg)
{
    return (size_t)floor((double)height * (1.0 - outer_deg / 180.0));
}

static void assert_untouched_above(const char *before, const char *after, size_t row)
{
    cr_expect(jpeg_same_blocks(before, after, row), "%s: blocks above row %zu changed", after, row);
    Pixels a = picture_decode(before);
    Pixels b = picture_decode(after);
    /* the MCU that row `row` falls in may change, 16 rows high at most */
    cr_expect(pixels_same_rows(&a, &b, row / 16 * 16), "%s: pixels above row %zu changed", after, row);
    cr_expect_not(pixels_same_rows(&a, &b, a.height), "%s: nothing changed at all", after);
    pixels_free(&a);
    pixels_free(&b);
}

/* The last row is one point of the sphere: its samples differ by no more than `most` of 255. */
static void assert_pole_is_one_colour(const Pixels *pixels, double most)
{
    for (size_t c = 0; c < pixels->channels; c++) {
        double low = 1;
        double high = 0;
        for (size_t x = 0; x < pixels->width; x++) {
            low = fmin(low, pixels_at(pixels, x, pixels->height - 1, c));
            high = fmax(high, pixels_at(pixels, x, pixels->height - 1, c));
        }
        cr_expect((high - low) * 255 <= most, "channel %zu: the pole row spans %.1f", c, (high - low) * 255);
    }
}

/* Mean difference across the seam, of 255, less that between the columns beside it. */
static double seam_excess(const Pixels *pixels, size_t first_row)
{
    double seam = 0;
    double beside = 0;
    size_t last = pixels->width - 1;
    for (size_t y = first_row; y < pixels->height; y++)
        for (size_t c = 0; c < pixels->channels; c++) {
            seam += fabs(pixels_at(pixels, 0, y, c) - pixels_at(pixels, last, y, c));
            beside += fabs(pixels_at(pixels, 0, y, c) - pixels_at(pixels, 1, y, c)) / 2;
            beside += fabs(pixels_at(pixels, last, y, c) - pixels_at(pixels, last - 1, y, c)) / 2;
        }
    return (seam - beside) * 255 / (double)((pixels->height - first_row) * pixels->channels);
}

static void patch_and_check(const char *picture, const char *fill, const char *cap, double outer_deg)
{
    char name[64];
    snprintf(name, sizeof name, "%s-%s.jpg", fill, cap);
    Run run = RUN_UNDERFOOT("patch", picture, "-o", name, "--cap", cap, "--fill", fill, "--json");
    assert_done(&run);
    Pixels after = picture_decode(name);
    size_t row = edge_row(after.height, outer_deg);
    cr_expect(json_number_at(run.out, "first_row_px") >= (double)row);
    cr_expect_eq(json_number_at(run.out, "last_row_px"), (double)after.height - 1);
    assert_untouched_above(picture, name, row);
    assert_pole_is_one_colour(&after, 12);
    cr_expect(seam_excess(&after, row) < 4, "%s: the seam shows: %.1f", name, seam_excess(&after, row));
    pixels_free(&after);
    run_free(&run);
}

Test(cli_patch, floor_on_the_earth)
{
    patch_and_check(EARTH, "floor", "18", 19.5);
}

Test(cli_patch, smooth_on_the_earth)
{
    patch_and_check(EARTH, "smooth", "25", 26.5);
}

/* The Sun is one yellow all over: that is the only floor that continues it. */
static void assert_all_yellow(const char *fill)
{
    Run run = RUN_UNDERFOOT("patch", SUN, "-o", "sun.png", "--cap", "15deg", "--fill", fill, "--overwrite",
                            "--json");
    assert_done(&run);
    Pixels before = picture_decode(SUN);
    Pixels after = picture_decode("sun.png");
    for (size_t i = 0; i < after.width * after.height * 3; i++)
        cr_assert(abs((int)after.codes[i] - (int)before.codes[i]) <= 1, "%s: sample %zu", fill, i);
    pixels_free(&before);
    pixels_free(&after);
    run_free(&run);
}

Test(cli_patch, floor_and_smooth_on_the_sun)
{
    assert_all_yellow("floor");
    assert_all_yellow("smooth");
}

Test(cli_patch, the_sun_keeps_its_blocks)
{
    Run run = RUN_UNDERFOOT("patch", SUN, "-o", "out.jpg", "--cap", "30", "--fill", "#204060");
    cr_assert_eq(run.status, 0, "%s", run.err);
    assert_untouched_above(SUN, "out.jpg", edge_row(512, 31.5));
    Pixels after = picture_decode("out.jpg");
    assert_pole_is_one_colour(&after, 3);
    cr_expect_float_eq(pixels_at(&after, 200, 511, 2), 0x60 / 255.0, 0.02);
    pixels_free(&after);
    run_free(&run);
}

/*
 * A harmonic function has neither maximum nor minimum inside (the maximum principle; e.g. L. C. Evans,
 * Partial Differential Equations, 2.2.3): what a membrane fills in stays between the values of the ring
 * around it.
 */
Test(cli_patch, smooth_stays_between_the_colours_of_its_edge)
{
    Run run = RUN_UNDERFOOT("patch", EARTH, "-o", "out.png", "--cap", "20", "--fill", "smooth", "--feather",
                            "0", "--json");
    assert_done(&run);
    Pixels out = picture_decode("out.png");
    size_t first = (size_t)json_number_at(run.out, "first_row_px");
    cr_assert(first > 60 && first < out.height - 60);
    for (size_t c = 0; c < 3; c++) {
        double low = 1;
        double high = 0;
        for (size_t y = first - 60; y < first; y++)
            for (size_t x = 0; x < out.width; x++) {
                low = fmin(low, pixels_at(&out, x, y, c));
                high = fmax(high, pixels_at(&out, x, y, c));
            }
        for (size_t y = first + 2; y < out.height; y++)
            for (size_t x = 0; x < out.width; x++) {
                double value = pixels_at(&out, x, y, c);
                cr_assert(value >= low - 1.0 / 255 && value <= high + 1.0 / 255, "row %zu: %.3f", y, value);
            }
    }
    pixels_free(&out);
    run_free(&run);
}

Test(cli_patch, colour_covers_the_cap_and_nothing_else)
{
    Run run = RUN_UNDERFOOT("patch", EARTH, "-o", "out.png", "--cap", "20", "--fill", "#4080C0",
                            "--feather=0", "--json");
    assert_done(&run);
    char *fill = json_at(run.out, "fill");
    cr_expect_str_eq(fill, "colour");
    Pixels out = picture_decode("out.png");
    const double wanted[3] = {0x40 / 255.0, 0x80 / 255.0, 0xC0 / 255.0};
    size_t first = edge_row(out.height, 20);
    for (size_t y = first + 2; y < out.height; y++)
        for (size_t x = 0; x < out.width; x++)
            for (size_t c = 0; c < 3; c++)
                cr_assert_float_eq(pixels_at(&out, x, y, c), wanted[c], 1.5 / 255, "pixel %zu, %zu", x, y);
    free(fill);
    pixels_free(&out);
    run_free(&run);
}

Test(cli_patch, short_colours_are_the_long_ones)
{
    Run a = RUN_UNDERFOOT("patch", SUN, "-o", "a.png", "--cap", "20", "--fill", "#48C");
    Run b = RUN_UNDERFOOT("patch", SUN, "-o", "b.png", "--cap", "20.0deg", "--fill=#4488cc");
    cr_expect_eq(a.status, 0, "%s", a.err);
    cr_expect_eq(b.status, 0, "%s", b.err);
    cr_expect(file_same("a.png", "b.png"));
    run_free(&a);
    run_free(&b);
}

Test(cli_patch, the_zenith_is_the_other_end)
{
    Run run = RUN_UNDERFOOT("patch", EARTH, "-o", "out.png", "--cap", "20", "--fill", "#f00", "--at",
                            "zenith", "--json");
    assert_done(&run);
    Pixels before = picture_decode(EARTH);
    Pixels after = picture_decode("out.png");
    cr_expect_eq(json_number_at(run.out, "first_row_px"), 0);
    cr_expect(json_number_at(run.out, "last_row_px") <= 21.5 / 180 * 1024 + 1);
    cr_expect(pixels_at(&after, 77, 0, 0) > 0.99 && pixels_at(&after, 77, 0, 1) < 0.01);
    size_t row = (size_t)ceil(21.5 / 180 * 1024) + 1;
    size_t samples = before.width * 3;
    Run png =
        RUN_UNDERFOOT("patch", EARTH, "-o", "south.png", "--cap", "1", "--fill", "#f00", "--feather", "0");
    Pixels decoded = picture_decode("south.png");
    size_t kept = (edge_row(1024, 1) - 2 - row) * samples;
    cr_expect_arr_eq(after.codes + row * samples, decoded.codes + row * samples, kept * sizeof *after.codes);
    run_free(&png);
    pixels_free(&decoded);
    pixels_free(&before);
    pixels_free(&after);
    run_free(&run);
}

/* Four quarters: red and green above, blue and white below. */
static void write_logo(const char *path)
{
    Pixels logo = {.width = 64, .height = 64, .channels = 3, .bits = 8};
    logo.codes = calloc(64 * 64 * 3, sizeof *logo.codes);
    cr_assert_not_null(logo.codes);
    for (size_t y = 0; y < 64; y++)
        for (size_t x = 0; x < 64; x++) {
            uint16_t *at = logo.codes + (y * 64 + x) * 3;
            bool white = y >= 32 && x >= 32;
            at[0] = (y < 32 && x < 32) || white ? 255 : 0;
            at[1] = (y < 32 && x >= 32) || white ? 255 : 0;
            at[2] = y >= 32 ? 255 : 0;
        }
    png_write(path, &logo, NULL);
    pixels_free(&logo);
}

/* The pixel in the direction of a yaw, `below_deg` above the nadir. */
static void assert_colour_at(const Pixels *pixels, double yaw_deg, double from_nadir_deg, int red, int green,
                             int blue)
{
    double turn = remainder(yaw_deg, 360.0);
    size_t x = (size_t)((turn / 360.0 + 0.5) * (double)pixels->width) % pixels->width;
    size_t y = (size_t)((1.0 - from_nadir_deg / 180.0) * (double)pixels->height);
    const int wanted[3] = {red, green, blue};
    for (size_t c = 0; c < 3; c++)
        cr_expect_float_eq(pixels_at(pixels, x, y, c), wanted[c], 0.12, "yaw %g: channel %zu is %.2f",
                           yaw_deg, c, pixels_at(pixels, x, y, c));
}

/*
 * Looking straight down with the heading at the top, the logo reads as it is in its file: its top left
 * quarter lies at yaw heading - 45, its top right quarter at heading + 45.
 */
static void assert_logo(const char *heading, double heading_deg, const char *out)
{
    Run run = RUN_UNDERFOOT("patch", EARTH, "-o", out, "--cap", "30", "--logo", "logo.png", "--heading",
                            heading, "--fill", "#888", "--json");
    assert_done(&run);
    assert_untouched_above(EARTH, out, edge_row(1024, 31.5));
    Pixels after = picture_decode(out);
    assert_colour_at(&after, heading_deg - 45, 12, 1, 0, 0);
    assert_colour_at(&after, heading_deg + 45, 12, 0, 1, 0);
    assert_colour_at(&after, heading_deg - 135, 12, 0, 0, 1);
    assert_colour_at(&after, heading_deg + 135, 12, 1, 1, 1);
    pixels_free(&after);
    run_free(&run);
}

Test(cli_patch, logo_lies_flat_and_unmirrored)
{
    write_logo("logo.png");
    assert_logo("0", 0, "front.jpg");
    assert_logo("90deg", 90, "right.jpg");
    assert_logo("-100", -100, "left.jpg");
    assert_logo("260", 260, "turned.jpg");
    cr_expect(file_same("left.jpg", "turned.jpg"));
}

Test(cli_patch, logo_on_what_is_there)
{
    write_logo("logo.png");
    Run run = RUN_UNDERFOOT("patch", SUN, "-o", "out.jpg", "--fill", "none", "--logo", "logo.png",
                            "--logo-cap", "20", "--json");
    assert_done(&run);
    assert_untouched_above(SUN, "out.jpg", edge_row(512, 21.5));
    Pixels after = picture_decode("out.jpg");
    assert_colour_at(&after, -45, 8, 1, 0, 0);
    assert_colour_at(&after, 135, 8, 1, 1, 1);
    pixels_free(&after);
    run_free(&run);
}

Test(cli_patch, a_smaller_logo_leaves_the_fill_around_it)
{
    write_logo("logo.png");
    Run run = RUN_UNDERFOOT("patch", EARTH, "-o", "out.png", "--cap", "30", "--logo", "logo.png",
                            "--logo-cap", "10", "--fill", "#102030");
    cr_assert_eq(run.status, 0, "%s", run.err);
    Pixels after = picture_decode("out.png");
    assert_colour_at(&after, -45, 5, 1, 0, 0);
    cr_expect_float_eq(pixels_at(&after, 300, edge_row(1024, 20), 2), 0x30 / 255.0, 0.02);
    pixels_free(&after);
    run_free(&run);
}

/* Rec. 601 luma, of which 4:2:0 keeps every pixel. */
static double luma_at(const Pixels *p, size_t x, size_t y)
{
    return 0.299 * pixels_at(p, x, y, 0) + 0.587 * pixels_at(p, x, y, 1) + 0.114 * pixels_at(p, x, y, 2);
}

/* Print stays readable where colours are stored at half the size: its luma is within the coding's own noise.
 */
Test(cli_patch, print_survives_a_4_2_0_jpeg)
{
    Run run = RUN_PROGRAM("sh", "-c", "djpeg " EARTH " | cjpeg -quality 90 -sample 2x2 >in.jpg");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    Pixels print = {.width = 256, .height = 256, .channels = 1, .bits = 8};
    print.codes = calloc((size_t)256 * 256, sizeof *print.codes);
    cr_assert_not_null(print.codes);
    for (size_t i = 0; i < (size_t)256 * 256; i++) /* strokes of some four of the panorama's pixels */
        print.codes[i] = (i % 256 / 8 * 7 + i / 2048 * 13) % 5 < 2 ? 255 : 0;
    png_write("print.png", &print, NULL);
    pixels_free(&print);
    const char *outs[] = {"out.jpg", "out.png"};
    for (size_t i = 0; i < 2; i++) {
        run = RUN_UNDERFOOT("patch", "in.jpg", "-o", outs[i], "--cap", "20", "--fill", "#808080", "--logo",
                            "print.png");
        cr_assert_eq(run.status, 0, "%s", run.err);
        run_free(&run);
    }
    Pixels coded = picture_decode("out.jpg"), exact = picture_decode("out.png");
    double sum = 0, count = 0;
    for (size_t y = 1024 - 75; y < 1024; y++)
        for (size_t x = 0; x < 2048; x++, count++)
            sum += pow(luma_at(&coded, x, y) - luma_at(&exact, x, y), 2);
    double psnr = -10 * log10(sum / count);
    cr_expect_gt(psnr, 30, "luma PSNR %g dB", psnr);
    pixels_free(&coded);
    pixels_free(&exact);
}

Test(cli_patch, logo_contact_shades_the_floor_round_it)
{
    write_logo("logo.png");
    Run run = RUN_UNDERFOOT("patch", EARTH, "-o", "out.png", "--cap", "30", "--logo", "logo.png",
                            "--logo-cap", "10", "--logo-contact", "3", "--fill", "#808080");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    Pixels after = picture_decode("out.png");
    /* ahead the square's edge lies at atan(tan(10) / sqrt 2) = 7.11 degrees */
    cr_expect(pixels_at(&after, 1024, edge_row(1024, 7.6), 1) < 0x78 / 255.0);
    cr_expect_float_eq(pixels_at(&after, 1024, edge_row(1024, 12), 1), 0x80 / 255.0, 0.003);
    pixels_free(&after);
    static const char *const bad[][4] = {{"--logo-contact", "1", NULL, NULL}, /* no logo */
                                         {"--logo", "logo.png", "--logo-contact", "0"},
                                         {"--logo", "logo.png", "--logo-contact", "6"},
                                         {"--logo", "logo.png", "--logo-contact", "wide"}};
    for (size_t i = 0; i < 4; i++) {
        run = RUN_UNDERFOOT("patch", EARTH, "-o", "no.png", "--cap", "30", bad[i][0], bad[i][1], bad[i][2],
                            bad[i][3]);
        cr_expect_eq(run.status, 64, "case %zu", i);
        cr_expect_not_null(strstr(run.err, "--logo"), "%s", run.err);
        cr_expect_not(file_exists("no.png"));
        run_free(&run);
    }
}

/* A JPEG keeps its own tables and scan order; --quality would change the rest of the picture. */
Test(cli_patch, quality_is_refused_for_jpeg_to_jpeg)
{
    Run run = RUN_UNDERFOOT("patch", SUN, "-o", "out.jpg", "--cap", "20", "--quality", "80");
    cr_expect_eq(run.status, 64);
    cr_expect_not_null(strstr(run.err, "keeps the input's own quality"), "%s", run.err);
    cr_expect_not(file_exists("out.jpg"));
    run_free(&run);
}

Test(cli_patch, quality_and_depth_go_to_other_formats)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.bits = 16});
    png_write("in.png", &panorama, NULL);
    Run jpeg =
        RUN_UNDERFOOT("patch", "in.png", "-o", "low.jpg", "--cap", "20", "--fill=smooth", "--quality", "20");
    Run better =
        RUN_UNDERFOOT("patch", "in.png", "-o", "high.jpg", "--cap", "20", "--fill=smooth", "--quality=98");
    Run shallow =
        RUN_UNDERFOOT("patch", "in.png", "-o", "8.png", "--cap", "20", "--fill=smooth", "--depth", "8");
    Run same =
        RUN_UNDERFOOT("patch", "in.png", "-o", "16.png", "--cap", "20", "--fill=smooth", "--depth", "16");
    cr_assert_eq(jpeg.status, 0, "%s", jpeg.err);
    cr_assert_eq(better.status, 0, "%s", better.err);
    cr_assert_eq(shallow.status, 0, "%s", shallow.err);
    cr_assert_eq(same.status, 0, "%s", same.err);
    Bytes low = file_read("low.jpg");
    Bytes high = file_read("high.jpg");
    cr_expect(low.size < high.size, "%zu and %zu bytes", low.size, high.size);
    Pixels eight = picture_decode("8.png");
    Pixels sixteen = picture_decode("16.png");
    cr_expect_eq(eight.bits, 8);
    cr_expect_eq(sixteen.bits, 16);
    cr_expect(pixels_same_rows(&panorama, &sixteen, edge_row(128, 21.5)));
    bytes_free(&low);
    bytes_free(&high);
    pixels_free(&eight);
    pixels_free(&sixteen);
    pixels_free(&panorama);
    run_free(&jpeg);
    run_free(&better);
    run_free(&shallow);
    run_free(&same);
}

Test(cli_patch, the_same_seed_gives_the_same_floor_on_any_number_of_threads)
{
    Run a = RUN_UNDERFOOT("patch", EARTH, "-o", "a.jpg", "--cap", "18", "--seed", "7", "--threads", "1");
    Run b = RUN_UNDERFOOT("patch", EARTH, "-o", "b.jpg", "--cap", "18", "--seed", "7", "--threads", "3");
    cr_expect(a.status != 1 && a.status == b.status, "%s%s", a.err, b.err);
    cr_expect(file_same("a.jpg", "b.jpg"));
    run_free(&a);
    run_free(&b);
}

/* Every kind of file: what lies above the soft edge is the same, sample for sample. */
static void assert_kind(const char *name, const Pixels *before)
{
    char out[64];
    snprintf(out, sizeof out, "out-%s", name);
    Run run = RUN_UNDERFOOT("patch", name, "-o", out, "--cap", "20", "--fill", "smooth", "--json");
    assert_done(&run);
    Pixels after = picture_decode(out);
    cr_expect(pixels_same_rows(before, &after, edge_row(before->height, 21.5)), "%s changed above the cap",
              name);
    cr_expect_eq(after.bits, before->bits, "%s", name);
    pixels_free(&after);
    run_free(&run);
}

Test(cli_patch, samples_above_the_cap_stay_in_png)
{
    for (unsigned bits = 8; bits <= 16; bits += 8)
        for (size_t channels = 1; channels <= 4; channels++) {
            Pixels before = panorama_make(&(PanoramaOptions){.channels = channels, .bits = bits});
            char name[32];
            snprintf(name, sizeof name, "p%u-%zu.png", bits, channels);
            png_write(name, &before, &(PngOptions){.interlaced = channels == 3});
            assert_kind(name, &before);
            pixels_free(&before);
        }
}

Test(cli_patch, samples_above_the_cap_stay_in_tiff)
{
    static const TiffOptions kinds[] = {{0},
                                        {.compression = 5, .predictor = 2},
                                        {.compression = 8, .rows_per_strip = 7},
                                        {.mode = "w8", .tile_side = 32, .compression = 8},
                                        {.mode = "wb"},
                                        {.planar = true, .compression = 5}};
    for (unsigned bits = 8; bits <= 32; bits *= 2)
        for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
            if (bits == 32 && kinds[i].predictor != 0)
                continue;
            Pixels before = panorama_make(&(PanoramaOptions){.channels = i % 2 == 0 ? 3 : 4, .bits = bits});
            char name[32];
            snprintf(name, sizeof name, "t%u-%zu.tif", bits, i);
            tiff_write(name, &before, &kinds[i]);
            assert_kind(name, &before);
            pixels_free(&before);
        }
}

Test(cli_patch, blocks_above_the_cap_stay_in_jpeg)
{
    static const JpegOptions kinds[] = {{0},
                                        {.progressive = true},
                                        {.horizontal = 1, .vertical = 1, .quality = 97},
                                        {.horizontal = 2, .vertical = 1, .restart_rows = 1},
                                        {.horizontal = 1, .vertical = 2, .progressive = true}};
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        for (size_t channels = 1; channels <= 3; channels += 2) {
            Pixels panorama =
                panorama_make(&(PanoramaOptions){.width = 400, .height = 200, .channels = channels});
            jpeg_write("in.jpg", &panorama, &kinds[i]);
            Run run = RUN_UNDERFOOT("patch", "in.jpg", "-o", "out.jpg", "--cap", "25", "--fill", "smooth",
                                    "--overwrite", "--json");
            assert_done(&run);
            cr_expect(jpeg_same_blocks("in.jpg", "out.jpg", edge_row(200, 26.5)), "kind %zu, %zu channels", i,
                      channels);
            run_free(&run);
            pixels_free(&panorama);
        }
}

Test(cli_patch, auto_finds_the_hole)
{
    static const Hole holes[] = {HOLE_BLACK, HOLE_FLAT, HOLE_TRANSPARENT};
    for (size_t i = 0; i < 3; i++) {
        Pixels panorama = panorama_make(
            &(PanoramaOptions){.width = 512, .height = 256, .channels = 4, .hole = holes[i], .hole_deg = 22});
        png_write("in.png", &panorama, NULL);
        Run run = RUN_UNDERFOOT("patch", "in.png", "-o", "out.png", "--cap", "auto", "--fill", "smooth",
                                "--overwrite", "--json");
        assert_done(&run);
        double cap = json_number_at(run.out, "cap_deg");
        cr_expect(cap >= 21.6 && cap <= 24, "hole of 22 degrees, cap of %.2f", cap);
        Pixels after = picture_decode("out.png");
        cr_expect_eq(pixels_at(&after, 100, 255, 3), 1.0);
        pixels_free(&after);
        pixels_free(&panorama);
        run_free(&run);
    }
}

/* Upside down, the hole at the nadir is one at the zenith. */
Test(cli_patch, auto_finds_the_hole_at_the_zenith)
{
    Pixels panorama = panorama_make(
        &(PanoramaOptions){.width = 512, .height = 256, .channels = 3, .hole = HOLE_BLACK, .hole_deg = 14});
    png_write("in.png", &panorama, NULL);
    Run turned = RUN_UNDERFOOT("turn", "in.png", "-o", "over.png", "--roll", "180");
    cr_assert_eq(turned.status, 0, "%s", turned.err);
    Run run = RUN_UNDERFOOT("patch", "over.png", "-o", "out.png", "--at", "zenith", "--cap", "auto", "--fill",
                            "smooth", "--json");
    assert_done(&run);
    double cap = json_number_at(run.out, "cap_deg");
    cr_expect(cap >= 13.6 && cap <= 16, "hole of 14 degrees, cap of %.2f", cap);
    Pixels before = picture_decode("over.png"), after = picture_decode("out.png");
    cr_expect_lt(pixels_at(&before, 100, 0, 1), 0.02);
    cr_expect_gt(pixels_at(&after, 100, 0, 1), 0.05);
    cr_expect_eq(pixels_at(&after, 100, 255, 1), pixels_at(&before, 100, 255, 1));
    pixels_free(&before);
    pixels_free(&after);
    pixels_free(&panorama);
    run_free(&turned);
    run_free(&run);
}

Test(cli_patch, auto_without_a_hole_says_what_to_give)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("in.png", &panorama, NULL);
    Run run = RUN_UNDERFOOT("patch", "in.png", "-o", "out.png", "--cap", "auto");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "--cap"), "%s", run.err);
    cr_expect_not(file_exists("out.png"));
    pixels_free(&panorama);
    run_free(&run);
}

/* The figure is no guess: the program then holds at least that much, and the limit it names is enough. */
static void assert_refused_below_need(const char *fill)
{
    Run refused =
        RUN_UNDERFOOT("patch", EARTH, "-o", "out.jpg", "--cap", "30", "--fill", fill, "--max-memory", "1M");
    cr_expect_eq(refused.status, 1, "%s", refused.err);
    cr_expect_not(file_exists("out.jpg"));
    const char *need = strstr(refused.err, EARTH ": covering it needs at least ");
    const char *give = strstr(refused.err, "the limit is 1.0 MB; give --max-memory ");
    cr_assert(need != NULL && give != NULL, "%s", refused.err);
    double megabytes = strtod(strstr(need, "least ") + 6, NULL);
    char limit[40];
    snprintf(limit, sizeof limit, "%.20s", strstr(give, "memory ") + 7);
    limit[strcspn(limit, " ")] = '\0';
    Run done = RUN_UNDERFOOT("patch", EARTH, "-o", "out.jpg", "--cap", "30", "--fill", fill, "--json",
                             "--max-memory", limit);
    assert_done(&done);
    struct rusage usage;
    cr_assert_eq(getrusage(RUSAGE_CHILDREN, &usage), 0);
    cr_expect((double)usage.ru_maxrss * 1024 >= megabytes * 1e6, "%s: %.1f MB said, %ld KiB held", fill,
              megabytes, usage.ru_maxrss);
    run_free(&refused);
    run_free(&done);
    cr_assert_eq(remove("out.jpg"), 0);
}

Test(cli_patch, a_memory_limit_that_cannot_hold_is_refused_with_the_figure)
{
    assert_refused_below_need("smooth");
    assert_refused_below_need("floor");
}

Test(cli_patch, says_what_it_did)
{
    Run run = RUN_UNDERFOOT("patch", SUN, "-o", "out.jpg", "--cap", "20", "--fill", "smooth");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_str_eq(run.err, "");
    cr_expect_not_null(strstr(run.out, "out.jpg\n"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "20.00 deg about the nadir, soft edge 1.50 deg"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, " to 511 of 512 touched"), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "fill  smooth"), "%s", run.out);
    run_free(&run);
}

Test(cli_patch, a_mask_that_is_no_panorama_is_named)
{
    Pixels square = panorama_make(&(PanoramaOptions){.width = 64, .height = 64});
    png_write("spots.png", &square, NULL);
    pixels_free(&square);
    Run run = RUN_UNDERFOOT("patch", SUN, "-o", "out.jpg", "--mask", "spots.png");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(
        strstr(run.err, "underfoot: spots.png: is 64 x 64 pixels and has no home address; a mask is"), "%s",
        run.err);
    cr_expect_not(file_exists("out.jpg"));
    run_free(&run);
}

/* A face is taken out, painted white where something stands, and comes home as a mask by its own address. */
Test(cli_patch, covers_what_a_painted_face_says)
{
    char hall[1024];
    Run run = RUN_UNDERFOOT("faces", scene_path("ticket-hall.jpg", hall), "-o", "out", "--only", "down",
                            "--size", "200");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    run = RUN_PROGRAM("sh", "-c",
                      "mv out/down.png mask.png && mv out/down.png.home.ini mask.png.home.ini && ls");
    run_free(&run);
    Pixels pixels = picture_decode("mask.png");
    for (size_t i = 0; i < pixels.width * pixels.height * pixels.channels; i++) {
        size_t x = i / pixels.channels % pixels.width, y = i / pixels.channels / pixels.width;
        pixels.codes[i] = x >= 150 && x < 180 && y >= 90 && y < 120 ? 255 : 0;
    }
    png_write("mask.png", &pixels, NULL);
    run = RUN_UNDERFOOT("patch", hall, "-o", "spot.jpg", "--mask", "mask.png", "--fill", "#FF0000", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    /* the middle of the spot: 65 pixels right of the face's middle, 100 to 45 degrees */
    Run view = RUN_UNDERFOOT("view", "spot.jpg", "-o", "spot.png", "--yaw", "90", "--pitch", "-57", "--fov",
                             "2", "--size", "4x4");
    cr_assert_eq(view.status, 0, "%s", view.err);
    run_free(&view);
    Pixels seen = picture_decode("spot.png");
    cr_expect_gt(seen.codes[0], 230);
    cr_expect_lt(seen.codes[1], 40);
    pixels_free(&seen);
    pixels_free(&pixels);
    /* the same mask does not fit another panorama */
    run = RUN_UNDERFOOT("patch", EARTH, "-o", "no.jpg", "--mask", "mask.png", "--fill", "smooth");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "mask.png"), "%s", run.err);
    cr_expect(!file_exists("no.jpg"));
    run_free(&run);
}

/* The clock, the picture and the person agree on where the shadow of the yard's tripod falls. */
Test(cli_patch, covers_the_shadow)
{
    static const char *const suns[] = {"find", "clock", "-150.3,63.3"};
    char yard[1024], rig[1100];
    (void)scene_path("yard.jpg", yard);
    snprintf(rig, sizeof rig, "%.*s/../../samples/yard.ini", (int)(strrchr(yard, '/') - yard), yard);
    for (size_t i = 0; i < 3; i++) {
        Run run = RUN_UNDERFOOT("patch", yard, "-o", "out.jpg", "--rig", rig, "--fill", "smooth", "--sun",
                                suns[i], "--overwrite", "--json");
        assert_done(&run);
        cr_expect_float_eq(json_number_at(run.out, "shadow.sun_yaw_deg"), -150.3, 0.5);
        cr_expect_float_eq(json_number_at(run.out, "shadow.sun_elevation_deg"), 63.3, 0.5);
        /* 1.6 m high: cot 63.3 deg of it, half the width and the soft edge slanted */
        cr_expect_float_eq(json_number_at(run.out, "shadow.length_m"),
                           1.6 / tan(63.3 * M_PI / 180) + 0.3 / sin(63.3 * M_PI / 180), 0.03);
        run_free(&run);
    }
    Run run = RUN_UNDERFOOT("patch", scene_path("ticket-hall.jpg", yard), "-o", "no.jpg", "--cap", "20",
                            "--sun", "find");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "sun is not clear"), "%s", run.err);
    cr_expect(!file_exists("no.jpg"));
    run_free(&run);
    run = RUN_UNDERFOOT("patch", scene_path("ticket-hall.jpg", yard), "-o", "no.jpg", "--cap", "20", "--sun",
                        "95");
    cr_expect_eq(run.status, 64);
    run_free(&run);
    run = RUN_UNDERFOOT("patch", EARTH, "-o", "no.jpg", "--cap", "20", "--height", "2");
    cr_expect_eq(run.status, 64);
    run_free(&run);
}

/*
 * `underfoot view`: a plain picture out of a panorama. The panorama's colour is a known function of the
 * direction, so every pixel of the view has a known colour: its direction is the conventions' own formula
 * (rectilinear: Snyder, USGS PP 1395, section 22, gnomonic).
 */
#include <criterion/criterion.h>
#include <math.h>
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
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 1024, .height = 512});
    png_write("in.png", &panorama, NULL);
    pixels_free(&panorama);
}

TestSuite(cli_view, .init = make_pictures, .fini = folder_leave);

static const double PI = 3.14159265358979323846;

/* The colour that the panorama has in the direction of a view's pixel, by the three rotations written out. */
static double expected(const double angles_deg[3], double fov_deg, size_t width, size_t height, size_t x,
                       size_t y, size_t channel)
{
    double focal = (double)width / 2 / tan(fov_deg * PI / 360);
    double u = (double)x + 0.5 - (double)width / 2;
    double v = (double)height / 2 - (double)y - 0.5;
    double yaw = angles_deg[0] * PI / 180;
    double pitch = angles_deg[1] * PI / 180;
    double roll = angles_deg[2] * PI / 180;
    /* Rz(roll) (cos roll, sin roll, 0) = (1, 0, 0) */
    double x1 = u * cos(roll) + v * sin(roll);
    double y1 = -u * sin(roll) + v * cos(roll);
    double y2 = y1 * cos(pitch) + focal * sin(pitch);
    double z2 = -y1 * sin(pitch) + focal * cos(pitch);
    double x3 = x1 * cos(yaw) + z2 * sin(yaw);
    double z3 = -x1 * sin(yaw) + z2 * cos(yaw);
    return panorama_colour(atan2(x3, z3), atan2(y2, hypot(x3, z3)), channel);
}

static void assert_view(const char *yaw, const char *pitch, const char *roll, const char *fov)
{
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "out.png", "--yaw", yaw, "--pitch", pitch, "--roll", roll,
                            "--fov", fov, "--size", "160x120", "--overwrite");
    cr_assert_eq(run.status, 0, "%s", run.err);
    const double angles[3] = {strtod(yaw, NULL), strtod(pitch, NULL), strtod(roll, NULL)};
    Pixels view = picture_decode("out.png");
    cr_assert(view.width == 160 && view.height == 120 && view.channels == 3);
    for (size_t y = 0; y < 120; y += 7)
        for (size_t x = 0; x < 160; x += 7)
            for (size_t c = 0; c < 3; c++)
                cr_expect_float_eq(pixels_at(&view, x, y, c),
                                   expected(angles, strtod(fov, NULL), 160, 120, x, y, c), 2.0 / 255,
                                   "yaw %s pitch %s roll %s: pixel %zu, %zu, channel %zu", yaw, pitch, roll,
                                   x, y, c);
    pixels_free(&view);
    run_free(&run);
}

Test(cli_view, shows_what_lies_in_its_direction)
{
    assert_view("0", "0", "0", "90");
    assert_view("90", "0", "0", "60deg");
    assert_view("180", "10", "0", "90");
    assert_view("-120.5", "-35", "20", "75");
    assert_view("30", "-90", "0", "100");
    assert_view("0", "90", "-170", "40");
    assert_view("725", "0", "0", "90");
}

Test(cli_view, chooses_a_size_as_sharp_as_the_panorama)
{
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "out.png", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    /* 2 tan(45 deg) 1024 / 2 pi = 325.9 */
    cr_expect_eq(json_number_at(run.out, "width_px"), 326);
    cr_expect_eq(json_number_at(run.out, "height_px"), 245);
    cr_expect_eq(json_number_at(run.out, "fov_deg"), 90);
    Run wide = RUN_UNDERFOOT("view", "in.png", "-o", "wide.png", "--fov", "170", "--json");
    cr_expect_eq(json_number_at(wide.out, "width_px"), 1024);
    run_free(&run);
    run_free(&wide);
}

Test(cli_view, takes_depth_quality_sampling_and_threads)
{
    Run deep = RUN_UNDERFOOT("view", "in.png", "-o", "deep.tif", "--depth", "16", "--sampling", "bilinear",
                             "--threads", "1", "--size", "64x64");
    cr_assert_eq(deep.status, 0, "%s", deep.err);
    Pixels pixels = picture_decode("deep.tif");
    cr_expect_eq(pixels.bits, 16);
    Run low = RUN_UNDERFOOT("view", "in.png", "-o", "low.jpg", "--quality", "5", "--size", "300x300");
    Run high = RUN_UNDERFOOT("view", "in.png", "-o", "high.jpg", "--quality", "99", "--size", "300x300");
    cr_assert(low.status == 0 && high.status == 0, "%s%s", low.err, high.err);
    Bytes small = file_read("low.jpg");
    Bytes large = file_read("high.jpg");
    cr_expect(small.size < large.size);
    bytes_free(&small);
    bytes_free(&large);
    pixels_free(&pixels);
    run_free(&deep);
    run_free(&low);
    run_free(&high);
}

/* A view is no panorama: its metadata must not say that it is one, and keep the rest. */
Test(cli_view, drops_the_photo_sphere_fields_and_nothing_else)
{
    Run prepared =
        RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-XMP-GPano:ProjectionType=equirectangular",
                    "-XMP-GPano:FullPanoWidthPixels=1024", "-XMP-GPano:PoseHeadingDegrees=12",
                    "-XMP-dc:Creator=Mara Lindqvist", "-EXIF:Artist=Mara Lindqvist", "in.png");
    cr_assert_eq(prepared.status, 0, "%s", prepared.err);
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "out.jpg", "--size", "80x60");
    cr_assert_eq(run.status, 0, "%s", run.err);
    Run sphere = RUN_PROGRAM("exiftool", "-XMP-GPano:all", "out.jpg");
    cr_expect_str_eq(sphere.out, "");
    Run creator = RUN_PROGRAM("exiftool", "-s3", "-XMP-dc:Creator", "-EXIF:Artist", "out.jpg");
    cr_expect_str_eq(creator.out, "Mara Lindqvist\nMara Lindqvist\n");
    run_free(&prepared);
    run_free(&run);
    run_free(&sphere);
    run_free(&creator);
}

Test(cli_view, refuses_what_needs_too_much_memory_before_it_starts)
{
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "out.png", "--size", "900000x900000");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "give a smaller --size or a larger --max-memory"), "%s", run.err);
    Run wide = RUN_UNDERFOOT("view", "in.png", "-o", "out.jpg", "--size", "65501x1");
    cr_expect_eq(wide.status, 64);
    cr_expect_not_null(strstr(wide.err, "65500 pixels wide and high at most"), "%s", wide.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&run);
    run_free(&wide);
}

Test(cli_view, never_replaces_its_panorama)
{
    FileState before = file_state("in.png");
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "in.png", "--overwrite");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "in.png: would be replaced by the output"), "%s", run.err);
    cr_expect(file_unchanged("in.png", &before));
    run_free(&run);
}

/* The home address, as another program reads it and in the sidecar; the same with every run. */
Test(cli_view, carries_where_it_came_from)
{
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "out.jpg", "--yaw", "-33.3", "--pitch", "12.000000001",
                            "--roll", "-5", "--fov", "70", "--size", "80x60");
    cr_assert_eq(run.status, 0, "%s", run.err);
    Run said = RUN_PROGRAM("exiftool", "-s3", "-XMP:Kind", "-XMP:YawDegrees", "-XMP:PitchDegrees",
                           "-XMP:RollDegrees", "-XMP:FieldDegrees", "-XMP:Size", "-XMP:Sampling", "out.jpg");
    cr_expect_str_eq(said.out, "view\n-33.3\n12.000000001\n-5\n70\n80x60\nsharp\n");
    Bytes sidecar = file_read("out.jpg.home.ini");
    cr_expect_not_null(strstr((const char *)sidecar.data, "\npitch = 12.000000001\n"));
    cr_expect_not_null(strstr((const char *)sidecar.data, "\npanorama-width = 1024\n"));
    Run again =
        RUN_UNDERFOOT("view", "in.png", "-o", "again.jpg", "--yaw", "-33.3", "--pitch", "12.000000001",
                      "--roll", "-5", "--fov", "70", "--size", "80x60", "--threads", "1");
    cr_expect(file_same("out.jpg.home.ini", "again.jpg.home.ini"));
    cr_expect(file_same("out.jpg", "again.jpg"));
    bytes_free(&sidecar);
    run_free(&run);
    run_free(&said);
    run_free(&again);
}

Test(cli_view, refuses_more_than_170_degrees_and_a_sidecar_that_is_there)
{
    Run wide = RUN_UNDERFOOT("view", "in.png", "-o", "out.png", "--fov", "170.1");
    cr_expect_eq(wide.status, 64);
    cr_expect_not_null(strstr(wide.err, "at most 170"), "%s", wide.err);
    file_write("out.png.home.ini", "mine", 4);
    Run there = RUN_UNDERFOOT("view", "in.png", "-o", "out.png");
    cr_expect_eq(there.status, 1);
    cr_expect_not_null(strstr(there.err, "out.png.home.ini: is there already"), "%s", there.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&wide);
    run_free(&there);
}

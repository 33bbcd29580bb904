/* `underfoot planet`: what stands where, the address it carries, and what is refused. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

static void make_pictures(void)
{
    folder_enter();
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 512, .height = 256});
    png_write("in.png", &panorama, NULL);
    pixels_free(&panorama);
}

TestSuite(cli_planet, .init = make_pictures, .fini = folder_leave);

static const double DEGREE = 3.14159265358979323846 / 180;

static Pixels planet(const char *heading, const char *sky)
{
    Run run = RUN_UNDERFOOT("planet", "in.png", "-o", "out.png", "--overwrite", "--size", "101", "--fov",
                            "180", "--heading", heading, sky);
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    return picture_decode("out.png");
}

static void expect_colour(const Pixels *pixels, size_t x, size_t y, double lon_deg, double lat_deg)
{
    for (size_t c = 0; c < 3; c++)
        cr_expect_float_eq(pixels_at(pixels, x, y, c), panorama_colour(lon_deg * DEGREE, lat_deg * DEGREE, c),
                           2.5 / 255, "%zu, %zu channel %zu", x, y, c);
}

/* With 180 degrees across, the middles of the sides are the horizon, half a pixel inside: r = 2 tan(c/2)
 * (Snyder, USGS PP 1395, (21-15) with k0 = 1), 100/101 of the half width. */
Test(cli_planet, has_the_heading_on_top_and_east_on_the_right)
{
    double lat = -90 + 2 * atan(100.0 / 101) / DEGREE;
    Pixels ground = planet("30", "--quiet");
    expect_colour(&ground, 50, 50, 0, -90);
    expect_colour(&ground, 50, 0, 30, lat);
    expect_colour(&ground, 100, 50, 120, lat);
    expect_colour(&ground, 50, 100, -150, lat);
    expect_colour(&ground, 0, 50, -60, lat);
    pixels_free(&ground);
}

Test(cli_planet, inside_out_has_the_heading_at_the_bottom_and_is_not_mirrored)
{
    double lat = 90 - 2 * atan(100.0 / 101) / DEGREE;
    Pixels sky = planet("30", "--sky-centre");
    expect_colour(&sky, 50, 50, 0, 90);
    expect_colour(&sky, 50, 100, 30, lat);
    expect_colour(&sky, 100, 50, 120, lat);
    expect_colour(&sky, 50, 0, -150, lat);
    expect_colour(&sky, 0, 50, -60, lat);
    pixels_free(&sky);
}

Test(cli_planet, says_what_it_is_in_json_xmp_and_sidecar)
{
    Run run =
        RUN_UNDERFOOT("planet", "in.png", "-o", "out.jpg", "--heading", "-12.25", "--sky-centre", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    char *sky = json_at(run.out, "sky_centre");
    cr_expect_str_eq(sky, "1");
    cr_expect_eq(json_number_at(run.out, "size_px"), 256);
    cr_expect_eq(json_number_at(run.out, "heading_deg"), -12.25);
    cr_expect_eq(json_number_at(run.out, "fov_deg"), 300);
    Run said = RUN_PROGRAM("exiftool", "-s3", "-XMP:Kind", "-XMP:YawDegrees", "-XMP:FieldDegrees",
                           "-XMP:Centre", "-XMP-GPano:all", "out.jpg");
    cr_expect_str_eq(said.out, "planet\n-12.25\n300\nsky\n");
    Bytes text = file_read("out.jpg.home.ini");
    cr_expect_not_null(strstr((const char *)text.data, "\ncentre = sky\n"));
    bytes_free(&text);
    free(sky);
    run_free(&said);
    run_free(&run);
}

static void refused(Run run, int status, const char *words)
{
    cr_expect_eq(run.status, status, "%s", run.err);
    cr_expect_not_null(strstr(run.err, words), "'%s' is not in: %s", words, run.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&run);
}

Test(cli_planet, refuses_what_cannot_be)
{
    refused(RUN_UNDERFOOT("planet", "in.png", "-o", "out.png", "--fov", "360"), 64, "less than 360");
    refused(RUN_UNDERFOOT("planet", "in.png", "-o", "out.png", "--fov", "0"), 64, "more than 0");
    refused(RUN_UNDERFOOT("planet", "in.png", "-o", "out.png", "--size", "10x10"), 64, "--size");
    refused(RUN_UNDERFOOT("planet", "missing.png", "-o", "out.png"), 1, "missing.png");
    refused(RUN_UNDERFOOT("planet", "in.png", "-o", "out.png", "--size", "900000"), 1, "--max-memory");
    file_write("out.png.home.ini", "mine", 4);
    refused(RUN_UNDERFOOT("planet", "in.png", "-o", "out.png"), 1, "out.png.home.ini: is there already");
}

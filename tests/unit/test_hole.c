/*
 * Holes: found where they are, as large as they are, of every kind and sample type; and what is no hole is
 * left alone. The real pictures are those of Debian's xplanet-images.
 */
#include <criterion/criterion.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "check/hole.h"
#include "support/program.h"
#include "unit/test_hole_world.h"

TestSuite(hole, .init = folder_enter, .fini = folder_leave);

#define EARTH "/usr/share/xplanet/images/earth.jpg"
#define NIGHT "/usr/share/xplanet/images/night.jpg"
#define SUN   "/usr/share/xplanet/images/sun.jpg"

static size_t holes_of(const UfPicture *picture, UfHole holes[UF_CHECK_MAX_HOLES])
{
    size_t count = 99;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_find_holes(picture, holes, UF_CHECK_MAX_HOLES, &count, report), UF_OK, "%s",
                 uf_report_error(report));
    uf_report_free(&report);
    return count;
}

static void expect_no_hole(const UfPicture *picture, const char *what)
{
    UfHole holes[UF_CHECK_MAX_HOLES];
    size_t count = holes_of(picture, holes);
    cr_expect_eq(count, 0, "%s: %zu holes, the first of kind %d, %.2f degrees about (%.1f, %.1f)", what,
                 count, holes[0].kind, holes[0].radius_deg, holes[0].lon_deg, holes[0].lat_deg);
    double cap = -1;
    for (int zenith = 0; zenith < 2; zenith++)
        cr_expect_eq(uf_find_hole(picture, zenith != 0, &cap, NULL), UF_ERROR_UNCLEAR, "%s", what);
    cr_expect_eq(cap, -1, "the result is untouched");
}

/* The share of the sphere inside a cap. */
static double cap_percent(double radius_deg)
{
    return 100 * (1 - cos(uf_radians(radius_deg))) / 2;
}

static void expect_one_hole(const UfPicture *picture, UfHoleKind kind, double lon_deg, double lat_deg,
                            double radius_deg)
{
    UfHole holes[UF_CHECK_MAX_HOLES];
    double pixel_deg = 180.0 / (double)uf_picture_height_px(picture);
    cr_assert_eq(holes_of(picture, holes), 1);
    cr_expect_eq(holes[0].kind, kind);
    UfLonLat is = {uf_radians(holes[0].lon_deg), uf_radians(holes[0].lat_deg)};
    UfLonLat should = {uf_radians(lon_deg), uf_radians(lat_deg)};
    double off_deg =
        uf_degrees(uf_angle_between_rad(uf_direction_from_lonlat(is), uf_direction_from_lonlat(should)));
    cr_expect_lt(off_deg, pixel_deg, "centre (%.3f, %.3f) is %.3f degrees off", holes[0].lon_deg,
                 holes[0].lat_deg, off_deg);
    cr_expect_float_eq(holes[0].radius_deg, radius_deg, 1.5 * pixel_deg, "radius %.3f instead of %.3f",
                       holes[0].radius_deg, radius_deg);
    cr_expect_float_eq(holes[0].sphere_percent, cap_percent(radius_deg),
                       cap_percent(radius_deg + pixel_deg) - cap_percent(radius_deg),
                       "%.4f %% instead of %.4f", holes[0].sphere_percent, cap_percent(radius_deg));
}

static void expect_cap(const UfPicture *picture, bool at_zenith, double radius_deg)
{
    double cap_rad = 0, pixel_deg = 180.0 / (double)uf_picture_height_px(picture);
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_find_hole(picture, at_zenith, &cap_rad, report), UF_OK, "%s", uf_report_error(report));
    cr_expect_geq(uf_degrees(cap_rad), radius_deg, "the cap holds the hole");
    cr_expect_leq(uf_degrees(cap_rad), radius_deg + 2 * pixel_deg, "%.3f instead of %.3f",
                  uf_degrees(cap_rad), radius_deg);
    uf_report_free(&report);
}

Test(hole, sound_pictures_have_none)
{
    static const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *picture = world_make(256, channels, samples[s]);
            expect_no_hole(picture, "sound");
            uf_picture_free(&picture);
        }
}

Test(hole, every_kind_in_every_sample_type)
{
    static const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (int zenith = 0; zenith < 2; zenith++)
                for (int kind = UF_HOLE_TRANSPARENT; kind <= UF_HOLE_FLAT; kind++) {
                    UfPicture *picture = world_make(240, channels, samples[s]);
                    if (kind == UF_HOLE_TRANSPARENT && !uf_picture_has_alpha(picture)) {
                        uf_picture_free(&picture);
                        continue;
                    }
                    double lat_deg = zenith ? 90 : -90;
                    if (kind == UF_HOLE_TRANSPARENT)
                        world_cut(picture, 0, lat_deg, 20, 0);
                    else
                        world_paint(picture, 0, lat_deg, 20, kind == UF_HOLE_BLACK ? 0 : 250);
                    expect_one_hole(picture, (UfHoleKind)kind, 0, lat_deg, 20);
                    expect_cap(picture, zenith != 0, 20);
                    double other = -1;
                    cr_expect_eq(uf_find_hole(picture, zenith == 0, &other, NULL), UF_ERROR_UNCLEAR);
                    uf_picture_free(&picture);
                }
}

/* Exact where the outline is: rows of pixels about the nadir. */
Test(hole, size_is_that_of_the_sphere)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U16);
    world_paint(picture, 0, -90, 30, 0);
    double rows = 0;
    while (world_get(picture, 5, 255 - (size_t)rows, 0) == 0)
        rows++;
    double radius_deg = rows * 180 / 256;
    UfHole holes[UF_CHECK_MAX_HOLES];
    cr_assert_eq(holes_of(picture, holes), 1);
    cr_expect_float_eq(holes[0].radius_deg, radius_deg, 1e-9);
    cr_expect_float_eq(holes[0].sphere_percent, cap_percent(radius_deg), 1e-9);
    cr_expect_float_eq(holes[0].lat_deg, -90, 1e-9);
    double cap_rad;
    cr_assert_eq(uf_find_hole(picture, false, &cap_rad, NULL), UF_OK);
    cr_expect_float_eq(uf_degrees(cap_rad), radius_deg + 0.5 * 180 / 256, 1e-9, "half a pixel of margin");
    uf_picture_free(&picture);
}

/* A hole across the seam is the same hole after half a turn. */
Test(hole, seam_is_no_border)
{
    for (int kind = UF_HOLE_TRANSPARENT; kind <= UF_HOLE_BLACK; kind++) {
        UfPicture *picture = world_make(512, 4, UF_SAMPLE_U8);
        UfHole across[UF_CHECK_MAX_HOLES], turned[UF_CHECK_MAX_HOLES];
        if (kind == UF_HOLE_TRANSPARENT)
            world_cut(picture, 176, 15, 25, 0);
        else
            world_paint(picture, 176, 15, 25, 0);
        expect_one_hole(picture, (UfHoleKind)kind, 176, 15, 25);
        cr_assert_eq(holes_of(picture, across), 1);
        world_turn(picture, 256);
        expect_one_hole(picture, (UfHoleKind)kind, -4, 15, 25);
        cr_assert_eq(holes_of(picture, turned), 1);
        cr_expect_float_eq(turned[0].lon_deg, across[0].lon_deg - 180, 1e-9);
        cr_expect_float_eq(turned[0].lat_deg, across[0].lat_deg, 1e-9);
        cr_expect_float_eq(turned[0].radius_deg, across[0].radius_deg, 1e-9);
        cr_expect_float_eq(turned[0].sphere_percent, across[0].sphere_percent, 1e-9);
        uf_picture_free(&picture);
    }
}

/* A hole over a pole, but not centred on it, is one, wherever its middle points. */
Test(hole, pole_is_no_border)
{
    for (int turns = 0; turns < 4; turns++) {
        UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
        world_paint(picture, 90.0 * turns - 135, -75, 25, 0);
        expect_one_hole(picture, UF_HOLE_BLACK, 90.0 * turns - 135, -75, 25);
        expect_cap(picture, false, 40);
        uf_picture_free(&picture);
    }
}

/* Two sectors that meet in the nadir only: one hole, 8-connected through the pole. */
Test(hole, sectors_meet_in_the_pole)
{
    UfPicture *picture = world_make(512, 2, UF_SAMPLE_U8);
    for (size_t y = 216; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            if ((x >= 64 && x < 128) || (x >= 320 && x < 384))
                world_set(picture, x, y, 1, 0);
    UfHole holes[UF_CHECK_MAX_HOLES];
    cr_assert_eq(holes_of(picture, holes), 1);
    cr_expect_float_eq(holes[0].sphere_percent, cap_percent(40 * 180.0 / 256) / 4, 1e-9);
    uf_picture_free(&picture);
}

Test(hole, specks_are_not_reported)
{
    UfPicture *picture = world_make(1024, 4, UF_SAMPLE_U8);
    for (size_t i = 0; i < 40; i++) {
        world_set(picture, 25 * i, 100 + 7 * i, 3, 0);
        for (size_t k = 0; k < 12; k++)
            for (size_t c = 0; c < 3; c++)
                world_set(picture, 25 * i + k % 4, 110 + 7 * i + k / 4, c, 0);
    }
    expect_no_hole(picture, "specks");
    uf_picture_free(&picture);
}

/* The largest come first, and no more than the list holds. */
Test(hole, largest_first)
{
    UfPicture *picture = world_make(720, 4, UF_SAMPLE_U8);
    for (int i = 0; i < 20; i++)
        world_cut(picture, -171 + 18 * i, i % 2 ? 20 : -20, 2 + 0.25 * i, 0);
    UfHole holes[UF_CHECK_MAX_HOLES];
    /* What the list held before must not matter. */
    for (size_t i = 0; i < UF_CHECK_MAX_HOLES; i++)
        holes[i] = (UfHole){.radius_deg = 90, .sphere_percent = 100};
    cr_assert_eq(holes_of(picture, holes), UF_CHECK_MAX_HOLES);
    for (size_t i = 0; i < UF_CHECK_MAX_HOLES; i++)
        cr_expect_float_eq(holes[i].radius_deg, 2 + 0.25 * (19 - (double)i), 0.5, "hole %zu: %.2f", i,
                           holes[i].radius_deg);
    uf_picture_free(&picture);
}

/* An antialiased edge belongs to the transparent hole. */
Test(hole, soft_alpha_belongs_to_it)
{
    UfPicture *picture = world_make(360, 4, UF_SAMPLE_U8);
    world_cut(picture, 0, -90, 21, 120);
    world_cut(picture, 0, -90, 20, 0);
    expect_cap(picture, false, 21);
    uf_picture_free(&picture);
}

/* A tripod mask: a disc and three legs. */
Test(hole, legs_are_part_of_it)
{
    UfPicture *picture = world_make(1024, 3, UF_SAMPLE_U8);
    world_paint(picture, 0, -90, 12, 0);
    for (int leg = 0; leg < 3; leg++)
        for (double at = 10; at < 30; at += 0.5)
            world_paint(picture, 120.0 * leg - 100, at - 90, 1.5, 0);
    UfHole holes[UF_CHECK_MAX_HOLES];
    cr_assert_eq(holes_of(picture, holes), 1);
    expect_cap(picture, false, 31);
    uf_picture_free(&picture);
}

static void darken(UfPicture *picture, size_t x, size_t y, double level)
{
    for (size_t k = 0; k < 3; k++)
        world_set(picture, x, y, k, level);
}

/* A night sky above a hard skyline: the faintest texture tells it from a hole. */
Test(hole, dark_skies_are_pictures)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
    srand(7);
    for (size_t y = 0; y < 90; y++)
        for (size_t x = 0; x < 512; x++)
            darken(picture, x, y, rand() % 2);
    expect_no_hole(picture, "sensor noise of one level");
    for (size_t y = 0; y < 90; y++)
        for (size_t x = 0; x < 512; x++)
            darken(picture, x, y, rand() % 20 == 0);
    expect_no_hole(picture, "noise in every twentieth pixel");
    for (size_t y = 0; y < 90; y++)
        for (size_t x = 0; x < 512; x++)
            darken(picture, x, y, rand() % 40 == 0 ? 60 + rand() % 190 : 0);
    expect_no_hole(picture, "stars");
    uf_picture_free(&picture);
}

/* Black that comes up slowly is a shadow, not a cut-out. */
Test(hole, soft_shadows_are_pictures)
{
    UfPicture *picture = world_make(1024, 3, UF_SAMPLE_U8);
    for (size_t y = 300; y < 512; y++)
        for (size_t x = 0; x < 1024; x++)
            darken(picture, x, y, y > 440 ? 0 : (double)(440 - y) / 4);
    expect_no_hole(picture, "a shadow about the nadir");
    uf_picture_free(&picture);
}

/* Overexposed sky, pure white, hard against the roofs; the same at the nadir is a hole that was filled. */
Test(hole, white_is_sky_above_and_hole_below)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
    world_paint(picture, 0, 90, 30, 255);
    expect_no_hole(picture, "overexposed sky");
    world_paint(picture, 0, -90, 30, 255);
    expect_one_hole(picture, UF_HOLE_FLAT, 0, -90, 30);
    uf_picture_free(&picture);
}

Test(hole, painted_walls_and_floors_are_pictures)
{
    UfPicture *picture = world_make(720, 3, UF_SAMPLE_U8);
    for (size_t y = 120; y < 240; y++)
        for (size_t x = 200; x < 400; x++)
            darken(picture, x, y, 200);
    expect_no_hole(picture, "a wall of one colour");
    srand(8);
    world_paint(picture, 0, -90, 25, 90);
    for (size_t y = 300; y < 360; y++)
        for (size_t x = 0; x < 720; x++)
            darken(picture, x, y, 90 + rand() % 2);
    expect_no_hole(picture, "a grey floor with noise of one level");
    uf_picture_free(&picture);
}

/* A square floor of one colour is no disc about the nadir. */
Test(hole, flat_square_floor_is_a_picture)
{
    UfPicture *picture = world_make(720, 3, UF_SAMPLE_U8);
    UfView view = uf_view_equirectangular(720);
    for (size_t y = 180; y < 360; y++)
        for (size_t x = 0; x < 720; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            if (d.y < 0 && fabs(d.x / d.y) < 0.5 && fabs(d.z / d.y) < 0.5)
                darken(picture, x, y, 140);
        }
    expect_no_hole(picture, "a square floor");
    uf_picture_free(&picture);
}

Test(hole, dark_gap_elsewhere_is_found)
{
    UfPicture *picture = world_make(720, 3, UF_SAMPLE_U8);
    world_paint(picture, 60, 10, 15, 0);
    expect_one_hole(picture, UF_HOLE_BLACK, 60, 10, 15);
    double cap_rad;
    cr_expect_eq(uf_find_hole(picture, false, &cap_rad, NULL), UF_ERROR_UNCLEAR, "but not about the nadir");
    uf_picture_free(&picture);
}

Test(hole, refusals_say_what_to_give)
{
    UfReport *report = uf_report_create();
    UfPicture *picture = world_make(256, 4, UF_SAMPLE_U8);
    double cap_rad = -1;
    cr_expect_eq(uf_find_hole(picture, false, &cap_rad, report), UF_ERROR_UNCLEAR);
    cr_expect(strstr(uf_report_error(report), "nadir") != NULL &&
                  strstr(uf_report_error(report), "--cap DEG") != NULL,
              "%s", uf_report_error(report));
    world_cut(picture, 0, 90, 80, 0);
    cr_expect_eq(uf_find_hole(picture, true, &cap_rad, report), UF_ERROR_UNCLEAR);
    cr_expect(strstr(uf_report_error(report), "zenith") != NULL &&
                  strstr(uf_report_error(report), "75") != NULL,
              "%s", uf_report_error(report));
    uf_picture_free(&picture);
    cr_assert_eq(uf_picture_create(200, 101, 3, UF_SAMPLE_U8, &picture, report), UF_OK);
    cr_expect_eq(uf_find_hole(picture, false, &cap_rad, report), UF_ERROR_ARGUMENT);
    cr_expect_not_null(strstr(uf_report_error(report), "2:1"));
    cr_expect_eq(cap_rad, -1);
    uf_picture_free(&picture);
    uf_report_free(&report);
}

/* A picture that is nothing but black, or nothing at all, has no hole: it is the picture. */
Test(hole, nothing_at_all)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(128, 64, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    expect_no_hole(picture, "all black");
    uf_picture_free(&picture);
    cr_assert_eq(uf_picture_create(2, 1, 4, UF_SAMPLE_F32, &picture, NULL), UF_OK);
    expect_no_hole(picture, "two transparent pixels");
    uf_picture_free(&picture);
}

static UfPicture *read_picture(const char *path)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_read(path, NULL, &picture, report), UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return picture;
}

/* Polar ice that is pure white, a night side that is black, a sun of one colour: none is a hole. */
Test(hole, real_pictures_have_none)
{
    static const char *const paths[] = {EARTH, NIGHT, SUN};
    for (size_t i = 0; i < 3; i++) {
        UfPicture *picture = read_picture(paths[i]);
        expect_no_hole(picture, paths[i]);
        uf_picture_free(&picture);
    }
}

/*
 * Caps painted on the Earth and saved as JPEG: found, never too small, and at most a block of 8 rows too
 * large, although the blocks along their edge are disturbed. Bright caps meet ice of nearly their colour.
 */
Test(hole, caps_survive_jpeg)
{
    static const struct {
        double radius_deg, level;
        int quality;
        bool at_zenith;
    } cases[] = {{5, 0, 75, false},    {12, 0, 85, false},  {25, 0, 95, false},   {12, 0, 75, true},
                 {12, 100, 75, false}, {25, 100, 90, true}, {12, 200, 80, false}, {5, 200, 95, false}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        UfPicture *picture = read_picture(EARTH);
        double lat_deg = cases[i].at_zenith ? 90 : -90, cap_rad = 0;
        world_paint(picture, 0, lat_deg, cases[i].radius_deg, cases[i].level);
        UfWriteOptions options = {.overwrite = true, .quality = cases[i].quality};
        cr_assert_eq(uf_picture_write(picture, "cap.jpg", &options, NULL), UF_OK);
        uf_picture_free(&picture);
        picture = read_picture("cap.jpg");
        double pixel_deg = 180.0 / (double)uf_picture_height_px(picture);
        /* All pixels whose centres are inside were painted. */
        double painted_deg = floor(cases[i].radius_deg / pixel_deg + 0.5) * pixel_deg;
        cr_assert_eq(uf_find_hole(picture, cases[i].at_zenith, &cap_rad, NULL), UF_OK, "case %zu", i);
        cr_expect(uf_degrees(cap_rad) > painted_deg && uf_degrees(cap_rad) < painted_deg + 8 * pixel_deg,
                  "case %zu: %.3f for %.3f degrees", i, uf_degrees(cap_rad), painted_deg);
        UfHole holes[UF_CHECK_MAX_HOLES];
        cr_assert_eq(holes_of(picture, holes), 1, "case %zu", i);
        cr_expect_eq(holes[0].kind, cases[i].level > 0 ? UF_HOLE_FLAT : UF_HOLE_BLACK);
        uf_picture_free(&picture);
    }
}

/* The night picture saved again: its black seas are still no holes. */
Test(hole, night_survives_jpeg)
{
    for (int quality = 75; quality <= 95; quality += 10) {
        UfPicture *picture = read_picture(NIGHT);
        UfWriteOptions options = {.overwrite = true, .quality = quality};
        cr_assert_eq(uf_picture_write(picture, "night.jpg", &options, NULL), UF_OK);
        uf_picture_free(&picture);
        picture = read_picture("night.jpg");
        expect_no_hole(picture, "the Earth at night");
        uf_picture_free(&picture);
    }
}

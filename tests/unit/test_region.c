/* What is covered beside the cap: the shadow's outline, masks, the fill of holes of any shape, the sun in a
 * picture. */
#include "test_patch_support.h"

#include <underfoot/sun.h>

#include "patch/shadow.h"
#include "support/photographs.h"

#define WIDTH 512

static double distance(double sun_yaw_deg, double elevation_deg, double width, double foot, double x,
                       double z)
{
    UfLonLat sun = {uf_radians(sun_yaw_deg), uf_radians(elevation_deg)};
    UfShadow shadow = uf_shadow_of(sun, width, foot, 1.7);
    return uf_shadow_distance(&shadow, x, z);
}

/* The sun 45 degrees high: the shadow of what is one high is one long, and lies opposite. By hand. */
Test(region, shadow_lies_opposite_the_sun_and_is_as_long_as_its_tangent_says)
{
    double soft = tan(uf_radians(0.2666)) / sin(uf_radians(45)); /* half-angle times the way of the light */
    UfShadow shadow = uf_shadow_of((UfLonLat){0, uf_radians(45)}, 0.4, 0.2, 1.7);
    cr_expect_float_eq(shadow.head_from, 1, 1e-12);
    cr_expect_float_eq(shadow.head_radius, 0.2 + soft, 1e-12);
    /* along the light the head and its soft edge are longer by 1/sin 45 */
    cr_expect_float_eq(shadow.head_to + shadow.head_radius, 1 + (0.2 + soft) / sin(uf_radians(45)), 1e-9);
    /* ahead means backwards here; beside the foot the disc, between the discs nearly the strip */
    cr_expect_float_eq(distance(0, 45, 0.4, 0.2, 0, 0.5), 0.3, 1e-12);
    cr_expect_float_eq(distance(0, 45, 0.4, 0.2, 0.5, -0.5), 0.3 - soft / 2, 1e-4);
    cr_expect_lt(distance(0, 45, 0.4, 0.2, 0, -1.2), 0);
    /* turned with the sun: at yaw 90 the shadow points to the left */
    cr_expect_float_eq(distance(90, 45, 0.4, 0.2, -0.5, 0.5), distance(0, 45, 0.4, 0.2, 0.5, -0.5), 1e-12);
    cr_expect_lt(distance(90, 45, 0.4, 0.2, -1.1, 0), 0);
    cr_expect_gt(distance(90, 45, 0.4, 0.2, 1.1, 0), 0.5);
    /* half as high, twice as long by the tangent; cut where the floor ends */
    shadow = uf_shadow_of((UfLonLat){0, atan(0.5)}, 0.4, 0.2, 1.7);
    cr_expect_float_eq(shadow.head_from, 2, 1e-12);
    cr_expect(shadow.is_cut);
    cr_expect_gt(uf_shadow_distance(&shadow, 0, -1.75), 0);
    cr_expect_lt(uf_shadow_distance(&shadow, 0, -1.65), 0);
}

/* The signed distance is one: its gradient has length one outside, also beside a strip that widens. */
Test(region, shadow_distance_is_a_distance)
{
    UfShadow shadow = uf_shadow_of((UfLonLat){0.7, 0.8}, 0.2, 0.45, 3);
    for (int i = 0; i < 400; i++) {
        double x = 3 * cos(i * 0.7) * (i % 17) / 17, z = 3 * sin(i * 1.3) * (i % 13) / 13, h = 1e-5;
        if (uf_shadow_distance(&shadow, x, z) < 0.01 || hypot(x, z) > 2.9)
            continue;
        double gx = uf_shadow_distance(&shadow, x + h, z) - uf_shadow_distance(&shadow, x - h, z);
        double gz = uf_shadow_distance(&shadow, x, z + h) - uf_shadow_distance(&shadow, x, z - h);
        cr_expect_float_eq(hypot(gx, gz) / (2 * h), 1, 1e-3, "at %g, %g", x, z);
    }
}

static UfPicture *mask_of(bool (*inside)(UfDirection), size_t width)
{
    UfPicture *mask = make_picture(width, width / 2, 1, UF_SAMPLE_U8);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++) {
            UfLonLat at = {(((double)x + 0.5) / (double)width - 0.5) * 2 * UF_PI,
                           (0.5 - ((double)y + 0.5) / (double)width * 2) * UF_PI};
            set(mask, x, y, 0, inside(uf_direction_from_lonlat(at)) ? 1 : 0);
        }
    return mask;
}

static bool in_disc(UfDirection d)
{
    return -d.y > cos(uf_radians(24));
}

/* A blot beside the nadir, and one across the seam. */
static bool in_blots(UfDirection d)
{
    UfDirection a = uf_direction_from_lonlat((UfLonLat){0.5, uf_radians(-50)});
    UfDirection b = uf_direction_from_lonlat((UfLonLat){UF_PI, uf_radians(-60)});
    return uf_angle_between_rad(d, a) < 0.12 || uf_angle_between_rad(d, b) < 0.1;
}

/* Where the sphere's colours are harmonic in the stereographic plane, both ways to fill smoothly give them
 * back. */
Test(region, smooth_fill_of_a_round_mask_is_that_of_the_cap)
{
    UfPicture *truth = make_picture(WIDTH, WIDTH / 2, 3, UF_SAMPLE_U16);
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++) {
            double lon = (((double)x + 0.5) / WIDTH - 0.5) * 2 * UF_PI;
            double angle = UF_PI - ((double)y + 0.5) / (WIDTH / 2) * UF_PI, r = fmin(2 * tan(angle / 2), 3);
            for (size_t c = 0; c < 3; c++)
                set(truth, x, y, c, 0.5 + 0.1 * r * cos(lon + (double)c) + 0.03 * r * r * cos(2 * lon));
        }
    UfPicture *by_cap = copy_picture(truth), *by_mask = copy_picture(truth), *mask = mask_of(in_disc, WIDTH);
    UfPatchOptions options = {.cap_rad = uf_radians(24), .fill = UF_FILL_SMOOTH};
    cr_assert_eq(uf_patch(by_cap, &options, NULL, NULL, NULL), UF_OK);
    options.without_cap = true;
    options.mask = mask;
    cr_assert_eq(uf_patch(by_mask, &options, NULL, NULL, NULL), UF_OK);
    double most_cap = 0, most_mask = 0;
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++)
            for (size_t c = 0; c < 3; c++) {
                most_cap = fmax(most_cap, fabs(get(by_cap, x, y, c) - get(truth, x, y, c)));
                most_mask = fmax(most_mask, fabs(get(by_mask, x, y, c) - get(truth, x, y, c)));
            }
    cr_expect_lt(most_cap, 0.004, "%g", most_cap);
    cr_expect_lt(most_mask, 0.004, "%g", most_mask);
    uf_picture_free(&truth);
    uf_picture_free(&by_cap);
    uf_picture_free(&by_mask);
    uf_picture_free(&mask);
}

/* Every fill, every kind of sample: pixels whose mask is black keep their bits, and only what changed is
 * touched. */
Test(region, nothing_outside_the_mask_changes)
{
    static const UfFill fills[] = {UF_FILL_FLOOR, UF_FILL_SMOOTH, UF_FILL_COLOUR};
    static const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    UfPicture *mask = mask_of(in_blots, WIDTH);
    for (size_t k = 0; k < 3; k++) {
        UfPicture *before = make_picture(WIDTH, WIDTH / 2, k == 1 ? 4 : 3, samples[k]);
        for (size_t y = 0; y < WIDTH / 2; y++)
            for (size_t x = 0; x < WIDTH; x++)
                for (size_t c = 0; c < uf_picture_channels(before); c++)
                    set(before, x, y, c,
                        c == 3 ? 1 : 0.3 + 0.4 * (double)((x * 7 + y * 13 + x * y * c) % 11) / 11);
        UfPicture *after = copy_picture(before);
        UfTouched *touched = NULL;
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_touched_create(WIDTH, WIDTH / 2, &touched, NULL), UF_OK);
        UfPatchOptions options = {
            .without_cap = true, .mask = mask, .fill = fills[k], .colour = {0.9, 0.1, 0.9}};
        cr_assert_eq(uf_patch(after, &options, touched, NULL, report), UF_OK, "%s", uf_report_error(report));
        size_t changed = 0, strayed = 0, unmarked = 0, pixel = uf_picture_stride_bytes(before) / WIDTH;
        for (size_t y = 0; y < WIDTH / 2; y++)
            for (size_t x = 0; x < WIDTH; x++) {
                bool same = memcmp((const uint8_t *)uf_picture_row_const(before, y) + x * pixel,
                                   (const uint8_t *)uf_picture_row_const(after, y) + x * pixel, pixel) == 0;
                changed += !same;
                strayed += !same && !(get(mask, x, y, 0) > 0);
                unmarked += !same && !uf_touched_any(touched, x, y, x + 1, y + 1);
            }
        cr_expect_eq(strayed, 0, "fill %zu", k);
        cr_expect_eq(unmarked, 0, "fill %zu", k);
        cr_expect_gt(changed, 600);
        cr_expect(!uf_touched_any(touched, 0, 0, WIDTH, WIDTH / 4), "cells far from the mask are touched");
        cr_expect(!uf_touched_any(touched, 0, WIDTH / 2 - 8, WIDTH, WIDTH / 2), "the nadir is not masked");
        uf_touched_free(&touched);
        uf_report_free(&report);
        uf_picture_free(&before);
        uf_picture_free(&after);
    }
    uf_picture_free(&mask);
}

static void expect_refused(const UfPicture *mask, const char *word)
{
    UfPicture *panorama = make_picture(WIDTH, WIDTH / 2, 3, UF_SAMPLE_U8);
    UfReport *report = uf_report_create();
    UfPatchOptions options = {.without_cap = true, .mask = mask, .fill = UF_FILL_SMOOTH};
    cr_expect_neq(uf_patch(panorama, &options, NULL, NULL, report), UF_OK);
    cr_expect_not_null(strstr(uf_report_error(report), word), "%s", uf_report_error(report));
    uf_report_free(&report);
    uf_picture_free(&panorama);
}

static bool nowhere(UfDirection d)
{
    (void)d;
    return false;
}

static bool on_a_wall(UfDirection d)
{
    return d.z > 0.99;
}

Test(region, masks_that_make_no_sense_are_refused)
{
    UfPicture *empty = mask_of(nowhere, WIDTH), *wall = mask_of(on_a_wall, WIDTH),
              *square = make_picture(64, 64, 1, UF_SAMPLE_U8);
    expect_refused(empty, "empty");
    expect_refused(wall, "putback");
    expect_refused(square, "2:1");
    uf_picture_free(&empty);
    uf_picture_free(&wall);
    uf_picture_free(&square);
}

/* The scene maker's sun stands where samples/scene/yard.c puts it; its own files say so in EXIF, GPS and
 * heading. */
Test(region, sun_of_the_yard_is_found_where_the_clock_says)
{
    char path[1024];
    UfTaken taken;
    UfLonLat found = {0};
    UfPicture *yard = scene("yard.jpg");
    cr_assert_eq(uf_taken_read(scene_path("yard.jpg", path), &taken, NULL), UF_OK);
    cr_assert(taken.has_time && taken.has_place && taken.has_heading);
    UfLonLat clock = uf_sun_direction(uf_sun_at(taken.julian_day, taken.place), taken.heading_rad);
    cr_assert_eq(uf_find_sun(yard, &found, NULL), UF_OK);
    cr_expect_lt(
        uf_degrees(uf_angle_between_rad(uf_direction_from_lonlat(found), uf_direction_from_lonlat(clock))),
        0.5);
    uf_picture_free(&yard);
}

static void expect_no_sun(UfPicture *picture)
{
    UfLonLat found;
    cr_expect_eq(uf_find_sun(picture, &found, NULL), UF_ERROR_UNCLEAR);
    uf_picture_free(&picture);
}

Test(region, rooms_clouds_and_stars_have_no_sun)
{
    char path[1024];
    expect_no_sun(scene("ticket-hall.jpg"));
    expect_no_sun(read_picture(scene_path("workshop.tif", path)));
    expect_no_sun(read_picture(EARTH));
    UfPicture *overcast = make_picture(WIDTH, WIDTH / 2, 3, UF_SAMPLE_U8), *stars = copy_picture(overcast);
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++)
            for (size_t c = 0; c < 3; c++) {
                set(overcast, x, y, c, y < WIDTH / 4 ? 0.97 - 0.001 * (double)y : 0.3);
                set(stars, x, y, c, (x * 7919 + y * 104729) % 397 == 0 ? 1 : 0.02);
            }
    expect_no_sun(overcast);
    expect_no_sun(stars);
}

/*
 * The lean of a panorama, found in it: sample scenes turned by a known angle, drawn pictures of known
 * uprights, and pictures that do not show it.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/level.h>
#include <underfoot/turn.h>

#include "level/segments.h"
#include "support/photographs.h"

static UfRotation lean_of(const double *deg, double yaw_deg)
{
    return uf_rotation_from_angles(uf_radians(yaw_deg), uf_radians(deg[0]), uf_radians(deg[1]));
}

/* The angle by which a found zenith misses the true one, that of a picture with this pitch and roll. */
static double miss_deg(const UfLevel *level, const double *deg)
{
    UfRotation found = uf_level_turn(level), true_pose = lean_of(deg, 0);
    UfDirection up = {0, 1, 0};
    UfRotation truth = uf_rotation_inverse(&true_pose);
    return uf_degrees(uf_angle_between_rad(uf_rotation_apply(&found, up), uf_rotation_apply(&truth, up)));
}

static void show(const char *what, UfStatus status, const UfLevel *level, double miss)
{
    if (getenv("UF_SHOW") != NULL)
        fprintf(stderr, "%s: status %d, confidence %.2f, %zu edges, residual %.2f deg, misses by %.3f deg\n",
                what, (int)status, level->confidence, level->edge_count, uf_degrees(level->residual_rad),
                miss);
}

static void assert_found(const UfPicture *upright, const char *name, const double *deg, double yaw_deg,
                         double limit_deg)
{
    UfRotation turn = lean_of(deg, yaw_deg);
    UfPicture *leaning = NULL;
    UfLevel level = {0};
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_turn(upright, &turn, false, NULL, &leaning, NULL), UF_OK);
    UfStatus status = uf_find_level(leaning, &level, report);
    cr_assert_eq(status, UF_OK, "%s, %g, %g: %s", name, deg[0], deg[1], uf_report_error(report));
    double miss = miss_deg(&level, deg);
    show(name, status, &level, miss);
    cr_expect(miss < limit_deg, "%s: pitch %g roll %g is found as %g, %g", name, deg[0], deg[1],
              uf_degrees(level.pitch_rad), uf_degrees(level.roll_rad));
    uf_report_free(&report);
    uf_picture_free(&leaning);
}

static void assert_scene(const char *name)
{
    static const double leans[][2] = {{0, 0}, {3, -2}, {-5.6, 5.7}};
    UfPicture *upright = scene(name);
    for (size_t i = 0; i < sizeof leans / sizeof *leans; i++)
        assert_found(upright, name, leans[i], 40 * (double)i, 0.2);
    uf_picture_free(&upright);
}

/* With tripod and all. */
Test(level, lean_of_the_ticket_hall_is_found)
{
    assert_scene("ticket-hall.jpg");
}
Test(level, lean_of_the_workshop_is_found)
{
    assert_scene("workshop.tif");
}
Test(level, lean_of_the_yard_is_found)
{
    assert_scene("yard.jpg");
}

/* A hole that is cut out has an edge, too. */
Test(level, transparent_holes_are_no_edges)
{
    UfPicture *upright = scene("ticket-hall-hole.png");
    assert_found(upright, "ticket-hall-hole.png", (const double[2]){-2, 4}, 0, 0.2);
    uf_picture_free(&upright);
}

static UfPicture *grey_picture(size_t width_px, UfSample sample)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width_px, width_px / 2, 1, sample, &picture, NULL), UF_OK);
    return picture;
}

static void put(UfPicture *picture, size_t x, size_t y, double value)
{
    value = fmin(fmax(value, 0), 1);
    void *row = uf_picture_row(picture, y);
    if (uf_picture_sample(picture) == UF_SAMPLE_U8)
        ((uint8_t *)row)[x] = (uint8_t)(value * 255 + 0.5);
    else if (uf_picture_sample(picture) == UF_SAMPLE_U16)
        ((uint16_t *)row)[x] = (uint16_t)(value * 65535 + 0.5);
    else
        ((float *)row)[x] = (float)value;
}

typedef double Scene(UfDirection d, const void *what);

/* Four samples a pixel, as a lens would blur a little. */
static UfPicture *draw(size_t width_px, UfSample sample, Scene *scene, const void *what)
{
    UfPicture *picture = grey_picture(width_px, sample);
    UfView view = uf_view_equirectangular(width_px);
    for (size_t y = 0; y < width_px / 2; y++)
        for (size_t x = 0; x < width_px; x++) {
            double sum = 0;
            for (int k = 0; k < 4; k++) {
                UfDirection d;
                UfPixelPoint at = {(double)x + 0.25 + 0.5 * (k % 2), (double)y + 0.25 + 0.5 * (k / 2)};
                cr_assert(uf_view_direction(&view, at, &d));
                sum += scene(d, what) / 4;
            }
            put(picture, x, y, sum);
        }
    return picture;
}

/* Dark posts before a bright wall, each between two azimuths; some lean by 6 degrees, all to one side. */
typedef struct Posts {
    UfRotation pose; /* of the picture against the world */
    int upright, leaning;
} Posts;

static bool in_post(UfDirection d, double azimuth, double lean)
{
    UfRotation turn = uf_rotation_from_angles(azimuth, 0, 0), back = uf_rotation_inverse(&turn);
    UfDirection seen = uf_rotation_apply(&back, d);
    double x = seen.x / seen.z - lean * (seen.y / seen.z);
    return seen.z > 0.1 && fabs(x) < 0.05 && fabs(seen.y / seen.z) < 0.9;
}

static double posts_scene(UfDirection d, const void *what)
{
    const Posts *posts = what;
    UfDirection world = uf_rotation_apply(&posts->pose, d);
    for (int i = 0; i < posts->upright; i++)
        if (in_post(world, 0.3 + 2 * UF_PI * i / posts->upright, 0))
            return 0.2;
    for (int i = 0; i < posts->leaning; i++)
        if (in_post(world, 0.7 + 2 * UF_PI * i / (posts->leaning + 3), tan(uf_radians(6))))
            return 0.3;
    return 0.8;
}

static void assert_posts(int upright, int leaning, const double *deg, UfSample sample, double limit_deg)
{
    Posts posts = {lean_of(deg, 0), upright, leaning};
    UfPicture *picture = draw(512, sample, posts_scene, &posts);
    UfLevel level = {0};
    UfReport *report = uf_report_create();
    UfStatus status = uf_find_level(picture, &level, report);
    cr_assert_eq(status, UF_OK, "%d upright, %d leaning: %s", upright, leaning, uf_report_error(report));
    double miss = miss_deg(&level, deg);
    show("posts", status, &level, miss);
    cr_expect(miss < limit_deg, "%d upright, %d leaning: %g, %g", upright, leaning,
              uf_degrees(level.pitch_rad), uf_degrees(level.roll_rad));
    uf_report_free(&report);
    uf_picture_free(&picture);
}

Test(level, posts_of_known_lean)
{
    assert_posts(7, 0, (const double[2]){2.5, -1.5}, UF_SAMPLE_U8, 0.1);
    assert_posts(7, 0, (const double[2]){-7, 3}, UF_SAMPLE_U16, 0.1);
    assert_posts(7, 0, (const double[2]){0.5, 12}, UF_SAMPLE_F32, 0.1);
}

/* Furniture that leans, a good third of all. */
Test(level, what_leans_is_outvoted)
{
    assert_posts(7, 4, (const double[2]){3, 4}, UF_SAMPLE_U8, 0.2);
}

static void assert_unclear(const UfPicture *picture, const char *what)
{
    UfLevel level = {.confidence = -1};
    UfReport *report = uf_report_create();
    UfStatus status = uf_find_level(picture, &level, report);
    show(what, status, &level, 0);
    if (getenv("UF_SHOW") != NULL)
        fprintf(stderr, "  %s\n", uf_report_error(report));
    cr_expect_eq(status, UF_ERROR_UNCLEAR, "%s: pitch %g roll %g, confidence %g", what,
                 uf_degrees(level.pitch_rad), uf_degrees(level.roll_rad), level.confidence);
    cr_expect(status == UF_OK || level.confidence == -1, "%s: the result was touched", what);
    cr_expect_not_null(strstr(uf_report_error(report), "by hand"), "%s", uf_report_error(report));
    uf_report_free(&report);
}

/* Uprights on one side only: that they meet somewhere says nothing about the other axis. */
Test(level, one_wall_alone_is_not_enough)
{
    Posts posts = {uf_rotation_identity(), 1, 0};
    UfPicture *picture = draw(512, UF_SAMPLE_U8, posts_scene, &posts);
    assert_unclear(picture, "one post");
    uf_picture_free(&picture);
}

static double next_random(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (double)(*state >> 8) / 16777216.0;
}

/* Evenly over the sphere, of every brightness, each a few pixels wide on it. */
Test(level, stars_show_no_lean)
{
    UfPicture *picture = grey_picture(1024, UF_SAMPLE_U8);
    UfView view = uf_view_equirectangular(1024);
    uint32_t state = 12345;
    for (int star = 0; star < 6000; star++) {
        double z = 2 * next_random(&state) - 1, lon = 2 * UF_PI * next_random(&state),
               level = sqrt(1 - z * z);
        UfDirection at = {level * sin(lon), z, level * cos(lon)};
        double light = pow(next_random(&state), 4);
        UfPixelPoint middle;
        cr_assert(uf_view_pixel(&view, at, &middle));
        for (int dy = -4; dy <= 4; dy++)
            for (int dx = -40; dx <= 40; dx++) {
                double y = floor(middle.y_px) + dy, x = fmod(floor(middle.x_px) + dx + 1024, 1024);
                UfDirection d;
                if (y < 0 || y >= 512 || !uf_view_direction(&view, (UfPixelPoint){x + 0.5, y + 0.5}, &d))
                    continue;
                double away = uf_angle_between_rad(at, d) / uf_radians(0.35);
                uint8_t *pixel = (uint8_t *)uf_picture_row(picture, (size_t)y) + (size_t)x;
                double value = *pixel + 255 * light * exp(-away * away);
                *pixel = (uint8_t)fmin(255, value);
            }
    }
    assert_unclear(picture, "stars");
    uf_picture_free(&picture);
}

Test(level, noise_and_emptiness_show_no_lean)
{
    UfPicture *picture = grey_picture(512, UF_SAMPLE_U8);
    assert_unclear(picture, "black");
    uint32_t state = 99;
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            put(picture, x, y, next_random(&state));
    assert_unclear(picture, "noise");
    uf_picture_free(&picture);
}

/* Sums of waves over the sphere, of falling strength: soft edges of every direction. */
static double clouds_scene(UfDirection d, const void *what)
{
    uint32_t state = *(const uint32_t *)what;
    double sum = 0.5;
    for (int i = 0; i < 40; i++) {
        double size = 3 * pow(1.12, i);
        double a = size * (2 * next_random(&state) - 1), b = size * (2 * next_random(&state) - 1);
        double c = size * (2 * next_random(&state) - 1), phase = 7 * next_random(&state);
        sum += 0.6 / size * sin(a * d.x + b * d.y + c * d.z + phase);
    }
    return sum;
}

Test(level, clouds_show_no_lean)
{
    const uint32_t seed = 4;
    UfPicture *picture = draw(512, UF_SAMPLE_U8, clouds_scene, &seed);
    assert_unclear(picture, "clouds");
    uf_picture_free(&picture);
}

/* Great circles in every direction. */
static double straws_scene(UfDirection d, const void *what)
{
    uint32_t state = *(const uint32_t *)what;
    for (int i = 0; i < 60; i++) {
        double z = 2 * next_random(&state) - 1, lon = 2 * UF_PI * next_random(&state),
               level = sqrt(1 - z * z);
        if (fabs(level * sin(lon) * d.x + z * d.y + level * cos(lon) * d.z) < 0.006)
            return 0.1;
    }
    return 0.9;
}

Test(level, straws_in_every_direction_show_no_lean)
{
    const uint32_t seed = 11;
    UfPicture *picture = draw(512, UF_SAMPLE_U8, straws_scene, &seed);
    assert_unclear(picture, "straws");
    uf_picture_free(&picture);
}

Test(level, the_earth_shows_no_lean)
{
    UfPicture *picture = photo(PHOTOS "earth.jpg");
    assert_unclear(picture, "Earth");
    uf_picture_free(&picture);
}

Test(level, what_is_no_panorama_is_refused)
{
    UfPicture *picture = NULL;
    UfLevel level;
    cr_assert_eq(uf_picture_create(300, 200, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    cr_expect_eq(uf_find_level(picture, &level, NULL), UF_ERROR_ARGUMENT);
    uf_picture_free(&picture);
}

/* By hand: diag(3, 1, 2) in axes turned by 30 degrees about z. */
Test(level, least_axis_of_a_matrix)
{
    double c = cos(UF_PI / 6), s = sin(UF_PI / 6), values[3];
    double matrix[3][3] = {{3 * c * c + s * s, 2 * c * s, 0}, {2 * c * s, 3 * s * s + c * c, 0}, {0, 0, 2}};
    UfDirection axis = uf_least_axis(matrix, values);
    cr_expect(fabs(fabs(axis.x * -s + axis.y * c) - 1) < 1e-12, "%g %g %g", axis.x, axis.y, axis.z);
    cr_expect(fabs(values[0] - 1) < 1e-12 && fabs(values[1] - 2) < 1e-12 && fabs(values[2] - 3) < 1e-12);
}

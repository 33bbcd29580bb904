/*
 * Turned there and back: how much of a photograph is left, against cv::remap's Lanczos4 (8 x 8 taps) and
 * cubic with the same geometry, seam and poles padded for it with true pixels; and whether every direction
 * arrives where it should.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/turn.h>

#include "support/opencv_remap.h"
#include "support/photographs.h"

static UfRotation rotation(const double *deg)
{
    return uf_rotation_from_angles(uf_radians(deg[0]), uf_radians(deg[1]), uf_radians(deg[2]));
}

static UfPicture *turned(const UfPicture *panorama, const UfRotation *turn, UfSampling sampling)
{
    UfPicture *out = NULL;
    UfRemapOptions options = {.sampling = sampling};
    cr_assert_eq(uf_turn(panorama, turn, false, &options, &out, NULL), UF_OK);
    return out;
}

static double our_db(const UfPicture *panorama, const UfRotation *turn, UfSampling sampling)
{
    UfRotation back = uf_rotation_inverse(turn);
    UfPicture *there = turned(panorama, turn, sampling), *again = turned(there, &back, sampling);
    double db = ws_psnr(panorama, again);
    uf_picture_free(&again);
    uf_picture_free(&there);
    return db;
}

static UfPicture *opencv_turned(const UfPicture *panorama, const UfRotation *turn, OpencvKernel kernel)
{
    size_t width = uf_picture_width_px(panorama), height = width / 2, at = 0;
    UfView view = uf_view_equirectangular(width);
    Maps maps = maps_create(width * height);
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++, at++) {
            UfDirection d;
            UfPixelPoint place;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            cr_assert(uf_view_pixel(&view, uf_rotation_apply(turn, d), &place));
            maps.x[at] = place.x_px - 0.5 + PAD_PX;
            maps.y[at] = place.y_px - 0.5 + PAD_PX;
        }
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_create(width, height, 3, UF_SAMPLE_U8, &out, NULL), UF_OK);
    uint8_t *pixels = padded(panorama), *result = malloc(at * 3);
    cr_assert_not_null(result);
    opencv_remap(pixels, width + 2 * PAD_PX, height + 2 * PAD_PX, 3, maps.x, maps.y, width, height, kernel,
                 result);
    for (size_t y = 0; y < height; y++)
        memcpy(uf_picture_row(out, y), result + y * width * 3, width * 3);
    free(result);
    free(pixels);
    maps_free(&maps);
    return out;
}

static double opencv_db(const UfPicture *panorama, const UfRotation *turn, OpencvKernel kernel)
{
    UfRotation back = uf_rotation_inverse(turn);
    UfPicture *there = opencv_turned(panorama, turn, kernel), *again = opencv_turned(there, &back, kernel);
    double db = ws_psnr(panorama, again);
    uf_picture_free(&again);
    uf_picture_free(&there);
    return db;
}

static void assert_sharper(const char *path, const double *deg, double margin_db)
{
    char room[1024];
    UfPicture *panorama = photo(path[0] == '/' ? path : scene_path(path, room));
    UfRotation turn = rotation(deg);
    double lanczos = opencv_db(panorama, &turn, OPENCV_LANCZOS4);
    double sharp = our_db(panorama, &turn, UF_SAMPLING_SHARP);
    if (getenv("UF_SHOW") != NULL)
        fprintf(stderr,
                "%s, pitch %g: linear %.2f cubic %.2f Lanczos4 %.2f; ours bicubic %.2f sharp %.2f dB\n", path,
                deg[1], opencv_db(panorama, &turn, OPENCV_LINEAR), opencv_db(panorama, &turn, OPENCV_CUBIC),
                lanczos, our_db(panorama, &turn, UF_SAMPLING_BICUBIC), sharp);
    cr_expect(sharp >= lanczos + margin_db, "%s, pitch %g: %.2f dB against %.2f", path, deg[1], sharp,
              lanczos);
    uf_picture_free(&panorama);
}

/* A little off level, as a panorama comes from the tripod; and to the zenith. */
static const double levelling[3] = {17.3, 4.1, -2.7}, upwards[3] = {10, 60, 0};

Test(sharp, turning_there_and_back_keeps_more_of_a_photograph_than_lanczos)
{
    assert_sharper(PHOTOS "earth.jpg", levelling, 0.4);
    assert_sharper(PHOTOS "night.jpg", levelling, 0);
    assert_sharper(RELIEF, levelling, 0.2);
}

Test(sharp, turning_there_and_back_keeps_more_of_the_sample_scenes)
{
    assert_sharper("ticket-hall.jpg", levelling, 0.2);
    assert_sharper("yard.jpg", levelling, 0.3);
    assert_sharper("ticket-hall.jpg", upwards, 0.3);
}

/* Directions as colours: 16 bit, (d + 1) / 2. */
#define WIDTH_PX 512u

static UfPicture *coded_directions(void)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(WIDTH_PX, WIDTH_PX / 2, 3, UF_SAMPLE_U16, &picture, NULL), UF_OK);
    for (size_t y = 0; y < WIDTH_PX / 2; y++) {
        uint16_t *row = uf_picture_row(picture, y);
        for (size_t x = 0; x < WIDTH_PX; x++) {
            double lon = (((double)x + 0.5) / WIDTH_PX - 0.5) * 2 * UF_PI;
            double lat = (0.5 - ((double)y + 0.5) / (WIDTH_PX / 2)) * UF_PI;
            const double d[3] = {cos(lat) * sin(lon), sin(lat), cos(lat) * cos(lon)};
            for (size_t c = 0; c < 3; c++)
                row[3 * x + c] = (uint16_t)floor((d[c] + 1) / 2 * 65535 + 0.5);
        }
    }
    return picture;
}

/*
 * Ry(yaw) Rx(pitch) Rz(roll) d, written out here once more: roll turns x towards -y, pitch z towards y, yaw z
 * towards x.
 */
static void turn_by_hand(const double *deg, const double d[3], double out[3])
{
    double a = deg[2] * UF_PI / 180, b = deg[1] * UF_PI / 180, c = deg[0] * UF_PI / 180;
    double x = cos(a) * d[0] + sin(a) * d[1], y = cos(a) * d[1] - sin(a) * d[0], z = d[2];
    double y2 = cos(b) * y + sin(b) * z, z2 = cos(b) * z - sin(b) * y;
    out[0] = cos(c) * x + sin(c) * z2;
    out[1] = y2;
    out[2] = cos(c) * z2 - sin(c) * x;
}

/* The angle between what a pixel says and what it should, in pixels of the equator. */
static double error_px(const uint16_t *pixel, const double truth[3])
{
    double d[3], length = 0, across = 0;
    for (int i = 0; i < 3; i++) {
        d[i] = (double)pixel[i] / 65535 * 2 - 1;
        length += d[i] * d[i];
    }
    for (int i = 0; i < 3; i++) {
        int k = (i + 1) % 3, l = (i + 2) % 3;
        double cross = d[k] * truth[l] - d[l] * truth[k];
        across += cross * cross / length;
    }
    return asin(fmin(1, sqrt(across))) * WIDTH_PX / (2 * UF_PI);
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The middle of the right hand rule: what lay at (yaw, pitch) is at the centre. */
Test(sharp, every_direction_arrives_where_it_should)
{
    static const double turns[][3] = {{30.7, 0, 0},        {0, 8, 0},  {0, 0, -8},
                                      {123.4, 56.7, 34.5}, {0, 90, 0}, {-170, -45, 180}};
    UfPicture *picture = coded_directions();
    double *errors = malloc(WIDTH_PX * WIDTH_PX / 2 * sizeof *errors);
    cr_assert_not_null(errors);
    for (size_t t = 0; t < sizeof turns / sizeof *turns; t++) {
        UfRotation turn = rotation(turns[t]);
        UfPicture *out = turned(picture, &turn, UF_SAMPLING_SHARP);
        size_t count = 0;
        for (size_t y = 0; y < WIDTH_PX / 2; y++)
            for (size_t x = 0; x < WIDTH_PX; x++) {
                double lon = (((double)x + 0.5) / WIDTH_PX - 0.5) * 2 * UF_PI, truth[3];
                double lat = (0.5 - ((double)y + 0.5) / (WIDTH_PX / 2)) * UF_PI;
                turn_by_hand(turns[t], (const double[3]){cos(lat) * sin(lon), sin(lat), cos(lat) * cos(lon)},
                             truth);
                errors[count++] = error_px((const uint16_t *)uf_picture_row_const(out, y) + 3 * x, truth);
            }
        qsort(errors, count, sizeof *errors, by_value);
        double percentile = errors[(size_t)((double)count * 0.999)];
        if (getenv("UF_SHOW") != NULL)
            fprintf(stderr, "turn %zu: 99.9th percentile %.5f px, largest %.5f px\n", t, percentile,
                    errors[count - 1]);
        cr_expect(percentile <= 0.05 && errors[count - 1] < 0.1, "turn %zu: %g, largest %g", t, percentile,
                  errors[count - 1]);
        uf_picture_free(&out);
    }
    free(errors);
    uf_picture_free(&picture);
}

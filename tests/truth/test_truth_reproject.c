/*
 * Apart and together again: how much of a photograph is left after it went into six faces of full sharpness
 * and back, against cv::remap with the same geometry, whose faces even get true pixels beyond their edges.
 *
 * Measure: WS-PSNR, Y. Sun, A. Lu, L. Yu, Weighted-to-Spherically-Uniform Quality Evaluation for
 * Omnidirectional Video, IEEE Signal Processing Letters 24(9), 1408-1412 (2017): squared differences weighted
 * by the cosine of the latitude. Photographs: Debian's xplanet-images.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/home.h>
#include <underfoot/wrap.h>

#include "support/opencv_remap.h"
#include "support/photographs.h"
#include "support/program.h"

/* The published examples' numbers: +10 on row 0, and on row 3, of a 16 x 8 picture. */
Test(reproject, measures_as_published)
{
    UfPicture *a = NULL;
    UfPicture *b = NULL;
    cr_assert_eq(uf_picture_create(16, 8, 3, UF_SAMPLE_U8, &a, NULL), UF_OK);
    cr_assert_eq(uf_picture_create(16, 8, 3, UF_SAMPLE_U8, &b, NULL), UF_OK);
    memset(uf_picture_row(b, 0), 10, 3 * 16);
    cr_expect_float_eq(ws_psnr(a, b), 42.326089097, 1e-8);
    memset(uf_picture_row(b, 0), 0, 3 * 16);
    memset(uf_picture_row(b, 3), 10, 3 * 16);
    cr_expect_float_eq(ws_psnr(a, b), 35.312706959, 1e-8);
    uf_picture_free(&a);
    uf_picture_free(&b);
}

static UfPicture *ours(const UfPicture *panorama, UfSampling sampling)
{
    size_t width = uf_picture_width_px(panorama);
    size_t side = uf_face_full_size_px(width);
    UfPicture *faces[UF_FACE_COUNT] = {NULL};
    UfPicture *back = NULL;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        UfHome home = {.kind = UF_HOME_FACE,
                       .face = (UfFace)f,
                       .width_px = side,
                       .height_px = side,
                       .sampling = sampling,
                       .panorama_width_px = width};
        cr_assert_eq(uf_home_extract(&home, panorama, 0, NULL, &faces[f], NULL), UF_OK);
    }
    UfRemapOptions options = {.sampling = sampling};
    cr_assert_eq(uf_wrap_faces((const UfPicture *const *)faces, width, &options, &back, NULL), UF_OK);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        uf_picture_free(&faces[f]);
    return back;
}

/* Where OpenCV looks: from stacked faces into the padded panorama, and from the panorama into the stacked
 * faces. */
typedef struct Geometry {
    size_t width, side, whole;
    Maps out, back;
} Geometry;

/* All faces in one picture, one below the other, each with PAD_PX more on every side. */
static void map_out(Geometry *geometry)
{
    UfView source = uf_view_equirectangular(geometry->width);
    size_t at = 0;
    geometry->out = maps_create(geometry->whole * geometry->whole * UF_FACE_COUNT);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        UfView view = uf_view_face((UfFace)f, geometry->side);
        for (size_t y = 0; y < geometry->whole; y++)
            for (size_t x = 0; x < geometry->whole; x++, at++) {
                UfPixelPoint point = {(double)x + 0.5 - PAD_PX, (double)y + 0.5 - PAD_PX};
                UfDirection direction = {0};
                bool seen =
                    uf_view_direction(&view, point, &direction) && uf_view_pixel(&source, direction, &point);
                geometry->out.x[at] = seen ? point.x_px - 0.5 + PAD_PX : NAN;
                geometry->out.y[at] = point.y_px - 0.5 + PAD_PX;
            }
    }
}

static void map_back(Geometry *geometry)
{
    UfView target = uf_view_equirectangular(geometry->width);
    double half = (double)geometry->side / 2;
    size_t at = 0;
    geometry->back = maps_create(geometry->width * geometry->width / 2);
    for (size_t y = 0; y < geometry->width / 2; y++)
        for (size_t x = 0; x < geometry->width; x++, at++) {
            UfDirection direction = {0};
            UfPlanePoint point;
            (void)uf_view_direction(&target, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction);
            UfFace face = uf_face_of_direction(direction, &point);
            geometry->back.x[at] = (1 + point.x) * half - 0.5 + PAD_PX;
            geometry->back.y[at] = (1 - point.y) * half - 0.5 + PAD_PX + (double)(face * geometry->whole);
        }
}

static Geometry geometry_create(size_t width)
{
    Geometry geometry = {.width = width, .side = uf_face_full_size_px(width)};
    geometry.whole = geometry.side + 2 * PAD_PX;
    map_out(&geometry);
    map_back(&geometry);
    return geometry;
}

static void geometry_free(Geometry *geometry)
{
    maps_free(&geometry->out);
    maps_free(&geometry->back);
}

static double opencv_db(const Geometry *geometry, const UfPicture *panorama, OpencvKernel kernel)
{
    size_t width = geometry->width;
    size_t whole = geometry->whole;
    uint8_t *pixels = padded(panorama);
    uint8_t *faces = malloc(whole * whole * UF_FACE_COUNT * 3);
    UfPicture *back = NULL;
    cr_assert_not_null(faces);
    cr_assert_eq(uf_picture_create(width, width / 2, 3, UF_SAMPLE_U8, &back, NULL), UF_OK);
    opencv_remap(pixels, width + 2 * PAD_PX, width / 2 + 2 * PAD_PX, 3, geometry->out.x, geometry->out.y,
                 whole, whole * UF_FACE_COUNT, kernel, faces);
    opencv_remap(faces, whole, whole * UF_FACE_COUNT, 3, geometry->back.x, geometry->back.y, width, width / 2,
                 kernel, uf_picture_row(back, 0));
    double db = ws_psnr(panorama, back);
    uf_picture_free(&back);
    free(pixels);
    free(faces);
    return db;
}

static double our_db(const UfPicture *panorama, UfSampling sampling)
{
    UfPicture *back = ours(panorama, sampling);
    double db = ws_psnr(panorama, back);
    uf_picture_free(&back);
    return db;
}

static void assert_sharper(const char *path, double margin_db)
{
    UfPicture *panorama = photo(path);
    Geometry geometry = geometry_create(uf_picture_width_px(panorama));
    double cubic = opencv_db(&geometry, panorama, OPENCV_CUBIC);
    double lanczos = opencv_db(&geometry, panorama, OPENCV_LANCZOS4);
    double sharp = our_db(panorama, UF_SAMPLING_SHARP);
    cr_log_info("%s: cubic %.2f Lanczos4 %.2f, sharp %.2f dB", path, cubic, lanczos, sharp);
    cr_expect(sharp >= fmax(cubic, lanczos) + margin_db,
              "%s: %.2f dB against %.2f (cubic) and %.2f (Lanczos4)", path, sharp, cubic, lanczos);
    geometry_free(&geometry);
    uf_picture_free(&panorama);
}

Test(reproject, six_faces_keep_more_of_a_photograph_than_the_best_of_opencv)
{
    assert_sharper(PHOTOS "earth.jpg", 1);
    assert_sharper(PHOTOS "night.jpg", 0.25);
    assert_sharper(RELIEF, 0.5);
}

/* The sample tour's ticket hall, small: hard edges of tiles everywhere. */
Test(reproject, six_faces_keep_more_of_a_sample_scene, .init = folder_enter, .fini = folder_leave)
{
    scene_make("ticket-hall", "256");
    assert_sharper("ticket-hall.jpg", 0.5);
}

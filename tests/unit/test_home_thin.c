/* What a target cannot hold is taken out of a panorama's rows, and nothing else. */
#include "test_remap_support.h"

#include <stdlib.h>

#include "remap/thin.h"

#define WIDTH_PX 512u

static UfPicture *thinned(const UfPicture *panorama, const UfView *target, int threads)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_thin_rows(panorama, target, threads, &out, NULL), UF_OK);
    return out;
}

static double row_spread(const UfPicture *picture, size_t y)
{
    double lowest = 1e9;
    double highest = -1e9;
    for (size_t x = 0; x < uf_picture_width_px(picture); x++) {
        lowest = fmin(lowest, get(picture, x, y, 0));
        highest = fmax(highest, get(picture, x, y, 0));
    }
    return highest - lowest;
}

/* Stripes of `period` columns along every row. */
static UfPicture *stripes(size_t period, UfSample sample)
{
    UfPicture *picture = make_picture(WIDTH_PX, WIDTH_PX / 2, 1, sample);
    for (size_t y = 0; y < WIDTH_PX / 2; y++)
        for (size_t x = 0; x < WIDTH_PX; x++) {
            double wave = cos(2 * UF_PI * (double)x / (double)period);
            set(picture, x, y, 0, floor((0.5 + 0.4 * wave) * sample_max(sample) + 0.5));
        }
    return picture;
}

/*
 * A full up face holds W/pi pixels over 2 radians in its middle: W/2 cos(lat) waves round a parallel near the
 * pole (tan and sin are one there). 128 waves end at 60 degrees of latitude: well above they are gone, and at
 * the face's corners they are whole.
 */
Test(home_thin, takes_out_what_a_face_cannot_hold)
{
    UfPicture *panorama = stripes(4, UF_SAMPLE_U16);
    UfView face = uf_view_face(UF_FACE_UP, uf_face_full_size_px(WIDTH_PX));
    UfPicture *out = thinned(panorama, &face, 1);
    cr_assert_not_null(out);
    size_t rows_of_75 = WIDTH_PX / 2 * 15 / 180;
    size_t rows_of_45 = WIDTH_PX / 2 * 45 / 180;
    cr_expect_lt(row_spread(out, 0), 2);
    cr_expect_lt(row_spread(out, rows_of_75), 2);
    cr_expect_eq(row_spread(out, rows_of_45), row_spread(panorama, rows_of_45));
    /* what the face does not show stays */
    for (size_t y = WIDTH_PX / 4; y < WIDTH_PX / 2; y++)
        cr_assert_arr_eq(uf_picture_row_const(out, y), uf_picture_row_const(panorama, y), WIDTH_PX * 2);
    uf_picture_free(&out);
    uf_picture_free(&panorama);
}

/* 4 waves round the parallel are held up to a few rows from the pole. */
Test(home_thin, leaves_what_a_face_can_hold)
{
    UfPicture *panorama = stripes(128, UF_SAMPLE_U8);
    UfView face = uf_view_face(UF_FACE_DOWN, uf_face_full_size_px(WIDTH_PX));
    UfPicture *out = thinned(panorama, &face, 1);
    cr_assert_not_null(out);
    for (size_t y = WIDTH_PX / 4; y < WIDTH_PX / 2 - 6; y++)
        for (size_t x = 0; x < WIDTH_PX; x++)
            cr_assert_leq(fabs(get(out, x, y, 0) - get(panorama, x, y, 0)), 1, "%zu, %zu", x, y);
    uf_picture_free(&out);
    uf_picture_free(&panorama);
}

/* A face at the horizon of twice the sharpness holds all of it. */
Test(home_thin, makes_no_copy_without_need)
{
    UfPicture *panorama = stripes(2, UF_SAMPLE_U8);
    UfView view = uf_view_rectilinear(400, 100, uf_radians(60), uf_rotation_from_angles(1, 0, 0));
    cr_expect_null(thinned(panorama, &view, 1));
    uf_picture_free(&panorama);
}

Test(home_thin, works_on_every_kind_and_not_on_the_number_of_threads)
{
    UfView view = uf_view_rectilinear(120, 90, uf_radians(80), uf_rotation_from_angles(0.3, -1.2, 0.2));
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *panorama = make_picture(128, 64, channels, all_samples[s]);
            fill_noise(panorama, 5);
            UfPicture *one = thinned(panorama, &view, 1);
            UfPicture *three = thinned(panorama, &view, 3);
            cr_assert(one != NULL && three != NULL);
            cr_expect(same_bytes(one, three));
            cr_expect(same_bytes(one, panorama) == false);
            uf_picture_free(&one);
            uf_picture_free(&three);
            uf_picture_free(&panorama);
        }
}

/* Colour does not leak out of what is transparent. */
Test(home_thin, gives_no_weight_to_transparent_pixels)
{
    UfPicture *panorama = make_picture(WIDTH_PX, WIDTH_PX / 2, 4, UF_SAMPLE_U8);
    for (size_t y = 0; y < WIDTH_PX / 2; y++)
        for (size_t x = 0; x < WIDTH_PX; x++) {
            bool clear = x / 2 % 2 == 0;
            for (size_t c = 0; c < 3; c++)
                set(panorama, x, y, c, clear ? 0 : 200);
            set(panorama, x, y, 3, clear ? 0 : 255);
        }
    UfView face = uf_view_face(UF_FACE_UP, uf_face_full_size_px(WIDTH_PX));
    UfPicture *out = thinned(panorama, &face, 1);
    cr_assert_not_null(out);
    for (size_t x = 0; x < WIDTH_PX; x++) {
        cr_assert_float_eq(get(out, x, 3, 3), 127.5, 1.01);
        cr_assert_float_eq(get(out, x, 3, 0), 200, 1.01);
    }
    uf_picture_free(&out);
    uf_picture_free(&panorama);
}

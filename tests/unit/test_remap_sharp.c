/*
 * The sharp kernel: a spline of degree 5 through the samples.
 *
 * Values of the B-spline at whole numbers, 1/120, 26/120, 66/120: M. Unser, A. Aldroubi, M. Eden, B-Spline
 * Signal Processing, IEEE Trans. Signal Processing 41(2), 821-848 (1993), table I.
 */
#include "test_remap_support.h"

#include "remap/kernels.h"
#include "remap/spline.h"

static const UfRemapOptions sharply = {.sampling = UF_SAMPLING_SHARP};

Test(remap_sharp, weights_are_the_b_splines)
{
    const double at_0[UF_SPLINE_TAPS] = {1.0 / 120, 26.0 / 120, 66.0 / 120, 26.0 / 120, 1.0 / 120, 0};
    double weights[UF_SPLINE_TAPS], mirrored[UF_SPLINE_TAPS];
    uf_spline_weights(0, weights);
    for (int k = 0; k < UF_SPLINE_TAPS; k++)
        cr_expect_float_eq(weights[k], at_0[k], 1e-15);
    /* a B-spline of degree 5 has all polynomials up to degree 5: here sums of w, w k and their symmetry */
    for (double t = 0; t < 1; t += 0.0625) {
        double sum = 0, mean = 0;
        uf_spline_weights(t, weights);
        uf_spline_weights(1 - t, mirrored);
        for (int k = 0; k < UF_SPLINE_TAPS; k++) {
            sum += weights[k];
            mean += weights[k] * (k - 2);
            cr_expect_float_eq(weights[k], mirrored[UF_SPLINE_TAPS - 1 - k], 1e-15, "t %g tap %d", t, k);
        }
        cr_expect_float_eq(sum, 1, 1e-14, "t %g", t);
        cr_expect_float_eq(mean, t, 1e-14, "t %g", t);
    }
}

/* Filter and B-spline undo each other at the samples. */
Test(remap_sharp, filter_is_the_inverse_of_the_b_spline)
{
    for (int k = -8; k <= 8; k++) {
        double sum = 66 * uf_spline_response(k) +
                     26 * (uf_spline_response(k - 1) + uf_spline_response(k + 1)) +
                     uf_spline_response(k - 2) + uf_spline_response(k + 2);
        cr_expect_float_eq(sum / 120, k == 0 ? 1 : 0, 1e-12, "at %d: %g", k, sum / 120);
    }
    cr_expect(fabs(uf_spline_response(UF_SPLINE_REACH + 1)) < 1e-5);
}

static UfView small_turn(size_t width_px, double yaw, double pitch, double roll)
{
    UfView view = uf_view_equirectangular(width_px);
    view.rotation = uf_rotation_from_angles(uf_radians(yaw), uf_radians(pitch), uf_radians(roll));
    return view;
}

/* A constant stays what it is, in every type, alpha included, all over the sphere. */
Test(remap_sharp, constants_stay)
{
    static const double pixel_of[3][4] = {{200, 3, 90, 40}, {60001, 7, 30000, 20000}, {0.75, 0.01, 0.3, 0.5}};
    UfView sphere = uf_view_equirectangular(64), turned = small_turn(64, 10.3, 41, 7);
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++) {
            double pixel[4];
            memcpy(pixel, pixel_of[s], sizeof pixel);
            UfPicture *source = make_picture(64, 32, channels, all_samples[s]);
            fill(source, pixel);
            UfPicture *out = remap(source, &sphere, &turned, &sharply);
            double limit = all_samples[s] == UF_SAMPLE_F32 ? 2e-6 : 0;
            cr_expect(largest_difference(source, out) <= limit, "type %d, %zu channels: %g", all_samples[s],
                      channels, largest_difference(source, out));
            uf_picture_free(&out);
            uf_picture_free(&source);
        }
}

/* What a direction on the sphere shows: smooth, nothing special at seam and poles. */
static double wave(UfDirection d)
{
    return 0.5 + 0.2 * sin(5 * d.x + 1) + 0.2 * cos(7 * d.y * d.z + 3 * d.x);
}

static UfPicture *wave_picture(const UfView *view, UfSample sample)
{
    UfPicture *picture = make_picture(view->width_px, view->height_px, 1, sample);
    for (size_t y = 0; y < view->height_px; y++)
        for (size_t x = 0; x < view->width_px; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            set(picture, x, y, 0, wave(d) * sample_max(sample));
        }
    return picture;
}

/*
 * Smooth detail comes out as it is over seam and poles: the prefilter runs on along the great circles. The low-pass
 * towards the poles passes this wave to 2 parts in 10000.
 */
Test(remap_sharp, seam_and_poles_are_nothing_special)
{
    UfView sphere = uf_view_equirectangular(128), turned = small_turn(128, 170, 77, 30);
    UfPicture *source = wave_picture(&sphere, UF_SAMPLE_F32), *truth = wave_picture(&turned, UF_SAMPLE_F32);
    UfPicture *out = remap(source, &sphere, &turned, &sharply);
    UfPicture *cubic = remap(source, &sphere, &turned, NULL);
    double error = largest_difference(out, truth), cubic_error = largest_difference(cubic, truth);
    cr_expect(error < 3e-4, "%g", error);
    cr_expect(error < cubic_error / 5, "%g against %g", error, cubic_error);
    uf_picture_free(&cubic);
    uf_picture_free(&out);
    uf_picture_free(&truth);
    uf_picture_free(&source);
}

/* A flat picture's own edge: mirrored, so that a smooth picture stays smooth up to it. */
Test(remap_sharp, edges_of_flat_pictures_do_not_ring)
{
    UfView face = uf_view_face(UF_FACE_FRONT, 48), view = face;
    view.scale_px *= 1.3;
    view.centre_x_px += 0.37;
    UfPicture *source = make_picture(48, 48, 1, UF_SAMPLE_F32);
    for (size_t y = 0; y < 48; y++)
        for (size_t x = 0; x < 48; x++)
            set(source, x, y, 0, 0.5 + 0.4 * cos(UF_PI * ((double)x + 0.5) / 48));
    UfPicture *out = remap(source, &face, &view, &sharply);
    for (size_t x = 0; x < 48; x++) {
        double u = ((double)x + 0.5 - view.centre_x_px) / 1.3 + 24;
        double wanted = 0.5 + 0.4 * cos(UF_PI * u / 48);
        cr_expect_float_eq(get(out, x, 24, 0), wanted, 1e-5, "column %zu: %g, not %g", x, get(out, x, 24, 0),
                           wanted);
    }
    uf_picture_free(&out);
    uf_picture_free(&source);
}

/* Beside a hard edge nothing swings further than an eighth of the step, and not at all three pixels from it.
 */
Test(remap_sharp, hard_edges_are_kept_from_ringing)
{
    UfView sphere = uf_view_equirectangular(128), turned = small_turn(128, 1.13, 0, 0);
    UfPicture *source = make_picture(128, 64, 1, UF_SAMPLE_F32);
    for (size_t y = 0; y < 64; y++)
        for (size_t x = 0; x < 128; x++)
            set(source, x, y, 0, x >= 32 && x < 96 ? 0.7 : 0.3);
    UfPicture *out = remap(source, &sphere, &turned, &sharply);
    for (size_t x = 0; x < 128; x++) {
        double value = get(out, x, 32, 0), place = (double)x + 1.13 / 360 * 128;
        double distance = fmin(fabs(place + 0.5 - 32), fabs(place + 0.5 - 96));
        double slack = distance > 3 ? 1e-6 : 0.4 / 8 + 1e-6;
        cr_expect(value >= 0.3 - slack && value <= 0.7 + slack, "column %zu: %g", x, value);
    }
    uf_picture_free(&out);
    uf_picture_free(&source);
}

/* Where alpha varies no colour comes out that no pixel has: red beside nothing stays red. */
Test(remap_sharp, colours_do_not_leave_transparent_edges)
{
    UfView sphere = uf_view_equirectangular(64), turned = small_turn(64, 20.7, 11, 3);
    for (size_t s = 0; s < 3; s++) {
        UfPicture *source = make_picture(64, 32, 4, all_samples[s]);
        double max = sample_max(all_samples[s]);
        for (size_t y = 0; y < 32; y++)
            for (size_t x = 0; x < 64; x++)
                if ((x / 8 + y / 8) % 2 == 0) {
                    set(source, x, y, 0, max);
                    set(source, x, y, 3, max);
                }
        UfPicture *out = remap(source, &sphere, &turned, &sharply);
        size_t half = 0;
        for (size_t y = 0; y < 32; y++)
            for (size_t x = 0; x < 64; x++) {
                double alpha = get(out, x, y, 3);
                half += alpha > 0.1 * max && alpha < 0.9 * max;
                if (alpha > 0)
                    cr_assert(get(out, x, y, 0) >= max * (1 - 1e-6) && get(out, x, y, 1) <= 1e-6 * max,
                              "type %d at %zu, %zu: %g %g", all_samples[s], x, y, get(out, x, y, 0),
                              get(out, x, y, 1));
            }
        cr_expect(half > 50, "only %zu pixels lie on an edge", half);
        uf_picture_free(&out);
        uf_picture_free(&source);
    }
}

/* 8-bit coefficients are kept as codes of a quarter: no further than a code from the same in floats. */
Test(remap_sharp, eight_bits_agree_with_floats)
{
    UfView sphere = uf_view_equirectangular(96), turned = small_turn(96, 33, 21, -8);
    UfPicture *codes = make_picture(96, 48, 3, UF_SAMPLE_U8),
              *floats = make_picture(96, 48, 3, UF_SAMPLE_F32);
    fill_noise(codes, 7);
    for (size_t y = 0; y < 48; y++)
        for (size_t x = 0; x < 96; x++)
            for (size_t c = 0; c < 3; c++)
                set(floats, x, y, c, get(codes, x, y, c) / 255);
    UfPicture *a = remap(codes, &sphere, &turned, &sharply), *b = remap(floats, &sphere, &turned, &sharply);
    double largest = 0;
    for (size_t y = 0; y < 48; y++)
        for (size_t x = 0; x < 96; x++)
            for (size_t c = 0; c < 3; c++) {
                double wanted = fmin(fmax(255 * get(b, x, y, c), 0), 255);
                largest = fmax(largest, fabs(get(a, x, y, c) - wanted));
            }
    cr_expect(largest < 0.75, "%g codes", largest);
    uf_picture_free(&b);
    uf_picture_free(&a);
    uf_picture_free(&floats);
    uf_picture_free(&codes);
}

/* The worst that a picture can ask of the codes: a chess board. */
Test(remap_sharp, chess_boards_fit_into_the_codes)
{
    UfView sphere = uf_view_equirectangular(64), turned = small_turn(64, 2.1, 0, 0);
    UfPicture *source = make_picture(64, 32, 1, UF_SAMPLE_U8);
    for (size_t y = 0; y < 32; y++)
        for (size_t x = 0; x < 64; x++)
            set(source, x, y, 0, (x + y) % 2 == 0 ? 255 : 0);
    UfPicture *out = remap(source, &sphere, &turned, &sharply);
    /* turned by 0.373 pixel: cos(0.373 pi) of the amplitude, as a wave of the picture's own limit */
    double wanted = 127.5 * cos(2.1 / 360 * 64 * UF_PI), largest = 0;
    for (size_t y = 12; y < 20; y++)
        for (size_t x = 0; x < 64; x++)
            largest = fmax(largest, fabs(fabs(get(out, x, y, 0) - 127.5) - wanted));
    cr_expect(largest < 12, "%g", largest);
    uf_picture_free(&out);
    uf_picture_free(&source);
}

Test(remap_sharp, threads_do_not_matter)
{
    UfView sphere = uf_view_equirectangular(300), turned = small_turn(300, 33, 21, -8);
    UfPicture *source = make_picture(300, 150, 3, UF_SAMPLE_U16);
    fill_noise(source, 3);
    UfPicture *one =
        remap(source, &sphere, &turned, &(UfRemapOptions){.sampling = UF_SAMPLING_SHARP, .threads = 1});
    UfPicture *five =
        remap(source, &sphere, &turned, &(UfRemapOptions){.sampling = UF_SAMPLING_SHARP, .threads = 5});
    cr_expect(same_bytes(one, five));
    uf_picture_free(&five);
    uf_picture_free(&one);
    uf_picture_free(&source);
}

/* Tiny and odd pictures, where the filter's run-in goes over the poles more than once. */
Test(remap_sharp, tiny_pictures_are_no_trouble)
{
    for (size_t width = 2; width <= 22; width += 2)
        for (size_t s = 0; s < 3; s++) {
            UfView sphere = uf_view_equirectangular(width), turned = small_turn(width, 50, 60, 10);
            UfPicture *source = make_picture(width, width / 2, 3, all_samples[s]);
            fill_noise(source, (uint32_t)width);
            UfPicture *out = remap(source, &sphere, &turned, &sharply);
            double max = sample_max(all_samples[s]);
            for (size_t y = 0; y < width / 2; y++)
                for (size_t x = 0; x < width; x++)
                    cr_assert(get(out, x, y, 0) >= -max / 8 && get(out, x, y, 0) <= max * 9 / 8);
            uf_picture_free(&out);
            uf_picture_free(&source);
        }
}

/* Enlarging by the same spline: samples are met, and a wave between them. */
Test(remap_sharp, resize_meets_a_wave)
{
    UfPicture *source = make_picture(48, 24, 1, UF_SAMPLE_F32), *sharp = NULL, *cubic = NULL;
    for (size_t y = 0; y < 24; y++)
        for (size_t x = 0; x < 48; x++)
            set(source, x, y, 0, 0.5 + 0.4 * sin(2 * UF_PI * 8 * ((double)x + 0.5) / 48));
    cr_assert_eq(uf_resize(source, 144, 24, true, &sharply, &sharp, NULL), UF_OK);
    cr_assert_eq(uf_resize(source, 144, 24, true, NULL, &cubic, NULL), UF_OK);
    double error = 0, cubic_error = 0;
    for (size_t x = 0; x < 144; x++) {
        double wanted = 0.5 + 0.4 * sin(2 * UF_PI * 8 * ((double)x + 0.5) / 144);
        error = fmax(error, fabs(get(sharp, x, 5, 0) - wanted));
        cubic_error = fmax(cubic_error, fabs(get(cubic, x, 5, 0) - wanted));
    }
    cr_expect(error < 0.003 && error < cubic_error / 8, "%g against %g", error, cubic_error);
    uf_picture_free(&cubic);
    uf_picture_free(&sharp);
    uf_picture_free(&source);
}

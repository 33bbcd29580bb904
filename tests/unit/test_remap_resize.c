/* uf_resize: exact means, alpha, edges. */
#include "unit/test_remap_support.h"

static UfPicture *resize(const UfPicture *source, size_t width_px, size_t height_px, bool wraps,
                         const UfRemapOptions *options)
{
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_resize(source, width_px, height_px, wraps, options, &out, report), UF_OK, "%s",
                 uf_report_error(report));
    uf_report_free(&report);
    return out;
}

/* IEC 61966-2-1: the mean light of codes 50 and 200 is code 150 (149.94), of 0 and 255 code 188 (187.5). */
Test(remap_resize, means_are_taken_in_linear_light)
{
    const double pairs[2][3] = {{50, 200, 150}, {0, 255, 188}};
    for (int p = 0; p < 2; p++) {
        UfPicture *source = make_picture(16, 8, 3, UF_SAMPLE_U8);
        for (size_t y = 0; y < 8; y++)
            for (size_t x = 0; x < 16; x++)
                for (size_t c = 0; c < 3; c++)
                    set(source, x, y, c, pairs[p][(x + y) % 2]);
        const size_t sizes[3][2] = {{8, 4}, {8, 8}, {2, 2}};
        for (int s = 0; s < 3; s++) {
            UfPicture *out = resize(source, sizes[s][0], sizes[s][1], true, NULL);
            for (size_t y = 0; y < sizes[s][1]; y++)
                for (size_t x = 0; x < sizes[s][0]; x++)
                    cr_expect_eq(get(out, x, y, 1), pairs[p][2], "%g", get(out, x, y, 1));
            uf_picture_free(&out);
        }
        uf_picture_free(&source);
    }
}

/* Through the other door: averaging footprints of 2 x 2 pixels in uf_remap. */
Test(remap_resize, footprints_average_in_linear_light)
{
    UfPicture *source = make_picture(64, 32, 3, UF_SAMPLE_U8);
    for (size_t y = 0; y < 32; y++)
        for (size_t x = 0; x < 64; x++)
            for (size_t c = 0; c < 3; c++)
                set(source, x, y, c, x % 2 == 0 ? 50 : 200);
    const UfView from = uf_view_equirectangular(64), to = uf_view_equirectangular(32);
    UfPicture *out = remap(source, &from, &to, NULL);
    for (size_t y = 0; y < 16; y++)
        for (size_t x = 0; x < 32; x++)
            cr_expect_eq(get(out, x, y, 0), 150, "%zu %zu: %g", x, y, get(out, x, y, 0));
    uf_picture_free(&source);
    uf_picture_free(&out);
}

/* Float without a profile is linear light: whole factors give the plain mean of the block. */
Test(remap_resize, whole_factors_are_exact)
{
    UfPicture *source = make_picture(12, 6, 1, UF_SAMPLE_F32);
    fill_noise(source, 8);
    for (size_t factor = 2; factor <= 6; factor++) {
        if (12 % factor != 0 || 6 % factor != 0)
            continue;
        UfPicture *out = resize(source, 12 / factor, 6 / factor, false, NULL);
        for (size_t y = 0; y < 6 / factor; y++)
            for (size_t x = 0; x < 12 / factor; x++) {
                double sum = 0;
                for (size_t b = 0; b < factor; b++)
                    for (size_t a = 0; a < factor; a++)
                        sum += get(source, factor * x + a, factor * y + b, 0);
                cr_expect_float_eq(get(out, x, y, 0), sum / (double)(factor * factor), 1e-7);
            }
        uf_picture_free(&out);
    }
    uf_picture_free(&source);
}

/* 3 to 2: the middle pixel is shared out, (2 a + b) / 3 and (b + 2 c) / 3. */
Test(remap_resize, broken_factors_share_pixels)
{
    UfPicture *source = make_picture(3, 1, 1, UF_SAMPLE_F32);
    set(source, 0, 0, 0, 0.125);
    set(source, 1, 0, 0, 0.5);
    set(source, 2, 0, 0, 0.75);
    UfPicture *out = resize(source, 2, 1, false, NULL);
    cr_expect_float_eq(get(out, 0, 0, 0), (2 * 0.125 + 0.5) / 3, 1e-7);
    cr_expect_float_eq(get(out, 1, 0, 0), (0.5 + 2 * 0.75) / 3, 1e-7);
    uf_picture_free(&source);
    uf_picture_free(&out);
}

Test(remap_resize, same_size_is_the_same)
{
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 3; channels += 2) {
            UfPicture *source = make_picture(21, 13, channels, all_samples[s]);
            fill_noise(source, 3);
            UfPicture *out = resize(source, 21, 13, false, NULL);
            cr_expect(same_bytes(source, out));
            uf_picture_free(&source);
            uf_picture_free(&out);
        }
}

/* Enlarging interpolates: quadratics come out exactly (Keys 1981), away from the replicated border. */
Test(remap_resize, enlarging_is_cubic)
{
    UfPicture *source = make_picture(8, 8, 1, UF_SAMPLE_F32);
    for (size_t y = 0; y < 8; y++)
        for (size_t x = 0; x < 8; x++)
            set(source, x, y, 0, 0.01 * (double)(x * x) + 0.02 * (double)(x * y));
    UfPicture *out = resize(source, 24, 16, false, NULL);
    for (size_t y = 4; y < 12; y++)
        for (size_t x = 6; x < 18; x++) {
            double sx = ((double)x + 0.5) / 3 - 0.5, sy = ((double)y + 0.5) / 2 - 0.5;
            cr_expect_float_eq(get(out, x, y, 0), 0.01 * sx * sx + 0.02 * sx * sy, 1e-6);
        }
    uf_picture_free(&source);
    uf_picture_free(&out);
}

/* Turning a wrapping picture before or after enlarging it is the same; without wrapping it is not. */
Test(remap_resize, wrapping_meets_at_the_seam)
{
    UfPicture *source = make_picture(16, 8, 2, UF_SAMPLE_U16),
              *turned = make_picture(16, 8, 2, UF_SAMPLE_U16);
    fill_noise(source, 77);
    for (size_t y = 0; y < 8; y++)
        for (size_t x = 0; x < 16; x++)
            for (size_t c = 0; c < 2; c++)
                set(turned, x, y, c, get(source, (x + 5) % 16, y, c));
    for (size_t width = 8; width <= 48; width += 40) {
        UfPicture *a = resize(source, width == 8 ? 16 : width, width / 2, true, NULL);
        UfPicture *b = resize(turned, width == 8 ? 16 : width, width / 2, true, NULL);
        size_t wide = uf_picture_width_px(a), shift = 5 * wide / 16;
        for (size_t y = 0; y < uf_picture_height_px(a); y++)
            for (size_t x = 0; x < wide; x++)
                for (size_t c = 0; c < 2; c++)
                    cr_assert_float_eq(get(b, x, y, c), get(a, (x + shift) % wide, y, c), 1);
        uf_picture_free(&a);
        uf_picture_free(&b);
    }
    uf_picture_free(&source);
    uf_picture_free(&turned);
}

/* T. Porter and T. Duff, SIGGRAPH '84. */
Test(remap_resize, transparent_pixels_lend_no_colour)
{
    UfPicture *source = make_picture(4, 2, 4, UF_SAMPLE_U8);
    for (size_t y = 0; y < 2; y++)
        for (size_t x = 0; x < 4; x++) {
            const double red[4] = {255, 0, 0, 255}, green[4] = {0, 255, 0, 0};
            for (size_t c = 0; c < 4; c++)
                set(source, x, y, c, x % 2 == 0 ? red[c] : green[c]);
        }
    UfPicture *out = resize(source, 2, 1, false, NULL);
    for (size_t x = 0; x < 2; x++) {
        cr_expect_eq(get(out, x, 0, 0), 255);
        cr_expect_eq(get(out, x, 0, 1), 0);
        cr_expect_eq(get(out, x, 0, 3), 128);
    }
    uf_picture_free(&source);
    uf_picture_free(&out);
}

Test(remap_resize, constant_pictures_stay_constant)
{
    const size_t sizes[][2] = {{1, 1}, {7, 3}, {40, 20}, {33, 50}, {100, 2}};
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
                double max = sample_max(all_samples[s]);
                double pixel[4] = {floor(max * 0.37), floor(max * 0.81), floor(max * 0.04), floor(max * 0.6)};
                if (all_samples[s] == UF_SAMPLE_F32)
                    pixel[0] = 0.37, pixel[1] = 0.81, pixel[2] = 1.7, pixel[3] = 0.6;
                UfPicture *source = make_picture(34, 17, channels, all_samples[s]);
                fill(source, pixel);
                UfPicture *out = resize(source, sizes[i][0], sizes[i][1], i % 2 == 0, NULL);
                UfPicture *expected = make_picture(sizes[i][0], sizes[i][1], channels, all_samples[s]);
                fill(expected, pixel);
                cr_expect_leq(largest_difference(out, expected), all_samples[s] == UF_SAMPLE_F32 ? 2e-7 : 0,
                              "type %d, %zu channels, size %zu", all_samples[s], channels, i);
                uf_picture_free(&source);
                uf_picture_free(&out);
                uf_picture_free(&expected);
            }
}

Test(remap_resize, threads_never_change_the_result)
{
    UfPicture *source = make_picture(200, 100, 3, UF_SAMPLE_U8);
    fill_noise(source, 1);
    UfPicture *one = resize(source, 77, 131, true, &(UfRemapOptions){.threads = 1});
    UfPicture *seven = resize(source, 77, 131, true, &(UfRemapOptions){.threads = 7});
    cr_expect(same_bytes(one, seven));
    uf_picture_free(&source);
    uf_picture_free(&one);
    uf_picture_free(&seven);
}

Test(remap_resize, nonsense_is_refused)
{
    UfPicture *source = make_picture(4, 2, 3, UF_SAMPLE_U8), *out = NULL;
    cr_expect_neq(uf_resize(source, 0, 2, false, NULL, &out, NULL), UF_OK);
    cr_expect_neq(uf_resize(source, 2, (size_t)1 << 50, false, NULL, &out, NULL), UF_OK);
    cr_expect_neq(uf_resize(NULL, 2, 2, false, NULL, &out, NULL), UF_OK);
    cr_expect_neq(uf_resize(source, 2, 2, false, &(UfRemapOptions){.threads = -3}, &out, NULL), UF_OK);
    cr_expect_null(out);
    uf_picture_free(&source);
}

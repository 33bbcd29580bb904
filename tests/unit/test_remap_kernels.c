/* The sampling kernels alone, against hand-computed values and against the plain formula. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "remap/arctangent.h"
#include "remap/kernels.h"

/* R. G. Keys, IEEE Trans. ASSP 29(6), 1153-1160 (1981), a = -1/2, evaluated by hand at these places. */
Test(remap_kernels, keys_weights)
{
    const struct {
        double t, weights[4];
    } table[] = {
        {0, {0, 1, 0, 0}},
        {0.25, {-0.0703125, 0.8671875, 0.2265625, -0.0234375}},
        {0.5, {-0.0625, 0.5625, 0.5625, -0.0625}},
        {0.1, {-0.0405, 0.9765, 0.0685, -0.0045}},
        {0.75, {-0.0234375, 0.2265625, 0.8671875, -0.0703125}},
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        double weights[4];
        uf_keys_weights(table[i].t, weights);
        for (int k = 0; k < 4; k++)
            cr_expect_float_eq(weights[k], table[i].weights[k], 1e-15, "t %g tap %d: %.17g", table[i].t, k,
                               weights[k]);
    }
}

/* Keys 1981: with a = -1/2 the interpolation reproduces every quadratic. */
Test(remap_kernels, quadratics_are_reproduced)
{
    for (double t = 0; t < 1; t += 0.0625) {
        double weights[4], sum = 0, value = 0;
        uf_keys_weights(t, weights);
        for (int k = 0; k < 4; k++) {
            double x = k - 1;
            sum += weights[k];
            value += weights[k] * (3 * x * x - 2 * x + 1);
        }
        cr_expect_float_eq(sum, 1, 1e-15);
        cr_expect_float_eq(value, 3 * t * t - 2 * t + 1, 1e-14, "t %g", t);
    }
}

static float flat_pixels[8 * 8];

static UfSource flat_source(void)
{
    return (UfSource){.data = (const uint8_t *)flat_pixels,
                      .stride_bytes = 8 * sizeof(float),
                      .width_px = 8,
                      .height_px = 8};
}

Test(remap_kernels, quadratic_surface_through_the_kernel)
{
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_F32, 1, false, 0);
    for (int y = 0; y < 8; y++)
        for (int x = 0; x < 8; x++)
            flat_pixels[8 * y + x] = (float)(0.5 * x * x - y * y + 3 * x * y + x);
    UfSource source = flat_source();
    for (double y = 1; y <= 6; y += 0.375)
        for (double x = 1; x <= 6; x += 0.3125) {
            double x_px = x + 0.5, y_px = y + 0.5;
            float value;
            kernels.bicubic(&source, &x_px, &y_px, 1, &value);
            cr_expect_float_eq((double)value, 0.5 * x * x - y * y + 3 * x * y + x, 1e-5, "%g %g", x, y);
        }
}

/* The step 0 0 1 1 at t = 1/4: -0.0234375 + 0.2265625. */
Test(remap_kernels, step_at_a_quarter)
{
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_F32, 1, false, 0);
    for (int i = 0; i < 64; i++)
        flat_pixels[i] = i % 8 >= 4 ? 1 : 0;
    UfSource source = flat_source();
    double x_px = 3.75, y_px = 4.3;
    float cubic, linear;
    kernels.bicubic(&source, &x_px, &y_px, 1, &cubic);
    kernels.bilinear(&source, &x_px, &y_px, 1, &linear);
    cr_expect_float_eq((double)cubic, 0.203125, 1e-7);
    cr_expect_float_eq((double)linear, 0.25, 1e-7);
}

Test(remap_kernels, integers_round_and_clamp)
{
    const uint8_t pixels[4] = {0, 0, 255, 255};
    UfSource source = {.data = pixels, .stride_bytes = 4, .width_px = 4, .height_px = 1};
    const double x_px[4] = {1.75, 2, 1.5, 2.75}, y_px[4] = {0.5, 0.5, 0.5, 0.5};
    uint8_t cubic[4], linear[4];
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_U8, 1, false, 0);
    kernels.bicubic(&source, x_px, y_px, 4, cubic);
    kernels.bilinear(&source, x_px, y_px, 4, linear);
    cr_expect_eq(cubic[0], 52, "0.203125 * 255 = 51.8, not %d", cubic[0]);
    cr_expect_eq(linear[0], 64, "0.25 * 255 = 63.75, not %d", linear[0]);
    cr_expect_eq(linear[1], 128, "halves go up");
    cr_expect_eq(cubic[2], 0);
    cr_expect_eq(cubic[3], 255, "overshoot is clamped");
}

/* T. Porter and T. Duff, SIGGRAPH '84: halfway between opaque red and transparent green lies half-covered
 * red. */
Test(remap_kernels, alpha_is_premultiplied)
{
    const uint8_t pixels[8] = {255, 0, 0, 255, 0, 255, 0, 0};
    UfSource source = {.data = pixels,
                       .stride_bytes = 8,
                       .width_px = 2,
                       .height_px = 1,
                       .wraps = true,
                       .over_top = true,
                       .over_bottom = true};
    const double x_px = 1, y_px = 0.5;
    uint8_t out[4];
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_U8, 4, false, 0);
    kernels.bilinear(&source, &x_px, &y_px, 1, out);
    cr_expect_arr_eq(out, ((uint8_t[4]){255, 0, 0, 128}), 4);
    kernels.bicubic(&source, &x_px, &y_px, 1, out);
    cr_expect_arr_eq(out, ((uint8_t[4]){255, 0, 0, 128}), 4);
}

/* Across the pole lies the opposite meridian: row -1 is row 0 shifted by half the width. */
Test(remap_kernels, taps_go_on_over_the_poles)
{
    const double pixels[2][6] = {{10, 20, 30, 40, 50, 60}, {1, 2, 3, 4, 5, 6}};
    float data[12];
    for (int i = 0; i < 12; i++)
        data[i] = (float)pixels[i / 6][i % 6];
    UfSource source = {.data = (const uint8_t *)data,
                       .stride_bytes = 6 * sizeof(float),
                       .width_px = 6,
                       .height_px = 2,
                       .wraps = true,
                       .over_top = true,
                       .over_bottom = true};
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_F32, 1, false, 0);
    for (int x = 0; x < 6; x++) {
        double x_px = x + 0.5, top = 0, bottom = 2;
        float value;
        kernels.bilinear(&source, &x_px, &top, 1, &value);
        cr_expect_float_eq((double)value, (pixels[0][x] + pixels[0][(x + 3) % 6]) / 2, 1e-6);
        kernels.bilinear(&source, &x_px, &bottom, 1, &value);
        cr_expect_float_eq((double)value, (pixels[1][x] + pixels[1][(x + 3) % 6]) / 2, 1e-6);
        kernels.bicubic(&source, &x_px, &top, 1, &value);
        double near = pixels[0][x] + pixels[0][(x + 3) % 6], far = pixels[1][x] + pixels[1][(x + 3) % 6];
        cr_expect_float_eq((double)value, 0.5625 * near - 0.0625 * far, 1e-5);
    }
}

/* Odd widths: the opposite meridian runs between two pixels. */
Test(remap_kernels, odd_width_over_the_pole)
{
    const float data[3] = {3, 6, 12};
    UfSource source = {.data = (const uint8_t *)data,
                       .stride_bytes = sizeof data,
                       .width_px = 3,
                       .height_px = 1,
                       .wraps = true,
                       .over_top = true,
                       .over_bottom = true};
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_F32, 1, false, 0);
    double x_px = 0.5, y_px = 0;
    float value;
    kernels.bilinear(&source, &x_px, &y_px, 1, &value);
    cr_expect_float_eq((double)value, (3 + (6 + 12) / 2.0) / 2, 1e-6);
}

/* The short way through the middle of a picture and the long way round its edges give the same numbers. */
Test(remap_kernels, edges_agree_with_the_middle)
{
    enum { SIDE = 24, CHANNELS = 4 };
    static uint8_t small[8 * 8 * CHANNELS], large[SIDE * SIDE * CHANNELS];
    uint32_t state = 5;
    for (size_t i = 0; i < sizeof small; i++)
        small[i] = (uint8_t)((state = state * 1664525u + 1013904223u) >> 24);
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) { /* replicated edges, in x and y */
            int sx = x < 8 ? 0 : x > 15 ? 7 : x - 8, sy = y < 8 ? 0 : y > 15 ? 7 : y - 8;
            memcpy(large + (y * SIDE + x) * CHANNELS, small + (sy * 8 + sx) * CHANNELS, CHANNELS);
        }
    UfSource near = {.data = small, .stride_bytes = 8 * CHANNELS, .width_px = 8, .height_px = 8};
    UfSource far = {.data = large, .stride_bytes = SIDE * CHANNELS, .width_px = SIDE, .height_px = SIDE};
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_U8, CHANNELS, false, 0);
    for (double y = 0.5; y <= 7.5; y += 0.21)
        for (double x = 0.5; x <= 7.5; x += 0.19) {
            double x_far = x + 8, y_far = y + 8;
            uint8_t a[4], b[4];
            kernels.bicubic(&near, &x, &y, 1, a);
            kernels.bicubic(&far, &x_far, &y_far, 1, b);
            cr_assert_arr_eq(a, b, 4, "%g %g", x, y);
        }
}

Test(remap_kernels, nothing_is_read_where_nothing_is_seen)
{
    const uint16_t pixels[2] = {500, 600};
    UfSource source = {.data = (const uint8_t *)pixels, .stride_bytes = 4, .width_px = 2, .height_px = 1};
    const double x_px[5] = {NAN, -0.01, 2.01, 1, 1}, y_px[5] = {0.5, 0.5, 0.5, -0.01, NAN};
    UfKernels kernels;
    uf_kernels_init(&kernels, UF_SAMPLE_U16, 1, true, 0);
    UfSampleRun *const runs[3] = {kernels.nearest, kernels.bilinear, kernels.bicubic};
    for (int r = 0; r < 3; r++) {
        uint16_t out[10];
        memset(out, 0xff, sizeof out);
        runs[r](&source, x_px, y_px, 5, out);
        for (int i = 0; i < 10; i++)
            cr_expect_eq(out[i], 0);
    }
}

/* Against the C library's atan2, all round and at the axes. */
Test(remap_kernels, arctangent)
{
    double largest = 0;
    for (int i = -20000; i <= 20000; i++) {
        double angle = i * UF_PI / 20000, size = 0.001 + (i & 7);
        double y = size * sin(angle), x = size * cos(angle);
        largest = fmax(largest, fabs(uf_atan2(y, x) - atan2(y, x)));
    }
    cr_expect_leq(largest, 2e-14, "%g", largest);
    cr_expect_eq(uf_atan2(0, 0), 0);
    cr_expect_float_eq(uf_atan2(0, -1), UF_PI, 1e-15);
    cr_expect_float_eq(uf_atan2(-3, 0), -UF_PI / 2, 1e-15);
    cr_expect(isnan(uf_atan2(NAN, 1)));
}

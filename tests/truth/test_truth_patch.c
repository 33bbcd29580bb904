/* The patch against published values and against lcms2. */
#include <criterion/criterion.h>
#include <lcms2.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include <underfoot/patch.h>

#include "patch/over.h"
#include "patch/poisson.h"

/*
 * A disc of radius r, d below the entrance pupil, hides the half-angle atan(r/d); cap in degrees times H/180
 * rows are covered. A row is covered when its centre is.
 */
Test(truth_patch, caps_in_rows)
{
    const struct {
        size_t height;
        double cap_deg, first_row_edge;
    } rows[] = {
        {2048, 22.619864948, 1790.636203}, /* atan(50/120) */
        {4096, 16.260205, 3725.990002},    /* equisolid 15 mm, portrait 36 mm: 90 - asin-based field, half */
        {8192, 5.846824, 7925.904543},
    };
    for (size_t i = 0; i < 3; i++) {
        UfPicture *picture = NULL;
        UfPatchResult result;
        cr_assert_eq(uf_picture_create(2 * rows[i].height, rows[i].height, 1, UF_SAMPLE_U8, &picture, NULL),
                     UF_OK);
        UfPatchOptions options = {
            .fill = UF_FILL_COLOUR, .cap_rad = uf_radians(rows[i].cap_deg), .colour = {1, 1, 1}};
        cr_assert_eq(uf_patch(picture, &options, NULL, &result, NULL), UF_OK);
        size_t first = (size_t)ceil(rows[i].first_row_edge - 0.5);
        cr_assert_eq(result.first_row_px, first);
        cr_assert_eq(((uint8_t *)uf_picture_row(picture, first))[5], 255);
        cr_assert_eq(((uint8_t *)uf_picture_row(picture, first - 1))[5], 0);
        uf_picture_free(&picture);
    }
}

/* T. Porter, T. Duff, Compositing Digital Images, SIGGRAPH 84: "over", straight alpha. Float is linear light.
 */
Test(truth_patch, porter_duff_over)
{
    const struct {
        float a[3], alpha_a, b[3], alpha_b;
        double alpha, c[3];
    } rows[] = {
        {{1, 0, 0}, 0.5F, {0, 0, 1}, 1, 1, {0.5, 0, 0.5}},
        {{1, 0, 0}, 0.5F, {0, 0, 1}, 0.5F, 0.75, {0.6666666667, 0, 0.3333333333}},
        {{.2F, .4F, .6F}, .25F, {.8F, .6F, .4F}, .75F, .8125, {.6153846154, .5384615385, .4615384615}},
        {{1, 1, 1}, 0, {.3F, .3F, .3F}, 1, 1, {.3, .3, .3}},
        {{1, 1, 1}, 1, {.3F, .3F, .3F}, .4F, 1, {1, 1, 1}},
        {{.5F, .5F, .5F}, .5F, {.9F, .1F, .7F}, 0, .5, {.5, .5, .5}},
    };
    UfPicture *linear = NULL;
    UfTransfer *transfer = NULL;
    cr_assert_eq(uf_picture_create(2, 2, 3, UF_SAMPLE_F32, &linear, NULL), UF_OK);
    cr_assert_eq(uf_transfer_create(linear, &transfer, NULL), UF_OK);
    for (size_t i = 0; i < 6; i++) {
        float under[3] = {rows[i].b[0], rows[i].b[1], rows[i].b[2]}, alpha = rows[i].alpha_b;
        uf_over(transfer, rows[i].a, &rows[i].alpha_a, under, &alpha, 1, 3);
        cr_assert_float_eq(alpha, rows[i].alpha, 1e-6);
        for (size_t c = 0; c < 3; c++)
            cr_assert_float_eq(under[c], rows[i].c[c], 1e-6, "row %zu", i);
    }
    uf_transfer_free(&transfer);
    uf_picture_free(&linear);
}

/* IEC 61966-2-1: the mean of two codes in linear light, encoded again. */
Test(truth_patch, srgb_codes_mix_in_linear_light)
{
    UfPicture *srgb = NULL;
    UfTransfer *transfer = NULL;
    cr_assert_eq(uf_picture_create(2, 2, 1, UF_SAMPLE_U8, &srgb, NULL), UF_OK);
    cr_assert_eq(uf_transfer_create(srgb, &transfer, NULL), UF_OK);
    const double mixes[][3] = {{50, 200, 149.944}, {0, 255, 187.516}};
    for (size_t i = 0; i < 2; i++) {
        float over = (float)(mixes[i][1] / 255), under = (float)(mixes[i][0] / 255), alpha = 1, half = 0.5F;
        uf_over(transfer, &over, &half, &under, &alpha, 1, 1);
        cr_assert_float_eq(under * 255, mixes[i][2], 0.02);
    }
    uf_transfer_free(&transfer);
    uf_picture_free(&srgb);
}

/* IEC 61966-2-1 */
static double light_of(double v)
{
    return v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
}

static double code_of(double light)
{
    return light <= 0.0031308 ? light * 12.92 : 1.055 * pow(light, 1 / 2.4) - 0.055;
}

/* A long row in which what is seen through, what hides and what is not there follow each other in runs of
 * every length: each pixel by Porter and Duff's formula. */
Test(truth_patch, over_takes_a_row_pixel_by_pixel)
{
    enum { N = 2000 };
    UfPicture *srgb = NULL;
    UfTransfer *transfer = NULL;
    float over[3 * N], over_alpha[N], under[3 * N], under_alpha[N], before[3 * N], before_alpha[N];
    cr_assert_eq(uf_picture_create(2, 2, 3, UF_SAMPLE_U8, &srgb, NULL), UF_OK);
    cr_assert_eq(uf_transfer_create(srgb, &transfer, NULL), UF_OK);
    for (size_t x = 0; x < N; x++) {
        bool is_hidden = x * x / 700 % 3 == 1;
        over_alpha[x] = is_hidden ? 1 : x * x / 700 % 5 == 2 ? 0 : (float)(x * 37 % 101) / 101;
        under_alpha[x] = x / 90 % 4 == 3 ? 0 : x < 1200 ? 1 : (float)(x * 53 % 97) / 97;
        for (size_t c = 0; c < 3; c++) {
            over[3 * x + c] = (float)((3 * x + c) * 71 % 257) / 256;
            under[3 * x + c] = (float)((3 * x + c) * 113 % 263) / 262;
        }
    }
    memcpy(before, under, sizeof before);
    memcpy(before_alpha, under_alpha, sizeof before_alpha);
    uf_over(transfer, over, over_alpha, under, under_alpha, N, 3);
    for (size_t x = 0; x < N; x++) {
        double a = over_alpha[x], b = before_alpha[x], alpha = a + b * (1 - a);
        cr_assert_float_eq(under_alpha[x], alpha, 1e-6, "pixel %zu", x);
        for (size_t i = 3 * x; i < 3 * x + 3; i++) {
            double light = (a * light_of(over[i]) + b * (1 - a) * light_of(before[i])) / alpha;
            if (a <= 0 || a >= 1)
                cr_assert_eq(under[i], a >= 1 ? over[i] : before[i], "pixel %zu", x);
            else
                cr_assert_float_eq(under[i], code_of(light), 1e-5, "pixel %zu", x);
        }
    }
    uf_transfer_free(&transfer);
    uf_picture_free(&srgb);
}

/* A wide-gamut matrix profile: Adobe RGB (1998) chromaticities and gamma, from memory. */
static cmsHPROFILE wide_profile(void)
{
    cmsCIExyY white = {0.3127, 0.3290, 1};
    cmsCIExyYTRIPLE primaries = {{0.64, 0.33, 1}, {0.21, 0.71, 1}, {0.15, 0.06, 1}};
    cmsToneCurve *gamma = cmsBuildGamma(NULL, 2.19921875);
    cmsToneCurve *curves[3] = {gamma, gamma, gamma};
    cmsHPROFILE profile = cmsCreateRGBProfile(&white, &primaries, curves);
    cmsFreeToneCurve(gamma);
    return profile;
}

static void attach(UfPicture *picture, cmsHPROFILE profile)
{
    cmsUInt32Number size = 0;
    cr_assert(cmsSaveProfileToMem(profile, NULL, &size));
    void *data = malloc(size);
    cr_assert(cmsSaveProfileToMem(profile, data, &size));
    cr_assert_eq(uf_picture_set_icc(picture, data, size, NULL), UF_OK);
    free(data);
}

/* lcms2 says what a logo's colours become in the panorama's profile, both ways round. */
Test(truth_patch, logo_lands_in_the_panoramas_profile)
{
    const uint8_t colours[][3] = {
        {200, 30, 40}, {20, 180, 60}, {40, 60, 220}, {128, 128, 128}, {250, 240, 20}};
    cmsHPROFILE wide = wide_profile(), srgb = cmsCreate_sRGBProfile();
    for (int is_wide_logo = 0; is_wide_logo <= 1; is_wide_logo++) {
        cmsHTRANSFORM transform = cmsCreateTransform(
            is_wide_logo ? wide : srgb, TYPE_RGB_8, is_wide_logo ? srgb : wide, TYPE_RGB_8,
            INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_BLACKPOINTCOMPENSATION | cmsFLAGS_NOOPTIMIZE);
        for (size_t i = 0; i < 5; i++) {
            UfPicture *logo = NULL, *panorama = NULL;
            cr_assert_eq(uf_picture_create(16, 16, 3, UF_SAMPLE_U8, &logo, NULL), UF_OK);
            cr_assert_eq(uf_picture_create(256, 128, 3, UF_SAMPLE_U8, &panorama, NULL), UF_OK);
            for (size_t y = 0; y < 16; y++)
                for (size_t x = 0; x < 48; x++)
                    ((uint8_t *)uf_picture_row(logo, y))[x] = colours[i][x % 3];
            attach(is_wide_logo ? logo : panorama, wide);
            UfPatchOptions options = {.fill = UF_FILL_NONE, .logo = logo, .logo_cap_rad = uf_radians(30)};
            cr_assert_eq(uf_patch(panorama, &options, NULL, NULL, NULL), UF_OK);
            uint8_t expected[3];
            cmsDoTransform(transform, colours[i], expected, 1);
            const uint8_t *row = uf_picture_row_const(panorama, 125);
            for (int c = 0; c < 3; c++)
                cr_assert(abs(row[60 + c] - expected[c]) <= 1, "colour %zu channel %d: %d, lcms2 says %d", i,
                          c, row[60 + c], expected[c]);
            uf_picture_free(&logo);
            uf_picture_free(&panorama);
        }
        cmsDeleteTransform(transform);
    }
    cmsCloseProfile(wide);
    cmsCloseProfile(srgb);
}

static void solve(size_t w, size_t h, const uint8_t *hole, const double *u, const double *f, double *out)
{
    float *u4 = calloc(w * h, 4 * sizeof *u4), *f4 = calloc(w * h, 4 * sizeof *f4);
    for (size_t i = 0; i < w * h; i++)
        for (size_t c = 0; c < 4; c++) {
            u4[4 * i + c] = (float)u[i] * (float)(c + 1);
            f4[4 * i + c] = (float)f[i] * (float)(c + 1);
        }
    cr_assert_eq(uf_poisson_solve(w, h, hole, u4, f4, 30, 2, NULL), UF_OK);
    for (size_t i = 0; i < w * h; i++) {
        out[i] = u4[4 * i];
        cr_assert_float_eq(u4[4 * i + 3], 4 * out[i], 1e-3 * fabs(out[i]) + 1e-3,
                           "the values are solved apart");
    }
    free(u4);
    free(f4);
}

/*
 * Perez et al. 2003 in one dimension: the source 0, 5, 3, 8, 4 pasted between 10 and 30 becomes 19, 21, 30,
 * worked by hand from the second differences of the source.
 */
Test(truth_patch, poisson_in_one_dimension)
{
    const double u[5] = {10, 0, 0, 0, 30}, g[5] = {0, 5, 3, 8, 4};
    double f[5] = {0}, out[5];
    const uint8_t hole[5] = {0, 1, 1, 1, 0};
    for (size_t i = 1; i < 4; i++)
        f[i] = g[i - 1] - 2 * g[i] + g[i + 1];
    solve(5, 1, hole, u, f, out);
    const double expected[5] = {10, 19, 21, 30, 30};
    for (size_t i = 0; i < 5; i++)
        cr_assert_float_eq(out[i], expected[i], 1e-4);
}

/* The hot plate of every textbook: 3 x 3 inside, one side at 100, the others at 0. */
Test(truth_patch, poisson_hot_plate)
{
    double u[25] = {0}, f[25] = {0}, out[25];
    uint8_t hole[25] = {0};
    for (size_t x = 0; x < 5; x++)
        u[x] = 100;
    for (size_t y = 1; y < 4; y++)
        for (size_t x = 1; x < 4; x++)
            hole[5 * y + x] = 1;
    solve(5, 5, hole, u, f, out);
    const double expected[3][3] = {
        {42.85714286, 52.67857143, 42.85714286}, {18.75, 25, 18.75}, {7.14285714, 9.82142857, 7.14285714}};
    for (size_t y = 0; y < 3; y++)
        for (size_t x = 0; x < 3; x++)
            cr_assert_float_eq(out[5 * (y + 1) + x + 1], expected[y][x], 1e-4);
}

/* x^2 - y^2 is harmonic for the five-point stencil too, so any hole in it comes back; also one of odd shape.
 */
Test(truth_patch, poisson_restores_harmonic_functions)
{
    enum { N = 120 };
    double *u = malloc(N * N * sizeof *u), *f = calloc(N * N, sizeof *f), *out = malloc(N * N * sizeof *out);
    uint8_t *hole = calloc(N * N, 1);
    for (int y = 0; y < N; y++)
        for (int x = 0; x < N; x++) {
            double a = x - 59.5, b = y - 59.5;
            bool is_hole =
                (hypot(a, b) < 50 && hypot(a - 20, b) > 9) || (x > 10 && x < 14 && y > 2 && y < 110);
            hole[y * N + x] = is_hole;
            u[y * N + x] = is_hole ? 0 : (a * a - b * b) / 3600;
        }
    solve(N, N, hole, u, f, out);
    for (int y = 0; y < N; y++)
        for (int x = 0; x < N; x++) {
            double a = x - 59.5, b = y - 59.5;
            cr_assert_float_eq(out[y * N + x], (a * a - b * b) / 3600, 2e-5);
        }
    free(u);
    free(f);
    free(out);
    free(hole);
}

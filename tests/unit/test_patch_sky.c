/*
 * Skies: the smooth fill goes on with the slope that the sky has at its edge.
 *
 * The truth is computed: luminance distributions of CIE S 011/E:2003 (ISO 15469:2004), Spatial Distribution
 * of Daylight, relative to the zenith L = f(chi) phi(Z) / (f(Zs) phi(0)), phi(Z) = 1 + a exp(b / cos Z),
 *     f(chi) = 1 + c (exp(d chi) - exp(d pi/2)) + e cos^2 chi,
 * Z the angle from the zenith, chi that from the sun. Form and parameters from memory: type 1 (overcast) a 4,
 * b -0.7, c 0, d -1, e 0; type 5 (uniform) a 0, b -1, c 0; type 12 (clear) a -1, b -0.32, c 10, d -3, e 0.45.
 */
#include "test_patch_support.h"

#include "picture/picture_internal.h"

typedef struct SkyType {
    const char *name;
    double a, b, c, d, e;
} SkyType;

static const SkyType overcast = {"overcast", 4, -0.7, 0, -1, 0};
static const SkyType clear_sky = {"clear", -1, -0.32, 10, -3, 0.45};

static double luminance(const SkyType *sky, UfDirection at, UfDirection sun)
{
    double cosine = fmax(at.y, 0.02), chi = uf_angle_between_rad(at, sun);
    double gradation = 1 + sky->a * exp(sky->b / cosine);
    return gradation *
           (1 + sky->c * (exp(sky->d * chi) - exp(sky->d * UF_PI / 2)) + sky->e * pow(cos(chi), 2));
}

/* IEC 61966-2-1 */
static double encoded(double light)
{
    light = fmin(fmax(light, 0), 1);
    return light <= 0.0031308 ? 12.92 * light : 1.055 * pow(light, 1 / 2.4) - 0.055;
}

/* `most` is the luminance that is white. The colours are tints of the one luminance; nadir: upside down. */
static UfPicture *make_sky(const SkyType *sky, double sun_deg, double most, size_t width, size_t channels,
                           UfSample sample, bool up)
{
    UfPicture *picture = make_picture(width, width / 2, channels, sample);
    UfDirection sun = uf_direction_from_lonlat((UfLonLat){uf_radians(50), uf_radians(sun_deg)});
    const double tint[3] = {0.7, 0.85, 1};
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++) {
            UfLonLat at = {(((double)x + 0.5) / (double)width - 0.5) * 2 * UF_PI,
                           (0.5 - ((double)y + 0.5) / (double)(width / 2)) * UF_PI * (up ? 1 : -1)};
            double light = luminance(sky, uf_direction_from_lonlat(at), sun) / most;
            for (size_t c = 0; c < channels; c++)
                set(picture, x, y, c,
                    channels % 2 == 0 && c == channels - 1 ? 1
                                                           : encoded(light * (channels >= 3 ? tint[c] : 1)));
        }
    return picture;
}

/* The cap and its soft edge painted over with what no sky has. */
static UfPicture *blotted(const UfPicture *truth, double cap_deg, bool up)
{
    UfPicture *picture = copy_picture(truth);
    size_t height = uf_picture_height_px(truth), rows = (size_t)(cap_deg / 180 * (double)height);
    for (size_t y = 0; y < rows; y++)
        memset(uf_picture_row(picture, up ? y : height - 1 - y), 0x11, uf_picture_stride_bytes(picture));
    return picture;
}

/* Worst error of 255 that the fill leaves. */
static double worst_of(const UfPicture *truth, double cap_deg, bool up)
{
    UfPicture *picture = blotted(truth, cap_deg, up);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, cap_deg, 1);
    options.at_zenith = up;
    patch(picture, &options);
    double worst = 255 * largest_difference(truth, picture);
    uf_picture_free(&picture);
    return worst;
}

/* A harmonic fill alone was off by 0.7, 2.5, 9.9 and 26 of 255 on the clear sky. */
Test(patch_sky, clear_and_overcast_keep_their_slope)
{
    const double caps[] = {6, 12, 25, 40}, most[] = {0.1, 0.15, 0.5, 4};
    for (int clear = 0; clear <= 1; clear++) {
        UfPicture *truth = make_sky(clear != 0 ? &clear_sky : &overcast, 20, clear != 0 ? 2 : 3.2, 1024, 3,
                                    UF_SAMPLE_F32, true);
        for (size_t i = 0; i < 4; i++) {
            double worst = worst_of(truth, caps[i], true);
            cr_assert(worst < most[i], "%s, cap %g: %.3f", clear != 0 ? "clear" : "overcast", caps[i], worst);
        }
        uf_picture_free(&truth);
    }
}

Test(patch_sky, all_depths_channels_and_poles)
{
    const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++) {
            bool up = (s + channels) % 2 == 0;
            UfPicture *truth = make_sky(&clear_sky, 20, 2, 512, channels, samples[s], up);
            double worst = worst_of(truth, 20, up);
            cr_assert(worst < (s == 0 ? 2.01 : 0.5), "sample %zu, %zu channels: %.3f", s, channels, worst);
            uf_picture_free(&truth);
        }
}

/* Tiles of two greys have no slope: the pole stays at their mean. */
Test(patch_sky, tiles_leave_no_slope)
{
    UfPicture *picture = make_picture(1024, 512, 1, UF_SAMPLE_U8);
    for (size_t y = 0; y < 512; y++)
        for (size_t x = 0; x < 1024; x++) {
            double angle = ((double)y + 0.5) / 512 * UF_PI, lon = ((double)x + 0.5) / 1024 * 2 * UF_PI;
            double reach = fmin(tan(fmin(UF_PI - angle, 1.4)), 5);
            int tile = (int)floor(reach * cos(lon) / 0.15) + (int)floor(reach * sin(lon) / 0.15);
            set(picture, x, y, 0, tile % 2 != 0 ? 0.7 : 0.3);
        }
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 25, 1);
    patch(picture, &options);
    cr_assert(fabs(get(picture, 100, 511, 0) - 0.5) < 0.06, "%g", get(picture, 100, 511, 0));
    uf_picture_free(&picture);
}

static void scribble(UfPicture *picture, size_t first, size_t end)
{
    for (size_t y = first; y < end; y++)
        for (size_t x = 0; x < uf_picture_stride_bytes(picture); x++)
            ((uint8_t *)uf_picture_row(picture, y))[x] = (uint8_t)(x * 97 + y * 57);
}

/* What uf_patch_rows_needed leaves out can be anything, and what is replaced, too: the result is the same. */
Test(patch_sky, looks_at_the_rows_needed_and_no_others)
{
    const UfFill fills[] = {UF_FILL_FLOOR, UF_FILL_SMOOTH, UF_FILL_COLOUR, UF_FILL_NONE};
    const double caps[] = {3, 20, 45};
    UfPicture *logo = make_picture(40, 30, 1, UF_SAMPLE_U8);
    for (size_t i = 0; i < 24; i++) {
        UfPicture *whole = read_picture(SUN), *part = copy_picture(whole);
        UfPatchOptions options = options_of(fills[i % 4], caps[i / 8], 1.5);
        options.at_zenith = i / 4 % 2 != 0;
        options.logo = fills[i % 4] == UF_FILL_NONE ? logo : NULL;
        size_t first = 0, end = 0, replaced_first = 0, replaced_end = 0;
        uf_patch_rows_needed(&options, 1024, 512, &first, &end);
        uf_patch_rows_replaced(&options, 1024, 512, &replaced_first, &replaced_end);
        cr_assert(first < end && end <= 512);
        if (fills[i % 4] == UF_FILL_SMOOTH ||
            fills[i % 4] == UF_FILL_COLOUR) /* all but one, and the soft edge */
            cr_expect_geq((double)(replaced_end - replaced_first), floor(caps[i / 8] / 180 * 512) - 1);
        else
            cr_expect_eq(replaced_end, 0);
        scribble(part, 0, first);
        scribble(part, end, 512);
        scribble(part, replaced_first, replaced_end);
        patch(whole, &options);
        patch(part, &options);
        for (size_t y = first; y < end; y++)
            cr_assert(same_row(whole, part, y), "fill %zu, cap %g, row %zu", i % 4, caps[i / 8], y);
        uf_picture_free(&whole);
        uf_picture_free(&part);
    }
    uf_picture_free(&logo);
}

/* Part of a picture of one channel: darker towards the pole, with a grain, the same each time. */
static UfPicture *make_far_rows(size_t width, size_t first, size_t end)
{
    UfPicture *picture = NULL;
    uint32_t state = 7;
    cr_assert_eq(uf_picture_create_part(width, width / 2, 1, UF_SAMPLE_U8, first, end, &picture, NULL),
                 UF_OK);
    for (size_t y = first; y < end; y++) {
        uint8_t *row = uf_picture_row(picture, y);
        for (size_t x = 0; x < width; x++) {
            state = state * 1664525u + 1013904223u;
            row[x] = (uint8_t)(90 + 60 * (y - first) / (end - first) + x * 20 / width + (state >> 30));
        }
    }
    return picture;
}

/* In a picture as large as this some of the far rows are not looked at, and can be anything. */
Test(patch_sky, looks_at_a_part_of_the_far_rows_of_large_pictures)
{
    const size_t width = 32768;
    for (int at_zenith = 0; at_zenith < 2; at_zenith++) {
        UfPatchOptions options = options_of(UF_FILL_SMOOTH, 2, 0.5);
        size_t first = 0, end = 0, passed = 0;
        options.at_zenith = at_zenith != 0;
        uf_patch_rows_needed(&options, width, width / 2, &first, &end);
        const UfSparseRows sparse = uf_patch_rows_sparse(&options, width, width / 2);
        UfPicture *whole = make_far_rows(width, first, end), *part = make_far_rows(width, first, end);
        cr_assert(sparse.period_px > 0 && sparse.first_px >= first && sparse.end_px <= end);
        for (size_t y = first; y < end; y++)
            if (uf_row_is_passed_over(&sparse, y)) {
                scribble(part, y, y + 1);
                passed++;
            }
        cr_expect_gt(passed, 30, "%zu", passed);
        patch(whole, &options);
        patch(part, &options);
        for (size_t y = first; y < end; y++)
            if (!uf_row_is_passed_over(&sparse, y))
                cr_assert(same_row(whole, part, y), "zenith %d, row %zu", at_zenith, y);
        uf_picture_free(&whole);
        uf_picture_free(&part);
    }
}

Test(patch_sky, all_rows_are_looked_at_in_smaller_pictures)
{
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 25, 1.5);
    cr_expect_eq(uf_patch_rows_sparse(&options, 16384, 8192).period_px, 0);
    options.fill = UF_FILL_COLOUR;
    cr_expect_eq(uf_patch_rows_sparse(&options, 65536, 32768).period_px, 0, "no belt is looked at");
}

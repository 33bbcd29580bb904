/* The patch as a whole: arguments, what may change and what may not, every kind of picture. */
#include "test_patch_support.h"

/* cap and feather 20 + 3 degrees at 1024 rows: centres within 23 degrees are the last 131 (23/180 * 1024 =
 * 130.8). */
Test(patch, changes_nothing_above_cap_and_feather)
{
    const UfFill fills[] = {UF_FILL_FLOOR, UF_FILL_SMOOTH, UF_FILL_COLOUR};
    UfPicture *before = read_picture(EARTH);
    for (size_t i = 0; i < 3; i++) {
        UfPicture *after = copy_picture(before);
        UfPatchOptions options = options_of(fills[i], 20, 3);
        UfPatchResult result = patch(after, &options);
        cr_assert_eq(result.first_row_px, 1024 - 131);
        cr_assert_eq(result.last_row_px, 1024);
        cr_assert_float_eq(result.cap_rad, uf_radians(20), 1e-12);
        for (size_t y = 0; y < result.first_row_px; y++)
            cr_assert(same_row(before, after, y), "fill %d changed row %zu", (int)fills[i], y);
        cr_assert_not(same_row(before, after, 1000), "fill %d changed nothing", (int)fills[i]);
        uf_picture_free(&after);
    }
    uf_picture_free(&before);
}

Test(patch, marks_what_it_touched)
{
    UfPicture *picture = read_picture(SUN);
    UfTouched *touched = NULL;
    UfPatchResult result;
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 12, 2);
    cr_assert_eq(uf_touched_create(1024, 512, &touched, NULL), UF_OK);
    cr_assert_eq(uf_patch(picture, &options, touched, &result, NULL), UF_OK);
    for (size_t x = 0; x < 1024; x += 8) {
        cr_assert(uf_touched_any(touched, x, result.first_row_px, x + 1, result.first_row_px + 1));
        cr_assert(uf_touched_any(touched, x, 511, x + 1, 512));
    }
    size_t cell = result.first_row_px / 8 * 8;
    cr_assert_not(uf_touched_any(touched, 0, 0, 1024, cell));
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

Test(patch, zenith_is_the_nadir_in_a_mirror)
{
    const UfFill fills[] = {UF_FILL_SMOOTH, UF_FILL_COLOUR};
    UfPicture *picture = read_picture(SUN);
    for (size_t i = 0; i < 2; i++) {
        UfPicture *down = copy_picture(picture);
        UfPicture *up = mirrored(picture);
        UfPatchOptions options = options_of(fills[i], 30, 5);
        patch(down, &options);
        options.at_zenith = true;
        UfPatchResult result = patch(up, &options);
        cr_assert_eq(result.first_row_px, 0);
        UfPicture *back = mirrored(up);
        cr_assert_eq(largest_difference(down, back), 0);
        uf_picture_free(&down);
        uf_picture_free(&up);
        uf_picture_free(&back);
    }
    uf_picture_free(&picture);
}

/* weight 1 - smoothstep in angle, in linear light: black under white at half the feather is half the light */
Test(patch, feather_fades_in_angle_and_in_linear_light)
{
    UfPicture *picture =
        make_picture(3600, 1800, 1, UF_SAMPLE_F32); /* 0.1 degrees a row; float is linear light */
    UfPatchOptions options = options_of(UF_FILL_COLOUR, 10, 6);
    for (int c = 0; c < 3; c++)
        options.colour[c] = 1;
    patch(picture, &options);
    for (size_t ring = 0; ring < 200; ring++) {
        double angle = (ring + 0.5) * 0.1;
        double t = fmin(1, fmax(0, (16 - angle) / 6));
        double expected = t * t * (3 - 2 * t);
        cr_assert_float_eq(get(picture, 7, 1799 - ring, 0), expected, 1e-4, "ring %zu", ring);
    }
    uf_picture_free(&picture);
}

Test(patch, covers_every_kind_of_picture)
{
    const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    const UfFill fills[] = {UF_FILL_FLOOR, UF_FILL_SMOOTH, UF_FILL_COLOUR};
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (size_t f = 0; f < 3; f++) {
                UfPicture *picture = make_picture(256, 128, channels, samples[s]);
                bool has_alpha = channels % 2 == 0;
                for (size_t y = 0; y < 128; y++)
                    for (size_t x = 0; x < 256; x++)
                        for (size_t c = 0; c < channels; c++) {
                            bool is_hole = (127.5 - (double)y) * 180 / 128 < 24;
                            double texture = 0.4 + 0.1 * (double)((x / 4 + y / 2) % 3);
                            bool is_alpha = has_alpha && c == channels - 1;
                            set(picture, x, y, c, is_alpha ? !is_hole : is_hole ? 0 : texture);
                        }
                UfPatchOptions options = options_of(fills[f], 25, 4);
                cr_assert_eq(patch(picture, &options).fill_used, fills[f]);
                for (size_t x = 0; x < 256; x++)
                    for (size_t c = 0; c < channels; c++) {
                        bool is_alpha = has_alpha && c == channels - 1;
                        double value = get(picture, x, 125, c);
                        if (is_alpha)
                            cr_assert_eq(value, 1, "the covered cap is opaque");
                        else
                            cr_assert(value > 0.19 && value < 0.75, "fill %zu, %zu channels: %g", f, channels,
                                      value);
                    }
                uf_picture_free(&picture);
            }
}

Test(patch, colour_lands_as_given)
{
    UfPicture *picture = read_picture(EARTH);
    UfPatchOptions options = options_of(UF_FILL_COLOUR, 15, 0);
    options.colour[0] = 200 / 255.0;
    options.colour[1] = 64 / 255.0;
    options.colour[2] = 10 / 255.0;
    patch(picture, &options);
    const uint8_t *row = uf_picture_row_const(picture, 1000);
    for (size_t x = 0; x < 2048; x++) {
        cr_assert(abs(row[3 * x] - 200) <= 1);
        cr_assert(abs(row[3 * x + 1] - 64) <= 1);
        cr_assert(abs(row[3 * x + 2] - 10) <= 1);
    }
    uf_picture_free(&picture);
}

Test(patch, refuses_what_makes_no_sense)
{
    UfPicture *square = make_picture(256, 256, 3, UF_SAMPLE_U8);
    UfPicture *tiny = make_picture(8, 4, 3, UF_SAMPLE_U8);
    UfPicture *picture = make_picture(512, 256, 3, UF_SAMPLE_U8);
    UfPatchOptions good = options_of(UF_FILL_SMOOTH, 20, 2);
    cr_assert_eq(refused(square, &good), UF_ERROR_ARGUMENT);
    cr_assert_eq(refused(tiny, &good), UF_ERROR_ARGUMENT);
    const double bad_caps[] = {-1, 75.1, 180, NAN, INFINITY};
    for (size_t i = 0; i < 5; i++) {
        UfPatchOptions options = options_of(UF_FILL_SMOOTH, bad_caps[i], 2);
        cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT, "cap %g", bad_caps[i]);
        options = good;
        options.logo = square;
        options.logo_cap_rad = uf_radians(bad_caps[i]);
        cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT, "logo cap %g", bad_caps[i]);
    }
    const double bad_feathers[] = {-0.1, 70, 90, NAN, INFINITY};
    for (size_t i = 0; i < 5; i++) {
        UfPatchOptions options = options_of(UF_FILL_SMOOTH, 20, bad_feathers[i]);
        cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT, "feather %g", bad_feathers[i]);
    }
    UfPatchOptions options = options_of(UF_FILL_NONE, 20, 0);
    cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT, "nothing to do");
    options = options_of((UfFill)9, 20, 0);
    cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT);
    options = options_of(UF_FILL_COLOUR, 20, 0);
    options.colour[1] = 1.5;
    cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT);
    options = options_of(UF_FILL_SMOOTH, 0.1, 0);
    cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT, "smaller than a row");
    options = good;
    options.logo = square;
    options.heading_rad = NAN;
    cr_assert_eq(refused(picture, &options), UF_ERROR_ARGUMENT);
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            cr_assert_eq(get(picture, x, y, 0), 0, "a refusal leaves the picture alone");
    uf_picture_free(&square);
    uf_picture_free(&tiny);
    uf_picture_free(&picture);
}

Test(patch, finds_the_cap_by_itself)
{
    UfPicture *picture = make_picture(1024, 512, 4, UF_SAMPLE_U8);
    for (size_t y = 0; y < 512; y++)
        for (size_t x = 0; x < 1024; x++) {
            bool is_hole = (511.5 - (double)y) * 180 / 512 < 17;
            for (size_t c = 0; c < 4; c++)
                set(picture, x, y, c,
                    is_hole  ? 0
                    : c == 3 ? 1
                             : 0.3 + 0.2 * sin(0.37 * (double)x * (double)(c + 1)));
        }
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 0, 2);
    UfPatchResult result = patch(picture, &options);
    cr_assert(result.cap_rad > uf_radians(17) && result.cap_rad < uf_radians(18.5), "%g",
              uf_degrees(result.cap_rad));
    for (size_t y = result.first_row_px; y < 512; y++)
        for (size_t x = 0; x < 1024; x++)
            cr_assert_eq(get(picture, x, y, 3), 1);
    UfPatchOptions zenith = options;
    zenith.at_zenith = true;
    cr_assert_eq(refused(picture, &zenith), UF_ERROR_UNCLEAR, "there is no hole up there");
    uf_picture_free(&picture);
}

Test(patch, touches_every_width_from_small_to_large)
{
    for (size_t width = 16; width <= 8192; width *= 2) {
        UfPicture *picture = make_picture(width, width / 2, 1, UF_SAMPLE_U8);
        for (size_t y = 0; y < width / 2; y++)
            memset(uf_picture_row(picture, y), y < width / 4 ? 40 : 120, width);
        UfPatchOptions options = options_of(UF_FILL_SMOOTH, 25, 3);
        patch(picture, &options);
        for (size_t x = 0; x < width; x++)
            cr_assert_eq(((const uint8_t *)uf_picture_row_const(picture, width / 2 - 1))[x], 120);
        uf_picture_free(&picture);
    }
}

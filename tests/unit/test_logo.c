/* The logo: flat on the floor, the right way up, never mirrored, its edges and colours right. */
#include "test_patch_support.h"

/* A letter F on a coloured ground, opaque: no symmetry of any kind. 3 channels, or 4. */
static UfPicture *make_logo(size_t width, size_t height, size_t channels)
{
    UfPicture *logo = make_picture(width, height, channels, UF_SAMPLE_U8);
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            double u = ((double)x + 0.5) / (double)width, v = ((double)y + 0.5) / (double)height;
            bool is_ink = (u > 0.1 && u < 0.25 && v > 0.1 && v < 0.9) ||
                          (v > 0.1 && v < 0.3 && u > 0.1 && u < 0.6) ||
                          (v > 0.45 && v < 0.6 && u > 0.1 && u < 0.45) || (u > 0.8 && v > 0.75);
            double colour[4] = {is_ink ? 1 : 0.1, is_ink ? 0.9 : 0.2, is_ink ? 0.2 : 0.6, 1};
            for (size_t c = 0; c < channels; c++)
                set(logo, x, y, c, channels == 2 && c == 1 ? 1 : colour[c]);
        }
    return logo;
}

static UfPicture *grey_panorama(size_t width, size_t channels, double value)
{
    UfPicture *picture = make_picture(width, width / 2, channels, UF_SAMPLE_U8);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++)
            for (size_t c = 0; c < channels; c++)
                set(picture, x, y, c, channels % 2 == 0 && c == channels - 1 ? 1 : value);
    return picture;
}

static UfPatchOptions logo_options(const UfPicture *logo, double logo_cap_deg, double heading_deg)
{
    UfPatchOptions options = options_of(UF_FILL_NONE, 30, 0);
    options.logo = logo;
    options.logo_cap_rad = uf_radians(logo_cap_deg);
    options.heading_rad = uf_radians(heading_deg);
    return options;
}

/* Pearson's correlation of channel 0 of the square view with the logo, laid out by the geometry of the plane.
 */
static double correlation(const UfPicture *view, double fov_deg, const UfPicture *logo, double logo_cap_deg,
                          bool flip_x, bool flip_y)
{
    double side = (double)uf_picture_width_px(view);
    double w = (double)uf_picture_width_px(logo), h = (double)uf_picture_height_px(logo);
    double unit = hypot(w, h) / 2 / tan(uf_radians(logo_cap_deg)); /* logo pixels per unit of the plane */
    double n = 0, a = 0, b = 0, aa = 0, bb = 0, ab = 0;
    for (size_t y = 0; y < (size_t)side; y++)
        for (size_t x = 0; x < (size_t)side; x++) {
            double px = (((double)x + 0.5) / side * 2 - 1) * tan(uf_radians(fov_deg / 2)) * unit;
            double py = (((double)y + 0.5) / side * 2 - 1) * tan(uf_radians(fov_deg / 2)) * unit;
            double lx = w / 2 + (flip_x ? -px : px), ly = h / 2 + (flip_y ? -py : py);
            if (lx < 0 || ly < 0 || lx >= w || ly >= h)
                continue;
            double p = get(view, x, y, 0), q = get(logo, (size_t)lx, (size_t)ly, 0);
            n++, a += p, b += q, aa += p * p, bb += q * q, ab += p * q;
        }
    cr_assert(n > 1000);
    return (n * ab - a * b) / sqrt((n * aa - a * a) * (n * bb - b * b));
}

Test(logo, top_points_to_the_heading_and_nothing_is_mirrored)
{
    UfPicture *logo = make_logo(300, 200, 3);
    for (int up = 0; up <= 1; up++)
        for (int heading = 0; heading < 360; heading += 45) {
            UfPicture *picture = grey_panorama(1024, 3, 0.5);
            UfPatchOptions options = logo_options(logo, 25, heading);
            options.at_zenith = up;
            patch(picture, &options);
            UfPicture *view = look(picture, up, heading, 50, 400);
            double right = correlation(view, 50, logo, 25, false, false);
            cr_assert(right > 0.97, "up %d heading %d: %g", up, heading, right);
            cr_assert(correlation(view, 50, logo, 25, true, false) < 0.7);
            cr_assert(correlation(view, 50, logo, 25, false, true) < 0.7);
            cr_assert(correlation(view, 50, logo, 25, true, true) < 0.7);
            uf_picture_free(&view);
            uf_picture_free(&picture);
        }
    uf_picture_free(&logo);
}

/* On the up face the heading is at the bottom edge, so a logo that points there stands on its head. */
Test(logo, agrees_with_the_cube_faces)
{
    UfPicture *logo = make_logo(300, 200, 3);
    for (int up = 0; up <= 1; up++) {
        UfPicture *picture = grey_panorama(2048, 3, 0.5), *face = NULL;
        UfPatchOptions options = logo_options(logo, 40, 0);
        options.at_zenith = up;
        patch(picture, &options);
        UfView from = uf_view_equirectangular(2048), to = uf_view_face(up ? UF_FACE_UP : UF_FACE_DOWN, 512);
        cr_assert_eq(uf_remap(picture, &from, &to, NULL, &face, NULL), UF_OK);
        cr_assert(correlation(face, 90, logo, 40, up, up) > 0.97);
        uf_picture_free(&face);
        uf_picture_free(&picture);
    }
    uf_picture_free(&logo);
}

/* Small print stays readable: strokes of 3 panorama pixels. */
Test(logo, small_print_is_readable)
{
    UfPicture *logo = make_picture(240, 80, 3, UF_SAMPLE_U8);
    for (size_t y = 0; y < 80; y++)
        for (size_t x = 0; x < 240; x++)
            for (size_t c = 0; c < 3; c++)
                set(logo, x, y, c, x / 8 % 2 != y / 10 % 2 ? 1 : 0);
    UfPicture *picture = grey_panorama(2048, 3, 0.3);
    /* 253 logo pixels across 2 tan(8) of plane; the panorama has 326 pixels a unit: 0.36 of its pixels each
     */
    UfPatchOptions options = logo_options(logo, 8, 20);
    patch(picture, &options);
    UfPicture *view = look(picture, false, 20, 16, 300);
    cr_assert(correlation(view, 16, logo, 8, false, false) > 0.75, "%g",
              correlation(view, 16, logo, 8, false, false));
    uf_picture_free(&view);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

/* The circle of the logo's cap goes through its corners: covered just inside, untouched outside the
 * rectangle. */
Test(logo, circle_holds_the_whole_rectangle)
{
    const size_t sizes[][2] = {{400, 400}, {600, 100}, {60, 500}, {1, 1}, {1000, 10}};
    for (size_t i = 0; i < 5; i++) {
        size_t w = sizes[i][0], h = sizes[i][1];
        UfPicture *logo = make_picture(w, h, 1, UF_SAMPLE_U8); /* black */
        UfPicture *before = grey_panorama(2048, 3, 1), *picture = copy_picture(before);
        UfPatchOptions options = logo_options(logo, 20, 0);
        UfPatchResult result = patch(picture, &options);
        double half_w = tan(uf_radians(20)) * (double)w / hypot((double)w, (double)h);
        double half_h = tan(uf_radians(20)) * (double)h / hypot((double)w, (double)h);
        /* of the panorama, and half a logo pixel, in which its border fades */
        double pixel = 2 * UF_PI / 2048 * 1.2;
        double soft = 1.5 * pixel + tan(uf_radians(20)) / hypot((double)w, (double)h);
        size_t covered = 0;
        for (size_t y = 512; y < 1024; y++)
            for (size_t x = 0; x < 2048; x++) {
                double angle = (1023.5 - (double)y) * UF_PI / 1024;
                double lon = (((double)x + 0.5) / 2048 - 0.5) * 2 * UF_PI;
                double out_x = fabs(tan(angle) * sin(lon)) - half_w,
                       out_y = fabs(tan(angle) * cos(lon)) - half_h;
                if (out_x > soft || out_y > soft)
                    cr_assert_eq(get(picture, x, y, 0), 1, "%zux%zu at %zu,%zu", w, h, x, y);
                if (out_x < -soft && out_y < -soft) {
                    cr_assert(get(picture, x, y, 0) < 0.02, "%zux%zu at %zu,%zu", w, h, x, y);
                    covered++;
                }
            }
        cr_assert(covered > 100 || w == 1 || h == 10);
        for (size_t y = 0; y < result.first_row_px; y++)
            cr_assert(same_row(before, picture, y));
        uf_picture_free(&logo);
        uf_picture_free(&before);
        uf_picture_free(&picture);
    }
}

Test(logo, may_be_larger_than_the_cap)
{
    UfPicture *logo = make_logo(200, 200, 3);
    UfPicture *picture = grey_panorama(1024, 3, 0.5);
    UfPatchOptions options = options_of(UF_FILL_COLOUR, 10, 2);
    options.logo = logo;
    options.logo_cap_rad = uf_radians(40);
    UfPatchResult result = patch(picture, &options);
    cr_assert_leq(result.first_row_px, 512 - 113);
    UfPicture *view = look(picture, false, 0, 70, 300);
    cr_assert(correlation(view, 70, logo, 40, false, false) > 0.97);
    uf_picture_free(&view);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

/* IEC 61966-2-1: half the light of white is code 188, not 128. */
Test(logo, blends_in_linear_light)
{
    UfPicture *logo = make_picture(64, 64, 2, UF_SAMPLE_U16);
    for (size_t y = 0; y < 64; y++)
        for (size_t x = 0; x < 64; x++) {
            set(logo, x, y, 0, 1);
            set(logo, x, y, 1, 0.5);
        }
    UfPicture *picture = grey_panorama(1024, 1, 0);
    UfPatchOptions options = logo_options(logo, 30, 0);
    patch(picture, &options);
    for (size_t x = 0; x < 1024; x++)
        cr_assert(fabs(get(picture, x, 500, 0) * 255 - 188) <= 1, "%g", get(picture, x, 500, 0) * 255);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

Test(logo, transparent_parts_leave_samples_as_they_are)
{
    UfPicture *logo = make_picture(100, 100, 4, UF_SAMPLE_U8); /* all transparent but a bar */
    for (size_t y = 40; y < 60; y++)
        for (size_t x = 0; x < 100; x++) {
            set(logo, x, y, 1, 1);
            set(logo, x, y, 3, 1);
        }
    UfPicture *before = read_picture(EARTH), *picture = copy_picture(before);
    UfTouched *touched = NULL;
    UfPatchOptions options = logo_options(logo, 20, 0);
    cr_assert_eq(uf_touched_create(2048, 1024, &touched, NULL), UF_OK);
    cr_assert_eq(uf_patch(picture, &options, touched, NULL, NULL), UF_OK);
    size_t changed = 0;
    for (size_t y = 0; y < 1024; y++)
        for (size_t x = 0; x < 2048; x++)
            for (size_t c = 0; c < 3; c++)
                if (get(before, x, y, c) != get(picture, x, y, c)) {
                    double angle = (1023.5 - (double)y) * UF_PI / 1024;
                    double lon = (((double)x + 0.5) / 2048 - 0.5) * 2 * UF_PI;
                    /* the bar is a fifth of the square, whose half side is tan(20)/sqrt 2 */
                    cr_assert(fabs(tan(angle) * cos(lon)) < tan(uf_radians(20)) / sqrt(2) / 5 + 0.01);
                    cr_assert(uf_touched_any(touched, x, y, x + 1, y + 1), "a change that is not marked");
                    changed++;
                }
    cr_assert(changed > 5000);
    uf_touched_free(&touched);
    uf_picture_free(&before);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

/* Coloured logo, grey panorama: grey that lies between black and white; the letters still tell. */
Test(logo, coloured_logo_in_a_grey_panorama)
{
    UfPicture *logo = make_logo(300, 200, 3);
    UfPicture *picture = grey_panorama(2048, 1, 0);
    UfPatchOptions options = logo_options(logo, 25, 0);
    patch(picture, &options);
    UfPicture *view = look(picture, false, 0, 50, 400);
    cr_assert(correlation(view, 50, logo, 25, false, false) > 0.97);
    uf_picture_free(&view);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

/* Porter and Duff: over nothing the logo keeps its own alpha; over a fill it is opaque. */
Test(logo, panorama_with_alpha)
{
    UfPicture *logo = make_picture(50, 50, 4, UF_SAMPLE_U8);
    for (size_t y = 0; y < 50; y++)
        for (size_t x = 0; x < 50; x++) {
            set(logo, x, y, 0, 1);
            set(logo, x, y, 3, 102 / 255.0);
        }
    UfPicture *picture = make_picture(1024, 512, 4, UF_SAMPLE_U8); /* transparent black */
    UfPatchOptions options = logo_options(logo, 30, 0);
    patch(picture, &options);
    for (size_t x = 0; x < 1024; x++) {
        cr_assert_float_eq(get(picture, x, 505, 0), 1, 0.003, "colour does not darken towards nothing");
        cr_assert_float_eq(get(picture, x, 505, 3), 102 / 255.0, 0.003);
        cr_assert_eq(get(picture, x, 300, 3), 0);
    }
    options.fill = UF_FILL_COLOUR;
    patch(picture, &options);
    for (size_t x = 0; x < 1024; x++)
        cr_assert_eq(get(picture, x, 505, 3), 1);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

/* 16-bit and float panoramas take an 8-bit logo; its red is the same red in linear light. */
Test(logo, deep_panoramas_take_an_8_bit_logo)
{
    UfPicture *logo = make_picture(20, 20, 3, UF_SAMPLE_U8);
    for (size_t y = 0; y < 20; y++)
        for (size_t x = 0; x < 20; x++)
            set(logo, x, y, 0, 188 / 255.0);
    const UfSample samples[] = {UF_SAMPLE_U16, UF_SAMPLE_F32};
    /* float without a profile is linear light: 188 is 0.502886 (IEC 61966-2-1) */
    const double expected[] = {188 / 255.0, 0.502886458};
    for (size_t i = 0; i < 2; i++) {
        UfPicture *picture = make_picture(512, 256, 3, samples[i]);
        UfPatchOptions options = logo_options(logo, 20, 0);
        patch(picture, &options);
        cr_assert_float_eq(get(picture, 100, 253, 0), expected[i], 0.004);
        cr_assert_float_eq(get(picture, 100, 253, 1), 0, 0.004);
        uf_picture_free(&picture);
    }
    uf_picture_free(&logo);
}

Test(logo, threads_do_not_change_it)
{
    UfPicture *logo = make_logo(123, 77, 4), *one = read_picture(SUN), *two = copy_picture(one);
    UfPatchOptions options = logo_options(logo, 33, 77);
    options.threads = 1;
    patch(one, &options);
    options.threads = 2;
    patch(two, &options);
    cr_assert_eq(largest_difference(one, two), 0);
    uf_picture_free(&one);
    uf_picture_free(&two);
    uf_picture_free(&logo);
}

/* A white square on white ground, with a shade: what is darker than the ground is the shade. */
static UfPicture *shaded(size_t channels, UfSample sample, double contact_deg, bool at_zenith)
{
    UfPicture *logo = make_picture(40, 40, 3, UF_SAMPLE_U8),
              *picture = make_picture(2048, 1024, channels, sample);
    for (size_t y = 0; y < 1024; y++)
        for (size_t x = 0; x < 2048; x++)
            for (size_t c = 0; c < channels; c++)
                set(picture, x, y, c, 1);
    for (size_t i = 0; i < 40 * 40 * 3; i++)
        set(logo, i / 3 % 40, i / 120, i % 3, 1);
    UfPatchOptions options = logo_options(logo, 20, 0);
    options.logo_contact_rad = uf_radians(contact_deg);
    options.at_zenith = at_zenith;
    patch(picture, &options);
    uf_picture_free(&logo);
    return picture;
}

/* The square's half side is tan(20)/sqrt 2 = 14.43 degrees ahead, where longitude is 0: column 1024. */
static double at_angle(const UfPicture *picture, double angle_deg, bool at_zenith)
{
    size_t ring = (size_t)(angle_deg / 180 * 1024);
    return get(picture, 1024, at_zenith ? ring : 1023 - ring, 0);
}

Test(logo, contact_is_a_soft_shade_that_ends_where_it_says)
{
    for (int up = 0; up <= 1; up++) {
        UfPicture *picture = shaded(3, UF_SAMPLE_U8, 3, up), *without = shaded(3, UF_SAMPLE_U8, 0, up);
        double edge = uf_degrees(atan(tan(uf_radians(20)) / sqrt(2)));
        cr_expect_eq(at_angle(picture, edge - 1, up), 1, "the logo itself has none");
        double last = 0;
        for (double out = 0.3; out < 3; out += 0.2) {
            double value = at_angle(picture, edge + out, up);
            cr_expect_geq(value, last - 1e-6, "it dies out: %g at %g", value, out);
            last = value;
        }
        cr_expect(at_angle(picture, edge + 0.3, up) < 0.9, "%g", at_angle(picture, edge + 0.3, up));
        cr_expect_eq(at_angle(picture, edge + 3.8, up), 1);
        for (size_t y = 0; y < 1024; y++)
            for (size_t x = 0; x < 2048; x += 7)
                cr_assert_eq(get(without, x, y, 0), 1, "0 is none");
        uf_picture_free(&picture);
        uf_picture_free(&without);
    }
}

static double to_light(double v)
{
    return v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4); /* IEC 61966-2-1 */
}

/* Half the light is half the light in every depth: IEC 61966-2-1 for integers, linear for floats. */
Test(logo, contact_is_as_dark_in_every_depth)
{
    static const struct {
        size_t channels;
        UfSample sample;
    } kinds[] = {{3, UF_SAMPLE_U8}, {1, UF_SAMPLE_U16}, {4, UF_SAMPLE_U16}, {3, UF_SAMPLE_F32}};
    double light[4];
    for (size_t k = 0; k < 4; k++) {
        UfPicture *picture = shaded(kinds[k].channels, kinds[k].sample, 3, false);
        double value = at_angle(picture, 15.2, false);
        light[k] = kinds[k].sample == UF_SAMPLE_F32 ? value : to_light(value);
        cr_expect(light[k] < 0.9, "kind %zu: %g", k, light[k]);
        cr_expect_float_eq(light[k], light[0], 0.006, "kind %zu: %g, not %g", k, light[k], light[0]);
        if (kinds[k].channels == 4)
            cr_expect_eq(get(picture, 1024, 940, 3), 1);
        uf_picture_free(&picture);
    }
}

Test(logo, contact_marks_what_it_changes_and_bad_ones_are_refused)
{
    UfPicture *logo = make_logo(90, 60, 3), *before = read_picture(EARTH), *picture = copy_picture(before);
    UfTouched *touched = NULL;
    UfPatchOptions options = logo_options(logo, 12, 33);
    UfPatchResult result;
    options.logo_contact_rad = uf_radians(2);
    cr_assert_eq(uf_touched_create(2048, 1024, &touched, NULL), UF_OK);
    cr_assert_eq(uf_patch(picture, &options, touched, &result, NULL), UF_OK);
    size_t first, end, changed = 0;
    uf_patch_rows_needed(&options, 2048, 1024, &first, &end);
    for (size_t y = 0; y < 1024; y++)
        for (size_t x = 0; x < 2048; x++)
            if (get(before, x, y, 0) != get(picture, x, y, 0)) {
                cr_assert(uf_touched_any(touched, x, y, x + 1, y + 1));
                cr_assert(y >= result.first_row_px && y < result.last_row_px && y >= first && y < end);
                changed++;
            }
    cr_assert(changed > 10000);
    const double bad[] = {-1, 0.1, 5.5, NAN, INFINITY};
    for (size_t i = 0; i < 5; i++) {
        options.logo_contact_rad = uf_radians(bad[i]);
        cr_assert_eq(uf_patch(picture, &options, NULL, NULL, NULL), UF_ERROR_ARGUMENT, "%g", bad[i]);
    }
    uf_touched_free(&touched);
    uf_picture_free(&before);
    uf_picture_free(&picture);
    uf_picture_free(&logo);
}

/* Print: black and white cells, by a hash, in a 64 x 64 grid over the square -1 .. 1. */
static double ink_at(double x, double y)
{
    uint32_t u = (uint32_t)((x + 1) * 32), v = (uint32_t)((y + 1) * 32),
             hash = (u * 73856093u) ^ (v * 19349663u);
    hash = (hash ^ (hash >> 13)) * 2654435761u;
    return (hash >> 16) % 2;
}

static double of_light(double v)
{
    return v <= 0.0031308 ? 12.92 * v : 1.055 * pow(v, 1 / 2.4) - 0.055;
}

/*
 * The truth of a pixel: the mean of 8 x 8 places in it, each looked up in what the print is, not in a picture
 * of it; by the plane's geometry alone (gnomonic, Snyder, PP 1395, section 22). NAN where it touches the
 * logo's border.
 */
static double truth_of(size_t x, size_t y, size_t width, double half)
{
    double light = 0;
    for (int k = 0; k < 64; k++) {
        double lon = (((double)x + (k % 8 + 0.5) / 8) / (double)width - 0.5) * 2 * UF_PI;
        double r = tan(((double)width / 2 - (double)y - (k / 8 + 0.5) / 8) / (double)width * 2 * UF_PI);
        double right = r * sin(lon) / half, down = -r * cos(lon) / half;
        if (fabs(right) > 0.97 || fabs(down) > 0.97)
            return NAN;
        light += ink_at(right, down) / 64;
    }
    return of_light(light);
}

/*
 * No bound on the worst pixel: near the pole pixels are slivers, and one beside an edge of the print is black
 * or white in truth where a picture of the print has a slope one of its pixels wide.
 */
Test(logo, print_is_what_supersampling_says_at_every_width)
{
    const size_t side = 1600; /* 25 pixels a cell: the picture itself costs little */
    UfPicture *logo = make_picture(side, side, 1, UF_SAMPLE_U8);
    for (size_t y = 0; y < side; y++)
        for (size_t x = 0; x < side; x++)
            set(logo, x, y, 0,
                ink_at(((double)x + 0.5) / (double)side * 2 - 1, ((double)y + 0.5) / (double)side * 2 - 1));
    for (size_t width = 1024; width <= 8192; width *= 2) {
        UfPicture *picture = grey_panorama(width, 1, 0.5);
        UfPatchOptions options = logo_options(logo, 12, 0);
        patch(picture, &options);
        double half = tan(uf_radians(12)) / sqrt(2), sum = 0, plain = 0, count = 0;
        for (size_t y = width / 2 - width * 8 / 360; y < width / 2; y++)
            for (size_t x = y % 29; x < width; x += 29) {
                double truth = truth_of(x, y, width, half);
                if (isnan(truth))
                    continue;
                sum += pow(to_light(get(picture, x, y, 0)) - to_light(truth), 2);
                plain += pow(to_light(truth) - 0.5, 2);
                count++;
            }
        double rms = sqrt(sum / count), contrast = sqrt(plain / count);
        cr_expect(count > 500);
        cr_expect(contrast > 0.3, "there is print to be seen: %g", contrast);
        cr_expect_lt(rms, 0.03, "width %zu: %g of the light, where the print has %g", width, rms, contrast);
        uf_picture_free(&picture);
    }
    uf_picture_free(&logo);
}

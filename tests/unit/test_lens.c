/* Lenses: there and back, limits, and what fits on the sensor. */
#include <criterion/criterion.h>
#include <math.h>

#include <underfoot/plan.h>

static const UfLens lenses[] = {
    {.mapping = UF_MAPPING_RECTILINEAR, .focal_mm = 14},
    {.mapping = UF_MAPPING_EQUIDISTANT, .focal_mm = 8},
    {.mapping = UF_MAPPING_EQUISOLID, .focal_mm = 10.5},
    {.mapping = UF_MAPPING_STEREOGRAPHIC, .focal_mm = 12},
    {.mapping = UF_MAPPING_ORTHOGRAPHIC, .focal_mm = 15},
    {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 8, .k = {0.1, -0.02, 0.003, 0.0005}},
    {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 8, .k = {-0.05, 0, 0, 0}},
    {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 8, .k = {-0.3, 0.2, -0.05, 0.004}},
};
#define LENS_COUNT (sizeof lenses / sizeof *lenses)

Test(lens, names_go_both_ways)
{
    for (int i = 0; i < UF_MAPPING_COUNT; i++) {
        UfMapping back = UF_MAPPING_COUNT;
        cr_expect(uf_mapping_from_name(uf_mapping_name((UfMapping)i), &back));
        cr_expect_eq((int)back, i);
    }
    UfMapping untouched = UF_MAPPING_EQUISOLID;
    cr_expect_not(uf_mapping_from_name("fisheye", &untouched));
    cr_expect_eq(untouched, UF_MAPPING_EQUISOLID);
    cr_expect_null(uf_mapping_name(UF_MAPPING_COUNT));
}

Test(lens, there_and_back)
{
    for (size_t i = 0; i < LENS_COUNT; i++) {
        double limit = uf_lens_limit_rad(&lenses[i]);
        double last = -1;
        for (int step = 0; step < 1000; step++) {
            double angle = 0.99 * limit * step / 999;
            double radius = -1;
            double back = -1;
            cr_assert(uf_lens_radius_mm(&lenses[i], angle, &radius), "lens %zu at %g", i, angle);
            cr_expect_gt(radius, last, "lens %zu at %g: the image turns back", i, angle);
            cr_assert(uf_lens_angle_rad(&lenses[i], radius, &back), "lens %zu at %g", i, angle);
            cr_expect_float_eq(back, angle, 1e-9, "lens %zu at %g: %.15g", i, angle, back);
            last = radius;
        }
    }
}

Test(lens, nothing_beyond_the_limit)
{
    for (size_t i = 0; i < LENS_COUNT; i++) {
        UfLens lens = lenses[i];
        double untouched = -7;
        cr_expect_not(uf_lens_radius_mm(&lens, uf_lens_limit_rad(&lens) + 1e-6, &untouched));
        cr_expect_not(uf_lens_radius_mm(&lens, -1e-6, &untouched));
        cr_expect_not(uf_lens_radius_mm(&lens, NAN, &untouched));
        cr_expect_not(uf_lens_angle_rad(&lens, -1e-6, &untouched));
        cr_expect_not(uf_lens_angle_rad(&lens, NAN, &untouched));
        lens.reach_rad = 0.5;
        cr_expect_eq(uf_lens_limit_rad(&lens), 0.5);
        cr_expect_not(uf_lens_radius_mm(&lens, 0.5000001, &untouched));
        cr_expect_eq(untouched, -7.0);
        double radius = 0;
        cr_expect(uf_lens_radius_mm(&lens, 0.4999999, &radius));
        double angle = 0;
        cr_expect(uf_lens_angle_rad(&lens, radius, &angle));
        cr_expect_not(uf_lens_angle_rad(&lens, radius * 1.001, &angle));
    }
}

/* 1 + 3 k1 t^2 = 0. */
Test(lens, polynomial_ends_where_it_stops_growing)
{
    UfLens lens = {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 1, .k = {-0.2, 0, 0, 0}};
    cr_expect_float_eq(uf_lens_limit_rad(&lens), sqrt(1 / 0.6), 1e-12);
    double radius = 0;
    cr_expect(uf_lens_radius_mm(&lens, uf_lens_limit_rad(&lens), &radius));
    double untouched = -7;
    cr_expect_not(uf_lens_angle_rad(&lens, radius * 1.0001, &untouched));
    lens.k[0] = 0.2;
    cr_expect_float_eq(uf_lens_limit_rad(&lens), UF_PI, 1e-12);
}

Test(lens, polynomial_of_zeros_is_equidistant)
{
    UfLens polynomial = {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 8};
    UfLens equidistant = {.mapping = UF_MAPPING_EQUIDISTANT, .focal_mm = 8};
    for (int i = 0; i <= 100; i++) {
        double a = 0;
        double b = 0;
        cr_assert(uf_lens_radius_mm(&polynomial, UF_PI * i / 100, &a));
        cr_assert(uf_lens_radius_mm(&equidistant, UF_PI * i / 100, &b));
        cr_expect_float_eq(a, b, 1e-12);
    }
}

Test(lens, held_upright_the_field_changes_sides)
{
    UfCamera camera = {.sensor_long_mm = 36,
                       .sensor_short_mm = 24,
                       .long_px = 6000,
                       .short_px = 4000,
                       .lens = {.mapping = UF_MAPPING_RECTILINEAR, .focal_mm = 24}};
    UfField lying = uf_camera_field(&camera);
    camera.portrait = true;
    UfField upright = uf_camera_field(&camera);
    cr_expect_eq(lying.across_rad, upright.down_rad);
    cr_expect_eq(lying.down_rad, upright.across_rad);
    cr_expect_eq(lying.diagonal_rad, upright.diagonal_rad);
    cr_expect_lt(upright.across_rad, upright.down_rad);
}

/*
 * The native width gives a pixel at the picture's centre the same angle as one of the panorama's, whatever
 * the mapping: measured by the mapping itself over a hundredth of a degree.
 */
Test(lens, native_width_keeps_the_resolution_of_the_centre)
{
    for (size_t i = 0; i < LENS_COUNT; i++) {
        UfCamera camera = {.sensor_long_mm = 23.5,
                           .sensor_short_mm = 15.6,
                           .long_px = 6000,
                           .short_px = 4000,
                           .lens = lenses[i]};
        double angle = uf_radians(0.01);
        double radius = 0;
        cr_assert(uf_lens_radius_mm(&camera.lens, angle, &radius));
        double width = 2 * UF_PI / angle * radius * 6000 / 23.5;
        cr_expect_float_eq((double)uf_camera_native_width_px(&camera), width, 1.01, "lens %zu", i);
        cr_expect_eq(uf_camera_native_width_px(&camera) % 2, 0);
    }
}

/* Textbook: focused at the hyperfocal distance everything from half of it on is sharp. */
Test(lens, depth_of_field)
{
    UfCamera camera = {.sensor_long_mm = 23.5,
                       .sensor_short_mm = 15.6,
                       .long_px = 6000,
                       .short_px = 4000,
                       .lens = {.mapping = UF_MAPPING_EQUIDISTANT, .focal_mm = 8},
                       .aperture = 11,
                       .confusion_mm = 0.019};
    UfSharpness sharp;
    cr_assert(uf_camera_sharpness(&camera, &sharp));
    cr_expect_float_eq(sharp.hyperfocal_m, (64 / (11 * 0.019) + 8) / 1000, 1e-12);
    cr_expect_eq(sharp.focus_m, sharp.hyperfocal_m);
    cr_expect_float_eq(sharp.near_m, sharp.hyperfocal_m / 2, 1e-12);
    cr_expect(isinf(sharp.far_m));
    /* the blur of a point at either limit is the circle of confusion: c = f^2 |x - s| / (N x (s - f)) */
    camera.focus_m = 0.2;
    cr_assert(uf_camera_sharpness(&camera, &sharp));
    for (int i = 0; i < 2; i++) {
        double x = 1000 * (i == 0 ? sharp.near_m : sharp.far_m);
        cr_expect_float_eq(64 * fabs(x - 200) / (11 * x * (200 - 8)), 0.019, 1e-9);
    }
    cr_expect_lt(sharp.near_m, 0.2);
    cr_expect_gt(sharp.far_m, 0.2);
    double diffraction = sharp.diffraction_mm;
    camera.aperture = 16;
    cr_assert(uf_camera_sharpness(&camera, &sharp));
    cr_expect_float_eq(sharp.diffraction_mm / diffraction, 16.0 / 11, 1e-12);
    camera.aperture = 0;
    cr_expect_not(uf_camera_sharpness(&camera, &sharp));
}

/* Two pupils and an object in the plane, the angle between the lines of sight by its cosine. */
Test(lens, parallax_is_the_angle_between_lines_of_sight)
{
    static const double offsets_mm[] = {-40, -3, 0.5, 5, 60};
    static const double steps_deg[] = {5, 30, 60, 90, 120};
    for (size_t i = 0; i < 5; i++)
        for (size_t j = 0; j < 5; j++) {
            double half = uf_radians(steps_deg[j]) / 2;
            double e = offsets_mm[i];
            double to_object[2][2] = {{-e * sin(half), 1200 - e * cos(half)},
                                      {e * sin(half), 1200 - e * cos(half)}};
            double cosine =
                (to_object[0][0] * to_object[1][0] + to_object[0][1] * to_object[1][1]) /
                (hypot(to_object[0][0], to_object[0][1]) * hypot(to_object[1][0], to_object[1][1]));
            double parallax = uf_parallax_rad(e, 2 * half, 1.2);
            cr_expect_float_eq(cos(parallax), cosine, 1e-12);
            if (e > 0)
                cr_expect_float_eq(uf_parallax_offset_mm(parallax, 2 * half, 1.2), e, 1e-9);
        }
    cr_expect_eq(uf_parallax_rad(0, 1, 1), 0.0);
}

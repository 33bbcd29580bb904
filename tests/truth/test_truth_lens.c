/* Lens mappings against their published equations, against OpenCV, and fields of view against worked values.
 */
#include <underfoot/plan.h>

#include "truth/rows.h"

static const UfMapping radius_columns[] = {UF_MAPPING_RECTILINEAR, UF_MAPPING_STEREOGRAPHIC,
                                           UF_MAPPING_EQUIDISTANT, UF_MAPPING_EQUISOLID,
                                           UF_MAPPING_ORTHOGRAPHIC};

/* Kannala and Brandt 2006, (1)-(5); the table names it. */
Test(truth_lens, radii_follow_the_published_mappings)
{
    Rows rows = rows_open("tests/truth/lens_radii.txt");
    while (rows_next(&rows, 6)) {
        double theta_rad = uf_radians(rows_number(&rows, 0));
        for (int i = 0; i < 5; i++) {
            UfLens lens = {.mapping = radius_columns[i], .focal_mm = 1};
            const char *name = uf_mapping_name(lens.mapping);
            double expected = rows_number(&rows, i + 1);
            double radius = -1;
            double back = -1;
            bool exists = uf_lens_radius_mm(&lens, theta_rad, &radius);
            cr_expect_eq(exists, !isnan(expected), "%s line %d", name, rows.line);
            if (!exists)
                continue;
            cr_expect_float_eq(radius, expected, 6e-10, "%s line %d: %.12f", name, rows.line, radius);
            cr_expect(uf_lens_angle_rad(&lens, radius, &back), "%s line %d", name, rows.line);
            cr_expect_float_eq(back, theta_rad, 1e-7, "%s line %d: %.12f", name, rows.line, back);
        }
    }
}

/* OpenCV, cv2.fisheye.projectPoints. */
Test(truth_lens, polynomial_agrees_with_opencv)
{
    Rows rows = rows_open("tests/truth/lens_polynomial.txt");
    while (rows_next(&rows, 9)) {
        UfLens lens = {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 300};
        double at[3];
        for (int i = 0; i < 3; i++)
            at[i] = rows_number(&rows, i);
        for (int i = 0; i < 4; i++)
            lens.k[i] = rows_number(&rows, 3 + i);
        double across = hypot(at[0], at[1]);
        double radius = 0;
        double angle = 0;
        cr_assert(uf_lens_radius_mm(&lens, atan2(across, at[2]), &radius), "line %d", rows.line);
        cr_expect_float_eq(320 + radius * at[0] / across, rows_number(&rows, 7), 1e-9, "line %d", rows.line);
        cr_expect_float_eq(240 + radius * at[1] / across, rows_number(&rows, 8), 1e-9, "line %d", rows.line);
        cr_assert(uf_lens_angle_rad(&lens, radius, &angle), "line %d", rows.line);
        cr_expect_float_eq(angle, atan2(across, at[2]), 1e-12, "line %d", rows.line);
    }
}

static void expect_field(const Rows *rows, const UfLens *lens, double length_mm, int word)
{
    double expected = rows_number(rows, word);
    double field_rad = -1;
    bool exists = uf_lens_field_rad(lens, length_mm, &field_rad);
    cr_expect_eq(exists, !isnan(expected), "line %d, value %d", rows->line, word);
    if (exists)
        cr_expect_float_eq(uf_degrees(field_rad), expected, 6e-7, "line %d, value %d: %.9f", rows->line, word,
                           uf_degrees(field_rad));
}

Test(truth_lens, fields_of_view)
{
    Rows rows = rows_open("tests/truth/lens_fields.txt");
    while (rows_next(&rows, 7)) {
        UfLens lens = {.focal_mm = rows_number(&rows, 1)};
        cr_assert(uf_mapping_from_name(rows.words[0], &lens.mapping), "line %d", rows.line);
        double long_mm = rows_number(&rows, 2);
        double short_mm = rows_number(&rows, 3);
        expect_field(&rows, &lens, long_mm, 4);
        expect_field(&rows, &lens, short_mm, 5);
        expect_field(&rows, &lens, hypot(long_mm, short_mm), 6);
    }
}

/* Diameters of the image circle of 180 degrees at f = 8 mm, computed from Kannala and Brandt 2006, (2)-(5).
 */
Test(truth_lens, image_circles_of_180_degrees)
{
    static const struct {
        UfMapping mapping;
        double diameter_mm;
    } circles[] = {{UF_MAPPING_EQUIDISTANT, 25.132741},
                   {UF_MAPPING_EQUISOLID, 22.627417},
                   {UF_MAPPING_STEREOGRAPHIC, 32.0},
                   {UF_MAPPING_ORTHOGRAPHIC, 16.0}};
    for (size_t i = 0; i < sizeof circles / sizeof *circles; i++) {
        UfLens lens = {.mapping = circles[i].mapping, .focal_mm = 8};
        double radius_mm = 0;
        cr_assert(uf_lens_radius_mm(&lens, UF_PI / 2, &radius_mm));
        cr_expect_float_eq(2 * radius_mm, circles[i].diameter_mm, 6e-7);
    }
}

/* Cube faces: they tile the sphere, meet as documented, and are not mirrored. */
#include <criterion/criterion.h>

#include "truth/sphere_points.h"

Test(sphere_face, names)
{
    static const char *const names[UF_FACE_COUNT] = {"front", "right", "back", "left", "up", "down"};
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfFace found = UF_FACE_COUNT;
        cr_expect_str_eq(uf_face_name((UfFace)face), names[face]);
        cr_expect(uf_face_from_name(names[face], &found));
        cr_expect_eq(found, face);
    }
    UfFace untouched = UF_FACE_LEFT;
    cr_expect_null(uf_face_name(UF_FACE_COUNT));
    cr_expect_not(uf_face_from_name("Front", &untouched));
    cr_expect_not(uf_face_from_name("", &untouched));
    cr_expect_eq(untouched, UF_FACE_LEFT);
}

Test(sphere_face, rotations_are_the_documented_angles)
{
    static const struct {
        double yaw_deg, pitch_deg;
    } angles[UF_FACE_COUNT] = {{0, 0}, {90, 0}, {180, 0}, {-90, 0}, {0, 90}, {0, -90}};
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfRotation is = uf_face_rotation((UfFace)face);
        UfRotation should =
            uf_rotation_from_angles(uf_radians(angles[face].yaw_deg), uf_radians(angles[face].pitch_deg), 0);
        for (int i = 0; i < 9; i++)
            cr_expect_float_eq(is.m[i / 3][i % 3], should.m[i / 3][i % 3], 2e-16);
    }
}

/* A direction lies inside one face, outside the other five, and the face's view shows it where it is said to
 * lie. */
Test(sphere_face, each_direction_is_on_one_face)
{
    uint64_t state = 600;
    for (int i = 0; i < 100000; i++) {
        UfDirection direction = uf_direction_from_lonlat(random_lonlat(&state));
        UfPlanePoint at;
        UfFace face = uf_face_of_direction(direction, &at);
        int holding = 0;
        for (unsigned other = 0; other < UF_FACE_COUNT; other++) {
            UfView view = uf_view_face((UfFace)other, 2);
            UfPixelPoint pixel;
            if (!uf_view_pixel(&view, direction, &pixel) || pixel.x_px < 0 || pixel.x_px >= 2 ||
                pixel.y_px < 0 || pixel.y_px >= 2)
                continue;
            holding++;
            cr_assert_eq(other, face);
            cr_assert_float_eq(pixel.x_px - 1, at.x, 1e-15);
            cr_assert_float_eq(1 - pixel.y_px, at.y, 1e-15);
        }
        cr_assert_eq(holding, 1);
    }
}

/* Solid angle of a triangle: A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30(2), 125-126 (1983).
 */
static double triangle(UfDirection a, UfDirection b, UfDirection c)
{
    double triple =
        a.x * (b.y * c.z - b.z * c.y) - a.y * (b.x * c.z - b.z * c.x) + a.z * (b.x * c.y - b.y * c.x);
    double ab = a.x * b.x + a.y * b.y + a.z * b.z, bc = b.x * c.x + b.y * c.y + b.z * c.z;
    double ca = c.x * a.x + c.y * a.y + c.z * a.z;
    return fabs(2 * atan2(triple, 1 + ab + bc + ca));
}

static double pixel_solid_angle(const UfView *view, size_t i, size_t j)
{
    UfDirection corner[4];
    for (int k = 0; k < 4; k++)
        cr_assert(
            uf_view_direction(view, (UfPixelPoint){(double)i + (k & 1), (double)j + (k >> 1)}, &corner[k]));
    return triangle(corner[0], corner[1], corner[2]) + triangle(corner[1], corner[2], corner[3]);
}

/*
 * A face is a sixth of the sphere. Pixel values from the closed form of a rectangular pyramid's solid angle,
 * atan(ab / sqrt(1 + a^2 + b^2)), computed to 13 digits.
 */
Test(sphere_face, solid_angles)
{
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfView view = uf_view_face((UfFace)face, 32);
        double total = 0;
        for (size_t j = 0; j < 32; j++)
            for (size_t i = 0; i < 32; i++)
                total += pixel_solid_angle(&view, i, j);
        cr_expect_float_eq(total, 4 * UF_PI / 6, 1e-12, "face %u has %.15g", face, total);
    }
    UfView four = uf_view_face(UF_FACE_LEFT, 4), sharp = uf_view_face(UF_FACE_DOWN, 512);
    cr_expect_float_eq(pixel_solid_angle(&four, 0, 3), 0.08145558759535, 1e-14);
    cr_expect_float_eq(pixel_solid_angle(&four, 2, 1), 0.2013579207903, 1e-13);
    cr_expect_float_eq(pixel_solid_angle(&sharp, 511, 0) / 2.948054919738e-06, 1, 1e-9);
    cr_expect_float_eq(pixel_solid_angle(&sharp, 256, 255) / 1.525855623600e-05, 1, 1e-9);
}

static UfDirection point_of(UfFace face, double x, double y)
{
    UfView view = uf_view_face(face, 2);
    UfDirection direction = {0, 0, 0};
    cr_assert(uf_view_direction(&view, (UfPixelPoint){1 + x, 1 - y}, &direction));
    return direction;
}

static void expect_same(UfDirection a, UfDirection b)
{
    cr_expect_lt(uf_angle_between_rad(a, b), 1e-15);
}

Test(sphere_face, edges_meet_as_documented)
{
    for (double t = -1; t <= 1; t += 0.25) {
        expect_same(point_of(UF_FACE_FRONT, 1, t), point_of(UF_FACE_RIGHT, -1, t));
        expect_same(point_of(UF_FACE_RIGHT, 1, t), point_of(UF_FACE_BACK, -1, t));
        expect_same(point_of(UF_FACE_BACK, 1, t), point_of(UF_FACE_LEFT, -1, t));
        expect_same(point_of(UF_FACE_LEFT, 1, t), point_of(UF_FACE_FRONT, -1, t));
        expect_same(point_of(UF_FACE_UP, t, -1), point_of(UF_FACE_FRONT, t, 1));
        expect_same(point_of(UF_FACE_DOWN, t, 1), point_of(UF_FACE_FRONT, t, -1));
        expect_same(point_of(UF_FACE_UP, 1, t), point_of(UF_FACE_RIGHT, t, 1));
        expect_same(point_of(UF_FACE_DOWN, t, -1), point_of(UF_FACE_BACK, -t, -1));
    }
}

/* W/pi, to the nearest whole pixel. */
Test(sphere_face, full_size)
{
    cr_expect_eq(uf_face_full_size_px(4096), 1304u);
    cr_expect_eq(uf_face_full_size_px(8192), 2608u);
    cr_expect_eq(uf_face_full_size_px(314), 100u);
    cr_expect_eq(uf_face_full_size_px(2), 1u);
    cr_expect_eq(uf_face_full_size_px(1), 1u);
}

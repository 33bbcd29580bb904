/* Views: pixels to directions and back, windows, the seam, the planet's heading, and that nothing is
 * mirrored. */
#include <criterion/criterion.h>

#include "truth/sphere_points.h"

static UfView view_number(int index)
{
    UfRotation tilted = uf_rotation_from_angles(0.5, -0.9, 2.1);
    UfView fisheye = {UF_PROJECTION_EQUIDISTANT, tilted, 100, 200, 150, 400, 300};
    UfView globe = {UF_PROJECTION_ORTHOGRAPHIC, tilted, 100, 100, 100, 200, 200};
    UfView equisolid = {UF_PROJECTION_EQUISOLID, tilted, 100, 210, 190, 400, 400};
    UfView turned = uf_view_equirectangular(400);
    turned.rotation = tilted;
    switch (index) {
    case 0:
        return uf_view_equirectangular(400);
    case 1:
        return turned;
    case 2:
        return uf_view_rectilinear(320, 200, uf_radians(100), tilted);
    case 3:
        return uf_view_face(UF_FACE_UP, 128);
    case 4:
        return uf_view_planet(300, uf_radians(280), 1, false);
    case 5:
        return uf_view_planet(300, uf_radians(120), -2, true);
    case 6:
        return fisheye;
    case 7:
        return globe;
    default:
        return equisolid;
    }
}
#define VIEWS 9

Test(sphere_view, pixels_come_back)
{
    for (int v = 0; v < VIEWS; v++) {
        UfView view = view_number(v);
        int seen = 0;
        for (size_t j = 0; j < view.height_px; j++)
            for (size_t i = 0; i < view.width_px; i++) {
                UfPixelPoint at = {(double)i + 0.5, (double)j + 0.5}, back;
                UfDirection direction;
                if (!uf_view_direction(&view, at, &direction))
                    continue;
                seen++;
                cr_assert_float_eq(hypot(hypot(direction.x, direction.y), direction.z), 1, 2e-15);
                cr_assert(uf_view_pixel(&view, direction, &back));
                cr_assert_lt(hypot(back.x_px - at.x_px, back.y_px - at.y_px), 1e-10, "view %d (%g, %g)", v,
                             at.x_px, at.y_px);
            }
        cr_assert_gt(seen, (int)(view.width_px * view.height_px / 2));
    }
}

/* Going right and down in the picture is, looked at from inside, right-handed with the viewing direction. */
Test(sphere_view, nothing_is_mirrored)
{
    for (int v = 0; v < VIEWS; v++) {
        UfView view = view_number(v);
        UfPixelPoint at = {(double)view.width_px * 0.5 + 11, (double)view.height_px * 0.5 - 7};
        UfDirection here, right, down;
        cr_assert(uf_view_direction(&view, at, &here));
        cr_assert(uf_view_direction(&view, (UfPixelPoint){at.x_px + 1, at.y_px}, &right));
        cr_assert(uf_view_direction(&view, (UfPixelPoint){at.x_px, at.y_px + 1}, &down));
        UfDirection a = {right.x - here.x, right.y - here.y, right.z - here.z};
        UfDirection b = {down.x - here.x, down.y - here.y, down.z - here.z};
        /* right x down points away from the viewer in axes x right, y up, z forward: those are left-handed.
         */
        double triple = here.x * (a.y * b.z - a.z * b.y) + here.y * (a.z * b.x - a.x * b.z) +
                        here.z * (a.x * b.y - a.y * b.x);
        cr_expect_lt(triple, 0, "view %d", v);
    }
}

Test(sphere_view, equirectangular_layout)
{
    UfView view = uf_view_equirectangular(4096);
    cr_expect_eq(view.width_px, 4096u);
    cr_expect_eq(view.height_px, 2048u);
    UfPixelPoint at;
    cr_assert(uf_view_pixel(&view, (UfDirection){0, 0, 1}, &at));
    cr_expect(at.x_px == 2048 && at.y_px == 1024);
    cr_assert(uf_view_pixel(&view, (UfDirection){1, 0, 0}, &at));
    cr_expect_float_eq(at.x_px, 3072, 1e-9);
    cr_assert(uf_view_pixel(&view, (UfDirection){0, 0, -1}, &at));
    cr_expect_float_eq(at.x_px, 4096, 1e-9, "the seam falls on the right edge");
    cr_assert(uf_view_pixel(&view, (UfDirection){-1e-9, 0, -1}, &at));
    cr_expect_float_eq(at.x_px, 0, 1e-5, "left of the seam is the left edge");
    cr_assert(uf_view_pixel(&view, (UfDirection){0, 1, 0}, &at));
    cr_expect_float_eq(at.y_px, 0, 1e-9);
    cr_assert(uf_view_pixel(&view, (UfDirection){0, -1, 0}, &at));
    cr_expect_float_eq(at.y_px, 2048, 1e-9);
    UfDirection direction;
    cr_expect_not(uf_view_direction(&view, (UfPixelPoint){100, -0.1}, &direction), "nothing beyond the pole");
}

/* The corners of the picture are still directions, although rounding may put them beyond the border. */
Test(sphere_view, borders_belong_to_the_picture)
{
    for (size_t width = 2; width < 3000; width += 2) {
        UfView view = uf_view_equirectangular(width);
        UfDirection top, bottom;
        cr_assert(uf_view_direction(&view, (UfPixelPoint){0, 0}, &top), "width %zu", width);
        cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)width, (double)width / 2}, &bottom));
        cr_assert_float_eq(top.y, 1, 1e-15);
        cr_assert_float_eq(bottom.y, -1, 1e-15);
    }
}

Test(sphere_view, full_turn)
{
    for (size_t width = 2; width < 100000; width = width * 3 + 2) {
        UfView view = uf_view_equirectangular(width);
        cr_expect(uf_view_is_full_turn(&view));
        UfView strip = uf_view_window(&view, 0, 0, width, 1);
        cr_expect(uf_view_is_full_turn(&strip), "a strip of whole rows still goes round");
        UfView part = uf_view_window(&view, 1, 0, width - 1, 1);
        cr_expect_not(uf_view_is_full_turn(&part));
    }
    UfView face = uf_view_face(UF_FACE_FRONT, 100);
    cr_expect_not(uf_view_is_full_turn(&face));
}

/* A window shows the same directions: pixel (i, j) of it is pixel (x + i, y + j) of the whole. */
Test(sphere_view, window_is_a_part)
{
    for (int v = 0; v < VIEWS; v++) {
        UfView whole = view_number(v), window = uf_view_window(&whole, 37, 21, 50, 40);
        cr_expect_eq(window.width_px, 50u);
        cr_expect_eq(window.height_px, 40u);
        UfView inner = uf_view_window(&window, 3, 4, 10, 10);
        for (int i = 0; i < 40; i += 3) {
            UfDirection a, b, c;
            UfPixelPoint at = {i + 0.25, i * 0.5};
            bool seen = uf_view_direction(&whole, (UfPixelPoint){at.x_px + 37, at.y_px + 21}, &a);
            cr_assert_eq(uf_view_direction(&window, at, &b), seen);
            cr_assert_eq(uf_view_direction(&inner, (UfPixelPoint){at.x_px - 3, at.y_px - 4}, &c), seen);
            if (seen) {
                cr_assert_lt(uf_angle_between_rad(a, b), 1e-14);
                cr_assert_lt(uf_angle_between_rad(a, c), 1e-14);
            }
        }
    }
}

static void expect_at(const UfView *view, UfPixelPoint at, double lon_deg, double lat_deg)
{
    UfDirection direction;
    cr_assert(uf_view_direction(view, at, &direction));
    UfLonLat should = {uf_radians(lon_deg), uf_radians(lat_deg)};
    cr_expect_lt(uf_angle_between_rad(direction, uf_direction_from_lonlat(should)), 1e-12,
                 "(%g, %g) is not (%g, %g)", at.x_px, at.y_px, lon_deg, lat_deg);
}

Test(sphere_view, planet_has_the_heading_at_the_top)
{
    UfView planet = uf_view_planet(500, uf_radians(240), uf_radians(30), false);
    expect_at(&planet, (UfPixelPoint){250, 250}, 0, -90);
    expect_at(&planet, (UfPixelPoint){250, 0}, 30, 30);
    expect_at(&planet, (UfPixelPoint){500, 250}, 120, 30);
    expect_at(&planet, (UfPixelPoint){250, 500}, -150, 30);
}

Test(sphere_view, planet_with_the_sky_in_the_centre_has_the_heading_at_the_bottom)
{
    UfView planet = uf_view_planet(500, uf_radians(240), uf_radians(30), true);
    expect_at(&planet, (UfPixelPoint){250, 250}, 0, 90);
    expect_at(&planet, (UfPixelPoint){250, 500}, 30, -30);
    expect_at(&planet, (UfPixelPoint){500, 250}, 120, -30);
    expect_at(&planet, (UfPixelPoint){250, 0}, -150, -30);
}

Test(sphere_view, rectilinear_field_and_aim)
{
    UfView view = uf_view_rectilinear(1600, 900, uf_radians(110),
                                      uf_rotation_from_angles(uf_radians(70), uf_radians(-20), 0));
    UfDirection left, right;
    expect_at(&view, (UfPixelPoint){800, 450}, 70, -20);
    cr_assert(uf_view_direction(&view, (UfPixelPoint){0, 450}, &left));
    cr_assert(uf_view_direction(&view, (UfPixelPoint){1600, 450}, &right));
    cr_expect_float_eq(uf_degrees(uf_angle_between_rad(left, right)), 110, 1e-12);
    UfPixelPoint at = {3, 4};
    cr_expect_not(uf_view_pixel(&view, uf_direction_from_lonlat((UfLonLat){uf_radians(-110), 0.3}), &at));
    cr_expect(at.x_px == 3 && at.y_px == 4, "behind the camera there is no pixel");
}

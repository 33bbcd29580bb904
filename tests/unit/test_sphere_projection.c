/* Projections: round trips up to the limits of their domains, digits near axis and antipode, and what makes
 * them. */
#include <criterion/criterion.h>

#include <float.h>
#include <string.h>

#include "truth/sphere_points.h"

#define EACH_PROJECTION(p) for (unsigned p = 0; p < UF_PROJECTION_COUNT; p++)
#define EACH_AZIMUTHAL(p)  for (unsigned p = UF_PROJECTION_RECTILINEAR; p < UF_PROJECTION_COUNT; p++)

/* Largest angle from the axis that has an image, degrees. */
static const double reach_deg[UF_PROJECTION_COUNT] = {180, 90, 180, 180, 180, 90};

static UfDirection at_angles(double theta_rad, double azimuth_rad)
{
    return (UfDirection){sin(theta_rad) * cos(azimuth_rad), sin(theta_rad) * sin(azimuth_rad),
                         cos(theta_rad)};
}

Test(sphere_projection, names)
{
    static const char *const names[UF_PROJECTION_COUNT] = {"equirectangular", "rectilinear", "stereographic",
                                                           "equidistant",     "equisolid",   "orthographic"};
    EACH_PROJECTION(p)
    {
        cr_expect_str_eq(uf_projection_name((UfProjection)p), names[p]);
        cr_expect_gt(strlen(uf_projection_description((UfProjection)p)), 10u);
    }
    cr_expect_null(uf_projection_name(UF_PROJECTION_COUNT));
    cr_expect_null(uf_projection_description(UF_PROJECTION_COUNT));
    cr_expect_null(uf_projection_name((UfProjection)-1));
}

Test(sphere_projection, unknown_projection_has_no_image)
{
    UfPlanePoint at = {7, 8};
    UfDirection direction = {7, 8, 9};
    cr_expect_not(uf_project(UF_PROJECTION_COUNT, (UfDirection){0, 0, 1}, &at));
    cr_expect_not(uf_unproject((UfProjection)-1, (UfPlanePoint){0, 0}, &direction));
    cr_expect(at.x == 7 && at.y == 8 && direction.x == 7 && direction.z == 9, "outputs are untouched");
}

Test(sphere_projection, axis_is_the_origin)
{
    EACH_PROJECTION(p)
    {
        UfPlanePoint at = {1, 1};
        UfDirection back;
        cr_assert(uf_project((UfProjection)p, (UfDirection){0, 0, 1}, &at));
        cr_expect(at.x == 0 && at.y == 0);
        cr_assert(uf_unproject((UfProjection)p, at, &back));
        cr_expect(back.x == 0 && back.y == 0 && back.z == 1);
    }
}

Test(sphere_projection, right_is_right_and_up_is_up)
{
    EACH_PROJECTION(p)
    {
        UfPlanePoint at;
        cr_assert(uf_project((UfProjection)p, uf_direction_from_lonlat((UfLonLat){0.2, 0.1}), &at));
        cr_expect(at.x > 0.1 && at.y > 0.05, "%s", uf_projection_name((UfProjection)p));
    }
}

/* Directions anywhere: an image inside the reach, none outside; the inverse is a unit vector and comes back.
 */
Test(sphere_projection, comes_back_everywhere)
{
    EACH_PROJECTION(p)
    {
        uint64_t state = 300 + p;
        for (int i = 0; i < 50000; i++) {
            UfDirection direction = uf_direction_from_lonlat(random_lonlat(&state));
            double theta_deg = uf_degrees(uf_angle_between_rad(direction, (UfDirection){0, 0, 1}));
            UfPlanePoint at;
            bool has_image = uf_project((UfProjection)p, direction, &at);
            cr_assert_eq(has_image, p == 0 || theta_deg < reach_deg[p]);
            if (!has_image)
                continue;
            UfDirection back;
            cr_assert(uf_unproject((UfProjection)p, at, &back));
            cr_assert_float_eq(hypot(hypot(back.x, back.y), back.z), 1, 1e-15);
            /* Where r runs flat (orthographic rim, equisolid antipode) rounding of r is magnified. */
            double off = uf_angle_between_rad(back, direction);
            double slope = 1;
            if (p == UF_PROJECTION_ORTHOGRAPHIC)
                slope = cos(uf_radians(theta_deg));
            if (p == UF_PROJECTION_EQUISOLID)
                slope = cos(uf_radians(theta_deg / 2));
            cr_assert_lt(off, 3e-15 + 1e-15 / fmax(slope, 1e-9), "%s: %g off at %g degrees",
                         uf_projection_name((UfProjection)p), off, theta_deg);
        }
    }
}

/* Points anywhere in the plane's domain come back from the sphere. */
Test(sphere_projection, plane_comes_back)
{
    static const double disc[UF_PROJECTION_COUNT] = {1.57, 1000, 1000, 3.1415, 1.999, 0.999};
    EACH_PROJECTION(p)
    {
        uint64_t state = 400 + p;
        for (int i = 0; i < 50000; i++) {
            UfPlanePoint point = random_in_disc(&state, disc[p]), back;
            UfDirection direction;
            cr_assert(uf_unproject((UfProjection)p, point, &direction));
            cr_assert(uf_project((UfProjection)p, direction, &back));
            double tolerance = 1e-14 * fmax(1, point.x * point.x + point.y * point.y);
            if (p == UF_PROJECTION_EQUIRECTANGULAR)
                tolerance = 1e-15 / cos(point.y) + 1e-15;
            cr_assert_lt(hypot(back.x - point.x, back.y - point.y), tolerance, "%s (%g, %g)",
                         uf_projection_name((UfProjection)p), point.x, point.y);
        }
    }
}

/* Relative digits at tiny angles: r = theta (1 + O(theta^2)) for every azimuthal projection. */
Test(sphere_projection, tiny_angles_keep_their_digits)
{
    EACH_AZIMUTHAL(p)
    {
        for (double theta = 1e-8; theta > 1e-150; theta /= 10) {
            UfPlanePoint at;
            UfDirection back;
            cr_assert(uf_project((UfProjection)p, at_angles(theta, 0.6), &at));
            cr_expect_float_eq(hypot(at.x, at.y) / theta, 1, 1e-15, "%s at %g",
                               uf_projection_name((UfProjection)p), theta);
            cr_assert(uf_unproject((UfProjection)p, at, &back));
            cr_expect_float_eq(hypot(back.x, back.y) / theta, 1, 1e-15);
        }
    }
}

/* Near the antipode r is known in closed form from the small angle that is left. */
Test(sphere_projection, nearly_opposite_directions_keep_their_digits)
{
    for (double left = 1e-2; left > 1e-14; left /= 10) {
        UfDirection direction = {sin(left) * 0.8, sin(left) * -0.6, -cos(left)}, back;
        UfPlanePoint at;
        cr_assert(uf_project(UF_PROJECTION_STEREOGRAPHIC, direction, &at));
        cr_expect_float_eq(hypot(at.x, at.y) * tan(left / 2) / 2, 1, 1e-14, "stereographic, %g left", left);
        cr_assert(uf_unproject(UF_PROJECTION_STEREOGRAPHIC, at, &back));
        cr_expect_float_eq(hypot(back.x, back.y) / sin(left), 1, 1e-14);

        cr_assert(uf_project(UF_PROJECTION_EQUISOLID, direction, &at));
        cr_expect_float_eq(hypot(at.x, at.y), 2 * cos(left / 2), 1e-15);
        cr_assert(uf_project(UF_PROJECTION_EQUIDISTANT, direction, &at));
        cr_expect_float_eq(hypot(at.x, at.y), UF_PI - left, 1e-15);
        cr_assert(uf_unproject(UF_PROJECTION_EQUIDISTANT, at, &back));
        cr_expect_lt(uf_angle_between_rad(back, direction), 1e-15);
    }
}

Test(sphere_projection, limits_of_the_domains)
{
    const UfDirection antipode = {0, 0, -1}, side = {1, 0, 0}, rounded_side = {1, 0, -6e-17};
    UfPlanePoint at;
    cr_expect_not(uf_project(UF_PROJECTION_RECTILINEAR, side, &at));
    cr_expect_not(uf_project(UF_PROJECTION_RECTILINEAR, (UfDirection){1, 0, 6e-17}, &at),
                  "90 degrees, rounded");
    cr_expect_not(uf_project(UF_PROJECTION_RECTILINEAR, antipode, &at));
    cr_expect_not(uf_project(UF_PROJECTION_STEREOGRAPHIC, antipode, &at));
    cr_expect_not(uf_project(UF_PROJECTION_STEREOGRAPHIC, (UfDirection){1.2e-16, 0, -1}, &at),
                  "rounded antipode");
    cr_assert(uf_project(UF_PROJECTION_EQUIDISTANT, antipode, &at));
    cr_expect(at.x == UF_PI && at.y == 0);
    cr_assert(uf_project(UF_PROJECTION_EQUISOLID, antipode, &at));
    cr_expect(at.x == 2 && at.y == 0);
    cr_assert(uf_project(UF_PROJECTION_ORTHOGRAPHIC, side, &at));
    cr_expect(at.x == 1 && at.y == 0);
    cr_expect(uf_project(UF_PROJECTION_ORTHOGRAPHIC, rounded_side, &at));
    cr_expect_not(uf_project(UF_PROJECTION_ORTHOGRAPHIC, (UfDirection){sqrt(1 - 1e-12), 0, -1e-6}, &at));
}

/* Just inside the border of the plane's domain there is a direction, just outside none, and *out is
 * untouched. */
Test(sphere_projection, limits_of_the_planes)
{
    static const double rim[UF_PROJECTION_COUNT] = {0, 0, 0, UF_PI, 2, 1};
    for (unsigned p = UF_PROJECTION_EQUIDISTANT; p < UF_PROJECTION_COUNT; p++) {
        for (double azimuth = 0; azimuth < 6.3; azimuth += 0.1) {
            UfDirection direction = {7, 8, 9};
            UfPlanePoint outside = {rim[p] * 1.000001 * cos(azimuth), rim[p] * 1.000001 * sin(azimuth)};
            cr_expect_not(uf_unproject((UfProjection)p, outside, &direction));
            cr_expect(direction.x == 7 && direction.y == 8 && direction.z == 9);
            UfPlanePoint border = {rim[p] * cos(azimuth), rim[p] * sin(azimuth)};
            cr_expect(uf_unproject((UfProjection)p, border, &direction), "%s, azimuth %g",
                      uf_projection_name((UfProjection)p), azimuth);
            cr_expect_float_eq(hypot(hypot(direction.x, direction.y), direction.z), 1, 1e-15);
        }
    }
    UfDirection direction = {7, 8, 9};
    cr_expect_not(uf_unproject(UF_PROJECTION_EQUIRECTANGULAR, (UfPlanePoint){0, 1.5708}, &direction));
    cr_expect_not(uf_unproject(UF_PROJECTION_EQUIRECTANGULAR, (UfPlanePoint){0, -1.5708}, &direction));
    cr_expect_eq(direction.x, 7);
    cr_assert(uf_unproject(UF_PROJECTION_EQUIRECTANGULAR, (UfPlanePoint){0.5, UF_PI / 2 * (1 + DBL_EPSILON)},
                           &direction));
    cr_expect_eq(direction.y, 1);
}

Test(sphere_projection, longitude_goes_round)
{
    for (int turns = -2; turns <= 2; turns++) {
        UfDirection once, again;
        cr_assert(uf_unproject(UF_PROJECTION_EQUIRECTANGULAR, (UfPlanePoint){1, 0.5}, &once));
        cr_assert(
            uf_unproject(UF_PROJECTION_EQUIRECTANGULAR, (UfPlanePoint){1 + turns * 2 * UF_PI, 0.5}, &again));
        cr_expect_lt(uf_angle_between_rad(once, again), 4e-15);
    }
}

Test(sphere_projection, refuses_what_is_not_a_number)
{
    static const UfPlanePoint bad[] = {{NAN, 0}, {0, NAN}, {INFINITY, 0}, {0, -INFINITY}};
    EACH_PROJECTION(p)
    {
        for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
            UfDirection direction;
            cr_expect_not(uf_unproject((UfProjection)p, bad[i], &direction), "%s, %zu",
                          uf_projection_name((UfProjection)p), i);
        }
    }
}

/* Radial and tangential scale at theta by central differences. */
static void scales(UfProjection projection, double theta, double *radial, double *tangential)
{
    const double h = 1e-5;
    UfPlanePoint in, out, left, right;
    cr_assert(uf_project(projection, at_angles(theta - h, 1), &in));
    cr_assert(uf_project(projection, at_angles(theta + h, 1), &out));
    cr_assert(uf_project(projection, at_angles(theta, 1 - h), &left));
    cr_assert(uf_project(projection, at_angles(theta, 1 + h), &right));
    *radial = hypot(out.x - in.x, out.y - in.y) / (2 * h);
    *tangential = hypot(right.x - left.x, right.y - left.y) / (2 * h * sin(theta));
}

/* Snyder, PP 1395: the stereographic is conformal, Lambert's equal-area; the equidistant keeps radial
 * lengths. */
Test(sphere_projection, keep_what_they_are_named_for)
{
    for (double theta = 0.1; theta < 3.1; theta += 0.1) {
        double radial, tangential;
        scales(UF_PROJECTION_STEREOGRAPHIC, theta, &radial, &tangential);
        cr_expect_float_eq(radial / tangential, 1, 1e-6);
        cr_expect_float_eq(tangential, 2 / (1 + cos(theta)), 1e-6 * tangential);
        scales(UF_PROJECTION_EQUISOLID, theta, &radial, &tangential);
        cr_expect_float_eq(radial * tangential, 1, 1e-6);
        scales(UF_PROJECTION_EQUIDISTANT, theta, &radial, &tangential);
        cr_expect_float_eq(radial, 1, 1e-6);
    }
    for (double theta = 0.1; theta < 1.5; theta += 0.1) {
        double radial, tangential;
        scales(UF_PROJECTION_ORTHOGRAPHIC, theta, &radial, &tangential);
        cr_expect_float_eq(tangential, 1, 1e-6);
    }
}

/* Straight lines stay straight: three points of a great circle are in line. */
Test(sphere_projection, rectilinear_keeps_straight_lines)
{
    uint64_t state = 500;
    for (int i = 0; i < 1000; i++) {
        UfPlanePoint a = random_in_disc(&state, 3), b = random_in_disc(&state, 3), c;
        UfDirection da, db;
        cr_assert(uf_unproject(UF_PROJECTION_RECTILINEAR, a, &da));
        cr_assert(uf_unproject(UF_PROJECTION_RECTILINEAR, b, &db));
        UfDirection middle = {da.x + db.x, da.y + db.y, da.z + db.z};
        cr_assert(uf_project(UF_PROJECTION_RECTILINEAR, middle, &c));
        double area = (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
        cr_assert_float_eq(area, 0, 1e-14);
    }
}

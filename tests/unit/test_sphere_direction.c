/* Directions, longitude and latitude, and the angle between directions, also where cancellation lurks. */
#include <criterion/criterion.h>

#include "truth/sphere_points.h"

Test(sphere_direction, degrees_and_radians)
{
    cr_expect_float_eq(uf_radians(180), UF_PI, 0);
    cr_expect_float_eq(uf_degrees(UF_PI / 2), 90, 0);
    cr_expect_float_eq(uf_degrees(uf_radians(22.619864948)), 22.619864948, 1e-14);
}

/* d = (cos phi sin lambda, sin phi, cos phi cos lambda): right is +x, up +y, forward +z. */
Test(sphere_direction, axes)
{
    static const struct {
        double lon_deg, lat_deg;
        UfDirection direction;
    } axes[] = {
        {0, 0, {0, 0, 1}},    {90, 0, {1, 0, 0}}, {-90, 0, {-1, 0, 0}},
        {180, 0, {0, 0, -1}}, {0, 90, {0, 1, 0}}, {0, -90, {0, -1, 0}},
    };
    for (size_t i = 0; i < sizeof axes / sizeof axes[0]; i++) {
        UfLonLat at = {uf_radians(axes[i].lon_deg), uf_radians(axes[i].lat_deg)};
        UfDirection direction = uf_direction_from_lonlat(at);
        cr_expect_lt(uf_angle_between_rad(direction, axes[i].direction), 2e-16, "axis %zu", i);
        UfLonLat back = uf_lonlat_from_direction(axes[i].direction);
        cr_expect(back.lon_rad == at.lon_rad && back.lat_rad == at.lat_rad, "axis %zu: (%g, %g)", i,
                  back.lon_rad, back.lat_rad);
    }
}

Test(sphere_direction, comes_back)
{
    uint64_t state = 201;
    for (int i = 0; i < 100000; i++) {
        UfLonLat at = random_lonlat(&state);
        UfDirection direction = uf_direction_from_lonlat(at);
        cr_assert_float_eq(hypot(hypot(direction.x, direction.y), direction.z), 1, 3e-16);
        UfLonLat back = uf_lonlat_from_direction(direction);
        cr_assert_float_eq(back.lon_rad, at.lon_rad, 5e-16);
        cr_assert_float_eq(back.lat_rad, at.lat_rad, 1e-15 + 1e-16 / fmax(1e-3, cos(at.lat_rad)));
    }
}

Test(sphere_direction, seam_is_plus_180_degrees)
{
    cr_expect_eq(uf_lonlat_from_direction((UfDirection){0, 0, -1}).lon_rad, UF_PI);
    cr_expect_eq(uf_lonlat_from_direction((UfDirection){-0.0, 0, -1}).lon_rad, UF_PI);
    cr_expect_eq(uf_lonlat_from_direction((UfDirection){-1e-300, 0, -1}).lon_rad, UF_PI);
    cr_expect_lt(uf_lonlat_from_direction((UfDirection){-1e-15, 0, -1}).lon_rad, 0);
}

Test(sphere_direction, pole_has_longitude_zero)
{
    for (int i = 0; i < 8; i++) {
        UfDirection pole = {i & 1 ? -0.0 : 0.0, i & 2 ? -3 : 3, i & 4 ? -0.0 : 0.0};
        UfLonLat at = uf_lonlat_from_direction(pole);
        cr_expect_eq(at.lon_rad, 0);
        cr_expect_eq(at.lat_rad, copysign(UF_PI / 2, pole.y));
    }
}

Test(sphere_direction, any_length_will_do)
{
    UfLonLat one = uf_lonlat_from_direction((UfDirection){1, 2, -3});
    UfLonLat large = uf_lonlat_from_direction((UfDirection){1e200, 2e200, -3e200});
    UfLonLat small = uf_lonlat_from_direction((UfDirection){1e-200, 2e-200, -3e-200});
    cr_expect_float_eq(one.lon_rad, large.lon_rad, 1e-15);
    cr_expect_float_eq(one.lat_rad, large.lat_rad, 1e-15);
    cr_expect_float_eq(one.lon_rad, small.lon_rad, 1e-15);
    cr_expect_float_eq(one.lat_rad, small.lat_rad, 1e-15);
}

/* The arc cosine of the scalar product would give 0 for all of these below 1e-8. */
Test(sphere_direction, tiny_angles_keep_their_digits)
{
    for (double angle = 1; angle > 1e-15; angle /= 10) {
        UfDirection a = {0, 0, 1}, b = {0, sin(angle), cos(angle)};
        cr_expect_float_eq(uf_angle_between_rad(a, b) / angle, 1, 1e-14, "angle %g", angle);
        UfDirection far = {0, -sin(angle), -cos(angle)};
        cr_expect_float_eq((UF_PI - uf_angle_between_rad(a, far)) / angle, 1, 1e-15 / angle, "pi - %g",
                           angle);
    }
    cr_expect_eq(uf_angle_between_rad((UfDirection){1, 0, 0}, (UfDirection){1, 0, 0}), 0);
    cr_expect_eq(uf_angle_between_rad((UfDirection){0, 1, 0}, (UfDirection){0, -1, 0}), UF_PI);
}

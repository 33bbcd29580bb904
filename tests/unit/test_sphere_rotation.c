/* Rotations and their angles: the signs that sphere.h states, and round trips also at gimbal lock. */
#include <criterion/criterion.h>

#include "truth/sphere_points.h"

static double matrix_difference(const UfRotation *a, const UfRotation *b)
{
    double worst = 0;
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++)
            worst = fmax(worst, fabs(a->m[row][column] - b->m[row][column]));
    return worst;
}

static void expect_direction(UfDirection is, UfDirection should)
{
    cr_expect_lt(uf_angle_between_rad(is, should), 1e-15, "(%g, %g, %g) instead of (%g, %g, %g)", is.x, is.y,
                 is.z, should.x, should.y, should.z);
}

Test(sphere_rotation, axes_turn_as_documented)
{
    const double a = 0.7;
    UfRotation yaw = uf_rotation_from_angles(a, 0, 0);
    UfRotation pitch = uf_rotation_from_angles(0, a, 0);
    UfRotation roll = uf_rotation_from_angles(0, 0, a);
    expect_direction(uf_rotation_apply(&yaw, (UfDirection){0, 0, 1}), (UfDirection){sin(a), 0, cos(a)});
    expect_direction(uf_rotation_apply(&pitch, (UfDirection){0, 0, 1}), (UfDirection){0, sin(a), cos(a)});
    expect_direction(uf_rotation_apply(&roll, (UfDirection){cos(a), sin(a), 0}), (UfDirection){1, 0, 0});
}

/* The Photo Sphere metadata's roll: as it grows, the horizon turns counter-clockwise in the picture. */
Test(sphere_rotation, roll_turns_the_horizon_counter_clockwise)
{
    UfView view =
        uf_view_rectilinear(100, 100, uf_radians(90), uf_rotation_from_angles(0, 0, uf_radians(10)));
    UfPixelPoint right, left;
    cr_assert(uf_view_pixel(&view, uf_direction_from_lonlat((UfLonLat){0.5, 0}), &right));
    cr_assert(uf_view_pixel(&view, uf_direction_from_lonlat((UfLonLat){-0.5, 0}), &left));
    cr_expect_lt(right.y_px, 50, "the right end of the horizon lies higher");
    cr_expect_gt(left.y_px, 50, "the left end lies lower");
    cr_expect_float_eq(atan2(50 - right.y_px, right.x_px - 50), uf_radians(10), 1e-12);
}

Test(sphere_rotation, is_orthonormal_and_right_handed)
{
    uint64_t state = 101;
    UfRotation identity = uf_rotation_identity();
    for (int i = 0; i < 10000; i++) {
        UfRotation r =
            uf_rotation_from_angles(random_between(&state, -10, 10), random_between(&state, -10, 10),
                                    random_between(&state, -10, 10));
        UfRotation inverse = uf_rotation_inverse(&r);
        UfRotation product = uf_rotation_product(&r, &inverse);
        cr_assert_lt(matrix_difference(&product, &identity), 1e-15);
        const double(*m)[3] = (const double(*)[3])r.m;
        double determinant = m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) -
                             m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0]) +
                             m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
        cr_assert_float_eq(determinant, 1, 1e-15);
    }
}

Test(sphere_rotation, is_the_product_yaw_pitch_roll)
{
    uint64_t state = 102;
    for (int i = 0; i < 1000; i++) {
        double a = random_between(&state, -4, 4), b = random_between(&state, -4, 4);
        double c = random_between(&state, -4, 4);
        UfRotation yaw = uf_rotation_from_angles(a, 0, 0), pitch = uf_rotation_from_angles(0, b, 0);
        UfRotation roll = uf_rotation_from_angles(0, 0, c), whole = uf_rotation_from_angles(a, b, c);
        UfRotation tilted = uf_rotation_product(&pitch, &roll);
        UfRotation product = uf_rotation_product(&yaw, &tilted);
        cr_assert_lt(matrix_difference(&product, &whole), 1e-15);
    }
}

Test(sphere_rotation, product_applies_the_second_first)
{
    UfRotation yaw = uf_rotation_from_angles(UF_PI / 2, 0, 0),
               pitch = uf_rotation_from_angles(0, UF_PI / 2, 0);
    UfRotation both = uf_rotation_product(&yaw, &pitch);
    UfDirection forward = {0, 0, 1};
    expect_direction(uf_rotation_apply(&both, forward), (UfDirection){0, 1, 0});
    UfRotation other = uf_rotation_product(&pitch, &yaw);
    expect_direction(uf_rotation_apply(&other, forward), (UfDirection){1, 0, 0});
}

static void expect_angles_come_back(double yaw, double pitch, double roll, double tolerance)
{
    UfRotation r = uf_rotation_from_angles(yaw, pitch, roll);
    double a, b, c;
    uf_rotation_angles(&r, &a, &b, &c);
    cr_expect(a > -UF_PI && a <= UF_PI && c > -UF_PI && c <= UF_PI, "yaw %.17g or roll %.17g out of range", a,
              c);
    cr_expect(fabs(b) <= UF_PI / 2, "pitch %.17g out of range", b);
    UfRotation again = uf_rotation_from_angles(a, b, c);
    cr_expect_lt(matrix_difference(&again, &r), 2e-15, "(%g, %g, %g) makes another rotation", yaw, pitch,
                 roll);
    if (tolerance > 0)
        cr_expect(fabs(remainder(a - yaw, 2 * UF_PI)) < tolerance && fabs(b - pitch) < tolerance &&
                      fabs(remainder(c - roll, 2 * UF_PI)) < tolerance,
                  "(%.17g, %.17g, %.17g) comes back as (%.17g, %.17g, %.17g)", yaw, pitch, roll, a, b, c);
}

Test(sphere_rotation, angles_come_back)
{
    uint64_t state = 103;
    for (int i = 0; i < 10000; i++)
        expect_angles_come_back(random_between(&state, -UF_PI, UF_PI), random_between(&state, -1.57, 1.57),
                                random_between(&state, -UF_PI, UF_PI), 1e-11);
    expect_angles_come_back(UF_PI, 0, 0, 1e-15);
    expect_angles_come_back(-UF_PI, 0, 0, 1e-15);
    expect_angles_come_back(0, 0, UF_PI, 1e-15);
    expect_angles_come_back(0, 0, -UF_PI, 1e-15);
    expect_angles_come_back(1e-9, -1e-9, 1e-9, 1e-20);
}

/* However near to straight up or down, the found angles make the same rotation. */
Test(sphere_rotation, angles_come_back_near_gimbal_lock)
{
    for (int sign = -1; sign <= 1; sign += 2)
        for (double off = 1e-3; off > 1e-18; off /= 3)
            for (double yaw = -3; yaw < 3.2; yaw += 0.7)
                for (double roll = -3; roll < 3.2; roll += 0.7)
                    expect_angles_come_back(yaw, sign * (UF_PI / 2 - off), roll, 0);
}

Test(sphere_rotation, roll_is_zero_straight_up_and_down)
{
    for (int sign = -1; sign <= 1; sign += 2) {
        UfRotation r = uf_rotation_from_angles(0.4, sign * UF_PI / 2, 0.25);
        double yaw, pitch, roll;
        uf_rotation_angles(&r, &yaw, &pitch, &roll);
        cr_expect_float_eq(pitch, sign * UF_PI / 2, 1e-15);
        cr_expect_eq(roll, 0);
        /* Looking up, roll counts against yaw; looking down, with it. */
        cr_expect_float_eq(yaw, 0.4 - sign * 0.25, 1e-15);
        expect_angles_come_back(0.4, sign * UF_PI / 2, 0.25, 0);
    }
    UfRotation up = uf_face_rotation(UF_FACE_UP);
    double yaw, pitch, roll;
    uf_rotation_angles(&up, &yaw, &pitch, &roll);
    cr_expect(yaw == 0 && pitch == UF_PI / 2 && roll == 0);
}

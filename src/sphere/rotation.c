/*
 * Rotations: d_world = Ry(yaw) Rx(pitch) Rz(roll) d_camera, row-major matrices.
 * Ry(a) = [c 0 s; 0 1 0; -s 0 c], Rx(a) = [1 0 0; 0 c s; 0 -s c], Rz(a) = [c s 0; -s c 0; 0 0 1].
 */
#include <underfoot/sphere.h>

#include <float.h>
#include <math.h>

UfRotation uf_rotation_identity(void)
{
    return (UfRotation){{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
}

UfRotation uf_rotation_from_angles(double yaw_rad, double pitch_rad, double roll_rad)
{
    double sy = sin(yaw_rad), cy = cos(yaw_rad);
    double sp = sin(pitch_rad), cp = cos(pitch_rad);
    double sr = sin(roll_rad), cr = cos(roll_rad);
    return (UfRotation){{
        {cy * cr + sy * sp * sr, cy * sr - sy * sp * cr, sy * cp},
        {-cp * sr, cp * cr, sp},
        {-sy * cr + cy * sp * sr, -sy * sr - cy * sp * cr, cy * cp},
    }};
}

static double positive_half_turn(double rad)
{
    return rad <= -UF_PI ? UF_PI : rad;
}

/*
 * Near pitch +-90 degrees yaw alone is ill-determined. Roll is therefore read from what is left when the
 * found yaw is taken away, Ry(-yaw) M = Rx Rz, whose first row is (cos roll, sin roll, 0): together they
 * always give the rotation back to rounding.
 */
void uf_rotation_angles(const UfRotation *rotation, double *yaw_rad, double *pitch_rad, double *roll_rad)
{
    const double(*m)[3] = rotation->m;
    double level = hypot(m[0][2], m[2][2]);
    if (level <= 4 * DBL_EPSILON) {
        *yaw_rad = positive_half_turn(atan2(-m[2][0], m[0][0]));
        *pitch_rad = copysign(UF_PI / 2, m[1][2]);
        *roll_rad = 0;
        return;
    }
    double sy = m[0][2] / level, cy = m[2][2] / level;
    *yaw_rad = positive_half_turn(atan2(m[0][2], m[2][2]));
    *pitch_rad = atan2(m[1][2], level);
    *roll_rad = positive_half_turn(atan2(cy * m[0][1] - sy * m[2][1], cy * m[0][0] - sy * m[2][0]));
}

UfRotation uf_rotation_inverse(const UfRotation *rotation)
{
    UfRotation out;
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++)
            out.m[row][column] = rotation->m[column][row];
    return out;
}

UfRotation uf_rotation_product(const UfRotation *a, const UfRotation *b)
{
    UfRotation out;
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++)
            out.m[row][column] = a->m[row][0] * b->m[0][column] + a->m[row][1] * b->m[1][column] +
                                 a->m[row][2] * b->m[2][column];
    return out;
}

UfDirection uf_rotation_apply(const UfRotation *rotation, UfDirection direction)
{
    const double(*m)[3] = rotation->m;
    return (UfDirection){
        m[0][0] * direction.x + m[0][1] * direction.y + m[0][2] * direction.z,
        m[1][0] * direction.x + m[1][1] * direction.y + m[1][2] * direction.z,
        m[2][0] * direction.x + m[2][1] * direction.y + m[2][2] * direction.z,
    };
}

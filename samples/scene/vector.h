/* Three-component vectors for points (metres), directions and linear RGB. x right, y up, z forward. */
#ifndef SCENE_VECTOR_H
#define SCENE_VECTOR_H

#include <math.h>

#define PI 3.14159265358979323846

typedef struct V3 {
    double x, y, z;
} V3;

static inline V3 v3(double x, double y, double z)
{
    return (V3){x, y, z};
}
static inline V3 v_add(V3 a, V3 b)
{
    return (V3){a.x + b.x, a.y + b.y, a.z + b.z};
}
static inline V3 v_sub(V3 a, V3 b)
{
    return (V3){a.x - b.x, a.y - b.y, a.z - b.z};
}
static inline V3 v_mul(V3 a, V3 b)
{
    return (V3){a.x * b.x, a.y * b.y, a.z * b.z};
}
static inline V3 v_scale(V3 a, double s)
{
    return (V3){a.x * s, a.y * s, a.z * s};
}
/* a + s b */
static inline V3 v_along(V3 a, V3 b, double s)
{
    return (V3){a.x + b.x * s, a.y + b.y * s, a.z + b.z * s};
}
static inline double v_dot(V3 a, V3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
static inline V3 v_cross(V3 a, V3 b)
{
    return (V3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
static inline double v_length(V3 a)
{
    return sqrt(v_dot(a, a));
}
static inline V3 v_unit(V3 a)
{
    return v_scale(a, 1.0 / v_length(a));
}
static inline double mix(double a, double b, double t)
{
    return a + (b - a) * t;
}
static inline V3 v_mix(V3 a, V3 b, double t)
{
    return (V3){mix(a.x, b.x, t), mix(a.y, b.y, t), mix(a.z, b.z, t)};
}
/* The C library's fmin and fmax are calls, since they care for NaN. */
static inline double lesser(double a, double b)
{
    return a < b ? a : b;
}
static inline double greater(double a, double b)
{
    return a > b ? a : b;
}
static inline double fraction(double v)
{
    return v - floor(v);
}
static inline double clamp(double v, double lo, double hi)
{
    return v < lo ? lo : v > hi ? hi : v;
}
static inline double smooth_step(double from, double to, double v)
{
    double t = clamp((v - from) / (to - from), 0, 1);
    return t * t * (3 - 2 * t);
}
/* Relative luminance of linear sRGB (IEC 61966-2-1, ITU-R BT.709). */
static inline double v_luminance(V3 c)
{
    return 0.2126 * c.x + 0.7152 * c.y + 0.0722 * c.z;
}
/* Two unit vectors across `n`. */
static inline void v_basis(V3 n, V3 *a, V3 *b)
{
    V3 other = fabs(n.y) < 0.9 ? v3(0, 1, 0) : v3(1, 0, 0);
    *a = v_unit(v_cross(other, n));
    *b = v_cross(n, *a);
}

#endif

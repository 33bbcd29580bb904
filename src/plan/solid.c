/*
 * Boxes by their slabs, rods as cylinders with flat ends, discs as horizontal circles. A ray is o + t d with
 * o the origin; textbook ray casting (A. S. Glassner, ed., An Introduction to Ray Tracing, 1989, chapter 2,
 * from memory).
 */
#include "plan/solid.h"

#include <math.h>

/* Below this a ray counts as parallel; distances are millimetres. */
#define PARALLEL 1e-14
/* The cone is a little wider than the solid, so that rounding cannot cut it. */
#define CONE_SLACK_RAD 1e-7

static double dot(UfDirection a, UfDirection b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static UfDirection vector(const double at[3])
{
    return (UfDirection){at[0], at[1], at[2]};
}

static UfDirection along_from(UfDirection from, UfDirection step, double times)
{
    return (UfDirection){from.x + times * step.x, from.y + times * step.y, from.z + times * step.z};
}

static UfDirection unit(UfDirection v)
{
    double length = sqrt(dot(v, v));
    return (UfDirection){v.x / length, v.y / length, v.z / length};
}

static void set_cone(UfSolid *solid, UfDirection axis, double half_angle_rad)
{
    solid->cone_axis = axis;
    solid->cone_cos = half_angle_rad + CONE_SLACK_RAD < UF_PI ? cos(half_angle_rad + CONE_SLACK_RAD) : -2;
}

/* A convex solid is within the cone about the mean direction of its corners when that is narrower than 90
 * degrees. */
static void set_box_cone(UfSolid *solid)
{
    UfDirection sum = {0, 0, 0};
    UfDirection corners[8];
    for (int i = 0; i < 8; i++) {
        UfDirection corner = {i & 1 ? solid->high[0] : solid->low[0], i & 2 ? solid->high[1] : solid->low[1],
                              i & 4 ? solid->high[2] : solid->low[2]};
        if (dot(corner, corner) > 0)
            corner = unit(corner);
        corners[i] = corner;
        sum = along_from(sum, corner, 1);
    }
    double widest = UF_PI;
    if (dot(sum, sum) > 1e-6) {
        sum = unit(sum);
        widest = 0;
        for (int i = 0; i < 8; i++)
            widest = fmax(widest, uf_angle_between_rad(sum, corners[i]));
    }
    set_cone(solid, sum, widest < UF_PI / 2 ? widest : UF_PI);
}

/* Half-angle of a ball seen from the origin; pi when the origin is inside it. */
static double ball_half_angle(UfDirection centre, double radius)
{
    double distance = sqrt(dot(centre, centre));
    return distance > radius ? asin(radius / distance) : UF_PI;
}

/* A rod is inside the hull of the balls about its ends. */
static void set_rod_cone(UfSolid *solid)
{
    UfDirection ends[2] = {solid->end, along_from(solid->end, solid->axis, solid->length)};
    double widest = UF_PI;
    UfDirection axis = {0, 0, 0};
    for (int i = 0; i < 2; i++)
        if (dot(ends[i], ends[i]) > 0)
            axis = along_from(axis, unit(ends[i]), 1);
    if (dot(axis, axis) > 1e-6) {
        axis = unit(axis);
        widest = 0;
        for (int i = 0; i < 2; i++) {
            double ball = ball_half_angle(ends[i], solid->radius);
            widest = fmax(widest, ball < UF_PI ? ball + uf_angle_between_rad(axis, unit(ends[i])) : UF_PI);
        }
    }
    set_cone(solid, axis, widest < UF_PI / 2 ? widest : UF_PI);
}

static void set_disc_cone(UfSolid *solid)
{
    double ball = ball_half_angle(solid->centre, solid->radius);
    if (ball < UF_PI)
        set_cone(solid, unit(solid->centre), ball);
    else
        set_cone(solid, (UfDirection){0, solid->centre.y > 0 ? 1 : -1, 0}, UF_PI / 2);
}

UfSolid uf_solid_from_part(const UfPart *part)
{
    UfSolid solid = {.shape = part->shape, .radius = part->radius_mm};
    if (part->shape == UF_PART_BOX) {
        for (int i = 0; i < 3; i++) {
            solid.low[i] = fmin(part->from_mm[i], part->to_mm[i]);
            solid.high[i] = fmax(part->from_mm[i], part->to_mm[i]);
        }
        set_box_cone(&solid);
        solid.outline = uf_outline_of_box(solid.low, solid.high);
    } else if (part->shape == UF_PART_ROD) {
        UfDirection span = along_from(vector(part->to_mm), vector(part->from_mm), -1);
        solid.end = vector(part->from_mm);
        solid.length = sqrt(dot(span, span));
        solid.axis = unit(span);
        solid.end_along = dot(solid.end, solid.axis);
        UfDirection across = along_from(solid.end, solid.axis, -solid.end_along);
        solid.end_across_square = dot(across, across);
        set_rod_cone(&solid);
        solid.outline = uf_outline_of_rod(solid.end, solid.axis, solid.length, solid.radius);
    } else {
        solid.centre = vector(part->from_mm);
        set_disc_cone(&solid);
        solid.outline = uf_outline_of_disc(solid.centre, solid.radius);
    }
    return solid;
}

static double box_distance(const UfSolid *solid, UfDirection along)
{
    double d[3] = {along.x, along.y, along.z};
    double enter = 0;
    double leave = INFINITY;
    for (int i = 0; i < 3; i++) {
        if (fabs(d[i]) < PARALLEL) {
            if (solid->low[i] > 0 || solid->high[i] < 0)
                return INFINITY;
            continue;
        }
        double a = solid->low[i] / d[i];
        double b = solid->high[i] / d[i];
        double first = a < b ? a : b, last = a < b ? b : a;
        enter = first > enter ? first : enter;
        leave = last < leave ? last : leave;
    }
    return enter <= leave && leave > 0 ? enter : INFINITY;
}

/* s is the place along the axis, counted from the first end: s = t (d . axis) - end . axis. */
static double rod_distance(const UfSolid *solid, UfDirection along)
{
    double d_along = dot(along, solid->axis);
    UfDirection d_across = along_from(along, solid->axis, -d_along);
    double a = dot(d_across, d_across);
    double b = dot(d_across, solid->end);
    double c = solid->end_across_square - solid->radius * solid->radius;
    double root = b * b - a * c;
    double best = INFINITY;
    if (a > PARALLEL && root >= 0) {
        double t = (b - sqrt(root)) / a;
        double s = t * d_along - solid->end_along;
        if (t > 0 && s >= 0 && s <= solid->length)
            best = t;
    }
    for (int i = 0; i < 2 && fabs(d_along) > PARALLEL; i++) {
        double t = (solid->end_along + i * solid->length) / d_along;
        double across_square = t * t * a - 2 * t * b + solid->end_across_square;
        if (t > 0 && t < best && across_square <= solid->radius * solid->radius)
            best = t;
    }
    return best;
}

static double disc_distance(const UfSolid *solid, UfDirection along)
{
    double t = fabs(along.y) < PARALLEL ? -1 : solid->centre.y / along.y;
    double x = t * along.x - solid->centre.x;
    double z = t * along.z - solid->centre.z;
    return t > 0 && x * x + z * z <= solid->radius * solid->radius ? t : INFINITY;
}

double uf_solid_distance(const UfSolid *solid, UfDirection along)
{
    if (solid->shape == UF_PART_BOX)
        return box_distance(solid, along);
    return solid->shape == UF_PART_ROD ? rod_distance(solid, along) : disc_distance(solid, along);
}

bool uf_part_holds_pupil(const UfPart *part)
{
    UfSolid solid = uf_solid_from_part(part);
    if (part->shape == UF_PART_BOX) {
        bool holds = true;
        for (int i = 0; i < 3; i++)
            holds = holds && solid.low[i] <= 0 && solid.high[i] >= 0;
        return holds;
    }
    if (part->shape == UF_PART_ROD)
        return -solid.end_along >= 0 && -solid.end_along <= solid.length &&
               solid.end_across_square <= solid.radius * solid.radius;
    return solid.centre.y == 0 && hypot(solid.centre.x, solid.centre.z) <= solid.radius;
}

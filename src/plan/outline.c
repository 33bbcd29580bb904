/*
 * A box is seen as the polygon between the planes through the pupil and its silhouette's edges, which part a
 * side that faces the pupil from one that does not. A rod lies between two planes that touch it along its
 * length, and two through its ends; what they miss at the round ends stays unclear. A rod under the pupil is
 * seen as the disc of its end. A cone of directions cuts a disc's plane in an ellipse, whose farthest point
 * from the cone's axis lies straight away from the foot of the perpendicular.
 */
#include "plan/outline.h"

#include <math.h>

/* So that rounding decides nothing. */
#define SLACK 1e-9

static double dot(UfDirection a, UfDirection b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static UfDirection cross(UfDirection a, UfDirection b)
{
    return (UfDirection){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

static UfDirection sum(UfDirection a, double times_a, UfDirection b, double times_b)
{
    return (UfDirection){times_a * a.x + times_b * b.x, times_a * a.y + times_b * b.y,
                         times_a * a.z + times_b * b.z};
}

static double length_of(UfDirection v)
{
    return sqrt(dot(v, v));
}

/* The plane through the pupil with this normal, `inside` on its inner side; without one nothing is said. */
static void add_plane(UfPlanes *planes, UfDirection normal, UfDirection inside)
{
    double length = length_of(normal);
    if (planes->count < 0 || !(length > 0)) {
        planes->count = -1;
        return;
    }
    double sign = dot(normal, inside) > 0 ? -1 : 1;
    planes->normals[planes->count++] = sum(normal, sign / length, normal, 0);
}

/* --- boxes --- */

static UfDirection corner(const double low[3], const double high[3], int which)
{
    return (UfDirection){which & 1 ? high[0] : low[0], which & 2 ? high[1] : low[1],
                         which & 4 ? high[2] : low[2]};
}

/* The edge along `along` on the lower or upper sides of the two other axes parts the sides that meet in it.
 */
static void add_edge(UfPlanes *planes, const double low[3], const double high[3], int along, int sides)
{
    int which = 0;
    bool faces[2];
    for (int i = 0; i < 2; i++) {
        int axis = (along + 1 + i) % 3;
        bool is_high = (sides >> i & 1) != 0;
        which |= is_high ? 1 << axis : 0;
        faces[i] = is_high ? high[axis] < 0 : low[axis] > 0;
    }
    if (faces[0] == faces[1] || planes->count < 0)
        return;
    UfDirection normal = cross(corner(low, high, which), corner(low, high, which | 1 << along));
    add_plane(planes, normal, sum(corner(low, high, 0), 0.5, corner(low, high, 7), 0.5));
}

/* The angle from a pole is largest in a corner when all corners are nearer to it than 90 degrees. */
static double farthest_corner(const double low[3], const double high[3], double up)
{
    double farthest = 0;
    for (int i = 0; i < 8; i++) {
        UfDirection at = corner(low, high, i);
        if (!(up * at.y > 0))
            return UF_PI;
        farthest = fmax(farthest, atan2(hypot(at.x, at.z), up * at.y));
    }
    return farthest;
}

UfOutline uf_outline_of_box(const double low[3], const double high[3])
{
    UfOutline outline = {.farthest_rad = {farthest_corner(low, high, -1), farthest_corner(low, high, 1)}};
    for (int along = 0; along < 3; along++)
        for (int sides = 0; sides < 4; sides++)
            add_edge(&outline.outer, low, high, along, sides);
    if (outline.outer.count < 0)
        outline.outer.count = 0;
    outline.inner = outline.outer;
    return outline;
}

/* --- discs --- */

/* The disc's plane is `height` away along `axis`. */
static UfOutline disc(UfDirection centre, UfDirection axis, double height, double radius)
{
    UfOutline outline = {.is_disc = true,
                         .axis = axis,
                         .centre = centre,
                         .height = height,
                         .radius = radius,
                         .farthest_rad = {UF_PI, UF_PI}};
    if (fabs(axis.x) + fabs(axis.z) < 1e-15)
        outline.farthest_rad[axis.y > 0] = atan((hypot(centre.x, centre.z) + radius) / height);
    return outline;
}

UfOutline uf_outline_of_disc(UfDirection centre, double radius)
{
    return disc(centre, (UfDirection){0, centre.y > 0 ? 1 : -1, 0}, fabs(centre.y), radius);
}

static UfShare disc_covers(const UfOutline *outline, UfCone cone)
{
    double up = dot(outline->axis, cone.axis), across = sqrt(fmax(0, 1 - up * up));
    if (up < 0 && up * cone.cosine + across * cone.sine < -SLACK)
        return UF_SHARE_NONE;
    double far_up = up * cone.cosine - across * cone.sine;
    if (!(far_up > 1e-3) || !(outline->height > 0))
        return UF_SHARE_UNCLEAR;
    double slack = SLACK * (outline->height / far_up + outline->radius);
    double reach = outline->height * ((across * cone.cosine + up * cone.sine) / far_up - across / up) + slack;
    double away = length_of(sum(cone.axis, outline->height / up, outline->centre, -1));
    if (away - reach >= outline->radius)
        return UF_SHARE_NONE;
    return away + reach <= outline->radius ? UF_SHARE_ALL : UF_SHARE_UNCLEAR;
}

/* --- rods --- */

/* A plane through a point of the plane of rod and pupil, square to that plane. */
static UfDirection end_plane(UfDirection axis, UfDirection out, double along, double away)
{
    return sum(out, along, axis, -away);
}

/* Seen from the side; `out` is the unit vector from the pupil straight to the rod's line, `away` off. */
static UfOutline side_of_rod(UfDirection axis, UfDirection out, double away, const double ends[2],
                             double radius)
{
    UfOutline outline = {.farthest_rad = {UF_PI, UF_PI}};
    UfDirection middle = sum(out, away, axis, (ends[0] + ends[1]) / 2), sideways = cross(axis, out);
    double sine = radius / away, cosine = sqrt(1 - sine * sine);
    double touch = away - radius * sine; /* where the planes along the rod touch it */
    UfDirection inside = sum(out, touch, axis, (ends[0] + ends[1]) / 2);
    add_plane(&outline.outer, sum(sideways, cosine, out, -sine), middle);
    add_plane(&outline.outer, sum(sideways, -cosine, out, -sine), middle);
    outline.inner = outline.outer;
    for (int i = 0; i < 2; i++) {
        bool is_near = (i == 1) == (ends[i] > 0); /* the rod goes on from there across the pupil's foot */
        add_plane(&outline.outer, end_plane(axis, out, ends[i], is_near ? away - radius : away + radius),
                  middle);
        add_plane(&outline.inner, end_plane(axis, out, ends[i], touch), inside);
    }
    return outline;
}

UfOutline uf_outline_of_rod(UfDirection end, UfDirection axis, double length, double radius)
{
    double along = dot(end, axis), ends[2] = {along, along + length};
    UfDirection out = sum(end, 1, axis, -along);
    double away = length_of(out);
    if (away > radius * (1 + 1e-6))
        return side_of_rod(axis, sum(out, 1 / away, out, 0), away, ends, radius);
    if (away > radius * (1 - 1e-6))
        return (UfOutline){.farthest_rad = {UF_PI, UF_PI}};
    if (ends[0] > 0)
        return disc(end, axis, ends[0], radius);
    return disc(sum(end, 1, axis, length), sum(axis, -1, axis, 0), -ends[1], radius);
}

/* --- cones --- */

UfShare uf_outline_covers(const UfOutline *outline, UfCone cone)
{
    if (outline->is_disc)
        return disc_covers(outline, cone);
    for (int i = 0; i < outline->outer.count; i++)
        if (dot(outline->outer.normals[i], cone.axis) > cone.sine + SLACK)
            return UF_SHARE_NONE;
    for (int i = 0; i < outline->inner.count; i++)
        if (dot(outline->inner.normals[i], cone.axis) > -cone.sine - SLACK)
            return UF_SHARE_UNCLEAR;
    return outline->inner.count > 0 ? UF_SHARE_ALL : UF_SHARE_UNCLEAR;
}

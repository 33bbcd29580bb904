/*
 * Projections and rotations against PROJ (libproj, called directly), on random points from fixed seeds.
 *
 * Forward: distance of the two plane points for radius 1, relative to their distance from the middle where
 * that is above 1. Inverse: angle between the two directions. Both at most 1e-9 (radians).
 */
#include <criterion/criterion.h>

#include <proj.h>
#include <stdio.h>

#include "truth/sphere_points.h"

#define CENTRES   24
#define POINTS    1000
#define TOLERANCE 1e-9

/* PROJ's name, ours, how far from the axis points are taken, and the disc of the inverse. */
typedef struct Pair {
    const char *operation;
    UfProjection projection;
    double limit_deg;
    double disc_radius;
} Pair;

typedef struct Worst {
    double forward, inverse;
    int forward_count, inverse_count;
} Worst;

static PJ *create(PJ_CONTEXT *context, const char *definition)
{
    PJ *transformation = proj_create(context, definition);
    cr_assert_not_null(transformation, "PROJ does not take '%s'", definition);
    return transformation;
}

/* Centres: both poles and the equator, where PROJ has formulas of their own, then anywhere. */
static UfLonLat centre_number(int index, uint64_t *state)
{
    static const UfLonLat special[] = {{0, UF_PI / 2}, {1, -UF_PI / 2}, {0, 0}, {-2, 0}};
    UfLonLat anywhere = random_lonlat(state);
    return index < 4 ? special[index] : anywhere;
}

static void compare_forward(const Pair *pair, PJ *other, const UfRotation *camera, uint64_t *state,
                            Worst *worst)
{
    UfLonLat at = random_lonlat(state);
    UfRotation into_camera = uf_rotation_inverse(camera);
    UfDirection seen = uf_rotation_apply(&into_camera, uf_direction_from_lonlat(at));
    if (uf_angle_between_rad(seen, (UfDirection){0, 0, 1}) > uf_radians(pair->limit_deg))
        return;
    UfPlanePoint ours;
    cr_assert(uf_project(pair->projection, seen, &ours));
    PJ_COORD theirs = proj_trans(other, PJ_FWD, proj_coord(at.lon_rad, at.lat_rad, 0, 0));
    worst->forward = fmax(worst->forward, plane_difference(ours, (UfPlanePoint){theirs.xy.x, theirs.xy.y}));
    worst->forward_count++;
}

static void compare_inverse(const Pair *pair, PJ *other, const UfRotation *camera, uint64_t *state,
                            Worst *worst)
{
    UfPlanePoint at = random_in_disc(state, pair->disc_radius);
    UfDirection seen;
    cr_assert(uf_unproject(pair->projection, at, &seen));
    PJ_COORD theirs = proj_trans(other, PJ_INV, proj_coord(at.x, at.y, 0, 0));
    UfDirection should = uf_direction_from_lonlat((UfLonLat){theirs.lp.lam, theirs.lp.phi});
    worst->inverse = fmax(worst->inverse, uf_angle_between_rad(uf_rotation_apply(camera, seen), should));
    worst->inverse_count++;
}

static void compare_with_proj(const Pair *pair, uint64_t seed)
{
    PJ_CONTEXT *context = proj_context_create();
    Worst worst = {0};
    uint64_t state = seed;
    for (int i = 0; i < CENTRES; i++) {
        UfLonLat centre = centre_number(i, &state);
        UfRotation camera = uf_rotation_from_angles(centre.lon_rad, centre.lat_rad, 0);
        char definition[256];
        snprintf(definition, sizeof definition, "%s +R=1 +lat_0=%.17g +lon_0=%.17g", pair->operation,
                 uf_degrees(centre.lat_rad), uf_degrees(centre.lon_rad));
        PJ *other = create(context, definition);
        for (int k = 0; k < POINTS; k++) {
            compare_forward(pair, other, &camera, &state, &worst);
            compare_inverse(pair, other, &camera, &state, &worst);
        }
        proj_destroy(other);
    }
    proj_context_destroy(context);
    cr_expect_geq(worst.forward_count, 10000);
    cr_expect_geq(worst.inverse_count, 10000);
    cr_expect_leq(worst.forward, TOLERANCE, "forward differs by %.3g", worst.forward);
    cr_expect_leq(worst.inverse, TOLERANCE, "inverse differs by %.3g", worst.inverse);
}

Test(truth_proj, gnomonic)
{
    compare_with_proj(&(Pair){"+proj=gnom", UF_PROJECTION_RECTILINEAR, 89, 50}, 1);
}

Test(truth_proj, stereographic)
{
    compare_with_proj(&(Pair){"+proj=stere +k_0=1", UF_PROJECTION_STEREOGRAPHIC, 179, 200}, 2);
}

Test(truth_proj, azimuthal_equidistant)
{
    compare_with_proj(&(Pair){"+proj=aeqd", UF_PROJECTION_EQUIDISTANT, 179, 3.14}, 3);
}

Test(truth_proj, lambert_azimuthal_equal_area)
{
    compare_with_proj(&(Pair){"+proj=laea", UF_PROJECTION_EQUISOLID, 179, 1.9999}, 4);
}

Test(truth_proj, orthographic)
{
    compare_with_proj(&(Pair){"+proj=ortho", UF_PROJECTION_ORTHOGRAPHIC, 89.99, 0.9999999}, 5);
}

/* Cylindrical: compared without a turn, over the whole sphere. */
Test(truth_proj, equidistant_cylindrical)
{
    PJ_CONTEXT *context = proj_context_create();
    PJ *other = create(context, "+proj=eqc +R=1 +lat_ts=0 +lon_0=0");
    uint64_t state = 6;
    double forward = 0, inverse = 0;
    for (int i = 0; i < 20000; i++) {
        UfLonLat at = random_lonlat(&state);
        UfPlanePoint ours;
        cr_assert(uf_project(UF_PROJECTION_EQUIRECTANGULAR, uf_direction_from_lonlat(at), &ours));
        PJ_COORD theirs = proj_trans(other, PJ_FWD, proj_coord(at.lon_rad, at.lat_rad, 0, 0));
        /* Longitude counts by the circle it lies on. */
        forward = fmax(forward, hypot((ours.x - theirs.xy.x) * cos(at.lat_rad), ours.y - theirs.xy.y));
        UfPlanePoint point = {random_between(&state, -UF_PI, UF_PI),
                              random_between(&state, -UF_PI / 2, UF_PI / 2)};
        UfDirection direction;
        cr_assert(uf_unproject(UF_PROJECTION_EQUIRECTANGULAR, point, &direction));
        theirs = proj_trans(other, PJ_INV, proj_coord(point.x, point.y, 0, 0));
        UfLonLat should = {theirs.lp.lam, theirs.lp.phi};
        inverse = fmax(inverse, uf_angle_between_rad(direction, uf_direction_from_lonlat(should)));
    }
    proj_destroy(other);
    proj_context_destroy(context);
    cr_expect_leq(forward, TOLERANCE, "forward differs by %.3g", forward);
    cr_expect_leq(inverse, TOLERANCE, "inverse differs by %.3g", inverse);
}

/*
 * Snyder (5-7), (5-8b) in PROJ's general oblique transformation: Ry(o_lon_p) Rx(-(90 - o_lat_p)) Ry(-lon_0).
 * The product of our three rotations, its inverse, and the same rotation made anew from its angles.
 */
Test(truth_proj, oblique_transformation)
{
    PJ_CONTEXT *context = proj_context_create();
    uint64_t state = 7;
    double forward = 0, inverse = 0, from_angles = 0;
    for (int i = 0; i < CENTRES; i++) {
        double beta = random_between(&state, -180, 180), alpha = random_between(&state, -90, 90);
        double lon = random_between(&state, -180, 180);
        char definition[256];
        snprintf(definition, sizeof definition,
                 "+proj=ob_tran +o_proj=longlat +o_lon_p=%.17g +o_lat_p=%.17g +lon_0=%.17g +R=1", beta, alpha,
                 lon);
        PJ *other = create(context, definition);
        UfRotation last = uf_rotation_from_angles(uf_radians(beta), 0, 0);
        UfRotation tilt = uf_rotation_from_angles(0, -uf_radians(90 - alpha), 0);
        UfRotation first = uf_rotation_from_angles(-uf_radians(lon), 0, 0);
        UfRotation tilted = uf_rotation_product(&tilt, &first);
        UfRotation whole = uf_rotation_product(&last, &tilted);
        UfRotation back = uf_rotation_inverse(&whole);
        double yaw, pitch, roll;
        uf_rotation_angles(&whole, &yaw, &pitch, &roll);
        UfRotation again = uf_rotation_from_angles(yaw, pitch, roll);
        for (int k = 0; k < POINTS; k++) {
            UfLonLat at = random_lonlat(&state);
            UfDirection direction = uf_direction_from_lonlat(at);
            PJ_COORD theirs = proj_trans(other, PJ_FWD, proj_coord(at.lon_rad, at.lat_rad, 0, 0));
            UfDirection should = uf_direction_from_lonlat((UfLonLat){theirs.lp.lam, theirs.lp.phi});
            forward = fmax(forward, uf_angle_between_rad(uf_rotation_apply(&whole, direction), should));
            from_angles =
                fmax(from_angles, uf_angle_between_rad(uf_rotation_apply(&again, direction), should));
            theirs = proj_trans(other, PJ_INV, proj_coord(at.lon_rad, at.lat_rad, 0, 0));
            should = uf_direction_from_lonlat((UfLonLat){theirs.lp.lam, theirs.lp.phi});
            inverse = fmax(inverse, uf_angle_between_rad(uf_rotation_apply(&back, direction), should));
        }
        proj_destroy(other);
    }
    proj_context_destroy(context);
    cr_expect_leq(forward, TOLERANCE, "forward differs by %.3g", forward);
    cr_expect_leq(inverse, TOLERANCE, "inverse differs by %.3g", inverse);
    cr_expect_leq(from_angles, TOLERANCE, "made from angles, differs by %.3g", from_angles);
}

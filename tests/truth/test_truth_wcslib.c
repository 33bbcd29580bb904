/*
 * Projections, orientations with roll, and the cube against WCSLIB (sphs2x, prjs2x and their inverses, called
 * directly), on random points from fixed seeds. WCSLIB implements M. R. Calabretta and E. W. Greisen,
 * Representations of celestial coordinates in FITS (WCS Paper II), Astronomy and Astrophysics 395, 1077-1122
 * (2002).
 *
 * Forward: distance of the two plane points for radius 1, relative to their distance from the middle where
 * that is above 1. Inverse: angle between the two directions. Both at most 1e-9 (radians).
 */
#include <criterion/criterion.h>

#include <string.h>

#include <wcslib/prj.h>
#include <wcslib/sph.h>

#include "truth/sphere_points.h"

#define ORIENTATIONS 24
#define POINTS       1000
#define TOLERANCE    1e-9

typedef struct Pair {
    const char *code;
    UfProjection projection;
    double limit_deg;   /* how far from the axis points are taken */
    double disc_radius; /* of the inverse */
    bool zenithal;      /* the native pole is the axis; otherwise the camera's up */
} Pair;

static void set_projection(struct prjprm *projection, const char *code)
{
    prjini(projection);
    memcpy(projection->code, code, 4);
    projection->r0 = 1;
    projection->bounds = 0;
    cr_assert_eq(prjset(projection), 0);
}

/*
 * Euler angles of WCSLIB for a camera: longitude and colatitude of the native pole, and the native longitude
 * of the celestial pole. For a zenithal projection LONPOLE = 180 has north up, and roll adds to it; for the
 * others the native pole is the camera's up direction.
 */
static void set_euler(double euler[5], const UfRotation *camera, double roll_deg, bool zenithal)
{
    UfDirection axis = zenithal ? (UfDirection){0, 0, 1} : (UfDirection){0, 1, 0};
    UfLonLat pole = uf_lonlat_from_direction(uf_rotation_apply(camera, axis));
    UfRotation into_camera = uf_rotation_inverse(camera);
    UfLonLat north = uf_lonlat_from_direction(uf_rotation_apply(&into_camera, (UfDirection){0, 1, 0}));
    euler[0] = uf_degrees(pole.lon_rad);
    euler[1] = 90 - uf_degrees(pole.lat_rad);
    euler[2] = zenithal ? 180 + roll_deg : uf_degrees(north.lon_rad);
    euler[3] = cos(uf_radians(euler[1]));
    euler[4] = sin(uf_radians(euler[1]));
}

static UfPlanePoint their_point(struct prjprm *projection, const double euler[5], UfLonLat at)
{
    double lon = uf_degrees(at.lon_rad), lat = uf_degrees(at.lat_rad), phi, theta;
    UfPlanePoint out;
    int status = 0;
    cr_assert_eq(sphs2x(euler, 1, 1, 1, 1, &lon, &lat, &phi, &theta), 0);
    cr_assert_eq(prjs2x(projection, 1, 1, 1, 1, &phi, &theta, &out.x, &out.y, &status), 0);
    return out;
}

static UfDirection their_direction(struct prjprm *projection, const double euler[5], UfPlanePoint at)
{
    double phi, theta, lon, lat;
    int status = 0;
    cr_assert_eq(prjx2s(projection, 1, 1, 1, 1, &at.x, &at.y, &phi, &theta, &status), 0);
    cr_assert_eq(sphx2s(euler, 1, 1, 1, 1, &phi, &theta, &lon, &lat), 0);
    return uf_direction_from_lonlat((UfLonLat){uf_radians(lon), uf_radians(lat)});
}

static UfPlanePoint random_point(const Pair *pair, uint64_t *state)
{
    if (pair->projection != UF_PROJECTION_EQUIRECTANGULAR)
        return random_in_disc(state, pair->disc_radius);
    double x = random_between(state, -UF_PI, UF_PI);
    return (UfPlanePoint){x, random_between(state, -UF_PI / 2, UF_PI / 2)};
}

/* The plane's difference as an angle; equirectangular longitude counts by the circle it lies on, whole turns
 * do not. */
static double difference(const Pair *pair, UfPlanePoint ours, UfPlanePoint theirs)
{
    if (pair->projection != UF_PROJECTION_EQUIRECTANGULAR)
        return plane_difference(ours, theirs);
    return hypot(remainder(ours.x - theirs.x, 2 * UF_PI) * cos(ours.y), ours.y - theirs.y);
}

static void compare_with_wcslib(const Pair *pair, uint64_t seed)
{
    struct prjprm projection;
    set_projection(&projection, pair->code);
    uint64_t state = seed;
    double forward = 0, inverse = 0;
    int forward_count = 0, inverse_count = 0;
    for (int i = 0; i < ORIENTATIONS; i++) {
        UfLonLat centre = random_lonlat(&state);
        double roll_deg = random_between(&state, -180, 180), euler[5];
        UfRotation camera = uf_rotation_from_angles(centre.lon_rad, centre.lat_rad, uf_radians(roll_deg));
        UfRotation into_camera = uf_rotation_inverse(&camera);
        set_euler(euler, &camera, roll_deg, pair->zenithal);
        for (int k = 0; k < POINTS; k++) {
            UfLonLat at = random_lonlat(&state);
            UfDirection seen = uf_rotation_apply(&into_camera, uf_direction_from_lonlat(at));
            UfPlanePoint ours;
            if (uf_angle_between_rad(seen, (UfDirection){0, 0, 1}) < uf_radians(pair->limit_deg)) {
                cr_assert(uf_project(pair->projection, seen, &ours));
                forward = fmax(forward, difference(pair, ours, their_point(&projection, euler, at)));
                forward_count++;
            }
            UfPlanePoint point = random_point(pair, &state);
            cr_assert(uf_unproject(pair->projection, point, &seen));
            inverse = fmax(inverse, uf_angle_between_rad(uf_rotation_apply(&camera, seen),
                                                         their_direction(&projection, euler, point)));
            inverse_count++;
        }
    }
    prjfree(&projection);
    cr_expect_geq(forward_count, 10000);
    cr_expect_geq(inverse_count, 10000);
    cr_expect_leq(forward, TOLERANCE, "forward differs by %.3g", forward);
    cr_expect_leq(inverse, TOLERANCE, "inverse differs by %.3g", inverse);
}

Test(truth_wcslib, tan)
{
    compare_with_wcslib(&(Pair){"TAN", UF_PROJECTION_RECTILINEAR, 89, 50, true}, 11);
}

Test(truth_wcslib, stg)
{
    compare_with_wcslib(&(Pair){"STG", UF_PROJECTION_STEREOGRAPHIC, 179, 200, true}, 12);
}

Test(truth_wcslib, arc)
{
    compare_with_wcslib(&(Pair){"ARC", UF_PROJECTION_EQUIDISTANT, 179, 3.14, true}, 13);
}

Test(truth_wcslib, zea)
{
    compare_with_wcslib(&(Pair){"ZEA", UF_PROJECTION_EQUISOLID, 179, 1.9999, true}, 14);
}

Test(truth_wcslib, sin)
{
    compare_with_wcslib(&(Pair){"SIN", UF_PROJECTION_ORTHOGRAPHIC, 89.99, 0.9999999, true}, 15);
}

Test(truth_wcslib, car)
{
    compare_with_wcslib(&(Pair){"CAR", UF_PROJECTION_EQUIRECTANGULAR, 181, 0, false}, 16);
}

/* The unfolded cube: middle of each face in units of pi/4. */
static const UfPlanePoint unfolded[UF_FACE_COUNT] = {
    [UF_FACE_UP] = {0, 2},   [UF_FACE_FRONT] = {0, 0}, [UF_FACE_RIGHT] = {2, 0},
    [UF_FACE_BACK] = {4, 0}, [UF_FACE_LEFT] = {6, 0},  [UF_FACE_DOWN] = {0, -2},
};

/* Random directions: the same face and place on it; and from places of each face the same direction. */
Test(truth_wcslib, tsc)
{
    struct prjprm cube;
    set_projection(&cube, "TSC");
    uint64_t state = 17;
    double forward = 0, inverse = 0;
    for (int i = 0; i < 60000; i++) {
        UfLonLat at = random_lonlat(&state);
        double phi = uf_degrees(at.lon_rad), theta = uf_degrees(at.lat_rad), x, y;
        int status = 0;
        cr_assert_eq(prjs2x(&cube, 1, 1, 1, 1, &phi, &theta, &x, &y, &status), 0);
        UfPlanePoint ours;
        UfFace face = uf_face_of_direction(uf_direction_from_lonlat(at), &ours);
        forward = fmax(forward, hypot(unfolded[face].x + ours.x - x / (UF_PI / 4),
                                      unfolded[face].y + ours.y - y / (UF_PI / 4)));

        UfFace other = (UfFace)(i % UF_FACE_COUNT);
        double a = random_between(&state, -1, 1), b = random_between(&state, -1, 1);
        x = (unfolded[other].x + a) * (UF_PI / 4);
        y = (unfolded[other].y + b) * (UF_PI / 4);
        cr_assert_eq(prjx2s(&cube, 1, 1, 1, 1, &x, &y, &phi, &theta, &status), 0);
        UfView view = uf_view_face(other, 2);
        UfDirection direction;
        cr_assert(uf_view_direction(&view, (UfPixelPoint){1 + a, 1 - b}, &direction));
        UfLonLat should = {uf_radians(phi), uf_radians(theta)};
        inverse = fmax(inverse, uf_angle_between_rad(direction, uf_direction_from_lonlat(should)));
    }
    prjfree(&cube);
    cr_expect_leq(forward, TOLERANCE, "forward differs by %.3g", forward);
    cr_expect_leq(inverse, TOLERANCE, "inverse differs by %.3g", inverse);
}

/*
 * WCS Paper II, section 5.6: where components tie, the earlier of (n, l, m, -l, -m, -n) has the point, in
 * exact arithmetic. Here the components are exact.
 */
Test(truth_wcslib, tsc_ties)
{
    static const struct {
        UfDirection direction;
        UfFace face;
        UfPlanePoint at;
    } ties[] = {
        {{0, 1, 1}, UF_FACE_UP, {0, -1}},      {{1, 1, 0}, UF_FACE_UP, {1, 0}},
        {{0, 1, -1}, UF_FACE_UP, {0, 1}},      {{-1, 1, 0}, UF_FACE_UP, {-1, 0}},
        {{1, 0, 1}, UF_FACE_FRONT, {1, 0}},    {{-1, 0, 1}, UF_FACE_FRONT, {-1, 0}},
        {{0, -1, 1}, UF_FACE_FRONT, {0, -1}},  {{1, 0, -1}, UF_FACE_RIGHT, {1, 0}},
        {{1, -1, 0}, UF_FACE_RIGHT, {0, -1}},  {{-1, 0, -1}, UF_FACE_BACK, {1, 0}},
        {{0, -1, -1}, UF_FACE_BACK, {0, -1}},  {{-1, -1, 0}, UF_FACE_LEFT, {0, -1}},
        {{1, 1, 1}, UF_FACE_UP, {1, -1}},      {{-1, 1, 1}, UF_FACE_UP, {-1, -1}},
        {{1, 1, -1}, UF_FACE_UP, {1, 1}},      {{-1, 1, -1}, UF_FACE_UP, {-1, 1}},
        {{1, -1, 1}, UF_FACE_FRONT, {1, -1}},  {{-1, -1, 1}, UF_FACE_FRONT, {-1, -1}},
        {{1, -1, -1}, UF_FACE_RIGHT, {1, -1}}, {{-1, -1, -1}, UF_FACE_BACK, {1, -1}},
    };
    for (size_t i = 0; i < sizeof ties / sizeof ties[0]; i++) {
        UfPlanePoint at;
        UfFace face = uf_face_of_direction(ties[i].direction, &at);
        cr_expect_eq(face, ties[i].face, "tie %zu: %s", i, uf_face_name(face));
        cr_expect(at.x == ties[i].at.x && at.y == ties[i].at.y, "tie %zu: (%g, %g)", i, at.x, at.y);
    }
}

/* Every pixel of the six faces of 512 x 512, both ways, as FITS TAN headers have them. */
Test(truth_wcslib, whole_faces)
{
    enum { SIDE = 512 };
    static double x[SIDE], y[SIDE], phi[SIDE], theta[SIDE], lon[SIDE], lat[SIDE];
    static int status[SIDE];
    struct prjprm gnomonic;
    set_projection(&gnomonic, "TAN");
    double angle = 0, pixel = 0;
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfView view = uf_view_face((UfFace)face, SIDE);
        double euler[5];
        set_euler(euler, &view.rotation, 0, true);
        for (int j = 0; j < SIDE; j++) {
            for (int i = 0; i < SIDE; i++) {
                x[i] = (2 * (i + 0.5) - SIDE) / SIDE;
                y[i] = (SIDE - 2 * (j + 0.5)) / SIDE;
            }
            cr_assert_eq(prjx2s(&gnomonic, SIDE, 0, 1, 1, x, y, phi, theta, status), 0);
            cr_assert_eq(sphx2s(euler, SIDE, 0, 1, 1, phi, theta, lon, lat), 0);
            for (int i = 0; i < SIDE; i++) {
                UfDirection ours,
                    should = uf_direction_from_lonlat((UfLonLat){uf_radians(lon[i]), uf_radians(lat[i])});
                UfPixelPoint back = {0};
                cr_assert(uf_view_direction(&view, (UfPixelPoint){i + 0.5, j + 0.5}, &ours));
                cr_assert(uf_view_pixel(&view, should, &back));
                angle = fmax(angle, uf_angle_between_rad(ours, should));
                pixel = fmax(pixel, hypot(back.x_px - (i + 0.5), back.y_px - (j + 0.5)));
            }
        }
    }
    prjfree(&gnomonic);
    cr_expect_leq(angle, TOLERANCE, "directions differ by %.3g", angle);
    cr_expect_leq(pixel, 1e-9 * SIDE, "pixels differ by %.3g", pixel);
}

/*
 * Directions, rotations and projections: the conventions of the whole project are stated here, once.
 *
 * Axes        x right, y up, z forward. A direction is a unit vector.
 * Longitude   (yaw) lambda, positive to the right; latitude (pitch) phi, positive up, radians:
 *             d = (cos phi sin lambda, sin phi, cos phi cos lambda).
 * Pixels      pixel (i, j) covers [i, i+1) x [j, j+1); its centre is at (i + 1/2, j + 1/2). j grows downwards.
 * Equirect.   W x H, H = W/2: lambda = (x/W - 1/2) 2 pi, phi = (1/2 - y/H) pi at the point (x, y) in pixels.
 *             The seam is at +-180 degrees, the picture's centre looks forward.
 * Orientation d_world = Ry(yaw) Rx(pitch) Rz(roll) d_camera. Positive yaw turns to the right, positive pitch
 *             looks up, positive roll turns the horizon counter-clockwise in the picture:
 *             Ry(a) (0,0,1) = (sin a, 0, cos a); Rx(a) (0,0,1) = (0, sin a, cos a);
 *             Rz(a) (cos a, sin a, 0) = (1, 0, 0).
 * Cube faces  90 degree rectilinear views without mirroring: front (yaw 0), right (90), back (180), left (-90),
 *             up (pitch 90, its bottom edge meets front), down (pitch -90, its top edge meets front).
 * Angles are radians in the library, degrees at the command line, in files and in metadata.
 */
#ifndef UNDERFOOT_SPHERE_H
#define UNDERFOOT_SPHERE_H

#include <stdbool.h>
#include <stddef.h>

#include <underfoot/api.h>

UF_API_BEGIN

#define UF_PI 3.14159265358979323846

/* Unit vector: x right, y up, z forward. */
typedef struct UfDirection {
    double x, y, z;
} UfDirection;

/* Longitude in (-pi, pi], latitude in [-pi/2, pi/2]. */
typedef struct UfLonLat {
    double lon_rad, lat_rad;
} UfLonLat;

/* Row-major rotation matrix; columns are the images of the camera's axes in the world. */
typedef struct UfRotation {
    double m[3][3];
} UfRotation;

/* A point of a projection's plane for focal length (or sphere radius) 1: x right, y up. */
typedef struct UfPlanePoint {
    double x, y;
} UfPlanePoint;

/* A point of a picture in pixels, y down; pixel centres at +1/2. */
typedef struct UfPixelPoint {
    double x_px, y_px;
} UfPixelPoint;

double uf_radians(double deg);
double uf_degrees(double rad);

UfDirection uf_direction_from_lonlat(UfLonLat at);
/* The direction need not be of unit length, but not zero. At a pole the longitude is 0. */
UfLonLat uf_lonlat_from_direction(UfDirection direction);
/* Angle between two unit vectors, [0, pi], accurate also for tiny and nearly opposite ones. */
double uf_angle_between_rad(UfDirection a, UfDirection b);

UfRotation uf_rotation_identity(void);
UfRotation uf_rotation_from_angles(double yaw_rad, double pitch_rad, double roll_rad);
/* The angles of a rotation: yaw and roll in (-pi, pi], pitch in [-pi/2, pi/2]; at pitch +-pi/2 roll is 0. */
void uf_rotation_angles(const UfRotation *rotation, double *yaw_rad, double *pitch_rad, double *roll_rad);
UfRotation uf_rotation_inverse(const UfRotation *rotation);
/* first `b`, then `a` */
UfRotation uf_rotation_product(const UfRotation *a, const UfRotation *b);
UfDirection uf_rotation_apply(const UfRotation *rotation, UfDirection direction);

/*
 * Projections from the camera's frame (it looks along +z) to the plane. r is the distance from the plane's
 * origin, theta the angle from +z:
 *   equirectangular  x = lambda, y = phi (not azimuthal)
 *   rectilinear      r = tan theta, theta < 90 degrees (gnomonic)
 *   stereographic    r = 2 tan(theta/2), theta < 180 degrees
 *   equidistant      r = theta
 *   equisolid        r = 2 sin(theta/2) (Lambert's azimuthal equal-area)
 *   orthographic     r = sin theta, theta <= 90 degrees
 * The antipode is a whole circle in the equidistant and equisolid planes: its point on the +x axis is given.
 * Sources: J. P. Snyder, Map Projections - A Working Manual, USGS Professional Paper 1395 (1987), sections 12,
 * 20-22, 24, 25; J. Kannala and S. S. Brandt, IEEE TPAMI 28(8), 1335-1340 (2006) for the lens names.
 */
typedef enum UfProjection {
    UF_PROJECTION_EQUIRECTANGULAR = 0,
    UF_PROJECTION_RECTILINEAR,
    UF_PROJECTION_STEREOGRAPHIC,
    UF_PROJECTION_EQUIDISTANT,
    UF_PROJECTION_EQUISOLID,
    UF_PROJECTION_ORTHOGRAPHIC,
    UF_PROJECTION_COUNT
} UfProjection;

/* The name in lower case ("rectilinear"), NULL for a value out of range. */
const char *uf_projection_name(UfProjection projection);
/* One line that describes it, NULL for a value out of range. */
const char *uf_projection_description(UfProjection projection);
/* False (and *out untouched) where the direction has no image: the direction is a unit vector. */
bool uf_project(UfProjection projection, UfDirection direction, UfPlanePoint *out);
/*
 * False (and *out untouched) where no direction maps to the point. The result is a unit vector. Equirectangular:
 * longitude goes round, x is taken modulo a full turn.
 */
bool uf_unproject(UfProjection projection, UfPlanePoint point, UfDirection *out);

typedef enum UfFace {
    UF_FACE_FRONT = 0,
    UF_FACE_RIGHT,
    UF_FACE_BACK,
    UF_FACE_LEFT,
    UF_FACE_UP,
    UF_FACE_DOWN,
    UF_FACE_COUNT
} UfFace;

/* "front", "right", "back", "left", "up", "down"; NULL for a value out of range. */
const char *uf_face_name(UfFace face);
/* True and *out set when `name` is one of the six words. */
bool uf_face_from_name(const char *name, UfFace *out);
UfRotation uf_face_rotation(UfFace face);
/*
 * The face that a direction falls on and where: x right and y up in [-1, 1]. Where faces tie, the order is
 * up, front, right, back, left, down (as the tangential spherical cube of FITS WCS Paper II has it).
 */
UfFace uf_face_of_direction(UfDirection direction, UfPlanePoint *out);
/* Side of a cube face at a panorama's full sharpness: W/pi rounded to the nearest whole pixel, at least 1. */
size_t uf_face_full_size_px(size_t panorama_width_px);

/*
 * A picture of the sphere: a projection, the way it looks, and where the plane lies in its pixels.
 * plane x = (x_px - centre_x_px)/scale_px, plane y = (centre_y_px - y_px)/scale_px.
 * A window of a larger picture is the same view with its centre moved and its size reduced.
 */
typedef struct UfView {
    UfProjection projection;
    UfRotation rotation;                /* d_world = rotation d_camera */
    double scale_px;                    /* pixels per unit of the plane: the focal length in pixels, > 0 */
    double centre_x_px, centre_y_px;    /* where the plane's origin lies */
    size_t width_px, height_px;
} UfView;

/* The full sphere, width x width/2 (width even, >= 2). */
UfView uf_view_equirectangular(size_t width_px);
/* `fov_rad` is the full angle across the width, 0 < fov < pi; pixels are square. */
UfView uf_view_rectilinear(size_t width_px, size_t height_px, double fov_rad, UfRotation rotation);
UfView uf_view_face(UfFace face, size_t size_px);
/*
 * Stereographic picture of size x size, `fov_rad` across (0 < fov < 2 pi), centred on the nadir with the
 * heading at the top, or, with `sky_centre`, on the zenith with the heading at the bottom.
 */
UfView uf_view_planet(size_t size_px, double fov_rad, double heading_rad, bool sky_centre);
/* Same view, cut to the window whose corner is (x, y). */
UfView uf_view_window(const UfView *view, size_t x_px, size_t y_px, size_t width_px, size_t height_px);
/* True when the view is equirectangular and holds every longitude: reading wraps across the seam. */
bool uf_view_is_full_turn(const UfView *view);

/* The unit direction (world) at a point of the picture; false where there is none. */
bool uf_view_direction(const UfView *view, UfPixelPoint at, UfDirection *out);
/*
 * The point of the picture that shows a direction (world); false where the projection has no image of it. The
 * point may lie outside the picture's rectangle. For an equirectangular view x is within half a turn of the
 * centre; the seam itself falls on the right edge.
 */
bool uf_view_pixel(const UfView *view, UfDirection direction, UfPixelPoint *out);

UF_API_END
#endif

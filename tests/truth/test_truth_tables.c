/*
 * The sphere against published values. Each table is a plain text file beside this one; its head names the
 * source, the page and where its tolerance comes from. A line is one of
 *
 *   # comment
 *   operation NAME          what the following points check, see `operations` below
 *   projection NAME         as uf_projection_name
 *   radius R                of the sphere: plane coordinates are multiplied by it (1 at the start)
 *   centre LON LAT          where the projection's axis points, degrees (0 0 at the start)
 *   angles YAW PITCH ROLL   of the operation `rotate`, degrees
 *   view ...                the picture of the operation `pixel`, see set_view
 *   tolerance T             in the unit of the expected values; directions: degrees between them
 *   roundtrip T             how close, in degrees, the inverse of our own result must come back (1e-10 at the
 * start) accept A.. expect B..   one check; `none` says that there must be no result, `any` that a value is
 * not compared checks N                closes the file: that many checks must have been made
 */
#include <criterion/criterion.h>

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/sphere.h>

#define FOLDER     "tests/truth/"
#define MAX_VALUES 8

typedef struct Operation Operation;

typedef struct Context {
    const char *file;
    int line;
    const Operation *operation;
    UfProjection projection;
    double radius;
    UfLonLat centre;
    UfRotation rotation;
    UfView view;
    double tolerance, roundtrip_deg;
    int checks;
} Context;

/* One line of values. A value that is not to be compared is NaN. */
typedef struct Point {
    double in[MAX_VALUES], out[MAX_VALUES];
    int in_count, out_count;
    bool none;
} Point;

struct Operation {
    const char *name;
    int in_count, out_count;
    void (*check)(const Context *context, const Point *point);
};

static void complain(const Context *context, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void complain(const Context *context, const char *format, ...)
{
    char text[512];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    cr_expect(false, "%s:%d: %s", context->file, context->line, text);
}

static void expect_near(const Context *context, const char *what, double is, double should)
{
    if (!isnan(should) && !(fabs(is - should) <= context->tolerance))
        complain(context, "%s is %.13g, should be %.13g (off by %.3g)", what, is, should, is - should);
}

static UfDirection direction_of(double lon_deg, double lat_deg)
{
    return uf_direction_from_lonlat((UfLonLat){uf_radians(lon_deg), uf_radians(lat_deg)});
}

static void expect_direction(const Context *context, UfDirection is, double lon_deg, double lat_deg,
                             double tolerance_deg)
{
    double off_deg = uf_degrees(uf_angle_between_rad(is, direction_of(lon_deg, lat_deg)));
    UfLonLat at = uf_lonlat_from_direction(is);
    if (!(off_deg <= tolerance_deg))
        complain(context, "direction is (%.12g, %.12g), should be (%.12g, %.12g): %.3g degrees off",
                 uf_degrees(at.lon_rad), uf_degrees(at.lat_rad), lon_deg, lat_deg, off_deg);
}

/* The camera that looks at the centre, north up. */
static UfRotation camera(const Context *context)
{
    return uf_rotation_from_angles(context->centre.lon_rad, context->centre.lat_rad, 0);
}

static UfDirection seen_by_camera(const Context *context, double lon_deg, double lat_deg)
{
    UfRotation out_of = camera(context);
    UfRotation into = uf_rotation_inverse(&out_of);
    return uf_rotation_apply(&into, direction_of(lon_deg, lat_deg));
}

/* lon lat -> x y, and back by our own inverse. */
static void check_forward(const Context *context, const Point *point)
{
    UfPlanePoint at;
    bool has_image =
        uf_project(context->projection, seen_by_camera(context, point->in[0], point->in[1]), &at);
    if (has_image == point->none)
        complain(context, "%s image", has_image ? "unexpected" : "no");
    if (!has_image || point->none)
        return;
    expect_near(context, "x", at.x * context->radius, point->out[0]);
    expect_near(context, "y", at.y * context->radius, point->out[1]);
    UfDirection back;
    if (!uf_unproject(context->projection, at, &back)) {
        complain(context, "the inverse has no direction");
        return;
    }
    UfRotation out_of = camera(context);
    expect_direction(context, uf_rotation_apply(&out_of, back), point->in[0], point->in[1],
                     context->roundtrip_deg);
}

/* x y -> lon lat */
static void check_inverse(const Context *context, const Point *point)
{
    UfDirection seen;
    UfPlanePoint at = {point->in[0] / context->radius, point->in[1] / context->radius};
    bool has_direction = uf_unproject(context->projection, at, &seen);
    if (has_direction == point->none)
        complain(context, "%s direction", has_direction ? "unexpected" : "no");
    if (!has_direction || point->none)
        return;
    UfRotation out_of = camera(context);
    expect_direction(context, uf_rotation_apply(&out_of, seen), point->out[0], point->out[1],
                     context->tolerance);
}

/* Angle from the axis -> distance from the middle, the same all round. */
static void check_radius(const Context *context, const Point *point)
{
    for (int azimuth_deg = 0; azimuth_deg < 360; azimuth_deg += 30) {
        double theta = uf_radians(point->in[0]), azimuth = uf_radians(azimuth_deg);
        UfDirection direction = {sin(theta) * cos(azimuth), sin(theta) * sin(azimuth), cos(theta)};
        UfPlanePoint at;
        bool has_image = uf_project(context->projection, direction, &at);
        if (has_image == point->none)
            complain(context, "%s image at azimuth %d", has_image ? "unexpected" : "no", azimuth_deg);
        if (!has_image || point->none)
            continue;
        expect_near(context, "r", hypot(at.x, at.y), point->out[0]);
        UfDirection back;
        if (!uf_unproject(context->projection, at, &back) ||
            uf_degrees(uf_angle_between_rad(back, direction)) > context->roundtrip_deg)
            complain(context, "the inverse does not come back at azimuth %d", azimuth_deg);
    }
}

/* The scale along the parallel, r / sin theta. */
static double scale_at(const Context *context, double theta_rad)
{
    double theta = fmax(theta_rad, 1e-9);
    UfPlanePoint at = {NAN, NAN};
    uf_project(context->projection, (UfDirection){sin(theta), 0, cos(theta)}, &at);
    return at.x / sin(theta);
}

/* Angle from the axis -> scale */
static void check_scale(const Context *context, const Point *point)
{
    expect_near(context, "scale", scale_at(context, uf_radians(point->in[0])), point->out[0]);
}

static double distance_rad(const Context *context, const Point *point)
{
    return uf_angle_between_rad(uf_direction_from_lonlat(context->centre),
                                direction_of(point->in[0], point->in[1]));
}

/* lon lat -> scale */
static void check_scale_at(const Context *context, const Point *point)
{
    expect_near(context, "scale", scale_at(context, distance_rad(context, point)), point->out[0]);
}

/* lon lat -> degrees from the centre */
static void check_distance(const Context *context, const Point *point)
{
    expect_near(context, "distance", uf_degrees(distance_rad(context, point)), point->out[0]);
}

static void check_cosine(const Context *context, const Point *point)
{
    expect_near(context, "cosine of the distance", cos(distance_rad(context, point)), point->out[0]);
}

/* lon lat -> lon lat of the turned direction, and back */
static void check_rotate(const Context *context, const Point *point)
{
    UfDirection turned = uf_rotation_apply(&context->rotation, direction_of(point->in[0], point->in[1]));
    expect_direction(context, turned, point->out[0], point->out[1], context->tolerance);
    UfRotation inverse = uf_rotation_inverse(&context->rotation);
    expect_direction(context, uf_rotation_apply(&inverse, turned), point->in[0], point->in[1],
                     context->roundtrip_deg);
}

/* i j -> lon lat of the pixel's centre, and from the direction to the pixel */
static void check_pixel(const Context *context, const Point *point)
{
    UfPixelPoint at = {point->in[0] + 0.5, point->in[1] + 0.5};
    UfDirection direction;
    if (!uf_view_direction(&context->view, at, &direction)) {
        complain(context, "no direction");
        return;
    }
    expect_direction(context, direction, point->out[0], point->out[1], context->tolerance);
    UfPixelPoint back;
    if (!uf_view_pixel(&context->view, direction_of(point->out[0], point->out[1]), &back)) {
        complain(context, "no pixel");
        return;
    }
    double off_px = hypot(back.x_px - at.x_px, back.y_px - at.y_px);
    /* The printed directions leave this much of a pixel; nearly a pole, longitude counts little. */
    double tolerance_px = 4 * uf_radians(context->tolerance) * context->view.scale_px;
    if (!(off_px <= tolerance_px) && context->view.projection != UF_PROJECTION_EQUIRECTANGULAR)
        complain(context, "comes back to (%.9f, %.9f), %.3g pixels off", back.x_px, back.y_px, off_px);
    if (!(off_px <= 1e-8) && context->view.projection == UF_PROJECTION_EQUIRECTANGULAR)
        complain(context, "comes back to (%.9f, %.9f)", back.x_px, back.y_px);
}

/* lon lat -> the unfolded cube in units of its half side, and the face's number in WCS Paper II */
static void check_cube(const Context *context, const Point *point)
{
    static const struct {
        int number;
        double x, y;
    } layout[UF_FACE_COUNT] = {
        [UF_FACE_UP] = {0, 0, 2},   [UF_FACE_FRONT] = {1, 0, 0}, [UF_FACE_RIGHT] = {2, 2, 0},
        [UF_FACE_BACK] = {3, 4, 0}, [UF_FACE_LEFT] = {4, 6, 0},  [UF_FACE_DOWN] = {5, 0, -2},
    };
    UfPlanePoint at;
    UfFace face = uf_face_of_direction(direction_of(point->in[0], point->in[1]), &at);
    expect_near(context, "x", at.x + layout[face].x, point->out[0]);
    expect_near(context, "y", at.y + layout[face].y, point->out[1]);
    expect_near(context, "face", layout[face].number, point->out[2]);
}

/* width height field -> focal length, field down, field across the diagonal */
static void check_field(const Context *context, const Point *point)
{
    UfView view = uf_view_rectilinear((size_t)point->in[0], (size_t)point->in[1], uf_radians(point->in[2]),
                                      uf_rotation_from_angles(0.3, -0.2, 0.1));
    double width = point->in[0], height = point->in[1];
    UfDirection left, right, top, bottom, corner, opposite;
    bool all = uf_view_direction(&view, (UfPixelPoint){0, height / 2}, &left) &&
               uf_view_direction(&view, (UfPixelPoint){width, height / 2}, &right) &&
               uf_view_direction(&view, (UfPixelPoint){width / 2, 0}, &top) &&
               uf_view_direction(&view, (UfPixelPoint){width / 2, height}, &bottom) &&
               uf_view_direction(&view, (UfPixelPoint){0, 0}, &corner) &&
               uf_view_direction(&view, (UfPixelPoint){width, height}, &opposite);
    cr_assert(all);
    expect_near(context, "field across", uf_degrees(uf_angle_between_rad(left, right)), point->in[2]);
    expect_near(context, "focal length", view.scale_px, point->out[0]);
    expect_near(context, "field down", uf_degrees(uf_angle_between_rad(top, bottom)), point->out[1]);
    expect_near(context, "diagonal", uf_degrees(uf_angle_between_rad(corner, opposite)), point->out[2]);
}

static const Operation operations[] = {
    {"forward", 2, 2, check_forward}, {"inverse", 2, 2, check_inverse},   {"radius", 1, 1, check_radius},
    {"scale", 1, 1, check_scale},     {"scale_at", 2, 1, check_scale_at}, {"distance", 2, 1, check_distance},
    {"cosine", 2, 1, check_cosine},   {"rotate", 2, 2, check_rotate},     {"pixel", 2, 2, check_pixel},
    {"cube", 2, 3, check_cube},       {"field", 3, 3, check_field},
};

static const Operation *operation_named(const char *name)
{
    for (size_t i = 0; i < sizeof operations / sizeof operations[0]; i++)
        if (strcmp(name, operations[i].name) == 0)
            return &operations[i];
    return NULL;
}

static bool set_projection(Context *context, const char *name)
{
    for (unsigned i = 0; i < UF_PROJECTION_COUNT; i++)
        if (strcmp(name, uf_projection_name((UfProjection)i)) == 0) {
            context->projection = (UfProjection)i;
            return true;
        }
    return false;
}

/* view equirectangular W | face NAME N | planet N FIELD HEADING nadir|zenith | rectilinear W H FIELD YAW
 * PITCH ROLL */
static bool set_view(Context *context, const char *text)
{
    size_t width, height;
    double field, yaw, pitch, roll;
    char word[16];
    UfFace face;
    if (sscanf(text, "equirectangular %zu", &width) == 1)
        context->view = uf_view_equirectangular(width);
    else if (sscanf(text, "face %15s %zu", word, &width) == 2 && uf_face_from_name(word, &face))
        context->view = uf_view_face(face, width);
    else if (sscanf(text, "planet %zu %lf %lf %15s", &width, &field, &yaw, word) == 4)
        context->view =
            uf_view_planet(width, uf_radians(field), uf_radians(yaw), strcmp(word, "zenith") == 0);
    else if (sscanf(text, "rectilinear %zu %zu %lf %lf %lf %lf", &width, &height, &field, &yaw, &pitch,
                    &roll) == 6)
        context->view = uf_view_rectilinear(
            width, height, uf_radians(field),
            uf_rotation_from_angles(uf_radians(yaw), uf_radians(pitch), uf_radians(roll)));
    else
        return false;
    return true;
}

static bool set_centre(Context *context, const char *text)
{
    double lon_deg, lat_deg;
    if (sscanf(text, "%lf %lf", &lon_deg, &lat_deg) != 2)
        return false;
    context->centre = (UfLonLat){uf_radians(lon_deg), uf_radians(lat_deg)};
    return true;
}

static bool set_angles(Context *context, const char *text)
{
    double yaw, pitch, roll;
    if (sscanf(text, "%lf %lf %lf", &yaw, &pitch, &roll) != 3)
        return false;
    context->rotation = uf_rotation_from_angles(uf_radians(yaw), uf_radians(pitch), uf_radians(roll));
    return true;
}

/* Numbers up to the end or to the word `expect`; returns how many, -1 for something else. */
static int read_values(char **rest, double *values, bool *none)
{
    int count = 0;
    for (;;) {
        while (**rest == ' ')
            ++*rest;
        if (**rest == '\0' || strncmp(*rest, "expect", 6) == 0)
            return count;
        if (count == MAX_VALUES)
            return -1;
        if (none != NULL && strncmp(*rest, "none", 4) == 0) {
            *none = true;
            *rest += 4;
            continue;
        }
        if (strncmp(*rest, "any", 3) == 0) {
            values[count++] = NAN;
            *rest += 3;
            continue;
        }
        char *end;
        values[count++] = strtod(*rest, &end);
        if (end == *rest)
            return -1;
        *rest = end;
    }
}

static bool accept(Context *context, char *text)
{
    Point point = {0};
    point.in_count = read_values(&text, point.in, NULL);
    if (strncmp(text, "expect", 6) != 0 || context->operation == NULL)
        return false;
    text += 6;
    point.out_count = read_values(&text, point.out, &point.none);
    if (point.in_count != context->operation->in_count ||
        point.out_count != (point.none ? 0 : context->operation->out_count))
        return false;
    context->operation->check(context, &point);
    context->checks++;
    return true;
}

/* False for a line that makes no sense. *closed is set by `checks`. */
static bool run_line(Context *context, char *text, bool *closed)
{
    char word[16];
    int used = 0, count;
    if (sscanf(text, "%15s %n", word, &used) < 1 || word[0] == '#')
        return true;
    text += used;
    if (strcmp(word, "accept") == 0)
        return accept(context, text);
    if (strcmp(word, "operation") == 0)
        return (context->operation = operation_named(text)) != NULL;
    if (strcmp(word, "projection") == 0)
        return set_projection(context, text);
    if (strcmp(word, "centre") == 0)
        return set_centre(context, text);
    if (strcmp(word, "angles") == 0)
        return set_angles(context, text);
    if (strcmp(word, "view") == 0)
        return set_view(context, text);
    if (strcmp(word, "radius") == 0)
        return sscanf(text, "%lf", &context->radius) == 1;
    if (strcmp(word, "tolerance") == 0)
        return sscanf(text, "%lf", &context->tolerance) == 1;
    if (strcmp(word, "roundtrip") == 0)
        return sscanf(text, "%lf", &context->roundtrip_deg) == 1;
    if (strcmp(word, "checks") != 0 || sscanf(text, "%d", &count) != 1)
        return false;
    cr_expect_eq(count, context->checks, "%s: %d checks made, %d announced", context->file, context->checks,
                 count);
    return *closed = true;
}

static void run_table(const char *file)
{
    Context context = {.file = file, .radius = 1, .tolerance = 0, .roundtrip_deg = 1e-10};
    char path[256], text[512];
    snprintf(path, sizeof path, FOLDER "%s", file);
    FILE *stream = fopen(path, "r");
    cr_assert_not_null(stream, "%s cannot be opened: run from the top of the project", path);
    bool closed = false;
    while (fgets(text, sizeof text, stream) != NULL) {
        context.line++;
        text[strcspn(text, "\n")] = '\0';
        if (!run_line(&context, text, &closed))
            complain(&context, "cannot make sense of '%s'", text);
    }
    fclose(stream);
    cr_expect(closed, "%s does not end with its number of checks", file);
    cr_expect_gt(context.checks, 0, "%s checks nothing", file);
}

#define TABLES(X)                                                                                            \
    X(snyder_examples)                                                                                       \
    X(snyder_table_21)                                                                                       \
    X(snyder_table_22)                                                                                       \
    X(snyder_table_24)                                                                                       \
    X(snyder_table_26)                                                                                       \
    X(snyder_table_28)                                                                                       \
    X(snyder_table_30)                                                                                       \
    X(proj_examples)                                                                                         \
    X(oblique_rotation)                                                                                      \
    X(lens_models)                                                                                           \
    X(wcs_native)                                                                                            \
    X(wcs_cube)                                                                                              \
    X(panorama_pixels)                                                                                       \
    X(face_pixels)                                                                                           \
    X(planet_pixels)                                                                                         \
    X(view_pixels)                                                                                           \
    X(view_fields)

#define TABLE_TEST(name)                                                                                     \
    Test(truth_tables, name)                                                                                 \
    {                                                                                                        \
        run_table(#name ".txt");                                                                             \
    }
TABLES(TABLE_TEST)

/*
 * The commands against the formulas: a 16-bit panorama whose colour is the direction of each pixel goes
 * through faces, view, planet and wrap, and every pixel of what comes out is decoded and compared with the
 * direction that it should show. The formulas are written out here once more, without the library: faces
 * (forward, right, up) with a = 2(i+1/2)/N - 1, b = 2(j+1/2)/N - 1: front (1, a, -b), right (-a, 1, -b), back
 * (-1, -a, -b), left (a, -1, -b), up (b, a, 1), down (-b, a, -1) planet    inverse stereographic, Snyder,
 * USGS PP 1395 (1987), (20-14), (20-15), (21-15): c = 2 atan(rho/2)
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

#include "support/program.h"

#define WIDTH_PX 512u
#define FACE_PX  163u /* 512/pi */

/* Errors are in pixels of the panorama at its equator. */
#define LIMIT_PX   0.05
#define PERCENTILE 0.999

static void make_panorama(void)
{
    UfPicture *picture = NULL;
    folder_enter();
    cr_assert_eq(uf_picture_create(WIDTH_PX, WIDTH_PX / 2, 3, UF_SAMPLE_U16, &picture, NULL), UF_OK);
    for (size_t y = 0; y < WIDTH_PX / 2; y++) {
        uint16_t *row = uf_picture_row(picture, y);
        for (size_t x = 0; x < WIDTH_PX; x++) {
            double lon = (((double)x + 0.5) / WIDTH_PX - 0.5) * 2 * UF_PI;
            double lat = (0.5 - ((double)y + 0.5) / (WIDTH_PX / 2)) * UF_PI;
            const double d[3] = {cos(lat) * sin(lon), sin(lat), cos(lat) * cos(lon)};
            for (size_t c = 0; c < 3; c++)
                row[3 * x + c] = (uint16_t)floor((d[c] + 1) / 2 * 65535 + 0.5);
        }
    }
    cr_assert_eq(uf_picture_write(picture, "coded.png", NULL, NULL), UF_OK);
    uf_picture_free(&picture);
}

TestSuite(reproject_commands, .init = make_panorama, .fini = folder_leave);

/* The direction that pixel (x, y) of a picture of that size should show; false where it should show nothing.
 */
typedef bool Truth(const void *what, double x, double y, double width, double height, double d[3]);

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static double error_px(const uint16_t *pixel, const double truth[3])
{
    double d[3];
    double length = 0;
    double length_truth = 0;
    double cross[3];
    for (size_t c = 0; c < 3; c++) {
        d[c] = pixel[c] / 65535.0 * 2 - 1;
        length += d[c] * d[c];
        length_truth += truth[c] * truth[c];
    }
    for (size_t c = 0; c < 3; c++)
        cross[c] = d[(c + 1) % 3] * truth[(c + 2) % 3] - d[(c + 2) % 3] * truth[(c + 1) % 3];
    double sine = sqrt(cross[0] * cross[0] + cross[1] * cross[1] + cross[2] * cross[2]);
    double cosine = d[0] * truth[0] + d[1] * truth[1] + d[2] * truth[2];
    cr_assert(length > 0.25, "nothing is there");
    return atan2(sine / sqrt(length * length_truth), cosine / sqrt(length * length_truth)) * WIDTH_PX /
           (2 * UF_PI);
}

static void check_picture(const char *path, Truth *truth, const void *what, size_t least_count)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_read(path, NULL, &picture, NULL), UF_OK, "%s", path);
    cr_assert_eq(uf_picture_sample(picture), UF_SAMPLE_U16);
    size_t width = uf_picture_width_px(picture);
    size_t height = uf_picture_height_px(picture);
    size_t channels = uf_picture_channels(picture);
    double *errors = malloc(width * height * sizeof *errors);
    cr_assert_not_null(errors);
    size_t count = 0;
    for (size_t y = 0; y < height; y++) {
        const uint16_t *row = uf_picture_row_const(picture, y);
        for (size_t x = 0; x < width; x++) {
            double d[3];
            if (truth(what, (double)x + 0.5, (double)y + 0.5, (double)width, (double)height, d))
                errors[count++] = error_px(row + x * channels, d);
        }
    }
    cr_assert_geq(count, least_count, "%s: only %zu pixels", path, count);
    qsort(errors, count, sizeof *errors, by_value);
    double error = errors[(size_t)((double)(count - 1) * PERCENTILE)];
    cr_expect_leq(error, LIMIT_PX, "%s: %.4f px", path, error);
    cr_log_info("%s: 99.9th percentile %.4f px, largest %.4f px", path, error, errors[count - 1]);
    free(errors);
    uf_picture_free(&picture);
}

static bool face_truth(const void *what, double x, double y, double width, double height, double d[3])
{
    double a = 2 * x / width - 1;
    double b = 2 * y / height - 1;
    const double vectors[6][3] = {{1, a, -b}, {-a, 1, -b}, {-1, -a, -b}, {a, -1, -b}, {b, a, 1}, {-b, a, -1}};
    const double *vector = vectors[*(const int *)what];
    d[0] = vector[1];
    d[1] = vector[2];
    d[2] = vector[0];
    return true;
}

static bool panorama_truth(const void *what, double x, double y, double width, double height, double d[3])
{
    (void)what;
    double lon = (x / width - 0.5) * 2 * UF_PI;
    double lat = (0.5 - y / height) * UF_PI;
    d[0] = cos(lat) * sin(lon);
    d[1] = sin(lat);
    d[2] = cos(lat) * cos(lon);
    return true;
}

static void run_well(Run run)
{
    cr_assert(run.status == 0 || run.status == 2, "%s", run.err);
    run_free(&run);
}

Test(reproject_commands, faces_and_wrap_show_every_direction_where_it_is)
{
    static const char *const names[6] = {"front", "right", "back", "left", "up", "down"};
    run_well(RUN_UNDERFOOT("faces", "coded.png", "-o", "faces"));
    for (int face = 0; face < 6; face++) {
        char path[32];
        snprintf(path, sizeof path, "faces/%s.png", names[face]);
        check_picture(path, face_truth, &face, (size_t)FACE_PX * FACE_PX);
    }
    /* every pixel counts here, those on the edges of faces, at the poles and at the seam, too */
    run_well(RUN_UNDERFOOT("wrap", "faces", "-o", "wrapped.png"));
    check_picture("wrapped.png", panorama_truth, NULL, (size_t)WIDTH_PX * WIDTH_PX / 2);
    run_well(RUN_UNDERFOOT("wrap", "faces", "-o", "small.png", "--width", "200"));
    check_picture("small.png", panorama_truth, NULL, 200 * 100);
    run_well(RUN_UNDERFOOT("wrap", "faces", "-o", "large.png", "--width", "900", "--sampling", "bicubic"));
    check_picture("large.png", panorama_truth, NULL, 900 * 450);
}

Test(reproject_commands, sheets_hold_the_same_sphere)
{
    run_well(RUN_UNDERFOOT("faces", "coded.png", "-o", "strip.tif", "--sheet", "strip", "--size", "200"));
    run_well(RUN_UNDERFOOT("wrap", "strip.tif", "-o", "from-strip.png", "--width", "512"));
    check_picture("from-strip.png", panorama_truth, NULL, (size_t)WIDTH_PX * WIDTH_PX / 2);
    run_well(RUN_UNDERFOOT("faces", "coded.png", "-o", "cross.png", "--sheet", "cross"));
    run_well(RUN_UNDERFOOT("wrap", "cross.png", "-o", "from-cross.png"));
    check_picture("from-cross.png", panorama_truth, NULL, (size_t)WIDTH_PX * WIDTH_PX / 2);
}

typedef struct Look {
    double yaw_deg, pitch_deg, roll_deg, fov_deg;
} Look;

/* d_world = Ry(yaw) Rx(pitch) Rz(roll) d_camera, the three rotations one after another. */
static bool view_truth(const void *what, double x, double y, double width, double height, double d[3])
{
    const Look *look = what;
    const double degree = UF_PI / 180;
    double focal = width / 2 / tan(look->fov_deg / 2 * degree);
    double u = x - width / 2;
    double v = height / 2 - y;
    double roll = look->roll_deg * degree;
    double pitch = look->pitch_deg * degree;
    double yaw = look->yaw_deg * degree;
    double x1 = u * cos(roll) + v * sin(roll);
    double y1 = -u * sin(roll) + v * cos(roll);
    double z2 = -y1 * sin(pitch) + focal * cos(pitch);
    d[0] = x1 * cos(yaw) + z2 * sin(yaw);
    d[1] = y1 * cos(pitch) + focal * sin(pitch);
    d[2] = -x1 * sin(yaw) + z2 * cos(yaw);
    double length = sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2]);
    for (size_t c = 0; c < 3; c++)
        d[c] /= length;
    return true;
}

Test(reproject_commands, views_show_every_direction_where_it_is)
{
    /* the widest is made large: where it is coarser than the panorama, means are taken in linear light, and a
     * mean of curved codes is not the code of the middle */
    static const char *const texts[][5] = {
        {"30", "20", "0", "100", "240x135"},   {"-135.5", "-40", "25", "75", "240x135"},
        {"180", "5", "-170", "60", "240x135"}, {"-60", "88", "10", "90", "240x135"},
        {"12", "-90", "0", "120", "240x135"},  {"0", "0", "0", "170", "1600x100"},
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const char *const *t = texts[i];
        Look look = {strtod(t[0], NULL), strtod(t[1], NULL), strtod(t[2], NULL), strtod(t[3], NULL)};
        run_well(RUN_UNDERFOOT("view", "coded.png", "-o", "view.png", "--overwrite", "--yaw", t[0], "--pitch",
                               t[1], "--roll", t[2], "--fov", t[3], "--size", t[4]));
        check_picture("view.png", view_truth, &look, 240 * 135);
    }
}

typedef struct Planet {
    double heading_deg, fov_deg;
    bool sky;
} Planet;

/* On the ground the heading is up in the picture and its right hand right; on the sky the heading is down. */
static bool planet_truth(const void *what, double x, double y, double width, double height, double d[3])
{
    const Planet *planet = what;
    double scale = width / 2 / (2 * tan(planet->fov_deg * UF_PI / 180 / 4));
    double u = (x - width / 2) / scale;
    double v = (height / 2 - y) / scale;
    double c = 2 * atan(hypot(u, v) / 2);
    double lon = planet->heading_deg * UF_PI / 180 + (planet->sky ? atan2(u, -v) : atan2(u, v));
    d[0] = sin(c) * sin(lon);
    d[1] = planet->sky ? cos(c) : -cos(c);
    d[2] = sin(c) * cos(lon);
    return true;
}

/* Directions of the panorama that lie a little inside the planet's square. */
static bool wrapped_planet_truth(const void *what, double x, double y, double width, double height,
                                 double d[3])
{
    const Planet *planet = what;
    panorama_truth(NULL, x, y, width, height, d);
    double c = acos(planet->sky ? d[1] : -d[1]);
    return c * 180 / UF_PI < planet->fov_deg / 2 - 2;
}

Test(reproject_commands, planets_show_every_direction_where_it_is)
{
    Planet ground = {40, 270, false};
    run_well(RUN_UNDERFOOT("planet", "coded.png", "-o", "ground.png", "--size", "400", "--fov", "270",
                           "--heading", "40"));
    check_picture("ground.png", planet_truth, &ground, 400 * 400);
    Planet sky = {-100, 200, true};
    run_well(RUN_UNDERFOOT("planet", "coded.png", "-o", "sky.png", "--size", "400", "--fov", "200",
                           "--heading", "-100", "--sky-centre"));
    check_picture("sky.png", planet_truth, &sky, 400 * 400);
    run_well(RUN_UNDERFOOT("wrap", "ground.png", "-o", "from-ground.png"));
    check_picture("from-ground.png", wrapped_planet_truth, &ground, 50000);
    run_well(RUN_UNDERFOOT("wrap", "sky.png", "-o", "from-sky.png"));
    check_picture("from-sky.png", wrapped_planet_truth, &sky, 50000);
    /* and one that does not say what it is */
    run_well(RUN_PROGRAM("sh", "-c", "rm sky.png.home.ini && exiftool -q -overwrite_original -all= sky.png"));
    run_well(RUN_UNDERFOOT("wrap", "sky.png", "-o", "told.png", "--fov", "200", "--heading", "-100",
                           "--sky-centre"));
    check_picture("told.png", wrapped_planet_truth, &sky, 50000);
}

/* out(d) = in(R d): the colour says R d. */
static bool turned_truth(const void *what, double x, double y, double width, double height, double d[3])
{
    const double *angles_rad = what;
    double at[3];
    panorama_truth(NULL, x, y, width, height, at);
    double roll = angles_rad[2];
    double pitch = angles_rad[1];
    double yaw = angles_rad[0];
    double rolled[3] = {cos(roll) * at[0] + sin(roll) * at[1], cos(roll) * at[1] - sin(roll) * at[0], at[2]};
    double pitched[3] = {rolled[0], cos(pitch) * rolled[1] + sin(pitch) * rolled[2],
                         cos(pitch) * rolled[2] - sin(pitch) * rolled[1]};
    d[0] = cos(yaw) * pitched[0] + sin(yaw) * pitched[2];
    d[1] = pitched[1];
    d[2] = cos(yaw) * pitched[2] - sin(yaw) * pitched[0];
    return true;
}

Test(reproject_commands, turned_panoramas_show_every_direction_where_it_is)
{
    const double angles_rad[3] = {uf_radians(-71.3), uf_radians(38), uf_radians(-12.5)};
    run_well(
        RUN_UNDERFOOT("turn", "coded.png", "-o", "turned.png", "--yaw=-71.3", "--pitch=38", "--roll=-12.5"));
    check_picture("turned.png", turned_truth, angles_rad, (size_t)WIDTH_PX * WIDTH_PX / 2);
}

/* All over the face but for its rim, where the mask ends, what was painted; all beyond it, what was there. */
static bool painted_truth(const void *what, double x, double y, double width, double height, double d[3])
{
    panorama_truth(NULL, x, y, width, height, d);
    double a = fabs(d[0] / d[1]);
    double b = fabs(d[2] / d[1]);
    double reach = a > b ? a : b;
    bool is_in = d[1] < 0 && reach < 0.9;
    bool is_out = d[1] >= 0 || reach > 1.1;
    for (int c = 0; is_in && c < 3; c++)
        d[c] = -d[c];
    return *(const bool *)what ? is_in : is_out;
}

Test(reproject_commands, what_was_painted_comes_home_to_its_direction)
{
    UfPicture *face = NULL;
    run_well(RUN_UNDERFOOT("faces", "coded.png", "-o", ".", "--only", "down"));
    cr_assert_eq(uf_picture_read("down.png", NULL, &face, NULL), UF_OK);
    /* every direction is painted over with its opposite */
    for (size_t y = 0; y < FACE_PX; y++)
        for (size_t i = 0; i < FACE_PX * uf_picture_channels(face); i++) {
            uint16_t *code = (uint16_t *)uf_picture_row(face, y) + i;
            *code = (uint16_t)(65535 - *code);
        }
    cr_assert_eq(uf_picture_write(face, "painted.png", NULL, NULL), UF_OK);
    run_well(RUN_UNDERFOOT("putback", "coded.png", "painted.png", "-o", "home.png", "--as", "down"));
    bool painted = true;
    check_picture("home.png", painted_truth, &painted, 15000);
    painted = false;
    check_picture("home.png", painted_truth, &painted, 90000);
    uf_picture_free(&face);
}

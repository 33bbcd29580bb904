/*
 * Remapping against the truth: a panorama whose colour is the direction that each pixel looks in goes through
 * faces, views and planets, and what they show is compared with directions computed by WCSLIB (M. R.
 * Calabretta and E. W. Greisen, Representations of celestial coordinates in FITS, A&A 395, 1077-1122 (2002):
 * TAN and STG), and with itself after it has been brought back.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include <wcslib/prj.h>
#include <wcslib/sph.h>

#include <underfoot/remap.h>

#define WIDTH_PX 512u

/* Errors are in pixels of the panorama at its equator. */
#define LIMIT_PX   0.05
#define PERCENTILE 0.999

static const double per_radian_px = WIDTH_PX / (2 * UF_PI);

static UfPicture *coded_panorama(void)
{
    UfPicture *picture = NULL;
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
    return picture;
}

static UfDirection decoded(const UfPicture *picture, size_t x, size_t y)
{
    const uint16_t *at =
        (const uint16_t *)uf_picture_row_const(picture, y) + x * uf_picture_channels(picture);
    double d[3], length = 0;
    for (size_t c = 0; c < 3; c++) {
        d[c] = at[c] / 65535.0 * 2 - 1;
        length += d[c] * d[c];
    }
    length = sqrt(length);
    return (UfDirection){d[0] / length, d[1] / length, d[2] / length};
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double percentile(double *errors, size_t count, double part)
{
    qsort(errors, count, sizeof *errors, by_value);
    return errors[(size_t)((double)(count - 1) * part)];
}

/* Directions of a TAN or STG picture with its reference at (lon0, lat0) degrees, x right and y up in the
 * plane. */
typedef struct Oracle {
    struct prjprm projection;
    double euler[5];
} Oracle;

static void oracle_init(Oracle *oracle, const char *code, double lon0_deg, double lat0_deg)
{
    prjini(&oracle->projection);
    for (int i = 0; i < 4; i++)
        oracle->projection.code[i] = i < 3 ? code[i] : '\0';
    oracle->projection.r0 = 1;
    cr_assert_eq(prjset(&oracle->projection), 0);
    double pole_deg = 90 - lat0_deg;
    double euler[5] = {lon0_deg, pole_deg, 180, cos(pole_deg * UF_PI / 180), sin(pole_deg * UF_PI / 180)};
    for (int i = 0; i < 5; i++)
        oracle->euler[i] = euler[i];
}

static UfDirection oracle_direction(Oracle *oracle, double x, double y)
{
    double phi, theta, lon, lat;
    int bad = 0;
    cr_assert_eq(prjx2s(&oracle->projection, 1, 1, 1, 1, &x, &y, &phi, &theta, &bad), 0);
    cr_assert_eq(sphx2s(oracle->euler, 1, 1, 1, 1, &phi, &theta, &lon, &lat), 0);
    lon *= UF_PI / 180;
    lat *= UF_PI / 180;
    return (UfDirection){cos(lat) * sin(lon), sin(lat), cos(lat) * cos(lon)};
}

static void check_against_oracle(const UfPicture *panorama, const UfView *target, Oracle *oracle,
                                 double half_width, const char *name)
{
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    UfPicture *out = NULL;
    cr_assert_eq(uf_remap(panorama, &sphere, target, NULL, &out, NULL), UF_OK);
    size_t width = target->width_px, height = target->height_px, count = 0;
    double *errors = malloc(width * height * sizeof *errors);
    cr_assert_not_null(errors);
    double scale = (double)width / 2 / half_width;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            UfDirection truth = oracle_direction(oracle, ((double)x + 0.5 - (double)width / 2) / scale,
                                                 ((double)height / 2 - (double)y - 0.5) / scale);
            errors[count++] = uf_angle_between_rad(truth, decoded(out, x, y)) * per_radian_px;
        }
    double error = percentile(errors, count, PERCENTILE);
    cr_expect_leq(error, LIMIT_PX, "%s: %.4f px", name, error);
    cr_log_info("%s: 99.9th percentile %.4f px, largest %.4f px", name, error, errors[count - 1]);
    free(errors);
    uf_picture_free(&out);
}

Test(truth_remap, faces_and_views_as_wcslib_has_them)
{
    UfPicture *panorama = coded_panorama();
    const double centres[UF_FACE_COUNT][2] = {
        [UF_FACE_FRONT] = {0, 0},  [UF_FACE_RIGHT] = {90, 0}, [UF_FACE_BACK] = {180, 0},
        [UF_FACE_LEFT] = {-90, 0}, [UF_FACE_UP] = {0, 90},    [UF_FACE_DOWN] = {0, -90}};
    Oracle oracle;
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfView view = uf_view_face((UfFace)face, uf_face_full_size_px(WIDTH_PX));
        oracle_init(&oracle, "TAN", centres[face][0], centres[face][1]);
        check_against_oracle(panorama, &view, &oracle, 1, uf_face_name((UfFace)face));
    }
    const double looks[4][2] = {{30, 20}, {-135, -40}, {180, 5}, {-60, 88}};
    for (int i = 0; i < 4; i++) {
        UfRotation rotation = uf_rotation_from_angles(uf_radians(looks[i][0]), uf_radians(looks[i][1]), 0);
        UfView view = uf_view_rectilinear(240, 135, uf_radians(100), rotation);
        oracle_init(&oracle, "TAN", looks[i][0], looks[i][1]);
        check_against_oracle(panorama, &view, &oracle, tan(uf_radians(50)), "view");
    }
    uf_picture_free(&panorama);
}

Test(truth_remap, planets_as_wcslib_has_them)
{
    UfPicture *panorama = coded_panorama();
    Oracle oracle;
    for (int sky = 0; sky < 2; sky++)
        for (double fov_deg = 180; fov_deg <= 300; fov_deg += 60) {
            UfView view = uf_view_planet(256, uf_radians(fov_deg), 0, sky != 0);
            oracle_init(&oracle, "STG", 0, sky != 0 ? 90 : -90);
            check_against_oracle(panorama, &view, &oracle, 2 * tan(uf_radians(fov_deg) / 4),
                                 sky != 0 ? "sky-centred planet" : "planet");
        }
    uf_picture_free(&panorama);
}

/* Well inside the picture: at its border the last pixels are repeated, which bends what lies there. */
static bool is_inside(const UfView *view, UfDirection direction)
{
    const double border = 3;
    UfPixelPoint at;
    if (uf_view_is_full_turn(view))
        return true;
    return uf_view_pixel(view, direction, &at) && at.x_px > border &&
           at.x_px < (double)view->width_px - border && at.y_px > border &&
           at.y_px < (double)view->height_px - border;
}

/* Through the target and home again: where the target saw the sphere, every direction is where it was. */
static void check_there_and_back(const UfPicture *panorama, const UfView *target, const char *name)
{
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    UfPicture *out = NULL, *home = NULL;
    cr_assert_eq(uf_remap(panorama, &sphere, target, NULL, &out, NULL), UF_OK);
    cr_assert_eq(uf_remap(out, target, &sphere, &(UfRemapOptions){.with_alpha = true}, &home, NULL), UF_OK);
    double *errors = malloc(WIDTH_PX * WIDTH_PX / 2 * sizeof *errors);
    cr_assert_not_null(errors);
    size_t count = 0;
    for (size_t y = 0; y < WIDTH_PX / 2; y++)
        for (size_t x = 0; x < WIDTH_PX; x++) {
            const uint16_t *pixel = (const uint16_t *)uf_picture_row_const(home, y) + 4 * x;
            UfDirection truth;
            cr_assert(uf_view_direction(&sphere, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &truth));
            if (!is_inside(target, truth))
                continue;
            cr_assert_eq(pixel[3], 65535, "%s: seen at %zu %zu", name, x, y);
            errors[count++] = uf_angle_between_rad(truth, decoded(home, x, y)) * per_radian_px;
        }
    cr_assert_gt(count, 8000, "%s covers %zu pixels", name, count);
    double error = percentile(errors, count, PERCENTILE);
    cr_expect_leq(error, LIMIT_PX, "%s: %.4f px", name, error);
    cr_log_info("%s and back: 99.9th percentile %.4f px, largest %.4f px", name, error, errors[count - 1]);
    free(errors);
    uf_picture_free(&out);
    uf_picture_free(&home);
}

Test(truth_remap, there_and_back)
{
    UfPicture *panorama = coded_panorama();
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfView view = uf_view_face((UfFace)face, uf_face_full_size_px(WIDTH_PX));
        check_there_and_back(panorama, &view, uf_face_name((UfFace)face));
    }
    UfView view = uf_view_rectilinear(320, 200, uf_radians(110), uf_rotation_from_angles(3, -1.3, 0.4));
    check_there_and_back(panorama, &view, "view across seam and pole");
    view = uf_view_planet(512, uf_radians(250), 0.7, false);
    check_there_and_back(panorama, &view, "planet");
    view = uf_view_planet(512, uf_radians(250), -2, true);
    check_there_and_back(panorama, &view, "sky-centred planet");
    view = uf_view_equirectangular(WIDTH_PX);
    view.rotation = uf_rotation_from_angles(1, 0.8, -0.5);
    check_there_and_back(panorama, &view, "turned panorama");
    for (UfProjection projection = UF_PROJECTION_EQUIDISTANT; projection < UF_PROJECTION_COUNT;
         projection++) {
        bool half = projection == UF_PROJECTION_ORTHOGRAPHIC;
        view = (UfView){projection, uf_rotation_from_angles(-0.5, -0.9, 0), half ? 200 : 100, 200, 200, 400,
                        400};
        view = half ? uf_view_window(&view, 75, 75, 250, 250) : uf_view_window(&view, 65, 65, 270, 270);
        check_there_and_back(panorama, &view, uf_projection_name(projection));
    }
    uf_picture_free(&panorama);
}

/*
 * The floor photograph: found where geometry says it lies, alike in colour, better than any rebuilt floor,
 * and refused where it does not belong. The photographs are taken from the scenes' floors, which the scene
 * maker renders without hardware, by cameras whose place is exact.
 */
#include "test_plate_support.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "patch/floor_plane.h"
#include "patch/over.h"
#include "patch/plate_fit.h"

#define HALL     ".build/scenes/ticket-hall-truth.jpg"
#define WORKSHOP ".build/scenes/workshop-truth.tif"
#define YARD     ".build/scenes/yard-truth.jpg"

#define CAP_DEG 24.0

/* Another place, tilted, another exposure and white balance, vignetting, noise. */
static const Shooting by_hand = {.x = 0.22,
                                 .height = 1.1,
                                 .z = -0.3,
                                 .yaw_deg = -37,
                                 .pitch_deg = -68,
                                 .roll_deg = 14,
                                 .focal_px = 420,
                                 .width = 720,
                                 .height_px = 540,
                                 .gain = {0.62, 0.7, 0.83},
                                 .vignetting = 0.3,
                                 .noise = 0.008};

/* The same with fewer pixels. */
static Shooting smaller(const Shooting *s, double by)
{
    Shooting small = *s;
    small.focal_px *= by;
    small.width = (size_t)((double)s->width * by);
    small.height_px = (size_t)((double)s->height_px * by);
    return small;
}

static UfCap cap_of(const UfPicture *panorama)
{
    return (UfCap){.width_px = uf_picture_width_px(panorama),
                   .height_px = uf_picture_height_px(panorama),
                   .cap_rad = uf_radians(CAP_DEG),
                   .feather_rad = uf_radians(1.5),
                   .threads = 1};
}

/* Rms over hole and ring of where the fit lays the photo from where it lies, in pixels of the plane; NAN when
 * it is refused. */
static double error_of(const UfPicture *panorama, const UfPicture *photo, const Shooting *s,
                       const UfCamera *camera, UfPlateFit *fit)
{
    UfCap cap = cap_of(panorama);
    UfFloorPlane plane = {0};
    UfPlatePhoto lens;
    UfPlate plate = {.photo = photo, .camera = camera};
    UfHomography to_ray;
    UfTransfer *transfer = NULL;
    UfPicture *like = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_transfer_create(panorama, &transfer, report), UF_OK);
    cr_assert_eq(uf_logo_colours(photo, panorama, &like, report), UF_OK);
    cr_assert_eq(uf_floor_plane_read(panorama, &cap, true, 0, &plane, report), UF_OK);
    cr_assert_eq(uf_plate_photo_create(like, transfer, camera, &lens, report), UF_OK);
    UfStatus status = uf_plate_fit(&plane, &cap, &lens, &plate, 3, &to_ray, fit, report);
    double sum = 0, count = 0;
    for (int k = 0; status == UF_OK && k < 400; k++) {
        double x = 0.09 * (k % 20 - 9.5), z = 0.09 * (k / 20 - 9.5);
        UfSpot at = {plane.view.centre_x_px + x * plane.view.scale_px,
                     plane.view.centre_y_px - z * plane.view.scale_px};
        UfSpot wanted, q, found;
        if (!shooting_pixel(s, x, z, &wanted) || wanted.x < 0 || wanted.y < 0 ||
            wanted.x > (double)s->width || wanted.y > (double)s->height_px)
            continue;
        cr_assert(uf_homography_apply(&to_ray, at, &q) && uf_plate_photo_pixel(&lens, q, &found));
        sum +=
            pow(hypot(found.x - wanted.x, found.y - wanted.y) / uf_plate_photo_scale(&lens, &to_ray, at), 2);
        count++;
    }
    uf_floor_plane_clear(&plane);
    uf_picture_free(&like);
    uf_transfer_free(&transfer);
    uf_report_free(&report);
    return status == UF_OK && count > 20 ? sqrt(sum / count) : NAN;
}

/* Any turn, finer and coarser than the panorama, tilted up to 25 degrees. */
Test(plate, is_found_where_it_lies)
{
    const struct {
        const char *scene;
        size_t width;
        double yaw_deg, pitch_deg, x, z, height, focal_px;
        size_t side;
        double most_px;
    } rows[] = {
        {HALL, 512, 133, -66, -0.25, 0.2, 1.15, 500, 700, 0.3},
        {YARD, 768, 180, -88, 0.05, 0, 1.0, 68, 136, 0.5},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        Shooting s = by_hand;
        UfPlateFit fit = {0};
        s.yaw_deg = rows[i].yaw_deg;
        s.pitch_deg = rows[i].pitch_deg;
        s.x = rows[i].x;
        s.z = rows[i].z;
        s.height = rows[i].height;
        s.focal_px = rows[i].focal_px;
        s.width = s.height_px = rows[i].side;
        UfPicture *truth = read_floor(rows[i].scene, rows[i].width), *photo = shoot(truth, &s);
        UfPicture *panorama = without_nadir(truth, CAP_DEG - 0.5);
        double error = error_of(panorama, photo, &s, NULL, &fit);
        cr_expect(error < rows[i].most_px, "row %zu: %g px, says %g, correlation %g", i, error,
                  fit.shift_rms_px, fit.correlation);
        uf_picture_free(&truth);
        uf_picture_free(&photo);
        uf_picture_free(&panorama);
    }
}

/* Perfect tiles: nothing says which of them is which. Four points do. */
static UfPicture *lattice(void)
{
    UfPicture *picture = make_picture(640, 320, 3, UF_SAMPLE_U8);
    for (size_t y = 160; y < 320; y++)
        for (size_t x = 0; x < 640; x++) {
            double sum = 0;
            for (int k = 0; k < 16; k++) {
                double lon = (((double)x + (k % 4 + 0.5) / 4) / 640 - 0.5) * 2 * UF_PI;
                double angle = UF_PI - ((double)y + (k / 4 + 0.5) / 4) / 320 * UF_PI;
                double r = tan(fmin(angle, 1.45)), u = r * sin(lon) * 3, v = r * cos(lon) * 3;
                bool joint = u - floor(u) < 0.12 || v - floor(v) < 0.12;
                sum += joint ? 0.25 : 0.6;
            }
            for (size_t c = 0; c < 3; c++)
                set(picture, x, y, c, sum / 16);
        }
    return picture;
}

static UfStatus patch_with(UfPicture *panorama, const UfPlate *plate, UfPatchResult *result, UfReport *report)
{
    UfPatchOptions options = options_of(UF_FILL_FLOOR, CAP_DEG, 1.5);
    options.plate = plate;
    options.threads = 1;
    return uf_patch(panorama, &options, NULL, result, report);
}

static UfPointPair pair_at(const Shooting *s, double x, double z)
{
    UfView whole = uf_view_equirectangular(640);
    UfPointPair pair = {0};
    UfSpot at = {0};
    double size = sqrt(x * x + z * z + 1);
    cr_assert(shooting_pixel(s, x, z, &at));
    cr_assert(uf_view_pixel(&whole, (UfDirection){x / size, -1 / size, z / size}, &pair.panorama));
    pair.photo = (UfPixelPoint){at.x, at.y};
    return pair;
}

Test(plate, asks_where_a_floor_repeats_itself)
{
    Shooting s = smaller(&by_hand, 0.75);
    UfPicture *truth = lattice(), *photo = shoot(truth, &s), *panorama = without_nadir(truth, CAP_DEG - 0.5);
    UfPlate plate = {.photo = photo};
    UfPatchResult result = {0};
    UfReport *report = uf_report_create();
    cr_expect_eq(patch_with(panorama, &plate, &result, report), UF_ERROR_UNCLEAR);
    cr_expect_not_null(strstr(uf_report_error(report), "point pairs"), "%s", uf_report_error(report));
    const UfPointPair pairs[4] = {pair_at(&s, -0.5, 0.3), pair_at(&s, 0.45, 0.4), pair_at(&s, 0.5, -0.35),
                                  pair_at(&s, -0.45, -0.3)};
    plate.pairs = pairs;
    plate.pair_count = 4;
    cr_expect_eq(patch_with(panorama, &plate, &result, report), UF_OK, "%s", uf_report_error(report));
    cr_expect(psnr_below(panorama, truth, CAP_DEG) > 30, "%g dB", psnr_below(panorama, truth, CAP_DEG));
    plate.pair_count = 3;
    cr_expect_eq(patch_with(panorama, &plate, &result, report), UF_ERROR_ARGUMENT);
    uf_picture_free(&truth);
    uf_picture_free(&photo);
    uf_picture_free(&panorama);
    uf_report_free(&report);
}

/* Another floor, and a floor without anything on it. */
Test(plate, refuses_what_does_not_belong)
{
    Shooting half = smaller(&by_hand, 0.5);
    UfPicture *hall = read_floor(HALL, 512), *yard = read_floor(YARD, 512), *photo = shoot(yard, &half);
    UfPicture *grey = make_picture(300, 200, 3, UF_SAMPLE_U8);
    UfPlate plate = {.photo = photo};
    UfPatchResult result = {0};
    UfReport *report = uf_report_create();
    cr_expect_eq(patch_with(hall, &plate, &result, report), UF_ERROR_UNCLEAR);
    plate.photo = grey;
    cr_expect_eq(patch_with(hall, &plate, &result, report), UF_ERROR_UNCLEAR);
    cr_expect(strlen(uf_report_error(report)) > 20);
    uf_picture_free(&hall);
    uf_picture_free(&yard);
    uf_picture_free(&photo);
    uf_picture_free(&grey);
    uf_report_free(&report);
}

/* With a shoe cut out: far nearer to the truth than a rebuilt floor, and the rest is said to be rebuilt. */
Test(plate, beats_the_rebuilt_floor)
{
    Shooting s = smaller(&by_hand, 0.75);
    s.foot_x = 0.1;
    s.foot_z = 0.1;
    s.foot_radius = 0.06;
    UfPicture *truth = read_floor(WORKSHOP, 768), *photo = shoot(truth, &s);
    UfPicture *plated = without_nadir(truth, CAP_DEG - 0.5), *rebuilt = copy_picture(plated);
    UfPlate plate = {.photo = photo};
    UfPatchResult result = {0};
    UfReport *report = uf_report_create();
    cr_assert_eq(patch_with(plated, &plate, &result, report), UF_OK, "%s", uf_report_error(report));
    cr_expect(result.plate.cover < 0.99 && result.plate.cover > 0.9, "covers %g", result.plate.cover);
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect_eq(patch_with(rebuilt, NULL, &result, report), UF_OK);
    double with = psnr_below(plated, truth, CAP_DEG), without = psnr_below(rebuilt, truth, CAP_DEG);
    cr_expect(with > without + 3 && with > 33, "%g dB with, %g dB without", with, without);
    uf_picture_free(&truth);
    uf_picture_free(&photo);
    uf_picture_free(&plated);
    uf_picture_free(&rebuilt);
    uf_report_free(&report);
}

/* A fisheye frame straight down, the head turned: same place, lens from the rig. */
Test(plate, takes_a_fisheye_frame_of_the_same_head)
{
    Shooting s = {.height = 1,
                  .yaw_deg = 180,
                  .pitch_deg = -90,
                  .focal_px = 150,
                  .width = 450,
                  .height_px = 300,
                  .gain = {1, 1, 1},
                  .mapping = UF_MAPPING_EQUIDISTANT};
    UfCamera camera = {.sensor_long_mm = 24,
                       .sensor_short_mm = 16,
                       .long_px = 450,
                       .short_px = 300,
                       .lens = {.mapping = UF_MAPPING_EQUIDISTANT, .focal_mm = 8}};
    UfPlateFit fit = {0};
    UfPicture *truth = read_floor(YARD, 512), *photo = shoot(truth, &s);
    UfPicture *panorama = without_nadir(truth, CAP_DEG - 0.5);
    double error = error_of(panorama, photo, &s, &camera, &fit);
    cr_expect(error < 0.3, "%g px", error);
    uf_picture_free(&truth);
    uf_picture_free(&photo);
    uf_picture_free(&panorama);
}

/* A TIFF structure whose EXIF directory holds FocalLengthIn35mmFilm alone (CIPA DC-008, 4.6). */
Test(plate, takes_the_angle_of_view_from_exif)
{
    const uint8_t exif[] = {'M',  'M',  0,    42,   0, 0, 0, 8, /* big-endian, the first directory at 8 */
                            0,    1,                            /* of one entry: */
                            0x87, 0x69, 0,    4,    0, 0, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0, /* EXIF's at 26 */
                            0,    1,    0xA4, 0x05, 0, 3, 0, 0, 0, 1, 0, 50, 0, 0, 0, 0, 0, 0};
    UfPicture *picture = make_picture(96, 64, 3, UF_SAMPLE_U8);
    UfPlatePhoto photo;
    cr_assert_eq(uf_plate_photo_create(picture, NULL, NULL, &photo, NULL), UF_OK);
    double usual = photo.tangent;
    cr_assert_eq(uf_plate_photo_read_angle(picture, &photo, NULL), UF_OK);
    cr_expect_eq(photo.tangent, usual, "nothing is stated");
    cr_assert_eq(uf_picture_set_exif(picture, exif, sizeof exif, NULL), UF_OK);
    cr_assert_eq(uf_plate_photo_read_angle(picture, &photo, NULL), UF_OK);
    /* the corner of 36 x 24 mm behind 50 mm; a unit of q is half the picture's diagonal */
    cr_expect_float_eq(photo.tangent, hypot(18, 12) / 50, 1e-4);
    uf_picture_free(&picture);
}

static UfStatus read_pairs(const char *text, char *error, size_t size)
{
    char path[] = "/tmp/pairs-XXXXXX";
    UfPointPair *pairs = NULL;
    size_t count = 0;
    UfReport *report = uf_report_create();
    int file = mkstemp(path);
    cr_assert(file >= 0 && write(file, text, strlen(text)) == (ssize_t)strlen(text));
    close(file);
    UfStatus status = uf_plate_pairs_read(path, &pairs, &count, report);
    snprintf(error, size, "%s", uf_report_error(report));
    if (status == UF_OK) {
        cr_expect_eq(count, 4);
        cr_expect_float_eq(pairs[1].panorama.y_px, 400.25, 1e-12);
    }
    free(pairs);
    unlink(path);
    uf_report_free(&report);
    return status;
}

Test(plate, reads_point_pairs_and_names_the_line_that_is_wrong)
{
    char error[512];
    cr_expect_eq(read_pairs("# photo, panorama\n1 2 3 4\r\n10.5 20 300 400.25 # knot\n\n5 6 7 8\n9 9 9 9",
                            error, sizeof error),
                 UF_OK, "%s", error);
    cr_expect_eq(read_pairs("1 2 3 4\n1 2 three 4\n", error, sizeof error), UF_ERROR_FORMAT);
    cr_expect_not_null(strstr(error, "line 2"), "%s", error);
    cr_expect_eq(read_pairs("1 2 3 4\n1 2 3 4 5\n", error, sizeof error), UF_ERROR_FORMAT);
    cr_expect_eq(read_pairs("1 2 3 4\n1 2 nan 4\n", error, sizeof error), UF_ERROR_FORMAT);
    cr_expect_eq(read_pairs("1 2 3 4\n", error, sizeof error), UF_ERROR_FORMAT);
    cr_expect_not_null(strstr(error, "too few"), "%s", error);
}

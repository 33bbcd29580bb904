/* Turning: what is moved is moved exactly, and the pose follows by rotation. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/turn.h>

#include "support/files.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(turn, .init = folder_enter, .fini = folder_leave);

static UfRotation angles(double yaw_deg, double pitch_deg, double roll_deg)
{
    return uf_rotation_from_angles(uf_radians(yaw_deg), uf_radians(pitch_deg), uf_radians(roll_deg));
}

Test(turn, whole_columns_are_told_from_others)
{
    const struct {
        double yaw_deg, pitch_deg, roll_deg;
        bool is_shift;
        size_t shift_px;
    } table[] = {
        {0, 0, 0, true, 0},
        {90, 0, 0, true, 1024},
        {-90, 0, 0, true, 3072},
        {360, 0, 0, true, 0},
        {-0.087890625, 0, 0, true, 4095}, /* 360/4096 */
        {179.912109375, 0, 0, true, 2047},
        {180, 0, 0, true, 2048},
        {0.0879, 0, 0, true, 1}, /* a ten-thousandth of a pixel off, as a person types it */
        {0.088, 0, 0, false, 0}, /* a thousandth and more */
        {45.01, 0, 0, false, 0},
        {90, 0.001, 0, false, 0},
        {90, 0, -0.001, false, 0},
        {0, 0, 180, false, 0}, /* upside down is no yaw */
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        UfRotation turn = angles(table[i].yaw_deg, table[i].pitch_deg, table[i].roll_deg);
        size_t shift = 0;
        cr_expect_eq(uf_turn_is_shift(&turn, 4096, &shift), table[i].is_shift, "row %zu", i);
        cr_expect_eq(shift, table[i].shift_px, "row %zu: %zu", i, shift);
    }
}

/* Every type and every count of channels: column x is the old column x + 37, round the edge. */
Test(turn, whole_columns_move_samples)
{
    static const UfSample types[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    UfRotation turn = angles(37 * 360.0 / 128, 0, 0);
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *picture = NULL, *out = NULL;
            size_t pixel = channels * (size_t)types[s];
            cr_assert_eq(uf_picture_create(128, 64, channels, types[s], &picture, NULL), UF_OK);
            for (size_t y = 0; y < 64; y++)
                for (size_t i = 0; i < 128 * pixel; i++)
                    ((uint8_t *)uf_picture_row(picture, y))[i] = (uint8_t)(i * 31 + y * 7 + i / 256);
            cr_assert_eq(uf_turn(picture, &turn, false, NULL, &out, NULL), UF_OK);
            for (size_t y = 0; y < 64; y++)
                for (size_t x = 0; x < 128; x++)
                    cr_assert_eq(
                        memcmp((const uint8_t *)uf_picture_row_const(out, y) + x * pixel,
                               (const uint8_t *)uf_picture_row_const(picture, y) + (x + 37) % 128 * pixel,
                               pixel),
                        0, "type %d, %zu channels, %zu, %zu", types[s], channels, x, y);
            uf_picture_free(&out);
            uf_picture_free(&picture);
        }
}

/* Through real files, with a decoder that is not ours. */
static void assert_file_moves(const char *name, const char *turned)
{
    UfPicture *picture = NULL, *out = NULL;
    UfRotation turn = angles(-11 * 360.0 / 256, 0, 0);
    cr_assert_eq(uf_picture_read(name, NULL, &picture, NULL), UF_OK);
    cr_assert_eq(uf_turn(picture, &turn, false, NULL, &out, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(out, turned, NULL, NULL), UF_OK);
    Pixels before = picture_decode(name), after = picture_decode(turned);
    cr_assert_eq(after.bits, before.bits);
    for (size_t y = 0; y < before.height; y++)
        for (size_t x = 0; x < before.width; x++)
            for (size_t c = 0; c < before.channels; c++)
                cr_assert(pixels_at(&after, x, y, c) == pixels_at(&before, (x + 256 - 11) % 256, y, c),
                          "%s at %zu, %zu", name, x, y);
    pixels_free(&before);
    pixels_free(&after);
    uf_picture_free(&out);
    uf_picture_free(&picture);
}

Test(turn, whole_columns_move_in_png_and_tiff)
{
    Pixels deep = panorama_make(&(PanoramaOptions){.bits = 16});
    Pixels floats = panorama_make(&(PanoramaOptions){.bits = 32});
    png_write("in.png", &deep, NULL);
    tiff_write("in.tif", &deep, &(TiffOptions){.compression = 5});
    tiff_write("float.tif", &floats, &(TiffOptions){.tile_side = 64});
    assert_file_moves("in.png", "out.png");
    assert_file_moves("in.tif", "out.tif");
    assert_file_moves("float.tif", "out-float.tif");
    pixels_free(&deep);
    pixels_free(&floats);
}

static void run_checked(const char *const *arguments)
{
    Run run = run_program(arguments, NULL);
    cr_assert_eq(run.status, 0, "%s: %s", arguments[0], run.err);
    run_free(&run);
}

#define CHECKED(...) run_checked((const char *const[]){__VA_ARGS__, NULL})

/* Blocks move, and move back to the same file, byte for byte. */
static void assert_blocks_move(const char *what, size_t step_px)
{
    size_t step = 0;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_shift_step("in.jpg", &step, report), UF_OK, "%s: %s", what,
                 uf_report_error(report));
    cr_expect_eq(step, step_px, "%s: %zu", what, step);
    UfStatus status = uf_turn_blocks("in.jpg", 5 * step_px, "there.jpg", true, report);
    cr_assert_eq(status, UF_OK, "%s: %s", what, uf_report_error(report));
    cr_expect(jpeg_moved_blocks("in.jpg", "there.jpg", 5 * step_px), "%s", what);
    cr_assert_eq(uf_turn_blocks("there.jpg", 256 - 5 * step_px, "back.jpg", true, report), UF_OK, "%s", what);
    cr_expect(file_same("in.jpg", "back.jpg"), "%s", what);
    cr_expect_eq(uf_report_warning_count(report), 0, "%s: %s", what, uf_report_warning(report, 0));
    uf_report_free(&report);
}

Test(turn, blocks_move_there_and_back_to_the_same_file)
{
    Pixels colour = panorama_make(&(PanoramaOptions){0}),
           grey = panorama_make(&(PanoramaOptions){.channels = 1});
    jpeg_write("in.jpg", &colour, NULL);
    assert_blocks_move("4:2:0", 16);
    jpeg_write("in.jpg", &colour, &(JpegOptions){.horizontal = 1, .vertical = 1});
    assert_blocks_move("4:4:4", 8);
    jpeg_write("in.jpg", &colour, &(JpegOptions){.horizontal = 2, .vertical = 1});
    assert_blocks_move("4:2:2", 16);
    jpeg_write("in.jpg", &colour, &(JpegOptions){.horizontal = 4, .vertical = 1});
    assert_blocks_move("4:1:1", 32);
    jpeg_write("in.jpg", &colour, &(JpegOptions){.progressive = true});
    assert_blocks_move("progressive", 16);
    jpeg_write("in.jpg", &colour, &(JpegOptions){.restart_rows = 1});
    assert_blocks_move("restart markers", 16);
    jpeg_write("in.jpg", &grey, &(JpegOptions){.horizontal = 1, .vertical = 1});
    assert_blocks_move("grey", 8);
    jpeg_write("in.jpg", &grey, &(JpegOptions){.horizontal = 2, .vertical = 2});
    assert_blocks_move("grey with odd factors", 8);
    jpeg_write("base.jpg", &colour, NULL);
    CHECKED("jpegtran", "-optimize", "-outfile", "in.jpg", "base.jpg");
    assert_blocks_move("optimised tables", 16);
    CHECKED("jpegtran", "-arithmetic", "-outfile", "in.jpg", "base.jpg");
    assert_blocks_move("arithmetic coding", 16);
    pixels_free(&colour);
    pixels_free(&grey);
}

/* Camera data, profile, comment and text stay what they were; a thumbnail of the old picture goes. */
Test(turn, markers_stay_when_blocks_move)
{
    size_t icc_bytes;
    uint8_t *icc = profile_make(&icc_bytes);
    Pixels colour = panorama_make(&(PanoramaOptions){0});
    jpeg_write("in.jpg", &colour, &(JpegOptions){.icc = icc, .icc_bytes = icc_bytes});
    jpeg_write("small.jpg", &colour, NULL);
    CHECKED("exiftool", "-q", "-overwrite_original", "-Make=Lantern Works", "-Comment=by hand",
            "-XMP-dc:Title=Hall", "in.jpg");
    assert_blocks_move("with markers", 16);
    CHECKED("exiftool", "-q", "-overwrite_original", "-ThumbnailImage<=small.jpg", "in.jpg");
    cr_assert_eq(uf_turn_blocks("in.jpg", 64, "turned.jpg", false, NULL), UF_OK);
    Run run = RUN_PROGRAM("exiftool", "-s3", "-Make", "-Comment", "-XMP-dc:Title", "-ProfileClass",
                          "-ThumbnailLength", "turned.jpg");
    cr_expect_str_eq(run.out, "Lantern Works\nby hand\nHall\nDisplay Device Profile\n", "%s", run.out);
    run_free(&run);
    pixels_free(&colour);
    free(icc);
}

Test(turn, what_cannot_move_by_blocks_is_refused)
{
    size_t step = 99;
    Pixels odd = panorama_make(&(PanoramaOptions){.width = 200, .height = 100}),
           good = panorama_make(&(PanoramaOptions){0});
    UfReport *report = uf_report_create();
    jpeg_write("odd.jpg", &odd, NULL); /* 12.5 MCUs wide */
    jpeg_write("good.jpg", &good, NULL);
    png_write("good.png", &good, NULL);
    cr_assert_eq(uf_picture_shift_step("odd.jpg", &step, report), UF_OK);
    cr_expect_eq(step, 0);
    cr_assert_eq(uf_picture_shift_step("good.png", &step, report), UF_OK);
    cr_expect_eq(step, 0);
    cr_expect_eq(uf_turn_blocks("odd.jpg", 16, "out.jpg", false, report), UF_ERROR_UNSUPPORTED);
    cr_expect_not_null(strstr(uf_report_error(report), "odd.jpg"), "%s", uf_report_error(report));
    cr_expect_eq(uf_turn_blocks("good.jpg", 17, "out.jpg", false, report), UF_ERROR_UNSUPPORTED);
    cr_expect_eq(uf_turn_blocks("good.jpg", 256, "out.jpg", false, report), UF_ERROR_UNSUPPORTED);
    cr_expect_eq(uf_turn_blocks("good.png", 16, "out.jpg", false, report), UF_ERROR_UNSUPPORTED);
    cr_expect_eq(uf_turn_blocks("good.jpg", 16, "out.png", false, report), UF_ERROR_UNSUPPORTED);
    cr_expect_eq(uf_turn_blocks("none.jpg", 16, "out.jpg", false, report), UF_ERROR_IO);
    CHECKED("exiftool", "-q", "-overwrite_original", "-Orientation#=3", "good.jpg");
    cr_assert_eq(uf_picture_shift_step("good.jpg", &step, report), UF_OK);
    cr_expect_eq(step, 0, "a picture that is stored upside down");
    char *left = folder_list();
    cr_expect_str_eq(left, "good.jpg\ngood.png\nodd.jpg\n", "%s", left);
    free(left);
    uf_report_free(&report);
    pixels_free(&odd);
    pixels_free(&good);
}

/* A file cut off in the middle of its data gives an error and no output. */
Test(turn, damaged_files_leave_nothing)
{
    Pixels good = panorama_make(&(PanoramaOptions){0});
    jpeg_write("good.jpg", &good, NULL);
    file_cut("good.jpg", "cut.jpg", -400);
    cr_expect_eq(uf_turn_blocks("cut.jpg", 16, "out.jpg", false, NULL), UF_ERROR_FORMAT);
    cr_expect_not(file_exists("out.jpg"));
    pixels_free(&good);
}

static UfRotation pose_of(const UfPhotoSphere *pose)
{
    return angles(pose->heading_deg, pose->pitch_deg, pose->roll_deg);
}

/*
 * Where a thing lies in the world is the same by the old picture and pose as by the new ones: P d = P' d',
 * where the thing that the old picture shows in d is shown by the new one in d' = R^-1 d.
 */
Test(turn, world_stays_where_the_pose_says)
{
    static const double turns[][3] = {{50, 0, 0}, {0, 20, 0}, {0, 0, -30}, {123, -45, 67}, {-170, 80, 170}};
    static const UfDirection things[] = {{0, 0, 1}, {1, 0, 0}, {0.48, 0.6, 0.64}, {-0.6, -0.48, -0.64}};
    for (size_t t = 0; t < 5; t++) {
        UfRotation turn = angles(turns[t][0], turns[t][1], turns[t][2]), back = uf_rotation_inverse(&turn);
        UfPhotoSphere pose = {.has_heading = true, .has_pitch = true, .has_roll = true};
        pose.heading_deg = 319;
        pose.pitch_deg = 4.25;
        pose.roll_deg = -7.5;
        UfRotation before = pose_of(&pose);
        cr_assert(uf_turn_pose(&pose, &turn, false));
        cr_expect(pose.heading_deg >= 0 && pose.heading_deg < 360 && fabs(pose.pitch_deg) <= 90 &&
                  pose.roll_deg > -180 && pose.roll_deg <= 180);
        UfRotation after = pose_of(&pose);
        for (size_t i = 0; i < 4; i++) {
            UfDirection world = uf_rotation_apply(&before, things[i]);
            UfDirection again = uf_rotation_apply(&after, uf_rotation_apply(&back, things[i]));
            double miss_deg = uf_degrees(uf_angle_between_rad(world, again));
            cr_expect(miss_deg < 1e-6, "turn %zu, thing %zu: %g deg", t, i, miss_deg);
        }
    }
}

Test(turn, pose_that_is_not_stated_stays_unstated)
{
    UfRotation yaw = angles(60, 0, 0), pitch = angles(0, 10, 0);
    UfPhotoSphere nothing = {.present = true};
    cr_expect_not(uf_turn_pose(&nothing, &pitch, false));
    cr_expect_not(nothing.has_heading || nothing.has_pitch || nothing.has_roll);
    UfPhotoSphere heading = {.present = true, .has_heading = true, .heading_deg = 330};
    cr_expect(uf_turn_pose(&heading, &yaw, false));
    cr_expect(heading.has_heading && !heading.has_pitch && !heading.has_roll);
    cr_expect_eq(heading.heading_deg, 30);
    UfPhotoSphere tilt = {.present = true, .has_pitch = true, .pitch_deg = 5};
    cr_expect(uf_turn_pose(&tilt, &pitch, false));
    cr_expect(tilt.has_pitch && tilt.has_roll && !tilt.has_heading);
    cr_expect_float_eq(tilt.pitch_deg, 15, 1e-9);
}

/* Levelled: pitch and roll are none, the heading is that of the new centre. */
Test(turn, levelling_makes_pitch_and_roll_nothing)
{
    UfPhotoSphere pose = {.has_heading = true, .has_pitch = true, .has_roll = true};
    pose.heading_deg = 200;
    pose.pitch_deg = 3;
    pose.roll_deg = -2;
    UfRotation lean = angles(0, 3, -2), upright = uf_rotation_inverse(&lean), yaw = angles(25, 0, 0);
    UfRotation turn = uf_rotation_product(&upright, &yaw);
    cr_assert(uf_turn_pose(&pose, &turn, true));
    cr_expect_float_eq(pose.heading_deg, 225, 1e-6);
    cr_expect(pose.pitch_deg == 0 && pose.roll_deg == 0);
}

Test(turn, nonsense_is_refused)
{
    UfPicture *picture = NULL, *out = NULL;
    UfReport *report = uf_report_create();
    UfRotation good = angles(10, 0, 0), bad = good;
    cr_assert_eq(uf_picture_create(30, 20, 1, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    cr_expect_eq(uf_turn(picture, &good, false, NULL, &out, report), UF_ERROR_ARGUMENT);
    uf_picture_free(&picture);
    cr_assert_eq(uf_picture_create(40, 20, 1, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    bad.m[0][0] = 2;
    cr_expect_eq(uf_turn(picture, &bad, false, NULL, &out, report), UF_ERROR_ARGUMENT);
    bad.m[0][0] = NAN;
    cr_expect_eq(uf_turn(picture, &bad, false, NULL, &out, report), UF_ERROR_ARGUMENT);
    cr_expect_eq(uf_turn(picture, &good, false, &(UfRemapOptions){.threads = -1}, &out, report),
                 UF_ERROR_ARGUMENT);
    cr_expect_null(out);
    uf_picture_free(&picture);
    uf_report_free(&report);
}

/*
 * `underfoot turn`: what comes to the centre, what is moved without loss and what is said when it is not, the
 * pose as ExifTool reads it, and refusals that leave nothing behind.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/photographs.h"
#include "support/pictures.h"
#include "support/program.h"

static void make_pictures(void)
{
    folder_enter();
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    Pixels deep = panorama_make(&(PanoramaOptions){.bits = 16, .channels = 4});
    jpeg_write("in.jpg", &panorama, NULL);
    png_write("in.png", &panorama, NULL);
    tiff_write("deep.tif", &deep, NULL);
    pixels_free(&panorama);
    pixels_free(&deep);
}

TestSuite(cli_turn, .init = make_pictures, .fini = folder_leave);

static const double PI = 3.14159265358979323846;

static void assert_run(Run *run, const char *said)
{
    cr_assert_eq(run->status, 0, "%s", run->err);
    cr_expect_str_empty(run->err);
    cr_expect_not_null(strstr(run->out, said), "'%s' is not in: %s", said, run->out);
    run_free(run);
}

#define TURN(said, ...)                                                                                      \
    do {                                                                                                     \
        Run run_ = RUN_UNDERFOOT("turn", __VA_ARGS__);                                                       \
        assert_run(&run_, said);                                                                             \
    } while (0)

/* What lies at (yaw, pitch) comes to the centre, and what lies up there by the roll lies up. */
static void assert_centre(const char *in, double yaw_deg, double pitch_deg)
{
    Pixels out = picture_decode(in);
    size_t x = out.width / 2, y = out.height / 2;
    for (size_t c = 0; c < 3; c++) {
        /* the centre is the corner of four pixels */
        double mean = (pixels_at(&out, x, y, c) + pixels_at(&out, x - 1, y, c) +
                       pixels_at(&out, x, y - 1, c) + pixels_at(&out, x - 1, y - 1, c)) /
                      4;
        double wanted = panorama_colour(yaw_deg * PI / 180, pitch_deg * PI / 180, c);
        cr_expect_float_eq(mean, wanted, 0.004, "%s, channel %zu: %g, not %g", in, c, mean, wanted);
    }
    pixels_free(&out);
}

Test(cli_turn, brings_a_direction_to_the_centre)
{
    TURN("turned by yaw 70 pitch 30 roll 20 deg", "in.png", "-o", "a.png", "--yaw", "70", "--pitch", "30",
         "--roll", "20");
    assert_centre("a.png", 70, 30);
    TURN("256 x 128 pixels", "deep.tif", "-o", "b.tif", "--pitch", "-90");
    assert_centre("b.tif", 0, -90);
    TURN("re-encoded", "in.jpg", "-o", "c.jpg", "--yaw=-33.3");
    assert_centre("c.jpg", -33.3, 0);
    TURN("c.png", "in.jpg", "-o", "c.png", "--yaw=-33.3", "--sampling", "bilinear");
    assert_centre("c.png", -33.3, 0);
}

Test(cli_turn, whole_columns_are_moved_and_it_says_so)
{
    TURN("moved by 64 columns without loss", "in.png", "-o", "a.png", "--yaw", "90");
    TURN("moved by 192 columns without loss", "a.png", "-o", "b.png", "--yaw", "-90deg");
    Pixels before = picture_decode("in.png"), after = picture_decode("b.png"),
           there = picture_decode("a.png");
    cr_expect(pixels_same_rows(&before, &after, 128));
    cr_expect_not(pixels_same_rows(&before, &there, 128));
    pixels_free(&before);
    pixels_free(&after);
    pixels_free(&there);
}

Test(cli_turn, blocks_are_moved_and_come_back_to_the_same_file)
{
    TURN("moved by 64 columns without loss", "in.jpg", "-o", "a.jpg", "--yaw", "90");
    cr_expect(jpeg_moved_blocks("in.jpg", "a.jpg", 64));
    TURN("without loss", "a.jpg", "-o", "b.jpg", "--yaw", "-90");
    cr_expect(file_same("in.jpg", "b.jpg"));
}

Test(cli_turn, says_what_would_have_been_without_loss)
{
    TURN("a yaw of 64 pixels = 90 deg would have been lossless", "in.jpg", "-o", "a.jpg", "--yaw", "91");
    TURN("a yaw of -16 pixels = -22.5 deg would have been lossless", "in.jpg", "-o", "b.jpg",
         "--yaw=-1.40625");
    TURN("without --quality and --depth its blocks would have been moved", "in.jpg", "-o", "c.jpg", "--yaw",
         "90", "--quality", "80");
    Pixels odd = panorama_make(&(PanoramaOptions){.width = 200, .height = 100});
    jpeg_write("odd.jpg", &odd, NULL);
    TURN("the width of this JPEG is no whole number of its blocks", "odd.jpg", "-o", "d.jpg", "--yaw", "90");
    pixels_free(&odd);
    Run run = RUN_UNDERFOOT("turn", "in.jpg", "-o", "e.jpg", "--yaw", "91", "--json");
    char *lossless = json_at(run.out, "lossless"), *columns = json_at(run.out, "columns");
    cr_expect_str_eq(lossless, "0");
    cr_expect_str_eq(columns, "(none)");
    cr_expect_float_eq(json_number_at(run.out, "lossless_yaw_deg"), 90, 1e-9);
    cr_expect_float_eq(json_number_at(run.out, "yaw_deg"), 91, 1e-9);
    free(lossless);
    free(columns);
    run_free(&run);
}

static double field(const char *file, const char *name)
{
    char tag[80];
    snprintf(tag, sizeof tag, "-XMP-GPano:%s", name);
    Run run = RUN_PROGRAM("exiftool", "-s3", "-n", tag, file);
    double value = run.out[0] == '\0' ? NAN : strtod(run.out, NULL);
    run_free(&run);
    return value;
}

/*
 * The pose that a yaw of 50 and a pitch of 10 make of heading 330, pitch 4, roll 0, by spherical
 * trigonometry: the new centre lies at (50, 10) in the old picture. With roll 0 the old centre is c = (330,
 * 4), and the old picture's up and right follow; the new centre's height is that of its direction in the
 * world.
 */
static void centre_in_world(double yaw_deg, double pitch_deg, double heading_deg, double lean_deg,
                            double *heading, double *height)
{
    double yaw = yaw_deg * PI / 180, pitch = pitch_deg * PI / 180, lean = lean_deg * PI / 180;
    double right = cos(pitch) * sin(yaw), up = sin(pitch), ahead = cos(pitch) * cos(yaw);
    double high = up * cos(lean) + ahead * sin(lean), far = ahead * cos(lean) - up * sin(lean);
    *height = asin(high) * 180 / PI;
    *heading = fmod(heading_deg + atan2(right, far) * 180 / PI + 360, 360);
}

static void assert_pose(const char *in, const char *out)
{
    double heading, height;
    Run run = RUN_PROGRAM("exiftool", "-q", "-overwrite_original",
                          "-XMP-GPano:ProjectionType=equirectangular", "-XMP-GPano:FullPanoWidthPixels=256",
                          "-XMP-GPano:FullPanoHeightPixels=128", "-XMP-GPano:CroppedAreaImageWidthPixels=256",
                          "-XMP-GPano:CroppedAreaImageHeightPixels=128", "-XMP-GPano:CroppedAreaLeftPixels=0",
                          "-XMP-GPano:CroppedAreaTopPixels=0", "-XMP-GPano:PoseHeadingDegrees=330",
                          "-XMP-GPano:PosePitchDegrees=4", "-XMP-GPano:PoseRollDegrees=0",
                          "-XMP-GPano:InitialViewHeadingDegrees=77", "-Make=Lantern Works", in);
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    TURN("turned", in, "-o", out, "--yaw", "50", "--pitch", "10");
    centre_in_world(50, 10, 330, 4, &heading, &height);
    cr_expect_float_eq(field(out, "PoseHeadingDegrees"), heading, 1e-6, "%s: %.9g", out,
                       field(out, "PoseHeadingDegrees"));
    cr_expect_float_eq(field(out, "PosePitchDegrees"), height, 1e-6, "%s: %.9g", out,
                       field(out, "PosePitchDegrees"));
    /* tan(roll) = right.up / up.up of the new picture's axes; right = (cos yaw, 0, -sin yaw) in the old
     * picture */
    double yaw = 50 * PI / 180, lean = 4 * PI / 180;
    double right_high = -sin(yaw) * sin(lean);
    double roll = -asin(right_high / cos(height * PI / 180)) * 180 / PI;
    cr_expect_float_eq(field(out, "PoseRollDegrees"), roll, 1e-6, "%s: %.9g", out,
                       field(out, "PoseRollDegrees"));
    cr_expect_eq(field(out, "FullPanoWidthPixels"), 256);
    cr_expect_eq(field(out, "CroppedAreaImageHeightPixels"), 128);
    cr_expect_eq(field(out, "InitialViewHeadingDegrees"), 77);
    Run make = RUN_PROGRAM("exiftool", "-s3", "-Make", out);
    cr_expect_str_eq(make.out, "Lantern Works\n");
    run_free(&make);
}

Test(cli_turn, pose_follows)
{
    double heading, height;
    assert_pose("in.jpg", "out.jpg");
    assert_pose("in.png", "out.png");
    assert_pose("deep.tif", "out.tif");
    /* moved by blocks, with a lean: all three change */
    TURN("without loss", "in.jpg", "-o", "yaw.jpg", "--yaw", "45");
    centre_in_world(45, 0, 330, 4, &heading, &height);
    cr_expect_float_eq(field("yaw.jpg", "PoseHeadingDegrees"), heading, 1e-6);
    cr_expect_float_eq(field("yaw.jpg", "PosePitchDegrees"), height, 1e-6);
}

Test(cli_turn, no_pose_is_made_up)
{
    TURN("turned", "in.jpg", "-o", "out.jpg", "--pitch", "10");
    cr_expect(isnan(field("out.jpg", "PosePitchDegrees")) && isnan(field("out.jpg", "PoseHeadingDegrees")));
}

/* A hall that was made to lean stands upright again, and the numbers are said. */
Test(cli_turn, levels_a_hall)
{
    char path[1024];
    TURN("turned", scene_path("ticket-hall.jpg", path), "-o", "leaning.tif", "--pitch", "5", "--roll", "-3");
    TURN("leaned by pitch", "leaning.tif", "-o", "level.tif", "--level");
    Run run = RUN_UNDERFOOT("turn", "leaning.tif", "-o", "level-2.png", "--level", "--yaw", "90", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_float_eq(json_number_at(run.out, "level.pitch_deg"), 5, 0.2);
    cr_expect_float_eq(json_number_at(run.out, "level.roll_deg"), -3, 0.2);
    cr_expect(json_number_at(run.out, "level.confidence") > 0.8);
    run_free(&run);
    /* levelled once more there is nothing left to do */
    run = RUN_UNDERFOOT("turn", "level.tif", "-o", "again.tif", "--level", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_float_eq(json_number_at(run.out, "level.pitch_deg"), 0, 0.1);
    cr_expect_float_eq(json_number_at(run.out, "level.roll_deg"), 0, 0.1);
    run_free(&run);
    cr_expect_eq(field("level.tif", "PosePitchDegrees"), 0);
    cr_expect_eq(field("level.tif", "PoseRollDegrees"), 0);
}

static void assert_refused(int status, const char *said, const char *const *arguments)
{
    char *before = folder_list();
    Run run = run_program(arguments, NULL);
    char *after = folder_list();
    cr_expect_eq(run.status, status, "%d: %s", run.status, run.err);
    cr_expect_not_null(strstr(run.err, said), "'%s' is not in: %s", said, run.err);
    cr_expect_str_empty(run.out);
    cr_expect_str_eq(before, after);
    free(before);
    free(after);
    run_free(&run);
}

#define REFUSED(status, said, ...)                                                                           \
    assert_refused(status, said, (const char *const[]){underfoot_path(), "turn", __VA_ARGS__, NULL})

Test(cli_turn, wrong_usage_is_told)
{
    REFUSED(64, "nothing says how to turn", "in.jpg", "-o", "out.jpg");
    REFUSED(64, "leave --pitch and --roll out", "in.jpg", "-o", "out.jpg", "--level", "--pitch", "3");
    REFUSED(64, "leave --pitch and --roll out", "in.jpg", "-o", "out.jpg", "--level", "--roll", "3");
    REFUSED(64, "no output is given", "in.jpg", "--yaw", "3");
    REFUSED(64, "--pitch '91'", "in.jpg", "-o", "out.jpg", "--pitch", "91");
    REFUSED(64, "--yaw 'left'", "in.jpg", "-o", "out.jpg", "--yaw", "left");
}

Test(cli_turn, bad_input_is_told_and_leaves_nothing)
{
    Pixels wide = panorama_make(&(PanoramaOptions){.width = 300, .height = 100});
    png_write("wide.png", &wide, NULL);
    pixels_free(&wide);
    file_cut("in.jpg", "cut.jpg", -600);
    FileState state = file_state("in.jpg");
    REFUSED(1, "twice as wide as it is high", "wide.png", "-o", "out.png", "--yaw", "90");
    REFUSED(1, "none.png", "none.png", "-o", "out.png", "--yaw", "90");
    REFUSED(1, "cut.jpg", "cut.jpg", "-o", "out.jpg", "--yaw", "90");
    REFUSED(1, "cut.jpg", "cut.jpg", "-o", "out.jpg", "--yaw", "91");
    REFUSED(1, "transparency", "deep.tif", "-o", "out.jpg", "--yaw", "90");
    REFUSED(1, "would be replaced", "in.jpg", "-o", "in.jpg", "--yaw", "90", "--overwrite");
    REFUSED(1, "in.png", "in.jpg", "-o", "in.png", "--yaw", "90");
    REFUSED(1, "--max-memory", "in.jpg", "-o", "out.jpg", "--yaw", "91", "--max-memory", "200K");
    REFUSED(1, "give the lean by hand", "in.jpg", "-o", "out.jpg", "--level");
    cr_expect(file_unchanged("in.jpg", &state));
}

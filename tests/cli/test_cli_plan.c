/* `underfoot plan`: tables, JSON, drawings, the sun, and what it refuses. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/picture.h>

#include "support/files.h"
#include "support/json.h"
#include "support/program.h"
#include "support/rigs.h"

TestSuite(cli_plan, .init = folder_enter, .fini = folder_leave);

#define DISC "[part disc]\nturns = no\nshape = disc\ncentre = 0 -120 0\nradius = 50\n"

static void write_rig(const char *path, const char *text)
{
    file_write(path, text, strlen(text));
}

static void assert_in(const char *text, const char *words)
{
    cr_expect_not_null(strstr(text, words), "'%s' is not in:\n%s", words, text);
}

Test(cli_plan, tables_for_people)
{
    write_rig("rig.ini",
              "[camera]\nsensor = aps-c\npixels = 6000 x 4000\n[lens]\nfocal = 8\nmapping = equidistant\n"
              "aperture = 11\nnearest = 1\noff-axis = 2\n[stand]\nheight = 1500\n[row level]\ntilt = 0\n"
              "overlap = 40\n[shot down]\ntilt = -90\npan = 20\n[pace]\nexposure = 1\nwait = 2\nturn = 30\n"
              "[edge]\nmargin = 2\n"
              "[part arm]\nturns = yes\nshape = box\nfrom = -88 -184 -21\nto = 58 -172 21\n");
    Run run = RUN_UNDERFOOT("plan", "rig.ini");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_str_eq(run.err, "");
    assert_in(run.out, "equidistant, f = 8 mm, sensor 23.5 x 15.6 mm held lying");
    assert_in(run.out, "168.31 deg across, 111.73 down, 202.01 diagonal");
    assert_in(run.out, "12834 x 6417 pixels keep the resolution");
    assert_in(run.out, "level                0.0       4   90.00   46.5 %   0  90  180  270");
    assert_in(run.out, "down               -90.0       1       -        -   20");
    assert_in(run.out, "set by [part arm]");
    assert_in(run.out, "with one more frame, tilt -90, pan ");
    assert_in(run.out, "with [part arm] out of the way");
    assert_in(run.out, "f/11, blur up to 0.0188 mm: focused at 0.32 m, from 0.16 m on");
    assert_in(run.out, "entrance pupil 2 mm off the axis: at 1.00 m neighbouring frames differ by up to");
    assert_in(run.out, "  time      ");
    assert_in(run.out, "overhead lines");
    run_free(&run);
}

/* The object that the guide describes, with these members and no others. */
Test(cli_plan, json_for_programs)
{
    write_rig("rig.ini", RIG_FISHEYE RIG_ALL_ROUND DISC "[edge]\nmargin = 1\n");
    Run run = RUN_UNDERFOOT("plan", "rig.ini", "--json", "--width", "8192");
    cr_assert_eq(run.status, 0, "%s", run.err);
    static const struct {
        const char *path;
        double value, tolerance;
    } numbers[] = {
        {"field_deg.across", 111.726770, 6e-7},
        {"field_deg.down", 168.306352, 6e-7},
        {"field_deg.diagonal", 190, 1e-9},
        {"rows.0.tilt_deg", 0, 0},
        {"rows.0.frames", 6, 0},
        {"rows.0.step_deg", 60, 1e-9},
        {"rows.0.overlap_percent", 46.2976, 1e-4},
        {"rows.2.tilt_deg", -90, 1e-9},
        {"frames_total", 8, 0},
        {"seen_percent", 96.1538462, 1e-3},
        {"blind.0.lat_deg", -90, 1e-9},
        {"blind.0.radius_deg", 22.62, 0.05},
        {"blind.0.percent", 3.8461538, 1e-3},
        {"nadir.lens_cap_deg", 0, 0},
        {"nadir.hardware_cap_deg", 22.619864948, 1e-6},
        {"nadir.cap_deg", 23.619864948, 1e-6},
        {"nadir.floor_diameter_m", 1.311906618, 1e-7},
        {"nadir.rows_px", 538, 0},
        {"native_width_px", 12834, 0},
    };
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        double value = json_number_at(run.out, numbers[i].path);
        cr_expect_float_eq(value, numbers[i].value, numbers[i].tolerance + 1e-12, "%s: %.9f", numbers[i].path,
                           value);
    }
    char *time = json_at(run.out, "time_s");
    cr_expect_str_eq(time, "null");
    free(time);
    char *rows = json_at(run.out, "rows");
    cr_expect_str_eq(rows, "[3]");
    free(rows);
    char *blind = json_at(run.out, "blind");
    cr_expect_str_eq(blind, "[1]");
    free(blind);
    size_t members = 0;
    for (const char *at = run.out; (at = strstr(at, "\n  \"")) != NULL; at++)
        members++;
    cr_expect_eq(members, 8, "%zu members", members);
    run_free(&run);
}

/* Common practice, no source: at 40 percent overlap this lens is commonly shot as six frames, which an
 * equidistant fisheye does not need. */
Test(cli_plan, shows_where_six_frames_come_from)
{
    static const char *const mappings[] = {"rectilinear", "equidistant"};
    static const double frames[] = {6, 4};
    for (int i = 0; i < 2; i++) {
        char text[400];
        snprintf(
            text, sizeof text,
            "[camera]\nsensor = 23.5 x 15.6\npixels = 6000 x 4000\n[lens]\nfocal = 8\nmapping = %s\n[stand]\n"
            "height = 1500\n[row level]\ntilt = 0\noverlap = 40\n",
            mappings[i]);
        write_rig("rig.ini", text);
        Run run = RUN_UNDERFOOT("plan", "rig.ini", "--json");
        cr_assert_eq(run.status, 0, "%s", run.err);
        cr_expect_eq(json_number_at(run.out, "rows.0.frames"), frames[i]);
        run_free(&run);
    }
}

static const uint8_t *pixel(const UfPicture *picture, size_t x, size_t y)
{
    return (const uint8_t *)uf_picture_row_const(picture, y) + 3 * x;
}

/* Orange where the disc hides the floor, blue where frames see, nothing drawn over the inputs. */
Test(cli_plan, draws_a_map)
{
    write_rig("rig.ini", RIG_FISHEYE RIG_ALL_ROUND DISC);
    Run run = RUN_UNDERFOOT("plan", "rig.ini", "--map", "map.png");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    UfPicture *map = NULL;
    cr_assert_eq(uf_picture_read("map.png", NULL, &map, NULL), UF_OK);
    size_t warm = 0;
    size_t blue = 0;
    for (size_t y = 0; y < uf_picture_height_px(map); y++)
        for (size_t x = 0; x < uf_picture_width_px(map); x++) {
            const uint8_t *at = pixel(map, x, y);
            warm += at[0] == 213 && at[1] == 94 && at[2] == 0 ? 1 : 0;
            blue += at[2] > at[0] + 20 ? 1 : 0;
        }
    /* half of the hidden area is of this ink: rows below -67.4 degrees, 1440 x 90 pixels, and the disc on the
     * floor */
    cr_expect(warm > 100000 && warm < 260000, "%zu pixels", warm);
    cr_expect_gt(blue, 1000000);
    uf_picture_free(&map);
    run = RUN_UNDERFOOT("plan", "rig.ini", "--map", "map.png");
    cr_expect_eq(run.status, 1);
    assert_in(run.err, "map.png: is there already; add --overwrite");
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "rig.ini", "--map", "map.png", "--overwrite");
    cr_expect_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "rig.ini", "--map", "map.jpg");
    cr_expect_eq(run.status, 64);
    assert_in(run.err, "--map 'map.jpg': the name must end in .png");
    run_free(&run);
}

/* NREL/TP-560-34302, Table A5.1: azimuth 194.34024, elevation 39.872046 without refraction. */
Test(cli_plan, sun_for_a_time_and_place)
{
    Run run = RUN_UNDERFOOT("plan", "--sun", "2003-10-17T12:30:30-07:00", "--place", "39.742476,-105.1786",
                            "--heading", "123.4", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_float_eq(json_number_at(run.out, "sun.azimuth_deg"), 194.34024, 0.01 / cos(0.696));
    cr_expect_float_eq(json_number_at(run.out, "sun.elevation_deg"), 39.872046, 0.01);
    cr_expect_float_eq(json_number_at(run.out, "sun.shadow_ratio"), 1.19717, 0.001);
    cr_expect_float_eq(json_number_at(run.out, "sun.shadow_at.lon_deg"), 14.34024 - 123.4, 0.02);
    cr_expect_float_eq(json_number_at(run.out, "sun.shadow_at.lat_deg"), -39.872046, 0.01);
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "--sun", "2003-10-17T19:30:30Z", "--place=39.742476,-105.1786");
    cr_assert_eq(run.status, 0, "%s", run.err);
    assert_in(run.out, "azimuth 194.34 deg, elevation 39.87 deg (39.89 as seen through the air)");
    assert_in(run.out, "towards 14.34 deg, 1.197 times as long");
    assert_in(run.out, "never look at the sun");
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "--sun", "2003-10-17T06:30Z", "--place=39.742476,-105.1786");
    cr_assert_eq(run.status, 0, "%s", run.err);
    assert_in(run.out, "none: the sun is below the horizon");
    run_free(&run);
}

/* EXIF and heading written by ExifTool and by `tag`; the file itself stays as it is. */
Test(cli_plan, sun_from_a_panorama)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(64, 32, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    static const char *const names[] = {"pano.jpg", "pano.png", "pano.tif"};
    for (int i = 0; i < 3; i++)
        cr_assert_eq(uf_picture_write(picture, names[i], NULL, NULL), UF_OK);
    uf_picture_free(&picture);
    for (int i = 0; i < 3; i++) {
        Run run =
            RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-DateTimeOriginal=2003:10:17 12:30:30",
                        "-OffsetTimeOriginal=-07:00", "-GPSLatitude=39.742476", "-GPSLatitudeRef=N",
                        "-GPSLongitude=105.1786", "-GPSLongitudeRef=W", names[i]);
        cr_assert_eq(run.status, 0, "%s", run.err);
        run_free(&run);
        run = RUN_UNDERFOOT("tag", names[i], "-o", names[i], "--overwrite", "--heading", "123.4");
        cr_assert(run.status == 0 || run.status == 2, "%s", run.err);
        run_free(&run);
        FileState state = file_state(names[i]);
        run = RUN_UNDERFOOT("plan", "--sun", names[i], "--json");
        cr_assert_eq(run.status, 0, "%s", run.err);
        cr_expect_float_eq(json_number_at(run.out, "sun.azimuth_deg"), 194.34024, 0.013, "%s", names[i]);
        cr_expect_float_eq(json_number_at(run.out, "sun.elevation_deg"), 39.872046, 0.01, "%s", names[i]);
        cr_expect_float_eq(json_number_at(run.out, "sun.heading_deg"), 123.4, 1e-9, "%s", names[i]);
        cr_expect_float_eq(json_number_at(run.out, "sun.latitude_deg"), 39.742476, 1e-5, "%s", names[i]);
        cr_expect_float_eq(json_number_at(run.out, "sun.longitude_deg"), -105.1786, 1e-5, "%s", names[i]);
        run_free(&run);
        cr_expect(file_unchanged(names[i], &state));
    }
}

/* The GPS clock is universal time; a camera's clock without its zone is of no use. */
Test(cli_plan, sun_from_the_gps_clock)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(64, 32, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(picture, "pano.jpg", NULL, NULL), UF_OK);
    uf_picture_free(&picture);
    Run run = RUN_UNDERFOOT("plan", "--sun", "pano.jpg", "--place", "1,2");
    cr_expect_eq(run.status, 1);
    assert_in(run.err, "pano.jpg: does not say when it was taken");
    run_free(&run);
    run = RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-DateTimeOriginal=2003:10:17 12:30:30",
                      "pano.jpg");
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "--sun", "pano.jpg", "--place", "1,2");
    cr_expect_eq(run.status, 1);
    assert_in(run.err, "pano.jpg: does not say when it was taken, with a time zone; give the time itself");
    run_free(&run);
    run = RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-GPSDateStamp=2003:10:17",
                      "-GPSTimeStamp=19:30:30", "pano.jpg");
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "--sun", "pano.jpg");
    cr_expect_eq(run.status, 64);
    assert_in(run.err, "where? give --place LAT,LON");
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "--sun", "pano.jpg", "--place", "39.742476,-105.1786", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_float_eq(json_number_at(run.out, "sun.azimuth_deg"), 194.34024, 0.013);
    run_free(&run);
}

Test(cli_plan, a_rig_and_the_sun_together)
{
    write_rig("rig.ini", RIG_FISHEYE RIG_ALL_ROUND DISC);
    Run run =
        RUN_UNDERFOOT("plan", "rig.ini", "--sun", "2003-10-17T19:30:30Z", "--place", "39.742476,-105.1786");
    cr_assert_eq(run.status, 0, "%s", run.err);
    assert_in(run.out, "the camera's, 1.50 m above level ground, lies 1.80 m away");
    run_free(&run);
    run = RUN_UNDERFOOT("plan", "rig.ini", "--sun", "2003-10-17T19:30:30Z", "--place", "39.742476,-105.1786",
                        "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_eq(json_number_at(run.out, "frames_total"), 8);
    cr_expect_float_eq(json_number_at(run.out, "sun.elevation_deg"), 39.872046, 0.01);
    run_free(&run);
}

static void assert_refused(int status, const char *words, const char *const *arguments)
{
    const char *all[16] = {underfoot_path(), "plan"};
    for (size_t i = 0; arguments[i] != NULL; i++)
        all[i + 2] = arguments[i];
    Run run = run_program(all, NULL);
    cr_expect_eq(run.status, status, "'%s': status %d", words, run.status);
    cr_expect_str_eq(run.out, "");
    assert_in(run.err, words);
    run_free(&run);
}

#define REFUSED(status, words, ...) assert_refused(status, words, (const char *const[]){__VA_ARGS__, NULL})

Test(cli_plan, refuses)
{
    write_rig("rig.ini", RIG_FISHEYE RIG_ALL_ROUND);
    write_rig("bad.ini",
              "[camera]\nsensor = 23.5 x 15.6\npixels = 6000 x 4000\nsize = 3\n[lens]\nfocal = 8\n"
              "mapping = equidistant\n[stand]\nheight = 1500\n[row level]\ntilt = 0\nframes = 6\n");
    const char *none[] = {NULL};
    assert_refused(64, "no rig is given", none);
    REFUSED(64, "--map is for a rig", "--sun", "2024-01-01T12:00Z", "--place", "1,2", "--map", "a.png");
    REFUSED(64, "--width is for a rig", "--sun", "2024-01-01T12:00Z", "--place", "1,2", "--width", "8000");
    REFUSED(64, "--place is for --sun", "rig.ini", "--place", "1,2");
    REFUSED(64, "--heading is for --sun", "rig.ini", "--heading", "10");
    REFUSED(64, "--width 8191: must be even", "rig.ini", "--width", "8191");
    REFUSED(64, "--overwrite is for --map", "rig.ini", "--overwrite");
    REFUSED(64, "has no time zone", "--sun", "2024-01-01T12:00", "--place", "1,2");
    REFUSED(64, "--place '95,2': it must be latitude and longitude", "--sun", "2024-01-01T12:00Z", "--place",
            "95,2");
    REFUSED(64, "--place '1 2'", "--sun", "2024-01-01T12:00Z", "--place", "1 2");
    REFUSED(64, "where? give --place", "--sun", "2024-01-01T12:00Z");
    REFUSED(1, "nothing.jpg: ", "--sun", "nothing.jpg", "--place", "1,2");
    REFUSED(1, "bad.ini:4: [camera]: there is no key 'size' here; the keys are sensor, pixels and hold",
            "bad.ini");
    REFUSED(1, "nothing.ini: ", "nothing.ini");
    REFUSED(1, "bad.ini:4: ", "bad.ini", "--map", "a.png");
    cr_expect_not(file_exists("a.png"));
}

Test(cli_plan, warnings_are_status_2)
{
    write_rig("rig.ini", RIG_FISHEYE RIG_ALL_ROUND "[part leg]\nturns = no\nshape = rod\nfrom = 0 -300 30\n"
                                                   "to = 0 -1600 500\nradius = 12\n");
    Run run = RUN_UNDERFOOT("plan", "rig.ini");
    cr_expect_eq(run.status, 2);
    assert_in(run.err, "warning: rig.ini:18: [part leg] reaches below the floor");
    run_free(&run);
}

/* The rigs that come with the program are sound: no warning, everything seen above the tripod. */
Test(cli_plan, sample_rigs_are_sound)
{
    static const char *const names[] = {"hall", "workshop", "yard", "two-rows", "pole"};
    const char *program = underfoot_path();
    const char *end = program + strlen(program);
    for (int i = 0; i < 3; i++) /* /.build/release/underfoot */
        while (end > program && *--end != '/')
            continue;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char path[4096];
        snprintf(path, sizeof path, "%.*s/samples/%s.ini", (int)(end - program), program, names[i]);
        Run run = RUN_UNDERFOOT("plan", path, "--json");
        cr_assert_eq(run.status, 0, "%s: %s", names[i], run.err);
        char *blind = json_at(run.out, "blind");
        cr_expect_str_eq(blind, "[1]", "%s", names[i]);
        free(blind);
        cr_expect_float_eq(json_number_at(run.out, "blind.0.lat_deg"), -90, 1e-6, "%s", names[i]);
        cr_expect_lt(json_number_at(run.out, "nadir.cap_deg"), 25, "%s", names[i]);
        run_free(&run);
    }
}

/* A panorama's job needs no guess: `patch --rig` covers the cap that `plan` prints, and no row above it. */
Test(cli_plan, patch_takes_the_cap_from_the_rig)
{
    write_rig("rig.ini", RIG_FISHEYE RIG_ALL_ROUND DISC "[edge]\nmargin = 1\n");
    UfPicture *before = NULL;
    cr_assert_eq(uf_picture_create(512, 256, 3, UF_SAMPLE_U8, &before, NULL), UF_OK);
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++) {
            uint8_t *at = (uint8_t *)uf_picture_row(before, y) + 3 * x;
            at[0] = (uint8_t)(60 + (x * 7 + y * 13) % 100);
            at[1] = (uint8_t)y;
            at[2] = (uint8_t)(x / 2);
        }
    cr_assert_eq(uf_picture_write(before, "pano.png", NULL, NULL), UF_OK);
    Run run = RUN_UNDERFOOT("patch", "pano.png", "-o", "out.png", "--rig", "rig.ini", "--fill", "#ff0000",
                            "--feather", "0", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_float_eq(json_number_at(run.out, "cap_deg"), 23.619864948, 1e-6);
    run_free(&run);
    UfPicture *after = NULL;
    cr_assert_eq(uf_picture_read("out.png", NULL, &after, NULL), UF_OK);
    /* 23.62 degrees are 33.6 of 256 rows: the last 33 are covered for certain, the first 222 are not touched
     */
    cr_expect_eq(memcmp(uf_picture_row_const(before, 221), uf_picture_row_const(after, 221), 512 * 3), 0);
    for (size_t x = 0; x < 512; x++) {
        const uint8_t *covered = pixel(after, x, 224);
        cr_expect(covered[0] == 255 && covered[1] == 0 && covered[2] == 0);
    }
    uf_picture_free(&before);
    uf_picture_free(&after);
}

Test(cli_plan, patch_refuses_rigs_that_say_no_cap)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(64, 32, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(picture, "pano.png", NULL, NULL), UF_OK);
    uf_picture_free(&picture);
    write_rig("all.ini", RIG_FISHEYE RIG_ALL_ROUND);
    write_rig("one.ini", RIG_FISHEYE "[shot one]\ntilt = 0\n[edge]\nmargin = 10\n");
    write_rig("bad.ini", RIG_FISHEYE "[row level]\ntilt = 0\noverlap = 100\n");
    write_rig("good.ini", RIG_FISHEYE RIG_ALL_ROUND DISC);
    static const struct {
        const char *rig, *option, *value, *words;
        int status;
    } cases[] = {
        {"all.ini", "--fill", "smooth",
         "all.ini: with this rig nothing is unseen at the nadir; there is nothing", 1},
        {"good.ini", "--at", "zenith", "good.ini: with this rig nothing is unseen at the zenith", 1},
        {"one.ini", "--fill", "smooth",
         "one.ini: this rig leaves 80.00 deg about the nadir to cover, and 75 is", 1},
        {"bad.ini", "--fill", "smooth",
         "bad.ini:13: [row level]: 'overlap = 100': must be from 0 to below 100", 1},
        {"none.ini", "--fill", "smooth", "none.ini: ", 1},
        {"good.ini", "--cap", "10", "--cap and --rig both say how large the cap is", 64},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        Run run = RUN_UNDERFOOT("patch", "pano.png", "-o", "out.png", "--rig", cases[i].rig, cases[i].option,
                                cases[i].value);
        cr_expect_eq(run.status, cases[i].status, "%s: %s", cases[i].rig, run.err);
        assert_in(run.err, cases[i].words);
        cr_expect_not(file_exists("out.png"));
        run_free(&run);
    }
    Run run = RUN_UNDERFOOT("patch", "pano.png", "-o", "good.ini", "--overwrite", "--rig", "good.ini");
    cr_expect_neq(run.status, 0);
    cr_expect(file_exists("good.ini"));
    run_free(&run);
}

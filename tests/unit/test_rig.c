/* Rig files: what is read, and what each mistake says. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <underfoot/plan.h>

#include "support/rigs.h"

/* The file that docs/planning.md begins with. */
#define SAMPLE                                                                                               \
    "; a comment\n"                                                                                          \
    "[camera]\n"                                                                                             \
    "sensor  = 23.5 x 15.6        ; mm\n"                                                                    \
    "pixels  = 6000 x 4000\n"                                                                                \
    "hold    = landscape          ; or portrait\n"                                                           \
    "[lens]\n"                                                                                               \
    "focal   = 8                  ; mm\n"                                                                    \
    "mapping = equidistant        ; or another\n"                                                            \
    "k       = 0 0 0 0            ; polynomial only\n"                                                       \
    "reach   = 95                 ; optional\n"                                                              \
    "[stand]\n"                                                                                              \
    "height  = 1500               ; mm\n"                                                                    \
    "[row level]                  ; one or more\n"                                                           \
    "tilt    = 0\n"                                                                                          \
    "overlap = 40                 ; percent\n"                                                               \
    "[shot up]\n"                                                                                            \
    "tilt    = 90\n"                                                                                         \
    "pan     = 30\n"                                                                                         \
    "[part arm]\n"                                                                                           \
    "turns   = yes\n"                                                                                        \
    "shape   = box\n"                                                                                        \
    "from    = -20 -110 -40\n"                                                                               \
    "to      =  20  -95 160\n"                                                                               \
    "copies  = 1\n"                                                                                          \
    "[part leg]\n"                                                                                           \
    "turns   = no\n"                                                                                         \
    "shape   = rod\n"                                                                                        \
    "from    = 0 -300 30\n"                                                                                  \
    "to      = 0 -1490 500\n"                                                                                \
    "radius  = 12.5\n"                                                                                       \
    "copies  = 3\n"                                                                                          \
    "[edge]\n"                                                                                               \
    "margin  = 2\n"                                                                                          \
    "[pace]\n"                                                                                               \
    "exposure = 0.5\n"                                                                                       \
    "wait    = 1.5\n"                                                                                        \
    "turn    = 45\n"

Test(rig, everything_is_read)
{
    UfRig *rig = rig_make("%s", SAMPLE);
    const UfCamera *camera = uf_rig_camera(rig);
    cr_expect_eq(camera->sensor_long_mm, 23.5);
    cr_expect_eq(camera->sensor_short_mm, 15.6);
    cr_expect_eq(camera->long_px, 6000);
    cr_expect_eq(camera->short_px, 4000);
    cr_expect_not(camera->portrait);
    cr_expect_eq(camera->lens.mapping, UF_MAPPING_EQUIDISTANT);
    cr_expect_eq(camera->lens.focal_mm, 8.0);
    cr_expect_float_eq(uf_degrees(camera->lens.reach_rad), 95.0, 1e-12);
    cr_expect_eq(uf_rig_height_mm(rig), 1500.0);
    cr_expect_float_eq(uf_degrees(uf_rig_margin_rad(rig)), 2.0, 1e-12);
    cr_assert_eq(uf_rig_row_count(rig), 2);
    const UfRow *row = uf_rig_row(rig, 0);
    cr_expect_str_eq(row->name, "level");
    cr_expect_eq(row->frame_count, 4);
    cr_expect_float_eq(uf_degrees(row->step_rad), 90.0, 1e-9);
    cr_expect_eq(row->line, 13);
    cr_assert_eq(uf_rig_frame_count(rig), 5);
    cr_expect_float_eq(uf_degrees(uf_rig_frame(rig, 3)->pan_rad), 270.0, 1e-9);
    cr_expect_float_eq(uf_degrees(uf_rig_frame(rig, 4)->pan_rad), 30.0, 1e-9);
    cr_expect_float_eq(uf_degrees(uf_rig_frame(rig, 4)->tilt_rad), 90.0, 1e-9);
    cr_expect(uf_rig_row(rig, 1)->is_shot);
    cr_assert_eq(uf_rig_part_count(rig), 2);
    const UfPart *arm = uf_rig_part(rig, 0);
    cr_expect(arm->turns);
    cr_expect_eq(arm->shape, UF_PART_BOX);
    cr_expect_eq(arm->from_mm[1], -110.0);
    cr_expect_eq(arm->to_mm[2], 160.0);
    const UfPart *leg = uf_rig_part(rig, 1);
    cr_expect_not(leg->turns);
    cr_expect_eq(leg->radius_mm, 12.5);
    cr_expect_eq(leg->copies, 3);
    const UfPace *pace = uf_rig_pace(rig);
    cr_expect(pace->given);
    cr_expect_eq(pace->exposure_s + pace->wait_s, 2.0);
    cr_expect_null(uf_rig_row(rig, 2));
    cr_expect_null(uf_rig_frame(rig, 5));
    cr_expect_null(uf_rig_part(rig, 2));
    uf_rig_free(&rig);
    cr_expect_null(rig);
    uf_rig_free(&rig);
    uf_rig_free(NULL);
}

/* Rows and shots keep the order of the file; a colon, a byte order mark and an indentation are no obstacles.
 */
Test(rig, order_and_spelling)
{
    UfRig *rig =
        rig_make("\xEF\xBB\xBF[stand]\r\n  height: 1500\r\n[shot down]\r\n\ttilt = -90\r\n[ row  middle ]\r\n"
                 "tilt = 10\r\nframes = 2\r\npan = 15\r\n[lens]\r\nmapping = rectilinear\r\nfocal = 20\r\n"
                 "[camera]\r\npixels = 6000x4000\r\nsensor = full-frame\r\n");
    cr_assert_eq(uf_rig_row_count(rig), 2);
    cr_expect_str_eq(uf_rig_row(rig, 0)->name, "down");
    cr_expect_str_eq(uf_rig_row(rig, 1)->name, "middle");
    cr_expect_float_eq(uf_degrees(uf_rig_frame(rig, 2)->pan_rad), 195.0, 1e-9);
    cr_expect_eq(uf_rig_camera(rig)->sensor_long_mm, 36.0);
    cr_expect_eq(uf_rig_margin_rad(rig), 0.0);
    cr_expect_not(uf_rig_pace(rig)->given);
    uf_rig_free(&rig);
}

/* The sample with one text in place of another. */
static char *changed(const char *from, const char *to)
{
    static char text[8192];
    const char *at = strstr(SAMPLE, from);
    cr_assert_not_null(at, "'%s' is not in the sample", from);
    snprintf(text, sizeof text, "%.*s%s%s", (int)(at - SAMPLE), SAMPLE, to, at + strlen(from));
    return text;
}

static void expect_refused(const char *text, int line, const char *words)
{
    UfReport *report = uf_report_create();
    UfRig *rig = NULL;
    cr_expect_eq(rig_try(text, &rig, report), UF_ERROR_FORMAT, "taken: %s", words);
    cr_expect_null(rig);
    const char *error = uf_report_error(report);
    char place[32] = ": ";
    if (line > 0)
        snprintf(place, sizeof place, ":%d: ", line);
    cr_expect_not_null(strstr(error, "/tmp/underfoot-rig-"), "no file in: %s", error);
    cr_expect_not_null(strstr(error, place), "not line %d: %s", line, error);
    cr_expect_not_null(strstr(error, words), "'%s' is not in: %s", words, error);
    uf_rig_free(&rig);
    uf_report_free(&report);
}

typedef struct Mistake {
    const char *from, *to;
    int line;
    const char *words;
} Mistake;

static void expect_all_refused(const Mistake *mistakes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        expect_refused(changed(mistakes[i].from, mistakes[i].to), mistakes[i].line, mistakes[i].words);
}

Test(rig, missing_things_are_named)
{
    static const Mistake mistakes[] = {
        {"sensor  = 23.5 x 15.6        ; mm\n", "", 2,
         "'sensor' is missing; add a line such as 'sensor = 23.5 x 15.6'"},
        {"pixels  = 6000 x 4000\n", "", 2, "'pixels' is missing"},
        {"focal   = 8                  ; mm\n", "", 6, "'focal' is missing"},
        {"mapping = equidistant        ; or another\n", "", 6, "'mapping' is missing"},
        {"height  = 1500               ; mm\n", "", 11, "'height' is missing"},
        {"tilt    = 0\n", "", 13, "'tilt' is missing"},
        {"overlap = 40                 ; percent\n", "", 13,
         "either 'overlap = 40' (percent) or 'frames = 6'"},
        {"turns   = yes\n", "", 19, "'turns' is missing; add a line such as 'turns = yes'"},
        {"shape   = box\n", "", 19, "'shape' is missing"},
        {"from    = -20 -110 -40\n", "", 19, "'from' is missing"},
        {"radius  = 12.5\n", "", 25, "'radius' is missing"},
        {"margin  = 2\n", "", 32, "'margin' is missing"},
        {"turn    = 45\n", "", 34, "'turn' is missing"},
        {"focal   = 8  ", "focal   =    ", 7, "'focal' has no value"},
        {"[stand]\nheight  = 1500               ; mm\n", "", 0, "the section [stand] is missing"},
    };
    expect_all_refused(mistakes, sizeof mistakes / sizeof *mistakes);
    expect_refused(RIG_FISHEYE, 0, "no frames are given; add a section such as [row level]");
}

Test(rig, unknown_things_are_named)
{
    static const Mistake mistakes[] = {
        {"[stand]", "[tripod]", 11, "there is no section [tripod]; there are [camera]"},
        {"height  =", "tallness =", 12, "there is no key 'tallness' here; the keys are height"},
        {"mapping = equidistant", "mapping = fisheye", 8,
         "'mapping = fisheye' is not known; write rectilinear, equi"},
        {"hold    = landscape", "hold    = upright", 5, "write landscape or portrait"},
        {"sensor  = 23.5 x 15.6 ", "sensor  = medium ", 3, "write full-frame, aps-c or four-thirds"},
        {"shape   = box", "shape   = ball", 21, "write box, rod or disc"},
        {"turns   = yes", "turns   = perhaps", 20, "write yes or no"},
        {"to      =  20  -95 160", "radius = 5", 23,
         "there is no key 'radius' here; the keys are turns, shape"},
        {"[row level]", "[row]", 13, "[row] needs a name of its own"},
        {"[stand]", "[stand wood]", 11, "[stand wood] takes no name; write [stand]"},
        {"[row level]", "[row a-name-that-is-much-longer-than-any-name-should-be]", 13,
         "longer than 39 bytes"},
    };
    expect_all_refused(mistakes, sizeof mistakes / sizeof *mistakes);
}

Test(rig, things_given_twice_are_named)
{
    static const Mistake mistakes[] = {
        {"[part leg]", "[part arm]", 25, "[part arm] is there already, in line 19"},
        {"[shot up]", "[camera]", 16, "[camera] is there already, in line 2"},
        {"radius  = 12.5", "radius = 12\nradius = 13", 31,
         "'radius' is given twice in this section, first in line 30"},
        {"overlap = 40 ", "frames = 5\noverlap = 40 ", 15, "either 'overlap = 40' (percent) or 'frames = 6'"},
    };
    expect_all_refused(mistakes, sizeof mistakes / sizeof *mistakes);
}

Test(rig, bad_numbers_are_named)
{
    static const Mistake mistakes[] = {
        {"overlap = 40 ", "overlap = 100 ", 15, "must be from 0 to below 100 percent"},
        {"overlap = 40 ", "overlap = -5 ", 15, "must be from 0 to below 100 percent"},
        {"overlap = 40 ", "overlap = 99.99 ", 15, "more than 1000 frames"},
        {"overlap = 40 ", "frames = 2.5 ", 15, "whole number"},
        {"overlap = 40 ", "frames = 0 ", 15, "must be from 1 to 1000 frames"},
        {"focal   = 8 ", "focal   = -8 ", 7, "must be above 0 to 5000 millimetres"},
        {"focal   = 8 ", "focal   = 8mm ", 7, "one plain number is expected; write for example 'focal = 8'"},
        {"focal   = 8 ", "focal   = nan ", 7, "one plain number"},
        {"focal   = 8 ", "focal   = 8 9 ", 7, "'9' is too much"},
        {"sensor  = 23.5 x 15.6", "sensor  = 15.6 x 23.5", 3, "the long side comes first"},
        {"sensor  = 23.5 x 15.6", "sensor  = -23.5 x 15.6", 3, "must be above 0"},
        {"sensor  = 23.5 x 15.6", "sensor  = 23.5", 3, "plain numbers are expected"},
        {"pixels  = 6000 x 4000", "pixels  = 4000 x 6000", 4, "the long side comes first"},
        {"pixels  = 6000 x 4000", "pixels  = 6000.5 x 4000", 4, "whole numbers"},
        {"height  = 1500 ", "height  = 0 ", 12, "must be above 0"},
        {"tilt    = 90", "tilt    = 91", 17, "must be from -90 to 90 degrees"},
        {"pan     = 30", "pan     = 400", 18, "must be from -360 to 360 degrees"},
        {"from    = -20 -110 -40", "from    = -20 -110", 22, "plain numbers are expected"},
        {"from    = -20 -110 -40", "from    = -20 -95 -40", 23, "a side of no length"},
        {"to      = 0 -1490 500", "to      = 0 -300 30", 29, "the rod has no length"},
        {"radius  = 12.5", "radius  = -12.5", 30, "must be above 0"},
        {"copies  = 3", "copies  = 2.5", 31, "whole number"},
        {"copies  = 3", "copies  = 0", 31, "must be from 1 to 60 copies"},
        {"margin  = 2", "margin  = -1", 33, "must be from 0 to 20 degrees"},
        {"reach   = 95 ", "reach   = 181 ", 10, "must be above 0 to 180 degrees"},
        {"k       = 0 0 0 0 ", "k       = 0 0 0 ", 9, "plain numbers are expected"},
        {"k       = 0 0 0 0 ", "k       = 0.1 0 0 0 ", 9, "'k' is for 'mapping = polynomial'"},
    };
    expect_all_refused(mistakes, sizeof mistakes / sizeof *mistakes);
}

Test(rig, lines_that_make_no_sense_are_named)
{
    static const Mistake mistakes[] = {
        {"hold    = landscape", "hold landscape", 5, "is neither a [section] nor 'key = value'"},
        {"[stand]", "[stand", 11, "is no section heading"},
        {"[stand]", "[stand] height = 3", 11, "is no section heading"},
        {"; a comment\n", "height = 3\n", 1, "'height' stands before any [section]"},
    };
    expect_all_refused(mistakes, sizeof mistakes / sizeof *mistakes);
    char line[400];
    memset(line, 'x', sizeof line);
    memcpy(line, "; ", 2);
    line[sizeof line - 1] = '\0';
    expect_refused(changed("; a comment", line), 1, "is longer than 190 bytes");
}

Test(rig, sensor_larger_than_the_mapping_can_image)
{
    char *text = changed("mapping = equidistant        ; or another", "mapping = orthographic");
    char *reach = strstr(text, "reach   = 95");
    memcpy(reach, ";           ", 12);
    expect_refused(text, 7,
                   "the sensor is larger than the mapping can image: its corner is 14.10 mm from the centre, "
                   "and orthographic with f = 8 mm ends at 8.00 mm (90 degrees); add 'reach = DEGREES'");
    text = changed("mapping = equidistant        ; or another", "mapping = orthographic");
    expect_refused(text, 10, "orthographic lens images no more than 90 degrees from its axis");
    text = changed("mapping = equidistant        ; or another", "mapping = rectilinear");
    expect_refused(text, 10, "images less than 90 degrees");
}

Test(rig, circular_fisheye_is_smaller_than_its_sensor)
{
    UfRig *rig = rig_make(
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = equisolid\nfocal = 8\n"
        "reach = 92.5\n[stand]\nheight = 1500\n[row level]\ntilt = 0\nframes = 4\n");
    UfField field = uf_camera_field(uf_rig_camera(rig));
    cr_expect_float_eq(uf_degrees(field.across_rad), 185.0, 1e-9);
    cr_expect_float_eq(uf_degrees(field.down_rad), 185.0, 1e-9);
    cr_expect_float_eq(uf_degrees(field.diagonal_rad), 185.0, 1e-9);
    uf_rig_free(&rig);
}

Test(rig, polynomial_that_turns_back)
{
    const char *format =
        "[camera]\nsensor = aps-c\npixels = 6000 x 4000\n[lens]\nmapping = polynomial\nfocal = 8\n"
        "k = -0.2 0 0 0\n%s[stand]\nheight = 1500\n[row level]\ntilt = 0\nframes = 6\n";
    char text[600];
    snprintf(text, sizeof text, format, "");
    /* 1 - 0.6 t^2 = 0 at 1.290994 rad = 73.9685 degrees, where r = 8 x 1.290994 x 2/3 = 6.89 mm */
    expect_refused(text, 6, "ends at 6.89 mm (73.97 degrees)");
    snprintf(text, sizeof text, format, "reach = 74\n");
    expect_refused(text, 8, "images no more than 73.97 degrees");
    snprintf(text, sizeof text, format, "reach = 73.9\n");
    UfRig *rig = rig_make("%s", text);
    uf_rig_free(&rig);
}

Test(rig, parts_containing_the_entrance_pupil)
{
    static const char *const parts[] = {
        "shape = box\nfrom = -20 -20 -40\nto = 20 20 40\n",
        "shape = box\nfrom = 20 0 40\nto = -20 -20 -40\n", /* the pupil is on its surface */
        "shape = rod\nfrom = 0 -50 3\nto = 0 50 3\nradius = 5\n",
        "shape = disc\ncentre = 10 0 0\nradius = 11\n",
    };
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char text[800];
        snprintf(text, sizeof text, RIG_FISHEYE RIG_ALL_ROUND "[part body]\nturns = yes\n%s", parts[i]);
        expect_refused(text, 18, "[part body]: this part contains the entrance pupil");
    }
    UfRig *rig = rig_make(RIG_FISHEYE RIG_ALL_ROUND
                          "[part rod]\nturns = yes\nshape = rod\nfrom = 0 -50 6\nto = 0 50 6\n"
                          "radius = 5\n");
    uf_rig_free(&rig);
}

Test(rig, doubtful_rigs_are_warned_of)
{
    UfReport *report = uf_report_create();
    UfRig *rig = NULL;
    cr_assert_eq(rig_try(changed("to      = 0 -1490 500", "to      = 0 -1590 500"), &rig, report), UF_OK);
    cr_assert_eq(uf_report_warning_count(report), 1);
    cr_expect_not_null(strstr(uf_report_warning(report, 0), ":25: [part leg] reaches below the floor"), "%s",
                       uf_report_warning(report, 0));
    uf_rig_free(&rig);
    uf_report_clear(report);
    cr_assert_eq(rig_try(changed("6000 x 4000", "6000 x 5000"), &rig, report), UF_OK);
    cr_assert_eq(uf_report_warning_count(report), 1);
    cr_expect_not_null(strstr(uf_report_warning(report, 0), "the pixels are not square"));
    uf_rig_free(&rig);
    uf_report_free(&report);
}

Test(rig, files_that_are_no_text)
{
    UfReport *report = uf_report_create();
    UfRig *rig = NULL;
    cr_expect_eq(uf_rig_read("/nowhere/rig.ini", &rig, report), UF_ERROR_IO);
    cr_expect_not_null(strstr(uf_report_error(report), "/nowhere/rig.ini"));
    cr_expect_eq(uf_rig_read("/tmp", &rig, report), UF_ERROR_IO);
    char path[] = "/tmp/underfoot-rig-XXXXXX";
    FILE *stream = fdopen(mkstemp(path), "w");
    fwrite("[camera]\nse\0nsor = 3\n", 1, 21, stream);
    fclose(stream);
    cr_expect_eq(uf_rig_read(path, &rig, report), UF_ERROR_FORMAT);
    cr_expect_not_null(strstr(uf_report_error(report), ":2: has a zero byte"), "%s", uf_report_error(report));
    remove(path);
    cr_expect_null(rig);
    uf_report_free(&report);
}

/* Every beginning of a good file is read or refused, and nothing else happens (the sanitized build watches).
 */
Test(rig, cut_files)
{
    char text[sizeof SAMPLE];
    int taken = 0;
    for (size_t length = 0; length < sizeof SAMPLE; length++) {
        memcpy(text, SAMPLE, length);
        text[length] = '\0';
        UfRig *rig = NULL;
        UfReport *report = uf_report_create();
        UfStatus status = rig_try(text, &rig, report);
        cr_expect((status == UF_OK) == (rig != NULL));
        cr_expect(status == UF_OK || uf_report_error(report)[0] != '\0');
        taken += status == UF_OK ? 1 : 0;
        uf_rig_free(&rig);
        uf_report_free(&report);
    }
    cr_expect_gt(taken, 0);
}

/* Bytes changed, taken out and put in at random: read or refused, never anything else. */
Test(rig, spoiled_files)
{
    static const char bytes[] = "[]=;x-.0 9\n\te\x80";
    uint64_t state = 5;
    size_t refused = 0;
    for (int i = 0; i < 3000; i++) {
        char text[sizeof SAMPLE + 8] = SAMPLE;
        for (int change = 0; change < 1 + i % 3; change++) {
            state = state * 6364136223846793005u + 1442695040888963407u;
            size_t length = strlen(text);
            size_t at = (size_t)(state >> 33) % length;
            char byte = bytes[(state >> 20) % (sizeof bytes - 1)];
            if (state >> 62 == 0)
                memmove(text + at, text + at + 1, length - at);
            else if (state >> 62 == 1)
                memmove(text + at + 1, text + at, length - at + 1);
            else
                text[at] = byte;
        }
        UfRig *rig = NULL;
        UfReport *report = uf_report_create();
        UfStatus status = rig_try(text, &rig, report);
        cr_expect((status == UF_OK) == (rig != NULL));
        cr_expect(status == UF_OK || strstr(uf_report_error(report), "/tmp/underfoot-rig-") != NULL, "%s",
                  uf_report_error(report));
        refused += status != UF_OK ? 1 : 0;
        uf_rig_free(&rig);
        uf_report_free(&report);
    }
    cr_expect(refused > 500 && refused < 3000, "%zu of 3000", refused);
}

/* A small file must not ask for hours or for all memory. */
Test(rig, more_hardware_than_can_be_looked_at)
{
    char text[2000] =
        RIG_FISHEYE "[row level]\ntilt = 0\nframes = 1000\n[part bolts]\nturns = yes\nshape = rod\n"
                    "from = 30 -80 0\nto = 30 -90 0\nradius = 2\ncopies = 21\n";
    expect_refused(text, 0, "come to more than 20000 things to look at");
    memcpy(strstr(text, "21"), "20", 2);
    UfRig *rig = rig_make("%s", text);
    uf_rig_free(&rig);
}

Test(rig, a_copy_is_its_own)
{
    UfRig *rig = rig_make("%s", SAMPLE);
    UfRig *copy = NULL;
    cr_assert_eq(uf_rig_copy(rig, &copy, NULL), UF_OK);
    cr_assert_eq(uf_rig_add_frame(copy, "down", 0, -UF_PI / 2, NULL), UF_OK);
    cr_expect_eq(uf_rig_frame_count(copy), 6);
    cr_expect_eq(uf_rig_frame_count(rig), 5);
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_rig_add_frame(copy, "over", 0, 2, report), UF_ERROR_ARGUMENT);
    cr_expect_eq(uf_rig_frame_count(copy), 6);
    uf_report_free(&report);
    uf_rig_free(&rig);
    UfDirection down = {0, -1, 0};
    cr_expect_eq(uf_rig_sight(copy, down).containing, 1);
    uf_rig_free(&copy);
}

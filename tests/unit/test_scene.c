/*
 * The scene maker's pictures: as shot and truth differ only where the rig file says that hardware or its
 * shadow is; the shadow falls where the sun says; files read back as promised; threads change nothing.
 *
 * The rays against the rig's parts are computed here anew, from the rig file, by marching along the ray
 * rather than by solving for the crossing. The shadow of the camera is seen at the antisolar point: azimuth +
 * 180 degrees, elevation negated (plain geometry).
 */
#include <criterion/criterion.h>
#include <ini.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/underfoot.h>

#include "support/files.h"
#include "support/program.h"

#define WIDTH_TEXT "256"
#define WIDTH      256

typedef struct Part {
    char name[40], shape[8];
    int turns, copies;
    double from[3], to[3], radius;
} Part;

typedef struct Parts {
    Part list[32];
    int count, frames;
} Parts;

TestSuite(scene, .init = folder_enter, .fini = folder_leave);

/* The folder of the build and, three steps up from the program, that of the project. */
static void path_in(char *path, size_t size, int steps_up, const char *name)
{
    char *copy = strdup(underfoot_path());
    for (int i = 0; i < steps_up; i++)
        *strrchr(copy, '/') = '\0';
    snprintf(path, size, "%s/%s", copy, name);
    free(copy);
}

static Run run_scene(const char *spot, const char *out, const char *threads)
{
    char program[1024], rigs[1024];
    path_in(program, sizeof program, 1, "scene");
    path_in(rigs, sizeof rigs, 3, "samples");
    Run run = RUN_PROGRAM(program, "--out", out, "--width", WIDTH_TEXT, "--spot", spot, "--threads", threads,
                          "--rigs", rigs);
    cr_assert_eq(run.status, 0, "%s", run.err);
    return run;
}

static int take(void *user, const char *section, const char *key, const char *value)
{
    Parts *parts = user;
    if (strncmp(section, "row ", 4) == 0 && strcmp(key, "frames") == 0)
        parts->frames = (int)strtol(value, NULL, 10);
    if (strncmp(section, "part ", 5) != 0)
        return 1;
    Part *part = parts->count > 0 ? &parts->list[parts->count - 1] : NULL;
    if (part == NULL || strcmp(part->name, section) != 0) {
        part = &parts->list[parts->count++];
        *part = (Part){.copies = 1};
        snprintf(part->name, sizeof part->name, "%s", section);
    }
    if (strcmp(key, "turns") == 0)
        part->turns = strcmp(value, "yes") == 0;
    else if (strcmp(key, "shape") == 0)
        snprintf(part->shape, sizeof part->shape, "%s", value);
    else if (strcmp(key, "radius") == 0)
        part->radius = strtod(value, NULL);
    else if (strcmp(key, "copies") == 0)
        part->copies = (int)strtol(value, NULL, 10);
    else {
        double *p = strcmp(key, "to") == 0 ? part->to : part->from;
        char *end;
        p[0] = strtod(value, &end);
        p[1] = strtod(end, &end);
        p[2] = strtod(end, &end);
    }
    return 1;
}

static Parts read_parts(const char *name)
{
    char path[1024], file[64];
    Parts parts = {0};
    snprintf(file, sizeof file, "samples/%s", name);
    path_in(path, sizeof path, 3, file);
    cr_assert_eq(ini_parse(path, take, &parts), 0);
    cr_assert_gt(parts.count, 5);
    cr_assert_gt(parts.frames, 1);
    return parts;
}

/* Whether a point, millimetres from the pupil, lies in a part (grown by `grow`) at this pan. */
static bool inside(const Part *part, UfDirection p, double pan, double grow)
{
    for (int copy = 0; copy < part->copies; copy++) {
        double a = (part->turns ? pan : 0) + copy * 2 * UF_PI / part->copies;
        double q[3] = {cos(a) * p.x - sin(a) * p.z, p.y, sin(a) * p.x + cos(a) * p.z}; /* turned back by a */
        bool in = true;
        if (strcmp(part->shape, "box") == 0) {
            for (int i = 0; i < 3; i++)
                in = in && q[i] >= part->from[i] - grow && q[i] <= part->to[i] + grow;
        } else {
            double axis[3], o[3], length = 0, t = 0, away = 0;
            for (int i = 0; i < 3; i++) {
                axis[i] = part->to[i] - part->from[i];
                o[i] = q[i] - part->from[i];
                length += axis[i] * axis[i];
                t += axis[i] * o[i];
            }
            for (int i = 0; i < 3; i++)
                away += pow(o[i] - axis[i] * t / length, 2);
            in = t >= -grow * sqrt(length) && t <= length + grow * sqrt(length) &&
                 sqrt(away) <= part->radius + grow && part->radius + grow > 0;
        }
        if (in)
            return true;
    }
    return false;
}

/* Hidden in every frame, by steps of 2 mm along the ray. */
static bool hidden(const Parts *parts, UfDirection d, double grow)
{
    for (int frame = 0; frame < parts->frames; frame++) {
        double pan = frame * 2 * UF_PI / parts->frames;
        bool blocked = false;
        for (double t = 2; t < 1700 && !blocked; t += 2)
            for (int i = 0; i < parts->count && !blocked; i++)
                blocked = inside(&parts->list[i], (UfDirection){d.x * t, d.y * t, d.z * t}, pan, grow);
        if (!blocked)
            return false;
    }
    return true;
}

static UfPicture *read_picture(const char *path)
{
    UfReport *report = uf_report_create();
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_read(path, NULL, &picture, report), UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return picture;
}

static long sample_at(const UfPicture *picture, size_t x, size_t y, size_t c)
{
    size_t i = x * uf_picture_channels(picture) + c;
    const void *row = uf_picture_row_const(picture, y);
    return uf_picture_sample(picture) == UF_SAMPLE_U16 ? ((const uint16_t *)row)[i]
                                                       : ((const uint8_t *)row)[i];
}

static bool pixel_differs(const UfPicture *a, const UfPicture *b, size_t x, size_t y)
{
    for (size_t c = 0; c < 3; c++)
        if (sample_at(a, x, y, c) != sample_at(b, x, y, c))
            return true;
    return false;
}

static UfDirection pixel_direction(double x, double y)
{
    UfView view = uf_view_equirectangular(WIDTH);
    UfDirection d = {0};
    cr_assert(uf_view_direction(&view, (UfPixelPoint){x, y}, &d));
    return d;
}

/* The workshop is a lossless TIFF without a sun: what differs is hardware, sample for sample. */
Test(scene, only_what_the_rig_hides_differs_from_the_truth)
{
    Run run = run_scene("workshop", "out", "0");
    run_free(&run);
    Parts parts = read_parts("workshop.ini");
    UfPicture *shot = read_picture("out/workshop.tif"), *truth = read_picture("out/workshop-truth.tif");
    size_t hardware = 0, clear = 0;
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++) {
            bool differs = pixel_differs(shot, truth, x, y), possible = y > WIDTH / 4;
            UfDirection d = pixel_direction((double)x + 0.5, (double)y + 0.5);
            /* a pixel spans 1.4 degrees; two pixels at 1.6 m are 80 mm, scaled with the part's distance in
             * `grow` */
            if (possible && d.y < -0.85 && hidden(&parts, d, -4)) {
                hardware++;
                cr_expect(differs, "hardware is missing at %zu, %zu", x, y);
            }
            if (!differs)
                continue;
            cr_assert_lt(d.y, -0.85, "changed at %zu, %zu, where no hardware is", x, y);
            cr_expect(hidden(&parts, d, 45), "changed at %zu, %zu, where no hardware is", x, y);
            clear++;
        }
    cr_expect_gt(hardware, 500);
    cr_expect_geq(clear, hardware);
    uf_picture_free(&shot);
    uf_picture_free(&truth);
}

/* What the scene maker says of the sun, and what the picture shows of it. */
Test(scene, shadow_of_the_camera_lies_opposite_the_sun)
{
    Run run = run_scene("yard", "out", "0");
    double azimuth = 0, elevation = 0, heading = 0;
    const char *line = strstr(run.out, "sun at azimuth ");
    cr_assert_not_null(line);
    cr_assert_eq(sscanf(line, "sun at azimuth %lf, elevation %lf degrees; picture's centre heads %lf",
                        &azimuth, &elevation, &heading),
                 3);
    run_free(&run);
    UfPicture *shot = read_picture("out/yard.jpg"), *truth = read_picture("out/yard-truth.jpg");
    double lon = remainder(azimuth + 180 - heading, 360), lat = -elevation;
    UfView view = uf_view_equirectangular(WIDTH);
    UfPixelPoint at = {0};
    cr_assert(
        uf_view_pixel(&view, uf_direction_from_lonlat((UfLonLat){uf_radians(lon), uf_radians(lat)}), &at));
    size_t x = (size_t)at.x_px, y = (size_t)at.y_px;
    long before = sample_at(truth, x, y, 1), after = sample_at(shot, x, y, 1);
    /* the barrel's shadow is little wider than a pixel here, and the sky still lights it */
    cr_expect_lt(after, before * 9 / 10, "at the antisolar point %ld became %ld", before, after);
    /* the camera is 140 mm high: four degrees further out nothing is in the way any more */
    size_t above = (size_t)(at.y_px - WIDTH * 5.0 / 360);
    cr_expect_leq(labs(sample_at(shot, x, above, 1) - sample_at(truth, x, above, 1)), 8);
    uf_picture_free(&shot);
    uf_picture_free(&truth);
}

Test(scene, threads_do_not_change_a_file)
{
    Run one = run_scene("ticket-hall", "one", "1"), three = run_scene("ticket-hall", "three", "3");
    run_free(&one);
    run_free(&three);
    cr_expect(file_same("one/ticket-hall.jpg", "three/ticket-hall.jpg"));
    cr_expect(file_same("one/ticket-hall-truth.jpg", "three/ticket-hall-truth.jpg"));
    cr_expect(file_same("one/emblem.png", "three/emblem.png"));
}

static void expect_exiftool(const char *file, const char *tag, const char *wanted)
{
    Run run = RUN_PROGRAM("exiftool", "-s3", tag, file);
    run.out[strcspn(run.out, "\n")] = '\0';
    cr_expect_str_eq(run.out, wanted, "%s of %s: '%s'", tag, file, run.out);
    run_free(&run);
}

/* Read back by ExifTool. */
Test(scene, files_say_what_they_are)
{
    Run run = run_scene("workshop", "out", "0");
    run_free(&run);
    UfReport *report = uf_report_create();
    UfPictureInfo info;
    cr_assert_eq(uf_picture_probe("out/workshop.tif", &info, report), UF_OK);
    cr_expect(info.format == UF_FORMAT_TIFF && info.sample == UF_SAMPLE_U16);
    cr_expect(info.width_px == WIDTH && info.height_px == WIDTH / 2 && info.channels == 3);
    cr_assert_eq(uf_picture_probe("out/emblem.png", &info, report), UF_OK);
    cr_expect(info.format == UF_FORMAT_PNG && info.width_px == 1024 && info.channels == 4);
    uf_report_free(&report);
    expect_exiftool("out/workshop.tif", "-EXIF:Make", "Sample Camera Works");
    expect_exiftool("out/workshop.tif", "-EXIF:ISO", "100");
    expect_exiftool("out/workshop.tif", "-EXIF:OffsetTimeOriginal", "-02:00");
    expect_exiftool("out/workshop.tif", "-XMP-GPano:PoseHeadingDegrees", "17.5");
    expect_exiftool("out/workshop.tif", "-XMP-GPano:FullPanoWidthPixels", WIDTH_TEXT);
    expect_exiftool("out/workshop.tif", "-ICC_Profile:ProfileDescription",
                    "Wide RGB, BT.2020 primaries, gamma 2.2");
}

Test(scene, wrong_usage_says_so)
{
    char program[1024];
    path_in(program, sizeof program, 1, "scene");
    Run odd = RUN_PROGRAM(program, "--out", "out", "--width", "255");
    cr_expect_eq(odd.status, 64);
    cr_expect_not_null(strstr(odd.err, "--width"));
    run_free(&odd);
    Run lost = RUN_PROGRAM(program, "--out", "out", "--width", WIDTH_TEXT, "--rigs", "nowhere");
    cr_expect_eq(lost.status, 1);
    cr_expect_not_null(strstr(lost.err, "nowhere/hall.ini"));
    run_free(&lost);
}

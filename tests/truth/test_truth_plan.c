/* Caps and frame counts against worked values. */
#include <underfoot/plan.h>

#include "support/rigs.h"
#include "truth/rows.h"

static UfRig *row_rig(const Rows *rows, double frames)
{
    return rig_make(
        "[camera]\nsensor = %s x %s\npixels = 6000 x 4000\nhold = portrait\n"
        "[lens]\nmapping = %s\nfocal = %s\n[stand]\nheight = 1500\n[row level]\ntilt = -%s\nframes = %g\n",
        rows->words[2], rows->words[3], rows->words[0], rows->words[1], rows->words[4], frames);
}

/* In the middle column of a frame: the first direction below the frame, found by halving. */
static double middle_cap_deg(const UfRig *rig)
{
    double low = 0;
    double high = 90;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        UfDirection direction = {0, -cos(uf_radians(middle)), sin(uf_radians(middle))};
        if (uf_rig_sight(rig, direction).containing > 0)
            high = middle;
        else
            low = middle;
    }
    return low;
}

Test(truth_plan, caps_left_open_by_the_lens)
{
    Rows rows = rows_open("tests/truth/nadir_caps.txt");
    while (rows_next(&rows, 8)) {
        UfRig *rig = row_rig(&rows, rows_number(&rows, 5));
        UfPlan plan = rig_plan(rig);
        double expected = rows_number(&rows, 7);
        double middle = rows_number(&rows, 6);
        cr_expect_float_eq(uf_degrees(plan.lens_cap_rad), expected, 6e-7, "line %d: %.9f", rows.line,
                           uf_degrees(plan.lens_cap_rad));
        cr_expect_float_eq(uf_degrees(plan.cap_rad), expected, 6e-7, "line %d", rows.line);
        cr_expect_eq(plan.hardware_cap_rad, 0.0);
        cr_expect_eq(plan.cause, expected > 0 ? UF_CAP_LENS : UF_CAP_NOTHING, "line %d", rows.line);
        if (!isnan(middle))
            cr_expect_float_eq(middle_cap_deg(rig), middle, 6e-7, "line %d: %.9f", rows.line,
                               middle_cap_deg(rig));
        uf_rig_free(&rig);
    }
}

static void check_disc(const Rows *rows, const char *frames, const char *turns)
{
    UfRig *rig =
        rig_make(RIG_FISHEYE "%s[part disc]\nturns = %s\nshape = disc\ncentre = 0 -%s 0\nradius = %s\n",
                 frames, turns, rows->words[1], rows->words[0]);
    UfPlanOptions options = {.width_px = 2 * (size_t)rows_number(rows, 3)};
    UfPlan plan;
    cr_assert_eq(uf_plan(rig, &options, &plan, NULL), UF_OK);
    cr_expect_float_eq(uf_degrees(plan.hardware_cap_rad), rows_number(rows, 2), 1e-6, "line %d: %.9f",
                       rows->line, uf_degrees(plan.hardware_cap_rad));
    cr_expect_float_eq(uf_degrees(plan.cap_rad), rows_number(rows, 2), 1e-6, "line %d", rows->line);
    cr_expect_eq(plan.rows_px, (size_t)ceil(rows_number(rows, 4)), "line %d: %zu", rows->line, plan.rows_px);
    cr_expect_float_eq(1 - plan.seen_share, rows_number(rows, 5), 1e-5, "line %d: %.9f", rows->line,
                       1 - plan.seen_share);
    cr_expect_float_eq(plan.floor_diameter_m, 3 * rows_number(rows, 0) / rows_number(rows, 1), 1e-7);
    uf_rig_free(&rig);
}

/* A disc looks the same from every pan, so that one that turns hides as much as one that stands. */
Test(truth_plan, caps_of_discs)
{
    Rows rows = rows_open("tests/truth/disc_caps.txt");
    while (rows_next(&rows, 6)) {
        check_disc(&rows, RIG_ALL_ROUND, "no");
        check_disc(&rows, RIG_ALL_ROUND, "yes");
    }
}

/* Where the lens leaves the nadir open as well, the cap is the larger of the two. */
Test(truth_plan, the_larger_of_lens_and_disc_is_the_cap)
{
    static const struct {
        const char *radius;
        double hardware_deg, cap_deg;
    } discs[] = {{"50", 22.619864948, 41.927024}, {"120", 45.0, 45.0}};
    for (size_t i = 0; i < 2; i++) {
        UfRig *rig = rig_make("[camera]\nsensor = full-frame\npixels = 6000 x 4000\nhold = portrait\n"
                              "[lens]\nmapping = rectilinear\nfocal = 14\n[stand]\nheight = 1500\n"
                              "[row level]\ntilt = 0\nframes = 6\n"
                              "[part disc]\nturns = no\nshape = disc\ncentre = 0 -120 0\nradius = %s\n",
                              discs[i].radius);
        UfPlan plan = rig_plan(rig);
        cr_expect_float_eq(uf_degrees(plan.lens_cap_rad), 41.927024, 6e-7);
        cr_expect_float_eq(uf_degrees(plan.hardware_cap_rad), discs[i].hardware_deg, 1e-6, "%.9f",
                           uf_degrees(plan.hardware_cap_rad));
        cr_expect_float_eq(uf_degrees(plan.cap_rad), discs[i].cap_deg, 1e-6, "%.9f",
                           uf_degrees(plan.cap_rad));
        uf_rig_free(&rig);
    }
}

static UfRig *eight_millimetres(const char *mapping, const char *key)
{
    return rig_make(
        "[camera]\nsensor = aps-c\npixels = 6000 x 4000\nhold = landscape\n"
        "[lens]\nmapping = %s\nfocal = 8\nreach = 89\n[stand]\nheight = 1500\n[row level]\ntilt = 0\n%s\n",
        mapping, key);
}

/*
 * Common practice, no source: an 8 mm lens on a 23.5 x 15.6 mm sensor held landscape, overlap near 40
 * percent, is shot as six frames. Six is what the rectilinear formula gives, 360 / (111.5 x 0.6) = 5.4; an
 * equidistant fisheye of that focal length needs four, and six of them overlap by 64 percent.
 */
Test(truth_plan, six_frames_come_from_the_rectilinear_formula)
{
    static const struct {
        const char *mapping, *key;
        size_t frames;
        double width_deg, overlap_percent;
    } cases[] = {{"rectilinear", "overlap = 40", 6, 111.501934, 46.189},
                 {"equidistant", "overlap = 40", 4, 168.306352, 46.526},
                 {"equidistant", "frames = 6", 6, 168.306352, 64.351}};
    for (size_t i = 0; i < 3; i++) {
        UfRig *rig = eight_millimetres(cases[i].mapping, cases[i].key);
        const UfRow *row = uf_rig_row(rig, 0);
        cr_expect_eq(row->frame_count, cases[i].frames, "%zu: %zu frames", i, row->frame_count);
        cr_expect_float_eq(uf_degrees(row->width_rad), cases[i].width_deg, 6e-7, "%zu: %.9f", i,
                           uf_degrees(row->width_rad));
        cr_expect_float_eq(100 * row->overlap, cases[i].overlap_percent, 6e-4, "%zu: %.6f", i,
                           100 * row->overlap);
        uf_rig_free(&rig);
    }
}

/* Nominal sizes (common practice, no source; no standard defines aps-c), diagonals computed from them. */
Test(truth_plan, formats_have_their_nominal_size)
{
    static const struct {
        const char *name;
        double diagonal_mm;
    } formats[] = {{"full-frame", 43.266615},
                   {"aps-c", 28.206560},
                   {"four-thirds", 21.640009},
                   {"22.3 x 14.9", 26.819769}};
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        UfRig *rig = rig_make(
            "[camera]\nsensor = %s\npixels = 6000 x 4000\n[lens]\nmapping = equidistant\nfocal = 20\n"
            "[stand]\nheight = 1500\n[row level]\ntilt = 0\nframes = 6\n",
            formats[i].name);
        const UfCamera *camera = uf_rig_camera(rig);
        cr_expect_float_eq(hypot(camera->sensor_long_mm, camera->sensor_short_mm), formats[i].diagonal_mm,
                           6e-7);
        uf_rig_free(&rig);
    }
}

/* The same cap measured in the other pictures, and its solid angle as the plan finds it for a disc. */
Test(truth_plan, the_cap_in_other_pictures)
{
    Rows rows = rows_open("tests/truth/cap_measures.txt");
    while (rows_next(&rows, 6)) {
        size_t height_px = (size_t)rows_number(&rows, 0);
        double cap_rad = uf_radians(rows_number(&rows, 1));
        UfDirection edge = {sin(cap_rad), -cos(cap_rad), 0};
        UfView panorama = uf_view_equirectangular(2 * height_px);
        UfView face = uf_view_face(UF_FACE_DOWN, height_px / 2);
        UfPixelPoint at;
        cr_assert(uf_view_pixel(&panorama, edge, &at));
        cr_expect_float_eq(at.y_px, rows_number(&rows, 2), 1e-6, "line %d: %.9f", rows.line, at.y_px);
        cr_assert(uf_view_pixel(&face, edge, &at));
        double radius_px = hypot(at.x_px - face.centre_x_px, at.y_px - face.centre_y_px);
        cr_expect_float_eq(radius_px, rows_number(&rows, 3), 1e-6, "line %d: %.9f", rows.line, radius_px);
        UfView planet = uf_view_planet(1000, UF_PI, 0, false);
        cr_assert(uf_view_pixel(&planet, edge, &at));
        double radius = hypot(at.x_px - planet.centre_x_px, at.y_px - planet.centre_y_px) / planet.scale_px;
        cr_expect_float_eq(radius, rows_number(&rows, 4), 1e-9, "line %d: %.12f", rows.line, radius);
        UfRig *rig =
            rig_make(RIG_FISHEYE RIG_ALL_ROUND "[part disc]\nturns = no\nshape = disc\ncentre = 0 -1000 0\n"
                                               "radius = %.9f\n",
                     1000 * tan(cap_rad));
        UfPlan plan = rig_plan(rig);
        cr_expect_float_eq(4 * UF_PI * (1 - plan.seen_share), rows_number(&rows, 5), 4 * UF_PI * 1e-5,
                           "line %d", rows.line);
        uf_rig_free(&rig);
    }
}

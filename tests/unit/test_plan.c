/* Plans: properties that hold for every rig, and an independent ray caster. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/plan.h>

#include "plan/cells.h"
#include "plan/near.h"
#include "plan/square.h"
#include "support/caster.h"
#include "support/rigs.h"

/* SplitMix64: G. L. Steele, D. Lea and C. H. Flood, OOPSLA 2014 (constants from memory). */
static double random_unit(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

static UfDirection random_direction(uint64_t *state)
{
    double up = 2 * random_unit(state) - 1;
    double lon = 2 * UF_PI * random_unit(state);
    double across = sqrt(1 - up * up);
    return (UfDirection){across * sin(lon), up, across * cos(lon)};
}

/* One frame of it contains every direction. */
#define ALL_SEEING                                                                                           \
    "[camera]\nsensor = aps-c\npixels = 6000 x 4000\n[lens]\nfocal = 2\nmapping = equidistant\nreach = "     \
    "180\n"                                                                                                  \
    "[stand]\nheight = 1500\n"
/* Held so that the level row ends 34 degrees above the nadir. */
#define LYING_FISHEYE                                                                                        \
    "[camera]\nsensor = aps-c\npixels = 6000 x 4000\n[lens]\nfocal = 8\nmapping = equidistant\n"             \
    "[stand]\nheight = 1500\n"

/* A bracket to one side, a rotator, three legs: an L-shaped bracket holds the camera at its side. */
#define BRACKET                                                                                              \
    "[part upright]\nturns = yes\nshape = box\nfrom = -88 -172 -24\nto = -76 60 24\n"                        \
    "[part arm]\nturns = yes\nshape = box\nfrom = -88 -184 -21\nto = 58 -172 21\n"                           \
    "[part rotator]\nturns = no\nshape = rod\nfrom = 0 -246 0\nto = 0 -184 0\nradius = 33\n"                 \
    "[part leg]\nturns = no\nshape = rod\nfrom = 0 -340 52\nto = 0 -1480 549\nradius = 16\ncopies = 3\n"

#define RAYS 200000

/* Every ray agrees; the plan's shares agree within four standard deviations; the caps hold all that was
 * found. */
static void check_against_caster(const UfRig *rig)
{
    UfPlan plan = rig_plan(rig);
    uint64_t state = 20261125;
    size_t contained = 0;
    size_t seen = 0;
    size_t disagreeing = 0;
    double farthest_rad = 0;
    for (size_t i = 0; i < RAYS; i++) {
        UfDirection direction = random_direction(&state);
        UfSight expected = caster_sight(rig, direction);
        UfSight sight = uf_rig_sight(rig, direction);
        disagreeing += expected.containing != sight.containing || expected.seeing != sight.seeing ? 1 : 0;
        contained += expected.containing > 0 ? 1 : 0;
        seen += expected.seeing > 0 ? 1 : 0;
        double from_nadir = acos(-direction.y);
        if (expected.seeing == 0 && from_nadir <= uf_radians(UF_PLAN_POLE_ZONE_DEG))
            farthest_rad = fmax(farthest_rad, from_nadir);
    }
    cr_expect_eq(disagreeing, 0, "%zu of %d rays disagree", disagreeing, RAYS);
    double shares[2] = {(double)contained / RAYS, (double)seen / RAYS};
    double planned[2] = {plan.contained_share, plan.seen_share};
    for (int i = 0; i < 2; i++) {
        double error = sqrt(fmax(shares[i] * (1 - shares[i]), 1.0 / RAYS) / RAYS);
        cr_expect_lt(fabs(shares[i] - planned[i]), 4 * error + 5e-5, "share %d: %.6f, plan %.6f", i,
                     shares[i], planned[i]);
    }
    cr_expect_leq(farthest_rad, plan.unseen_cap_rad + 1e-9, "an unseen ray is outside of the cap");
    cr_expect_geq(farthest_rad, plan.unseen_cap_rad - uf_radians(1),
                  "no unseen ray is near the cap's edge: %.3f, %.3f", uf_degrees(farthest_rad),
                  uf_degrees(plan.unseen_cap_rad));
}

Test(plan, agrees_with_an_independent_ray_caster)
{
    static const char *const rigs[] = {
        RIG_FISHEYE RIG_ALL_ROUND BRACKET,
        RIG_FISHEYE "[row level]\ntilt = -10\noverlap = 35\n" BRACKET
                    "[part plate]\nturns = yes\nshape = disc\ncentre = 30 -150 20\nradius = 40\ncopies = 2\n",
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = rectilinear\nfocal = "
        "20\n[stand]\n"
        "height = 1600\n[row high]\ntilt = 45\nframes = 6\n[row low]\ntilt = -35\nframes = 7\npan = "
        "11\n" BRACKET,
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\nhold = portrait\n[lens]\nmapping = "
        "equisolid\nfocal = 15\n"
        "[stand]\nheight = 1600\n[row level]\ntilt = 5\nframes = 6\n[shot down]\ntilt = -80\npan = "
        "40\n" BRACKET,
    };
    for (size_t i = 0; i < sizeof rigs / sizeof *rigs; i++) {
        UfRig *rig = rig_make("%s", rigs[i]);
        check_against_caster(rig);
        uf_rig_free(&rig);
    }
}

/* --- blocks that are taken as they are --- */

/* Every direction of a block lies within the radius that is given for it. */
Test(plan, blocks_are_no_wider_than_said)
{
    for (unsigned level = 4; level <= 8; level++)
        for (unsigned i = 0; i < 1u << (2 * level); i++) {
            double side = 1.0 / (1u << level), u = (i & ((1u << level) - 1)) * side, v = (i >> level) * side;
            UfDirection middle = uf_square_direction(u + side / 2, v + side / 2);
            double radius = uf_cells_block_radius(side), most = 0;
            for (int k = 0; k < 81; k++)
                most = fmax(most, uf_angle_between_rad(middle, uf_square_direction(u + side * (k % 9) / 8,
                                                                                   v + side * (k / 9) / 8)));
            cr_assert_leq(most, radius, "level %u, block %u: %g beyond %g", level, i, most, radius);
        }
}

/* A cone that is said to be seen alike all over is; most of the sphere is told so. */
static void check_cones(const UfRig *rig, double radius_rad, double at_least)
{
    const int count = 4000;
    int told = 0;
    UfNearRoom room;
    cr_assert(uf_near_room(rig, 1, &room));
    UfNear sphere = uf_near_sphere(rig, true, &room), here;
    const UfNearRoom start = room;
    for (int i = 0; i < count; i++) {
        double up = 2 * (i + 0.5) / count - 1, across = sqrt(1 - up * up), lon = 2.399963229728653 * i;
        UfDirection axis = {across * sin(lon), up, across * cos(lon)};
        UfRotation there = uf_rotation_from_angles(lon, asin(up), 0);
        unsigned look;
        room = start;
        if (!uf_near_only_look(uf_near_narrow(&sphere, uf_cone(axis, radius_rad), &room, &here), &look))
            continue;
        told++;
        for (int k = 0; k < 24; k++) {
            double away = radius_rad * sqrt((k + 0.5) / 24), turn = 2.399963229728653 * k;
            UfDirection inside = {sin(away) * cos(turn), sin(away) * sin(turn), cos(away)};
            cr_assert_eq(uf_rig_look(rig, uf_rotation_apply(&there, inside)), look, "cone %d, ray %d", i, k);
        }
    }
    cr_expect_gt(told, at_least * count, "%d of %d", told, count);
    uf_near_room_clear(&room);
}

Test(plan, cones_are_judged_like_their_rays)
{
    static const char *const cameras[] = {
        RIG_FISHEYE,
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = rectilinear\nfocal = "
        "20\n[stand]\nheight = 1600\n",
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = equisolid\nfocal = "
        "15\n[stand]\nheight = 1600\n"};
    for (size_t i = 0; i < 3; i++) {
        UfRig *rig =
            rig_make("%s[row level]\ntilt = 10\nframes = 5\n[shot up]\ntilt = 80\n" BRACKET, cameras[i]);
        check_cones(rig, uf_radians(0.2), 0.9);
        check_cones(rig, uf_radians(2), 0.3);
        check_cones(rig, uf_radians(9), 0.05);
        uf_rig_free(&rig);
    }
}

/* Outlines of all kinds: a rod from its side, from its end, and askew; a disc; boxes that show one to three
 * sides. */
Test(plan, cones_are_judged_by_outlines)
{
    static const char *const parts[] = {"shape = rod\nfrom = 0 -200 0\nto = 0 -300 0\nradius = 90\n",
                                        "shape = rod\nfrom = 20 -300 30\nto = 20 -150 30\nradius = 60\n",
                                        "shape = rod\nfrom = 30 -60 -150\nto = 300 -160 200\nradius = 40\n",
                                        "shape = rod\nfrom = 100 -20 150\nto = 240 -50 371\nradius = 55\n",
                                        "shape = disc\ncentre = 50 -100 -20\nradius = 80\n",
                                        "shape = disc\ncentre = 50 100 -20\nradius = 80\n",
                                        "shape = box\nfrom = -100 -120 -80\nto = 60 -70 90\n",
                                        "shape = box\nfrom = 20 -120 -80\nto = 160 -70 90\n",
                                        "shape = box\nfrom = 20 -120 30\nto = 160 -70 90\n",
                                        "shape = box\nfrom = 0 -120 -40\nto = 160 -70 90\n"};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        for (int turns = 0; turns < 2; turns++) {
            UfRig *rig = rig_make(ALL_SEEING "[shot one]\ntilt = 20\npan = 50\n[shot two]\ntilt = -30\npan = "
                                             "-100\n[part it]\nturns = %s\n%s",
                                  turns ? "yes" : "no", parts[i]);
            check_cones(rig, uf_radians(0.2), 0.97);
            check_cones(rig, uf_radians(2), 0.75);
            check_cones(rig, uf_radians(9), 0.3);
            uf_rig_free(&rig);
        }
}

/* --- properties --- */

/*
 * What no frame sees never grows when a frame is added, whatever the frame; neither does what is behind
 * hardware, of the directions that some frame contained before.
 */
Test(plan, another_frame_never_hides_more)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE "[row level]\ntilt = 0\nframes = 5\n" BRACKET);
    uint64_t state = 7;
    UfPlan before = rig_plan(rig);
    for (int added = 0; added < 4; added++) {
        UfRig *more = NULL;
        cr_assert_eq(uf_rig_copy(rig, &more, NULL), UF_OK);
        double pan = 2 * UF_PI * random_unit(&state);
        double tilt = UF_PI * (random_unit(&state) - 0.5);
        cr_assert_eq(uf_rig_add_frame(more, "more", pan, tilt, NULL), UF_OK);
        size_t freed = 0;
        for (int i = 0; i < 20000; i++) {
            UfDirection direction = random_direction(&state);
            UfSight old = uf_rig_sight(rig, direction);
            UfSight new = uf_rig_sight(more, direction);
            cr_expect_geq(new.containing, old.containing);
            cr_expect_geq(new.seeing, old.seeing);
            freed += new.seeing > old.seeing ? 1 : 0;
        }
        cr_expect_gt(freed, 0);
        UfPlan after = rig_plan(more);
        cr_expect_leq(after.unseen_cap_rad, before.unseen_cap_rad + 1e-9);
        cr_expect_leq(after.lens_cap_rad, before.lens_cap_rad + 1e-9);
        cr_expect_geq(after.seen_share, before.seen_share - 2e-5);
        before = after;
        uf_rig_free(&rig);
        rig = more;
    }
    uf_rig_free(&rig);
}

/* All pans turned by an angle, the parts that stand turned with them: the result is the same, turned. */
Test(plan, turning_everything_turns_the_result)
{
    static const double turns_deg[] = {17, 90, 211.5};
    const char *format =
        RIG_FISHEYE "[row level]\ntilt = -8\nframes = 4\npan = %.10f\n"
                    "[shot down]\ntilt = -85\npan = %.10f\n"
                    "[part arm]\nturns = yes\nshape = box\nfrom = -88 -184 -21\nto = 58 -172 21\n"
                    "[part leg]\nturns = no\nshape = rod\nfrom = %.10f -340 %.10f\nto = %.10f -1480 %.10f\n"
                    "radius = 16\n";
    UfRig *rig = rig_make(format, 0.0, 20.0, 0.0, 52.0, 0.0, 549.0);
    UfPlan plan = rig_plan(rig);
    for (size_t i = 0; i < 3; i++) {
        double a = uf_radians(turns_deg[i]);
        UfRig *turned = rig_make(format, turns_deg[i], remainder(20.0 + turns_deg[i], 360), 52 * sin(a),
                                 52 * cos(a), 549 * sin(a), 549 * cos(a));
        uint64_t state = 3;
        UfRotation turn = uf_rotation_from_angles(a, 0, 0);
        for (int j = 0; j < 20000; j++) {
            UfDirection direction = random_direction(&state);
            UfSight here = uf_rig_sight(rig, direction);
            UfSight there = uf_rig_sight(turned, uf_rotation_apply(&turn, direction));
            cr_expect_eq(here.containing, there.containing);
            cr_expect_eq(here.seeing, there.seeing);
        }
        UfPlan other = rig_plan(turned);
        cr_expect_float_eq(other.cap_rad, plan.cap_rad, 1e-7);
        cr_expect_float_eq(other.lens_cap_rad, plan.lens_cap_rad, 1e-7);
        cr_expect_float_eq(other.hardware_cap_rad, plan.hardware_cap_rad, 1e-7);
        cr_expect_float_eq(other.seen_share, plan.seen_share, 2e-5);
        cr_assert_eq(other.blind_count, plan.blind_count);
        UfDirection was = uf_direction_from_lonlat((UfLonLat){plan.blind[0].lon_rad, plan.blind[0].lat_rad});
        UfDirection is = uf_direction_from_lonlat((UfLonLat){other.blind[0].lon_rad, other.blind[0].lat_rad});
        cr_expect_lt(uf_angle_between_rad(uf_rotation_apply(&turn, was), is), uf_radians(0.05));
        uf_rig_free(&turned);
    }
    uf_rig_free(&rig);
}

/* Areas and shares belong together, and are as still as promised: 0.05 percent of the sphere. */
Test(plan, areas_add_up)
{
    static const char *const rigs[] = {
        RIG_FISHEYE RIG_ALL_ROUND BRACKET,
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = rectilinear\nfocal = "
        "14\n[stand]\n"
        "height = 1500\n[row level]\ntilt = 0\nframes = 4\n[shot up]\ntilt = 90\n"};
    for (size_t i = 0; i < 2; i++) {
        UfRig *rig = rig_make("%s", rigs[i]);
        UfPlan plan = rig_plan(rig);
        double sum = 0;
        double lens_sum = 0;
        for (size_t j = 0; j < plan.blind_count; j++) {
            sum += plan.blind[j].share;
            lens_sum += plan.blind[j].lens_share;
            cr_expect(j == 0 || plan.blind[j].share <= plan.blind[j - 1].share);
            cr_expect_leq(plan.blind[j].share, (1 - cos(plan.blind[j].radius_rad)) / 2 + 1e-5, "area %zu", j);
        }
        cr_expect_float_eq(sum, 1 - plan.seen_share, 5e-4);
        cr_expect_float_eq(lens_sum, 1 - plan.contained_share, 5e-4);
        cr_expect_lt(plan.stable_share, 5e-4);
        uf_rig_free(&rig);
    }
}

/* Gaps between the frames of a row: as many areas as frames, evenly round, on the horizon. */
Test(plan, gaps_are_found_where_they_are)
{
    UfRig *rig = rig_make(
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = rectilinear\nfocal = 24\n"
        "[stand]\nheight = 1500\n[row level]\ntilt = 0\nframes = 4\n[row up]\ntilt = 45\nframes = 8\n"
        "[row down]\ntilt = -45\nframes = 8\n[shot up]\ntilt = 90\n[shot down]\ntilt = -90\n");
    UfPlan plan = rig_plan(rig);
    cr_assert_eq(plan.blind_count, 4);
    bool found[4] = {false, false, false, false};
    for (size_t i = 0; i < 4; i++) {
        double lon_deg = uf_degrees(plan.blind[i].lon_rad);
        double quarter = (lon_deg - 45) / 90;
        cr_expect_float_eq(quarter, round(quarter), 1e-3, "a gap at %.3f degrees", lon_deg);
        found[((int)round(quarter) + 4) % 4] = true;
        cr_expect_float_eq(uf_degrees(plan.blind[i].lat_rad), 0, 0.05);
        cr_expect_float_eq(plan.blind[i].lens_share, plan.blind[i].share, 1e-12);
    }
    cr_expect(found[0] && found[1] && found[2] && found[3]);
    cr_expect_lt(uf_rig_row(rig, 0)->overlap, 0);
    uf_rig_free(&rig);
}

/* An area across the map's own folds, and across a pole, is one area. */
Test(plan, one_hole_is_one_area)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE "[row level]\ntilt = -20\nframes = 8\n");
    UfPlan plan = rig_plan(rig);
    cr_assert_eq(plan.blind_count, 1);
    cr_expect_float_eq(uf_degrees(plan.blind[0].lat_rad), 90, 1e-9);
    cr_expect_float_eq(plan.blind[0].radius_rad, plan.zenith_lens_cap_rad, uf_radians(0.05));
    cr_expect_eq(plan.cap_rad, 0.0);
    cr_expect_eq(plan.rows_px, 0);
    cr_expect_eq(plan.cause, UF_CAP_NOTHING);
    uf_rig_free(&rig);
    rig = rig_make("%s", RIG_FISHEYE "[shot one]\ntilt = 0\n");
    plan = rig_plan(rig);
    cr_expect_eq(plan.blind_count, 1);
    cr_expect_float_eq(uf_degrees(plan.lens_cap_rad), UF_PLAN_POLE_ZONE_DEG, 1e-9, "cut at the zone's edge");
    uf_rig_free(&rig);
}

/* What is hidden above the zone about the nadir is listed, and does not count towards the cap. */
Test(plan, hardware_above_the_zone_is_an_area)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE RIG_ALL_ROUND
                          "[part lamp]\nturns = no\nshape = box\nfrom = -50 -30 400\nto = 50 30 450\n"
                          "[part disc]\nturns = no\nshape = disc\ncentre = 0 -120 0\nradius = 50\n");
    UfPlan plan = rig_plan(rig);
    cr_assert_eq(plan.blind_count, 2);
    cr_expect_float_eq(uf_degrees(plan.hardware_cap_rad), 22.619864948, 1e-6);
    cr_expect_float_eq(uf_degrees(plan.blind[1].lat_rad), 0, 0.05);
    cr_expect_float_eq(uf_degrees(plan.blind[1].lon_rad), 0, 0.05);
    /* the box's front corner: atan of half its diagonal over its distance */
    cr_expect_float_eq(plan.blind[1].radius_rad, atan(hypot(50, 30) / 400), uf_radians(0.06));
    uf_rig_free(&rig);
}

static UfPlan plan_of(const char *text)
{
    UfRig *rig = rig_make("%s", text);
    UfPlan plan = rig_plan(rig);
    uf_rig_free(&rig);
    return plan;
}

/* Corners: the arm's far end is hypot(88, 21) from the axis and 172 below; margin and floor follow from it.
 */
Test(plan, far_corner_of_a_box)
{
    UfRig *rig = rig_make("%s", ALL_SEEING
                          "[shot down]\ntilt = -90\n[edge]\nmargin = 2\n"
                          "[part arm]\nturns = yes\nshape = box\nfrom = -88 -184 -21\nto = 58 -172 21\n");
    UfPlan plan = rig_plan(rig);
    double corner = atan(hypot(88, 21) / 172);
    cr_expect_float_eq(plan.hardware_cap_rad, corner, 1e-8, "%.9f", uf_degrees(plan.hardware_cap_rad));
    cr_expect_float_eq(plan.cap_rad, corner + uf_radians(2), 1e-8);
    cr_expect_float_eq(plan.floor_diameter_m, 3 * tan(plan.cap_rad), 1e-12);
    cr_expect_eq(plan.rows_px, (size_t)ceil(plan.cap_rad / UF_PI * (double)plan.width_px / 2));
    cr_expect_eq(plan.width_px, plan.native_width_px);
    cr_expect_eq(plan.cause, UF_CAP_PART);
    cr_expect_str_eq(uf_rig_part(rig, plan.cause_part)->name, "arm");
    uf_rig_free(&rig);
}

/* A leg's rim: checked against many rays along it, for three copies the same. */
Test(plan, foot_of_a_rod)
{
    const char *leg =
        "[part leg]\nturns = no\nshape = rod\nfrom = 0 -340 52\nto = 0 -1480 549\nradius = 16\n";
    char text[800];
    snprintf(text, sizeof text, RIG_FISHEYE RIG_ALL_ROUND "%s", leg);
    UfPlan plan = plan_of(text);
    /* the rim of the lower end: centre + 16 (cos t side + sin t across), the two perpendicular to the rod */
    double length = hypot(1140, 497);
    double farthest = 0;
    for (int i = 0; i < 100000; i++) {
        double t = 2 * UF_PI * i / 100000;
        double x = 16 * cos(t);
        double y = -1480 + 16 * sin(t) * 497 / length;
        double z = 549 + 16 * sin(t) * 1140 / length;
        farthest = fmax(farthest, atan2(hypot(x, z), -y));
    }
    cr_expect_float_eq(plan.hardware_cap_rad, farthest, 1e-8, "%.9f, not %.9f",
                       uf_degrees(plan.hardware_cap_rad), uf_degrees(farthest));
    snprintf(text, sizeof text, RIG_FISHEYE RIG_ALL_ROUND "%scopies = 3\n", leg);
    UfPlan three = plan_of(text);
    cr_expect_float_eq(three.hardware_cap_rad, plan.hardware_cap_rad, 1e-8);
    cr_expect_eq(three.blind_count, 3);
    cr_expect_float_eq(1 - three.seen_share, 3 * (1 - plan.seen_share), 1e-5);
}

/*
 * Common practice, no source: two nadir frames 90 degrees apart in pan remove an L-shaped bracket. Each
 * uncovers what the other hides, so that only what stands with the tripod is left.
 */
Test(plan, two_nadir_frames_remove_the_bracket)
{
    const char *format =
        LYING_FISHEYE "[row level]\ntilt = 0\nframes = 6\n%s"
                      "[part upright]\nturns = yes\nshape = box\nfrom = -88 -172 -24\nto = -76 60 24\n"
                      "[part arm]\nturns = yes\nshape = box\nfrom = -88 -184 -21\nto = 20 -172 21\n"
                      "[part rotator]\nturns = no\nshape = disc\ncentre = 0 -190 0\nradius = 30\n";
    char text[1200];
    snprintf(text, sizeof text, format, "[shot down]\ntilt = -90\n");
    UfPlan one = plan_of(text);
    snprintf(text, sizeof text, format, "[shot down]\ntilt = -90\n[shot again]\ntilt = -90\npan = 90\n");
    UfPlan two = plan_of(text);
    cr_expect_gt(uf_degrees(one.cap_rad), 25);
    /* the arms cross over the rotator's disc: what is left are the corners of the cross, and the disc */
    double cross = atan(hypot(21, 21) / 172);
    cr_expect_float_eq(two.cap_rad, fmax(atan(30.0 / 190), cross), 1e-6, "%.6f, cross %.6f",
                       uf_degrees(two.cap_rad), uf_degrees(cross));
}

Test(plan, advice_is_what_trying_gives)
{
    UfRig *rig =
        rig_make("%s", LYING_FISHEYE "[row level]\ntilt = 0\nframes = 6\n[shot down]\ntilt = -90\n[edge]\n"
                                     "margin = 1\n" BRACKET);
    UfPlan plan = rig_plan(rig);
    UfAdvice advice[UF_PLAN_MAX_ADVICE];
    size_t count = 0;
    cr_assert_eq(uf_plan_advise(rig, &plan, advice, &count, NULL), UF_OK);
    cr_assert_gt(count, 0);
    cr_expect_eq(advice[0].kind, UF_ADVICE_ADD_FRAME);
    for (size_t i = 0; i < count; i++) {
        cr_expect_lt(advice[i].cap_rad, plan.cap_rad);
        if (advice[i].kind == UF_ADVICE_MOVE_PART) {
            cr_expect_eq(advice[i].part, plan.cause_part);
            continue;
        }
        UfRig *tried = NULL;
        cr_assert_eq(uf_rig_copy(rig, &tried, NULL), UF_OK);
        cr_assert_eq(uf_rig_add_frame(tried, "a", advice[i].pan_rad, advice[i].tilt_rad, NULL), UF_OK);
        if (advice[i].kind == UF_ADVICE_ADD_TWO)
            cr_assert_eq(uf_rig_add_frame(tried, "b", advice[i].second_pan_rad, advice[i].tilt_rad, NULL),
                         UF_OK);
        UfPlan after = rig_plan(tried);
        cr_expect_float_eq(after.cap_rad, advice[i].cap_rad, 1e-6, "%.6f, promised %.6f",
                           uf_degrees(after.cap_rad), uf_degrees(advice[i].cap_rad));
        uf_rig_free(&tried);
    }
    uf_rig_free(&rig);
}

Test(plan, no_advice_where_nothing_helps)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE "[row level]\ntilt = -20\nframes = 8\n");
    UfPlan plan = rig_plan(rig);
    UfAdvice advice[UF_PLAN_MAX_ADVICE];
    size_t count = 9;
    cr_assert_eq(uf_plan_advise(rig, &plan, advice, &count, NULL), UF_OK);
    cr_expect_eq(count, 0);
    uf_rig_free(&rig);
}

/* Exposure, wait, and the way from frame to frame: 5 x 60 degrees, then 60 back and 90 up. */
Test(plan, shooting_time)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE "[row level]\ntilt = 0\nframes = 6\n[shot up]\ntilt = 90\n"
                                            "[pace]\nexposure = 0.5\nwait = 2\nturn = 30\n");
    UfPlan plan = rig_plan(rig);
    cr_expect(plan.has_time);
    cr_expect_float_eq(plan.time_s, 7 * 2.5 + (5 * 60 + 60 + 90) / 30.0, 1e-9);
    uf_rig_free(&rig);
    UfPlan without = plan_of(RIG_FISHEYE RIG_ALL_ROUND);
    cr_expect_not(without.has_time);
}

/* The width of a frame along the parallel through its centre: wider in longitude the farther it is tilted. */
Test(plan, overlap_of_a_tilted_row)
{
    const char *format =
        "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nmapping = rectilinear\nfocal = 24\n"
        "[stand]\nheight = 1500\n[row one]\ntilt = %d\noverlap = 30\n";
    static const int tilts_deg[] = {0, 20, -40, 60, 90};
    double last = 0;
    for (size_t i = 0; i < 5; i++) {
        UfRig *rig = rig_make(format, tilts_deg[i]);
        const UfRow *row = uf_rig_row(rig, 0);
        double tilt = uf_radians(abs(tilts_deg[i]));
        cr_expect_gt(row->width_rad, last);
        if (row->frame_count > 1) {
            cr_expect_geq(row->overlap, 0.3 - 1e-12);
            cr_expect_float_eq(row->overlap, 1 - 2 * UF_PI / (double)row->frame_count / row->width_rad,
                               1e-12);
            /* one frame fewer would not do */
            cr_expect_lt(1 - 2 * UF_PI / (double)(row->frame_count - 1) / row->width_rad, 0.3);
            /* the frame's edge: on the sensor's side x = 18, where the parallel has that longitude */
            double lon = row->width_rad / 2;
            double forward = cos(tilt) * cos(tilt) * cos(lon) + sin(tilt) * sin(tilt);
            double x = 24 * cos(tilt) * sin(lon) / forward;
            double y = 24 * (sin(tilt) * cos(tilt) * (1 - cos(lon))) / forward;
            cr_expect(fabs(x - 18) < 1e-6 || fabs(y - 12) < 1e-6, "tilt %d: %.9f %.9f", tilts_deg[i], x, y);
        } else {
            cr_expect_eq(row->overlap, 0.0);
        }
        last = row->width_rad;
        uf_rig_free(&rig);
    }
    cr_expect_eq(last, 2 * UF_PI);
}

Test(plan, threads_do_not_change_the_result)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE RIG_ALL_ROUND BRACKET);
    UfPlan plans[2];
    for (int i = 0; i < 2; i++) {
        UfPlanOptions options = {.width_px = 8192, .threads = i == 0 ? 1 : 3};
        memset(&plans[i], 0, sizeof plans[i]);
        cr_assert_eq(uf_plan(rig, &options, &plans[i], NULL), UF_OK);
    }
    cr_expect_eq(plans[0].seen_share, plans[1].seen_share);
    cr_expect_eq(plans[0].cap_rad, plans[1].cap_rad);
    cr_expect_eq(plans[0].hardware_cap_rad, plans[1].hardware_cap_rad);
    cr_expect_eq(plans[0].blind_count, plans[1].blind_count);
    for (size_t i = 0; i < plans[0].blind_count; i++) {
        cr_expect_eq(plans[0].blind[i].share, plans[1].blind[i].share);
        cr_expect_eq(plans[0].blind[i].lon_rad, plans[1].blind[i].lon_rad);
    }
    uf_rig_free(&rig);
}

Test(plan, widths_that_are_refused)
{
    UfRig *rig = rig_make("%s", RIG_FISHEYE RIG_ALL_ROUND);
    UfPlan plan = {.time_s = -7};
    UfReport *report = uf_report_create();
    UfPlanOptions odd = {.width_px = 1001};
    cr_expect_eq(uf_plan(rig, &odd, &plan, report), UF_ERROR_ARGUMENT);
    UfPlanOptions huge = {.width_px = 2000000};
    cr_expect_eq(uf_plan(rig, &huge, &plan, report), UF_ERROR_ARGUMENT);
    cr_expect_eq(plan.time_s, -7.0);
    uf_report_free(&report);
    uf_rig_free(&rig);
}

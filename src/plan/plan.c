/* The plan: shares of the sphere, blind areas, caps, and the time that it takes. */
#include <math.h>

#include "plan/areas.h"
#include "plan/cap.h"
#include "plan/cells.h"
#include "plan/rig.h"

/* Levels below the first that are always there, and how still the shares must be with the last of them. */
#define LEVELS_BELOW 3
#define STABLE_SHARE 5e-5

/* How far the shares moved with the last two refinements. */
static double movement(const UfCells *cells)
{
    double most = 0;
    for (int level = cells->level - 1; level <= cells->level; level++) {
        most = fmax(most, fabs(cells->unseen_share[level] - cells->unseen_share[level - 1]));
        most = fmax(most, fabs(cells->open_share[level] - cells->open_share[level - 1]));
    }
    return most;
}

static UfStatus sample(const UfRig *rig, int threads, UfCells *cells, UfReport *report)
{
    int first = uf_cells_first_level(rig);
    for (int last = first + LEVELS_BELOW;; last++) {
        UfCellsOptions options = {.first_level = first, .last_level = last, .threads = threads};
        UfStatus status = uf_cells_make(rig, options, cells, report);
        if (status != UF_OK || movement(cells) <= STABLE_SHARE || last == UF_CELLS_MAX_LEVEL)
            return status;
        uf_cells_clear(cells);
    }
}

static double turn_between(double a_rad, double b_rad)
{
    return fabs(remainder(a_rad - b_rad, 2 * UF_PI));
}

/* The head pans the shorter way, then tilts; from the last frame nothing is left to do. */
static double shooting_time_s(const UfRig *rig)
{
    double time = (double)rig->frame_count * (rig->pace.wait_s + rig->pace.exposure_s);
    for (size_t i = 1; i < rig->frame_count; i++) {
        const UfFrame *from = &rig->frames[i - 1];
        const UfFrame *to = &rig->frames[i];
        double way = turn_between(from->pan_rad, to->pan_rad) + fabs(from->tilt_rad - to->tilt_rad);
        time += way / rig->pace.turn_rad_s;
    }
    return time;
}

static void name_cause(const UfRig *rig, UfPlan *plan)
{
    plan->cause = UF_CAP_NOTHING;
    plan->cause_part = rig->part_count;
    if (!(plan->unseen_cap_rad > 0))
        return;
    plan->cause = UF_CAP_LENS;
    if ((uf_rig_look(rig, plan->nadir_edge) & UF_LOOK_BLOCKED) == 0)
        return;
    plan->cause = UF_CAP_PART;
    plan->cause_part = uf_rig_obstacle(rig, plan->nadir_edge);
}

/* Unseen is what no frame contains, and what hardware is in the way of: the cap is the larger of theirs. */
static UfStatus find_caps(const UfRig *rig, bool at_zenith, UfCap *lens, UfCap *hardware, UfReport *report)
{
    const double zone_rad = uf_radians(UF_PLAN_POLE_ZONE_DEG);
    UfStatus status = uf_cap_find(rig, UF_CAP_KIND_OPEN, at_zenith, zone_rad, lens, report);
    return status == UF_OK ? uf_cap_find(rig, UF_CAP_KIND_BLOCKED, at_zenith, zone_rad, hardware, report)
                           : status;
}

static UfStatus measure_caps(const UfRig *rig, UfPlan *plan, UfReport *report)
{
    UfCap lens, hardware, zenith_lens, zenith_hardware;
    UfStatus status = find_caps(rig, false, &lens, &hardware, report);
    if (status == UF_OK)
        status = find_caps(rig, true, &zenith_lens, &zenith_hardware, report);
    if (status != UF_OK)
        return status;
    const UfCap *larger = hardware.half_angle_rad > lens.half_angle_rad ? &hardware : &lens;
    plan->nadir_edge = larger->edge;
    plan->lens_cap_rad = lens.half_angle_rad;
    plan->hardware_cap_rad = hardware.half_angle_rad;
    plan->unseen_cap_rad = larger->half_angle_rad;
    plan->cap_rad = plan->unseen_cap_rad > 0 ? plan->unseen_cap_rad + rig->margin_rad : 0;
    plan->zenith_lens_cap_rad = zenith_lens.half_angle_rad;
    plan->zenith_cap_rad = fmax(zenith_lens.half_angle_rad, zenith_hardware.half_angle_rad);
    plan->floor_diameter_m =
        plan->cap_rad < UF_PI / 2 ? 2 * rig->height_mm / 1000 * tan(plan->cap_rad) : (double)INFINITY;
    plan->rows_px = (size_t)ceil(plan->cap_rad / UF_PI * (double)plan->width_px / 2 - 1e-9);
    name_cause(rig, plan);
    return UF_OK;
}

UfStatus uf_plan(const UfRig *rig, const UfPlanOptions *options, UfPlan *out, UfReport *report)
{
    UfPlanOptions chosen = options != NULL ? *options : (UfPlanOptions){0};
    if (chosen.width_px % 2 != 0 || chosen.width_px > UF_PICTURE_MAX_SIDE_PX)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%zu: a panorama's width is an even number of pixels, up to %u", chosen.width_px,
                       UF_PICTURE_MAX_SIDE_PX);
    UfCells cells = {0};
    UfPlan plan = {.field = uf_camera_field(&rig->camera),
                   .native_width_px = uf_camera_native_width_px(&rig->camera)};
    plan.width_px = chosen.width_px > 0 ? chosen.width_px : plan.native_width_px;
    UfStatus status = sample(rig, chosen.threads, &cells, report);
    if (status != UF_OK)
        goto cleanup;
    plan.seen_share = 1 - cells.unseen_share[cells.level];
    plan.contained_share = 1 - cells.open_share[cells.level];
    plan.stable_share = movement(&cells);
    status = uf_find_areas(&cells, &plan, report);
    if (status != UF_OK)
        goto cleanup;
    status = measure_caps(rig, &plan, report);
    if (status != UF_OK)
        goto cleanup;
    plan.has_time = rig->pace.given;
    plan.time_s = plan.has_time ? shooting_time_s(rig) : 0;
    *out = plan;
cleanup:
    uf_cells_clear(&cells);
    return status;
}

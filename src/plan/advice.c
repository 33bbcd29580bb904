/*
 * Advice is tried, not guessed: the rig is changed, and the cap worked out again. A frame more, or a part
 * less, never hides more, so that only the cap there is has to be looked at.
 */
#include <math.h>

#include "plan/cap.h"
#include "plan/rig.h"

#define LEAST_GAIN_RAD (0.1 * UF_PI / 180)
/* A second frame must be worth its time. */
#define SECOND_GAIN_RAD (0.5 * UF_PI / 180)
/* Caps this near are the same. */
#define SAME_RAD 1e-6
/* A frame that looks down at least so far counts as a nadir shot. */
#define NADIR_TILT_RAD (-60 * UF_PI / 180)

static UfStatus cap_of(const UfRig *rig, const UfPlan *plan, UfCapKind kind, double *cap_rad,
                       UfReport *report)
{
    UfCap cap;
    *cap_rad = plan->cap_rad;
    if ((uf_rig_look(rig, plan->nadir_edge) & UF_LOOK_SEEN) == 0) /* what sets the cap is still unseen */
        return UF_OK;
    double limit_rad = fmin(plan->unseen_cap_rad + SAME_RAD, uf_radians(UF_PLAN_POLE_ZONE_DEG));
    UfStatus status = uf_cap_find(rig, kind, false, limit_rad, &cap, report);
    if (status != UF_OK)
        return status;
    /* without a part the frames leave open what they did */
    double unseen_rad =
        kind == UF_CAP_KIND_BLOCKED ? fmax(cap.half_angle_rad, plan->lens_cap_rad) : cap.half_angle_rad;
    *cap_rad = unseen_rad > 0 ? unseen_rad + rig->margin_rad : 0;
    return UF_OK;
}

static UfStatus try_frames(const UfRig *rig, const UfPlan *plan, UfAdvice *advice, UfReport *report)
{
    UfRig *tried = NULL;
    UfStatus status = uf_rig_copy(rig, &tried, report);
    if (status == UF_OK)
        status = uf_rig_add_frame(tried, "tried", advice->pan_rad, advice->tilt_rad, report);
    if (status == UF_OK && advice->kind == UF_ADVICE_ADD_TWO)
        status = uf_rig_add_frame(tried, "tried", advice->second_pan_rad, advice->tilt_rad, report);
    if (status == UF_OK)
        status = cap_of(tried, plan, UF_CAP_KIND_UNSEEN, &advice->cap_rad, report);
    uf_rig_free(&tried);
    return status;
}

static UfStatus try_without(const UfRig *rig, const UfPlan *plan, UfAdvice *advice, UfReport *report)
{
    UfRig *tried = NULL;
    UfStatus status = uf_rig_copy(rig, &tried, report);
    if (status != UF_OK)
        return status;
    tried->part_count--;
    for (size_t i = advice->part; i < tried->part_count; i++)
        tried->parts[i] = tried->parts[i + 1];
    status = uf_rig_prepare(tried, report);
    if (status == UF_OK)
        status = cap_of(tried, plan, UF_CAP_KIND_BLOCKED, &advice->cap_rad, report);
    uf_rig_free(&tried);
    return status;
}

/* The frame that looks down farthest, if one looks down at all. */
static const UfFrame *nadir_frame(const UfRig *rig)
{
    const UfFrame *lowest = NULL;
    for (size_t i = 0; i < rig->frame_count; i++)
        if (rig->frames[i].tilt_rad <= NADIR_TILT_RAD &&
            (lowest == NULL || rig->frames[i].tilt_rad < lowest->tilt_rad))
            lowest = &rig->frames[i];
    return lowest;
}

/* The best frame panned by a quarter turn from the nadir frame, if there is one. */
static UfStatus try_one(const UfRig *rig, const UfPlan *plan, UfAdvice *best, UfReport *report)
{
    const UfFrame *nadir = nadir_frame(rig);
    double pan_rad = nadir != NULL ? nadir->pan_rad : 0;
    for (int i = nadir != NULL ? 1 : 0; i < 4; i++) {
        UfAdvice tried = {.kind = UF_ADVICE_ADD_FRAME,
                          .pan_rad = remainder(pan_rad + i * UF_PI / 2, 2 * UF_PI),
                          .tilt_rad = nadir != NULL ? nadir->tilt_rad : -UF_PI / 2};
        UfStatus status = try_frames(rig, plan, &tried, report);
        if (status != UF_OK)
            return status;
        if (tried.cap_rad < best->cap_rad - SAME_RAD)
            *best = tried;
    }
    return UF_OK;
}

/* The best other one to go with it. */
static UfStatus try_two(const UfRig *rig, const UfPlan *plan, const UfAdvice *one, UfAdvice *best,
                        UfReport *report)
{
    for (int i = 1; i < 4; i++) {
        UfAdvice tried = *one;
        tried.kind = UF_ADVICE_ADD_TWO;
        tried.second_pan_rad = remainder(one->pan_rad + i * UF_PI / 2, 2 * UF_PI);
        UfStatus status = try_frames(rig, plan, &tried, report);
        if (status != UF_OK)
            return status;
        if (tried.cap_rad < best->cap_rad - SAME_RAD)
            *best = tried;
    }
    return UF_OK;
}

UfStatus uf_plan_advise(const UfRig *rig, const UfPlan *plan, UfAdvice out[UF_PLAN_MAX_ADVICE], size_t *count,
                        UfReport *report)
{
    UfAdvice found[UF_PLAN_MAX_ADVICE];
    size_t number = 0;
    double least_rad = plan->cap_rad;
    UfStatus status = UF_OK;
    bool has_room = rig->frame_count + 2 <= UF_RIG_MAX_FRAMES;
    if (plan->cause != UF_CAP_NOTHING && has_room) {
        UfAdvice one = {.cap_rad = INFINITY};
        UfAdvice two = {.cap_rad = INFINITY};
        status = try_one(rig, plan, &one, report);
        if (status == UF_OK)
            status = try_two(rig, plan, &one, &two, report);
        if (status != UF_OK)
            return status;
        if (one.cap_rad <= least_rad - LEAST_GAIN_RAD) {
            found[number++] = one;
            least_rad = one.cap_rad;
        }
        if (two.cap_rad <= least_rad - SECOND_GAIN_RAD)
            found[number++] = two;
    }
    if (plan->cause == UF_CAP_PART) {
        UfAdvice moved = {.kind = UF_ADVICE_MOVE_PART, .part = plan->cause_part};
        status = try_without(rig, plan, &moved, report);
        if (status != UF_OK)
            return status;
        if (moved.cap_rad <= plan->cap_rad - LEAST_GAIN_RAD)
            found[number++] = moved;
    }
    for (size_t i = 0; i < number; i++)
        out[i] = found[i];
    *count = number;
    return UF_OK;
}

/*
 * One direction against all frames and all hardware. A frame contains a direction when its image lies on the
 * sensor and within the lens's reach; a part blocks it when the ray from the entrance pupil meets the part.
 *
 * Cheap tests come first: a dot product with the frame's axis settles most frames, and one with the axis of a
 * cone about each solid settles most parts.
 */
#include "plan/rig.h"

#include <math.h>

#include "base/memory.h"

/* So that rounding cannot cut hardware off. */
#define COSINE_SLACK 1e-9

static double dot(UfDirection a, UfDirection b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

/* Ry(angle) v */
static UfDirection turned(UfDirection v, double cosine, double sine)
{
    return (UfDirection){cosine * v.x + sine * v.z, v.y, cosine * v.z - sine * v.x};
}

bool uf_aim_contains(const UfRig *rig, const UfAim *aim, UfDirection direction)
{
    double forward = dot(aim->forward, direction);
    if (forward < rig->window.never_cos)
        return false;
    UfDirection in_camera = {dot(aim->right, direction), dot(aim->up, direction), forward};
    return uf_window_holds(&rig->window, in_camera);
}

double uf_standing_distance(const UfRig *rig, const UfStanding *standing, UfDirection direction)
{
    if (dot(standing->cone_axis, direction) < standing->cone_cos)
        return INFINITY;
    return uf_solid_distance(&rig->solids[standing->part],
                             turned(direction, standing->cosine, -standing->sine));
}

/* Two cones are apart where their axes are by more than the sum of their half-angles. */
static bool is_apart(const UfStanding *standing, UfCone cone)
{
    double sum_sin = standing->cone_sin * cone.cosine + standing->cone_cos * cone.sine;
    double sum_cos = standing->cone_cos * cone.cosine - standing->cone_sin * cone.sine;
    return standing->cone_cos >= -1 && sum_sin > 0 &&
           dot(standing->cone_axis, cone.axis) < sum_cos - COSINE_SLACK;
}

UfShare uf_standing_covers(const UfRig *rig, const UfStanding *standing, UfCone cone)
{
    if (is_apart(standing, cone))
        return UF_SHARE_NONE;
    cone.axis = turned(cone.axis, standing->cosine, -standing->sine);
    return uf_outline_covers(&rig->solids[standing->part].outline, cone);
}

static bool any_blocks(const UfRig *rig, const UfStanding *standing, size_t count, UfDirection direction)
{
    for (size_t i = 0; i < count; i++)
        if (uf_standing_distance(rig, &standing[i], direction) < INFINITY)
            return true;
    return false;
}

/* In every frame, the fixed parts included; for a direction that no frame contains. */
static bool blocked_always(const UfRig *rig, UfDirection direction, bool fixed_blocks)
{
    if (fixed_blocks)
        return true;
    for (size_t i = 0; i < rig->frame_count; i++)
        if (!any_blocks(rig, rig->aims[i].turning, rig->turning_count, direction))
            return false;
    return true;
}

unsigned uf_rig_look(const UfRig *rig, UfDirection direction)
{
    bool near_hardware = direction.y <= rig->hardware_top;
    bool fixed_blocks = near_hardware && any_blocks(rig, rig->fixed, rig->fixed_count, direction);
    bool contained = false;
    for (size_t i = 0; i < rig->frame_count; i++) {
        const UfAim *aim = &rig->aims[i];
        if (!uf_aim_contains(rig, aim, direction))
            continue;
        if (fixed_blocks)
            return UF_LOOK_CONTAINED | UF_LOOK_BLOCKED;
        if (!near_hardware || !any_blocks(rig, aim->turning, rig->turning_count, direction))
            return UF_LOOK_CONTAINED | UF_LOOK_SEEN;
        contained = true;
    }
    if (contained)
        return UF_LOOK_CONTAINED | UF_LOOK_BLOCKED;
    return near_hardware && blocked_always(rig, direction, fixed_blocks) ? UF_LOOK_BLOCKED : 0;
}

UfSight uf_rig_sight(const UfRig *rig, UfDirection direction)
{
    bool near_hardware = direction.y <= rig->hardware_top;
    bool fixed_blocks = near_hardware && any_blocks(rig, rig->fixed, rig->fixed_count, direction);
    UfSight sight = {0, 0};
    for (size_t i = 0; i < rig->frame_count; i++) {
        if (!uf_aim_contains(rig, &rig->aims[i], direction))
            continue;
        sight.containing++;
        if (!fixed_blocks &&
            (!near_hardware || !any_blocks(rig, rig->aims[i].turning, rig->turning_count, direction)))
            sight.seeing++;
    }
    return sight;
}

size_t uf_rig_obstacle(const UfRig *rig, UfDirection direction)
{
    size_t frame = 0;
    while (frame < rig->frame_count && !uf_aim_contains(rig, &rig->aims[frame], direction))
        frame++;
    const UfAim *aim = &rig->aims[frame < rig->frame_count ? frame : 0];
    double nearest = INFINITY;
    size_t part = rig->part_count;
    for (size_t i = 0; i < rig->fixed_count + rig->turning_count; i++) {
        const UfStanding *standing =
            i < rig->fixed_count ? &rig->fixed[i] : &aim->turning[i - rig->fixed_count];
        double distance = uf_standing_distance(rig, standing, direction);
        if (distance < nearest) {
            nearest = distance;
            part = standing->part;
        }
    }
    return part;
}

/* The copies of all parts that turn, or of all that do not, for a pan. */
static void place_parts(const UfRig *rig, bool turning, double pan_rad, UfStanding *out)
{
    for (size_t i = 0; i < rig->part_count; i++) {
        const UfPart *part = &rig->parts[i];
        const UfSolid *solid = &rig->solids[i];
        for (size_t copy = 0; part->turns == turning && copy < part->copies; copy++) {
            double angle = pan_rad + 2 * UF_PI * (double)copy / (double)part->copies;
            *out++ = (UfStanding){.cone_axis = turned(solid->cone_axis, cos(angle), sin(angle)),
                                  .cone_cos = solid->cone_cos,
                                  .cone_sin = sqrt(fmax(0, 1 - solid->cone_cos * solid->cone_cos)),
                                  .cosine = cos(angle),
                                  .sine = sin(angle),
                                  .part = i};
        }
    }
}

static void prepare_hardware(UfRig *rig)
{
    rig->hardware_top = -2;
    for (size_t i = 0; i < rig->part_count; i++) {
        const UfSolid *solid = &rig->solids[i];
        double half_angle = solid->cone_cos < -1 ? UF_PI : acos(solid->cone_cos);
        double top = fmin(UF_PI / 2, asin(fmax(-1, fmin(1, solid->cone_axis.y))) + half_angle);
        rig->hardware_top = fmax(rig->hardware_top, sin(top));
    }
    rig->hardware_top += COSINE_SLACK;
    place_parts(rig, false, 0, rig->fixed);
    for (size_t i = 0; i < rig->frame_count; i++) {
        UfRotation axes = uf_rotation_from_angles(rig->frames[i].pan_rad, rig->frames[i].tilt_rad, 0);
        UfStanding *turning = rig->turning + i * rig->turning_count;
        place_parts(rig, true, rig->frames[i].pan_rad, turning);
        rig->aims[i] = (UfAim){.right = {axes.m[0][0], axes.m[1][0], axes.m[2][0]},
                               .up = {axes.m[0][1], axes.m[1][1], axes.m[2][1]},
                               .forward = {axes.m[0][2], axes.m[1][2], axes.m[2][2]},
                               .turning = turning};
    }
}

size_t uf_rig_standings(const UfRig *rig)
{
    size_t count = 0;
    for (size_t i = 0; i < rig->part_count; i++)
        count += rig->parts[i].copies * (rig->parts[i].turns ? rig->frame_count : 1);
    return count;
}

UfStatus uf_rig_prepare(UfRig *rig, UfReport *report)
{
    if (uf_rig_standings(rig) > UF_RIG_MAX_STANDINGS)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there are too many parts for so many frames");
    free(rig->solids);
    free(rig->fixed);
    free(rig->turning);
    free(rig->aims);
    rig->fixed_count = 0;
    rig->turning_count = 0;
    for (size_t i = 0; i < rig->part_count; i++)
        *(rig->parts[i].turns ? &rig->turning_count : &rig->fixed_count) += rig->parts[i].copies;
    /* one more than needed, so that none is an allocation of nothing */
    rig->solids = uf_alloc_zero(rig->part_count + 1, sizeof *rig->solids);
    rig->fixed = uf_alloc_zero(rig->fixed_count + 1, sizeof *rig->fixed);
    rig->turning = uf_alloc_zero(rig->turning_count * rig->frame_count + 1, sizeof *rig->turning);
    rig->aims = uf_alloc_zero(rig->frame_count + 1, sizeof *rig->aims);
    if (rig->solids == NULL || rig->fixed == NULL || rig->turning == NULL || rig->aims == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < rig->part_count; i++)
        rig->solids[i] = uf_solid_from_part(&rig->parts[i]);
    prepare_hardware(rig);
    return UF_OK;
}

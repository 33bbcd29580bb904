/*
 * Cones of directions against frames and hardware. Everything that is decided here is decided with a margin:
 * what is too near to tell stays on the lists.
 */
#include "plan/near.h"

#include <math.h>

#include "base/memory.h"

static double dot(UfDirection a, UfDirection b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

bool uf_near_room(const UfRig *rig, size_t depth, UfNearRoom *room)
{
    size_t parts = rig->fixed_count + rig->frame_count * rig->turning_count;
    *room = (UfNearRoom){.parts = uf_alloc((depth + 1) * (parts + 1), sizeof *room->parts),
                         .frames = uf_alloc((depth + 1) * (rig->frame_count + 1), sizeof *room->frames)};
    return room->parts != NULL && room->frames != NULL;
}

void uf_near_room_clear(UfNearRoom *room)
{
    free(room->parts);
    free(room->frames);
    *room = (UfNearRoom){0};
}

static UfNearPart *list_all(const UfStanding *standing, size_t count, UfNearRoom *room)
{
    UfNearPart *list = room->parts + room->parts_used;
    for (size_t i = 0; i < count; i++)
        list[i] = (UfNearPart){&standing[i]};
    room->parts_used += count;
    return list;
}

UfNear uf_near_sphere(const UfRig *rig, bool with_hardware, UfNearRoom *room)
{
    UfNear near = {.rig = rig,
                   .fixed_count = with_hardware ? rig->fixed_count : 0,
                   .frames = room->frames + room->frames_used,
                   .frame_count = rig->frame_count};
    size_t turning = with_hardware ? rig->turning_count : 0;
    near.is_open = turning == 0 && rig->frame_count > 0;
    near.fixed = list_all(rig->fixed, near.fixed_count, room);
    for (size_t i = 0; i < rig->frame_count; i++)
        near.frames[i] = (UfNearFrame){.aim = &rig->aims[i],
                                       .share = UF_SHARE_UNCLEAR,
                                       .parts = list_all(rig->aims[i].turning, turning, room),
                                       .count = turning};
    room->frames_used += rig->frame_count;
    return near;
}

/* Those of a list that block some of the cone, perhaps; true, and none of them, when one blocks all of it. */
static bool narrow_list(const UfRig *rig, const UfNearPart *list, size_t count, UfCone cone, UfNearRoom *room,
                        UfNearPart **out, size_t *out_count)
{
    *out = room->parts + room->parts_used;
    *out_count = 0;
    for (size_t i = 0; i < count; i++) {
        UfShare share = uf_standing_covers(rig, list[i].standing, cone);
        if (share == UF_SHARE_ALL) {
            *out_count = 0;
            return true;
        }
        if (share == UF_SHARE_UNCLEAR)
            (*out)[(*out_count)++] = list[i];
    }
    room->parts_used += *out_count;
    return false;
}

static UfShare frame_share(const UfRig *rig, const UfNearFrame *frame, UfCone cone)
{
    if (frame->share != UF_SHARE_UNCLEAR)
        return frame->share;
    const UfAim *aim = frame->aim;
    cone.axis =
        (UfDirection){dot(aim->right, cone.axis), dot(aim->up, cone.axis), dot(aim->forward, cone.axis)};
    return uf_window_holds_cone(&rig->window, cone);
}

/* A frame that contains all of the cone with none of its turning parts in the way: the others add nothing. */
static bool is_enough(const UfNear *near, const UfNearFrame *frame)
{
    return near->is_contained && frame->share == UF_SHARE_ALL && !frame->is_blocked && frame->count == 0;
}

/* A frame that contains nothing only matters where none does, for what its turning parts leave open. */
static bool is_needless(const UfNear *near, const UfNearFrame *frame)
{
    if (near->is_contained)
        return frame->share == UF_SHARE_NONE || frame->is_blocked;
    return frame->share == UF_SHARE_NONE && (near->is_blocked || near->is_open);
}

static void narrow_frames(const UfNear *near, UfCone cone, UfNearRoom *room, UfNear *out)
{
    size_t count = 0;
    out->frames = room->frames + room->frames_used;
    for (size_t i = 0; i < near->frame_count; i++) {
        out->frames[i] = near->frames[i];
        out->frames[i].share = frame_share(near->rig, &near->frames[i], cone);
        out->is_contained = out->is_contained || out->frames[i].share == UF_SHARE_ALL;
    }
    for (size_t i = 0; i < near->frame_count; i++) {
        UfNearFrame frame = out->frames[i];
        if (is_needless(out, &frame))
            continue;
        const UfNearFrame *before = &near->frames[i];
        if (!frame.is_blocked && frame.count > 0 && !out->is_blocked)
            frame.is_blocked =
                narrow_list(near->rig, before->parts, before->count, cone, room, &frame.parts, &frame.count);
        out->is_open = out->is_open || (!frame.is_blocked && frame.count == 0);
        if (is_enough(out, &frame)) {
            out->frames[0] = frame;
            count = 1;
            break;
        }
        if (!is_needless(out, &frame))
            out->frames[count++] = frame;
    }
    out->frame_count = count;
    room->frames_used += count;
}

static unsigned possible_looks(const UfNear *near)
{
    bool may_be_contained = near->is_contained, may_be_seen = false, may_be_open = near->is_open;
    for (size_t i = 0; i < near->frame_count; i++) {
        may_be_contained = may_be_contained || near->frames[i].share != UF_SHARE_NONE;
        may_be_seen = may_be_seen || (near->frames[i].share != UF_SHARE_NONE && !near->frames[i].is_blocked);
        may_be_open = may_be_open || !near->frames[i].is_blocked;
    }
    bool is_seen = near->frame_count == 1 && is_enough(near, &near->frames[0]) && near->fixed_count == 0;
    if (is_seen && !near->is_blocked)
        return UF_NEAR_SEEN;
    unsigned looks = may_be_seen && !near->is_blocked ? UF_NEAR_SEEN : 0;
    looks |= may_be_contained ? UF_NEAR_HIDDEN : 0;
    if (near->is_contained)
        return looks;
    looks |= may_be_open && !near->is_blocked ? UF_NEAR_OPEN : 0;
    return looks | (near->is_blocked || near->fixed_count > 0 || !near->is_open ? UF_NEAR_SHUT : 0);
}

unsigned uf_near_narrow(const UfNear *near, UfCone cone, UfNearRoom *room, UfNear *out)
{
    *out = *near;
    if (!near->is_blocked)
        out->is_blocked = narrow_list(near->rig, near->fixed, near->fixed_count, cone, room, &out->fixed,
                                      &out->fixed_count);
    narrow_frames(near, cone, room, out);
    return possible_looks(out);
}

static bool any_blocks(const UfRig *rig, const UfNearPart *list, size_t count, UfDirection direction)
{
    for (size_t i = 0; i < count; i++)
        if (uf_standing_distance(rig, list[i].standing, direction) < INFINITY)
            return true;
    return false;
}

static bool frame_blocks(const UfNear *near, const UfNearFrame *frame, UfDirection direction)
{
    return frame->is_blocked || any_blocks(near->rig, frame->parts, frame->count, direction);
}

static unsigned look_where_contained(const UfNear *near, UfDirection direction, bool fixed_blocks)
{
    for (size_t i = 0; i < near->frame_count && !fixed_blocks; i++) {
        const UfNearFrame *frame = &near->frames[i];
        if ((frame->share == UF_SHARE_ALL || uf_aim_contains(near->rig, frame->aim, direction)) &&
            !frame_blocks(near, frame, direction))
            return UF_LOOK_CONTAINED | UF_LOOK_SEEN;
    }
    return UF_LOOK_CONTAINED | UF_LOOK_BLOCKED;
}

unsigned uf_near_look(const UfNear *near, UfDirection direction)
{
    bool fixed_blocks = near->is_blocked || any_blocks(near->rig, near->fixed, near->fixed_count, direction);
    if (near->is_contained)
        return look_where_contained(near, direction, fixed_blocks);
    bool is_contained = false;
    for (size_t i = 0; i < near->frame_count; i++) {
        const UfNearFrame *frame = &near->frames[i];
        if (frame->share == UF_SHARE_NONE || !uf_aim_contains(near->rig, frame->aim, direction))
            continue;
        if (!fixed_blocks && !frame_blocks(near, frame, direction))
            return UF_LOOK_CONTAINED | UF_LOOK_SEEN;
        is_contained = true;
    }
    if (is_contained)
        return UF_LOOK_CONTAINED | UF_LOOK_BLOCKED;
    if (fixed_blocks)
        return UF_LOOK_BLOCKED;
    if (near->is_open)
        return 0;
    for (size_t i = 0; i < near->frame_count; i++)
        if (!frame_blocks(near, &near->frames[i], direction))
            return 0;
    return UF_LOOK_BLOCKED;
}

bool uf_near_only_look(unsigned set, unsigned *look)
{
    static const struct {
        unsigned set, look;
    } looks[] = {{UF_NEAR_SEEN, UF_LOOK_CONTAINED | UF_LOOK_SEEN},
                 {UF_NEAR_HIDDEN, UF_LOOK_CONTAINED | UF_LOOK_BLOCKED},
                 {UF_NEAR_SHUT, UF_LOOK_BLOCKED},
                 {UF_NEAR_OPEN, 0}};
    for (size_t i = 0; i < sizeof looks / sizeof *looks; i++)
        if (looks[i].set == set) {
            *look = looks[i].look;
            return true;
        }
    return false;
}

/*
 * What can make a difference within a cone of directions: the frames whose border, and the parts whose
 * outline, passes through it. All else is settled for the whole cone, so that a look there is quick.
 */
#ifndef UF_PLAN_NEAR_H
#define UF_PLAN_NEAR_H

#include "plan/rig.h"

typedef struct UfNearPart {
    const UfStanding *standing;
} UfNearPart;

/* A frame that may or does contain some of the cone. */
typedef struct UfNearFrame {
    const UfAim *aim;
    UfShare share;     /* of the cone that it contains */
    bool is_blocked;   /* by its turning parts, all over */
    UfNearPart *parts; /* turning ones that block some of it, perhaps */
    size_t count;
} UfNearFrame;

typedef struct UfNear {
    const UfRig *rig;
    bool is_contained; /* all over, by some frame */
    bool is_blocked;   /* by fixed parts, all over */
    bool is_open;      /* the turning parts of some frame are out of the way all over */
    UfNearPart *fixed; /* those that block some of it, perhaps */
    size_t fixed_count;
    UfNearFrame *frames;
    size_t frame_count;
} UfNear;

/* Where the lists live; they are given back in the opposite order, by setting back `used`. */
typedef struct UfNearRoom {
    UfNearPart *parts;
    UfNearFrame *frames;
    size_t parts_used, frames_used;
} UfNearRoom;

/* Looks, as a set. */
enum {
    UF_NEAR_SEEN = 1,
    UF_NEAR_HIDDEN = 2, /* contained, behind hardware */
    UF_NEAR_SHUT = 4,   /* not contained, behind hardware */
    UF_NEAR_OPEN = 8    /* not contained, no hardware in the way of some frame */
};

/* Room for the whole sphere and `depth` steps from there, each inside the one before. False: no memory. */
bool uf_near_room(const UfRig *rig, size_t depth, UfNearRoom *room);
void uf_near_room_clear(UfNearRoom *room);

/* The whole sphere; without its hardware if that does not matter. */
UfNear uf_near_sphere(const UfRig *rig, bool with_hardware, UfNearRoom *room);
/*
 * What is left of it in a cone inside of where it holds. Returns the looks that may occur there, as a set
 * that may be larger than it is: with one look only, all of the cone is seen in that way.
 */
unsigned uf_near_narrow(const UfNear *near, UfCone cone, UfNearRoom *room, UfNear *out);
/* What uf_rig_look says, for a direction where `near` holds. */
unsigned uf_near_look(const UfNear *near, UfDirection direction);
/* The look of a set of one; false for a set of several. */
bool uf_near_only_look(unsigned set, unsigned *look);

#endif

/*
 * The camera on its panning head, from a rig file: frames, lens, and the parts that get into the picture. The
 * panorama is put together from the frames as a careful stitcher does: a direction that any frame sees free
 * shows the place behind, and only what every frame sees blocked shows hardware.
 */
#ifndef SCENE_RIG_H
#define SCENE_RIG_H

#include <stdbool.h>

#include <underfoot/plan.h>

#include "vector.h"

#define RIG_MAX_PARTS 40

typedef struct RigPart {
    char name[UF_RIG_NAME_BYTES];
    UfPartShape shape;
    bool turns;
    V3 from, to; /* metres, origin at the entrance pupil; a disc lies flat about `from` */
    double radius;
    int copies;
    double step_cos, step_sin;    /* from one copy to the next */
    double low_slope, high_slope; /* height over distance, seen from the pupil: the band it can cover */
} RigPart;

typedef struct Rig {
    UfRig *plan;   /* owned: lens and frames */
    double focal;  /* mm */
    double height; /* metres, floor to entrance pupil */
    RigPart parts[RIG_MAX_PARTS];
    int part_count;
    double around; /* all parts lie within this distance of the vertical axis, metres */
} Rig;

typedef struct RigHit {
    double distance;
    const RigPart *part;
    V3 at, normal; /* metres from the entrance pupil */
} RigHit;

/* Reads samples/NAME.ini. A mistake names the file and the line. Clear *out when this was UF_OK. */
UfStatus rig_read(const char *path, Rig *out, UfReport *report);
void rig_clear(Rig *rig);
/* The nearest part, with everything that turns at this pan. `from` is in metres from the entrance pupil. */
bool rig_trace(const Rig *rig, V3 from, V3 along, double pan, double reach, RigHit *hit);
/* True when no frame sees this direction free; *hit then is the part the first frame sees there. */
bool rig_hides(const Rig *rig, V3 along, RigHit *hit);

#endif

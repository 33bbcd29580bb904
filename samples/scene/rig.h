/*
 * The camera on its panning head, from a rig file: frames, lens, and the parts that get into the picture. The
 * panorama is put together from the frames as a careful stitcher does: a direction that any frame sees free
 * shows the place behind, and only what every frame sees blocked shows hardware.
 */
#ifndef SCENE_RIG_H
#define SCENE_RIG_H

#include <stdbool.h>

#include <underfoot/status.h>

#include "vector.h"

#define RIG_MAX_FRAMES 40
#define RIG_MAX_PARTS  40

typedef enum RigShape { RIG_BOX, RIG_ROD, RIG_DISC } RigShape;

typedef struct RigPart {
    char name[32];
    RigShape shape;
    bool turns;
    V3 from, to; /* metres, origin at the entrance pupil; a disc lies flat about `from` */
    double radius;
    int copies;
    double step_cos, step_sin;    /* from one copy to the next */
    double low_slope, high_slope; /* height over distance, seen from the pupil: the band it can cover */
} RigPart;

typedef struct RigFrame {
    double pan, tilt; /* radians */
    double cos_pan, sin_pan, cos_tilt, sin_tilt;
} RigFrame;

typedef struct Rig {
    double long_side, short_side, focal; /* mm */
    char mapping[24];
    double reach; /* radians */
    bool portrait;
    double height; /* metres, floor to entrance pupil */
    RigFrame frames[RIG_MAX_FRAMES];
    int frame_count;
    RigPart parts[RIG_MAX_PARTS];
    int part_count;
    double around; /* all parts lie within this distance of the vertical axis, metres */
} Rig;

typedef struct RigHit {
    double distance;
    const RigPart *part;
    V3 at, normal; /* metres from the entrance pupil */
} RigHit;

/* Reads samples/NAME.ini. A mistake names the file, the section and the key. */
UfStatus rig_read(const char *path, Rig *out, UfReport *report);
/* The nearest part, with everything that turns at this pan. `from` is in metres from the entrance pupil. */
bool rig_trace(const Rig *rig, V3 from, V3 along, double pan, double reach, RigHit *hit);
/* True when no frame sees this direction free; *hit then is the part the first frame sees there. */
bool rig_hides(const Rig *rig, V3 along, RigHit *hit);

#endif

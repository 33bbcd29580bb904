/* The rig inside the library: what the file said, and the frames and solids made ready for looking. */
#ifndef UF_PLAN_RIG_H
#define UF_PLAN_RIG_H

#include <underfoot/plan.h>

#include "base/report.h"
#include "plan/lens.h"
#include "plan/solid.h"

#define UF_RIG_MAX_FRAMES 1000
#define UF_RIG_MAX_PARTS  200
#define UF_RIG_MAX_COPIES 60
/* All copies of all parts, those that turn once for each frame: what a plan can go through in seconds. */
#define UF_RIG_MAX_STANDINGS 20000

/* A solid where it stands while one frame is taken: turned by an angle about the vertical axis. */
typedef struct UfStanding {
    UfDirection cone_axis;     /* in the world */
    double cone_cos, cone_sin; /* of its half-angle; cosine -2 where it is the whole sphere */
    double cosine, sine;       /* of the angle */
    size_t part;
} UfStanding;

/* A frame made ready: its axes in the world, and what stands in its way. */
typedef struct UfAim {
    UfDirection right, up, forward;
    const UfStanding *turning; /* of UfRig.turning_count; borrowed from the rig */
} UfAim;

struct UfRig {
    UfCamera camera;
    UfWindow window; /* of the camera, for all frames */
    UfPace pace;
    double height_mm, margin_rad;
    UfRow *rows;
    size_t row_count;
    UfFrame *frames;
    size_t frame_count;
    UfPart *parts;
    size_t part_count;
    /* made by uf_rig_prepare */
    UfSolid *solids; /* one a part */
    UfStanding *fixed;
    size_t fixed_count;
    UfStanding *turning; /* turning_count for each frame */
    size_t turning_count;
    UfAim *aims;
    double hardware_top; /* no part reaches a direction whose y is larger */
};

/* Makes the frames of a row, or of a shot, and its overlap. The row's name, tilt, pan, width and frame_count
 * are set. */
UfStatus uf_rig_append_row(UfRig *rig, UfRow row, UfReport *report);
/* Longitude that a frame of this tilt covers along the parallel through its centre. */
double uf_frame_width_rad(const UfWindow *window, double tilt_rad);
/* What UF_RIG_MAX_STANDINGS limits. */
size_t uf_rig_standings(const UfRig *rig);
/* Makes everything ready for looking; again after a change. */
UfStatus uf_rig_prepare(UfRig *rig, UfReport *report);

/* How the frames see one direction. */
enum {
    UF_LOOK_CONTAINED = 1, /* by some frame */
    UF_LOOK_SEEN = 2,      /* by some frame that contains it, with nothing in the way */
    UF_LOOK_BLOCKED = 4 /* by hardware, in every frame that contains it; or in every frame when none does */
};
unsigned uf_rig_look(const UfRig *rig, UfDirection direction);
/*
 * The part in the way of the first frame that contains the direction (with no such frame: of the first
 * frame), the nearest if several are; rig->part_count when there is none.
 */
size_t uf_rig_obstacle(const UfRig *rig, UfDirection direction);

/* The tests that a look is made of. Is the direction's image on the sensor? */
bool uf_aim_contains(const UfRig *rig, const UfAim *aim, UfDirection direction);
/* Distance along the direction; INFINITY when the part is not met. */
double uf_standing_distance(const UfRig *rig, const UfStanding *standing, UfDirection direction);
/* How much of a cone a part covers. */
UfShare uf_standing_covers(const UfRig *rig, const UfStanding *standing, UfCone cone);

#endif

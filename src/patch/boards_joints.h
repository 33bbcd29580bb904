/* The joints between boards that lie along a canvas's rows. */
#ifndef UF_PATCH_BOARDS_JOINTS_H
#define UF_PATCH_BOARDS_JOINTS_H

#include "patch/canvas.h"

typedef struct UfJoints {
    size_t *row; /* from top to bottom: a joint's middle row */
    size_t count;
    double strength; /* how far a joint's row is from the rows around it: negative where joints are dark */
    /* "around": so many pixels to either side; and a joint is about so many wide */
    size_t around_px, narrow_px;
} UfJoints;

/* How often a canvas is halved until lines are looked for in it: then it has at most 640 pixels a side. */
unsigned uf_boards_halvings(const UfCanvas *canvas);
/* What the mean over so many of its pixels to either side leaves is a line. */
#define UF_JOINT_AROUND_PX 4u

/* Finds them where the hole is and as far beyond as they are clear; none when there are fewer than three. */
UfStatus uf_boards_joints(const UfCanvas *canvas, int threads, UfJoints *out, UfReport *report);
void uf_joints_clear(UfJoints *joints);

#endif

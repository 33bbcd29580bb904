/*
 * Floors of boards: long strips side by side, whose joints run in line through the hole, while their ends
 * stop anywhere and no board looks like another. What is copied over from elsewhere breaks boards half way;
 * so each is continued with itself instead, mirrored at the hole's edge, and what comes from either side
 * meets at an end joint.
 */
#ifndef UF_PATCH_BOARDS_H
#define UF_PATCH_BOARDS_H

#include "patch/canvas.h"

/*
 * Does a canvas show boards that run through the hole? *angle_rad: how they lie to its rows, in (-pi/2,
 * pi/2], positive where they go down to the right; untouched when there are none.
 */
UfStatus uf_boards_find(const UfCanvas *canvas, int threads, bool *found, double *angle_rad,
                        UfReport *report);

/*
 * Fills the hole of a canvas whose boards lie along its rows. *filled: false, and the canvas untouched, when
 * fewer than three joints are clear, or no board is seen well enough to be copied.
 */
UfStatus uf_boards_fill(UfCanvas *canvas, unsigned seed, int threads, bool *filled, UfReport *report);

#endif

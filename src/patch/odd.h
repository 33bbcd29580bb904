/* What sticks out of the cap and is no floor: legs, a bracket, a bag. */
#ifndef UF_PATCH_ODD_H
#define UF_PATCH_ODD_H

#include "patch/levels.h"

/*
 * Finds things that touch the hole and whose colour the rest of the ring hardly has. They are no source any
 * more; where they lie within `reach` pixels of the canvas's middle they become part of the hole, so that
 * nothing continues them.
 */
UfStatus uf_odd_exclude(UfLevels *levels, double reach, int threads, UfReport *report);

#endif

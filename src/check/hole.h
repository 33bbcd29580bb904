/* Areas without picture. */
#ifndef UF_CHECK_HOLE_H
#define UF_CHECK_HOLE_H

#include <underfoot/check.h>

#include "base/report.h"

/*
 * Finds the holes of a 2:1 panorama, largest first; stores up to `room` of them. Memory: two bits a pixel,
 * and a stack that follows the outlines. Time: linear in the pixels.
 */
UfStatus uf_find_holes(const UfPicture *panorama, UfHole *holes, size_t room, size_t *count,
                       UfReport *report);

#endif

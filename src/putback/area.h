/* How large the changed part of an edit is, in its own pixels and on the sphere. */
#ifndef UF_PUTBACK_AREA_H
#define UF_PUTBACK_AREA_H

#include "putback/part.h"

/*
 * Adds what changed in a part, whose weights are still 1 and 0, to *change: rectangle, place and share of the
 * sphere. A sheet's rectangle is that of its last changed face.
 */
void uf_area_add(const UfPart *part, UfPutbackChange *change);

#endif

/* The smallest cap about a pole that holds all unseen directions within the pole's zone. */
#ifndef UF_PLAN_CAP_H
#define UF_PLAN_CAP_H

#include "plan/cells.h"

/* Which looks count. */
typedef enum UfCapKind {
    UF_CAP_KIND_UNSEEN = 0, /* no frame sees it */
    UF_CAP_KIND_OPEN,       /* no frame contains it */
    UF_CAP_KIND_BLOCKED     /* hardware is in the way */
} UfCapKind;

/*
 * Half-angle of the cap, 0 when nothing counts; *edge (may be NULL) is a direction on its rim that counts.
 * `cells` are the rig's own.
 */
double uf_cap_find(const UfRig *rig, const UfCells *cells, UfCapKind kind, bool at_zenith, UfDirection *edge);

#endif

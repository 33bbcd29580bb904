/* The smallest cap about a pole that holds all unseen directions within the pole's zone. */
#ifndef UF_PLAN_CAP_H
#define UF_PLAN_CAP_H

#include "plan/rig.h"

/* Which looks count. */
typedef enum UfCapKind {
    UF_CAP_KIND_UNSEEN = 0, /* no frame sees it */
    UF_CAP_KIND_OPEN,       /* no frame contains it */
    UF_CAP_KIND_BLOCKED     /* hardware is in the way */
} UfCapKind;

typedef struct UfCap {
    double half_angle_rad; /* 0 when nothing counts */
    UfDirection edge;      /* on its rim, and it counts; the pole when nothing does */
} UfCap;

/* Nothing that counts is farther from the pole than `limit_rad`, or may be: only what is within it is looked
 * at. */
UfStatus uf_cap_find(const UfRig *rig, UfCapKind kind, bool at_zenith, double limit_rad, UfCap *out,
                     UfReport *report);

#endif

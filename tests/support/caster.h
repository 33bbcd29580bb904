/* An independent ray caster: other formulas than the library's, in another order, and no short cuts. */
#ifndef UF_TESTS_SUPPORT_CASTER_H
#define UF_TESTS_SUPPORT_CASTER_H

#include <underfoot/plan.h>

/* What uf_rig_sight has to say. Mappings: rectilinear, equisolid, equidistant. */
UfSight caster_sight(const UfRig *rig, UfDirection direction);

#endif

/* Unseen cells that touch, put together into areas. */
#ifndef UF_PLAN_AREAS_H
#define UF_PLAN_AREAS_H

#include "plan/cells.h"

/* Fills plan->blind and blind_count. */
UfStatus uf_find_areas(const UfCells *cells, UfPlan *plan, UfReport *report);

#endif

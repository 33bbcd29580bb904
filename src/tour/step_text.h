/* What a step wrote: its result (JSON as src/cli/json.c lays it out) and its messages. */
#ifndef UF_TOUR_STEP_TEXT_H
#define UF_TOUR_STEP_TEXT_H

#include <stdbool.h>

#include "tour/arena.h"

/* `text` with every `from` replaced by `to`; NULL without memory. */
char *uf_step_replace(UfArena *arena, const char *text, const char *from, const char *to);
/* The number of a key of the outermost object; false when it is not there. */
bool uf_step_number(const char *json, const char *key, double *out);
/* The warnings among the messages, one a line, without what comes before them. */
char *uf_step_warnings(UfArena *arena, const char *messages);
/* The reason of a failure: the last message that is none of the warnings; "" when there is none. */
char *uf_step_reason(UfArena *arena, const char *messages);

#endif

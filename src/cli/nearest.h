/* The name that was probably meant. */
#ifndef UF_CLI_NEAREST_H
#define UF_CLI_NEAREST_H

#include <stddef.h>

/*
 * Steps (a letter inserted, left out, changed, or two neighbours swapped) between two names: the optimal
 * string alignment distance, after F. J. Damerau, CACM 7(3), 171-176 (1964).
 */
size_t cli_distance(const char *a, const char *b);
/* The largest distance at which another name is worth offering for `name`. */
size_t cli_distance_limit(const char *name);

#endif

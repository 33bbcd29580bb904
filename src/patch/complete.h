/* Filling the hole of a canvas with texture from its sources. */
#ifndef UF_PATCH_COMPLETE_H
#define UF_PATCH_COMPLETE_H

#include "patch/levels.h"

/*
 * Replaces the hole's values in the largest level; the others are used up. The same seed gives the same
 * result with any number of threads. UF_ERROR_UNCLEAR when the sources do not hold a patch.
 */
UfStatus uf_complete(UfLevels *levels, unsigned seed, int threads, UfReport *report);

#endif

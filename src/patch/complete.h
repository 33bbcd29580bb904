/* Filling the hole of a canvas with texture from its sources. */
#ifndef UF_PATCH_COMPLETE_H
#define UF_PATCH_COMPLETE_H

#include "patch/canvas.h"

/*
 * Replaces the hole's values. The same seed gives the same result with any number of threads.
 * UF_ERROR_UNCLEAR when the sources do not hold a patch.
 */
UfStatus uf_complete(UfCanvas *canvas, unsigned seed, int threads, UfReport *report);

#endif

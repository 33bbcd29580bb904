/* Is there texture around the hole, or only light that changes smoothly? */
#ifndef UF_PATCH_TEXTURE_H
#define UF_PATCH_TEXTURE_H

#include "patch/levels.h"

/*
 * UF_ERROR_UNCLEAR, with the reason, where the sources hold nothing that could be copied: hardly any
 * contrast, or nearly all of it in changes as wide as the hole, as in a sky.
 */
UfStatus uf_texture_check(const UfLevels *levels, UfReport *report);

#endif

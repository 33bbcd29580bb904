/* The copied pieces joined by their gradients, so that no seam shows. */
#ifndef UF_PATCH_BLEND_H
#define UF_PATCH_BLEND_H

#include "patch/patchmatch.h"

/*
 * Renews the hole's values: their gradients become those of the places they were copied from, their values at
 * the hole's edge those of the picture.
 */
UfStatus uf_blend_seams(const UfMatcher *matcher, UfCanvas *canvas, UfReport *report);

#endif

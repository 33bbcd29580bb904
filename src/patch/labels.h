/*
 * The hole tiled with few shifted copies of the source, cut along the lines where they differ least.
 *
 * K. He, J. Sun, Statistics of Patch Offsets for Image Completion, ECCV 2012; seams as in V. Kwatra et al.,
 * Graphcut Textures, ACM TOG 22(3), 2003; alpha expansion: Y. Boykov, O. Veksler, R. Zabih, IEEE TPAMI
 * 23(11), 2001.
 */
#ifndef UF_PATCH_LABELS_H
#define UF_PATCH_LABELS_H

#include "patch/patchmatch.h"

/*
 * Chooses for every place of the matcher one of its repeats. Places that no shift leads to a whole source
 * patch keep the choice they have.
 */
UfStatus uf_labels_choose(UfMatcher *matcher, UfReport *report);

#endif

/*
 * How much of the old picture is still there in what was painted.
 *
 * A change may leave the detail under it (lighten, recolour) or put something else in its place (clone, heal,
 * paint). Adding the difference alone would be right for the first only: the panorama is sharper than what
 * was taken out of it, and that surplus would shine through new paint as a ghost of what was there. So for
 * each changed pixel the part g of the old detail that survives is measured, by least squares between the
 * steps from pixel to pixel of the edit (E) and of the picture made anew (X) around it,
 *
 *     g = sum dE dX / sum dX dX, kept in [0, 1], 1 where X has no steps to speak of,
 *
 * and the panorama P becomes
 *
 *     P (1 - R[k]) + R[k X + w (E - X)],  k = 1 - g on changed pixels,  w the mask,  R the resampling.
 *
 * With g = 1 that is P + R[w (E - X)]; with g = 0 it is the edit laid over P with an even edge; and for paint
 * of opacity o, which leaves g = 1 - o, it is what the same paint on the panorama itself would have given.
 */
#ifndef UF_PUTBACK_SURVIVAL_H
#define UF_PUTBACK_SURVIVAL_H

#include "putback/part.h"

/* Pixels round a pixel that are looked at. */
#define UF_SURVIVAL_RADIUS_PX 4

/* A rectangle of a part: differences and old picture, width x height x samples each, and the mask's weights.
 */
typedef struct UfPatchOfPart {
    size_t width, height, samples;
    const float *difference, *anew;
    const uint8_t *weight;
    size_t weight_stride;
} UfPatchOfPart;

/* replaced[] = k, width x height. `room` holds 3 x width x height floats. */
void uf_survival_find(const UfPatchOfPart *patch, float *replaced, float *room);

#endif

/*
 * Means over footprints, many at a time, from the source in linear light (remap/light.h).
 *
 * A footprint is replaced by a box of the same second moments whose upright sides lean with it: of height bv,
 * and on every row of width bu about u + lean (row - v). The box, convolved with Keys' cubic in both
 * directions, weighs the source; the cubic adds no variance, the source's own pixels have that of a square of
 * side 1:
 *
 *   C = J J', bv^2 = C_vv - 1, lean = C_uv / C_vv, bu^2 = C_uu - C_uv^2 / C_vv - 1, none of them below 0.
 *
 * A pixel weighs what the integrated cubic grows by between the ends of the box, as seen from the pixel:
 * after P. S. Heckbert, Filtering by Repeated Integration, SIGGRAPH 86, 315-321 (cited from memory). Single
 * precision throughout, eight neighbours in a row at a time, in one order and without fused multiply-add: the
 * bits are the same for every instruction set.
 */
#ifndef UF_REMAP_BOXES_H
#define UF_REMAP_BOXES_H

#include <math.h>

#include "remap/light.h"

#define UF_BOXES_MAX 256

/* Places are pixels' centres of the source, counted from the base, and well above 0. */
typedef struct UfBoxes {
    ptrdiff_t base_u, base_v;
    float u[UF_BOXES_MAX], v[UF_BOXES_MAX];
    float bu[UF_BOXES_MAX], bv[UF_BOXES_MAX], lean[UF_BOXES_MAX];
} UfBoxes;

/* A narrower box is as good as none; a lean that moves its ends by less along the row, too. */
#define UF_BOX_LEAST_PX      0.05f
#define UF_BOX_LEAST_LEAN_PX (1.0f / 64)

/* The steps of (u, v) for one pixel of the target along x and along y: a Jacobian each. */
typedef struct UfSlopes {
    float ux[UF_BOXES_MAX], uy[UF_BOXES_MAX], vx[UF_BOXES_MAX], vy[UF_BOXES_MAX];
} UfSlopes;

/* The sizes of `count` boxes, rounded up to whole vectors; none is wider than the source. */
void uf_boxes_size(const UfSlopes *slopes, size_t count, float width_px, unsigned cpu_flags, UfBoxes *out);

/* Means of light times alpha and of alpha (where there is some): [box][channel], as many channels as there
 * are. */
typedef float UfMeans[UF_BOXES_MAX * UF_CHANNELS_MAX];

/* The means of boxes 0 to before `count`. False: one of them is too large for the room, even alone. */
bool uf_boxes_mean(const UfBoxes *boxes, size_t count, UfLight *light, const UfSource *source,
                   UfSample sample, size_t channels, unsigned cpu_flags, UfMeans means);

#endif

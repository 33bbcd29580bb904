/*
 * Means over footprints from running sums along the rows of a full sphere.
 *
 * A footprint is replaced by a box of the same second moments whose upright sides lean with it: of height bv,
 * and on every row of width bu about u + lean (row - v). The box, convolved with Keys' cubic in both
 * directions, weighs the source; the cubic adds no variance, the source's own pixels have that of a square of
 * side 1:
 *
 *   C = J J', bv^2 = C_vv - 1, lean = C_uv / C_vv, bu^2 = C_uu - C_uv^2 / C_vv - 1, none of them below 0.
 *
 * With sums P along the rows, a row's part is a difference of two weighted sums of five neighbours in P,
 * however wide the box is: F. C. Crow, Summed-Area Tables for Texture Mapping, SIGGRAPH 84, 207-212; the
 * integrated cubic after P. S. Heckbert, Filtering by Repeated Integration, SIGGRAPH 86, 315-321 (both cited
 * from memory).
 */
#ifndef UF_REMAP_ROWSUMS_H
#define UF_REMAP_ROWSUMS_H

#include "remap/kernels.h"
#include "remap/map.h"

/* Sums in a thread's room: linear light times alpha, and alpha. */
typedef struct UfRowSums {
    double (*sums)[4];
    size_t room; /* how many fit */
    ptrdiff_t left, top;
    size_t columns, rows; /* pixels; a row has one sum more */
} UfRowSums;

#define UF_ROWSUMS_ROOM ((size_t)1 << 19)

/* Boxes reach this far beyond their own size: the cubic, and rounding. */
#define UF_ROWSUMS_BORDER 4

typedef struct UfFootprintBox {
    double u_px, v_px; /* the middle; u may run on beyond the seam, v beyond a pole */
    double bu, bv, lean;
} UfFootprintBox;

UfFootprintBox uf_footprint_box(const UfJacobian *jacobian, double u_px, double v_px, double width_px);
/* How far it reaches from its middle, the border included. */
double uf_box_reach_u(const UfFootprintBox *box);
double uf_box_reach_v(const UfFootprintBox *box);

/* Whether the source is one that sums can be taken of: a full sphere of even width. */
bool uf_rowsums_serve(const UfSource *source);
/* Sums over columns x rows pixels from (left, top) on, where both may lie beyond the edges. False: too many.
 */
bool uf_rowsums_take(const UfSource *source, UfSample sample, size_t channels, ptrdiff_t left, ptrdiff_t top,
                     size_t columns, size_t rows, UfRowSums *out);
/* The mean over a box that lies inside; `cpu_flags` as in remap/plain.h. */
void uf_rowsums_mean(const UfRowSums *sums, const UfFootprintBox *box, unsigned cpu_flags, UfLightSum *mean);

#endif

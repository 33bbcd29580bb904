/*
 * The smooth fill of a hole of any shape: the harmonic continuation of what surrounds it, solved on a grid in
 * the stereographic plane about the pole. That projection is conformal, so what is harmonic there is what the
 * membrane's Fourier series continues over a round cap (membrane.h), the slope that this takes over left
 * aside.
 */
#ifndef UF_PATCH_SPREAD_H
#define UF_PATCH_SPREAD_H

#include <underfoot/picture.h>

#include "patch/canvas.h"
#include "patch/cap.h"

/*
 * For a cap with a region. *out is the filled piece, *view how it lies. UF_ERROR_UNCLEAR when nothing around
 * the hole is picture. The caller clears *out.
 */
UfStatus uf_spread(const UfPicture *panorama, const UfCap *cap, UfCanvas *out, UfView *view,
                   UfReport *report);

#endif

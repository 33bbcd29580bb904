/* The light on the floor, apart from its texture. */
#ifndef UF_PATCH_SHADING_H
#define UF_PATCH_SHADING_H

#include "patch/canvas.h"

#define UF_SHADING_TERMS 6

/* The logarithm of the light, a quadratic in the plane's coordinates scaled to -1..1; the mean over sources
 * is 0. */
typedef struct UfShading {
    double term[3][UF_SHADING_TERMS];
} UfShading;

/*
 * Fits the sources, robustly; no light (all 0) where it does not explain how bright the floor around the hole
 * is. UF_ERROR_UNCLEAR when there are too few sources.
 */
UfStatus uf_shading_fit(const UfCanvas *canvas, int threads, UfShading *out, UfReport *report);
/* Divides by the light what of row y is picture, or shown and no hole; and multiplies again all that is
 * shown.
 */
void uf_shading_remove(const UfShading *shading, UfBox shown, size_t y, UfCanvas *canvas);
void uf_shading_restore(const UfShading *shading, UfBox shown, int threads, UfCanvas *canvas);

#endif

/*
 * Between the panorama's rows and a plane that looks at the pole. There everything is simple: rows are
 * circles and meridians are rays, so that what a pixel covers is known from its distance to the middle alone.
 */
#ifndef UF_PATCH_POLE_H
#define UF_PATCH_POLE_H

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

#include "patch/canvas.h"
#include "patch/cap.h"

typedef struct UfPoleRead {
    UfView view;   /* rectilinear, looking at the pole */
    bool is_root;  /* the canvas gets square roots of the samples */
    bool is_sharp; /* as little averaging as can be: to find a photograph's features in it */
    /* Pixels nearer to the middle than the one and farther from it than the other need not be read. */
    double nearest_px, farthest_px;
    int threads;
} UfPoleRead;

/*
 * The panorama as the canvas, which is as large as the view. Where the panorama is finer, rows and then
 * columns are averaged over a pixel of the plane, in squared values, which is nearly linear light; what is
 * left is interpolated (Keys' cubic). What is transparent or no number becomes UF_CELL_IDLE, the rest
 * UF_CELL_SOURCE.
 */
UfStatus uf_pole_read(const UfPicture *panorama, const UfPoleRead *read, UfCanvas *canvas, UfReport *report);

/* Sine and cosine of each column's longitude, 2 x width values, for uf_pole_rows; NULL: no memory. The caller
 * frees them. */
float *uf_pole_columns(const UfCap *cap);

/*
 * Rows y0 .. y0 + count - 1 of the panorama as the canvas shows them: count x width x channels values. The
 * view may be any azimuthal one about the pole. Where the panorama is coarser than the canvas, a pixel is the
 * mean of several places, again in squares.
 */
UfStatus uf_pole_rows(const UfCanvas *canvas, const UfView *view, bool is_root, const UfCap *cap,
                      const float *columns, size_t y0_px, size_t count, size_t channels, float *out,
                      UfReport *report);

#endif

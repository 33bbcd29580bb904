/*
 * The floor's plane while it is rebuilt: four floats a pixel (three colours, or one and two zeros; the fourth
 * is 0, so that a pixel is one vector), and what each pixel is good for.
 */
#ifndef UF_PATCH_CANVAS_H
#define UF_PATCH_CANVAS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/report.h"

typedef enum UfCell {
    UF_CELL_SOURCE = 0, /* picture that may be copied from */
    UF_CELL_HOLE,       /* to be made */
    UF_CELL_IDLE        /* neither: kept, never copied */
} UfCell;

typedef struct UfCanvas {
    size_t width, height;
    float *value;  /* width x height x 4 */
    uint8_t *cell; /* UfCell, width x height */
} UfCanvas;

/* The mean of a pixel's three values. */
static inline float uf_canvas_grey(const UfCanvas *canvas, size_t pixel)
{
    const float *v = canvas->value + 4 * pixel;
    return (v[0] + v[1] + v[2]) / 3;
}

UfStatus uf_canvas_create(size_t width, size_t height, UfCanvas *out, UfReport *report);
void uf_canvas_clear(UfCanvas *canvas);
/* A canvas of half the size, rounded up, of zeros. */
UfStatus uf_canvas_create_half(const UfCanvas *canvas, UfCanvas *out, UfReport *report);
/*
 * Row y of a canvas's half: means of 2 x 2. A pixel is hole where any of the four is, source where all are;
 * the latter alone, too.
 */
void uf_canvas_halve_row(const UfCanvas *canvas, size_t y, UfCanvas *half);
void uf_canvas_halve_cells(const UfCanvas *canvas, size_t y, UfCanvas *half);
/* Halved so many times; a copy for 0. */
UfStatus uf_canvas_reduce(const UfCanvas *canvas, unsigned times, int threads, UfCanvas *out,
                          UfReport *report);

/*
 * Mean absolute deviation of the sources from their mean, the largest of the channels; of a sample of a
 * quarter of a million or so. mean[0 .. 2] (or NULL) get the means.
 */
double uf_canvas_deviation(const UfCanvas *canvas, float *mean);

/* Sets the hole's values in row y to 0: what is to be made must not depend on what was there. */
void uf_canvas_empty_hole(UfCanvas *canvas, size_t y);

/* Half-open box. */
typedef struct UfBox {
    size_t x0, y0, x1, y1;
} UfBox;

/* The box alone is left of the canvas. */
void uf_canvas_crop(UfCanvas *canvas, UfBox box);

/*
 * The next run of a row's cells, from column *x1 on, that are not hole; false when there is none. What is
 * idle up to the first and from the last cell that is not, outside `keep`, belongs to none: a ring's corners.
 */
bool uf_canvas_next_run(const UfCanvas *canvas, UfBox keep, size_t y, size_t *x0, size_t *x1);

/* Around all hole pixels, `margin` more on each side, inside the canvas; false when there is no hole. */
bool uf_canvas_hole_box(const UfCanvas *canvas, size_t margin, UfBox *out);

#endif

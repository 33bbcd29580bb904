/* By which shifts the floor looks like itself: tile by tile, plank by plank. */
#ifndef UF_PATCH_REPEATS_H
#define UF_PATCH_REPEATS_H

#include "patch/canvas.h"

#define UF_MAX_REPEATS 96

typedef struct UfShift {
    int dx, dy;
} UfShift;

typedef struct UfRepeats {
    UfShift shift[UF_MAX_REPEATS];
    float score[UF_MAX_REPEATS]; /* mean squared difference over that of unrelated places: 0 same, 1 unrelated
                                  */
    size_t count;                /* first those longer than the hole's radius, best first, then the shorter */
} UfRepeats;

/* Finds the repeats of the source pixels of a small canvas (a few hundred pixels a side). */
UfStatus uf_repeats_find(const UfCanvas *canvas, int threads, UfRepeats *out, UfReport *report);
/* The same shifts on a canvas of twice the size, each moved by at most one pixel to where it fits best. */
void uf_repeats_double(const UfCanvas *canvas, int threads, UfRepeats *repeats);
/* The same shifts on a canvas of half the size. */
void uf_repeats_halve(const UfRepeats *repeats, UfRepeats *out);

#endif

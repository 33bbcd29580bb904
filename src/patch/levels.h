/* A canvas and its halves: all that looks at the floor coarsely shares them. */
#ifndef UF_PATCH_LEVELS_H
#define UF_PATCH_LEVELS_H

#include "patch/canvas.h"

#define UF_MAX_LEVELS 12
/* The smallest level is no wider or higher than this, when there are enough levels; there are at least two.
 */
#define UF_LEVELS_SIDE_PX 100u

typedef struct UfLevels {
    UfCanvas canvas[UF_MAX_LEVELS]; /* 0 is a copy of the caller's struct, not owned */
    size_t count;
} UfLevels;

/* Work on row y of a canvas. */
typedef void UfRowWork(void *data, UfCanvas *canvas, size_t y);

/*
 * Every row of the canvas is worked on (not when `work` is NULL) just before it is halved, so that it is
 * fetched once. On success clear *out.
 */
UfStatus uf_levels_build(UfCanvas *canvas, UfRowWork *work, void *data, int threads, UfLevels *out,
                         UfReport *report);
/* The halves' cells anew, after the canvas's have changed. */
void uf_levels_mark(UfLevels *levels, int threads);
void uf_levels_clear(UfLevels *levels);

#endif

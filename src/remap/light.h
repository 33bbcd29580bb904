/*
 * A window of a full sphere in linear light, from which means are taken: in floats, one plane a channel, so
 * that neighbours along a row lie side by side. Blocks of pixels are converted when they are first asked for,
 * and stay as long as the window does: tiles that lie beside each other share most of what they read.
 */
#ifndef UF_REMAP_LIGHT_H
#define UF_REMAP_LIGHT_H

#include "remap/source.h"

/* Blocks of pixels that are converted together. */
#define UF_LIGHT_RUN  32u
#define UF_LIGHT_ROWS 4u

/* Whole pixels; both directions may run on beyond the source's edges, round the turn and over a pole. */
typedef struct UfLightArea {
    ptrdiff_t left, top, right, bottom; /* the last two lie just behind it */
} UfLightArea;

/* From a plane to the next: a multiple of neither a page nor what the cache's ways hold. */
#define UF_LIGHT_PLANE_FLOATS (((size_t)1 << 19) + 272)

typedef struct UfLight {
    float *samples;    /* [plane][row][column]: light times alpha, then alpha where there is some */
    uint8_t *states;   /* [down][across]: of each block, whether it is ready or on its way */
    UfLightArea area;  /* where the window lies: whole blocks */
    UfLightArea ahead; /* where it had better lie when it has to move */
    UfLightArea last;  /* what was asked for last */
    size_t row_step;   /* in floats */
} UfLight;

/* Whether the source is one that windows are made of: a full sphere of even width. */
bool uf_light_serves(const UfSource *source);
/* A thread's room; false without memory. */
bool uf_light_create(UfLight *out);
void uf_light_free(UfLight *light);
/* Makes the area, which is not empty, readable, and moves it by whole turns into the window. False: it does
 * not fit into the room. */
bool uf_light_take(UfLight *light, const UfSource *source, UfSample sample, size_t channels,
                   unsigned cpu_flags, UfLightArea *area);

#endif

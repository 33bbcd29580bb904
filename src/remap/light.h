/*
 * A window of a full sphere in linear light, from which means are taken: in floats, one plane a channel, so
 * that neighbours along a row lie side by side. Runs of pixels are converted when they are first asked for,
 * and stay as long as the window does: tiles that lie beside each other share most of what they read.
 */
#ifndef UF_REMAP_LIGHT_H
#define UF_REMAP_LIGHT_H

#include "remap/source.h"

/* Pixels that are converted together. */
#define UF_LIGHT_RUN 32

/* Whole pixels; both directions may run on beyond the source's edges, round the turn and over a pole. */
typedef struct UfLightArea {
    ptrdiff_t left, top, right, bottom; /* the last two lie just behind it */
} UfLightArea;

typedef struct UfLight {
    float *samples;              /* [row][plane][column]: light times alpha, then alpha where there is some */
    uint8_t *ready;              /* [row][run] */
    UfLightArea area;            /* where the window lies; its width is a multiple of UF_LIGHT_RUN */
    UfLightArea ahead;           /* where it had better lie when it has to move */
    size_t plane_step, row_step; /* in floats */
} UfLight;

/* Whether the source is one that windows are made of: a full sphere of even width. */
bool uf_light_serves(const UfSource *source);
/* A thread's room; false without memory. */
bool uf_light_create(UfLight *out);
void uf_light_free(UfLight *light);
/* Makes the area, which is not empty, readable, and moves it by whole turns into the window. False: it does
 * not fit into the room. */
bool uf_light_take(UfLight *light, const UfSource *source, UfSample sample, size_t channels,
                   UfLightArea *area);

/* The pixel at (x, y), inside the window, of the first plane. */
static inline const float *uf_light_at(const UfLight *light, ptrdiff_t x, ptrdiff_t y)
{
    return light->samples + (size_t)(y - light->area.top) * light->row_step + (x - light->area.left);
}

#endif

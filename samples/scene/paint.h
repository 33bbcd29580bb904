/* Paints: what surfaces look like close up. All patterns are in metres. */
#ifndef SCENE_PAINT_H
#define SCENE_PAINT_H

#include "world.h"

/* Floors (floors.c, cobbles.c); the hit's world x, z lay out the pattern. */
void paint_tiles(const Material *material, const Hit *hit, Surface *surface);
void paint_planks(const Material *material, const Hit *hit, Surface *surface);
void paint_cobbles(const Material *material, const Hit *hit, Surface *surface);

/* Everything else (paint.c). */
void paint_plaster(const Material *material, const Hit *hit, Surface *surface);
void paint_wood(const Material *material, const Hit *hit, Surface *surface);
void paint_lacquer(const Material *material, const Hit *hit, Surface *surface);
void paint_metal(const Material *material, const Hit *hit, Surface *surface);
void paint_glow(const Material *material, const Hit *hit, Surface *surface);
void paint_window(const Material *material, const Hit *hit, Surface *surface);
void paint_pane(const Material *material, const Hit *hit, Surface *surface);
void paint_ashlar(const Material *material, const Hit *hit, Surface *surface);
void paint_roof(const Material *material, const Hit *hit, Surface *surface);
void paint_books(const Material *material, const Hit *hit, Surface *surface);
void paint_leaves(const Material *material, const Hit *hit, Surface *surface);
void paint_wall_tiles(const Material *material, const Hit *hit, Surface *surface);

/* A sign or poster: words and a simple picture on a ground. */
typedef struct Poster {
    const char *top, *bottom; /* lines of text, or NULL */
    V3 paper, ink, accent;
    int motif; /* 0 none, 1 thimble, 2 rising sun, 3 bars */
} Poster;
void paint_poster(const Material *material, const Hit *hit, Surface *surface);

/* Horizontal and vertical position on a face in metres, from its lower left corner. */
void paint_face_metres(const Hit *hit, double *across, double *up);

#endif

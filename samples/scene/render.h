/* From a world to a full spherical panorama, as shot and without the camera's hardware. */
#ifndef SCENE_RENDER_H
#define SCENE_RENDER_H

#include "rig.h"
#include "world.h"

typedef struct Panorama {
    size_t width, height;
    float *truth;           /* width x height x RGB, linear, scene light */
    float *as_shot;         /* the same, with hardware and its shadow */
    unsigned char *touched; /* width x height: 1 where as_shot was rendered anew */
} Panorama;

/* False when there is no memory. Free with panorama_free in either case. */
bool panorama_render(const World *world, const Rig *rig, size_t width, int threads, Panorama *out);
void panorama_free(Panorama *panorama);

/* The camera's answer to light at a pixel: noise, tone curve; result linear, 0..1. */
V3 develop(const World *world, V3 light, size_t x, size_t y);

#endif

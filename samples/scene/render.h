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

/* A photograph of the floor out of the hand: no tripod, another place, another camera. */
typedef struct Hand {
    double x, height, z;                 /* metres; the panorama's camera stands at 0, 0 */
    double yaw_deg, pitch_deg, roll_deg; /* as in <underfoot/sphere.h>; straight down is pitch -90 */
    double field_deg;                    /* across the longer side; the picture is 3:2 */
    double gain[3];                      /* exposure and white balance against the panorama's */
} Hand;

/* `width` x width * 2/3 RGB, linear scene light with the lens's vignetting. NULL without memory; free with
 * free(). */
float *hand_render(const World *world, const Hand *hand, size_t width, int threads);

/* The camera's answer to light at a pixel: noise, tone curve; result linear, 0..1. */
V3 develop(const World *world, V3 light, size_t x, size_t y);

#endif

/* Panoramas and the emblem into files, with what a camera and a stitcher would have written beside the
 * pixels. */
#ifndef SCENE_OUTPUT_H
#define SCENE_OUTPUT_H

#include <underfoot/status.h>

#include "render.h"
#include "spots.h"

typedef struct Shot {
    const World *world;
    const Spot *spot;
    const Rig *rig;
    const Panorama *panorama;
} Shot;

/* `light` is one of the panorama's two pictures. An existing file is replaced. */
UfStatus output_panorama(const Shot *shot, const float *light, const char *path, UfReport *report);
/* The truth with a transparent cap about the nadir, as some stitchers leave it; RGBA, for PNG and TIFF. */
UfStatus output_with_hole(const Shot *shot, double cap_deg, const char *path, UfReport *report);
/* A photograph out of the hand, width x width * 2/3, as an 8-bit picture in sRGB. */
UfStatus output_by_hand(const World *world, const Spot *spot, const float *light, size_t width,
                        const char *path, UfReport *report);
UfStatus output_emblem(const char *path, size_t size, UfReport *report);

#endif

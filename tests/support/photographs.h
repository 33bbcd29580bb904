/*
 * Photographs that the distribution carries, sample scenes, and how far two panoramas differ.
 *
 * Photographs: Debian's xplanet-images. Measure: WS-PSNR, Y. Sun, A. Lu, L. Yu,
 * Weighted-to-Spherically-Uniform Quality Evaluation for Omnidirectional Video, IEEE Signal Processing
 * Letters 24(9), 1408-1412 (2017): squared differences weighted by the cosine of the latitude.
 */
#ifndef UF_TESTS_SUPPORT_PHOTOGRAPHS_H
#define UF_TESTS_SUPPORT_PHOTOGRAPHS_H

#include <underfoot/picture.h>

#define PHOTOS "/usr/share/xplanet/images/"
/* Natural Earth's shaded relief over land cover from satellites, public domain (Debian's python-cartopy-data). */
#define RELIEF "/usr/share/cartopy/data/raster/natural_earth/50-natural-earth-1-downsampled.png"

/* An 8-bit RGB file; the test fails when it is something else. */
UfPicture *photo(const char *path);
/* Renders a spot of the sample tour into the working folder. */
void scene_make(const char *spot, const char *width);
/* A picture of the sample tour, 1024 x 512, that `make tests` has rendered: "yard.jpg". */
UfPicture *scene(const char *name);
/* Its path; `path` is given back. */
const char *scene_path(const char *name, char path[static 1024]);

/* In dB, of two 8-bit RGB panoramas of the same size. */
double ws_psnr(const UfPicture *a, const UfPicture *b);

#define PAD_PX 8u
/* The panorama's pixels with PAD_PX more on every side: round the seam, and over the poles. Free it. */
uint8_t *padded(const UfPicture *panorama);

/* Places for opencv_remap. */
typedef struct Maps {
    double *x, *y;
} Maps;
Maps maps_create(size_t count);
void maps_free(Maps *maps);

#endif

/* Procedural floors whose truth is known, in panoramas: a camera one unit above a plane, walls around it. */
#ifndef UF_TESTS_SUPPORT_FLOORS_H
#define UF_TESTS_SUPPORT_FLOORS_H

#include <underfoot/picture.h>

/* Colour at (x, y), in camera heights east and north of the foot; shares of the full range. */
typedef void FloorTexture(double x, double y, double rgb[3]);

typedef struct Floor {
    const char *name;
    FloorTexture *texture;
    double slope; /* light: 1 + slope * x */
    double grain; /* standard deviation of the picture's noise, of 255 */
} Floor;

#define FLOOR_COUNT 9
extern const Floor floors[FLOOR_COUNT];

/* 8-bit RGB, width x width/2. */
UfPicture *floor_panorama(const Floor *floor, size_t width);
/* The same with a black disc within `disc_deg` of the nadir. */
UfPicture *floor_with_tripod(const UfPicture *truth, double disc_deg);

#endif

/* Panoramas of a world made in memory: a sound one with detail and noise, and areas painted on it. */
#ifndef UF_TESTS_HOLE_WORLD_H
#define UF_TESTS_HOLE_WORLD_H

#include <underfoot/underfoot.h>

/* The part of the sphere that a made picture shows; {360, 180} for all of it. */
typedef struct WorldField {
    double lon_deg, lat_deg;
} WorldField;

/*
 * Detail that is a function of the direction, so that seam and poles are sound, with sensor-like noise of a
 * few levels. Alpha is opaque. Fails the test when it cannot be made.
 */
UfPicture *world_make(size_t width_px, size_t channels, UfSample sample);
/* The same squeezed to show less than the sphere: a seam and poles that are not sound. */
UfPicture *world_make_part(size_t width_px, size_t channels, UfSample sample, WorldField field);

/* Sets a sample to a level of 255; alpha and float samples in proportion. */
void world_set(UfPicture *picture, size_t x_px, size_t y_px, size_t channel, double level);
double world_get(const UfPicture *picture, size_t x_px, size_t y_px, size_t channel);

/* Colours all pixels whose centre is nearer than radius_deg to the place; alpha stays. */
void world_paint(UfPicture *picture, double lon_deg, double lat_deg, double radius_deg, double level);
/* Sets their alpha. */
void world_cut(UfPicture *picture, double lon_deg, double lat_deg, double radius_deg, double alpha);
/* Turns the picture by whole columns. */
void world_turn(UfPicture *picture, size_t columns);

#endif

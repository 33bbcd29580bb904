/*
 * A retoucher for the tests: the same paint on any view of the sphere, so that what should come home is
 * known. The panorama is a texture of the direction, the paint a disc of directions with a soft edge.
 */
#ifndef UF_TESTS_UNIT_TEST_PUTBACK_SUPPORT_H
#define UF_TESTS_UNIT_TEST_PUTBACK_SUPPORT_H

#include <underfoot/putback.h>

#define PUTBACK_WIDTH_PX 512u

typedef struct Paint {
    double lon_deg, lat_deg;
    double radius_deg, edge_deg; /* the edge's width; its middle is at the radius */
    double opacity;
    double colour[3]; /* 0..1 */
    bool lightens;    /* colour is added instead of laid over */
} Paint;

/* 1 inside, 0 outside. */
double paint_weight(const Paint *paint, UfDirection direction);
double paint_distance_deg(const Paint *paint, UfDirection direction);

/* 2:1, PUTBACK_WIDTH_PX wide. Alpha, where there is one, is full. */
UfPicture *texture_make(size_t channels, UfSample sample);
/* Picture `view` of the sphere is painted on; grey takes the first colour. Alpha is left alone. */
void paint_on(UfPicture *picture, const UfView *view, const Paint *paint);
/* A sample, 0..1. */
double sample_at(const UfPicture *picture, size_t x, size_t y, size_t channel);
void sample_set(UfPicture *picture, size_t x, size_t y, size_t channel, double value);
bool same_pixels(const UfPicture *a, const UfPicture *b);

/* The extraction, with its address filled in; size 0 is the full size. */
UfPicture *take_face(const UfPicture *panorama, UfFace face, size_t size_px, UfHome *home);
UfPicture *take_view(const UfPicture *panorama, double yaw_deg, double pitch_deg, double roll_deg,
                     double fov_deg, size_t width_px, size_t height_px, UfHome *home);
void paint_extraction(UfPicture *picture, const UfHome *home, const Paint *paint);

/* Puts back and fails the test when that fails. NULL options are the defaults. */
UfPutbackResult bring(UfPicture *panorama, const UfEdit *edits, size_t count, const UfPutbackOptions *options,
                      UfTouched *touched, UfPutbackChange *changes);

/* Pixels farther from the paint than this are as they were, to the last bit; at least one nearer is not. */
void assert_only_near(const UfPicture *before, const UfPicture *after, const Paint *paint, double reach_deg,
                      const char *what);
typedef struct Error {
    double rms, most; /* in steps of 1/255 */
} Error;
/* Of what came home against the same paint on the panorama itself, within the paint and `reach_deg` round it.
 */
Error error_of(const UfPicture *after, const UfPicture *truth, const Paint *paint, double reach_deg);

#endif

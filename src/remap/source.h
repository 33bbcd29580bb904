/*
 * A picture as the kernels read it: samples, how its edges continue, and its way to linear light.
 *
 * An edge either meets the opposite one (left and right of a full turn), continues over the pole into the
 * opposite meridian (row -1 is row 0 shifted by half the width), or ends the picture.
 */
#ifndef UF_REMAP_SOURCE_H
#define UF_REMAP_SOURCE_H

#include <stddef.h>
#include <stdint.h>

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

#include "picture/colour.h"

/* Samples of one pixel at most: RGB and alpha. */
#define UF_CHANNELS_MAX 4

typedef struct UfSource {
    const uint8_t *data;
    size_t stride_bytes;
    ptrdiff_t width_px, height_px;
    bool wraps;                 /* left and right edges meet */
    bool over_top, over_bottom; /* the row beyond lies across the pole */
    bool mirrors;        /* where the picture ends, it goes on as its mirror image, not as its last pixel */
    const float *linear; /* from stored code (U8, U16) to linear light, or NULL when they are the same */
    const UfTransfer *transfer;    /* the same for F32, or NULL */
    const struct UfSource *spline; /* coefficients for the sharp kernel, or NULL */
    const float
        *ready_px; /* for each row the length of footprints to which the spline is low-passed; NULL: 1 */
} UfSource;

/* `transfer` may be NULL when no average will be taken. Both are borrowed. */
UfSource uf_source_of_picture(const UfPicture *picture, const UfTransfer *transfer);
/* Sets how the edges continue when the picture is seen as `view`. */
void uf_source_set_edges(UfSource *source, const UfView *view);

#endif

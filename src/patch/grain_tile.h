/* Periodic tiles of noise over the tangent plane, read bilinearly. */
#ifndef UF_PATCH_GRAIN_TILE_H
#define UF_PATCH_GRAIN_TILE_H

#include <stddef.h>
#include <stdint.h>

#define UF_GRAIN_TILES 2
#define UF_GRAIN_TILE  ((size_t)512) /* samples a side */
/* Of a tile as it is held: the first samples come again behind the last, so that no reading has to wrap. */
#define UF_GRAIN_SIDE    (UF_GRAIN_TILE + 1)
#define UF_GRAIN_CHUNK   ((size_t)64) /* places at a time */
#define UF_GRAIN_LARGEST 127          /* sample; the smallest is one less than its negative */
/* Places between two samples along an axis: a reading is in steps of 1/PLACES^2 of a sample's. */
#define UF_GRAIN_PLACE_BITS 7
#define UF_GRAIN_PLACES     (1 << UF_GRAIN_PLACE_BITS)

typedef struct UfGrainTile {
    int8_t *samples; /* SIDE x SIDE x 4 channels */
    float turn[4];   /* cosine and sine of its turn times samples a pixel, then its shift in samples */
} UfGrainTile;

/* The four channels at CHUNK places, in pixels, what all tiles have there added: in whole numbers, so that
 * every processor finds the same. */
void uf_grain_read(const UfGrainTile tiles[UF_GRAIN_TILES], const float *x_px, const float *y_px,
                   int32_t (*out)[4]);

#endif

/* The floor fill: the floor's texture rebuilt from the ring around the cap, in the floor's plane. */
#ifndef UF_PATCH_FLOOR_H
#define UF_PATCH_FLOOR_H

#include <underfoot/picture.h>
#include <underfoot/plate.h>

#include "patch/cap.h"

/* A rebuilt piece of floor. Opaque. */
typedef struct UfFloor UfFloor;

/*
 * Rebuilds the floor under the cap, from `plate` as far as it shows it (NULL: without; *fit is untouched).
 * UF_ERROR_UNCLEAR, with the reason in `report`'s error, when the ring does not hold enough to rebuild it
 * from: the caller then falls back. On success the caller owns *out.
 */
UfStatus uf_floor_rebuild(const UfPicture *panorama, const UfCap *cap, unsigned seed, const UfPlate *plate,
                          UfPlateFit *fit, UfFloor **out, UfReport *report);
/* The same from a smooth fill of cap and region. */
UfStatus uf_floor_spread(const UfPicture *panorama, const UfCap *cap, UfFloor **out, UfReport *report);
void uf_floor_free(UfFloor **floor);
/* Picture rows y0 .. y0 + count - 1 of the fill, count x width x channels, in stored values. */
UfStatus uf_floor_rows(const UfFloor *floor, const UfCap *cap, size_t y0_px, size_t count, size_t channels,
                       float *out, UfReport *report);

#endif

/* The floor and the photograph in grey at several sizes, and one laid on the other. */
#ifndef UF_PATCH_PLATE_LEVELS_H
#define UF_PATCH_PLATE_LEVELS_H

#include "patch/floor_plane.h"
#include "patch/plate_photo.h"

#define UF_PLATE_MOST_LEVELS 12

typedef struct UfPlateLevels {
    const UfFloorPlane *plane;
    const UfPlatePhoto *photo;
    size_t channels;
    int threads;
    UfGrey floor[UF_PLATE_MOST_LEVELS]; /* the plane, then half the size each */
    size_t floor_count, work;           /* work: the level on which features are sought */
    UfGrey shot[UF_PLATE_MOST_LEVELS];  /* the photo, rectified, then half the size each */
    size_t shot_count;
    UfHomography shot_to_ray; /* from pixels of shot[0] */
} UfPlateLevels;

/* Zero-initialise *out before; clear it after. Photo and plane are borrowed. */
UfStatus uf_plate_levels_create(const UfFloorPlane *plane, const UfPlatePhoto *photo, size_t channels,
                                int threads, UfPlateLevels *out, UfReport *report);
void uf_plate_levels_clear(UfPlateLevels *levels);
/* From pixels of a level of the floor to pixels of the plane. */
UfHomography uf_plate_level_to_plane(size_t level);
/* Detail of the floor at a level. */
UfStatus uf_plate_floor_detail(const UfPlateLevels *levels, size_t level, UfGrey *out, UfReport *report);
/*
 * Detail of the photo on the grid of that level, `margin` pixels more on every side. `to_ray` is from the
 * plane's pixels. With `is_sharp` from the photo itself, otherwise from the rectified one, which is quick and
 * good enough as long as it is not finer than shot[0].
 */
UfStatus uf_plate_photo_detail(const UfPlateLevels *levels, size_t level, size_t margin,
                               const UfHomography *to_ray, bool is_sharp, UfGrey *out, UfReport *report);

#endif

/*
 * How far a panorama leans, told from the picture itself.
 *
 * What stands upright in a scene (walls, posts, door frames) lies on great circles through the zenith. Every
 * piece of a straight edge gives the plane of its great circle; the direction that lies in most of the nearly
 * upright planes is the zenith.
 */
#ifndef UNDERFOOT_LEVEL_H
#define UNDERFOOT_LEVEL_H

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/sphere.h>

UF_API_BEGIN

/* The largest lean that is looked for. */
#define UF_LEVEL_MAX_DEG 15.0
/* Below this confidence nothing is said. */
#define UF_LEVEL_CONFIDENCE 0.5

/*
 * pitch and roll of the picture against the world, as the Photo Sphere fields mean them: the zenith lies at
 * (-sin roll cos pitch, cos roll cos pitch, sin pitch) in the picture.
 */
typedef struct UfLevel {
    double pitch_rad, roll_rad;
    double confidence;   /* 0..1 */
    double residual_rad; /* how far the edges miss the zenith, root mean square */
    size_t edge_count;   /* edges that lead to the zenith */
} UfLevel;

/*
 * `panorama` is a full 2:1 equirectangular picture, otherwise UF_ERROR_ARGUMENT. UF_ERROR_UNCLEAR where the
 * picture shows no upright lines, or not enough of them around. What lies within 30 degrees of the poles is
 * not looked at.
 */
UfStatus uf_find_level(const UfPicture *panorama, UfLevel *out, UfReport *report);

/* The turn that brings the picture upright and leaves the heading of its centre as it is. */
UfRotation uf_level_turn(const UfLevel *level);

UF_API_END
#endif

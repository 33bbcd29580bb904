/*
 * The mean over the footprint of one target pixel, in linear light.
 *
 * The target pixel is a square; the Jacobian J makes it a parallelogram in the source, and near a pole it is
 * not even that. A grid of points in the square is looked up and averaged, close enough together that no
 * source pixel is skipped. A source pixel is itself the mean over a square of size 1, and the lookup blurs a
 * little more: the square is shrunk by what is there already, so that the variance of the whole is that of
 * the footprint. The shrinking matrix T satisfies T T' = 1 - k (J'J)^-1, k = 1 + 12 times the lookup's
 * variance; along a direction in which the source is not finer than the target it is 0, and nothing is
 * averaged there.
 *
 * Source: P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, UCB/CSD 89/516 (1989), where the
 * same sum of variances is made with Gaussians.
 */
#ifndef UF_REMAP_AVERAGE_H
#define UF_REMAP_AVERAGE_H

#include <math.h>

#include "remap/coarse.h"
#include "remap/kernels.h"
#include "remap/map.h"
#include "remap/light.h"

typedef struct UfAverager {
    const UfMap *map;
    const UfSource *source;
    const UfTransfer *transfer;
    UfSumRun *sum_bilinear, *sum_bicubic;
    UfSample sample;
    size_t channels;
    bool adds_alpha;
    unsigned cpu_flags; /* base/cpu.h */
} UfAverager;

/* A pixel of the target: its centre there and in the source (u_px may be NaN when that is not seen), how much
 * of the average goes into it and how much of what is there stays, and where it is stored. */
typedef struct UfAveraged {
    double x_px, y_px, u_px, v_px, share;
    UfJacobian jacobian;
    uint8_t *pixel;
} UfAveraged;

/* Largest singular values of J between which interpolation gives way to averaging. */
#define UF_SHARE_FROM 1.05F
#define UF_SHARE_TO   1.30F

/* Where between them it lies for the steps of (u, v) for one pixel along x and y: 0 to 1, and beyond. */
static inline __attribute__((always_inline)) float uf_share_place(float ux, float uy, float vx, float vy)
{
    const float e = ux * ux + vx * vx, g = uy * uy + vy * vy, f = ux * uy + vx * vy;
    const float largest = sqrtf((e + g + sqrtf((e - g) * (e - g) + 4 * f * f)) / 2);
    return (largest - UF_SHARE_FROM) / (UF_SHARE_TO - UF_SHARE_FROM);
}

static inline float uf_share_smooth(float t)
{
    return t * t * (3 - 2 * t);
}

/*
 * How much of the averaged pixel goes into the result: 0 up to a scale of about 1 (largest singular value of
 * J), 1 from where interpolation would begin to alias, smooth between them.
 */
static inline double uf_average_share(const UfJacobian *j)
{
    const float t = uf_share_place((float)j->ux, (float)j->uy, (float)j->vx, (float)j->vy);
    return (double)uf_share_smooth(t > 0 ? fminf(t, 1) : 0);
}

/*
 * Pixels that lie close together: from their boxes (remap/boxes.h) where there is room, and where the
 * Jacobian tells the footprint; else point by point. `room` is NULL where windows of light are not made.
 */
void uf_average_pixels(const UfAverager *averager, const UfAveraged *pixels, size_t count, UfLight *room);

/* Whether footprints of the target can be told by Jacobians, away from the source's poles. */
bool uf_average_is_straight(const UfAverager *averager);
/* Whether the closer pole of an equirectangular source is farther away than that, in the target's pixels. */
bool uf_average_is_far(const UfAverager *averager, const UfJacobian *jacobian, double v_px, double than_px);
/* Nearer to a pole the footprint is bent. */
#define UF_STRAIGHT_FROM_PX 4

/* What is there of a tile of the target, from its first pixel on. */
typedef struct UfTilePart {
    size_t width, height;
    uint8_t *out;
    size_t stride_bytes;
} UfTilePart;

/* The tile's pixels whose share is above 0; where it is below 1 what is interpolated is there already. False,
 * with nothing written: one is too large for the room. */
bool uf_average_tile(const UfAverager *averager, const UfCoarse *coarse, const UfTilePart *part,
                     UfLight *room);

#endif

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

#include "remap/kernels.h"
#include "remap/map.h"
#include "remap/rowsums.h"

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

/*
 * How much of the averaged pixel goes into the result: 0 up to a scale of about 1 (largest singular value of
 * J), 1 from where interpolation would begin to alias, smooth between them.
 */
double uf_average_share(const UfJacobian *jacobian);

/* As many pixels are averaged at once. */
#define UF_AVERAGED_MAX 512
/*
 * Pixels that lie close together: from sums along the source's rows (remap/rowsums.h) where these serve and
 * fit into the room, and where the Jacobian tells the footprint; else point by point.
 */
void uf_average_pixels(const UfAverager *averager, const UfAveraged *pixels, size_t count, UfRowSums *room);

#endif

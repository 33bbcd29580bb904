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

typedef struct UfAverager {
    const UfMap *map;
    const UfSource *source;
    const UfTransfer *transfer;
    UfSumRun *sum_bilinear, *sum_bicubic;
    UfSample sample;
    size_t channels;
    bool adds_alpha;
} UfAverager;

/*
 * How much of the averaged pixel goes into the result: 0 up to a scale of about 1 (largest singular value of
 * J), 1 from where interpolation would begin to alias, smooth between them.
 */
double uf_average_share(const UfJacobian *jacobian);

/*
 * Averages over the pixel whose centre is at (x_px, y_px) in the target and (u_px, v_px) in the source, and
 * puts `share` of it and 1 - share of what is there into `pixel`. u_px may be NaN when the centre is not
 * seen.
 */
void uf_average_pixel(const UfAverager *averager, const UfJacobian *jacobian, double x_px, double y_px,
                      double u_px, double v_px, double share, uint8_t *pixel);

#endif

/*
 * Telling strokes from the noise of JPEG, of resampling and of colour conversion.
 *
 * Such noise has no direction (its mean over a small area is nearly 0) and grows with the detail around it: a
 * JPEG block rings where an edge goes through it, a resampled edge is a little softer. So the difference is
 * smoothed with a small binomial, and its size is compared with what is usual at places of the same detail: a
 * low quantile, which strokes do not move. A pixel whose difference is far above the usual makes a stroke
 * certain; the stroke reaches as far as the difference stays clearly above the usual.
 *
 * Common practice, no source: the two thresholds are hysteresis thresholding as in J. Canny, IEEE TPAMI 8(6),
 * 679-698 (1986); their values were measured on photographs, see docs/decisions.md.
 */
#ifndef UF_PUTBACK_NOISE_H
#define UF_PUTBACK_NOISE_H

#include "putback/part.h"

/* part->weight (width x height) becomes 1 in strokes and 0 elsewhere. *plain: the threshold where there is no
 * detail, in steps of 1/255. *all is true when the difference is no noise at all, the weight then stays as it
 * was. */
UfStatus uf_noise_find(UfPart *part, int threads, bool *all, double *plain, UfReport *report);

#endif

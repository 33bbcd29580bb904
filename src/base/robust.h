/* What fits that odd values must not move have in common. */
#ifndef UF_BASE_ROBUST_H
#define UF_BASE_ROBUST_H

#include <stddef.h>

/* Tukey's constant: with it the biweight is 95 percent efficient on normal errors. */
#define UF_TUKEY 4.685

/* Tukey's biweight of a value at t limits: 1 in the middle, 0 from 1 on (A. E. Beaton, J. W. Tukey,
 * Technometrics 16, 1974, cited from memory). */
static inline double uf_tukey_weight(double t)
{
    return t * t < 1 ? (1 - t * t) * (1 - t * t) : 0;
}

/* The median (the larger of the two in the middle of an even count). Changes their order; 0 of none. */
double uf_median(double *values, size_t count);
/* Spread of residuals: 1.4826 times the median of their sizes (P. J. Huber, Robust Statistics, 1981).
 * Changes their order; 0 of none. */
double uf_robust_spread(double *sizes, size_t count);

#endif

/* What reading with Keys' cubic between samples costs. */
#ifndef UF_PATCH_GRAIN_CUBIC_H
#define UF_PATCH_GRAIN_CUBIC_H

#include <math.h>

#include "remap/kernels.h"

/* The part of its power that a wave keeps, the mean over all places between the samples. */
static inline double uf_cubic_kept_power(double waves_a_sample)
{
    const int places = 16;
    double sum = 0;
    for (int i = 0; i < places; i++) {
        double w[4], re = 0, im = 0;
        uf_keys_weights((i + 0.5) / places, w);
        for (int j = 0; j < 4; j++) {
            re += w[j] * cos(2 * UF_PI * waves_a_sample * j);
            im += w[j] * sin(2 * UF_PI * waves_a_sample * j);
        }
        sum += re * re + im * im;
    }
    return sum / places;
}

#endif

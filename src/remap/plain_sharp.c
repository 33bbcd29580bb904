/* The scalar sharp kernel for plain tiles. */
#include "remap/plain_sharp.h"

#include <math.h>

#include "remap/gathered.h"

UF_INLINE void hold(const UfSharpPlace *at, size_t channels, UfSample sample, float *values)
{
    const ptrdiff_t step = at->apart * (ptrdiff_t)(channels * (size_t)sample);
    for (size_t c = 0; c < channels; c++) {
        float lowest = INFINITY, highest = -INFINITY;
        for (int r = -1; r < UF_SHARP_NEAR - 1; r++)
            for (int k = -1; k < UF_SHARP_NEAR - 1; k++) {
                float value = uf_plain_load(at->pixel + r * at->stride_bytes + k * step, c, sample);
                lowest = value < lowest ? value : lowest;
                highest = value > highest ? value : highest;
            }
        values[c] = uf_held(values[c], lowest, highest);
    }
}

UF_INLINE float spline_at(const UfSharpPlace *at, size_t c, size_t channels, UfSample kept)
{
    const UfSharpTaps *w = at->taps;
    const size_t i = at->i;
    float columns[UF_SPLINE_TAPS];
    for (size_t k = 0; k < UF_SPLINE_TAPS; k++) {
        columns[k] = w->wy[0][i] * uf_plain_load(at->coefficients, k * channels + c, kept);
        for (int r = 1; r < UF_SPLINE_TAPS; r++)
            columns[k] += w->wy[r][i] * uf_plain_load(at->coefficients + r * at->coefficients_stride_bytes,
                                                      k * channels + c, kept);
        columns[k] *= w->wx[k][i];
    }
    const float value = ((columns[0] + columns[2]) + columns[4]) + ((columns[1] + columns[3]) + columns[5]);
    return uf_sharp_value(value, kept);
}

UF_INLINE void sharp_pixel(const UfSharpPlace *at, size_t channels, UfSample sample, bool adds_alpha,
                           uint8_t *to)
{
    float values[UF_CHANNELS_MAX];
    for (size_t c = 0; c < channels; c++)
        values[c] = spline_at(at, c, channels, uf_spline_sample(sample, channels));
    hold(at, channels, sample, values);
    for (size_t c = 0; c < channels; c++)
        uf_plain_store(to + c * (size_t)sample, values[c], sample);
    if (adds_alpha)
        uf_plain_store(to + channels * (size_t)sample, (float)uf_sample_max(sample), sample);
}

UF_SHARP_DEFINE_ALL()
const UfPlainTable uf_plain_sharp = UF_SHARP_TABLE;

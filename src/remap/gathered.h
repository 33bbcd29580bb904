/* One pixel of sharp sampling before it is held within what lies around it, and written. */
#ifndef UF_REMAP_GATHERED_H
#define UF_REMAP_GATHERED_H

#include "remap/pixel.h"
#include "remap/sharp.h"

/* In the source's units, colours premultiplied; the range is of pixels that are seen, not premultiplied. */
typedef struct UfGathered {
    float values[UF_CHANNELS_MAX], lowest[UF_CHANNELS_MAX], highest[UF_CHANNELS_MAX];
} UfGathered;

UF_INLINE float uf_held(float value, float lowest, float highest)
{
    float slack = UF_SHARP_SLACK * (highest - lowest);
    lowest -= slack;
    highest += slack;
    return value > lowest ? (value < highest ? value : highest) : lowest;
}

/* `cover` is what there is of the pixel, 0 .. 1: where the source ends it fades away. */
UF_INLINE void uf_store_gathered(UfGathered *at, double cover, size_t channels, UfSample sample,
                                 bool adds_alpha, uint8_t *out)
{
    const bool has_alpha = channels % 2 == 0;
    const size_t colours = has_alpha ? channels - 1 : channels;
    const double max = uf_sample_max(sample);
    if (has_alpha || adds_alpha) {
        double alpha = max;
        if (has_alpha)
            alpha = (double)uf_held(at->values[colours], at->lowest[colours], at->highest[colours]);
        double shown = uf_least(alpha, max) * cover;
        if (!(shown > 0)) {
            memset(out, 0, (colours + 1) * (size_t)sample);
            return;
        }
        uf_sample_store(out + colours * (size_t)sample, shown, sample);
        for (size_t c = 0; has_alpha && c < colours; c++)
            at->values[c] *= (float)(max / alpha);
    }
    for (size_t c = 0; c < colours; c++)
        uf_sample_store(out + c * (size_t)sample,
                        (double)uf_held(at->values[c], at->lowest[c], at->highest[c]), sample);
}

#endif

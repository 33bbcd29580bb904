/* "over", in linear light. Pixels that mix are taken by runs: their curve is looked up without a call a
 * value. */
#include "patch/over.h"

#include <string.h>

#define RUN           ((size_t)128)
#define MOST_CHANNELS ((size_t)3)

/* What is left of the picture below. */
static inline float below_of(float over_alpha, float under_alpha)
{
    return over_alpha >= 1 ? 0 : under_alpha * (1 - over_alpha);
}

static inline bool is_mixed(float over_alpha, float under_alpha)
{
    return !(over_alpha <= 0) && !(below_of(over_alpha, under_alpha) <= 0);
}

/* `count` pixels, up to RUN, of which something of both is seen. */
static void mix_run(const UfTransfer *transfer, const float *over, const float *over_alpha, float *under,
                    float *under_alpha, size_t count, size_t channels)
{
    float above_light[RUN * MOST_CHANNELS], light[RUN * MOST_CHANNELS];
    uf_transfer_row_to_linear(transfer, over, count * channels, above_light);
    uf_transfer_row_to_linear(transfer, under, count * channels, light);
    for (size_t x = 0; x < count; x++) {
        float below = below_of(over_alpha[x], under_alpha[x]), alpha = over_alpha[x] + below;
        for (size_t i = x * channels; i < (x + 1) * channels; i++)
            light[i] = (over_alpha[x] * above_light[i] + below * light[i]) / alpha;
        under_alpha[x] = alpha;
    }
    uf_transfer_row_from_linear(transfer, light, count * channels, under);
}

void uf_over(const UfTransfer *transfer, const float *over, const float *over_alpha, float *under,
             float *under_alpha, size_t count, size_t channels)
{
    for (size_t x = 0; x < count;) {
        size_t from = x;
        while (x < count && x - from < RUN && is_mixed(over_alpha[x], under_alpha[x]))
            x++;
        if (x > from) {
            mix_run(transfer, over + from * channels, over_alpha + from, under + from * channels,
                    under_alpha + from, x - from, channels);
            continue;
        }
        if (over_alpha[x] > 0) {
            memcpy(under + x * channels, over + x * channels, channels * sizeof *under);
            under_alpha[x] = over_alpha[x] >= 1 ? 1 : over_alpha[x];
        }
        x++;
    }
}

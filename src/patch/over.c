/* "over", in linear light. */
#include "patch/over.h"

void uf_over(const UfTransfer *transfer, const float *over, float over_alpha, float *under,
             float *under_alpha, size_t channels)
{
    if (over_alpha <= 0)
        return;
    float below = over_alpha >= 1 ? 0 : *under_alpha * (1 - over_alpha);
    float alpha = over_alpha >= 1 ? 1 : over_alpha + below;
    for (size_t c = 0; c < channels; c++) {
        if (below <= 0) {
            under[c] = over[c];
            continue;
        }
        float light = over_alpha * uf_transfer_to_linear(transfer, over[c]) +
                      below * uf_transfer_to_linear(transfer, under[c]);
        under[c] = uf_transfer_from_linear(transfer, light / alpha);
    }
    *under_alpha = alpha;
}

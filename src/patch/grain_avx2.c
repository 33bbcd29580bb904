/* Reading tiles of noise with AVX2: eight samples at a time instead of four. */
#include "patch/grain_tile.h"

#if defined(__x86_64__)

__attribute__((target("avx2"))) void uf_grain_read_avx2(const float *tile, const float turn[4],
                                                        const float *x_px, const float *y_px, float (*out)[4])
{
    uf_grain_read_inline(tile, turn, x_px, y_px, out);
}

#else
typedef int UfGrainNoAvx2; /* a file must hold something */
#endif

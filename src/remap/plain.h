/*
 * Interpolation in plain tiles: where nothing is averaged, nothing crosses an edge, and places are
 * polynomials (remap/tile.h). Nearly all of a picture is made of them.
 *
 * Samples of 16 bits and floats are weighed in single precision in one fixed order, without fused
 * multiply-add: the variants for wider instruction sets give the same bits as the scalar one, which is the
 * truth. With rows r and taps k of the samples s(r, k): column(k) = ((wy0 s(0,k) + wy1 s(1,k)) + wy2 s(2,k))
 * + wy3 s(3,k) and value = (wx0 column(0) + wx2 column(2)) + (wx1 column(1) + wx3 column(3)), and with two
 * taps an axis wy0 s(0,k) + wy1 s(1,k) and wx0 column(0) + wx1 column(1). Integers are rounded to the nearest
 * code (halves up) and clamped. 8-bit samples are weighed in whole numbers: remap/plain_bytes.h.
 *
 * Where there is alpha, pixels among whose taps one is not opaque go to the exact kernel (remap/kernels.h).
 */
#ifndef UF_REMAP_PLAIN_H
#define UF_REMAP_PLAIN_H

#include <underfoot/remap.h>

#include "remap/kernels.h"
#include "remap/tile.h"

typedef struct UfPlain {
    const UfSource *source;
    UfSampleRun *exact; /* of the same sampling */
} UfPlain;

/* Fills width x height pixels of a tile, at most UF_TILE_PX a side; the tile is one for which uf_plain_holds.
 */
typedef void UfPlainTile(const UfPlain *plain, const UfTile *tile, size_t width, size_t height, uint8_t *out,
                         size_t stride_bytes);

/*
 * Whether all taps of the tile lie inside the source, with room for reading whole vectors. With
 * source->spline they are those of sharp sampling.
 */
bool uf_plain_holds(const UfSource *source, const UfTile *tile);
/*
 * NULL for UF_SAMPLING_NEAREST, and for sharp sampling where there is alpha. Variants are chosen by
 * `cpu_flags` (base/cpu.h).
 */
UfPlainTile *uf_plain_tile(UfSampling sampling, UfSample sample, size_t channels, bool adds_alpha,
                           unsigned cpu_flags);

/* Where a sample's kernels stand in a table: 0 U8, 1 U16, 2 F32. */
static inline size_t uf_table_row(UfSample sample)
{
    return sample == UF_SAMPLE_U8 ? 0 : sample == UF_SAMPLE_U16 ? 1 : 2;
}

/* [uf_table_row][channels - 1][adds alpha] */
typedef UfPlainTile *UfPlainTable[3][UF_CHANNELS_MAX][2];
/* Two taps an axis fill no vector of AVX-512: there AVX2 is the quicker one. */
extern const UfPlainTable uf_plain_bilinear_avx2, uf_plain_bicubic_avx2, uf_plain_bicubic_avx512;
extern const UfPlainTable uf_plain_sharp, uf_plain_sharp_avx2; /* remap/plain_sharp.h */

#endif

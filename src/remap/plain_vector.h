/* What the kernels for x86's vectors share. Functions for AVX2 serve those with AVX-512, too. */
#ifndef UF_REMAP_PLAIN_VECTOR_H
#define UF_REMAP_PLAIN_VECTOR_H

#include <immintrin.h>

#include "remap/tile.h"
#include "remap/window.h"

#define UF_AVX2        __attribute__((target("avx2")))
#define UF_AVX2_INLINE static inline __attribute__((always_inline, target("avx2")))

/* 8 samples from number `first` on. */
UF_AVX2_INLINE __m256 uf_load_8(const uint8_t *at, size_t first, UfSample sample)
{
    const void *from = at + first * (size_t)sample;
    if (sample == UF_SAMPLE_U8)
        return _mm256_cvtepi32_ps(_mm256_cvtepu8_epi32(_mm_loadl_epi64(from)));
    if (sample == UF_SAMPLE_U16)
        return _mm256_cvtepi32_ps(_mm256_cvtepu16_epi32(_mm_loadu_si128(from)));
    return _mm256_loadu_ps(from);
}

/* Lanes from number `by` on, in front. */
UF_AVX2_INLINE __m256 uf_moved_8(__m256 v, int by)
{
    const __m256i lanes = _mm256_setr_epi32(by, by + 1, by + 2, by + 3, by + 4, by + 5, by + 6, by + 7);
    return _mm256_permutevar8x32_ps(v, lanes);
}

/* Writes four samples, of which those beyond the pixel will be overwritten, or lie in room of their own. */
UF_AVX2_INLINE void uf_store_4(uint8_t *out, __m128 value, UfSample sample)
{
    if (sample == UF_SAMPLE_F32) {
        _mm_storeu_ps((float *)(void *)out, value);
        return;
    }
    const __m128i codes = _mm_cvttps_epi32(_mm_add_ps(value, _mm_set1_ps(0.5f)));
    const __m128i words = _mm_packus_epi32(codes, codes);
    if (sample == UF_SAMPLE_U16) {
        _mm_storel_epi64((__m128i *)(void *)out, words);
        return;
    }
    const int bytes = _mm_cvtsi128_si32(_mm_packus_epi16(words, words));
    memcpy(out, &bytes, sizeof bytes);
}

/* How many pixels of a row uf_store_4 can write in place, from the left, without writing beyond the row. */
UF_AVX2_INLINE size_t uf_pixels_within(size_t width, size_t channels)
{
    const size_t beyond = (UF_CHANNELS_MAX - 1) / channels; /* pixels that four samples reach into */
    return width > beyond ? width - beyond : 0;
}

UF_AVX2_INLINE __m128 uf_with_alpha(__m128 value, size_t colours, UfSample sample)
{
    const __m128 full = _mm_set1_ps((float)uf_sample_max(sample));
    return colours == 1 ? _mm_blend_ps(value, full, 0xe) : _mm_blend_ps(value, full, 0x8);
}

/*
 * Asks for what the tile to the right will read: the last taps of a row, moved by as much as the row is long.
 * What a tile reads of the source's rows is too short for the processor to see what will be read next.
 * Where a row of the target runs across rows of the source, nearly each pixel has a line of its own.
 * Nothing happens where there is no memory.
 */
UF_AVX2_INLINE void uf_fetch_ahead(const uint8_t *last, const int32_t offset[UF_TILE_PX], size_t stride_bytes,
                                   size_t pixel_bytes)
{
    const ptrdiff_t length = offset[UF_TILE_PX - 1] - offset[0], row = (ptrdiff_t)stride_bytes;
    const bool crosses = length >= row || length <= -row;
    const size_t along = pixel_bytes * UF_TILE_PX > 128u ? 5 : UF_TILE_PX - 1; /* a line has 64 bytes */
    const size_t step = crosses ? 2 : along;
    for (size_t i = 0; i < UF_TILE_PX; i += step)
        _mm_prefetch((const char *)last + length + offset[i], _MM_HINT_T0);
}

#endif

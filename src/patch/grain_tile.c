/* Reading tiles of noise: two samples and two rows weighed in 16 bits, then in 32. */
#include "patch/grain_tile.h"

#include <string.h>

#include "base/clones.h"
#include "base/cpu.h"

#if defined(__x86_64__)
#include <immintrin.h>
#endif

#define TILE   UF_GRAIN_TILE
#define SIDE   UF_GRAIN_SIDE
#define CHUNK  UF_GRAIN_CHUNK
#define PLACES UF_GRAIN_PLACES

/* Where places lie in a tile: the first of four samples, and the weights of the next across and down. */
typedef struct Places {
    int32_t first[CHUNK]; /* in bytes */
    int32_t across[CHUNK], down[CHUNK];
} Places;

UF_CLONES static void find_places(const UfGrainTile *tile, const float *x_px, const float *y_px,
                                  Places *places)
{
    const float along = tile->turn[0], aside = tile->turn[1], left = tile->turn[2], top = tile->turn[3];
#pragma omp simd
    for (size_t i = 0; i < CHUNK; i++) {
        int32_t u = (int32_t)((along * x_px[i] - aside * y_px[i] + left) * PLACES);
        int32_t v = (int32_t)((aside * x_px[i] + along * y_px[i] + top) * PLACES);
        int32_t x = u >> UF_GRAIN_PLACE_BITS & (int32_t)(TILE - 1),
                y = v >> UF_GRAIN_PLACE_BITS & (int32_t)(TILE - 1);
        places->across[i] = u & (PLACES - 1);
        places->down[i] = v & (PLACES - 1);
        places->first[i] = 4 * (y * (int32_t)SIDE + x);
    }
}

static void read_tiles(const UfGrainTile *tiles, const Places *places, int32_t (*out)[4])
{
    memset(out, 0, CHUNK * sizeof *out);
    for (size_t t = 0; t < UF_GRAIN_TILES; t++)
        for (size_t i = 0; i < CHUNK; i++) {
            const int8_t *first = tiles[t].samples + places[t].first[i];
            int32_t across = places[t].across[i], down = places[t].down[i];
            for (size_t c = 0; c < 4; c++) {
                int32_t left = (PLACES - down) * first[c] + down * first[4 * SIDE + c];
                int32_t right = (PLACES - down) * first[4 + c] + down * first[4 * SIDE + 4 + c];
                out[i][c] += (PLACES - across) * left + across * right;
            }
        }
}

#if defined(__x86_64__)
#define AVX2 __attribute__((target("avx2")))

/* Weights of left and right in every two words, of the upper and the lower row in the bytes of every word. */
AVX2 static void pair_weights(Places *places)
{
#pragma omp simd
    for (size_t i = 0; i < CHUNK; i++) {
        places->across[i] = places->across[i] << 16 | (PLACES - places->across[i]);
        places->down[i] = (places->down[i] << 8 | (PLACES - places->down[i])) * 0x10001;
    }
}

/* Two neighbours of two rows, four channels each: the rows' bytes beside each other are weighed and added at
 * once. */
AVX2 static inline __m128i read_place(const UfGrainTile *tile, const Places *places, size_t i)
{
    const __m128i by_channel = _mm_setr_epi8(0, 1, 8, 9, 2, 3, 10, 11, 4, 5, 12, 13, 6, 7, 14, 15);
    const int8_t *first = tile->samples + places->first[i];
    __m128i upper = _mm_loadl_epi64((const __m128i *)(const void *)first);
    __m128i lower = _mm_loadl_epi64((const __m128i *)(const void *)(first + 4 * SIDE));
    __m128i pair = _mm_maddubs_epi16(_mm_set1_epi32(places->down[i]), _mm_unpacklo_epi8(upper, lower));
    return _mm_madd_epi16(_mm_shuffle_epi8(pair, by_channel), _mm_set1_epi32(places->across[i]));
}

AVX2 static void read_tiles_avx2(const UfGrainTile *tiles, Places *places, int32_t (*out)[4])
{
    for (size_t t = 0; t < UF_GRAIN_TILES; t++)
        pair_weights(&places[t]);
    for (size_t i = 0; i < CHUNK; i++) {
        __m128i sum = read_place(&tiles[0], &places[0], i);
        for (size_t t = 1; t < UF_GRAIN_TILES; t++)
            sum = _mm_add_epi32(sum, read_place(&tiles[t], &places[t], i));
        _mm_storeu_si128((__m128i *)(void *)out[i], sum);
    }
}
#endif

void uf_grain_read(const UfGrainTile tiles[UF_GRAIN_TILES], const float *x_px, const float *y_px,
                   int32_t (*out)[4])
{
    Places places[UF_GRAIN_TILES];
    for (size_t t = 0; t < UF_GRAIN_TILES; t++)
        find_places(&tiles[t], x_px, y_px, &places[t]);
#if defined(__x86_64__)
    if ((uf_cpu_flags() & UF_CPU_AVX2) != 0) {
        read_tiles_avx2(tiles, places, out);
        return;
    }
#endif
    read_tiles(tiles, places, out);
}

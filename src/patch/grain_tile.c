/* Reading tiles of noise: two samples and two rows weighed in 16 bits, then in 32. */
#include "patch/grain_tile.h"

#include <string.h>

#ifdef __SSE2__
#include <emmintrin.h>
#endif

#define TILE   UF_GRAIN_TILE
#define SIDE   UF_GRAIN_SIDE
#define CHUNK  UF_GRAIN_CHUNK
#define PLACES UF_GRAIN_PLACES

/* Where places lie in a tile: the first of four samples, and the parts of the next across and down. */
typedef struct Places {
    int32_t first[CHUNK]; /* in bytes */
    int32_t across[CHUNK], down[CHUNK];
} Places;

static void find_places(const UfGrainTile *tile, const float *x_px, const float *y_px, Places *places)
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

#ifdef __SSE2__
/* Two neighbours of a row, four channels each. */
static inline __m128i two_samples(const uint8_t *at)
{
    return _mm_unpacklo_epi8(_mm_loadl_epi64((const __m128i *)(const void *)at), _mm_setzero_si128());
}

static inline __m128i read_place(const uint8_t *first, int32_t across, int32_t down)
{
    __m128i upper = _mm_mullo_epi16(two_samples(first), _mm_set1_epi16((int16_t)(PLACES - down)));
    __m128i lower = _mm_mullo_epi16(two_samples(first + 4 * SIDE), _mm_set1_epi16((int16_t)down));
    __m128i pair = _mm_add_epi16(upper, lower);
    return _mm_madd_epi16(_mm_unpacklo_epi16(pair, _mm_srli_si128(pair, 8)),
                          _mm_set1_epi32(across << 16 | (PLACES - across)));
}
#endif

static void add_tile(const UfGrainTile *tile, const Places *places, int32_t (*out)[4])
{
    for (size_t i = 0; i < CHUNK; i++) {
        const uint8_t *first = tile->samples + places->first[i];
        int32_t across = places->across[i], down = places->down[i];
#ifdef __SSE2__
        __m128i *sum = (__m128i *)(void *)out[i];
        _mm_storeu_si128(sum, _mm_add_epi32(_mm_loadu_si128(sum), read_place(first, across, down)));
#else
        for (size_t c = 0; c < 4; c++) {
            int32_t left = (PLACES - down) * first[c] + down * first[4 * SIDE + c];
            int32_t right = (PLACES - down) * first[4 + c] + down * first[4 * SIDE + 4 + c];
            out[i][c] += (PLACES - across) * left + across * right;
        }
#endif
    }
}

void uf_grain_read(const UfGrainTile tiles[UF_GRAIN_TILES], const float *x_px, const float *y_px,
                   int32_t (*out)[4])
{
    Places places;
    for (size_t i = 0; i < CHUNK; i++)
        for (size_t c = 0; c < 4; c++)
            out[i][c] = -UF_GRAIN_TILES * UF_GRAIN_MIDDLE * PLACES * PLACES;
    for (size_t t = 0; t < UF_GRAIN_TILES; t++) {
        find_places(&tiles[t], x_px, y_px, &places);
        add_tile(&tiles[t], &places, out);
    }
}

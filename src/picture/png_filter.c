/* PNG's filters (W3C PNG Specification, 9.2): what a byte differs by from a guess out of its neighbours. */
#include "picture/png_coder.h"

enum { NONE, LEFT, UP, MEAN, PAETH, FILTERS };

/* 9.4: the neighbour that is nearest to left + above - corner; ties go to left, then to above. */
static uint8_t paeth(int left, int above, int corner)
{
    int from_left = above - corner, from_above = left - corner, from_corner = from_left + from_above;
    from_left = from_left < 0 ? -from_left : from_left;
    from_above = from_above < 0 ? -from_above : from_above;
    from_corner = from_corner < 0 ? -from_corner : from_corner;
    int guess = from_above <= from_corner ? above : corner;
    return (uint8_t)(from_left <= from_above && from_left <= from_corner ? left : guess);
}

/* The bytes that have a left neighbour, filter by filter, so that each loop is one vector's work. */
static void filter_rest(const uint8_t *row, const uint8_t *above, size_t from, size_t count, size_t step,
                        uint8_t *const out[FILTERS])
{
    uint8_t *left = out[LEFT], *up = out[UP], *mean = out[MEAN], *best = out[PAETH];
#pragma omp simd
    for (size_t i = from; i < count; i++)
        left[i] = (uint8_t)(row[i] - row[i - step]);
#pragma omp simd
    for (size_t i = from; i < count; i++)
        up[i] = (uint8_t)(row[i] - above[i]);
#pragma omp simd
    for (size_t i = from; i < count; i++)
        mean[i] = (uint8_t)(row[i] - ((row[i - step] + above[i]) >> 1));
#pragma omp simd
    for (size_t i = from; i < count; i++)
        best[i] = (uint8_t)(row[i] - paeth(row[i - step], above[i], above[i - step]));
}

static void filter_all(const uint8_t *row, const uint8_t *above, size_t count, size_t step,
                       uint8_t *const out[FILTERS])
{
    for (size_t i = 0; i < step && i < count; i++) {
        out[LEFT][i] = row[i];
        out[UP][i] = out[PAETH][i] = (uint8_t)(row[i] - above[i]);
        out[MEAN][i] = (uint8_t)(row[i] - (above[i] >> 1));
    }
    filter_rest(row, above, step, count, step, out);
}

/* Bytes taken as signed. */
static size_t weight_of(const uint8_t *bytes, size_t count)
{
    size_t sum = 0;
#pragma omp simd reduction(+ : sum)
    for (size_t i = 0; i < count; i++)
        sum += bytes[i] < 128 ? bytes[i] : 256u - bytes[i];
    return sum;
}

void uf_png_filter(const uint8_t *row, const uint8_t *above, size_t row_bytes, size_t pixel_bytes,
                   uint8_t *scratch, uint8_t *out)
{
    uint8_t *filtered[FILTERS];
    for (size_t f = 0; f < FILTERS; f++)
        filtered[f] = scratch + f * row_bytes;
    memcpy(filtered[NONE], row, row_bytes);
    filter_all(row, above, row_bytes, pixel_bytes, filtered);
    size_t best = NONE, least = weight_of(row, row_bytes);
    for (size_t f = LEFT; f < FILTERS; f++) {
        size_t weight = weight_of(filtered[f], row_bytes);
        if (weight < least) {
            least = weight;
            best = f;
        }
    }
    out[0] = (uint8_t)best;
    memcpy(out + 1, filtered[best], row_bytes);
}

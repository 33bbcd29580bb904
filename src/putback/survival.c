/* Least squares over a sliding square, by sums along rows and then down columns. */
#include "putback/survival.h"

#include <math.h>

/* Steps of the old picture below this are noise of rounding: they count for survival. A half of 1/255,
 * squared. */
#define PLAIN_STEP2 (0.25f / (255.0f * 255.0f))

static bool is_changed(const UfPatchOfPart *patch, size_t x, size_t y)
{
    const float *difference = patch->difference + (y * patch->width + x) * patch->samples;
    bool any = false;
    for (size_t c = 0; c < patch->samples; c++)
        any = any || difference[c] != 0;
    return any && patch->weight[y * patch->weight_stride + x] == 255;
}

/* Adds the step from pixel `a` to pixel `b` to the sums of products and of squares. */
static void add_step(const UfPatchOfPart *patch, size_t a, size_t b, float *product, float *square)
{
    const float *x = patch->anew, *d = patch->difference;
    for (size_t c = 0; c < patch->samples; c++) {
        float old = x[b * patch->samples + c] - x[a * patch->samples + c];
        float now = old + d[b * patch->samples + c] - d[a * patch->samples + c];
        *product += old * now + PLAIN_STEP2;
        *square += old * old + PLAIN_STEP2;
    }
}

static void find_steps(const UfPatchOfPart *patch, const float *changed, float *product, float *square)
{
    size_t width = patch->width;
    for (size_t y = 0; y < patch->height; y++)
        for (size_t x = 0; x < width; x++) {
            size_t at = y * width + x;
            product[at] = square[at] = 0;
            if (changed[at] == 0)
                continue;
            if (x > 0 && changed[at - 1] != 0)
                add_step(patch, at - 1, at, &product[at], &square[at]);
            if (y > 0 && changed[at - width] != 0)
                add_step(patch, at - width, at, &product[at], &square[at]);
        }
}

/* Sums over 2 r + 1 values that lie `stride` apart, in a line of `count`. */
static void sum_line(const float *in, size_t count, size_t stride, float *out)
{
    const size_t r = UF_SURVIVAL_RADIUS_PX;
    for (size_t i = 0; i < count; i++) {
        size_t from = i > r ? i - r : 0, to = i + r < count ? i + r : count - 1;
        float sum = 0;
        for (size_t k = from; k <= to; k++)
            sum += in[k * stride];
        out[i * stride] = sum;
    }
}

/* In place, with room for as much again. */
static void sum_square(float *values, size_t width, size_t height, float *room)
{
    for (size_t y = 0; y < height; y++)
        sum_line(values + y * width, width, 1, room + y * width);
    for (size_t x = 0; x < width; x++)
        sum_line(room + x, height, width, values + x);
}

void uf_survival_find(const UfPatchOfPart *patch, float *replaced, float *room)
{
    size_t width = patch->width, height = patch->height, count = width * height;
    float *product = room, *square = room + count, *spare = room + 2 * count;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++)
            replaced[y * width + x] = is_changed(patch, x, y);
    find_steps(patch, replaced, product, square);
    sum_square(product, width, height, spare);
    sum_square(square, width, height, spare);
    for (size_t i = 0; i < count; i++)
        if (replaced[i] != 0)
            replaced[i] = square[i] > 0 ? 1 - fminf(fmaxf(product[i] / square[i], 0), 1) : 0;
}

/* One-channel pictures with gaps. Gaussians are normalised: sum(g known value)/sum(g known). */
#include "patch/grey.h"

#include <math.h>

#include "base/memory.h"

#define MOST_TAPS 16
/* From here on three boxes do for a Gaussian (W. M. Wells, IEEE TPAMI 8(2), 1986). */
#define WIDE_SIGMA 4.0
#define STRIP      64

UfStatus uf_grey_create(size_t width, size_t height, UfGrey *out, UfReport *report)
{
    UfGrey grey = {.width = width, .height = height};
    size_t pixels;
    if (!uf_product(width, height, &pixels))
        return uf_fail_memory(report);
    grey.value = uf_alloc_zero(pixels, sizeof *grey.value);
    grey.known = uf_alloc_zero(pixels, sizeof *grey.known);
    if (grey.value == NULL || grey.known == NULL) {
        uf_grey_clear(&grey);
        return uf_fail_memory(report);
    }
    *out = grey;
    return UF_OK;
}

void uf_grey_clear(UfGrey *grey)
{
    free(grey->value);
    free(grey->known);
    *grey = (UfGrey){0};
}

UfStatus uf_grey_of_colour(size_t width, size_t height, const float *value, const uint8_t *known,
                           size_t channels, UfGrey *out, UfReport *report)
{
    UfStatus status = uf_grey_create(width, height, out, report);
    if (status != UF_OK)
        return status;
    for (size_t i = 0; i < width * height; i++) {
        float sum = 0;
        for (size_t c = 0; c < channels; c++)
            sum += value[4 * i + c];
        out->known[i] = known[i];
        out->value[i] = known[i] ? sum / (float)channels : 0;
    }
    return UF_OK;
}

UfStatus uf_grey_halve(const UfGrey *from, UfGrey *out, UfReport *report)
{
    UfGrey half;
    UfStatus status = uf_grey_create((from->width + 1) / 2, (from->height + 1) / 2, &half, report);
    if (status != UF_OK)
        return status;
    for (size_t y = 0; y < half.height; y++)
        for (size_t x = 0; x < half.width; x++) {
            float sum = 0;
            int count = 0;
            for (size_t k = 0; k < 4; k++) {
                size_t i = 2 * x + (k & 1), j = 2 * y + (k >> 1);
                if (i < from->width && j < from->height && from->known[j * from->width + i]) {
                    sum += from->value[j * from->width + i];
                    count++;
                }
            }
            half.known[y * half.width + x] = count == 4;
            half.value[y * half.width + x] = count > 0 ? sum / (float)count : 0;
        }
    *out = half;
    return UF_OK;
}

/* A row of a Gaussian's sums along the row; beyond the ends is nothing. */
static void blur_row(const float *in, float *out, size_t width, const float *taps, size_t reach)
{
    for (size_t x = 0; x < width; x++)
        out[x] = taps[0] * in[x];
    for (size_t k = 1; k <= reach && k < width; k++) {
        for (size_t x = k; x < width; x++)
            out[x] += taps[k] * in[x - k];
        for (size_t x = 0; x + k < width; x++)
            out[x] += taps[k] * in[x + k];
    }
}

/* A row of a Gaussian's sums across rows. */
static void blur_across(const float *plane, float *out, size_t y, size_t width, size_t height,
                        const float *taps, size_t reach)
{
    memset(out, 0, width * sizeof *out);
    for (size_t j = y > reach ? y - reach : 0; j <= y + reach && j < height; j++) {
        float tap = taps[j > y ? j - y : y - j];
        const float *in = plane + j * width;
        for (size_t x = 0; x < width; x++)
            out[x] += tap * in[x];
    }
}

static void blur_narrow(float *plane, float *spare, size_t width, size_t height, double sigma, int threads)
{
    float taps[MOST_TAPS];
    size_t reach = (size_t)ceil(3 * sigma);
    double sum = 0;
    for (size_t k = 0; k <= reach; k++)
        sum += (k == 0 ? 1 : 2) * exp(-0.5 * (double)(k * k) / (sigma * sigma));
    for (size_t k = 0; k <= reach; k++)
        taps[k] = (float)(exp(-0.5 * (double)(k * k) / (sigma * sigma)) / sum);
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t y = 0; y < height; y++)
        blur_row(plane + y * width, spare + y * width, width, taps, reach);
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t y = 0; y < height; y++)
        blur_across(spare, plane + y * width, y, width, height, taps, reach);
}

/* Mean over 2 reach + 1 pixels along a row, by a running sum; beyond the ends is nothing. */
static void box_row(const float *in, float *out, size_t width, size_t reach)
{
    double sum = 0, whole = 2 * (double)reach + 1;
    for (size_t x = 0; x < reach && x < width; x++)
        sum += (double)in[x];
    for (size_t x = 0; x < width; x++) {
        sum += x + reach < width ? (double)in[x + reach] : 0;
        out[x] = (float)(sum / whole);
        sum -= x >= reach ? (double)in[x - reach] : 0;
    }
}

/* The same down a strip of columns. */
static void box_strip(const float *in, float *out, size_t width, size_t height, size_t x0, size_t x1,
                      size_t reach)
{
    double sum[STRIP] = {0}, whole = 2 * (double)reach + 1;
    for (size_t y = 0; y < reach && y < height; y++)
        for (size_t x = x0; x < x1; x++)
            sum[x - x0] += (double)in[y * width + x];
    for (size_t y = 0; y < height; y++) {
        for (size_t x = x0; x < x1 && y + reach < height; x++)
            sum[x - x0] += (double)in[(y + reach) * width + x];
        for (size_t x = x0; x < x1; x++)
            out[y * width + x] = (float)(sum[x - x0] / whole);
        for (size_t x = x0; x < x1 && y >= reach; x++)
            sum[x - x0] -= (double)in[(y - reach) * width + x];
    }
}

/* Three boxes, whose variances (n^2 - 1)/12 add up. */
static void blur_wide(float *plane, float *spare, size_t width, size_t height, double sigma, int threads)
{
    size_t strips = (width + STRIP - 1) / STRIP;
    for (int pass = 0; pass < 3; pass++) {
        /* the next odd size, so that the three together come nearest */
        size_t reach = (size_t)fmax(1, floor((sqrt(4 * sigma * sigma + 1) - 1) / 2 + 0.25 + 0.25 * pass));
#pragma omp parallel for num_threads(threads) schedule(static)
        for (size_t y = 0; y < height; y++)
            box_row(plane + y * width, spare + y * width, width, reach);
#pragma omp parallel for num_threads(threads) schedule(static)
        for (size_t i = 0; i < strips; i++)
            box_strip(spare, plane, width, height, i * STRIP,
                      (i + 1) * STRIP < width ? (i + 1) * STRIP : width, reach);
    }
}

static void blur_plane(float *plane, float *spare, size_t width, size_t height, double sigma, int threads)
{
    if (sigma < WIDE_SIGMA)
        blur_narrow(plane, spare, width, height, sigma, threads);
    else
        blur_wide(plane, spare, width, height, sigma, threads);
}

UfStatus uf_grey_blur(const UfGrey *from, double sigma, int threads, UfGrey *out, UfReport *report)
{
    size_t pixels = from->width * from->height;
    float *sum = uf_alloc(pixels, sizeof *sum), *weight = uf_alloc(pixels, sizeof *weight);
    float *spare = uf_alloc(pixels, sizeof *spare);
    UfStatus status = sum == NULL || weight == NULL || spare == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK && out != from)
        status = uf_grey_create(from->width, from->height, out, report);
    if (status != UF_OK)
        goto cleanup;
    double mean = 0, count = 0;
    for (size_t i = 0; i < pixels; i++) {
        weight[i] = from->known[i];
        sum[i] = from->known[i] ? from->value[i] : 0;
        mean += (double)sum[i];
        count += from->known[i];
    }
    mean = count > 0 ? mean / count : 0;
    blur_plane(sum, spare, from->width, from->height, sigma, threads);
    blur_plane(weight, spare, from->width, from->height, sigma, threads);
    for (size_t i = 0; i < pixels; i++) {
        out->known[i] = from->known[i];
        out->value[i] = weight[i] > 1e-4F ? sum[i] / weight[i] : (float)mean;
    }
cleanup:
    free(sum);
    free(weight);
    free(spare);
    return status;
}

UfStatus uf_grey_detail(const UfGrey *from, double sigma, double floor, int threads, UfGrey *out,
                        UfReport *report)
{
    size_t pixels = from->width * from->height;
    UfGrey mean = {0}, square = {0}, detail = {0};
    UfStatus status = uf_grey_create(from->width, from->height, &detail, report);
    if (status == UF_OK)
        status = uf_grey_blur(from, sigma, threads, &mean, report);
    if (status != UF_OK)
        goto cleanup;
    for (size_t i = 0; i < pixels; i++) {
        detail.known[i] = from->known[i];
        detail.value[i] = from->known[i] ? from->value[i] - mean.value[i] : 0;
        mean.value[i] = detail.value[i] * detail.value[i];
    }
    if ((status = uf_grey_blur(&mean, 2 * sigma, threads, &square, report)) != UF_OK)
        goto cleanup;
    for (size_t i = 0; i < pixels; i++)
        detail.value[i] /= sqrtf(square.value[i] + (float)(floor * floor));
    *out = detail;
    detail = (UfGrey){0};
cleanup:
    uf_grey_clear(&mean);
    uf_grey_clear(&square);
    uf_grey_clear(&detail);
    return status;
}

bool uf_grey_at(const UfGrey *grey, UfSpot at, double *out)
{
    double u = at.x - 0.5, v = at.y - 0.5;
    if (!(u >= 0 && v >= 0 && u < (double)grey->width - 1 && v < (double)grey->height - 1))
        return false;
    size_t x = (size_t)u, y = (size_t)v, i = y * grey->width + x;
    if (!(grey->known[i] & grey->known[i + 1] & grey->known[i + grey->width] &
          grey->known[i + grey->width + 1]))
        return false;
    u -= (double)x;
    v -= (double)y;
    const float *top = grey->value + i, *bottom = top + grey->width;
    *out = ((double)top[0] * (1 - u) + (double)top[1] * u) * (1 - v) +
           ((double)bottom[0] * (1 - u) + (double)bottom[1] * u) * v;
    return true;
}

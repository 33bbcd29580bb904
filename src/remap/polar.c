/* Low-passing the rows near the poles. */
#include "remap/polar.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/clones.h"
#include "base/memory.h"
#include "remap/lanes.h"
#include "remap/lobe.h"

/* From here on the transform is the quicker way. */
#define SUM_LOBE_PX_MAX 16
#define SUM_REACH_MAX   (UF_LOBES * SUM_LOBE_PX_MAX)

/* Sums of so many samples are held in registers. */
#define ABREAST (4 * (size_t)UF_LANES)

/* Steps on either side in which there are weights. */
static size_t reach_of(double lobe_px)
{
    return (size_t)ceil(UF_LOBES * lobe_px) - 1;
}

static double lobe_of(double length_px)
{
    return 1 + uf_lobe_share(length_px) * (length_px - 1);
}

UfStatus uf_polar_create(size_t width_px, size_t channels, double longest_px, UfPolar *out, UfReport *report)
{
    UfPolar polar = {.width_px = width_px, .channels = channels};
    UfPolarRoom room;
    if (lobe_of(longest_px) <= SUM_LOBE_PX_MAX) {
        *out = polar;
        return UF_OK;
    }
    UfStatus status = uf_polar_room_create(&polar, &room, report);
    if (status != UF_OK)
        return status;
    polar.forth = fftw_plan_dft_r2c_1d((int)width_px, room.values, room.bins, FFTW_ESTIMATE);
    polar.back = fftw_plan_dft_c2r_1d((int)width_px, room.bins, room.values, FFTW_ESTIMATE);
    uf_polar_room_free(&room);
    *out = polar;
    return polar.forth != NULL && polar.back != NULL ? UF_OK : uf_fail_memory(report);
}

void uf_polar_free(UfPolar *polar)
{
    if (polar->forth != NULL)
        fftw_destroy_plan(polar->forth);
    if (polar->back != NULL)
        fftw_destroy_plan(polar->back);
    *polar = (UfPolar){0};
}

UfStatus uf_polar_room_create(const UfPolar *polar, UfPolarRoom *out, UfReport *report)
{
    const size_t bins = polar->width_px / 2 + 1;
    *out = (UfPolarRoom){
        .line = uf_alloc_zero((polar->width_px + 2 * (size_t)SUM_REACH_MAX) * polar->channels + ABREAST,
                              sizeof *out->line),
        .values = fftw_alloc_real(polar->width_px),
        .bins = fftw_alloc_complex(bins),
        .response = fftw_alloc_complex(bins),
    };
    if (out->line != NULL && out->values != NULL && out->bins != NULL && out->response != NULL)
        return UF_OK;
    uf_polar_room_free(out);
    return uf_fail_memory(report);
}

void uf_polar_room_free(UfPolarRoom *room)
{
    free(room->line);
    fftw_free(room->values);
    fftw_free(room->bins);
    fftw_free(room->response);
    *room = (UfPolarRoom){0};
}

/* The row once more, with what lies beyond the seam on both sides. */
static void unroll(const UfPolar *polar, size_t reach, const float *samples, float *line)
{
    const size_t width = polar->width_px, channels = polar->channels;
    for (size_t i = 0; i < reach; i++) {
        size_t before = (width - (reach - i) % width) % width, after = i % width;
        memcpy(line + i * channels, samples + before * channels, channels * sizeof *line);
        memcpy(line + (reach + width + i) * channels, samples + after * channels, channels * sizeof *line);
    }
    memcpy(line + reach * channels, samples, width * channels * sizeof *line);
}

/* `middle` holds the row, and `reach` pixels on either side of it, and may be read ABREAST floats further. */
UF_CLONES static void sum_up(const float *middle, const float *weights, size_t reach, size_t channels,
                             size_t count, float *out)
{
    for (size_t from = 0; from < count; from += ABREAST) {
        const UfLanesAt *here = (const UfLanesAt *)(middle + from);
        const size_t some = count - from < ABREAST ? count - from : ABREAST;
        UfLanes sums[4];
        UfLanes a = weights[0] * here[0], b = weights[0] * here[1];
        UfLanes c = weights[0] * here[2], d = weights[0] * here[3];
        for (size_t k = 1; k <= reach; k++) {
            const UfLanesAt *before = (const UfLanesAt *)(middle + from - k * channels);
            const UfLanesAt *after = (const UfLanesAt *)(middle + from + k * channels);
            a += weights[k] * (before[0] + after[0]);
            b += weights[k] * (before[1] + after[1]);
            c += weights[k] * (before[2] + after[2]);
            d += weights[k] * (before[3] + after[3]);
        }
        sums[0] = a, sums[1] = b, sums[2] = c, sums[3] = d;
        memcpy(out + from, sums, some * sizeof *out);
    }
}

static void filter_by_sums(const UfPolar *polar, double lobe_px, float *line, float *samples)
{
    const size_t reach = reach_of(lobe_px), channels = polar->channels;
    float weights[SUM_REACH_MAX + 1];
    double sum = 1;
    for (size_t k = 1; k <= reach; k++)
        sum += 2 * uf_lobe_weight((double)k, lobe_px);
    for (size_t k = 0; k <= reach; k++)
        weights[k] = (float)(uf_lobe_weight((double)k, lobe_px) / sum);
    unroll(polar, reach, samples, line);
    sum_up(line + reach * channels, weights, reach, channels, polar->width_px * channels, samples);
}

/* The response is real: the weights are the same on both sides. */
static void find_response(const UfPolar *polar, double lobe_px, UfPolarRoom *room)
{
    const size_t width = polar->width_px, reach = reach_of(lobe_px);
    double sum = 0;
    memset(room->values, 0, width * sizeof *room->values);
    for (size_t k = 0; k <= reach; k++) {
        double w = uf_lobe_weight((double)k, lobe_px);
        room->values[k % width] += w;
        sum += w;
        if (k == 0)
            continue;
        room->values[(width - k % width) % width] += w;
        sum += w;
    }
    for (size_t i = 0; i < width; i++)
        room->values[i] /= sum * (double)width; /* FFTW's transforms are not scaled */
    fftw_execute_dft_r2c(polar->forth, room->values, room->response);
}

static void filter_by_transform(const UfPolar *polar, double lobe_px, UfPolarRoom *room, float *samples)
{
    const size_t width = polar->width_px, channels = polar->channels;
    find_response(polar, lobe_px, room);
    for (size_t c = 0; c < channels; c++) {
        for (size_t x = 0; x < width; x++)
            room->values[x] = (double)samples[x * channels + c];
        fftw_execute_dft_r2c(polar->forth, room->values, room->bins);
        for (size_t i = 0; i < width / 2 + 1; i++) {
            room->bins[i][0] *= room->response[i][0];
            room->bins[i][1] *= room->response[i][0];
        }
        fftw_execute_dft_c2r(polar->back, room->bins, room->values);
        for (size_t x = 0; x < width; x++)
            samples[x * channels + c] = (float)room->values[x];
    }
}

void uf_polar_filter(const UfPolar *polar, double length_px, UfPolarRoom *room, float *samples)
{
    double lobe_px = lobe_of(length_px);
    if (lobe_px <= 1)
        return;
    if (lobe_px <= SUM_LOBE_PX_MAX)
        filter_by_sums(polar, lobe_px, room->line, samples);
    else
        filter_by_transform(polar, lobe_px, room, samples);
}

/*
 * Another size, one axis after the other.
 *
 * An axis that gets smaller averages over the exact stretch that a new pixel covers, an axis that gets larger
 * is interpolated. When either gets smaller, the work is done in linear light, otherwise on stored values;
 * alpha is premultiplied. Where a full turn goes on over the poles (wrapping, and twice as wide as high), so
 * do the taps.
 */
#include <underfoot/remap.h>

#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "base/report.h"
#include "picture/colour.h"
#include "remap/kernels.h"
#include "remap/options.h"
#include "remap/spline.h"
#include "remap/window.h"

/* What one new pixel is made of: `count` old ones from `first` on (which may lie outside), and their weights.
 */
typedef struct Span {
    ptrdiff_t first;
    size_t count;
    const double *weights;
} Span;

typedef struct Axis {
    Span *spans;
    double *weights;
} Axis;

typedef struct Job {
    UfPicture *target;
    UfSource source;
    const UfTransfer *transfer;
    UfSample sample;
    size_t channels, colours; /* of the source; colours leave alpha out */
    size_t out_channels;
    bool linear;
    bool wraps, over_poles;
    Axis across, down;
    size_t width_px, height_px;
} Job;

static void free_axis(Axis *axis)
{
    free(axis->spans);
    free(axis->weights);
}

/* How much of the old pixel k lies in [from, to). */
static double overlap(double from, double to, ptrdiff_t k)
{
    return fmax(0, fmin(to, (double)k + 1) - fmax(from, (double)k));
}

static size_t area_weights(double from, double to, ptrdiff_t *first, double *weights)
{
    size_t count = 0;
    *first = (ptrdiff_t)from;
    for (ptrdiff_t k = *first; (double)k < to; k++)
        weights[count++] = overlap(from, to, k) / (to - from);
    return count;
}

#define SHARP_TAPS (UF_SPLINE_TAPS + 2 * UF_SPLINE_REACH)

/* The spline's taps with its filter worked in. */
static size_t sharp_weights(ptrdiff_t below, double t, ptrdiff_t *first, double *weights)
{
    double taps[UF_SPLINE_TAPS];
    uf_spline_weights(t, taps);
    *first = below - 2 - UF_SPLINE_REACH;
    for (int i = 0; i < SHARP_TAPS; i++) {
        weights[i] = 0;
        for (int k = 0; k < UF_SPLINE_TAPS; k++)
            if (abs(i - UF_SPLINE_REACH - k) <= UF_SPLINE_REACH)
                weights[i] += taps[k] * uf_spline_response(i - UF_SPLINE_REACH - k);
    }
    return SHARP_TAPS;
}

static size_t tap_weights(double at, UfSampling sampling, ptrdiff_t *first, double *weights)
{
    if (sampling == UF_SAMPLING_NEAREST) {
        *first = (ptrdiff_t)at;
        weights[0] = 1;
        return 1;
    }
    ptrdiff_t below = uf_floor_index(at - 0.5);
    double t = at - 0.5 - (double)below;
    if (sampling == UF_SAMPLING_BILINEAR) {
        *first = below;
        weights[0] = 1 - t;
        weights[1] = t;
        return 2;
    }
    if (sampling == UF_SAMPLING_SHARP)
        return sharp_weights(below, t, first, weights);
    *first = below - 1;
    uf_keys_weights(t, weights);
    return 4;
}

/* Products of whole numbers first: for whole factors every boundary is exact. */
static bool make_axis(size_t old_px, size_t new_px, UfSampling sampling, Axis *out)
{
    bool interpolates = sampling == UF_SAMPLING_NEAREST || old_px <= new_px;
    size_t taps = interpolates ? 4 : old_px / new_px + 3, total;
    if (interpolates && sampling == UF_SAMPLING_SHARP)
        taps = SHARP_TAPS;
    Axis axis = {0};
    if (!uf_product(new_px, taps, &total))
        return false;
    axis.spans = uf_alloc(new_px, sizeof *axis.spans);
    axis.weights = uf_alloc(total, sizeof *axis.weights);
    if (axis.spans == NULL || axis.weights == NULL) {
        free_axis(&axis);
        return false;
    }
    for (size_t i = 0; i < new_px; i++) {
        Span *span = &axis.spans[i];
        double *weights = axis.weights + i * taps;
        span->weights = weights;
        if (interpolates)
            span->count = tap_weights((double)((2 * i + 1) * old_px) / (double)(2 * new_px), sampling,
                                      &span->first, weights);
        else
            span->count = area_weights((double)(i * old_px) / (double)new_px,
                                       (double)((i + 1) * old_px) / (double)new_px, &span->first, weights);
    }
    *out = axis;
    return true;
}

static double value_of(const Job *job, const uint8_t *at)
{
    if (!job->linear)
        return uf_sample_load(at, job->sample);
    if (job->sample == UF_SAMPLE_F32) {
        float value = (float)uf_sample_load(at, job->sample);
        return (double)(job->source.transfer == NULL ? value : uf_transfer_to_linear(job->transfer, value));
    }
    double code = uf_sample_load(at, job->sample);
    return job->source.linear == NULL ? code / uf_sample_max(job->sample)
                                      : (double)job->source.linear[(size_t)code];
}

/* Adds weight times a row of the source, premultiplied, `shift` pixels round the turn, to `line`. */
static void add_row(const Job *job, ptrdiff_t row, ptrdiff_t shift, double weight, double *line)
{
    const size_t bytes = (size_t)job->sample, pixel_bytes = job->channels * bytes;
    const uint8_t *data = job->source.data + (size_t)row * job->source.stride_bytes;
    size_t width = (size_t)job->source.width_px, at = (size_t)shift % width;
    for (size_t x = 0; x < width; x++, at = at + 1 == width ? 0 : at + 1, line += job->channels) {
        const uint8_t *pixel = data + at * pixel_bytes;
        double part = weight;
        if (job->colours < job->channels) {
            part *= uf_sample_load(pixel + job->colours * bytes, job->sample) / uf_sample_max(job->sample);
            line[job->colours] += part;
        }
        for (size_t c = 0; c < job->colours; c++)
            line[c] += part * value_of(job, pixel + c * bytes);
    }
}

static void add_row_anywhere(const Job *job, ptrdiff_t row, double weight, double *line)
{
    ptrdiff_t height = job->source.height_px, width = job->source.width_px, shift = 0;
    while (job->over_poles && (row < 0 || row >= height)) {
        row = row < 0 ? -1 - row : 2 * height - 1 - row;
        shift += width / 2;
    }
    row = row < 0 ? 0 : row >= height ? height - 1 : row;
    if (weight != 0)
        add_row(job, row, shift, weight, line);
}

static ptrdiff_t column_of(const Job *job, ptrdiff_t x)
{
    ptrdiff_t width = job->source.width_px;
    if (job->wraps)
        return (x % width + width) % width;
    return x < 0 ? 0 : x >= width ? width - 1 : x;
}

static void store(const Job *job, const double *sums, uint8_t *out)
{
    const double max = uf_sample_max(job->sample);
    const bool has_alpha = job->colours < job->channels;
    for (size_t c = 0; c < job->colours; c++) {
        double value = sums[c];
        if (has_alpha)
            value = sums[job->colours] > 0 ? value / sums[job->colours] : 0;
        if (job->linear) {
            if (job->source.transfer != NULL)
                value = (double)uf_transfer_from_linear(job->transfer, (float)value);
            value *= max;
        }
        uf_sample_store(out + c * (size_t)job->sample, value, job->sample);
    }
    if (job->out_channels > job->colours) {
        double alpha = has_alpha ? fmin(fmax(sums[job->colours], 0), 1) : 1;
        uf_sample_store(out + job->colours * (size_t)job->sample, alpha * max, job->sample);
    }
}

static void make_row(const Job *job, size_t y_px, double *line)
{
    const Span *rows = &job->down.spans[y_px];
    memset(line, 0, (size_t)job->source.width_px * job->channels * sizeof *line);
    for (size_t k = 0; k < rows->count; k++)
        add_row_anywhere(job, rows->first + (ptrdiff_t)k, rows->weights[k], line);
    uint8_t *out = uf_picture_row(job->target, y_px);
    for (size_t x = 0; x < job->width_px; x++, out += job->out_channels * (size_t)job->sample) {
        const Span *columns = &job->across.spans[x];
        double sums[UF_CHANNELS_MAX] = {0};
        for (size_t k = 0; k < columns->count; k++) {
            ptrdiff_t column = column_of(job, columns->first + (ptrdiff_t)k);
            const double *pixel = line + (size_t)column * job->channels;
            for (size_t c = 0; c < job->channels; c++)
                sums[c] += columns->weights[k] * pixel[c];
        }
        store(job, sums, out);
    }
}

/* Every thread has a line of its own. */
static UfStatus run(const Job *job, int threads, UfReport *report)
{
    size_t samples, total;
    if (!uf_product((size_t)job->source.width_px, job->channels, &samples) ||
        !uf_product(samples, (size_t)threads, &total))
        return uf_fail_memory(report);
    double *lines = uf_alloc(total, sizeof *lines);
    if (lines == NULL)
        return uf_fail_memory(report);
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t y = 0; y < job->height_px; y++)
        make_row(job, y, lines + (size_t)omp_get_thread_num() * samples);
    free(lines);
    return UF_OK;
}

static UfStatus prepare(Job *job, const UfPicture *source, const UfRemapOptions *options, bool wraps,
                        const UfTransfer *transfer, UfReport *report)
{
    size_t old_width = uf_picture_width_px(source), old_height = uf_picture_height_px(source);
    job->source = uf_source_of_picture(source, transfer);
    job->transfer = transfer;
    job->sample = uf_picture_sample(source);
    job->channels = uf_picture_channels(source);
    job->colours = job->channels - uf_picture_has_alpha(source);
    job->out_channels = uf_picture_channels(job->target);
    job->linear = options->sampling != UF_SAMPLING_NEAREST &&
                  (job->width_px < old_width || job->height_px < old_height);
    job->wraps = wraps;
    job->over_poles = wraps && old_width == 2 * old_height;
    if (!make_axis(old_width, job->width_px, options->sampling, &job->across) ||
        !make_axis(old_height, job->height_px, options->sampling, &job->down))
        return uf_fail_memory(report);
    return UF_OK;
}

UfStatus uf_resize(const UfPicture *source, size_t width_px, size_t height_px, bool wraps,
                   const UfRemapOptions *options, UfPicture **out, UfReport *report)
{
    const UfRemapOptions defaults = {0};
    Job job = {.width_px = width_px, .height_px = height_px};
    UfTransfer *transfer = NULL;
    options = options == NULL ? &defaults : options;
    if (source == NULL)
        return uf_fail(report, UF_ERROR_ARGUMENT, "there is no picture to resize");
    UfStatus status = uf_check_remap_options(options, report);
    if (status != UF_OK)
        return status;
    size_t channels = uf_picture_channels(source);
    channels += options->with_alpha && channels % 2 == 1;
    status = uf_picture_create(width_px, height_px, channels, uf_picture_sample(source), &job.target, report);
    if (status == UF_OK)
        status = uf_colour_copy_profile(source, job.target, report);
    if (status == UF_OK)
        status = uf_transfer_create(source, &transfer, report);
    if (status == UF_OK)
        status = prepare(&job, source, options, wraps, transfer, report);
    if (status == UF_OK)
        status = run(&job, uf_remap_threads(options), report);
    if (status == UF_OK) {
        *out = job.target;
        job.target = NULL;
    }
    free_axis(&job.across);
    free_axis(&job.down);
    uf_transfer_free(&transfer);
    uf_picture_free(&job.target);
    return status;
}

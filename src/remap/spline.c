/* The filter that turns samples into coefficients, in place, many lines side by side. */
#include "remap/spline.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>

#include "base/memory.h"
#include "remap/window.h"

/* -0.43057 and -0.04310: the roots inside the unit circle of z^4 + 26 z^3 + 66 z^2 + 26 z + 1. */
static const double poles[2] = {-0.43057534709997382, -0.043096288203264667};

/* Lines go on this far beyond both ends, so that how the filter starts is forgotten: 0.43^24 < 2e-9. */
#define MARGIN 24
/* Lines side by side. */
#define LANES 16u

double uf_spline_response(int k)
{
    /* 120 / (z^2 + 26 z + 66 + 26/z + 1/z^2) in partial fractions: a sum over the poles */
    double sum = 0;
    for (int p = 0; p < 2; p++) {
        double z = poles[p], other = poles[1 - p];
        double slope = (z - 1 / z) * (z - other) * (z - 1 / other) / z;
        sum += 120 * pow(z, abs(k)) / slope;
    }
    return sum;
}

/* `count` steps of LANES lines; step i of line k is at[i * LANES + k]. */
static void filter_lines(float *at, size_t count)
{
    for (int p = 0; p < 2; p++) {
        const float z = (float)poles[p];
        const float gain = (float)((1 - poles[p]) * (1 - 1 / poles[p]));
        const float start = (float)(1 / (1 - poles[p])), end = (float)(poles[p] / (poles[p] - 1));
        for (size_t k = 0; k < LANES; k++)
            at[k] *= start * gain;
        for (size_t i = 1; i < count; i++) {
            float *here = at + i * LANES;
#pragma omp simd
            for (size_t k = 0; k < LANES; k++)
                here[k] = here[k] * gain + z * here[k - LANES];
        }
        float *last = at + (count - 1) * LANES;
        for (size_t k = 0; k < LANES; k++)
            last[k] *= end;
        for (size_t i = count - 1; i-- > 0;) {
            float *here = at + i * LANES;
#pragma omp simd
            for (size_t k = 0; k < LANES; k++)
                here[k] = z * (here[k + LANES] - here[k]);
        }
    }
}

typedef struct Job {
    const UfSource *source;
    UfSource out;
    uint8_t *data;
    UfSample sample, kept; /* of the source, of the coefficients */
    size_t channels, row_samples;
    uint8_t *ends[2]; /* the first and the last rows before their columns are filtered */
    size_t end_rows;
} Job;

/* Codes are finer between the passes, when values are smaller: the filter's gain is 7.5 an axis. */
#define HALFWAY_STEPS 32.0f

static inline float load(const uint8_t *at, UfSample kept, float steps)
{
    if (kept == UF_SAMPLE_F32) {
        float value;
        memcpy(&value, at, sizeof value);
        return value;
    }
    uint16_t code;
    memcpy(&code, at, sizeof code);
    return ((float)code - UF_SPLINE_CODE_ZERO) / steps;
}

static inline void keep(uint8_t *at, float value, UfSample kept, float steps)
{
    if (kept == UF_SAMPLE_F32) {
        memcpy(at, &value, sizeof value);
        return;
    }
    uint16_t code = (uint16_t)(int)(value * steps + UF_SPLINE_CODE_ZERO + 0.5f);
    memcpy(at, &code, sizeof code);
}

/* The index inside of what goes on as its own mirror image. */
static ptrdiff_t mirrored(ptrdiff_t at, ptrdiff_t count)
{
    ptrdiff_t rest = at % (2 * count);
    rest = rest < 0 ? rest + 2 * count : rest;
    return rest < count ? rest : 2 * count - 1 - rest;
}

static ptrdiff_t wrapped(ptrdiff_t at, ptrdiff_t count)
{
    ptrdiff_t rest = at % count;
    return rest < 0 ? rest + count : rest;
}

/* One pixel of the source into its lanes: premultiplied, about the middle grey where it will be a code. */
static inline void load_pixel(const Job *job, const uint8_t *pixel, float *lanes)
{
    const size_t channels = job->channels, bytes = (size_t)job->sample;
    const bool has_alpha = channels % 2 == 0;
    const float grey = job->kept == UF_SAMPLE_F32 ? 0 : UF_SPLINE_CODE_GREY;
    float factor = 1;
    if (has_alpha) {
        lanes[channels - 1] = (float)uf_sample_load(pixel + (channels - 1) * bytes, job->sample);
        factor = lanes[channels - 1] / (float)uf_sample_max(job->sample);
    }
    for (size_t c = 0; c < channels - has_alpha; c++)
        lanes[c] = (float)uf_sample_load(pixel + c * bytes, job->sample) * factor - grey;
}

static void filter_rows(const Job *job, size_t first, size_t count, float *lines)
{
    const ptrdiff_t width = job->source->width_px;
    const size_t channels = job->channels, kept_bytes = (size_t)job->kept;
    for (size_t r = 0; r < count; r++) {
        const uint8_t *row = job->source->data + (first + r) * job->source->stride_bytes;
        for (ptrdiff_t x = -MARGIN; x < width + MARGIN; x++) {
            ptrdiff_t inside = x;
            if (x < 0 || x >= width)
                inside = job->source->wraps ? wrapped(x, width) : mirrored(x, width);
            load_pixel(job, row + (size_t)inside * channels * (size_t)job->sample,
                       lines + (size_t)(x + MARGIN) * LANES + r * channels);
        }
    }
    filter_lines(lines, (size_t)width + (size_t)2 * MARGIN);
    for (size_t r = 0; r < count; r++) {
        uint8_t *row = job->data + (first + r) * job->out.stride_bytes;
        const float *lane = lines + (size_t)MARGIN * LANES + r * channels;
        for (ptrdiff_t x = 0; x < width; x++, lane += LANES)
            for (size_t c = 0; c < channels; c++, row += kept_bytes)
                keep(row, lane[c], job->kept, HALFWAY_STEPS);
    }
}

/* The place of a sample after an odd number of poles: half a turn further, between two pixels of odd rows. */
static float load_across(const Job *job, const uint8_t *row, size_t sample)
{
    const size_t width = (size_t)job->source->width_px, bytes = (size_t)job->kept;
    size_t x = sample / job->channels, c = sample % job->channels;
    size_t a = (x + width / 2) % width, b = (x + (width + 1) / 2) % width;
    float value = load(row + (a * job->channels + c) * bytes, job->kept, HALFWAY_STEPS);
    return (value + load(row + (b * job->channels + c) * bytes, job->kept, HALFWAY_STEPS)) / 2;
}

/* A step beyond the top (y < 0) or the bottom, from the rows that were put aside. */
static void load_beyond(const Job *job, ptrdiff_t y, size_t first, size_t count, float *lanes)
{
    const ptrdiff_t height = job->source->height_px;
    const bool top = y < 0;
    const bool over = top ? job->source->over_top : job->source->over_bottom;
    bool across = false;
    ptrdiff_t row = y;
    while (row < 0 || row >= height) {
        row = row < 0 ? -1 - row : 2 * height - 1 - row;
        across = over && !across;
    }
    size_t aside = top ? (size_t)row : (size_t)row - ((size_t)height - job->end_rows);
    const uint8_t *at = job->ends[top ? 0 : 1] + aside * job->out.stride_bytes;
    for (size_t k = 0; k < count; k++)
        lanes[k] = across ? load_across(job, at, first + k)
                          : load(at + (first + k) * (size_t)job->kept, job->kept, HALFWAY_STEPS);
}

static void filter_columns(const Job *job, size_t first, size_t count, float *lines)
{
    const ptrdiff_t height = job->source->height_px;
    const size_t bytes = (size_t)job->kept;
    for (ptrdiff_t y = -MARGIN; y < height + MARGIN; y++) {
        float *lanes = lines + (size_t)(y + MARGIN) * LANES;
        if (y < 0 || y >= height) {
            load_beyond(job, y, first, count, lanes);
            continue;
        }
        const uint8_t *at = job->data + (size_t)y * job->out.stride_bytes + first * bytes;
        for (size_t k = 0; k < count; k++)
            lanes[k] = load(at + k * bytes, job->kept, HALFWAY_STEPS);
    }
    filter_lines(lines, (size_t)height + (size_t)2 * MARGIN);
    for (ptrdiff_t y = 0; y < height; y++) {
        uint8_t *at = job->data + (size_t)y * job->out.stride_bytes + first * bytes;
        for (size_t k = 0; k < count; k++)
            keep(at + k * bytes, lines[(size_t)(y + MARGIN) * LANES + k], job->kept, UF_SPLINE_CODE_STEPS);
    }
}

/* Every thread has lines of its own; what they hold where no line is loaded is never kept. */
static void run(Job *job, float *lines, size_t line_samples, int threads)
{
    const size_t height = (size_t)job->source->height_px, stride = job->out.stride_bytes;
    const size_t abreast = LANES / job->channels;
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t y = 0; y < height; y += abreast)
        filter_rows(job, y, height - y < abreast ? height - y : abreast,
                    lines + (size_t)omp_get_thread_num() * line_samples);
    memcpy(job->ends[0], job->data, job->end_rows * stride);
    memcpy(job->ends[1], job->data + (height - job->end_rows) * stride, job->end_rows * stride);
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t s = 0; s < job->row_samples; s += LANES)
        filter_columns(job, s, job->row_samples - s < LANES ? job->row_samples - s : LANES,
                       lines + (size_t)omp_get_thread_num() * line_samples);
}

UfStatus uf_spline_create(UfSource *source, UfSample sample, size_t channels, int threads, UfSpline *out,
                          UfReport *report)
{
    Job job = {.source = source, .sample = sample, .channels = channels, .out = *source};
    size_t longest = (size_t)(source->width_px > source->height_px ? source->width_px : source->height_px);
    size_t line_samples, all_lines;
    UfStatus status = UF_OK;
    job.kept = uf_spline_sample(sample, channels);
    job.end_rows = source->height_px < MARGIN ? (size_t)source->height_px : MARGIN;
    float *lines = NULL;
    if (!uf_product((size_t)source->width_px, channels, &job.row_samples) ||
        !uf_product(job.row_samples, (size_t)job.kept, &job.out.stride_bytes) ||
        !uf_product(longest + (size_t)2 * MARGIN, LANES, &line_samples) ||
        !uf_product(line_samples, (size_t)threads, &all_lines))
        return uf_fail_memory(report);
    job.data = uf_alloc((size_t)source->height_px, job.out.stride_bytes);
    job.ends[0] = uf_alloc(job.end_rows, job.out.stride_bytes);
    job.ends[1] = uf_alloc(job.end_rows, job.out.stride_bytes);
    lines = uf_alloc_zero(all_lines, sizeof *lines);
    if (job.data == NULL || job.ends[0] == NULL || job.ends[1] == NULL || lines == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    run(&job, lines, line_samples, threads);
    job.out.data = job.data;
    job.out.mirrors = true;
    out->data = job.data;
    out->coefficients = job.out;
    source->spline = &out->coefficients;
    job.data = NULL;
cleanup:
    free(job.data);
    free(job.ends[0]);
    free(job.ends[1]);
    free(lines);
    return status;
}

void uf_spline_free(UfSpline *spline)
{
    free(spline->data);
    *spline = (UfSpline){0};
}

/* The filter that turns samples into coefficients, in place, many lines side by side. */
#include "remap/spline.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>

#include "base/clones.h"
#include "base/memory.h"
#include "remap/lanes.h"
#include "remap/lobe.h"
#include "remap/polar.h"
#include "remap/window.h"

/* -0.43057 and -0.04310: the roots inside the unit circle of z^4 + 26 z^3 + 66 z^2 + 26 z + 1. */
static const double poles[2] = {-0.43057534709997382, -0.043096288203264667};

/* Lines go on this far beyond both ends, so that how the filter starts is forgotten: 0.43^24 < 2e-9. */
#define MARGIN 24
/* Lines side by side: columns' codes fill a line of the cache. */
#define LANES  32u
#define EIGHTS (LANES / UF_LANES)

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

/* What both poles' filters hold of eight lines. */
typedef struct Held {
    UfLanes first, second;
} Held;

/* As if a line had always been what it is at its first step. */
UF_INLINE void begin_there(UfLanesAt *at, Held *held)
{
    const float gain_z = (float)((1 - poles[0]) * (1 - 1 / poles[0]));
    const float gain_y = (float)((1 - poles[1]) * (1 - 1 / poles[1]));
    held->first = *at * ((float)(1 / (1 - poles[0])) * gain_z);
    *at = held->second = held->first * ((float)(1 / (1 - poles[1])) * gain_y);
}

UF_INLINE void step_there(UfLanesAt *at, Held *held)
{
    const float z = (float)poles[0], y = (float)poles[1];
    const float gain_z = (float)((1 - poles[0]) * (1 - 1 / poles[0]));
    const float gain_y = (float)((1 - poles[1]) * (1 - 1 / poles[1]));
    held->first = *at * gain_z + z * held->first;
    *at = held->second = held->first * gain_y + y * held->second;
}

UF_INLINE void begin_back(UfLanesAt *at, Held *held)
{
    held->first = *at * (float)(poles[0] / (poles[0] - 1));
    *at = held->second = held->first * (float)(poles[1] / (poles[1] - 1));
}

UF_INLINE void step_back(UfLanesAt *at, Held *held)
{
    const float z = (float)poles[0], y = (float)poles[1];
    held->first = z * (held->first - *at);
    *at = held->second = y * (held->second - held->first);
}

/*
 * `count` steps of LANES lines; step i of line k is at[i * LANES + k]. Both poles' filters at once, first on
 * the way there, then on the way back; lines start and end as if they had always been what they are there.
 */
UF_CLONES static void filter_lines(float *lines, size_t count)
{
    UfLanesAt *at = (UfLanesAt *)lines;
    Held a, b, c, d; /* by themselves, so that they are kept in registers */
    begin_there(at, &a), begin_there(at + 1, &b), begin_there(at + 2, &c), begin_there(at + 3, &d);
    for (size_t i = 1; i < count; i++) {
        at += EIGHTS;
        step_there(at, &a), step_there(at + 1, &b), step_there(at + 2, &c), step_there(at + 3, &d);
    }
    begin_back(at, &a), begin_back(at + 1, &b), begin_back(at + 2, &c), begin_back(at + 3, &d);
    for (size_t i = 1; i < count; i++) {
        at -= EIGHTS;
        step_back(at, &a), step_back(at + 1, &b), step_back(at + 2, &c), step_back(at + 3, &d);
    }
}

/* Columns from .. end - 1 that rows are filtered on; outside of 0 .. width - 1 they go on there as the source
 * does. */
typedef struct Run {
    ptrdiff_t from, end;
} Run;

typedef struct Job {
    const UfSource *source;
    UfSource out;
    uint8_t *data;         /* where row 0 is, or would be */
    UfSample sample, kept; /* of the source, of the coefficients */
    size_t channels, row_samples;
    uint8_t *ends[2]; /* the first and the last rows before their columns are filtered */
    size_t end_rows;
    const UfPolar *polar; /* NULL: rows stay as they are */
    bool *lanes;          /* owned; which of them are seen; NULL: all */
    Run *runs;            /* owned; from left to right, no two touch */
    size_t run_count;
    ptrdiff_t first_row, end_row; /* which are filtered */
} Job;

/* What a thread works in. */
typedef struct Room {
    float *lines, *line;
    UfPolarRoom polar;
} Room;

/* Codes are finer between the passes, when values are smaller: the filter's gain is 7.5 an axis. */
#define HALFWAY_STEPS 32.0f

UF_INLINE float load(const uint8_t *at, UfSample kept, float steps)
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

UF_INLINE void keep(uint8_t *at, float value, UfSample kept, float steps)
{
    if (kept == UF_SAMPLE_F32) {
        memcpy(at, &value, sizeof value);
        return;
    }
    float stepped = value * steps + (UF_SPLINE_CODE_ZERO + 0.5f);
    stepped = stepped > 0 ? stepped : 0;
    uint16_t code = (uint16_t)(int)(stepped < 65535.0f ? stepped : 65535.0f);
    memcpy(at, &code, sizeof code);
}

/* The index inside of what goes on as its own mirror image. */
static ptrdiff_t mirrored(ptrdiff_t at, ptrdiff_t count)
{
    ptrdiff_t rest = at % (2 * count);
    rest = rest < 0 ? rest + 2 * count : rest;
    return rest < count ? rest : 2 * count - 1 - rest;
}

/* `width` pixels of the source as floats: premultiplied, about the middle grey where it will be codes. */
UF_INLINE void load_line_as(const Job *job, const uint8_t *row, size_t width, UfSample sample, float *line)
{
    const size_t channels = job->channels;
    const float grey = job->kept == UF_SAMPLE_F32 ? 0 : UF_SPLINE_CODE_GREY;
#pragma omp simd
    for (size_t i = 0; i < width * channels; i++)
        line[i] = (float)uf_sample_load(row + i * (size_t)sample, sample) - grey;
    if (channels % 2 == 1)
        return;
    const float most = (float)uf_sample_max(sample);
    for (size_t x = 0; x < width; x++)
        for (size_t c = 0; c < channels - 1; c++)
            line[x * channels + c] *= line[x * channels + channels - 1] / most;
}

UF_CLONES static void load_line(const Job *job, const uint8_t *row, size_t width, float *line)
{
    if (job->sample == UF_SAMPLE_U8)
        load_line_as(job, row, width, UF_SAMPLE_U8, line);
    else if (job->sample == UF_SAMPLE_U16)
        load_line_as(job, row, width, UF_SAMPLE_U16, line);
    else
        load_line_as(job, row, width, UF_SAMPLE_F32, line);
}

UF_INLINE void keep_line_as(const float *line, size_t count, UfSample kept, float steps, uint8_t *out)
{
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        keep(out + i * (size_t)kept, line[i], kept, steps);
}

UF_CLONES static void keep_line(const Job *job, const float *line, size_t count, float steps, uint8_t *out)
{
    if (job->kept == UF_SAMPLE_F32)
        keep_line_as(line, count, UF_SAMPLE_F32, steps, out);
    else
        keep_line_as(line, count, UF_SAMPLE_U16, steps, out);
}

/* Lanes of a row: those of three channels have a fourth, so that pixels are moved at once. */
static size_t row_lanes(const Job *job)
{
    return job->channels == 3 ? 4 : job->channels;
}

/* `width` columns of one row among its lanes. Beyond a pixel of three channels one more float is read. */
UF_INLINE void to_lanes(const float *line, size_t width, size_t channels, float *lanes)
{
    const size_t moved = channels == 3 ? 4 : channels;
    for (size_t x = 0; x < width; x++, line += channels, lanes += LANES)
        memcpy(lanes, line, moved * sizeof *line);
}

/* And out of them, one more float written behind them. */
UF_INLINE void from_lanes(const float *lanes, size_t width, size_t channels, float *line)
{
    const size_t moved = channels == 3 ? 4 : channels;
    for (size_t x = 0; x < width; x++, line += channels, lanes += LANES)
        memcpy(line, lanes, moved * sizeof *line);
}

static void move_lanes(size_t channels, float *line, size_t width, float *lanes, bool in)
{
    switch (channels) {
    case 1:
        in ? to_lanes(line, width, 1, lanes) : from_lanes(lanes, width, 1, line);
        break;
    case 2:
        in ? to_lanes(line, width, 2, lanes) : from_lanes(lanes, width, 2, line);
        break;
    case 3:
        in ? to_lanes(line, width, 3, lanes) : from_lanes(lanes, width, 3, line);
        break;
    default:
        in ? to_lanes(line, width, 4, lanes) : from_lanes(lanes, width, 4, line);
        break;
    }
}

/* What a row goes on with beyond both its ends. */
static void continue_line(const Job *job, float *line)
{
    const ptrdiff_t width = job->source->width_px, channels = (ptrdiff_t)job->channels;
    for (ptrdiff_t i = 1; i <= UF_SPLINE_COLD; i++) {
        const ptrdiff_t before = job->source->wraps ? uf_wrapped(-i, width) : mirrored(-i, width);
        const ptrdiff_t after = width - 1 - before;
        memcpy(line - i * channels, line + before * channels, job->channels * sizeof *line);
        memcpy(line + (width - 1 + i) * channels, line + after * channels, job->channels * sizeof *line);
    }
}

static bool is_seen(const Job *job, size_t first)
{
    return job->lanes == NULL || job->lanes[first / LANES];
}

/* Which samples, as far as lanes go, belong to a column that is seen. */
static UfStatus find_lanes(Job *job, const UfSeen *seen, UfReport *report)
{
    job->lanes = uf_alloc_zero(job->row_samples / LANES + 1, sizeof *job->lanes);
    if (job->lanes == NULL)
        return uf_fail_memory(report);
    for (size_t s = 0; s < job->row_samples; s++)
        job->lanes[s / LANES] = job->lanes[s / LANES] || seen->columns[s / job->channels];
    return UF_OK;
}

/* Where columns that are kept come close together one run serves them. */
static UfStatus find_runs(Job *job, UfReport *report)
{
    const size_t channels = job->channels;
    job->runs = uf_alloc(job->row_samples / LANES + 1, sizeof *job->runs);
    if (job->runs == NULL)
        return uf_fail_memory(report);
    if (job->lanes == NULL) {
        job->runs[job->run_count++] = (Run){-UF_SPLINE_COLD, job->source->width_px + UF_SPLINE_COLD};
        return UF_OK;
    }
    for (size_t from = 0; from < job->row_samples; from += LANES) {
        if (!is_seen(job, from))
            continue;
        const size_t end = from + LANES < job->row_samples ? from + LANES : job->row_samples;
        const Run run = {(ptrdiff_t)(from / channels) - UF_SPLINE_COLD,
                         (ptrdiff_t)((end - 1) / channels) + 1 + UF_SPLINE_COLD};
        if (job->run_count > 0 && run.from <= job->runs[job->run_count - 1].end)
            job->runs[job->run_count - 1].end = run.end;
        else
            job->runs[job->run_count++] = run;
    }
    return UF_OK;
}

/* What is not seen is not written: memory that nobody touches is not taken. */
static void keep_seen(const Job *job, const float *line, uint8_t *out)
{
    for (size_t from = 0, end; from < job->row_samples; from = end + LANES) {
        for (end = from; end < job->row_samples && is_seen(job, end);)
            end += LANES;
        const size_t least = end < job->row_samples ? end : job->row_samples;
        if (least > from)
            keep_line(job, line + from, least - from, HALFWAY_STEPS, out + from * (size_t)job->kept);
    }
}

/* Of a row, what it goes on with, and one more. */
static size_t line_floats(const Job *job)
{
    return job->row_samples + (size_t)2 * UF_SPLINE_COLD * job->channels + 1;
}

static float *line_at(const Job *job, const Room *room, size_t row)
{
    return room->line + row * line_floats(job) + UF_SPLINE_COLD * job->channels;
}

/* So many columns of all rows are moved at a time that they stay in the nearest cache. */
#define MOVED_PX 64

/* The run's part of `count` rows among the lanes, or out of them. */
static void move_run(const Job *job, const Run *run, size_t count, Room *room, bool in)
{
    for (ptrdiff_t from = run->from; from < run->end; from += MOVED_PX) {
        const ptrdiff_t end = from + MOVED_PX < run->end ? from + MOVED_PX : run->end;
        float *lanes = room->lines + (size_t)(from - run->from) * LANES;
        for (size_t r = 0; r < count; r++)
            move_lanes(job->channels, line_at(job, room, r) + from * (ptrdiff_t)job->channels,
                       (size_t)(end - from), lanes + r * row_lanes(job), in);
    }
}

/* All of a row that is low-passed or goes on beyond its ends; else what its runs take. */
static void load_row(const Job *job, size_t y, Room *room, float *line)
{
    const uint8_t *row = job->source->data + y * job->source->stride_bytes;
    const Run whole = {0, job->source->width_px};
    const bool beyond = job->runs[0].from < 0 || job->runs[job->run_count - 1].end > whole.end;
    if (job->polar != NULL || beyond) {
        load_line(job, row, (size_t)whole.end, line);
        if (job->polar != NULL)
            uf_polar_filter(job->polar, job->source->ready_px[y], &room->polar, line);
        continue_line(job, line);
        return;
    }
    for (size_t i = 0; i < job->run_count; i++) {
        const size_t from = (size_t)job->runs[i].from * job->channels;
        load_line(job, row + from * (size_t)job->sample, (size_t)(job->runs[i].end - job->runs[i].from),
                  line + from);
    }
}

static void filter_rows(const Job *job, size_t first, size_t count, Room *room)
{
    for (size_t r = 0; r < count; r++)
        load_row(job, first + r, room, line_at(job, room, r));
    for (size_t i = 0; i < job->run_count; i++) {
        const Run *run = &job->runs[i];
        move_run(job, run, count, room, true);
        filter_lines(room->lines, (size_t)(run->end - run->from));
        move_run(job, run, count, room, false);
    }
    for (size_t r = 0; r < count; r++)
        keep_seen(job, line_at(job, room, r), job->data + (first + r) * job->out.stride_bytes);
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

/* Rows of samples, `count` of them side by side, among LANES lines. */
UF_INLINE void load_columns_as(const uint8_t *at, size_t stride, size_t rows, size_t count, UfSample kept,
                               float *lines)
{
    for (size_t i = 0; i < rows; i++, at += stride, lines += LANES)
#pragma omp simd
        for (size_t k = 0; k < count; k++)
            lines[k] = load(at + k * (size_t)kept, kept, HALFWAY_STEPS);
}

UF_CLONES static void load_columns(const Job *job, const uint8_t *at, size_t rows, size_t count, float *lines)
{
    const size_t stride = job->out.stride_bytes;
    if (job->kept == UF_SAMPLE_F32)
        load_columns_as(at, stride, rows, count, UF_SAMPLE_F32, lines);
    else if (count == LANES)
        load_columns_as(at, stride, rows, LANES, UF_SAMPLE_U16, lines);
    else
        load_columns_as(at, stride, rows, count, UF_SAMPLE_U16, lines);
}

UF_INLINE void keep_columns_as(const float *lines, size_t rows, size_t count, UfSample kept, size_t stride,
                               uint8_t *at)
{
    for (size_t i = 0; i < rows; i++, at += stride, lines += LANES)
        keep_line_as(lines, count, kept, UF_SPLINE_CODE_STEPS, at);
}

UF_CLONES static void keep_columns(const Job *job, const float *lines, size_t rows, size_t count, uint8_t *at)
{
    const size_t stride = job->out.stride_bytes;
    if (job->kept == UF_SAMPLE_F32)
        keep_columns_as(lines, rows, count, UF_SAMPLE_F32, stride, at);
    else if (count == LANES)
        keep_columns_as(lines, rows, LANES, UF_SAMPLE_U16, stride, at);
    else
        keep_columns_as(lines, rows, count, UF_SAMPLE_U16, stride, at);
}

static void filter_columns(const Job *job, size_t first, size_t count, float *lines)
{
    const ptrdiff_t height = job->source->height_px;
    const ptrdiff_t from = job->first_row > 0 ? job->first_row : -MARGIN;
    const ptrdiff_t to = job->end_row < height ? job->end_row : height + MARGIN;
    const size_t rows = (size_t)(job->end_row - job->first_row);
    float *inside = lines + (size_t)(job->first_row - from) * LANES;
    uint8_t *column = job->data + first * (size_t)job->kept + (size_t)job->first_row * job->out.stride_bytes;
    for (ptrdiff_t y = from; y < job->first_row; y++)
        load_beyond(job, y, first, count, lines + (size_t)(y - from) * LANES);
    load_columns(job, column, rows, count, inside);
    for (ptrdiff_t y = job->end_row; y < to; y++)
        load_beyond(job, y, first, count, lines + (size_t)(y - from) * LANES);
    filter_lines(lines, (size_t)(to - from));
    keep_columns(job, inside, rows, count, column);
}

/* The rows that columns continue with beyond the top and the bottom. */
static void put_aside(Job *job)
{
    const size_t height = (size_t)job->source->height_px, stride = job->out.stride_bytes;
    if (job->first_row == 0)
        memcpy(job->ends[0], job->data, job->end_rows * stride);
    if (job->end_row == job->source->height_px)
        memcpy(job->ends[1], job->data + (height - job->end_rows) * stride, job->end_rows * stride);
}

/* Every thread has a room of its own; what its lines hold where no line is loaded is never kept. */
static void run(Job *job, Room *rooms, int threads)
{
    const size_t first = (size_t)job->first_row, end = (size_t)job->end_row;
    const size_t abreast = LANES / row_lanes(job);
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t y = first; y < end; y += abreast)
        filter_rows(job, y, end - y < abreast ? end - y : abreast, &rooms[omp_get_thread_num()]);
    put_aside(job);
#pragma omp parallel for schedule(dynamic) num_threads(threads)
    for (size_t s = 0; s < job->row_samples; s += LANES)
        if (is_seen(job, s))
            filter_columns(job, s, job->row_samples - s < LANES ? job->row_samples - s : LANES,
                           rooms[omp_get_thread_num()].lines);
}

static void rooms_free(Room *rooms, int threads)
{
    for (int i = 0; rooms != NULL && i < threads; i++) {
        free(rooms[i].lines);
        free(rooms[i].line);
        uf_polar_room_free(&rooms[i].polar);
    }
    free(rooms);
}

static UfStatus rooms_create(const Job *job, int threads, Room **out, UfReport *report)
{
    const size_t width = (size_t)job->source->width_px, height = (size_t)job->source->height_px;
    const size_t longest = width > height ? width : height;
    UfStatus status = UF_OK;
    Room *rooms = uf_alloc_zero((size_t)threads, sizeof *rooms);
    if (rooms == NULL)
        return uf_fail_memory(report);
    for (int i = 0; i < threads && status == UF_OK; i++) {
        rooms[i].lines = uf_alloc_zero(longest + (size_t)2 * UF_SPLINE_COLD, LANES * sizeof *rooms[i].lines);
        rooms[i].line = uf_alloc_zero(LANES / row_lanes(job) * line_floats(job), sizeof *rooms[i].line);
        if (rooms[i].lines == NULL || rooms[i].line == NULL)
            status = uf_fail_memory(report);
        else if (job->polar != NULL)
            status = uf_polar_room_create(job->polar, &rooms[i].polar, report);
    }
    if (status == UF_OK)
        *out = rooms;
    else
        rooms_free(rooms, threads);
    return status;
}

/* Where columns begin at the picture's end, all of what lies there is needed: the opposite meridian goes on.
 */
void uf_spline_rows(const UfSeen *seen, ptrdiff_t height, ptrdiff_t *first, ptrdiff_t *end)
{
    *first = seen->first_row < (ptrdiff_t)2 * UF_SPLINE_COLD ? 0 : seen->first_row - UF_SPLINE_COLD;
    *end = height - seen->end_row < (ptrdiff_t)2 * UF_SPLINE_COLD ? height : seen->end_row + UF_SPLINE_COLD;
}

static void choose_rows(Job *job, const UfSeen *seen)
{
    const ptrdiff_t height = job->source->height_px;
    job->end_row = height;
    if (seen != NULL)
        uf_spline_rows(seen, height, &job->first_row, &job->end_row);
}

/* The longest footprints for which a row is filtered; 0 where none is. */
static double longest_ready(const Job *job)
{
    double longest_px = 0;
    for (ptrdiff_t y = job->first_row; job->source->ready_px != NULL && y < job->end_row; y++)
        longest_px = fmax(longest_px, job->source->ready_px[y]);
    return longest_px;
}

/* For the rows that are made; the pages that an earlier band took serve again. */
static UfStatus make_room(Job *job, UfSpline *spline, UfReport *report)
{
    const size_t first = (size_t)job->first_row, rows = (size_t)job->end_row - first;
    if (spline->rows < rows) {
        free(spline->data);
        spline->rows = 0;
        spline->data = uf_alloc(rows, job->out.stride_bytes);
        if (spline->data == NULL)
            return uf_fail_memory(report);
        spline->rows = rows;
    }
    /* of row 0, which is not there: NOLINTNEXTLINE(performance-no-int-to-ptr) */
    job->data = (uint8_t *)((uintptr_t)spline->data - first * job->out.stride_bytes);
    return UF_OK;
}

UfStatus uf_spline_create(UfSource *source, UfSample sample, size_t channels, const UfSeen *seen, int threads,
                          UfSpline *out, UfReport *report)
{
    Job job = {.source = source, .sample = sample, .channels = channels, .out = *source};
    const size_t height = (size_t)source->height_px;
    UfPolar polar = {0};
    Room *rooms = NULL;
    UfStatus status = UF_OK;
    job.kept = uf_spline_sample(sample, channels);
    choose_rows(&job, seen);
    bool is_whole = seen == NULL || job.first_row == 0 || job.end_row == source->height_px;
    job.end_rows = height < MARGIN ? height : MARGIN;
    if (!uf_product((size_t)source->width_px, channels, &job.row_samples) ||
        !uf_product(job.row_samples, (size_t)job.kept, &job.out.stride_bytes))
        return uf_fail_memory(report);
    const double longest_px = longest_ready(&job);
    if (!is_whole)
        status = find_lanes(&job, seen, report);
    if (status == UF_OK)
        status = find_runs(&job, report);
    if (status == UF_OK && longest_px > UF_LOBE_LEAST) {
        status = uf_polar_create((size_t)source->width_px, channels, longest_px, &polar, report);
        job.polar = &polar;
    }
    if (status == UF_OK)
        status = rooms_create(&job, threads, &rooms, report);
    if (status != UF_OK)
        goto cleanup;
    status = make_room(&job, out, report);
    if (status != UF_OK)
        goto cleanup;
    job.ends[0] = uf_alloc(job.end_rows, job.out.stride_bytes);
    job.ends[1] = uf_alloc(job.end_rows, job.out.stride_bytes);
    if (job.ends[0] == NULL || job.ends[1] == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    run(&job, rooms, threads);
    job.out.data = job.data;
    job.out.mirrors = true;
    out->coefficients = job.out;
    source->spline = &out->coefficients;
cleanup:
    free(job.lanes);
    free(job.runs);
    free(job.ends[0]);
    free(job.ends[1]);
    rooms_free(rooms, threads);
    uf_polar_free(&polar);
    return status;
}

void uf_spline_free(UfSpline *spline)
{
    free(spline->data);
    *spline = (UfSpline){0};
}

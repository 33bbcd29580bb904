/* The usual difference by detail, and what stands out of it. */
#include "putback/noise.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"

#define CELL_PX   8u
#define BLOCK_PX  16u
#define BINS      ((size_t)32)
#define UNITS     64.0 /* of a stored difference in one step of 1/255 */
#define LEVELS    4096u
#define BIN_LEAST 512u /* pixels that make a quantile sure enough */
#define QUANTILE  0.30
/* A step on the whole is no noise: the mean over a block that JPEG or a resampling leaves is smaller. */
#define BLOCK_SHIFT 1.0
#define BLOCK_PART  0.5
/* Never taken for noise: more than this on plain ground, and this much more for each step of detail. */
#define USUAL_LEAST      0.3
#define USUAL_MOST       1.5
#define USUAL_MOST_SLOPE 0.25
/* Times the usual. */
#define REACHES 6.0
#define CERTAIN 14.0
/*
 * And this part of what the picture itself varies by within two pixels: edges move or soften where the
 * picture is resampled, and colours run into each other where JPEG halves their resolution.
 */
#define SPARE_LUMA   0.10
#define SPARE_COLOUR 0.35
/* Pixels that must be certain before a patch is a stroke. */
#define CERTAIN_PX 5u

typedef struct Field {
    const UfPart *part;
    size_t width, height, samples;
    size_t across, down; /* cells */
    uint16_t *size;      /* of the smoothed difference, UNITS to the step */
    uint16_t *spare;     /* what the picture's own variation may account for, UNITS to the step */
    float *detail;       /* by cell, in steps */
    double usual[BINS];
} Field;

static void field_clear(Field *field)
{
    free(field->size);
    free(field->spare);
    free(field->detail);
}

/* Rows of the difference, smoothed along x, and the buffer that they are made from. */
#define TAPS 5u
typedef struct Ring {
    float *rows[TAPS];
    float *raw;
} Ring;

static void ring_clear(Ring *ring)
{
    for (size_t i = 0; i < TAPS; i++)
        free(ring->rows[i]);
    free(ring->raw);
}

static UfStatus ring_create(const Field *field, Ring *ring, UfReport *report)
{
    size_t count = field->width * field->samples;
    bool complete = (ring->raw = uf_alloc(count, sizeof(float))) != NULL;
    for (size_t i = 0; i < TAPS; i++)
        complete = (ring->rows[i] = uf_alloc(count, sizeof(float))) != NULL && complete;
    return complete ? UF_OK : uf_fail_memory(report);
}

static size_t clamped(ptrdiff_t at, size_t count)
{
    return at < 0 ? 0 : (size_t)at >= count ? count - 1 : (size_t)at;
}

static const float binomial[TAPS] = {1 / 16.0f, 4 / 16.0f, 6 / 16.0f, 4 / 16.0f, 1 / 16.0f};

static void smooth_row(const Field *field, const Ring *ring, size_t y, float *out)
{
    size_t samples = field->samples;
    uf_part_difference(field->part, y, 0, field->width, ring->raw);
    for (size_t x = 0; x < field->width; x++)
        for (size_t c = 0; c < samples; c++) {
            float sum = 0;
            for (size_t k = 0; k < TAPS; k++)
                sum += binomial[k] * ring->raw[clamped((ptrdiff_t)(x + k) - 2, field->width) * samples + c];
            out[x * samples + c] = sum;
        }
}

static void measure_row(Field *field, const Ring *ring, size_t y)
{
    const float *rows[TAPS];
    size_t samples = field->samples;
    for (size_t k = 0; k < TAPS; k++)
        rows[k] = ring->rows[clamped((ptrdiff_t)(y + k) - 2, field->height) % TAPS];
    for (size_t x = 0; x < field->width; x++) {
        float most = 0;
        for (size_t i = x * samples; i < (x + 1) * samples; i++) {
            float sum = 0;
            for (size_t k = 0; k < TAPS; k++)
                sum += binomial[k] * rows[k][i];
            most = fmaxf(most, fabsf(sum));
        }
        double units = (double)most * 255.0 * UNITS;
        field->size[y * field->width + x] = (uint16_t)(units < 65535 ? units : 65535);
    }
}

static UfStatus measure_sizes(Field *field, UfReport *report)
{
    Ring ring = {0};
    UfStatus status = ring_create(field, &ring, report);
    size_t ready = 0;
    for (size_t y = 0; status == UF_OK && y < field->height; y++) {
        for (; ready < field->height && ready <= y + 2; ready++)
            smooth_row(field, &ring, ready, ring.rows[ready % TAPS]);
        measure_row(field, &ring, y);
    }
    ring_clear(&ring);
    return status;
}

/* Luma and two colour differences of ITU-R BT.601, whose weights JPEG uses (JFIF 1.02); grey has luma only.
 */
static void luma_row(const Field *field, size_t y, float *raw, float *out)
{
    size_t samples = field->samples;
    uf_part_anew(field->part, y, 0, field->width, raw);
    for (size_t x = 0; x < field->width; x++, raw += samples, out += 3) {
        out[0] = samples == 2 ? raw[0] : 0.299f * raw[0] + 0.587f * raw[1] + 0.114f * raw[2];
        out[1] = samples == 2 ? 0 : raw[0] - out[0];
        out[2] = samples == 2 ? 0 : raw[2] - out[0];
    }
}

/* Largest less smallest value over TAPS x TAPS pixels; `low` and `high` hold those of each column. */
static void spare_row(const Field *field, float *const rows[TAPS], size_t y, float *low, float *high)
{
    const float parts[3] = {(float)SPARE_LUMA, (float)SPARE_COLOUR, (float)SPARE_COLOUR};
    size_t count = 3 * field->width;
    for (size_t i = 0; i < count; i++) {
        low[i] = high[i] = rows[y % TAPS][i];
        for (size_t k = 0; k < TAPS; k++) {
            float value = rows[clamped((ptrdiff_t)(y + k) - 2, field->height) % TAPS][i];
            low[i] = fminf(low[i], value);
            high[i] = fmaxf(high[i], value);
        }
    }
    for (size_t x = 0; x < field->width; x++) {
        float most = 0;
        for (size_t c = 0; c < 3; c++) {
            float lowest = low[3 * x + c], highest = high[3 * x + c];
            for (size_t k = 0; k < TAPS; k++) {
                size_t at = 3 * clamped((ptrdiff_t)(x + k) - 2, field->width) + c;
                lowest = fminf(lowest, low[at]);
                highest = fmaxf(highest, high[at]);
            }
            most = fmaxf(most, parts[c] * (highest - lowest));
        }
        field->spare[y * field->width + x] = (uint16_t)fmin((double)most * 255.0 * UNITS, 65535);
    }
}

static UfStatus measure_spare(Field *field, UfReport *report)
{
    size_t count = 3 * field->width, ready = 0;
    float *all = uf_alloc((TAPS + 3) * count + field->width, sizeof *all);
    float *rows[TAPS];
    if (all == NULL)
        return uf_fail_memory(report);
    for (size_t k = 0; k < TAPS; k++)
        rows[k] = all + k * count;
    float *low = all + TAPS * count, *high = low + count, *raw = high + count;
    for (size_t y = 0; y < field->height; y++) {
        for (; ready < field->height && ready <= y + 2; ready++)
            luma_row(field, ready, raw, rows[ready % TAPS]);
        spare_row(field, rows, y, low, high);
    }
    free(all);
    return UF_OK;
}

/* The mean step from pixel to pixel in each cell of the picture made anew. */
static UfStatus measure_cells(const Field *field, float *cells, UfReport *report)
{
    size_t width = field->width, samples = field->samples;
    float *rows = uf_alloc(2 * width * samples, sizeof *rows);
    if (rows == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < field->height; y++) {
        float *here = rows + y % 2 * width * samples, *above = rows + (y + 1) % 2 * width * samples;
        uf_part_anew(field->part, y, 0, width, here);
        for (size_t x = 0; x < width; x++) {
            float most = 0;
            for (size_t c = 0; c < samples; c++) {
                size_t at = x * samples + c;
                float step = x > 0 ? fabsf(here[at] - here[at - samples]) : 0;
                most = fmaxf(most, step + (y > 0 ? fabsf(here[at] - above[at]) : 0));
            }
            cells[y / CELL_PX * field->across + x / CELL_PX] += most * 255.0f / (CELL_PX * CELL_PX);
        }
    }
    free(rows);
    return UF_OK;
}

/* The largest of a cell and its neighbours: detail spoils what lies near it. */
static UfStatus measure_detail(Field *field, UfReport *report)
{
    float *cells = uf_alloc_zero(field->across * field->down, sizeof *cells);
    if (cells == NULL)
        return uf_fail_memory(report);
    UfStatus status = measure_cells(field, cells, report);
    for (size_t y = 0; y < field->down; y++)
        for (size_t x = 0; x < field->across; x++) {
            float most = 0;
            for (size_t v = y > 0 ? y - 1 : 0; v <= y + 1 && v < field->down; v++)
                for (size_t u = x > 0 ? x - 1 : 0; u <= x + 1 && u < field->across; u++)
                    most = fmaxf(most, cells[v * field->across + u]);
            field->detail[y * field->across + x] = most;
        }
    free(cells);
    return status;
}

/* Four bins to the doubling. */
static double bin_of(double detail)
{
    return fmin(4 * log2(1 + detail), BINS - 1.001);
}

static double detail_of_bin(double bin)
{
    return exp2(bin / 4) - 1;
}

static double quantile(const uint32_t *counts, double part)
{
    uint64_t all = 0, sum = 0;
    for (size_t i = 0; i < LEVELS; i++)
        all += counts[i];
    size_t at = 0;
    while (at < LEVELS - 1 && (double)(sum + counts[at]) < part * (double)all)
        sum += counts[at++];
    double inside = counts[at] > 0 ? (part * (double)all - (double)sum) / counts[at] : 0;
    return ((double)at + inside) / UNITS;
}

/* Bins with too few pixels take what their neighbours say; the usual does not fall with detail. */
static void fill_bins(Field *field, const uint64_t *pixels)
{
    double last = USUAL_LEAST;
    for (size_t bin = 0; bin < BINS; bin++) {
        double most = USUAL_MOST + USUAL_MOST_SLOPE * detail_of_bin((double)bin + 0.5);
        double value = pixels[bin] >= BIN_LEAST ? fmin(field->usual[bin], most) : last;
        last = field->usual[bin] = fmax(value, last);
    }
}

static UfStatus learn_usual(Field *field, UfReport *report)
{
    uint32_t *counts = uf_alloc_zero(BINS * LEVELS, sizeof *counts);
    uint64_t pixels[BINS] = {0};
    if (counts == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < field->height; y++)
        for (size_t x = 0; x < field->width; x++) {
            size_t bin = (size_t)bin_of((double)field->detail[y / CELL_PX * field->across + x / CELL_PX]);
            uint16_t size = field->size[y * field->width + x];
            counts[bin * LEVELS + (size < LEVELS ? size : LEVELS - 1)]++;
            pixels[bin]++;
        }
    for (size_t bin = 0; bin < BINS; bin++)
        field->usual[bin] = quantile(counts + bin * LEVELS, QUANTILE);
    fill_bins(field, pixels);
    free(counts);
    return UF_OK;
}

/* Between the middles of the bins. */
static double usual_at(const Field *field, double detail)
{
    double at = fmax(bin_of(detail) - 0.5, 0);
    size_t bin = (size_t)at;
    double part = at - (double)bin;
    return field->usual[bin] * (1 - part) + field->usual[bin + 1 < BINS ? bin + 1 : bin] * part;
}

enum { QUIET = 0, STROKE = 1, LIKELY = 2, SURE = 3 };

static void classify(const Field *field, uint8_t *state)
{
    for (size_t y = 0; y < field->height; y++)
        for (size_t cell = 0; cell < field->across; cell++) {
            double usual = usual_at(field, (double)field->detail[y / CELL_PX * field->across + cell]);
            size_t end = (cell + 1) * CELL_PX < field->width ? (cell + 1) * CELL_PX : field->width;
            for (size_t x = cell * CELL_PX; x < end; x++) {
                double size =
                    (field->size[y * field->width + x] - field->spare[y * field->width + x]) / UNITS;
                state[y * field->width + x] = size > CERTAIN * usual   ? SURE
                                              : size > REACHES * usual ? LIKELY
                                                                       : QUIET;
            }
        }
}

/* Places of a patch that are still to be looked around. */
typedef struct Patch {
    size_t *places;
    size_t count, room;
} Patch;

static bool patch_add(Patch *patch, size_t place)
{
    if (patch->count == patch->room) {
        size_t room = patch->room == 0 ? 1024 : 2 * patch->room;
        size_t *places = uf_realloc(patch->places, room, sizeof *places);
        if (places == NULL)
            return false;
        patch->places = places;
        patch->room = room;
    }
    patch->places[patch->count++] = place;
    return true;
}

/* Gathers the patch about `start`, which turns to STROKE, and counts what is certain in it. */
static bool gather(const Field *field, uint8_t *state, size_t start, Patch *patch, size_t *certain)
{
    patch->count = 0;
    *certain = state[start] == SURE;
    state[start] = STROKE;
    bool complete = patch_add(patch, start);
    for (size_t next = 0; complete && next < patch->count; next++) {
        size_t x = patch->places[next] % field->width, y = patch->places[next] / field->width;
        for (size_t v = y > 0 ? y - 1 : 0; complete && v <= y + 1 && v < field->height; v++)
            for (size_t u = x > 0 ? x - 1 : 0; complete && u <= x + 1 && u < field->width; u++) {
                size_t at = v * field->width + u;
                if (state[at] < LIKELY)
                    continue;
                *certain += state[at] == SURE;
                state[at] = STROKE;
                complete = patch_add(patch, at);
            }
    }
    return complete;
}

/* Patches without enough that is certain are noise. */
static UfStatus keep_strokes(const Field *field, uint8_t *state, UfReport *report)
{
    Patch patch = {0};
    size_t certain = 0;
    UfStatus status = UF_OK;
    for (size_t at = 0; status == UF_OK && at < field->width * field->height; at++) {
        if (state[at] < LIKELY)
            continue;
        if (!gather(field, state, at, &patch, &certain))
            status = uf_fail_memory(report);
        for (size_t i = 0; certain < CERTAIN_PX && i < patch.count; i++)
            state[patch.places[i]] = QUIET;
    }
    free(patch.places);
    return status;
}

/* Over most of the picture the mean has moved: that is no noise. */
static UfStatus is_shifted(const Field *field, bool *out, UfReport *report)
{
    size_t across = field->width / BLOCK_PX, down = field->height / BLOCK_PX, shifted = 0;
    float *row = uf_alloc(field->width * field->samples, sizeof *row);
    double *sums = uf_alloc(across * field->samples + 1, sizeof *sums);
    if (row == NULL || sums == NULL) {
        free(row);
        free(sums);
        return uf_fail_memory(report);
    }
    for (size_t y = 0; y < down * BLOCK_PX; y++) {
        if (y % BLOCK_PX == 0)
            memset(sums, 0, (across * field->samples + 1) * sizeof *sums);
        uf_part_difference(field->part, y, 0, field->width, row);
        for (size_t x = 0; x < across * BLOCK_PX; x++)
            for (size_t c = 0; c < field->samples; c++)
                sums[x / BLOCK_PX * field->samples + c] += (double)row[x * field->samples + c];
        for (size_t b = 0; y % BLOCK_PX == BLOCK_PX - 1 && b < across; b++) {
            double most = 0;
            for (size_t c = 0; c < field->samples; c++)
                most = fmax(most, fabs(sums[b * field->samples + c]));
            shifted += most * 255.0 / (BLOCK_PX * BLOCK_PX) > BLOCK_SHIFT;
        }
    }
    free(row);
    free(sums);
    *out = (double)shifted > BLOCK_PART * (double)(across * down);
    return UF_OK;
}

UfStatus uf_noise_find(UfPart *part, bool *all, double *plain, UfReport *report)
{
    Field field = {.part = part,
                   .width = uf_part_width_px(part),
                   .height = uf_part_height_px(part),
                   .samples = uf_part_colours(part) + 1};
    field.across = (field.width + CELL_PX - 1) / CELL_PX;
    field.down = (field.height + CELL_PX - 1) / CELL_PX;
    UfStatus status = is_shifted(&field, all, report);
    if (status != UF_OK || *all)
        return status;
    field.size = uf_alloc(field.width * field.height, sizeof *field.size);
    field.spare = uf_alloc(field.width * field.height, sizeof *field.spare);
    field.detail = uf_alloc(field.across * field.down, sizeof *field.detail);
    if (field.size == NULL || field.spare == NULL || field.detail == NULL)
        status = uf_fail_memory(report);
    if (status == UF_OK)
        status = measure_sizes(&field, report);
    if (status == UF_OK)
        status = measure_spare(&field, report);
    if (status == UF_OK)
        status = measure_detail(&field, report);
    if (status == UF_OK)
        status = learn_usual(&field, report);
    if (status == UF_OK) {
        classify(&field, part->weight);
        status = keep_strokes(&field, part->weight, report);
        *plain = REACHES * usual_at(&field, 0);
    }
    field_clear(&field);
    return status;
}

/* The usual difference by detail, and what stands out of it. */
#include "putback/noise.h"

#include <math.h>

#include "base/clones.h"
#include "base/memory.h"
#include "base/report.h"
#include "base/smaller.h"
#include "putback/bands.h"

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

_Static_assert(UF_PART_BAND_PX % CELL_PX == 0 && UF_PART_BAND_PX % BLOCK_PX == 0, "a cell lies in one band");

typedef struct Field {
    const UfPart *part;
    size_t width, height, samples;
    size_t across, down; /* cells */
    uint16_t *size;      /* of the smoothed difference, UNITS to the step */
    uint16_t *spare;     /* what the picture's own variation may account for, UNITS to the step */
    float *cells;        /* the mean step from pixel to pixel in each cell */
    float *detail;       /* by cell, in steps */
    size_t shifted;      /* blocks whose mean has moved */
    double usual[BINS];
} Field;

static void field_clear(Field *field)
{
    free(field->size);
    free(field->spare);
    free(field->cells);
    free(field->detail);
}

#define TAPS   ((size_t)5)
#define PAD_PX (TAPS / 2)
#define LUMA   ((size_t)3)
static const float binomial[TAPS] = {1 / 16.0f, 4 / 16.0f, 6 / 16.0f, 4 / 16.0f, 1 / 16.0f};

static size_t clamped(ptrdiff_t at, size_t count)
{
    return at < 0 ? 0 : (size_t)at >= count ? count - 1 : (size_t)at;
}

/* Row number `at` in a ring of TAPS. */
static float *ring_row(float *ring, size_t count, size_t at)
{
    return ring + at % TAPS * count;
}

/* The rows about y, those at the edges more than once. */
static void rows_about(float *ring, size_t count, size_t y, size_t height, const float *out[TAPS])
{
    for (size_t k = 0; k < TAPS; k++)
        out[k] = ring_row(ring, count, clamped((ptrdiff_t)(y + k) - (ptrdiff_t)PAD_PX, height));
}

/* The first and the last pixel of a row of `width` pixels once more, PAD_PX times; returns the places about
 * them. */
static void pad(float *padded, size_t width, size_t samples, const float *out[TAPS])
{
    for (size_t i = 0; i < PAD_PX * samples; i++) {
        padded[i] = padded[PAD_PX * samples + i % samples];
        padded[(PAD_PX + width) * samples + i] = padded[(PAD_PX + width - 1) * samples + i % samples];
    }
    for (size_t k = 0; k < TAPS; k++)
        out[k] = padded + k * samples;
}

UF_CLONES static void weigh(const float *const taps[TAPS], size_t count, float *out)
{
    const float *a = taps[0], *b = taps[1], *c = taps[2], *d = taps[3], *e = taps[4];
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        out[i] = binomial[0] * a[i] + binomial[1] * b[i] + binomial[2] * c[i] + binomial[3] * d[i] +
                 binomial[4] * e[i];
}

UF_CLONES static void find_least(const float *const taps[TAPS], size_t count, float *out)
{
    const float *a = taps[0], *b = taps[1], *c = taps[2], *d = taps[3], *e = taps[4];
#pragma omp simd
    for (size_t i = 0; i < count; i++) {
        const float ab = a[i] < b[i] ? a[i] : b[i], cd = c[i] < d[i] ? c[i] : d[i];
        const float four = ab < cd ? ab : cd;
        out[i] = four < e[i] ? four : e[i];
    }
}

UF_CLONES static void find_most(const float *const taps[TAPS], size_t count, float *out)
{
    const float *a = taps[0], *b = taps[1], *c = taps[2], *d = taps[3], *e = taps[4];
#pragma omp simd
    for (size_t i = 0; i < count; i++) {
        const float ab = a[i] > b[i] ? a[i] : b[i], cd = c[i] > d[i] ? c[i] : d[i];
        const float four = ab > cd ? ab : cd;
        out[i] = four > e[i] ? four : e[i];
    }
}

static uint16_t in_units(float value)
{
    const double units = (double)value * 255.0 * UNITS;
    return (uint16_t)(units < 65535 ? units : 65535);
}

/* Room: TAPS rows smoothed across, one that is padded, one smoothed both ways. */
static size_t sizes_room(const Field *field)
{
    return (TAPS + 2) * field->width * field->samples + 2 * PAD_PX * field->samples;
}

static void sizes_band(void *job, size_t y0, size_t y1, float *room)
{
    Field *field = job;
    const size_t samples = field->samples, count = field->width * samples;
    float *ring = room, *padded = room + TAPS * count, *sums = padded + count + 2 * PAD_PX * samples;
    const float *taps[TAPS];
    size_t ready = y0 < PAD_PX ? 0 : y0 - PAD_PX;
    for (size_t y = y0; y < y1; y++) {
        for (; ready < field->height && ready <= y + PAD_PX; ready++) {
            uf_part_difference(field->part, ready, 0, field->width, padded + PAD_PX * samples);
            pad(padded, field->width, samples, taps);
            weigh(taps, count, ring_row(ring, count, ready));
        }
        rows_about(ring, count, y, field->height, taps);
        weigh(taps, count, sums);
        for (size_t x = 0; x < field->width; x++)
            field->size[y * field->width + x] = in_units(uf_largest(sums + x * samples, samples));
    }
}

/* Luma and two colour differences of ITU-R BT.601, whose weights JPEG uses (JFIF 1.02); grey has luma only.
 */
static void luma_row(const Field *field, size_t y, float *raw, float *out)
{
    size_t samples = field->samples;
    uf_part_anew(field->part, y, 0, field->width, raw);
    for (size_t x = 0; x < field->width; x++, raw += samples, out += LUMA) {
        out[0] = samples == 2 ? raw[0] : 0.299f * raw[0] + 0.587f * raw[1] + 0.114f * raw[2];
        out[1] = samples == 2 ? 0 : raw[0] - out[0];
        out[2] = samples == 2 ? 0 : raw[2] - out[0];
    }
}

/* Room: TAPS rows of luma, the least and the most of each column, padded, and of each square, and a row as it
 * is. */
static size_t spare_room(const Field *field)
{
    return (TAPS + 4) * LUMA * field->width + 4 * PAD_PX * LUMA + field->width * field->samples;
}

/* Largest less smallest value over TAPS x TAPS pixels. */
static void spare_band(void *job, size_t y0, size_t y1, float *room)
{
    Field *field = job;
    const size_t count = LUMA * field->width, padding = 2 * PAD_PX * LUMA;
    float *ring = room, *low = room + TAPS * count, *high = low + count + padding;
    float *least = high + count + padding, *most = least + count, *raw = most + count;
    const float *taps[TAPS];
    size_t ready = y0 < PAD_PX ? 0 : y0 - PAD_PX;
    for (size_t y = y0; y < y1; y++) {
        for (; ready < field->height && ready <= y + PAD_PX; ready++)
            luma_row(field, ready, raw, ring_row(ring, count, ready));
        rows_about(ring, count, y, field->height, taps);
        find_least(taps, count, low + PAD_PX * LUMA);
        find_most(taps, count, high + PAD_PX * LUMA);
        pad(low, field->width, LUMA, taps);
        find_least(taps, count, least);
        pad(high, field->width, LUMA, taps);
        find_most(taps, count, most);
        for (size_t x = 0; x < field->width; x++) {
            const float luma = (float)SPARE_LUMA * (most[LUMA * x] - least[LUMA * x]);
            const float blue = (float)SPARE_COLOUR * (most[LUMA * x + 1] - least[LUMA * x + 1]);
            const float red = (float)SPARE_COLOUR * (most[LUMA * x + 2] - least[LUMA * x + 2]);
            const float colour = blue > red ? blue : red;
            field->spare[y * field->width + x] = in_units(luma > colour ? luma : colour);
        }
    }
}

/* The mean step from pixel to pixel in each cell of the picture made anew. Room: two rows. */
static void cells_band(void *job, size_t y0, size_t y1, float *room)
{
    Field *field = job;
    const size_t width = field->width, samples = field->samples;
    float *here = room, *above = room + width * samples;
    uf_part_anew(field->part, y0 > 0 ? y0 - 1 : 0, 0, width, above);
    for (size_t y = y0; y < y1; y++) {
        uf_part_anew(field->part, y, 0, width, here);
        for (size_t x = 0; x < width; x++) {
            float most = 0;
            for (size_t at = x * samples; at < (x + 1) * samples; at++) {
                float step = x > 0 ? fabsf(here[at] - here[at - samples]) : 0;
                step += fabsf(here[at] - above[at]); /* the first row has none above it but itself */
                most = step > most ? step : most;
            }
            field->cells[y / CELL_PX * field->across + x / CELL_PX] += most * 255.0f / (CELL_PX * CELL_PX);
        }
        float *other = here;
        here = above;
        above = other;
    }
}

/* The largest of a cell and its neighbours: detail spoils what lies near it. */
static void measure_detail(Field *field)
{
    const float *cells = field->cells;
    for (size_t y = 0; y < field->down; y++)
        for (size_t x = 0; x < field->across; x++) {
            float most = 0;
            for (size_t v = y > 0 ? y - 1 : 0; v <= y + 1 && v < field->down; v++)
                for (size_t u = x > 0 ? x - 1 : 0; u <= x + 1 && u < field->across; u++)
                    most = fmaxf(most, cells[v * field->across + u]);
            field->detail[y * field->across + x] = most;
        }
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
        for (size_t cell = 0; cell < field->across; cell++) {
            const size_t bin = (size_t)bin_of((double)field->detail[y / CELL_PX * field->across + cell]);
            const size_t end = uf_smaller((cell + 1) * CELL_PX, field->width);
            for (size_t x = cell * CELL_PX; x < end; x++) {
                uint16_t size = field->size[y * field->width + x];
                counts[bin * LEVELS + (size < LEVELS ? size : LEVELS - 1)]++;
                pixels[bin]++;
            }
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
            size_t end = uf_smaller((cell + 1) * CELL_PX, field->width);
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

/* Room: the sums of a row of blocks, as doubles, and a row of differences. */
static size_t shift_room(const Field *field)
{
    return 2 * (field->width / BLOCK_PX * field->samples) + field->width * field->samples;
}

static size_t count_shifted(const double *sums, size_t across, size_t samples)
{
    size_t shifted = 0;
    for (size_t b = 0; b < across; b++) {
        double most = 0;
        for (size_t c = 0; c < samples; c++)
            most = fmax(most, fabs(sums[b * samples + c]));
        shifted += most * 255.0 / (BLOCK_PX * BLOCK_PX) > BLOCK_SHIFT;
    }
    return shifted;
}

static void shift_band(void *job, size_t y0, size_t y1, float *room)
{
    Field *field = job;
    const size_t across = field->width / BLOCK_PX, samples = field->samples;
    double *sums = (double *)(void *)room;
    float *row = room + 2 * across * samples;
    size_t shifted = 0;
    for (size_t y = y0; y < y1; y++) {
        if (y % BLOCK_PX == 0)
            for (size_t i = 0; i < across * samples; i++)
                sums[i] = 0;
        uf_part_difference(field->part, y, 0, field->width, row);
        for (size_t x = 0; x < across * BLOCK_PX; x++)
            for (size_t c = 0; c < samples; c++)
                sums[x / BLOCK_PX * samples + c] += (double)row[x * samples + c];
        if (y % BLOCK_PX == BLOCK_PX - 1)
            shifted += count_shifted(sums, across, samples);
    }
#pragma omp atomic
    field->shifted += shifted;
}

/* Over most of the picture the mean has moved: that is no noise. */
static bool is_shifted(const Field *field)
{
    const size_t across = field->width / BLOCK_PX, down = field->height / BLOCK_PX;
    return (double)field->shifted > BLOCK_PART * (double)(across * down);
}

static UfStatus measure(Field *field, int threads, UfReport *report)
{
    field->size = uf_alloc(field->width * field->height, sizeof *field->size);
    field->spare = uf_alloc(field->width * field->height, sizeof *field->spare);
    field->cells = uf_alloc_zero(field->across * field->down, sizeof *field->cells);
    field->detail = uf_alloc(field->across * field->down, sizeof *field->detail);
    if (field->size == NULL || field->spare == NULL || field->cells == NULL || field->detail == NULL)
        return uf_fail_memory(report);
    UfStatus status = uf_part_bands(field->height, sizes_room(field), threads, sizes_band, field, report);
    if (status == UF_OK)
        status = uf_part_bands(field->height, spare_room(field), threads, spare_band, field, report);
    if (status == UF_OK)
        status = uf_part_bands(field->height, 2 * field->width * field->samples, threads, cells_band, field,
                               report);
    if (status == UF_OK)
        measure_detail(field);
    return status;
}

UfStatus uf_noise_find(UfPart *part, int threads, bool *all, double *plain, UfReport *report)
{
    Field field = {.part = part,
                   .width = uf_part_width_px(part),
                   .height = uf_part_height_px(part),
                   .samples = uf_part_colours(part) + 1};
    field.across = (field.width + CELL_PX - 1) / CELL_PX;
    field.down = (field.height + CELL_PX - 1) / CELL_PX;
    UfStatus status = uf_part_bands(field.height, shift_room(&field), threads, shift_band, &field, report);
    if (status != UF_OK)
        return status;
    *all = is_shifted(&field);
    if (*all)
        return UF_OK;
    status = measure(&field, threads, report);
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

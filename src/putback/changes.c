/* Exact comparison, and the choice between it and measured noise. */
#include "putback/changes.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "putback/bands.h"
#include "putback/noise.h"

/*
 * An edit is lossless when more than this part of the pixels beside which the picture changes by BUSY_STEP is
 * exactly as it was taken out. Plain ground says little: there many a JPEG is exact.
 */
#define LOSSLESS_PART 0.25
#define BUSY_STEP     (3.0f / 255.0f)
#define BUSY_LEAST    0.01 /* of all pixels, to speak for them */

typedef struct Comparison {
    const UfPart *part;
    float limit;
    size_t changed, busy, unchanged;
} Comparison;

/* Room: one row. */
static void compare_band(void *job, size_t y0, size_t y1, float *row)
{
    Comparison *all = job;
    const size_t width = uf_part_width_px(all->part), samples = uf_part_colours(all->part) + 1;
    size_t changed = 0;
    for (size_t y = y0; y < y1; y++) {
        uf_part_difference(all->part, y, 0, width, row);
        for (size_t x = 0; x < width; x++) {
            const bool differs = uf_largest(row + x * samples, samples) > all->limit;
            all->part->weight[y * width + x] = differs;
            changed += differs;
        }
    }
#pragma omp atomic
    all->changed += changed;
}

/* weight = 1 where any channel differs by more than `tolerance` steps. */
static UfStatus compare(UfPart *part, double tolerance, int threads, size_t *changed_px, UfReport *report)
{
    Comparison all = {.part = part, .limit = (float)(fmax(tolerance, UF_CHANGE_LEAST) / 255.0)};
    const size_t room = uf_part_width_px(part) * (uf_part_colours(part) + 1);
    UfStatus status = uf_part_bands(uf_part_height_px(part), room, threads, compare_band, &all, report);
    if (status == UF_OK)
        *changed_px = all.changed;
    return status;
}

/* Room: one row. */
static void busy_band(void *job, size_t y0, size_t y1, float *row)
{
    Comparison *all = job;
    const size_t width = uf_part_width_px(all->part), samples = uf_part_colours(all->part) + 1;
    size_t busy = 0, unchanged = 0;
    for (size_t y = y0; y < y1; y++) {
        uf_part_anew(all->part, y, 0, width, row);
        for (size_t x = 1; x < width; x++) {
            float most = 0;
            for (size_t i = x * samples; i < (x + 1) * samples; i++) {
                const float step = fabsf(row[i] - row[i - samples]);
                most = step > most ? step : most;
            }
            busy += most >= BUSY_STEP;
            unchanged += most >= BUSY_STEP && all->part->weight[y * width + x] == 0;
        }
    }
#pragma omp atomic
    all->busy += busy;
#pragma omp atomic
    all->unchanged += unchanged;
}

/* The part of the busy pixels that is unchanged; of all pixels where hardly any is busy. */
static UfStatus unchanged_part(const UfPart *part, size_t changed_px, int threads, double *out,
                               UfReport *report)
{
    Comparison found = {.part = part};
    const size_t room = uf_part_width_px(part) * (uf_part_colours(part) + 1);
    UfStatus status = uf_part_bands(uf_part_height_px(part), room, threads, busy_band, &found, report);
    const double all = (double)uf_part_width_px(part) * (double)uf_part_height_px(part);
    *out = (double)found.busy > BUSY_LEAST * all ? (double)found.unchanged / (double)found.busy
                                                 : 1 - (double)changed_px / all;
    return status;
}

static size_t count_set(const UfPart *part)
{
    size_t count = 0, pixels = uf_part_width_px(part) * uf_part_height_px(part);
    for (size_t i = 0; i < pixels; i++)
        count += part->weight[i] != 0;
    return count;
}

/* Noise is there, or most of a lossless picture was changed. */
static UfStatus find_in_noise(UfPart *part, int threads, UfFound *found, UfReport *report)
{
    UfStatus status = uf_noise_find(part, threads, &found->all, &found->tolerance, report);
    if (status != UF_OK)
        return status;
    found->exact = false;
    if (!found->all) {
        found->changed_px = count_set(part);
        return UF_OK;
    }
    found->tolerance = 0;
    return compare(part, 0, threads, &found->changed_px, report);
}

/* Every difference is the retoucher's: nothing but lossless files lay between. */
static UfStatus is_lossless(const UfPart *part, size_t changed_px, int threads, bool *out, UfReport *report)
{
    double unchanged = 0;
    *out = changed_px == 0;
    if (*out || part->from_jpeg || part->resized || part->converted)
        return UF_OK;
    UfStatus status = unchanged_part(part, changed_px, threads, &unchanged, report);
    *out = unchanged > LOSSLESS_PART;
    return status;
}

UfStatus uf_changes_find(UfPart *part, double tolerance, int threads, UfFound *out, UfReport *report)
{
    UfFound found = {.tolerance = fmax(tolerance, 0)};
    bool lossless = true;
    free(part->weight);
    part->weight = uf_alloc(uf_part_width_px(part) * uf_part_height_px(part), 1);
    if (part->weight == NULL)
        return uf_fail_memory(report);
    UfStatus status = compare(part, found.tolerance, threads, &found.changed_px, report);
    if (status == UF_OK && tolerance < 0)
        status = is_lossless(part, found.changed_px, threads, &lossless, report);
    found.exact = found.tolerance == 0;
    if (status == UF_OK && !lossless)
        status = find_in_noise(part, threads, &found, report);
    if (status == UF_OK)
        *out = found;
    return status;
}

/* Exact comparison, and the choice between it and measured noise. */
#include "putback/changes.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "putback/noise.h"

/*
 * An edit is lossless when more than this part of the pixels beside which the picture changes by BUSY_STEP is
 * exactly as it was taken out. Plain ground says little: there many a JPEG is exact.
 */
#define LOSSLESS_PART 0.25
#define BUSY_STEP     (3.0f / 255.0f)
#define BUSY_LEAST    0.01 /* of all pixels, to speak for them */

static float largest(const float *pixel, size_t samples)
{
    float most = 0;
    for (size_t i = 0; i < samples; i++)
        most = fmaxf(most, fabsf(pixel[i]));
    return most;
}

/* weight = 1 where any channel differs by more than `tolerance` steps. */
static UfStatus compare(UfPart *part, double tolerance, size_t *changed_px, UfReport *report)
{
    size_t width = uf_part_width_px(part), height = uf_part_height_px(part);
    size_t samples = uf_part_colours(part) + 1, changed = 0;
    float limit = (float)(fmax(tolerance, UF_CHANGE_LEAST) / 255.0);
    float *row = uf_alloc(width * samples, sizeof *row);
    if (row == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < height; y++) {
        uf_part_difference(part, y, 0, width, row);
        for (size_t x = 0; x < width; x++) {
            bool differs = largest(row + x * samples, samples) > limit;
            part->weight[y * width + x] = differs;
            changed += differs;
        }
    }
    free(row);
    *changed_px = changed;
    return UF_OK;
}

/* The part of the busy pixels that is unchanged; of all pixels where hardly any is busy. */
static UfStatus unchanged_part(const UfPart *part, size_t changed_px, double *out, UfReport *report)
{
    size_t width = uf_part_width_px(part), height = uf_part_height_px(part);
    size_t samples = uf_part_colours(part) + 1, busy = 0, unchanged = 0;
    float *row = uf_alloc(width * samples, sizeof *row);
    if (row == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y < height; y++) {
        uf_part_anew(part, y, 0, width, row);
        for (size_t x = 1; x < width; x++) {
            float most = 0;
            for (size_t i = x * samples; i < (x + 1) * samples; i++)
                most = fmaxf(most, fabsf(row[i] - row[i - samples]));
            busy += most >= BUSY_STEP;
            unchanged += most >= BUSY_STEP && part->weight[y * width + x] == 0;
        }
    }
    free(row);
    double all = (double)width * (double)height;
    *out = (double)busy > BUSY_LEAST * all ? (double)unchanged / (double)busy : 1 - (double)changed_px / all;
    return UF_OK;
}

static size_t count_set(const UfPart *part)
{
    size_t count = 0, pixels = uf_part_width_px(part) * uf_part_height_px(part);
    for (size_t i = 0; i < pixels; i++)
        count += part->weight[i] != 0;
    return count;
}

/* Noise is there, or most of a lossless picture was changed. */
static UfStatus find_in_noise(UfPart *part, UfFound *found, UfReport *report)
{
    UfStatus status = uf_noise_find(part, &found->all, &found->tolerance, report);
    if (status != UF_OK)
        return status;
    found->exact = false;
    if (!found->all) {
        found->changed_px = count_set(part);
        return UF_OK;
    }
    found->tolerance = 0;
    return compare(part, 0, &found->changed_px, report);
}

/* Every difference is the retoucher's: nothing but lossless files lay between. */
static UfStatus is_lossless(const UfPart *part, size_t changed_px, bool *out, UfReport *report)
{
    double unchanged = 0;
    *out = changed_px == 0;
    if (*out || part->from_jpeg || part->resized || part->converted)
        return UF_OK;
    UfStatus status = unchanged_part(part, changed_px, &unchanged, report);
    *out = unchanged > LOSSLESS_PART;
    return status;
}

UfStatus uf_changes_find(UfPart *part, double tolerance, UfFound *out, UfReport *report)
{
    UfFound found = {.tolerance = fmax(tolerance, 0)};
    bool lossless = true;
    free(part->weight);
    part->weight = uf_alloc(uf_part_width_px(part) * uf_part_height_px(part), 1);
    if (part->weight == NULL)
        return uf_fail_memory(report);
    UfStatus status = compare(part, found.tolerance, &found.changed_px, report);
    if (status == UF_OK && tolerance < 0)
        status = is_lossless(part, found.changed_px, &lossless, report);
    found.exact = found.tolerance == 0;
    if (status == UF_OK && !lossless)
        status = find_in_noise(part, &found, report);
    if (status == UF_OK)
        *out = found;
    return status;
}

/*
 * The poles: all pixels of the first row show the same point of the sphere but for half a pixel, and so do
 * those of the last.
 *
 * `spread` is the mean absolute deviation of the row's samples from their mean. Whether the row is torn is
 * judged on the means of SECTORS sectors, in which noise is averaged away: they must differ (TORN_LEAST), as
 * much as further in, where the circle is larger (TORN_SHARE: in a sound picture differences shrink with the
 * circle), and change often on the way round (TORN_CHANGES times their spread: a straight edge through the
 * pole changes 4 times as much as it spreads, four tiles that meet there 8 times, a row of a picture that was
 * cut off about 30 times). There is no published source for the thresholds.
 */
#include "check/seam.h"

#define SECTORS      32
#define TORN_LEAST   5.0
#define TORN_SHARE   0.5
#define TORN_CHANGES 12.0
#define INNER_SHARE  64 /* the row further in: this part of the height */

typedef struct Sectors {
    double mean[SECTORS];
    size_t count[SECTORS];
} Sectors;

/* Samples of one channel. */
static double row_spread(const UfPixels *pixels, size_t y_px, size_t channel)
{
    double sum = 0, deviation = 0;
    size_t count = 0;
    for (size_t x = 0; x < pixels->width_px; x++) {
        const uint8_t *pixel = uf_pixel_at(pixels, x, y_px);
        if (uf_is_transparent(pixels, pixel))
            continue;
        sum += uf_level(pixels, pixel, channel);
        count++;
    }
    if (count == 0)
        return 0;
    for (size_t x = 0; x < pixels->width_px; x++) {
        const uint8_t *pixel = uf_pixel_at(pixels, x, y_px);
        if (!uf_is_transparent(pixels, pixel))
            deviation += fabs(uf_level(pixels, pixel, channel) - sum / (double)count);
    }
    return deviation / (double)count;
}

static void fill_sectors(const UfPixels *pixels, size_t y_px, Sectors *sectors)
{
    *sectors = (Sectors){0};
    for (size_t x = 0; x < pixels->width_px; x++) {
        const uint8_t *pixel = uf_pixel_at(pixels, x, y_px);
        size_t sector = x * SECTORS / pixels->width_px;
        if (uf_is_transparent(pixels, pixel))
            continue;
        for (size_t k = 0; k < pixels->colours; k++)
            sectors->mean[sector] += uf_level(pixels, pixel, k);
        sectors->count[sector] += pixels->colours;
    }
    for (size_t i = 0; i < SECTORS; i++)
        if (sectors->count[i] > 0)
            sectors->mean[i] /= (double)sectors->count[i];
}

/* Mean absolute deviation of the sectors, and the sum of their changes on the way round. */
static void spread_of_sectors(const UfPixels *pixels, size_t y_px, double *spread, double *changes)
{
    Sectors sectors;
    double mean = 0;
    *spread = *changes = 0;
    fill_sectors(pixels, y_px, &sectors);
    for (size_t i = 0; i < SECTORS; i++) {
        if (sectors.count[i] == 0)
            return;
        mean += sectors.mean[i] / SECTORS;
    }
    for (size_t i = 0; i < SECTORS; i++) {
        *spread += fabs(sectors.mean[i] - mean) / SECTORS;
        *changes += fabs(sectors.mean[i] - sectors.mean[(i + 1) % SECTORS]);
    }
}

void uf_pole_measure(const UfPixels *pixels, bool at_zenith, UfPole *out)
{
    size_t height = pixels->height_px, inner = height / INNER_SHARE;
    size_t row = at_zenith ? 0 : height - 1, inner_row = at_zenith ? inner : height - 1 - inner;
    UfPole pole = {0};
    for (size_t k = 0; k < pixels->colours; k++)
        pole.spread += row_spread(pixels, row, k) / (double)pixels->colours;
    double spread, changes, inner_spread, inner_changes;
    spread_of_sectors(pixels, row, &spread, &changes);
    spread_of_sectors(pixels, inner_row, &inner_spread, &inner_changes);
    pole.is_torn = inner > 0 && spread > TORN_LEAST && spread > TORN_SHARE * inner_spread &&
                   changes > TORN_CHANGES * spread;
    *out = pole;
}

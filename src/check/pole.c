/*
 * The poles: all pixels of the first row show the same point of the sphere but for half a pixel, and so do
 * those of the last.
 *
 * `spread` is the mean absolute deviation of the row's samples from their mean. Whether the row is torn is
 * judged on the means of SECTORS sectors, in which noise is averaged away. In a torn row they differ
 * (TORN_LEAST) and change often on the way round (TORN_CHANGES times their spread: a straight edge through a
 * sound pole changes 4 times as much as it spreads, four tiles that meet there 8 times, a row of a picture
 * that was cut off 15 to 50 times), and a few rows further in they are much the same, as strong (TORN_RATIO)
 * and in the same places (TORN_ALIKE), while in a sound picture the circle there is several times as large
 * and shows something else. A smooth picture that was cut off passes for sound.
 *
 * Thresholds were set on the Earth of Debian's xplanet-images and on ray-traced floors, whole and cut off;
 * there is no published source for them.
 */
#include "check/seam.h"

#define SECTORS      32
#define TORN_LEAST   5.0
#define TORN_CHANGES 12.0
#define TORN_RATIO   0.7
#define TORN_ALIKE   0.8
#define INNER_SHARE  256         /* the row further in: this part of the height, */
#define INNER_LEAST  ((size_t)2) /* but no less */

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

/* False when a sector has no picture. */
static bool are_complete(const Sectors *sectors)
{
    for (size_t i = 0; i < SECTORS; i++)
        if (sectors->count[i] == 0)
            return false;
    return true;
}

static double mean_of(const Sectors *sectors)
{
    double mean = 0;
    for (size_t i = 0; i < SECTORS; i++)
        mean += sectors->mean[i] / SECTORS;
    return mean;
}

static double spread_of(const Sectors *sectors)
{
    double mean = mean_of(sectors), spread = 0;
    for (size_t i = 0; i < SECTORS; i++)
        spread += fabs(sectors->mean[i] - mean) / SECTORS;
    return spread;
}

/* The sum of the changes on the way round. */
static double changes_of(const Sectors *sectors)
{
    double changes = 0;
    for (size_t i = 0; i < SECTORS; i++)
        changes += fabs(sectors->mean[i] - sectors->mean[(i + 1) % SECTORS]);
    return changes;
}

/* Pearson's correlation. */
static double likeness_of(const Sectors *a, const Sectors *b)
{
    double mean_a = mean_of(a), mean_b = mean_of(b), ab = 0, aa = 0, bb = 0;
    for (size_t i = 0; i < SECTORS; i++) {
        ab += (a->mean[i] - mean_a) * (b->mean[i] - mean_b);
        aa += (a->mean[i] - mean_a) * (a->mean[i] - mean_a);
        bb += (b->mean[i] - mean_b) * (b->mean[i] - mean_b);
    }
    return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

static bool is_torn(const Sectors *row, const Sectors *inner)
{
    if (!are_complete(row) || !are_complete(inner))
        return false;
    double spread = spread_of(row), inner_spread = spread_of(inner);
    return spread > TORN_LEAST && changes_of(row) > TORN_CHANGES * spread &&
           inner_spread > TORN_RATIO * spread && spread > TORN_RATIO * inner_spread &&
           likeness_of(row, inner) > TORN_ALIKE;
}

void uf_pole_measure(const UfPixels *pixels, bool at_zenith, UfPole *out)
{
    size_t height = pixels->height_px, inner = height / INNER_SHARE;
    if (inner < INNER_LEAST)
        inner = INNER_LEAST < height ? INNER_LEAST : height - 1;
    UfPole pole = {0};
    size_t row = at_zenith ? 0 : height - 1;
    for (size_t k = 0; k < pixels->colours; k++)
        pole.spread += row_spread(pixels, row, k) / (double)pixels->colours;
    Sectors sectors, inner_sectors;
    fill_sectors(pixels, row, &sectors);
    fill_sectors(pixels, at_zenith ? inner : height - 1 - inner, &inner_sectors);
    pole.is_torn = is_torn(&sectors, &inner_sectors);
    *out = pole;
}

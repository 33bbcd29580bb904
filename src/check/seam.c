/*
 * The seam: each row's difference between its last and first pixel, weighted by the row's length on the
 * sphere, beside the same for the pairs of columns near it. A sound seam is a pair like the others: its ratio
 * is about 1; JPEG, whose blocks end there, makes it up to about 3 in smooth pictures. A seam counts as
 * broken when it stands out in the whole picture (BROKEN_RATIO times the mean of its neighbours), or in some
 * bands of latitude by far (above BAND_RATIO times the largest of its neighbours there: an edge of the scene
 * that runs along the seam is blurred over several columns, a tear is not), and by more than is seen.
 *
 * Thresholds were set on the pictures of Debian's xplanet-images (Earth: ratio 3.4, difference 3.1 of 255;
 * there is nothing to see) and on the same with columns cut off; there is no published source for them.
 */
#include "check/seam.h"

#include <underfoot/sphere.h>

#define NEAR_PAIRS   8
#define PAIRS        (2 * NEAR_PAIRS + 1)
#define BANDS        24
#define BROKEN_RATIO 2.5
#define BROKEN_LEAST 4.0
#define BAND_RATIO   2.5
#define BAND_LEAST   8.0
#define BROKEN_BANDS 2
#define LEAST_NEAR   0.25 /* so that flat pictures have a ratio */

typedef struct Pairs {
    double difference[BANDS][PAIRS], weight[BANDS][PAIRS];
} Pairs;

/* Mean over the colours; false where one of the two has no picture. */
static bool pixel_difference(const UfPixels *pixels, const uint8_t *a, const uint8_t *b, double *out)
{
    if (uf_is_transparent(pixels, a) || uf_is_transparent(pixels, b))
        return false;
    double sum = 0;
    for (size_t k = 0; k < pixels->colours; k++)
        sum += fabs(uf_level(pixels, a, k) - uf_level(pixels, b, k));
    *out = sum / (double)pixels->colours;
    return true;
}

static void add_row(const UfPixels *pixels, size_t y_px, Pairs *pairs)
{
    size_t width = pixels->width_px, height = pixels->height_px, band = y_px * BANDS / height;
    double weight = cos((0.5 - ((double)y_px + 0.5) / (double)height) * UF_PI);
    for (size_t pair = 0; pair < PAIRS; pair++) {
        /* Pair NEAR_PAIRS is the seam: columns width - 1 and 0. The picture is taken to go round often
         * enough. */
        size_t left = (pair + (NEAR_PAIRS + 1) * (width - 1)) % width;
        double difference;
        if (!pixel_difference(pixels, uf_pixel_at(pixels, left, y_px),
                              uf_pixel_at(pixels, (left + 1) % width, y_px), &difference))
            continue;
        pairs->difference[band][pair] += weight * difference;
        pairs->weight[band][pair] += weight;
    }
}

static double mean_of_pair(const Pairs *pairs, size_t pair)
{
    double difference = 0, weight = 0;
    for (size_t band = 0; band < BANDS; band++) {
        difference += pairs->difference[band][pair];
        weight += pairs->weight[band][pair];
    }
    return weight > 0 ? difference / weight : 0;
}

static double mean_in_band(const Pairs *pairs, size_t band, size_t pair)
{
    double weight = pairs->weight[band][pair];
    return weight > 0 ? pairs->difference[band][pair] / weight : 0;
}

static bool is_band_broken(const Pairs *pairs, size_t band)
{
    double seam = mean_in_band(pairs, band, NEAR_PAIRS), largest = 0;
    for (size_t pair = 0; pair < PAIRS; pair++)
        if (pair != NEAR_PAIRS)
            largest = fmax(largest, mean_in_band(pairs, band, pair));
    return seam > BAND_LEAST && seam > BAND_RATIO * largest;
}

void uf_seam_measure(const UfPixels *pixels, UfSeam *out)
{
    Pairs pairs = {0};
    for (size_t y = 0; y < pixels->height_px; y++)
        add_row(pixels, y, &pairs);
    double near = 0;
    for (size_t pair = 0; pair < PAIRS; pair++)
        if (pair != NEAR_PAIRS)
            near += mean_of_pair(&pairs, pair) / (PAIRS - 1);
    UfSeam seam = {.difference = mean_of_pair(&pairs, NEAR_PAIRS)};
    int broken = 0;
    for (size_t band = 0; band < BANDS; band++) {
        double difference = mean_in_band(&pairs, band, NEAR_PAIRS);
        broken += is_band_broken(&pairs, band);
        if (difference > seam.worst_difference) {
            seam.worst_difference = difference;
            seam.worst_lat_deg = 90 - ((double)band + 0.5) * 180 / BANDS;
        }
    }
    seam.ratio =
        near < LEAST_NEAR && seam.difference < LEAST_NEAR ? 1 : seam.difference / fmax(near, LEAST_NEAR);
    seam.is_broken = (seam.ratio > BROKEN_RATIO && seam.difference > BROKEN_LEAST) || broken >= BROKEN_BANDS;
    *out = seam;
}

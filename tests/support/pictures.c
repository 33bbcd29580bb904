/* The panoramas themselves, and comparisons. */
#include "support/pictures.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <lcms2.h>

static const double PI = 3.14159265358979323846;

/* Low harmonics, so that it is smooth everywhere on the sphere. */
double panorama_colour(double lon_rad, double lat_rad, size_t channel)
{
    double x = cos(lat_rad) * sin(lon_rad);
    double y = sin(lat_rad);
    double z = cos(lat_rad) * cos(lon_rad);
    const double amounts[3][4] = {{0.2, 0.1, 0.05, 0.05}, {0.1, -0.15, 0.1, 0.05}, {-0.1, 0.1, 0.15, -0.05}};
    const double *a = amounts[channel % 3];
    return 0.5 + a[0] * y + a[1] * x + a[2] * z + a[3] * x * z;
}

static double sample_of(const PanoramaOptions *options, double lon, double lat, size_t channel, bool alpha)
{
    bool in_hole = options->hole != HOLE_NONE && lat < (options->hole_deg - 90.0) * PI / 180.0;
    if (alpha)
        return in_hole && options->hole == HOLE_TRANSPARENT ? 0.0 : 1.0;
    if (in_hole)
        return options->hole == HOLE_FLAT ? 0.6 : 0.0;
    return panorama_colour(lon, lat, channel) * (options->dark ? 1.0 / 3.0 : 1.0);
}

static void store(Pixels *pixels, size_t at, double value)
{
    if (pixels->bits == 32)
        pixels->values[at] = (float)value;
    else
        pixels->codes[at] = (uint16_t)lround(value * (pixels->bits == 8 ? 255.0 : 65535.0));
}

Pixels panorama_make(const PanoramaOptions *options)
{
    Pixels pixels = {.width = options->width != 0 ? options->width : 256,
                     .height = options->height != 0 ? options->height : 128,
                     .channels = options->channels != 0 ? options->channels : 3,
                     .bits = options->bits != 0 ? options->bits : 8};
    size_t count = pixels.width * pixels.height * pixels.channels;
    pixels.codes = calloc(count, sizeof *pixels.codes);
    pixels.values = pixels.bits == 32 ? calloc(count, sizeof *pixels.values) : NULL;
    cr_assert(pixels.codes != NULL && (pixels.bits != 32 || pixels.values != NULL));
    for (size_t y = 0; y < pixels.height; y++) {
        double lat = (0.5 - ((double)y + 0.5) / (double)pixels.height) * PI;
        for (size_t x = 0; x < pixels.width; x++) {
            double lon = (((double)x + 0.5) / (double)pixels.width - 0.5) * 2.0 * PI;
            for (size_t c = 0; c < pixels.channels; c++) {
                bool alpha = pixels.channels % 2 == 0 && c + 1 == pixels.channels;
                store(&pixels, (y * pixels.width + x) * pixels.channels + c,
                      sample_of(options, lon, lat, c, alpha));
            }
        }
    }
    return pixels;
}

void pixels_free(Pixels *pixels)
{
    free(pixels->codes);
    free(pixels->values);
    *pixels = (Pixels){0};
}

double pixels_at(const Pixels *pixels, size_t x, size_t y, size_t channel)
{
    size_t at = (y * pixels->width + x) * pixels->channels + channel;
    return pixels->bits == 32 ? (double)pixels->values[at]
                              : pixels->codes[at] / (pixels->bits == 8 ? 255.0 : 65535.0);
}

bool pixels_same_rows(const Pixels *a, const Pixels *b, size_t end)
{
    if (a->width != b->width || a->height != b->height || a->channels != b->channels || a->bits != b->bits)
        return false;
    size_t count = a->width * a->channels * end;
    if (a->bits == 32)
        return memcmp(a->values, b->values, count * sizeof *a->values) == 0;
    return memcmp(a->codes, b->codes, count * sizeof *a->codes) == 0;
}

uint8_t *profile_make(size_t *bytes)
{
    cmsHPROFILE profile = cmsCreate_sRGBProfile();
    cmsUInt32Number size = 0;
    cr_assert(cmsSaveProfileToMem(profile, NULL, &size));
    uint8_t *data = malloc(size);
    cr_assert(data != NULL && cmsSaveProfileToMem(profile, data, &size));
    cmsCloseProfile(profile);
    *bytes = size;
    return data;
}

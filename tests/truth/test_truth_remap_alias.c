/*
 * Nothing aliases: a zone plate, rings that grow finer with the distance from a centre, is drawn on the
 * sphere and looked at through targets that are too coarse for it. The truth is the formula itself, averaged
 * over 16 x 16 points of each target pixel. Float without a profile is linear light, so that the comparison
 * needs no curve.
 */
#include <criterion/criterion.h>
#include <math.h>

#include <underfoot/remap.h>

#include "remap/kernels.h"

#define WIDTH_PX 1024u

/* The rings' frequency at the far end, cycles per source pixel. */
#define FINEST 0.16

typedef struct Zone {
    UfDirection centre;
    double rate;
} Zone;

static double zone_value(const Zone *zone, UfDirection d)
{
    double cosine = d.x * zone->centre.x + d.y * zone->centre.y + d.z * zone->centre.z;
    double angle = acos(fmin(fmax(cosine, -1), 1));
    return 0.5 + 0.5 * cos(zone->rate * angle * angle / 2);
}

static double zone_mean(const Zone *zone, const UfView *view, size_t x, size_t y, int side)
{
    double sum = 0;
    for (int b = 0; b < side; b++)
        for (int a = 0; a < side; a++) {
            UfDirection d;
            UfPixelPoint at = {(double)x + (a + 0.5) / side, (double)y + (b + 0.5) / side};
            cr_assert(uf_view_direction(view, at, &d));
            sum += zone_value(zone, d);
        }
    return sum / (side * side);
}

static UfPicture *zone_panorama(const Zone *zone, const UfView *view)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(view->width_px, view->height_px, 1, UF_SAMPLE_F32, &picture, NULL), UF_OK);
    for (size_t y = 0; y < view->height_px; y++)
        for (size_t x = 0; x < view->width_px; x++)
            ((float *)uf_picture_row(picture, y))[x] = (float)zone_mean(zone, view, x, y, 4);
    return picture;
}

/* Plain cubic interpolation at the pixel's centre, what an averaging remapper is measured against. */
static double plain_cubic(const UfPicture *panorama, const UfView *sphere, const UfView *target, size_t x,
                          size_t y)
{
    UfSource source = uf_source_of_picture(panorama, NULL);
    UfKernels kernels;
    UfDirection d;
    UfPixelPoint at;
    float value;
    uf_source_set_edges(&source, sphere);
    uf_kernels_init(&kernels, UF_SAMPLE_F32, 1, false, 0);
    cr_assert(uf_view_direction(target, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
    cr_assert(uf_view_pixel(sphere, d, &at));
    kernels.bicubic(&source, &at.x_px, &at.y_px, 1, &value);
    return (double)value;
}

static double decibel(double squares, size_t count)
{
    return -10 * log10(squares / (double)count);
}

static void check(const Zone *zone, const UfPicture *panorama, const UfView *target, const char *name)
{
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    UfPicture *out = NULL;
    cr_assert_eq(uf_remap(panorama, &sphere, target, NULL, &out, NULL), UF_OK);
    double squares = 0, plain_squares = 0;
    size_t count = 0;
    /* every third pixel in both directions, of small targets every one */
    size_t step = target->width_px > 200 ? 3 : 1;
    for (size_t y = 0; y < target->height_px; y += step)
        for (size_t x = 0; x < target->width_px; x += step, count++) {
            double truth = zone_mean(zone, target, x, y, 16);
            double error = (double)((const float *)uf_picture_row_const(out, y))[x] - truth;
            double plain = plain_cubic(panorama, &sphere, target, x, y) - truth;
            squares += error * error;
            plain_squares += plain * plain;
        }
    double found = decibel(squares, count), plain = decibel(plain_squares, count);
    cr_log_info("%s: %.1f dB, plain cubic %.1f dB", name, found, plain);
    cr_expect_geq(found, 40, "%s: %.1f dB, plain cubic %.1f dB", name, found, plain);
    cr_expect_gt(found, plain + 6, "%s: %.1f dB, plain cubic %.1f dB", name, found, plain);
    uf_picture_free(&out);
}

static void check_zone(double lon_rad, double lat_rad)
{
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    const Zone zone = {uf_direction_from_lonlat((UfLonLat){lon_rad, lat_rad}), FINEST * 2 * sphere.scale_px};
    UfPicture *panorama = zone_panorama(&zone, &sphere);
    UfView turned = uf_view_equirectangular(220);
    turned.rotation = uf_rotation_from_angles(0.5, 1.1, 0.3);
    const struct {
        const char *name;
        UfView view;
    } targets[] = {
        {"planet 512", uf_view_planet(512, uf_radians(280), 0, false)},
        {"sky-centred planet 150", uf_view_planet(150, uf_radians(280), 0, true)},
        {"face 64 down", uf_view_face(UF_FACE_DOWN, 64)},
        {"face 40 up", uf_view_face(UF_FACE_UP, 40)},
        {"face 64 back", uf_view_face(UF_FACE_BACK, 64)},
        {"turned panorama 220", turned},
    };
    for (size_t i = 0; i < sizeof targets / sizeof *targets; i++)
        check(&zone, panorama, &targets[i].view, targets[i].name);
    uf_picture_free(&panorama);
}

Test(truth_remap_alias, zone_on_the_zenith)
{
    check_zone(0.3, 1.5);
}

Test(truth_remap_alias, zone_on_the_seam)
{
    check_zone(UF_PI, 0.7);
}

/*
 * Interpolating gives way to averaging where the scale passes 1: on a smooth gradient neither the place nor
 * the way between them may show. Allowed is one code of 8 bits against the formula.
 */
static double gradient(UfDirection d, size_t channel)
{
    const double along[3] = {0.8 * d.x + 0.6 * d.y, d.y, 0.6 * d.z - 0.8 * d.x};
    return 128 + 90 * along[channel];
}

static UfPicture *gradient_panorama(const UfView *sphere)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(sphere->width_px, sphere->height_px, 3, UF_SAMPLE_U16, &picture, NULL),
                 UF_OK);
    for (size_t y = 0; y < sphere->height_px; y++)
        for (size_t x = 0; x < sphere->width_px; x++)
            for (size_t c = 0; c < 3; c++) {
                UfDirection d;
                cr_assert(uf_view_direction(sphere, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
                ((uint16_t *)uf_picture_row(picture, y))[3 * x + c] = (uint16_t)(gradient(d, c) * 257 + 0.5);
            }
    return picture;
}

Test(truth_remap_alias, no_ring_between_the_modes)
{
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    UfPicture *panorama = gradient_panorama(&sphere);
    for (unsigned i = 0; i < 8; i++) {
        const size_t sizes[4] = {400, 326, 280, 160};
        UfView target = i % 2 == 0 ? uf_view_face(UF_FACE_DOWN, sizes[i / 2])
                                   : uf_view_planet(sizes[i / 2] * 2, uf_radians(260), 0, false);
        UfPicture *out = NULL;
        cr_assert_eq(uf_remap(panorama, &sphere, &target, NULL, &out, NULL), UF_OK);
        double largest = 0;
        for (size_t y = 0; y < target.height_px; y++)
            for (size_t x = 0; x < target.width_px; x++)
                for (size_t c = 0; c < 3; c++) {
                    UfDirection d;
                    cr_assert(
                        uf_view_direction(&target, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
                    double value = ((const uint16_t *)uf_picture_row_const(out, y))[3 * x + c] / 257.0;
                    largest = fmax(largest, fabs(value - gradient(d, c)));
                }
        cr_log_info("target %u: largest difference %.4f codes", i, largest);
        cr_expect_leq(largest, 1, "target %u: %.4f codes", i, largest);
        uf_picture_free(&out);
    }
    uf_picture_free(&panorama);
}

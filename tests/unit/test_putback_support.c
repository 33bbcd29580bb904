#include "unit/test_putback_support.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

double paint_distance_deg(const Paint *paint, UfDirection direction)
{
    UfDirection middle =
        uf_direction_from_lonlat((UfLonLat){uf_radians(paint->lon_deg), uf_radians(paint->lat_deg)});
    return uf_degrees(uf_angle_between_rad(middle, direction));
}

double paint_weight(const Paint *paint, UfDirection direction)
{
    double inside = (paint->radius_deg - paint_distance_deg(paint, direction)) / paint->edge_deg + 0.5;
    return fmin(fmax(inside, 0), 1);
}

/* Of a pixel: the mean over its square. Where no edge is near, its middle says it all. */
static double pixel_weight(const Paint *paint, const UfView *view, size_t x, size_t y)
{
    const double per_side = 4, margin_deg = paint->edge_deg + 3 * 360.0 / PUTBACK_WIDTH_PX;
    UfDirection d;
    if (!uf_view_direction(view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d))
        return 0;
    if (fabs(paint_distance_deg(paint, d) - paint->radius_deg) > margin_deg)
        return paint_weight(paint, d);
    double sum = 0;
    for (int i = 0; i < 16; i++) {
        UfPixelPoint at = {(double)x + (i % 4 + 0.5) / per_side, (double)y + (i / 4 + 0.5) / per_side};
        sum += uf_view_direction(view, at, &d) ? paint_weight(paint, d) / 16 : 0;
    }
    return sum;
}

double sample_at(const UfPicture *picture, size_t x, size_t y, size_t channel)
{
    size_t at = x * uf_picture_channels(picture) + channel;
    const void *row = uf_picture_row_const(picture, y);
    switch (uf_picture_sample(picture)) {
    case UF_SAMPLE_U8:
        return ((const uint8_t *)row)[at] / 255.0;
    case UF_SAMPLE_U16:
        return ((const uint16_t *)row)[at] / 65535.0;
    case UF_SAMPLE_F32:
        break;
    }
    return (double)((const float *)row)[at];
}

void sample_set(UfPicture *picture, size_t x, size_t y, size_t channel, double value)
{
    size_t at = x * uf_picture_channels(picture) + channel;
    void *row = uf_picture_row(picture, y);
    double clipped = fmin(fmax(value, 0), 1);
    switch (uf_picture_sample(picture)) {
    case UF_SAMPLE_U8:
        ((uint8_t *)row)[at] = (uint8_t)lround(clipped * 255);
        return;
    case UF_SAMPLE_U16:
        ((uint16_t *)row)[at] = (uint16_t)lround(clipped * 65535);
        return;
    case UF_SAMPLE_F32:
        ((float *)row)[at] = (float)value;
        return;
    }
}

bool same_pixels(const UfPicture *a, const UfPicture *b)
{
    if (uf_picture_width_px(a) != uf_picture_width_px(b) ||
        uf_picture_height_px(a) != uf_picture_height_px(b) ||
        uf_picture_stride_bytes(a) != uf_picture_stride_bytes(b))
        return false;
    for (size_t y = 0; y < uf_picture_height_px(a); y++)
        if (memcmp(uf_picture_row_const(a, y), uf_picture_row_const(b, y), uf_picture_stride_bytes(a)) != 0)
            return false;
    return true;
}

/* Waves down to four or five pixels, and a hard edge along every tenth of a unit of height. */
static double texture(UfDirection d, size_t channel)
{
    double turn = (double)channel * 0.9;
    double fine = 0.13 * sin(95 * d.x + turn) * sin(102 * d.z) + 0.1 * sin(110 * d.y + 20 * d.x);
    double broad = 0.12 * sin(7 * d.x + 3 * d.z + turn);
    return 0.5 + fine + broad + (fmod(d.y + 2, 0.2) < 0.1 ? 0.07 : -0.07);
}

UfPicture *texture_make(size_t channels, UfSample sample)
{
    UfPicture *picture = NULL;
    UfView view = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    cr_assert_eq(uf_picture_create(view.width_px, view.height_px, channels, sample, &picture, NULL), UF_OK);
    size_t colours = channels - (channels % 2 == 0);
    for (size_t y = 0; y < view.height_px; y++)
        for (size_t x = 0; x < view.width_px; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            for (size_t c = 0; c < colours; c++)
                sample_set(picture, x, y, c, texture(d, c));
            if (colours < channels)
                sample_set(picture, x, y, colours, 1);
        }
    return picture;
}

void paint_on(UfPicture *picture, const UfView *view, const Paint *paint)
{
    size_t channels = uf_picture_channels(picture), colours = channels - (channels % 2 == 0);
    for (size_t y = 0; y < view->height_px; y++)
        for (size_t x = 0; x < view->width_px; x++) {
            double weight = pixel_weight(paint, view, x, y) * paint->opacity;
            for (size_t c = 0; weight > 0 && c < colours; c++) {
                double old = sample_at(picture, x, y, c);
                double over = paint->lightens ? old + paint->colour[c] : paint->colour[c];
                sample_set(picture, x, y, c, old + weight * (over - old));
            }
        }
}

static UfPicture *take(const UfPicture *panorama, UfHome *home)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_home_set_panorama(home, panorama, "hall.png", report), UF_OK, "%s",
                 uf_report_error(report));
    cr_assert_eq(uf_home_extract(home, panorama, 1, NULL, &picture, report), UF_OK, "%s",
                 uf_report_error(report));
    uf_report_free(&report);
    return picture;
}

UfPicture *take_face(const UfPicture *panorama, UfFace face, size_t size_px, UfHome *home)
{
    size_t size = size_px > 0 ? size_px : uf_face_full_size_px(uf_picture_width_px(panorama));
    *home = (UfHome){.kind = UF_HOME_FACE, .face = face, .fov_deg = 90, .width_px = size, .height_px = size};
    return take(panorama, home);
}

UfPicture *take_view(const UfPicture *panorama, double yaw_deg, double pitch_deg, double roll_deg,
                     double fov_deg, size_t width_px, size_t height_px, UfHome *home)
{
    *home = (UfHome){.kind = UF_HOME_VIEW,
                     .yaw_deg = yaw_deg,
                     .pitch_deg = pitch_deg,
                     .roll_deg = roll_deg,
                     .fov_deg = fov_deg,
                     .width_px = width_px,
                     .height_px = height_px};
    return take(panorama, home);
}

void paint_extraction(UfPicture *picture, const UfHome *home, const Paint *paint)
{
    UfView view;
    cr_assert_eq(
        uf_home_view_at(home, uf_picture_width_px(picture), uf_picture_height_px(picture), &view, NULL),
        UF_OK);
    paint_on(picture, &view, paint);
}

UfPutbackResult bring(UfPicture *panorama, const UfEdit *edits, size_t count, const UfPutbackOptions *options,
                      UfTouched *touched, UfPutbackChange *changes)
{
    UfPutbackResult result = {0};
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_putback(panorama, edits, count, options, touched, changes, &result, report), UF_OK, "%s",
                 uf_report_error(report));
    uf_report_free(&report);
    return result;
}

void assert_only_near(const UfPicture *before, const UfPicture *after, const Paint *paint, double reach_deg,
                      const char *what)
{
    UfView view = uf_view_equirectangular(uf_picture_width_px(before));
    size_t pixel_bytes = uf_picture_channels(before) * (size_t)uf_picture_sample(before);
    size_t inside = 0, outside = 0;
    double farthest = 0;
    for (size_t y = 0; y < view.height_px; y++)
        for (size_t x = 0; x < view.width_px; x++) {
            const uint8_t *a = uf_picture_row_const(before, y), *b = uf_picture_row_const(after, y);
            if (memcmp(a + x * pixel_bytes, b + x * pixel_bytes, pixel_bytes) == 0)
                continue;
            UfDirection d;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            double distance = paint_distance_deg(paint, d);
            farthest = fmax(farthest, distance);
            if (distance > reach_deg)
                outside++;
            else
                inside++;
        }
    cr_expect_eq(outside, 0, "%s: %zu pixels changed outside, up to %.2f degrees away", what, outside,
                 farthest);
    cr_expect_gt(inside, 0, "%s: nothing came home", what);
}

Error error_of(const UfPicture *after, const UfPicture *truth, const Paint *paint, double reach_deg)
{
    UfView view = uf_view_equirectangular(uf_picture_width_px(after));
    size_t channels = uf_picture_channels(after), count = 0;
    Error error = {0};
    for (size_t y = 0; y < view.height_px; y++)
        for (size_t x = 0; x < view.width_px; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            if (paint_distance_deg(paint, d) > paint->radius_deg + reach_deg)
                continue;
            for (size_t c = 0; c < channels; c++, count++) {
                double off = 255 * (sample_at(after, x, y, c) - sample_at(truth, x, y, c));
                error.rms += off * off;
                error.most = fmax(error.most, fabs(off));
            }
        }
    error.rms = sqrt(error.rms / (double)count);
    return error;
}

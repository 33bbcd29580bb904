/* Panoramas for the patch tests: two real ones, and made ones whose truth is known. */
#ifndef TEST_PATCH_SUPPORT_H
#define TEST_PATCH_SUPPORT_H

#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include <underfoot/patch.h>
#include <underfoot/remap.h>

/* Debian's xplanet-images: real 2:1 equirectangular pictures, 2048 x 1024 and 1024 x 512. */
#define EARTH "/usr/share/xplanet/images/earth.jpg"
#define SUN   "/usr/share/xplanet/images/sun.jpg"

static inline UfPicture *read_picture(const char *path)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    UfStatus status = uf_picture_read(path, NULL, &picture, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return picture;
}

static inline UfPicture *make_picture(size_t width, size_t height, size_t channels, UfSample sample)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width, height, channels, sample, &picture, NULL), UF_OK);
    return picture;
}

static inline UfPicture *copy_picture(const UfPicture *from)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_copy(from, &picture, NULL), UF_OK);
    return picture;
}

static inline double sample_max(const UfPicture *picture)
{
    UfSample sample = uf_picture_sample(picture);
    return sample == UF_SAMPLE_U8 ? 255 : sample == UF_SAMPLE_U16 ? 65535 : 1;
}

/* As a share of the full range. */
static inline double get(const UfPicture *picture, size_t x, size_t y, size_t c)
{
    size_t at = x * uf_picture_channels(picture) + c;
    const void *row = uf_picture_row_const(picture, y);
    if (uf_picture_sample(picture) == UF_SAMPLE_U8)
        return ((const uint8_t *)row)[at] / 255.0;
    if (uf_picture_sample(picture) == UF_SAMPLE_U16)
        return ((const uint16_t *)row)[at] / 65535.0;
    return (double)((const float *)row)[at];
}

static inline void set(UfPicture *picture, size_t x, size_t y, size_t c, double value)
{
    size_t at = x * uf_picture_channels(picture) + c;
    void *row = uf_picture_row(picture, y);
    if (uf_picture_sample(picture) == UF_SAMPLE_U8)
        ((uint8_t *)row)[at] = (uint8_t)lrint(value * 255);
    else if (uf_picture_sample(picture) == UF_SAMPLE_U16)
        ((uint16_t *)row)[at] = (uint16_t)lrint(value * 65535);
    else
        ((float *)row)[at] = (float)value;
}

static inline bool same_row(const UfPicture *a, const UfPicture *b, size_t y)
{
    return memcmp(uf_picture_row_const(a, y), uf_picture_row_const(b, y), uf_picture_stride_bytes(a)) == 0;
}

/* The picture turned by whole pixels to the left. */
static inline UfPicture *shifted(const UfPicture *from, size_t by)
{
    UfPicture *to = copy_picture(from);
    size_t pixel = uf_picture_channels(from) * (size_t)uf_picture_sample(from);
    size_t width = uf_picture_width_px(from);
    for (size_t y = 0; y < uf_picture_height_px(from); y++) {
        const uint8_t *source = uf_picture_row_const(from, y);
        uint8_t *target = uf_picture_row(to, y);
        for (size_t x = 0; x < width; x++)
            memcpy(target + x * pixel, source + (x + by) % width * pixel, pixel);
    }
    return to;
}

/* The picture upside down, as a mirror on the floor shows it. */
static inline UfPicture *mirrored(const UfPicture *from)
{
    UfPicture *to = copy_picture(from);
    size_t height = uf_picture_height_px(from);
    for (size_t y = 0; y < height; y++)
        memcpy(uf_picture_row(to, y), uf_picture_row_const(from, height - 1 - y),
               uf_picture_stride_bytes(from));
    return to;
}

/* Largest difference of two pictures, as a share of the range. */
static inline double largest_difference(const UfPicture *a, const UfPicture *b)
{
    double largest = 0;
    for (size_t y = 0; y < uf_picture_height_px(a); y++)
        for (size_t x = 0; x < uf_picture_width_px(a); x++)
            for (size_t c = 0; c < uf_picture_channels(a); c++)
                largest = fmax(largest, fabs(get(a, x, y, c) - get(b, x, y, c)));
    return largest;
}

static inline UfPatchOptions options_of(UfFill fill, double cap_deg, double feather_deg)
{
    return (UfPatchOptions){.fill = fill,
                            .cap_rad = uf_radians(cap_deg),
                            .feather_rad = uf_radians(feather_deg),
                            .colour = {0.5, 0.5, 0.5},
                            .seed = 1,
                            .threads = 2};
}

static inline UfPatchResult patch(UfPicture *picture, const UfPatchOptions *options)
{
    UfPatchResult result = {0};
    UfReport *report = uf_report_create();
    UfStatus status = uf_patch(picture, options, NULL, &result, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return result;
}

static inline UfStatus refused(UfPicture *picture, const UfPatchOptions *options)
{
    UfReport *report = uf_report_create();
    UfPatchResult result = {0};
    UfStatus status = uf_patch(picture, options, NULL, &result, report);
    if (status != UF_OK)
        cr_assert(strlen(uf_report_error(report)) > 10, "a refusal must say why");
    uf_report_free(&report);
    return status;
}

/* What a camera that looks straight down (or up) sees, `fov_deg` across, the heading at the top. */
static inline UfPicture *look(const UfPicture *panorama, bool up, double heading_deg, double fov_deg,
                              size_t side)
{
    UfPicture *out = NULL;
    UfView from = uf_view_equirectangular(uf_picture_width_px(panorama));
    UfRotation rotation = uf_rotation_from_angles(uf_radians(up ? heading_deg + 180 : heading_deg),
                                                  uf_radians(up ? 90 : -90), 0);
    UfView to = uf_view_rectilinear(side, side, uf_radians(fov_deg), rotation);
    cr_assert_eq(uf_remap(panorama, &from, &to, NULL, &out, NULL), UF_OK);
    return out;
}

#endif

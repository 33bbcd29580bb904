/*
 * The photograph behind its lens, and sampling it on a grid.
 *
 * Where a grid pixel covers several of the photo's, its parallelogram is sampled n x n times, n at least its
 * longer side in photo pixels, and averaged in linear light (P. S. Heckbert, UCB/CSD 89/516, 1989); otherwise
 * one cubic sample of the stored values serves (R. G. Keys, IEEE Trans. ASSP 29(6), 1981).
 */
#include "patch/plate_photo.h"

#include <libexif/exif-data.h>
#include <limits.h>
#include <math.h>

#include "base/memory.h"
#include "patch/rows.h"
#include "plan/lens.h"

/* Rays farther from the axis see the floor too much from the side. */
#define MOST_ANGLE_RAD   (70.0 * UF_PI / 180)
#define HALF_DIAGONAL_MM 21.633 /* of 36 x 24 mm */
#define USUAL_FOCAL_MM   28.0   /* on it */
#define LEAST_FOCAL_MM   8u     /* shorter is no rectilinear lens */
#define MOST_SAMPLES     24
/* Shapes that differ by no more are the same: pixels are often trimmed. */
#define SHAPE_TOLERANCE 0.03

UfStatus uf_plate_photo_create(const UfPicture *picture, const UfTransfer *transfer, const UfCamera *camera,
                               UfPlatePhoto *out, UfReport *report)
{
    double width = (double)uf_picture_width_px(picture), height = (double)uf_picture_height_px(picture);
    UfPlatePhoto photo = {.picture = picture,
                          .transfer = transfer,
                          .is_rectilinear = true,
                          .centre_x = width / 2,
                          .centre_y = height / 2,
                          .focal_px = hypot(width, height) / 2,
                          .tangent = HALF_DIAGONAL_MM / USUAL_FOCAL_MM,
                          .reach = INFINITY};
    if (camera != NULL) {
        double shape = camera->sensor_long_mm / camera->sensor_short_mm;
        double seen = fmax(width, height) / fmin(width, height);
        if (fabs(seen / shape - 1) > SHAPE_TOLERANCE)
            return uf_fail(
                report, UF_ERROR_ARGUMENT,
                "the floor photograph is %.0f x %.0f, but the sensor of its rig file is %g x %g mm: give "
                "the rig of the camera that took it, and the photograph uncropped",
                width, height, camera->sensor_long_mm, camera->sensor_short_mm);
        photo.lens = camera->lens;
        photo.mm_per_px = camera->sensor_long_mm / fmax(width, height);
        photo.focal_px = camera->lens.focal_mm / photo.mm_per_px;
        photo.tangent = 1;
        photo.is_rectilinear = camera->lens.mapping == UF_MAPPING_RECTILINEAR;
        photo.reach = tan(fmin(uf_lens_limit_rad(&camera->lens), MOST_ANGLE_RAD));
    }
    *out = photo;
    return UF_OK;
}

/* FocalLengthIn35mmFilm (CIPA DC-008, tag 0xA405), 0 where it is not known. */
static unsigned focal_in_35mm_film(ExifData *exif)
{
    ExifEntry *entry = exif_content_get_entry(exif->ifd[EXIF_IFD_EXIF], EXIF_TAG_FOCAL_LENGTH_IN_35MM_FILM);
    if (entry == NULL || entry->format != EXIF_FORMAT_SHORT || entry->components != 1 || entry->size < 2)
        return 0;
    return exif_get_short(entry->data, exif_data_get_byte_order(exif));
}

UfStatus uf_plate_photo_read_angle(const UfPicture *original, UfPlatePhoto *photo, UfReport *report)
{
    static const unsigned char prefix[6] = "Exif\0";
    UfBlob blob = uf_picture_exif(original);
    if (blob.size_bytes == 0 || blob.size_bytes > UINT_MAX - sizeof prefix)
        return UF_OK;
    unsigned char *bytes = uf_alloc(blob.size_bytes + sizeof prefix, 1);
    ExifData *exif = exif_data_new();
    UfStatus status = bytes == NULL || exif == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK) {
        memcpy(bytes, prefix, sizeof prefix);
        memcpy(bytes + sizeof prefix, blob.data, blob.size_bytes);
        exif_data_unset_option(exif, EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
        exif_data_load_data(exif, bytes, (unsigned)(blob.size_bytes + sizeof prefix));
        unsigned focal_mm = focal_in_35mm_film(exif);
        if (focal_mm >= LEAST_FOCAL_MM)
            photo->tangent = HALF_DIAGONAL_MM / focal_mm;
    }
    if (exif != NULL)
        exif_data_unref(exif);
    free(bytes);
    return status;
}

bool uf_plate_photo_pixel(const UfPlatePhoto *photo, UfSpot q, UfSpot *pixel)
{
    double away = sqrt(q.x * q.x + q.y * q.y), scale = photo->focal_px, radius;
    if (!(away <= photo->reach))
        return false;
    if (!photo->is_rectilinear && away > 1e-9) {
        if (!uf_lens_radius_mm(&photo->lens, atan(away), &radius))
            return false;
        scale = radius / photo->mm_per_px / away;
    }
    *pixel = (UfSpot){photo->centre_x + scale * q.x, photo->centre_y + scale * q.y};
    return true;
}

bool uf_plate_photo_ray(const UfPlatePhoto *photo, UfSpot pixel, UfSpot *q)
{
    double x = pixel.x - photo->centre_x, y = pixel.y - photo->centre_y;
    double away = hypot(x, y), scale = 1 / photo->focal_px, angle;
    if (!photo->is_rectilinear && away > 1e-9) {
        if (!uf_lens_angle_rad(&photo->lens, away * photo->mm_per_px, &angle) || angle > MOST_ANGLE_RAD)
            return false;
        scale = tan(angle) / away;
    }
    if (!(away * scale <= photo->reach))
        return false;
    *q = (UfSpot){scale * x, scale * y};
    return true;
}

static bool place(const UfPlatePhoto *photo, const UfHomography *to_ray, double x, double y, UfSpot *pixel)
{
    UfSpot q;
    return uf_homography_apply(to_ray, (UfSpot){x, y}, &q) && uf_plate_photo_pixel(photo, q, pixel);
}

/* Colours of a photo pixel, stored or linear; false where it is transparent. */
static bool fetch(const UfPlatePhoto *photo, size_t x, size_t y, size_t colours, bool is_linear,
                  double out[3])
{
    const UfPicture *picture = photo->picture;
    const void *row = uf_picture_row_const(picture, y);
    size_t channels = uf_picture_channels(picture), at = x * channels;
    UfSample sample = uf_picture_sample(picture);
    if (sample == UF_SAMPLE_U8) {
        const uint8_t *p = (const uint8_t *)row + at;
        const float *table = is_linear ? uf_transfer_table_u8(photo->transfer) : NULL;
        for (size_t c = 0; c < colours; c++)
            out[c] = table != NULL ? (double)table[p[c]] : p[c] / 255.0;
        return channels == colours || p[colours] >= 254;
    }
    if (sample == UF_SAMPLE_U16) {
        const uint16_t *p = (const uint16_t *)row + at;
        const float *table = is_linear ? uf_transfer_table_u16(photo->transfer) : NULL;
        for (size_t c = 0; c < colours; c++)
            out[c] = table != NULL ? (double)table[p[c]] : p[c] / 65535.0;
        return channels == colours || p[colours] >= 65400;
    }
    const float *p = (const float *)row + at;
    bool is_finite = true;
    for (size_t c = 0; c < colours; c++) {
        out[c] = (double)(is_linear ? uf_transfer_to_linear(photo->transfer, p[c]) : p[c]);
        is_finite = is_finite && isfinite(p[c]);
    }
    return is_finite && (channels == colours || p[colours] > 0.998F);
}

/* Keys, a = -1/2, or the triangle. */
static void weights_of(double t, bool is_cubic, double w[4])
{
    if (!is_cubic) {
        w[0] = w[3] = 0;
        w[1] = 1 - t;
        w[2] = t;
        return;
    }
    w[0] = ((-0.5 * t + 1) * t - 0.5) * t;
    w[1] = (1.5 * t - 2.5) * t * t + 1;
    w[2] = ((-1.5 * t + 2) * t + 0.5) * t;
    w[3] = (0.5 * t - 0.5) * t * t;
}

/* One interpolated sample; false unless everything it reads is inside the photo and opaque. */
static bool sample_at(const UfPlatePhoto *photo, UfSpot at, size_t colours, bool is_cubic, bool is_linear,
                      double out[3])
{
    double u = at.x - 0.5, v = at.y - 0.5, wx[4], wy[4], pixel[3];
    double margin = is_cubic ? 1 : 0;
    if (!(u >= margin && v >= margin && u < (double)uf_picture_width_px(photo->picture) - 1 - margin &&
          v < (double)uf_picture_height_px(photo->picture) - 1 - margin))
        return false;
    size_t x = (size_t)u, y = (size_t)v;
    weights_of(u - (double)x, is_cubic, wx);
    weights_of(v - (double)y, is_cubic, wy);
    memset(out, 0, 3 * sizeof *out);
    size_t first = is_cubic ? 0 : 1, last = is_cubic ? 3 : 2;
    for (size_t j = first; j <= last; j++)
        for (size_t i = first; i <= last; i++) {
            if (!fetch(photo, x + i - 1, y + j - 1, colours, is_linear, pixel))
                return false;
            for (size_t c = 0; c < colours; c++)
                out[c] += wx[i] * wy[j] * pixel[c];
        }
    return true;
}

/* Sum of n x n samples spread over the parallelogram about `at`. */
static bool average_at(const UfPlatePhoto *photo, UfSpot at, UfSpot right, UfSpot down, int n, size_t colours,
                       double out[3])
{
    double one[3];
    memset(out, 0, 3 * sizeof *out);
    for (int j = 0; j < n; j++)
        for (int i = 0; i < n; i++) {
            double u = (i + 0.5) / n - 0.5, v = (j + 0.5) / n - 0.5;
            UfSpot spot = {at.x + u * right.x + v * down.x, at.y + u * right.y + v * down.y};
            if (!sample_at(photo, spot, colours, n == 2, true, one))
                return false;
            for (size_t c = 0; c < colours; c++)
                out[c] += one[c];
        }
    for (size_t c = 0; c < colours; c++)
        out[c] = (double)uf_transfer_from_linear(photo->transfer, (float)(out[c] / (n * n)));
    return true;
}

static bool warp_pixel(const UfPlatePhoto *photo, const UfHomography *to_ray, size_t x, size_t y,
                       float *value)
{
    UfSpot at, right, down;
    double colour[3];
    double u = (double)x + 0.5, v = (double)y + 0.5;
    if (!place(photo, to_ray, u, v, &at) || !place(photo, to_ray, u + 1, v, &right) ||
        !place(photo, to_ray, u, v + 1, &down))
        return false;
    right = (UfSpot){right.x - at.x, right.y - at.y};
    down = (UfSpot){down.x - at.x, down.y - at.y};
    double longest = sqrt(fmax(right.x * right.x + right.y * right.y, down.x * down.x + down.y * down.y));
    int n = (int)fmin(ceil(longest - 0.05), MOST_SAMPLES);
    size_t colours = uf_colour_channels(photo->picture);
    bool is_seen = n <= 1 ? sample_at(photo, at, colours, true, false, colour)
                          : average_at(photo, at, right, down, n, colours, colour);
    for (size_t c = 0; is_seen && c < colours; c++)
        value[c] = (float)colour[c];
    return is_seen;
}

void uf_plate_photo_warp(const UfPlatePhoto *photo, const UfHomography *to_ray, size_t width, size_t height,
                         const uint8_t *wanted, int threads, float *value, uint8_t *known)
{
#pragma omp parallel for num_threads(threads) schedule(dynamic, 8)
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            size_t i = y * width + x;
            memset(value + 4 * i, 0, 4 * sizeof *value);
            known[i] = (wanted == NULL || wanted[i]) && warp_pixel(photo, to_ray, x, y, value + 4 * i);
        }
}

double uf_plate_photo_scale(const UfPlatePhoto *photo, const UfHomography *to_ray, UfSpot spot)
{
    UfSpot at, right, down;
    if (!place(photo, to_ray, spot.x, spot.y, &at) || !place(photo, to_ray, spot.x + 1, spot.y, &right) ||
        !place(photo, to_ray, spot.x, spot.y + 1, &down) || at.x < 0 || at.y < 0 ||
        at.x > 2 * photo->centre_x || at.y > 2 * photo->centre_y)
        return 0;
    double area = (right.x - at.x) * (down.y - at.y) - (right.y - at.y) * (down.x - at.x);
    return sqrt(fabs(area));
}

/* The floor is y = 0 and the panorama's camera one unit above it: a point (x, z) is seen along (x, -1, z). */
#include "test_plate_support.h"

#include "picture/colour.h"

static UfRotation rotation_of(const Shooting *s)
{
    return uf_rotation_from_angles(uf_radians(s->yaw_deg), uf_radians(s->pitch_deg), uf_radians(s->roll_deg));
}

bool shooting_pixel(const Shooting *s, double x, double z, UfSpot *out)
{
    UfRotation turn = rotation_of(s), back = uf_rotation_inverse(&turn);
    UfDirection d = uf_rotation_apply(&back, (UfDirection){x - s->x, -s->height, z - s->z});
    if (!(d.z > 0))
        return false;
    double away = hypot(d.x, d.y), angle = atan2(away, d.z);
    double r = s->focal_px * (s->mapping == UF_MAPPING_EQUIDISTANT ? angle : tan(angle));
    double scale = away > 0 ? r / away : 0;
    *out = (UfSpot){(double)s->width / 2 + scale * d.x, (double)s->height_px / 2 - scale * d.y};
    return true;
}

/* The floor's point under a photo pixel. */
static bool floor_of(const Shooting *s, double px, double py, double *x, double *z)
{
    UfRotation turn = rotation_of(s);
    double u = px - (double)s->width / 2, v = (double)s->height_px / 2 - py, r = hypot(u, v) / s->focal_px;
    double angle = s->mapping == UF_MAPPING_EQUIDISTANT ? r : atan(r);
    double scale = r > 0 ? sin(angle) / (r * s->focal_px) : 0;
    UfDirection d = uf_rotation_apply(&turn, (UfDirection){scale * u, scale * v, cos(angle)});
    if (!(d.y < -0.05))
        return false;
    *x = s->x - d.x * s->height / d.y;
    *z = s->z - d.z * s->height / d.y;
    return true;
}

/* Linear light along a direction, bilinear. */
static void light_at(const UfPicture *truth, const UfTransfer *transfer, double x, double z, double out[3])
{
    size_t width = uf_picture_width_px(truth), height = uf_picture_height_px(truth);
    UfLonLat at = uf_lonlat_from_direction((UfDirection){x, -1, z});
    double u = (at.lon_rad / (2 * UF_PI) + 0.5) * (double)width - 0.5 + (double)width;
    double v = fmin((0.5 - at.lat_rad / UF_PI) * (double)height - 0.5, (double)height - 1.001);
    size_t i = (size_t)u, j = (size_t)v;
    for (size_t c = 0; c < 3; c++) {
        double sum = 0;
        for (size_t k = 0; k < 4; k++) {
            double weight =
                (k & 1 ? u - (double)i : 1 - u + (double)i) * (k >> 1 ? v - (double)j : 1 - v + (double)j);
            double stored = get(truth, (i + (k & 1)) % width, j + (k >> 1), c);
            sum += weight * (double)uf_transfer_to_linear(transfer, (float)stored);
        }
        out[c] = sum;
    }
}

static double bell(uint32_t *state)
{
    double sum = 0;
    for (int k = 0; k < 4; k++) {
        *state = *state * 1664525u + 1013904223u;
        sum += *state / 4294967296.0 - 0.5;
    }
    return sum * 1.7320508;
}

UfPicture *shoot(const UfPicture *truth, const Shooting *s)
{
    size_t channels = s->foot_radius > 0 ? 4 : 3;
    UfPicture *photo = make_picture(s->width, s->height_px, channels, UF_SAMPLE_U8);
    UfTransfer *transfer = NULL, *own = NULL;
    uint32_t state = 99;
    cr_assert_eq(uf_transfer_create(truth, &transfer, NULL), UF_OK);
    cr_assert_eq(uf_transfer_create(photo, &own, NULL), UF_OK); /* sRGB */
    for (size_t y = 0; y < s->height_px; y++)
        for (size_t x = 0; x < s->width; x++) {
            double fx = 0, fz = 0, light[3] = {0};
            if (floor_of(s, (double)x + 0.5, (double)y + 0.5, &fx, &fz))
                light_at(truth, transfer, fx, fz, light);
            double away = hypot((double)x - (double)s->width / 2, (double)y - (double)s->height_px / 2) /
                          hypot((double)s->width / 2, (double)s->height_px / 2);
            for (size_t c = 0; c < 3; c++) {
                double v = light[c] * s->gain[c] * (1 - s->vignetting * away * away);
                double stored = (double)uf_transfer_from_linear(own, (float)v) + s->noise * bell(&state);
                set(photo, x, y, c, fmax(0, fmin(1, stored)));
            }
            if (channels == 4)
                set(photo, x, y, 3, hypot(fx - s->foot_x, fz - s->foot_z) < s->foot_radius ? 0 : 1);
        }
    uf_transfer_free(&transfer);
    uf_transfer_free(&own);
    return photo;
}

UfPicture *without_nadir(const UfPicture *truth, double cap_deg)
{
    UfPicture *picture = copy_picture(truth);
    size_t height = uf_picture_height_px(truth);
    for (size_t y = height - (size_t)(cap_deg / 180 * (double)height); y < height; y++)
        memset(uf_picture_row(picture, y), 0, uf_picture_stride_bytes(picture));
    return picture;
}

double psnr_below(const UfPicture *a, const UfPicture *b, double cap_deg)
{
    UfPicture *p = look(a, false, 0, 2 * cap_deg, 160), *q = look(b, false, 0, 2 * cap_deg, 160);
    double sum = 0, count = 0;
    for (size_t y = 0; y < 160; y++)
        for (size_t x = 0; x < 160; x++)
            for (size_t c = 0; c < 3 && hypot((double)x - 79.5, (double)y - 79.5) < 80; c++) {
                sum += pow(get(p, x, y, c) - get(q, x, y, c), 2);
                count++;
            }
    uf_picture_free(&p);
    uf_picture_free(&q);
    return -10 * log10(sum / count);
}

UfPicture *read_floor(const char *path, size_t width)
{
    UfPicture *whole = read_picture(path), *small = NULL;
    cr_assert_eq(uf_resize(whole, width, width / 2, true, NULL, &small, NULL), UF_OK);
    uf_picture_free(&whole);
    return small;
}

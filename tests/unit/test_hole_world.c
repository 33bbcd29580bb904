#include "unit/test_hole_world.h"

#include <criterion/criterion.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

void world_set(UfPicture *picture, size_t x_px, size_t y_px, size_t channel, double level)
{
    size_t at = x_px * uf_picture_channels(picture) + channel;
    void *row = uf_picture_row(picture, y_px);
    switch (uf_picture_sample(picture)) {
    case UF_SAMPLE_U8:
        ((uint8_t *)row)[at] = (uint8_t)lround(level);
        break;
    case UF_SAMPLE_U16:
        ((uint16_t *)row)[at] = (uint16_t)lround(level * 257);
        break;
    case UF_SAMPLE_F32:
        ((float *)row)[at] = (float)(level / 255);
        break;
    }
}

double world_get(const UfPicture *picture, size_t x_px, size_t y_px, size_t channel)
{
    size_t at = x_px * uf_picture_channels(picture) + channel;
    const void *row = uf_picture_row_const(picture, y_px);
    switch (uf_picture_sample(picture)) {
    case UF_SAMPLE_U8:
        return ((const uint8_t *)row)[at];
    case UF_SAMPLE_U16:
        return ((const uint16_t *)row)[at] / 257.0;
    case UF_SAMPLE_F32:
    default:
        return ((const float *)row)[at] * 255.0;
    }
}

static double detail(UfDirection d, size_t channel)
{
    double phase = (double)channel;
    return 120 + 40 * sin(5 * d.x + phase) * cos(4 * d.y) + 30 * sin(17 * d.z + 9 * d.x + phase) +
           15 * sin(60 * d.y + 41 * d.z);
}

static double noise(size_t x, size_t y)
{
    uint32_t bits = (uint32_t)(x * 2654435761u) ^ (uint32_t)(y * 40503u * 65537u);
    bits ^= bits >> 15;
    bits *= 0x2C1B3C6Du;
    bits ^= bits >> 12;
    return bits % 7 - 3.0;
}

UfPicture *world_make_part(size_t width_px, size_t channels, UfSample sample, WorldField field)
{
    UfPicture *picture = NULL;
    size_t height_px = width_px / 2;
    cr_assert_eq(uf_picture_create(width_px, height_px, channels, sample, &picture, NULL), UF_OK);
    for (size_t y = 0; y < height_px; y++)
        for (size_t x = 0; x < width_px; x++) {
            UfLonLat at = {uf_radians(((double)x + 0.5) / (double)width_px - 0.5) * field.lon_deg,
                           uf_radians(0.5 - ((double)y + 0.5) / (double)height_px) * field.lat_deg};
            UfDirection direction = uf_direction_from_lonlat(at);
            for (size_t k = 0; k < channels; k++)
                world_set(picture, x, y, k, detail(direction, k) + noise(x, y));
            if (uf_picture_has_alpha(picture))
                world_set(picture, x, y, channels - 1, 255);
        }
    return picture;
}

UfPicture *world_make(size_t width_px, size_t channels, UfSample sample)
{
    return world_make_part(width_px, channels, sample, (WorldField){360, 180});
}

/* Sets the channels [first, last) inside a disc. */
static void set_disc(UfPicture *picture, UfLonLat middle, double radius_rad, size_t first, size_t last,
                     double level)
{
    UfView view = uf_view_equirectangular(uf_picture_width_px(picture));
    UfDirection centre = uf_direction_from_lonlat(middle), direction;
    for (size_t y = 0; y < view.height_px; y++) {
        double lat_rad = (0.5 - ((double)y + 0.5) / (double)view.height_px) * UF_PI;
        if (fabs(lat_rad - middle.lat_rad) > radius_rad)
            continue;
        for (size_t x = 0; x < view.width_px; x++) {
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction));
            if (uf_angle_between_rad(centre, direction) < radius_rad)
                for (size_t k = first; k < last; k++)
                    world_set(picture, x, y, k, level);
        }
    }
}

void world_paint(UfPicture *picture, double lon_deg, double lat_deg, double radius_deg, double level)
{
    size_t colours = uf_picture_channels(picture) - uf_picture_has_alpha(picture);
    set_disc(picture, (UfLonLat){uf_radians(lon_deg), uf_radians(lat_deg)}, uf_radians(radius_deg), 0,
             colours, level);
}

void world_cut(UfPicture *picture, double lon_deg, double lat_deg, double radius_deg, double alpha)
{
    size_t channels = uf_picture_channels(picture);
    cr_assert(uf_picture_has_alpha(picture));
    set_disc(picture, (UfLonLat){uf_radians(lon_deg), uf_radians(lat_deg)}, uf_radians(radius_deg),
             channels - 1, channels, alpha);
}

void world_turn(UfPicture *picture, size_t columns)
{
    size_t width = uf_picture_width_px(picture);
    size_t pixel = uf_picture_channels(picture) * (size_t)uf_picture_sample(picture);
    size_t head = (columns % width) * pixel, bytes = width * pixel;
    uint8_t *copy = malloc(bytes);
    cr_assert_not_null(copy);
    for (size_t y = 0; y < uf_picture_height_px(picture); y++) {
        uint8_t *row = uf_picture_row(picture, y);
        memcpy(copy, row, bytes);
        memcpy(row, copy + head, bytes - head);
        memcpy(row + bytes - head, copy, head);
    }
    free(copy);
}

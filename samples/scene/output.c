/* Pixels through the camera's curve into a profile, metadata beside them, all into a file. */
#include "output.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/underfoot.h>

#include "emblem.h"
#include "exif.h"
#include "profile.h"

static void develop_row(const World *world, const float *light, size_t width, size_t y, float *row)
{
    for (size_t x = 0; x < width; x++) {
        const float *p = light + 3 * (y * width + x);
        V3 v = develop(world, v3((double)p[0], (double)p[1], (double)p[2]), x, y);
        row[3 * x] = (float)v.x;
        row[3 * x + 1] = (float)v.y;
        row[3 * x + 2] = (float)v.z;
    }
}

/* False when there is no memory. */
static bool fill_pixels(const World *world, const float *light, bool wide_gamut, UfPicture *picture)
{
    size_t channels = uf_picture_channels(picture), width = uf_picture_width_px(picture);
    bool deep = uf_picture_sample(picture) == UF_SAMPLE_U16, good = true;
    cmsUInt32Number format = deep ? TYPE_RGB_16 : TYPE_RGB_8;
    if (channels == 4)
        format = TYPE_RGBA_8;
    cmsHTRANSFORM transform = profile_from_linear(wide_gamut, format);
    if (transform == NULL)
        return false;
#pragma omp parallel for schedule(dynamic, 16) reduction(&& : good)
    for (size_t y = 0; y < uf_picture_height_px(picture); y++) {
        float *row = malloc(3 * width * sizeof *row);
        good = good && row != NULL;
        if (row != NULL) {
            develop_row(world, light, width, y, row);
            cmsDoTransform(transform, row, uf_picture_row(picture, y), (cmsUInt32Number)width);
        }
        free(row);
    }
    cmsDeleteTransform(transform);
    return good;
}

static UfStatus attach_metadata(const Shot *shot, UfPicture *picture, UfReport *report)
{
    size_t width = shot->panorama->width, height = shot->panorama->height;
    unsigned exif_size = 0, icc_size = 0;
    unsigned char *exif = exif_for_spot(shot->spot, shot->rig->focal, width, height, &exif_size);
    unsigned char *icc = profile_bytes(shot->spot->wide_gamut, &icc_size);
    UfPhotoSphere sphere = {.present = true,
                            .projection = "equirectangular",
                            .has_full = true,
                            .has_cropped = true,
                            .has_heading = true,
                            .has_pitch = true,
                            .has_roll = true,
                            .heading_deg = shot->spot->heading_deg};
    sphere.full_width_px = sphere.cropped_width_px = (long)width;
    sphere.full_height_px = sphere.cropped_height_px = (long)height;
    UfStatus status = UF_ERROR_MEMORY;
    if (exif != NULL && icc != NULL)
        status = uf_picture_set_exif(picture, exif, exif_size, report);
    if (status == UF_OK)
        status = uf_picture_set_icc(picture, icc, icc_size, report);
    if (status == UF_OK)
        status = uf_picture_set_photo_sphere(picture, &sphere, report);
    free(exif);
    free(icc);
    return status;
}

static const UfWriteOptions replacing = {.overwrite = true, .quality = 92};

UfStatus output_panorama(const Shot *shot, const float *light, const char *path, UfReport *report)
{
    UfPicture *picture = NULL;
    UfSample sample = shot->spot->wide_gamut ? UF_SAMPLE_U16 : UF_SAMPLE_U8;
    UfStatus status =
        uf_picture_create(shot->panorama->width, shot->panorama->height, 3, sample, &picture, report);
    if (status == UF_OK && !fill_pixels(shot->world, light, shot->spot->wide_gamut, picture))
        status = UF_ERROR_MEMORY;
    if (status == UF_OK)
        status = attach_metadata(shot, picture, report);
    if (status == UF_OK)
        status = uf_picture_write(picture, path, &replacing, report);
    uf_picture_free(&picture);
    return status;
}

UfStatus output_with_hole(const Shot *shot, double cap_deg, const char *path, UfReport *report)
{
    UfPicture *picture = NULL;
    size_t width = shot->panorama->width, height = shot->panorama->height;
    UfStatus status = uf_picture_create(width, height, 4, UF_SAMPLE_U8, &picture, report);
    if (status == UF_OK && !fill_pixels(shot->world, shot->panorama->truth, false, picture))
        status = UF_ERROR_MEMORY;
    for (size_t y = 0; status == UF_OK && y < height; y++) {
        uint8_t *row = uf_picture_row(picture, y);
        bool open = 180 * (1 - ((double)y + 0.5) / (double)height) < cap_deg;
        for (size_t x = 0; x < width; x++) {
            row[4 * x + 3] = open ? 0 : 255;
            for (size_t c = 0; c < 3 && open; c++)
                row[4 * x + c] = 0;
        }
    }
    if (status == UF_OK)
        status = attach_metadata(shot, picture, report);
    if (status == UF_OK)
        status = uf_picture_write(picture, path, &replacing, report);
    uf_picture_free(&picture);
    return status;
}

/* 35 mm of film are 36 mm wide. */
static double focal_35mm(const Hand *hand)
{
    return 18 / tan(uf_radians(hand->field_deg) / 2);
}

UfStatus output_by_hand(const World *world, const Spot *spot, const float *light, size_t width,
                        const char *path, UfReport *report)
{
    UfPicture *picture = NULL;
    unsigned exif_size = 0, icc_size = 0;
    unsigned char *exif = exif_for_spot(spot, focal_35mm(&spot->hand), width, width * 2 / 3, &exif_size);
    unsigned char *icc = profile_bytes(false, &icc_size);
    UfStatus status = UF_ERROR_MEMORY;
    if (exif != NULL && icc != NULL)
        status = uf_picture_create(width, width * 2 / 3, 3, UF_SAMPLE_U8, &picture, report);
    if (status == UF_OK && !fill_pixels(world, light, false, picture))
        status = UF_ERROR_MEMORY;
    if (status == UF_OK)
        status = uf_picture_set_exif(picture, exif, exif_size, report);
    if (status == UF_OK)
        status = uf_picture_set_icc(picture, icc, icc_size, report);
    if (status == UF_OK)
        status = uf_picture_write(picture, path, &replacing, report);
    free(exif);
    free(icc);
    uf_picture_free(&picture);
    return status;
}

UfStatus output_emblem(const char *path, size_t size, UfReport *report)
{
    UfPicture *picture = NULL;
    unsigned icc_size = 0;
    unsigned char *icc = profile_bytes(false, &icc_size);
    uint8_t *pixels = malloc(4 * size * size);
    UfStatus status = UF_ERROR_MEMORY;
    if (icc != NULL && pixels != NULL)
        status = uf_picture_create(size, size, 4, UF_SAMPLE_U8, &picture, report);
    if (status == UF_OK) {
        emblem_draw(pixels, size);
        for (size_t y = 0; y < size; y++)
            memcpy(uf_picture_row(picture, y), pixels + 4 * y * size, 4 * size);
        status = uf_picture_set_icc(picture, icc, icc_size, report);
    }
    if (status == UF_OK)
        status = uf_picture_write(picture, path, &replacing, report);
    free(pixels);
    free(icc);
    uf_picture_free(&picture);
    return status;
}

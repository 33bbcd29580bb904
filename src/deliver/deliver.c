/*
 * Smaller copies of a panorama, and their colours in sRGB.
 *
 * The picture is made smaller first, in the linear light of its own profile, and converted afterwards: an
 * average of light is the same light in every colour space, and there is less to convert.
 */
#include <underfoot/deliver.h>

#include <lcms2.h>
#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "picture/colour.h"
#include "picture/picture_internal.h"

/* Where a profile's header holds the time of its making (ICC.1:2022, 7.2.1). */
#define PROFILE_TIME_OFFSET 24
#define PROFILE_HEADER      128

/* lcms2 stamps the present time into a profile; the same picture must give the same bytes tomorrow. */
static const uint8_t profile_time[12] = {0x07, 0xD0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0}; /* 2000-01-01 */

static UfStatus srgb_profile(UfBlob *out, UfReport *report)
{
    UfBlob blob = {0};
    cmsUInt32Number bytes = 0;
    cmsHPROFILE profile = cmsCreate_sRGBProfile();
    bool made = profile != NULL && cmsSaveProfileToMem(profile, NULL, &bytes) && bytes >= PROFILE_HEADER;
    if (made)
        blob = (UfBlob){uf_alloc(bytes, 1), bytes};
    made = made && blob.data != NULL && cmsSaveProfileToMem(profile, blob.data, &bytes);
    if (profile != NULL)
        cmsCloseProfile(profile);
    if (!made) {
        free(blob.data);
        return uf_fail_memory(report);
    }
    memcpy(blob.data + PROFILE_TIME_OFFSET, profile_time, sizeof profile_time);
    *out = blob;
    return UF_OK;
}

/* A picture of one pixel that stands for sRGB. */
static UfStatus make_target(const UfPicture *like, UfPicture **out, UfReport *report)
{
    UfPicture *target = NULL;
    UfBlob profile = {0};
    bool is_grey = uf_picture_channels(like) <= 2;
    UfStatus status = uf_picture_create(1, 1, is_grey ? 1 : 3, UF_SAMPLE_U8, &target, report);
    if (status == UF_OK && !is_grey)
        status = srgb_profile(&profile, report);
    if (status == UF_OK && !is_grey)
        status = uf_picture_set_icc(target, profile.data, profile.size_bytes, report);
    free(profile.data);
    if (status == UF_OK)
        *out = target;
    else
        uf_picture_free(&target);
    return status;
}

/* Integer samples without a profile are sRGB already: they only get its name. */
static UfStatus to_srgb(UfPicture **picture, UfReport *report)
{
    UfPicture *target = NULL;
    UfPicture *converted = NULL;
    UfStatus status = make_target(*picture, &target, report);
    bool is_srgb = uf_picture_icc(*picture).size_bytes == 0 && uf_picture_sample(*picture) != UF_SAMPLE_F32;
    if (status == UF_OK && is_srgb)
        status = uf_colour_copy_profile(target, *picture, report);
    else if (status == UF_OK)
        status = uf_colour_convert(*picture, target, &converted, report);
    if (status == UF_OK && !is_srgb) {
        uf_picture_free(picture);
        *picture = converted;
    }
    uf_picture_free(&target);
    return status;
}

/* What the panorama says of itself, but for the profile, which came with the pixels. */
static UfStatus dress(const UfPicture *panorama, UfPicture *picture, bool in_srgb, UfReport *report)
{
    UfBlob profile = picture->metadata.icc;
    picture->metadata.icc = (UfBlob){0};
    UfStatus status = uf_picture_copy_metadata(panorama, picture, report);
    uf_blob_clear(&picture->metadata.icc);
    picture->metadata.icc = profile;
    if (status == UF_OK && in_srgb)
        uf_exif_set_srgb(&picture->metadata.exif, report);
    return status;
}

UfStatus uf_deliver(const UfPicture *panorama, const UfDeliverOptions *options, UfPicture **out,
                    UfReport *report)
{
    size_t width = uf_picture_width_px(panorama);
    size_t height = uf_picture_height_px(panorama);
    if (width != 2 * height)
        return uf_fail(report, UF_ERROR_ARGUMENT, "a full panorama is twice as wide as it is high");
    if (options->width_px % 2 != 0 || options->width_px == 0 || options->width_px > width)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the width must be even and at most the panorama's own, %zu pixels", width);
    UfPicture *picture = NULL;
    UfRemapOptions remap = {.threads = options->threads};
    UfStatus status = UF_OK;
    if (options->width_px == width)
        status = uf_picture_copy(panorama, &picture, report);
    else
        status =
            uf_resize(panorama, options->width_px, options->width_px / 2, true, &remap, &picture, report);
    if (status == UF_OK && options->to_srgb)
        status = to_srgb(&picture, report);
    if (status == UF_OK)
        status = dress(panorama, picture, options->to_srgb, report);
    if (status == UF_OK)
        *out = picture;
    else
        uf_picture_free(&picture);
    return status;
}

/*
 * Metadata that is missing, or that says something else than the pixels do.
 * Sources: CIPA DC-008 (EXIF 2.32) for dimensions, orientation and thumbnail; Google's Photo Sphere XMP
 * Metadata (namespace http://ns.google.com/photos/1.0/panorama/) for the panorama's fields.
 */
#include "check/findings.h"

#include <math.h>

#include <libexif/exif-data.h>

#include "base/memory.h"
#include "picture/metadata.h"

/* Between the thumbnail's and the picture's width over height; thumbnails are rounded to whole pixels. */
#define ASPECT_TOLERANCE 0.05
#define MOST_EXIF_BYTES  0x1000000u

static bool is_stored_sideways(const UfCheck *check)
{
    return check->info.orientation >= 5;
}

/* EXIF gives the dimensions of the pixels as they are stored. */
static void check_exif_size(const UfCheck *check, UfBlob exif, UfReport *report)
{
    size_t width, height;
    uf_exif_size(exif, &width, &height);
    if (width == 0 || height == 0)
        return;
    size_t stored_width = is_stored_sideways(check) ? check->info.height_px : check->info.width_px;
    size_t stored_height = is_stored_sideways(check) ? check->info.width_px : check->info.height_px;
    if (width != stored_width || height != stored_height)
        uf_warn(
            report,
            "stale EXIF: it gives %zu x %zu pixels, the picture has %zu x %zu; any picture written by this "
            "program has it put right",
            width, height, stored_width, stored_height);
}

static unsigned two_bytes(const unsigned char *at)
{
    return (unsigned)at[0] << 8 | at[1];
}

/*
 * Width and height of a JPEG from its frame header (ITU-T T.81, B.2.2); false when there is none. All that is
 * needed of a thumbnail, without decoding it.
 */
static bool jpeg_size(const unsigned char *data, size_t bytes, size_t *width, size_t *height)
{
    size_t at = 2;
    if (bytes < 4 || two_bytes(data) != 0xFFD8)
        return false;
    while (at + 9 <= bytes && data[at] == 0xFF) {
        unsigned marker = data[at + 1], length = two_bytes(data + at + 2);
        bool is_frame =
            marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC;
        if (is_frame) {
            *height = two_bytes(data + at + 5);
            *width = two_bytes(data + at + 7);
            return *width > 0 && *height > 0;
        }
        if (length < 2)
            return false;
        at += 2 + length;
    }
    return false;
}

/* libexif wants the bytes as they lie in a JPEG: with the prefix. */
static ExifData *parse_exif(UfBlob exif)
{
    static const unsigned char prefix[6] = "Exif\0";
    if (exif.size_bytes == 0 || exif.size_bytes > MOST_EXIF_BYTES)
        return NULL;
    unsigned char *bytes = uf_alloc(exif.size_bytes + sizeof prefix, 1);
    if (bytes == NULL)
        return NULL;
    memcpy(bytes, prefix, sizeof prefix);
    memcpy(bytes + sizeof prefix, exif.data, exif.size_bytes);
    ExifData *parsed = exif_data_new_from_data(bytes, (unsigned)(exif.size_bytes + sizeof prefix));
    free(bytes);
    return parsed;
}

static void check_thumbnail(const UfCheck *check, UfBlob exif, UfReport *report)
{
    size_t width, height;
    ExifData *parsed = uf_exif_has_thumbnail(exif) ? parse_exif(exif) : NULL;
    if (parsed == NULL)
        return;
    if (parsed->data != NULL && jpeg_size(parsed->data, parsed->size, &width, &height)) {
        double aspect = (double)width / (double)height;
        double stored = (double)check->info.width_px / (double)check->info.height_px;
        if (is_stored_sideways(check))
            stored = 1 / stored;
        if (fabs(aspect / stored - 1) > ASPECT_TOLERANCE)
            uf_warn(
                report,
                "stale thumbnail: it is %zu x %zu pixels, of another shape than the picture, and so shows "
                "something else; patching the picture takes it out",
                width, height);
    }
    exif_data_unref(parsed);
}

static void check_crop(const UfCheck *check, UfReport *report)
{
    const UfPhotoSphere *sphere = &check->sphere;
    long width = (long)check->info.width_px, height = (long)check->info.height_px;
    if (!sphere->has_full || !sphere->has_cropped) {
        uf_warn(report,
                "Photo Sphere metadata are incomplete: the size of the full panorama and of this part of it "
                "are required; write them with underfoot tag");
        return;
    }
    if (sphere->cropped_width_px != width || sphere->cropped_height_px != height) {
        uf_warn(report,
                "stale Photo Sphere metadata: they give %ld x %ld pixels, the picture has %ld x %ld; write "
                "them anew "
                "with underfoot tag",
                sphere->cropped_width_px, sphere->cropped_height_px, width, height);
        return;
    }
    if (sphere->full_width_px != width || sphere->full_height_px != height || sphere->cropped_left_px != 0 ||
        sphere->cropped_top_px != 0)
        uf_warn(
            report,
            "Photo Sphere metadata say that this is a part, at %ld, %ld, of a panorama of %ld x %ld pixels%s",
            sphere->cropped_left_px, sphere->cropped_top_px, sphere->full_width_px, sphere->full_height_px,
            check->is_two_to_one ? "; if it is the full sphere, write them anew with underfoot tag" : "");
}

static void check_photo_sphere(const UfCheck *check, UfReport *report)
{
    const UfPhotoSphere *sphere = &check->sphere;
    if (!sphere->present) {
        if (check->is_two_to_one) /* tag refuses others, and a photograph needs none */
            uf_warn(report,
                    "no Photo Sphere metadata: viewers do not know that this is a panorama; write them with "
                    "underfoot tag");
        return;
    }
    if (strcmp(sphere->projection, "equirectangular") != 0)
        uf_warn(report,
                "Photo Sphere metadata give the projection '%s', not 'equirectangular'; write them anew with "
                "underfoot tag",
                sphere->projection);
    check_crop(check, report);
}

void uf_check_metadata(const UfCheck *check, const UfPicture *picture, UfReport *report)
{
    UfBlob exif = uf_picture_exif(picture);
    check_photo_sphere(check, report);
    check_exif_size(check, exif, report);
    check_thumbnail(check, exif, report);
    if (check->info.orientation != 1)
        uf_warn(
            report,
            "the pixels are stored turned or mirrored (EXIF orientation %d): viewers that don't mind it show "
            "the panorama wrongly; store it upright",
            check->info.orientation);
    if (!check->has_icc)
        uf_warn(report, "no colour profile: sRGB is taken for granted; if it is another, attach the profile");
}

/*
 * Photo Sphere fields in XMP.
 *
 * Source: Google, Photo Sphere XMP Metadata, https://developers.google.com/streetview/spherical-metadata:
 * namespace, names, ranges. Numbers are read and written here, since strtod and printf follow the program's
 * locale.
 */
#include <exempi/xmp.h>
#include <math.h>

#include "picture/metadata.h"
#include "picture/xmp_internal.h"

#define MAX_PX    1000000000L
#define STEPS_DEG 1000000L /* angles are written to a millionth of a degree */

/* False when it is not there; a value that cannot be used is a warning and counts as absent. */
static bool read_real(XmpPtr xmp, const char *name, double low, double high, double *out, UfReport *report)
{
    XmpStringPtr text = xmp_string_new();
    double value;
    bool there = text != NULL && xmp_get_property(xmp, UF_XMP_NS_GPANO, name, text, NULL);
    bool good = there && uf_xmp_parse_real(xmp_string_cstr(text), &value) && value >= low && value <= high;
    if (there && !good)
        uf_warn(report,
                "the Photo Sphere field %s has the value \"%.40s\", which makes no sense; it is ignored",
                name, xmp_string_cstr(text));
    if (good)
        *out = value;
    xmp_string_free(text);
    return good;
}

static bool read_whole(XmpPtr xmp, const char *name, long low, long *out, UfReport *report)
{
    double value;
    if (!read_real(xmp, name, (double)low, (double)MAX_PX, &value, report))
        return false;
    if (value != floor(value)) {
        uf_warn(report, "the Photo Sphere field %s is not a whole number (%g); it is ignored", name, value);
        return false;
    }
    *out = (long)value;
    return true;
}

static void read_projection(XmpPtr xmp, UfPhotoSphere *sphere)
{
    XmpStringPtr text = xmp_string_new();
    if (text != NULL && xmp_get_property(xmp, UF_XMP_NS_GPANO, "ProjectionType", text, NULL)) {
        sphere->present = true;
        (void)snprintf(sphere->projection, sizeof sphere->projection, "%s", xmp_string_cstr(text));
    }
    xmp_string_free(text);
}

static void read_sphere(XmpPtr xmp, UfPhotoSphere *sphere, UfReport *report)
{
    long width, height, left = 0, top = 0;
    read_projection(xmp, sphere);
    bool full = read_whole(xmp, "FullPanoWidthPixels", 1, &width, report);
    full = read_whole(xmp, "FullPanoHeightPixels", 1, &height, report) && full;
    if (full) {
        sphere->has_full = true;
        sphere->full_width_px = width;
        sphere->full_height_px = height;
    }
    bool cropped = read_whole(xmp, "CroppedAreaImageWidthPixels", 1, &width, report);
    cropped = read_whole(xmp, "CroppedAreaImageHeightPixels", 1, &height, report) && cropped;
    (void)read_whole(xmp, "CroppedAreaLeftPixels", -MAX_PX, &left, report);
    (void)read_whole(xmp, "CroppedAreaTopPixels", -MAX_PX, &top, report);
    if (cropped) {
        sphere->has_cropped = true;
        sphere->cropped_width_px = width;
        sphere->cropped_height_px = height;
        sphere->cropped_left_px = left;
        sphere->cropped_top_px = top;
    }
    sphere->has_heading = read_real(xmp, "PoseHeadingDegrees", -360, 360, &sphere->heading_deg, report);
    sphere->has_pitch = read_real(xmp, "PosePitchDegrees", -90, 90, &sphere->pitch_deg, report);
    sphere->has_roll = read_real(xmp, "PoseRollDegrees", -180, 180, &sphere->roll_deg, report);
    /* 360, negative headings and a roll of -180 are written by others: the same angle in the range of the
     * spec */
    if (sphere->has_heading && (sphere->heading_deg < 0 || sphere->heading_deg >= 360))
        sphere->heading_deg -= 360 * floor(sphere->heading_deg / 360);
    if (sphere->has_roll && sphere->roll_deg == -180)
        sphere->roll_deg = 180;
}

UfStatus uf_xmp_photo_sphere(UfBlob packet, UfPhotoSphere *out, UfReport *report)
{
    UfPhotoSphere sphere = {0};
    if (packet.size_bytes > 0) {
        const char *why;
        XmpPtr xmp = uf_xmp_open(packet, &why);
        if (xmp == NULL && why == NULL)
            return uf_fail_memory(report);
        if (xmp == NULL) {
            uf_warn(report, "the XMP packet cannot be read: %s", why);
        } else {
            read_sphere(xmp, &sphere, report);
            xmp_free(xmp);
        }
    }
    *out = sphere;
    return UF_OK;
}

static UfStatus check_projection(const UfPhotoSphere *sphere, UfReport *report)
{
    size_t length = strnlen(sphere->projection, sizeof sphere->projection);
    if (length == sizeof sphere->projection)
        return uf_fail(report, UF_ERROR_ARGUMENT, "the Photo Sphere projection's name is not ended");
    for (size_t i = 0; i < length; i++)
        if (sphere->projection[i] < '!' || sphere->projection[i] > '~')
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "the Photo Sphere projection must be one word, such as equirectangular");
    return UF_OK;
}

static UfStatus check_pixels(const UfPhotoSphere *sphere, UfReport *report)
{
    if (sphere->has_full && (sphere->full_width_px < 1 || sphere->full_height_px < 1 ||
                             sphere->full_width_px > MAX_PX || sphere->full_height_px > MAX_PX))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "Photo Sphere: a full size of %ld x %ld pixels makes no sense", sphere->full_width_px,
                       sphere->full_height_px);
    if (!sphere->has_cropped)
        return UF_OK;
    const long numbers[] = {sphere->cropped_width_px, sphere->cropped_height_px, sphere->cropped_left_px,
                            sphere->cropped_top_px};
    for (size_t i = 0; i < 4; i++)
        if (numbers[i] < (i < 2 ? 1 : 0) || numbers[i] > MAX_PX)
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "Photo Sphere: a cropped area of %ld x %ld pixels at %ld, %ld makes no sense",
                           numbers[0], numbers[1], numbers[2], numbers[3]);
    if (sphere->has_full &&
        (numbers[0] + numbers[2] > sphere->full_width_px || numbers[1] + numbers[3] > sphere->full_height_px))
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "Photo Sphere: the cropped area, %ld x %ld pixels at %ld, %ld, is not inside the full %ld x %ld",
            numbers[0], numbers[1], numbers[2], numbers[3], sphere->full_width_px, sphere->full_height_px);
    return UF_OK;
}

/* Written so that a NaN fails. */
static UfStatus check_pose(const UfPhotoSphere *sphere, UfReport *report)
{
    if (sphere->has_heading && !(sphere->heading_deg >= 0 && sphere->heading_deg < 360))
        return uf_fail(report, UF_ERROR_ARGUMENT, "the heading is %g degrees; it must be from 0 to below 360",
                       sphere->heading_deg);
    if (sphere->has_pitch && !(sphere->pitch_deg >= -90 && sphere->pitch_deg <= 90))
        return uf_fail(report, UF_ERROR_ARGUMENT, "the pitch is %g degrees; it must be from -90 to 90",
                       sphere->pitch_deg);
    if (sphere->has_roll && !(sphere->roll_deg > -180 && sphere->roll_deg <= 180))
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the roll is %g degrees; it must be above -180 and at most 180", sphere->roll_deg);
    return UF_OK;
}

static UfStatus check_sphere(const UfPhotoSphere *sphere, UfReport *report)
{
    UfStatus status = check_projection(sphere, report);
    if (status == UF_OK)
        status = check_pixels(sphere, report);
    return status == UF_OK ? check_pose(sphere, report) : status;
}

static bool write_text(XmpPtr xmp, const char *name, const char *value)
{
    return xmp_set_property(xmp, UF_XMP_NS_GPANO, name, value, 0);
}

static bool write_whole(XmpPtr xmp, const char *name, long value)
{
    char text[32];
    (void)snprintf(text, sizeof text, "%ld", value);
    return write_text(xmp, name, text);
}

/* The shortest decimal of at most six places. `below` is a bound that rounding must not reach, 0 for none. */
static bool write_degrees(XmpPtr xmp, const char *name, double value, long below)
{
    long steps = lround(value * STEPS_DEG);
    if (below != 0 && steps >= below * STEPS_DEG)
        steps = 0;
    long size = labs(steps);
    char text[48];
    int length =
        snprintf(text, sizeof text, "%s%ld.%06ld", steps < 0 ? "-" : "", size / STEPS_DEG, size % STEPS_DEG);
    while (length > 0 && text[length - 1] == '0')
        text[--length] = '\0';
    if (length > 0 && text[length - 1] == '.')
        text[--length] = '\0';
    return write_text(xmp, name, text);
}

static bool write_sphere(XmpPtr xmp, const UfPhotoSphere *sphere)
{
    bool good = true;
    if (sphere->present) {
        good &= write_text(xmp, "ProjectionType",
                           sphere->projection[0] == '\0' ? "equirectangular" : sphere->projection);
        if (!xmp_has_property(xmp, UF_XMP_NS_GPANO, "UsePanoramaViewer"))
            good &= write_text(xmp, "UsePanoramaViewer", "True");
    }
    if (sphere->has_full) {
        good &= write_whole(xmp, "FullPanoWidthPixels", sphere->full_width_px);
        good &= write_whole(xmp, "FullPanoHeightPixels", sphere->full_height_px);
    }
    if (sphere->has_cropped) {
        good &= write_whole(xmp, "CroppedAreaImageWidthPixels", sphere->cropped_width_px);
        good &= write_whole(xmp, "CroppedAreaImageHeightPixels", sphere->cropped_height_px);
        good &= write_whole(xmp, "CroppedAreaLeftPixels", sphere->cropped_left_px);
        good &= write_whole(xmp, "CroppedAreaTopPixels", sphere->cropped_top_px);
    }
    if (sphere->has_heading)
        good &= write_degrees(xmp, "PoseHeadingDegrees", sphere->heading_deg, 360);
    if (sphere->has_pitch)
        good &= write_degrees(xmp, "PosePitchDegrees", sphere->pitch_deg, 0);
    if (sphere->has_roll)
        good &= write_degrees(xmp, "PoseRollDegrees", sphere->roll_deg, 0);
    return good;
}

UfStatus uf_xmp_set_photo_sphere(UfBlob *packet, const UfPhotoSphere *sphere, UfReport *report)
{
    UfStatus status = check_sphere(sphere, report);
    if (status != UF_OK)
        return status;
    const char *why;
    XmpPtr xmp = uf_xmp_open(*packet, &why);
    if (xmp == NULL && why == NULL)
        return uf_fail_memory(report);
    if (xmp == NULL)
        return uf_fail(report, UF_ERROR_FORMAT,
                       "the picture's XMP packet cannot be read: %s. Remove or repair it, then try again",
                       why);
    if (!write_sphere(xmp, sphere))
        status = uf_fail(report, UF_ERROR_FORMAT,
                         "the Photo Sphere fields could not be set (Exempi error %d)", xmp_get_error());
    else
        status = uf_xmp_store(xmp, UF_XMP_PADDED, packet, report);
    xmp_free(xmp);
    return status;
}

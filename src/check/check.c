/* Is it a sound panorama? Everything that is looked at, in one go. */
#include <underfoot/check.h>

#include "check/findings.h"
#include "check/hole.h"
#include "check/seam.h"

static void check_seam(const UfPixels *pixels, UfCheck *check, UfReport *report)
{
    UfSeam seam;
    uf_seam_measure(pixels, &seam);
    check->seam_ratio = seam.ratio;
    check->seam_difference = seam.difference;
    if (seam.is_broken)
        uf_warn(report,
                "broken seam: the columns that meet at +-180 degrees differ by %.1f of 255, %.1f times as "
                "much as columns "
                "beside them, and by %.0f about pitch %.0f; turn the picture by 180 degrees and look at its "
                "middle: "
                "columns may be missing, or the ends were edited apart",
                seam.difference, seam.ratio, seam.worst_difference, seam.worst_lat_deg);
}

static void check_pole(const UfPixels *pixels, bool at_zenith, UfCheck *check, UfReport *report)
{
    UfPole pole;
    uf_pole_measure(pixels, at_zenith, &pole);
    *(at_zenith ? &check->zenith_spread : &check->nadir_spread) = pole.spread;
    if (pole.is_torn)
        uf_warn(report,
                "the %s row is not one point: its pixels differ by %.1f of 255 on the way round; the picture "
                "was cut "
                "off there, or is not equirectangular",
                at_zenith ? "zenith" : "nadir", pole.spread);
}

static void describe_hole(const UfHole *hole, UfReport *report)
{
    static const char *const kinds[] = {"transparent", "black", "flat"};
    const char *kind = kinds[hole->kind];
    if (fabs(hole->lat_deg) + hole->radius_deg >= 90)
        uf_warn(report,
                "%s hole about the %s, %.1f degrees in radius, %.2f %% of the sphere: cover it with "
                "underfoot patch%s "
                "--cap auto",
                kind, hole->lat_deg < 0 ? "nadir" : "zenith", hole->radius_deg, hole->sphere_percent,
                hole->lat_deg < 0 ? "" : " --at zenith");
    else
        uf_warn(report,
                "%s hole at yaw %.1f, pitch %.1f degrees, %.1f degrees in radius, %.2f %% of the sphere: "
                "something "
                "was left out there; fill it in an image editor",
                kind, hole->lon_deg, hole->lat_deg, hole->radius_deg, hole->sphere_percent);
}

static UfStatus check_sphere(const UfPicture *picture, UfCheck *check, UfReport *report)
{
    UfPixels pixels = uf_pixels_of(picture);
    UfStatus status = uf_find_holes(picture, check->holes, UF_CHECK_MAX_HOLES, &check->hole_count, report);
    if (status != UF_OK)
        return status;
    check_seam(&pixels, check, report);
    check_pole(&pixels, true, check, report);
    check_pole(&pixels, false, check, report);
    for (size_t i = 0; i < check->hole_count; i++)
        describe_hole(&check->holes[i], report);
    return UF_OK;
}

static UfStatus check_picture(const UfPicture *picture, UfCheck *check, UfReport *report)
{
    const UfPictureInfo *info = &check->info;
    check->has_exif = uf_picture_exif(picture).size_bytes > 0;
    check->has_icc = uf_picture_icc(picture).size_bytes > 0;
    check->has_xmp = uf_picture_xmp(picture).size_bytes > 0;
    uf_picture_profile_name(picture, check->profile, sizeof check->profile);
    check->is_two_to_one = info->width_px == 2 * info->height_px;
    UfStatus status = uf_picture_photo_sphere(picture, &check->sphere, report);
    if (status != UF_OK)
        return status;
    if (check->is_two_to_one)
        status = check_sphere(picture, check, report);
    else
        uf_warn(
            report,
            "not 2:1: %zu x %zu pixels; a full panorama is exactly twice as wide as high, so seam, poles and "
            "holes were not looked at",
            info->width_px, info->height_px);
    if (status == UF_OK)
        uf_check_metadata(check, picture, report);
    return status;
}

UfStatus uf_check(const char *path, const UfReadOptions *options, UfCheck *out, UfReport *report)
{
    UfCheck check = {0};
    UfPicture *picture = NULL;
    /* Findings are counted in a report, also when the caller has none. */
    UfReport *own = report == NULL ? uf_report_create() : NULL;
    UfReport *used = report == NULL ? own : report;
    if (used == NULL)
        return UF_ERROR_MEMORY;
    size_t before = uf_report_warning_count(used);
    UfStatus status = uf_picture_probe(path, &check.info, used);
    if (status == UF_OK)
        status = uf_picture_read(path, options, &picture, used);
    if (status == UF_OK)
        status = check_picture(picture, &check, used);
    if (status == UF_OK) {
        check.finding_count = uf_report_warning_count(used) - before;
        *out = check;
    }
    uf_picture_free(&picture);
    uf_report_free(&own);
    return status;
}

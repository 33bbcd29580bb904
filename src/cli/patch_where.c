/* Mask and sun of `patch`. */
#include "cli/patch_where.h"

#include <math.h>

#include "cli/files.h"
#include "cli/message.h"

enum { SUN_FIND = 0, SUN_CLOCK = 1 };

int cli_read_mask(const CliLine *line, const char *path, const UfPicture *panorama, CliWhere *where,
                  UfReport *report)
{
    UfReadOptions read = cli_read_options(line);
    UfHome home;
    int refused = cli_check_not_output(line, path);
    if (refused != CLI_DONE)
        return refused;
    UfStatus status = uf_picture_read(path, &read, &where->mask, report);
    if (status == UF_OK)
        status = uf_home_find(where->mask, path, &home, &where->has_view, report);
    if (status == UF_OK && where->has_view)
        status = uf_home_check_panorama(&home, panorama, report);
    if (status == UF_OK && where->has_view)
        status = uf_home_view_at(&home, uf_picture_width_px(where->mask), uf_picture_height_px(where->mask),
                                 &where->mask_view, report);
    if (status != UF_OK)
        return cli_failed_report(line, path, status, report);
    size_t width = uf_picture_width_px(where->mask), height = uf_picture_height_px(where->mask);
    if (!where->has_view && width != 2 * height)
        return cli_failed(
            "%s: is %zu x %zu pixels and has no home address; a mask is a 2:1 panorama, or a face or "
            "view that was taken out of this one",
            path, width, height);
    return CLI_DONE;
}

/* From when, where and which way the picture was taken. */
static int sun_by_clock(const char *path, CliWhere *where, UfReport *report)
{
    UfTaken taken;
    if (uf_taken_read(path, &taken, report) != UF_OK)
        return cli_failed("%s", uf_report_error(report));
    if (!taken.has_time || !taken.has_place || !taken.has_heading)
        return cli_failed(
            "%s: --sun clock needs to know when, where and which way the picture was taken; it does not say "
            "%s; give the sun itself, such as --sun 130,42",
            path,
            !taken.has_time    ? "when, with a time zone"
            : !taken.has_place ? "where (GPS latitude and longitude)"
                               : "which way (the Photo Sphere heading; 'underfoot tag' writes it)");
    UfSun sun = uf_sun_at(taken.julian_day, taken.place);
    where->sun = uf_sun_direction(sun, taken.heading_rad);
    if (!(where->sun.lat_rad > 0))
        return cli_failed("%s: the sun was %.1f degrees below the horizon then: no shadow; leave --sun out",
                          path, -uf_degrees(where->sun.lat_rad));
    return CLI_DONE;
}

int cli_place_sun(const CliLine *line, const CliValue *sun, const char *path, const UfPicture *panorama,
                  CliWhere *where, UfReport *report)
{
    where->has_sun = true;
    if (sun->word == SUN_CLOCK)
        return sun_by_clock(path, where, report);
    if (sun->word != SUN_FIND) {
        where->sun = (UfLonLat){uf_radians(remainder(sun->number, 360)), uf_radians(sun->second)};
        return CLI_DONE;
    }
    UfStatus status = uf_find_sun(panorama, &where->sun, report);
    return status == UF_OK ? CLI_DONE
           : status == UF_ERROR_UNCLEAR
               ? cli_failed("%s: %s, such as --sun 130,42", path, uf_report_error(report))
               : cli_failed_report(line, path, status, report);
}

void cli_where_clear(CliWhere *where)
{
    uf_picture_free(&where->mask);
}

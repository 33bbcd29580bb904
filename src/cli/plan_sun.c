/* `underfoot plan --sun`: where the sun stands, and where shadows fall. */
#include <math.h>

#include "cli/message.h"
#include "cli/plan.h"

/* "LAT,LON" in degrees. */
static bool read_place(const char *text, UfPlace *out)
{
    char *end = NULL;
    double lat = strtod(text, &end);
    if (end == text || *end != ',')
        return false;
    const char *second = end + 1;
    double lon = strtod(second, &end);
    if (end == second || *end != '\0' || !(fabs(lat) <= 90) || !(fabs(lon) <= 180))
        return false;
    *out = (UfPlace){uf_radians(lat), uf_radians(lon)};
    return true;
}

/* Times begin with the year's four digits and a dash; everything else is the name of a panorama. */
static bool is_time(const char *text)
{
    return strspn(text, "0123456789") == 4 && text[4] == '-';
}

static int read_taken(const CliLine *line, UfTaken *taken, UfReport *report)
{
    const char *text = line->values[PLAN_SUN].text;
    if (!is_time(text)) {
        if (uf_taken_read(text, taken, report) != UF_OK)
            return cli_failed(
                "%s; --sun takes a time such as 2026-06-21T14:30+02:00, or a panorama that says when "
                "it was taken",
                uf_report_error(report));
        if (!taken->has_time)
            return cli_failed(
                "%s: does not say when it was taken, with a time zone; give the time itself, such as "
                "--sun 2026-06-21T14:30+02:00",
                text);
        return CLI_DONE;
    }
    if (uf_time_parse(text, &taken->julian_day, report) != UF_OK)
        return cli_wrong_usage(line->command, "--sun %s", uf_report_error(report));
    taken->has_time = true;
    snprintf(taken->time_text, sizeof taken->time_text, "%s", text);
    return CLI_DONE;
}

int cli_sun_find(const CliLine *line, CliSun *out, UfReport *report)
{
    const CliValue *place = &line->values[PLAN_PLACE];
    const CliValue *heading = &line->values[PLAN_HEADING];
    UfTaken taken = {0};
    UfPlace given = {0};
    if (place->given && !read_place(place->text, &given))
        return cli_wrong_usage(line->command,
                               "--place '%s': it must be latitude and longitude in degrees, north and east "
                               "positive, such as 48.86,2.35",
                               place->text);
    int status = read_taken(line, &taken, report);
    if (status != CLI_DONE)
        return status;
    if (place->given) {
        taken.place = given;
        taken.has_place = true;
    }
    if (!taken.has_place)
        return cli_wrong_usage(
            line->command,
            "where? give --place LAT,LON in degrees, north and east positive, such as 48.86,2.35");
    if (heading->given) {
        taken.heading_rad = uf_radians(heading->number);
        taken.has_heading = true;
    }
    *out = (CliSun){taken, uf_sun_at(taken.julian_day, taken.place)};
    return CLI_DONE;
}

/* Degrees without the last bits that the way through radians left. */
static double degrees(double rad)
{
    return round(uf_degrees(rad) * 1e9) / 1e9 + 0.0;
}

static double compass_deg(double rad)
{
    double deg = fmod(degrees(rad), 360);
    return deg < 0 ? deg + 360 : deg;
}

static void print_place_in_panorama(const CliSun *sun)
{
    UfLonLat at = uf_sun_direction(sun->sun, sun->taken.heading_rad);
    UfLonLat shadow = uf_sun_shadow_direction(sun->sun, sun->taken.heading_rad);
    printf("  panorama  its centre looks towards %.1f deg: the sun is at longitude %.2f, latitude %.2f;\n",
           compass_deg(sun->taken.heading_rad), degrees(at.lon_rad), degrees(at.lat_rad));
    printf("            the camera's own shadow at longitude %.2f, latitude %.2f\n", degrees(shadow.lon_rad),
           degrees(shadow.lat_rad));
}

void cli_sun_print(const CliSun *sun, double height_mm)
{
    const UfTaken *taken = &sun->taken;
    double ratio = uf_sun_shadow_ratio(sun->sun);
    fputs("sun at ", stdout);
    cli_put_text(stdout, taken->time_text);
    printf(", latitude %.4f, longitude %.4f\n", degrees(taken->place.lat_rad), degrees(taken->place.lon_rad));
    printf("  sun       azimuth %.2f deg, elevation %.2f deg (%.2f as seen through the air)\n",
           compass_deg(sun->sun.azimuth_rad), degrees(sun->sun.elevation_rad),
           degrees(sun->sun.elevation_rad + sun->sun.refraction_rad));
    if (isinf(ratio)) {
        puts("  shadow    none: the sun is below the horizon");
        return;
    }
    printf("  shadow    towards %.2f deg, %.3f times as long as what throws it is high\n",
           compass_deg(sun->sun.azimuth_rad + UF_PI), ratio);
    if (height_mm > 0)
        printf("            the camera's, %.2f m above level ground, lies %.2f m away\n", height_mm / 1000,
               ratio * height_mm / 1000);
    if (taken->has_heading)
        print_place_in_panorama(sun);
    puts("  caution   never look at the sun through the camera, nor leave it pointed there");
}

static void place_json(CliJson *json, const char *key, UfLonLat at)
{
    cli_json_open(json, key, '{');
    cli_json_number(json, "lon_deg", degrees(at.lon_rad));
    cli_json_number(json, "lat_deg", degrees(at.lat_rad));
    cli_json_close(json, '}');
}

void cli_sun_json(CliJson *json, const CliSun *sun)
{
    const UfTaken *taken = &sun->taken;
    cli_json_open(json, "sun", '{');
    cli_json_text(json, "time", taken->time_text);
    cli_json_number(json, "julian_day", taken->julian_day);
    cli_json_number(json, "latitude_deg", degrees(taken->place.lat_rad));
    cli_json_number(json, "longitude_deg", degrees(taken->place.lon_rad));
    cli_json_number(json, "azimuth_deg", compass_deg(sun->sun.azimuth_rad));
    cli_json_number(json, "elevation_deg", degrees(sun->sun.elevation_rad));
    cli_json_number(json, "apparent_elevation_deg",
                    degrees(sun->sun.elevation_rad + sun->sun.refraction_rad));
    cli_json_number(json, "shadow_azimuth_deg", compass_deg(sun->sun.azimuth_rad + UF_PI));
    cli_json_number(json, "shadow_ratio", uf_sun_shadow_ratio(sun->sun));
    if (taken->has_heading) {
        cli_json_number(json, "heading_deg", compass_deg(taken->heading_rad));
        place_json(json, "sun_at", uf_sun_direction(sun->sun, taken->heading_rad));
        place_json(json, "shadow_at", uf_sun_shadow_direction(sun->sun, taken->heading_rad));
    }
    cli_json_close(json, '}');
}

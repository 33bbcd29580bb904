/* The sun against Meeus's worked example, NREL's, astropy, and the geometry of its shadow. */
#include <underfoot/sphere.h>
#include <underfoot/sun.h>

#include "truth/rows.h"

static double orbit_value(const UfSunOrbit *orbit, const char *quantity)
{
    const struct {
        const char *name;
        double value;
    } values[] = {{"century", orbit->century},
                  {"mean_longitude", uf_degrees(orbit->mean_longitude_rad)},
                  {"mean_anomaly", uf_degrees(orbit->mean_anomaly_rad)},
                  {"eccentricity", orbit->eccentricity},
                  {"centre", uf_degrees(orbit->centre_rad)},
                  {"true_longitude", uf_degrees(orbit->true_longitude_rad)},
                  {"distance", orbit->distance_au},
                  {"apparent_longitude", uf_degrees(orbit->apparent_longitude_rad)},
                  {"mean_obliquity", uf_degrees(orbit->mean_obliquity_rad)},
                  {"obliquity", uf_degrees(orbit->obliquity_rad)},
                  {"right_ascension", uf_degrees(orbit->right_ascension_rad)},
                  {"declination", uf_degrees(orbit->declination_rad)}};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        if (strcmp(values[i].name, quantity) == 0)
            return values[i].value;
    cr_assert_fail("there is no quantity '%s'", quantity);
    return NAN;
}

/* Meeus 1998, Example 25.a; the high-accuracy place is his Example 25.b, 198.378121 and -7.783817 degrees. */
Test(truth_sun, orbit_is_meeus_example)
{
    cr_expect_eq(uf_julian_day(1992, 10, 13, 0), 2448908.5);
    UfSunOrbit orbit = uf_sun_orbit(2448908.5);
    Rows rows = rows_open("tests/truth/sun_orbit.txt");
    while (rows_next(&rows, 3)) {
        double value = orbit_value(&orbit, rows.words[0]);
        cr_expect_float_eq(value, rows_number(&rows, 1), rows_number(&rows, 2), "%s: %.9f", rows.words[0],
                           value);
    }
    cr_expect_float_eq(uf_degrees(orbit.right_ascension_rad), 198.378121, 0.01);
    cr_expect_float_eq(uf_degrees(orbit.declination_rad), -7.783817, 0.01);
}

/* Meeus 1998, chapter 7, from memory: 1957 October 4.81 is 2436116.31; 2000 January 1.5 is 2451545.0. */
Test(truth_sun, julian_days)
{
    cr_expect_float_eq(uf_julian_day(1957, 10, 4, 0.81 * 24), 2436116.31, 1e-6);
    cr_expect_float_eq(uf_julian_day(2000, 1, 1, 12), 2451545.0, 1e-9);
    /* NREL/TP-560-34302, Table A5.1 */
    cr_expect_float_eq(uf_julian_day(2003, 10, 17, 19.5 + 30.0 / 3600), 2452930.312847, 6e-7);
}

/* NREL/TP-560-34302, Table A5.1: equation of time 14.641503 minutes; NOAA's low-accuracy series is good to a
 * second. */
Test(truth_sun, equation_of_time)
{
    UfSunOrbit orbit = uf_sun_orbit(uf_julian_day(2003, 10, 17, 19.5 + 30.0 / 3600));
    cr_expect_float_eq(orbit.equation_of_time_min, 14.641503, 0.02, "%.6f", orbit.equation_of_time_min);
}

static UfSun sun_of(const Rows *rows)
{
    double julian_day = 0;
    cr_assert_eq(uf_time_parse(rows->words[0], &julian_day, NULL), UF_OK, "line %d", rows->line);
    UfPlace place = {uf_radians(rows_number(rows, 1)), uf_radians(rows_number(rows, 2))};
    return uf_sun_at(julian_day, place);
}

static double around_deg(double a_deg, double b_deg)
{
    return fabs(remainder(a_deg - b_deg, 360));
}

/* NREL/TP-560-34302 and astropy. */
Test(truth_sun, positions_are_good_to_a_hundredth_of_a_degree)
{
    Rows rows = rows_open("tests/truth/sun_positions.txt");
    while (rows_next(&rows, 6)) {
        UfSun sun = sun_of(&rows);
        double elevation_rad = uf_radians(rows_number(&rows, 4));
        UfDirection expected =
            uf_direction_from_lonlat((UfLonLat){uf_radians(rows_number(&rows, 3)), elevation_rad});
        UfDirection found = uf_direction_from_lonlat((UfLonLat){sun.azimuth_rad, sun.elevation_rad});
        cr_expect_lt(uf_degrees(uf_angle_between_rad(expected, found)), 0.0145, "line %d", rows.line);
        cr_expect_float_eq(sun.elevation_rad, elevation_rad, uf_radians(0.01), "line %d", rows.line);
        if (strcmp(rows.words[5], "both") == 0)
            cr_expect_lt(around_deg(uf_degrees(sun.azimuth_rad), rows_number(&rows, 3)),
                         0.01 / cos(elevation_rad), "line %d: %.5f", rows.line, uf_degrees(sun.azimuth_rad));
    }
}

/* NOAA's equations, worked out by another program. */
Test(truth_sun, positions_are_those_of_the_equations)
{
    Rows rows = rows_open("tests/truth/sun_equations.txt");
    while (rows_next(&rows, 7)) {
        UfSun sun = sun_of(&rows);
        double azimuth = uf_degrees(sun.azimuth_rad);
        double elevation = uf_degrees(sun.elevation_rad);
        double digits = rows_number(&rows, 4) > 85 ? 6e-4 : 6e-6; /* the azimuth near the zenith has three */
        cr_expect_lt(around_deg(azimuth, rows_number(&rows, 3)), digits, "line %d: %.6f", rows.line, azimuth);
        cr_expect_float_eq(elevation, rows_number(&rows, 4), 6e-6, "line %d: %.6f", rows.line, elevation);
        if (isnan(rows_number(&rows, 6)))
            continue;
        double shadow = uf_degrees(uf_sun_shadow_direction(sun, 0).lon_rad);
        cr_expect_lt(around_deg(shadow, rows_number(&rows, 5)), 0.05, "line %d: %.3f", rows.line, shadow);
        cr_expect_float_eq(uf_sun_shadow_ratio(sun), rows_number(&rows, 6), 0.003 * rows_number(&rows, 6),
                           "line %d", rows.line);
    }
}

/* NOAA's fit at NREL's example: 0.0163 degrees at 39.872 (SPA: 0.016332; NOAA's equations: 39.89136
 * - 39.87207). */
Test(truth_sun, refraction_lifts_the_sun)
{
    double julian_day = uf_julian_day(2003, 10, 17, 19.5 + 30.0 / 3600);
    UfSun sun = uf_sun_at(julian_day, (UfPlace){uf_radians(39.742476), uf_radians(-105.1786)});
    cr_expect_float_eq(uf_degrees(sun.elevation_rad + sun.refraction_rad), 39.89136, 6e-6, "%.6f",
                       uf_degrees(sun.elevation_rad + sun.refraction_rad));
}

Test(truth_sun, shadow_of_the_camera_in_the_panorama)
{
    Rows rows = rows_open("tests/truth/sun_shadows.txt");
    while (rows_next(&rows, 10)) {
        UfSun sun = {uf_radians(rows_number(&rows, 0)), uf_radians(rows_number(&rows, 1)), 0};
        UfLonLat shadow = uf_sun_shadow_direction(sun, uf_radians(rows_number(&rows, 2)));
        UfDirection direction = uf_direction_from_lonlat(shadow);
        UfView view = uf_view_equirectangular((size_t)rows_number(&rows, 3));
        UfPixelPoint at;
        cr_assert(uf_view_pixel(&view, direction, &at));
        cr_expect_float_eq(at.x_px, rows_number(&rows, 5), 1e-5, "line %d: %.6f", rows.line, at.x_px);
        cr_expect_float_eq(at.y_px, rows_number(&rows, 6), 1e-5, "line %d: %.6f", rows.line, at.y_px);
        cr_expect_float_eq(uf_sun_shadow_ratio(sun), rows_number(&rows, 7), 1e-8, "line %d", rows.line);
        UfRotation down = uf_face_rotation(UF_FACE_DOWN);
        UfRotation to_face = uf_rotation_inverse(&down);
        UfDirection in_face = uf_rotation_apply(&to_face, direction);
        cr_expect_float_eq(in_face.x / in_face.z, rows_number(&rows, 8), 1e-8, "line %d", rows.line);
        cr_expect_float_eq(-in_face.y / in_face.z, rows_number(&rows, 9), 1e-8, "line %d", rows.line);
        UfDirection opposite =
            uf_direction_from_lonlat(uf_sun_direction(sun, uf_radians(rows_number(&rows, 2))));
        cr_expect_float_eq(uf_angle_between_rad(opposite, direction), UF_PI, 1e-7);
    }
}

/*
 * The sun's place: NOAA's solar calculator equations, after Meeus, Astronomical Algorithms, 2nd ed. (1998),
 * chapter 25
 * ("low accuracy") and chapter 28 (equation of time, after W. M. Smart).
 */
#include <math.h>

#include <underfoot/sun.h>

#define J2000          2451545.0
#define DAYS_A_CENTURY 36525.0

static double sin_deg(double deg)
{
    return sin(uf_radians(deg));
}

static double full_turn(double rad)
{
    double rest = fmod(rad, 2 * UF_PI);
    if (rest < 0)
        rest += 2 * UF_PI;
    return rest < 2 * UF_PI ? rest : 0;
}

/* Minutes: y = tan^2(obliquity/2), Smart's series to the second order. */
static double equation_of_time(const UfSunOrbit *orbit)
{
    double half = tan(orbit->obliquity_rad / 2);
    double y = half * half;
    double e = orbit->eccentricity;
    double l = orbit->mean_longitude_rad;
    double m = orbit->mean_anomaly_rad;
    double angle = y * sin(2 * l) - 2 * e * sin(m) + 4 * e * y * sin(m) * cos(2 * l) -
                   0.5 * y * y * sin(4 * l) - 1.25 * e * e * sin(2 * m);
    return 4 * uf_degrees(angle);
}

UfSunOrbit uf_sun_orbit(double julian_day)
{
    double t = (julian_day - J2000) / DAYS_A_CENTURY;
    double l = 280.46646 + t * (36000.76983 + t * 0.0003032);
    double m = 357.52911 + t * (35999.05029 - t * 0.0001537);
    double e = 0.016708634 - t * (0.000042037 + t * 0.0000001267);
    double c = sin_deg(m) * (1.914602 - t * (0.004817 + t * 0.000014)) +
               sin_deg(2 * m) * (0.019993 - t * 0.000101) + sin_deg(3 * m) * 0.000289;
    double node = 125.04 - 1934.136 * t;
    double apparent = l + c - 0.00569 - 0.00478 * sin_deg(node);
    double mean_obliquity = 23 + (26 + (21.448 - t * (46.8150 + t * (0.00059 - t * 0.001813))) / 60) / 60;
    double obliquity = uf_radians(mean_obliquity + 0.00256 * cos(uf_radians(node)));
    double lambda = uf_radians(apparent);
    UfSunOrbit orbit = {
        .century = t,
        .mean_longitude_rad = full_turn(uf_radians(l)),
        .mean_anomaly_rad = full_turn(uf_radians(m)),
        .eccentricity = e,
        .centre_rad = uf_radians(c),
        .true_longitude_rad = full_turn(uf_radians(l + c)),
        .apparent_longitude_rad = full_turn(lambda),
        .distance_au = 1.000001018 * (1 - e * e) / (1 + e * cos(uf_radians(m + c))),
        .mean_obliquity_rad = uf_radians(mean_obliquity),
        .obliquity_rad = obliquity,
        .right_ascension_rad = full_turn(atan2(cos(obliquity) * sin(lambda), cos(lambda))),
        .declination_rad = asin(sin(obliquity) * sin(lambda)),
    };
    orbit.equation_of_time_min = equation_of_time(&orbit);
    return orbit;
}

/* Seconds of arc that standard air at sea level lifts the sun by; NOAA's fit, elevation in degrees. */
static double refraction_arcsec(double elevation_deg)
{
    double h = elevation_deg;
    double t = tan(uf_radians(h));
    if (h > 85)
        return 0;
    if (h > 5)
        return 58.1 / t - 0.07 / (t * t * t) + 0.000086 / (t * t * t * t * t);
    if (h > -0.575)
        return 1735 + h * (-518.2 + h * (103.4 + h * (-12.79 + h * 0.711)));
    return -20.772 / t;
}

UfSun uf_sun_at(double julian_day, UfPlace place)
{
    UfSunOrbit orbit = uf_sun_orbit(julian_day);
    double day = julian_day + 0.5;
    double minutes = (day - floor(day)) * 1440;
    double solar_min = minutes + orbit.equation_of_time_min + 4 * uf_degrees(place.lon_rad);
    double hour_angle = uf_radians(solar_min / 4 - 180);
    double sine = sin(place.lat_rad) * sin(orbit.declination_rad) +
                  cos(place.lat_rad) * cos(orbit.declination_rad) * cos(hour_angle);
    double elevation = asin(fmax(-1, fmin(1, sine)));
    /* multiplied by cos(declination), so that it holds at the poles of the sky too */
    double azimuth = UF_PI + atan2(sin(hour_angle) * cos(orbit.declination_rad),
                                   cos(hour_angle) * sin(place.lat_rad) * cos(orbit.declination_rad) -
                                       sin(orbit.declination_rad) * cos(place.lat_rad));
    return (UfSun){.azimuth_rad = full_turn(azimuth),
                   .elevation_rad = elevation,
                   .refraction_rad = uf_radians(refraction_arcsec(uf_degrees(elevation)) / 3600)};
}

UfLonLat uf_sun_direction(UfSun sun, double heading_rad)
{
    return (UfLonLat){remainder(sun.azimuth_rad - heading_rad, 2 * UF_PI), sun.elevation_rad};
}

UfLonLat uf_sun_shadow_direction(UfSun sun, double heading_rad)
{
    return (UfLonLat){remainder(sun.azimuth_rad + UF_PI - heading_rad, 2 * UF_PI), -sun.elevation_rad};
}

double uf_sun_shadow_ratio(UfSun sun)
{
    return sun.elevation_rad > 0 ? 1 / tan(sun.elevation_rad) : (double)INFINITY;
}

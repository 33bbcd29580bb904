/*
 * Source: NOAA Global Monitoring Laboratory, Solar Calculator, https://gml.noaa.gov/grad/solcalc/ (after J.
 * Meeus, Astronomical Algorithms). About 0.01 degrees between 1950 and 2050.
 */
#include "sun.h"

#include "vector.h"

#define RAD(deg) ((deg) * (PI / 180))
#define DEG(rad) ((rad) * (180 / PI))

/* Julian centuries since J2000.0, of a Gregorian date. */
static double centuries(int year, int month, int day, double hour)
{
    int a = (14 - month) / 12, y = year + 4800 - a, m = month + 12 * a - 3;
    int number = day + (153 * m + 2) / 5 + 365 * y + y / 4 - y / 100 + y / 400 - 32045;
    return (number - 0.5 + hour / 24 - 2451545.0) / 36525.0;
}

void sun_position(int year, int month, int day, double hour_utc, double lat_deg, double lon_deg,
                  double *azimuth_deg, double *elevation_deg)
{
    double t = centuries(year, month, day, hour_utc);
    double l0 = 280.46646 + t * (36000.76983 + 0.0003032 * t),
           m = RAD(357.52911 + t * (35999.05029 - 0.0001537 * t));
    double e = 0.016708634 - t * (0.000042037 + 0.0000001267 * t);
    double centre = sin(m) * (1.914602 - t * (0.004817 + 0.000014 * t)) +
                    sin(2 * m) * (0.019993 - 0.000101 * t) + 0.000289 * sin(3 * m);
    double node = RAD(125.04 - 1934.136 * t), lambda = RAD(l0 + centre - 0.00569 - 0.00478 * sin(node));
    double tilt0 = 23 + (26 + (21.448 - t * (46.8150 + t * (0.00059 - 0.001813 * t))) / 60) / 60;
    double tilt = RAD(tilt0 + 0.00256 * cos(node)), declination = asin(sin(tilt) * sin(lambda));
    double y = tan(tilt / 2) * tan(tilt / 2), l = RAD(l0);
    double equation = 4 * DEG(y * sin(2 * l) - 2 * e * sin(m) + 4 * e * y * sin(m) * cos(2 * l) -
                              0.5 * y * y * sin(4 * l) - 1.25 * e * e * sin(2 * m));
    double hour_angle = RAD((hour_utc * 60 + equation + 4 * lon_deg) / 4 - 180), lat = RAD(lat_deg);
    *elevation_deg = DEG(asin(sin(lat) * sin(declination) + cos(lat) * cos(declination) * cos(hour_angle)));
    double azimuth =
        180 + DEG(atan2(sin(hour_angle), cos(hour_angle) * sin(lat) - tan(declination) * cos(lat)));
    *azimuth_deg = fmod(azimuth + 360, 360);
}

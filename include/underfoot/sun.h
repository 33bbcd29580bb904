/*
 * Where the sun stands, and where the shadow of camera and tripod falls.
 *
 * Low-accuracy equations of NOAA's solar calculator (Global Monitoring Laboratory), after J. Meeus,
 * Astronomical Algorithms, 2nd ed. (1998), chapter 25: about 0.01 degrees between 1950 and 2050. Universal
 * time is taken for terrestrial time (1 minute is 0.0007 degrees of the sun's way) and for UT1 (at most 0.004
 * degrees of hour angle).
 */
#ifndef UNDERFOOT_SUN_H
#define UNDERFOOT_SUN_H

#include <stdbool.h>

#include <underfoot/api.h>
#include <underfoot/picture.h>
#include <underfoot/sphere.h>
#include <underfoot/status.h>

UF_API_BEGIN

/* The sun seen from the earth's centre, true equinox of date; Meeus's chapter 25 has the same quantities. */
typedef struct UfSunOrbit {
    double century;                              /* T: Julian centuries since J2000.0 */
    double mean_longitude_rad, mean_anomaly_rad; /* [0, 2 pi) */
    double eccentricity;
    double centre_rad;                                 /* equation of the centre */
    double true_longitude_rad, apparent_longitude_rad; /* [0, 2 pi) */
    double distance_au;
    double mean_obliquity_rad, obliquity_rad;
    double right_ascension_rad; /* [0, 2 pi) */
    double declination_rad;
    double equation_of_time_min; /* apparent minus mean solar time */
} UfSunOrbit;

UfSunOrbit uf_sun_orbit(double julian_day);

/* Latitude north, longitude east. */
typedef struct UfPlace {
    double lat_rad, lon_rad;
} UfPlace;

typedef struct UfSun {
    double azimuth_rad;    /* from north, clockwise, [0, 2 pi) */
    double elevation_rad;  /* geometric, without refraction */
    double refraction_rad; /* what the air lifts it by at sea level; the seen elevation is the sum */
} UfSun;

UfSun uf_sun_at(double julian_day, UfPlace place);

/*
 * The direction in a level panorama whose centre has a compass heading: longitude azimuth - heading, latitude
 * the geometric elevation; and the point opposite to it, where the shadow of the camera itself is seen.
 */
UfLonLat uf_sun_direction(UfSun sun, double heading_rad);
UfLonLat uf_sun_shadow_direction(UfSun sun, double heading_rad);
/* Length of a shadow on level ground over the height that throws it: 1/tan(elevation); INFINITY when the sun
 * is down. */
double uf_sun_shadow_ratio(UfSun sun);

/* Julian day of a moment in universal time, Gregorian calendar. Meeus, chapter 7. */
double uf_julian_day(int year, int month, int day, double hours);
/*
 * Reads "2026-06-21T14:30:00+02:00", "2026-06-21 12:30Z": date, time with or without seconds, and the zone,
 * which must be there. UF_ERROR_ARGUMENT with the remedy otherwise. Years 1900 to 2100.
 */
UfStatus uf_time_parse(const char *text, double *julian_day, UfReport *report);

/* What a picture says of when, where and which way it was taken. */
typedef struct UfTaken {
    bool has_time, has_place, has_heading;
    double julian_day; /* universal time */
    UfPlace place;
    double heading_rad; /* of the panorama's centre (Photo Sphere), [0, 2 pi) */
    char time_text[32]; /* as it was read, with its zone */
} UfTaken;

/*
 * From EXIF: DateTimeOriginal with OffsetTimeOriginal or OffsetTime (EXIF 2.31), else the GPS date and time,
 * which are universal; GPS latitude and longitude. From XMP: the Photo Sphere heading. Pixels are not
 * decoded. A time without a zone is no time: has_time stays false, with a warning that says so.
 */
UfStatus uf_taken_read(const char *path, UfTaken *out, UfReport *report);

/*
 * The sun in a level panorama: the one compact place above the horizon that is as bright as the picture can show, brighter
 * than all around it. UF_ERROR_UNCLEAR where there is none (overcast, indoors), where it is no compact disc or glow, or
 * where another place rivals it. `panorama` is a full 2:1 picture, otherwise UF_ERROR_ARGUMENT.
 */
UfStatus uf_find_sun(const UfPicture *panorama, UfLonLat *out, UfReport *report);

UF_API_END
#endif

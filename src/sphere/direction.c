/* Directions on the unit sphere, longitude and latitude. Axes: x right, y up, z forward. */
#include <underfoot/sphere.h>

#include <math.h>

double uf_radians(double deg)
{
    return deg * (UF_PI / 180);
}

double uf_degrees(double rad)
{
    return rad * (180 / UF_PI);
}

UfDirection uf_direction_from_lonlat(UfLonLat at)
{
    double level = cos(at.lat_rad);
    UfDirection direction = {level * sin(at.lon_rad), sin(at.lat_rad), level * cos(at.lon_rad)};
    return direction;
}

UfLonLat uf_lonlat_from_direction(UfDirection direction)
{
    double level = hypot(direction.x, direction.z);
    double lon_rad = level == 0 ? 0 : atan2(direction.x, direction.z);
    /* atan2 gives -pi for x = -0: the seam is +pi. */
    return (UfLonLat){lon_rad <= -UF_PI ? UF_PI : lon_rad, atan2(direction.y, level)};
}

/*
 * 2 atan2(|a - b|, |a + b|): W. Kahan's form, as recalled from "How Futile are Mindless Assessments of
 * Roundoff"; the arc cosine of the scalar product would lose half of the digits near 0 and pi.
 */
double uf_angle_between_rad(UfDirection a, UfDirection b)
{
    double difference = hypot(hypot(a.x - b.x, a.y - b.y), a.z - b.z);
    double sum = hypot(hypot(a.x + b.x, a.y + b.y), a.z + b.z);
    return 2 * atan2(difference, sum);
}

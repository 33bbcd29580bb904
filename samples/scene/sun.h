/* Where the sun stands. */
#ifndef SCENE_SUN_H
#define SCENE_SUN_H

/* Degrees: azimuth clockwise from north, elevation above the horizon without refraction. Time is UTC. */
void sun_position(int year, int month, int day, double hour_utc, double lat_deg, double lon_deg,
                  double *azimuth_deg, double *elevation_deg);

#endif

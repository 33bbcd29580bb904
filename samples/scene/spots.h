/* The spots of the tour through the Thimble House, an invented little museum. */
#ifndef SCENE_SPOTS_H
#define SCENE_SPOTS_H

#include "render.h"
#include "world.h"

typedef struct Spot {
    const char *name;      /* of the files */
    const char *title;     /* what EXIF says it shows */
    const char *rig;       /* file in samples/ */
    const char *extension; /* "jpg", "tif", "png" */
    void (*build)(World *world);
    double heading_deg; /* compass heading of the picture's centre */
    const char *taken;  /* EXIF date and time, local */
    int hour_utc, minute_utc;
    double shutter_s;
    bool wide_gamut; /* 16 bits a sample in a wide profile; otherwise 8 bits in sRGB */
    bool open_air;
    Hand hand;           /* how the bare floor was photographed */
    double hole_cap_deg; /* > 0: also written with a transparent cap about the nadir */
} Spot;

/* Where and when the tour was shot: a round place in the open sea. */
#define TOUR_LAT_DEG 45.0
#define TOUR_LON_DEG (-30.0)
#define TOUR_YEAR    2026
#define TOUR_MONTH   5
#define TOUR_DAY     14
#define TOUR_ZONE    "-02:00"

extern const Spot spots[];
extern const int spot_count;
const Spot *spot_named(const char *name);

void hall_build(World *world);
void workshop_build(World *world);
void yard_build(World *world);

#endif

/* Parts that spots are built from: walls with openings, windows, doors, lamps, furniture. Metres. */
#ifndef SCENE_BUILD_H
#define SCENE_BUILD_H

#include "paint.h"
#include "world.h"

/* A straight wall. Positions on it are (a, y, d): along the wall, up, and out of its face into the room. */
typedef struct Wall {
    bool along_x; /* runs along x and faces z; otherwise runs along z and faces x */
    double at;    /* its face's z (or x) */
    double side;  /* +1: the room lies towards positive z (or x) */
    double from, to, height, thickness;
    int material;
} Wall;

typedef struct Opening {
    double from, to, low, high; /* in order of `from`, without overlap */
} Opening;

V3 wall_point(const Wall *wall, double a, double y, double d);
int wall_box(World *world, const Wall *wall, int material, double a0, double a1, double y0, double y1,
             double d0, double d1);
/* The wall itself with its openings, and a skirting board between them. */
void wall_raise(World *world, const Wall *wall, const Opening *openings, int count, int skirting,
                double skirting_high);
/* Pane, frame, bars, sill in an opening; with a radiance it lights the room. */
void build_window(World *world, const Wall *wall, Opening o, int pane, int frame, int bars_across,
                  int bars_up, V3 radiance);
void build_door(World *world, const Wall *wall, Opening o, int leaf, int frame, int handle, bool twin);
void build_poster(World *world, const Wall *wall, double a, double y, double wide, double high, int print,
                  int frame);
/* Shelves against a wall, filled with boxes and books. */
void build_shelves(World *world, const Wall *wall, double a0, double a1, double high, int boards, int wood,
                   int books, const int *things, int thing_count);
void build_bench(World *world, int wood, int iron, V3 at, double length, double yaw);
void build_table(World *world, int wood, V3 at, double wide, double deep, double high, double yaw);
/* A shade on a cord with a glowing bulb; lights the room below. */
void build_pendant(World *world, int shade, int bulb, V3 at, double ceiling, double radius, V3 radiance);
void build_stool(World *world, int wood, V3 at, double high);

#endif

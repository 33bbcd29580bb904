/*
 * What a spot is made of: solids with materials, lights, the sun, and the light that falls on every surface.
 * Metres; the floor is y = 0, the camera stands over (0, 0).
 */
#ifndef SCENE_WORLD_H
#define SCENE_WORLD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "vector.h"

#define MAX_SOLIDS    1400
#define MAX_MATERIALS 48
#define MAX_LIGHTS    24

typedef struct Ray {
    V3 from, along; /* `along` is a unit vector */
} Ray;

typedef struct Hit {
    double distance;
    int solid, face;
    V3 at, normal;    /* world */
    V3 local;         /* in the solid's own frame, metres from its centre */
    double u, v;      /* on the face, 0..1 */
    bool tall;        /* the face is longer in v than in u */
    V3 along;         /* the ray's direction */
    double footprint; /* size of the sample on the surface, metres */
} Hit;

/* What a material says about a point. */
typedef struct Surface {
    V3 albedo;
    V3 normal;
    V3 emission;
    double gloss;     /* reflectance at normal incidence of a polished layer; 0: matt */
    double blur;      /* spread of the reflection, 0: mirror */
    double occlusion; /* how much of the sky a small hollow sees, 0..1 */
    double sunlight;  /* how much sun the relief itself lets through, 0..1 */
} Surface;

typedef struct Material Material;
struct Material {
    void (*paint)(const Material *material, const Hit *hit, Surface *surface);
    V3 mean;     /* mean albedo: what bounces, and the base colour of the paint */
    V3 second;   /* a second colour, as the paint likes it */
    double size; /* metres, as the paint likes it */
    uint32_t seed;
    V3 emission;
    double gloss, blur;
    V3 sun;             /* towards the sun, for paints with relief */
    const void *detail; /* whatever else the paint needs; owned by the paint's file */
};

typedef enum SolidKind { SOLID_BOX, SOLID_CYLINDER, SOLID_BALL } SolidKind;

/* Box: faces -x +x -y +y -z +z. Upright cylinder: side, top, bottom. Ball: one face. */
typedef struct Solid {
    SolidKind kind;
    V3 centre, half; /* cylinder: half.x radius, half.y half height; ball: half.x radius */
    V3 axis[3];      /* the box's own axes in the world */
    bool turned;
    int material;
    double texel; /* grain of its light map, metres */
    int map_at[6], map_u[6], map_v[6];
    V3 low, high; /* bounds in the world */
} Solid;

/* A glowing rectangle: centre, half sides, the side it shines to, radiance. */
typedef struct Light {
    V3 centre, half_u, half_v, normal, radiance;
} Light;

typedef struct Node {
    double bound[2][3]; /* low, high */
    int first, count;   /* leaf: solids order[first .. first + count - 1] */
    int left, right;    /* inner: count is 0 */
} Node;

/* Light on one texel: irradiance, and the mean direction it comes from (its length says how directed it is).
 */
typedef struct Texel {
    float red, green, blue;
    float x, y, z;
} Texel;

typedef struct World {
    Solid solids[MAX_SOLIDS];
    int solid_count;
    Material materials[MAX_MATERIALS];
    int material_count;
    Light lights[MAX_LIGHTS];
    int light_count;
    Node nodes[2 * MAX_SOLIDS];
    int order[MAX_SOLIDS];
    int node_count;
    Texel *map;
    size_t map_count;
    unsigned char *sunlit; /* a SunState for each texel; NULL without a sun */
    bool open_air;
    V3 sun;            /* towards the sun */
    V3 sun_irradiance; /* on a surface that faces it; 0 without a sun */
    V3 ambient;        /* irradiance that stands for all later bounces */
    double exposure;
    bool overflow; /* more solids than there is room for: the builder's mistake, reported by world_finish */
} World;

/* Builders; they return the index. */
int world_material(World *world, Material material);
int world_box(World *world, int material, V3 from, V3 to);
/* Box about `centre` turned by yaw about y, then tilted about its own x axis; radians. */
int world_turned_box(World *world, int material, V3 centre, V3 half, double yaw, double tilt);
int world_cylinder(World *world, int material, V3 foot, double radius, double height);
int world_ball(World *world, int material, V3 centre, double radius);
void world_light(World *world, Light light);

/* Builds the tree over the solids; false when the builder overflowed the world. */
bool world_finish(World *world);
/* Nearest solid beyond `distance` 0 and nearer than `reach`. */
bool world_trace(const World *world, Ray ray, double reach, Hit *hit);
/* True when anything lies nearer than `reach`. */
bool world_blocked(const World *world, Ray ray, double reach);
/* The point and normal of a face at u, v. */
void world_face_point(const Solid *solid, int face, double u, double v, V3 *at, V3 *normal);
int world_face_count(const Solid *solid);
void world_face_size(const Solid *solid, int face, double *across, double *up);

/* What a texel and those round it see of the sun, other solids in the way. */
typedef enum SunState { SUN_MIXED = 0, SUN_NONE, SUN_WHOLE } SunState;

/* light.c: fills the light maps; `grain` multiplies the texels' size. False when there is no memory. */
bool light_bake(World *world, double grain, int threads);
/* Irradiance on the face at the hit, for a surface with this (bumped) normal. */
V3 light_on(const World *world, const Hit *hit, V3 normal);
/* So that most samples need no rays to the sun. */
SunState light_sun_state(const World *world, const Hit *hit);
/* Radiance of the sky; `detailed` adds clouds and the sun's disc. */
V3 light_sky(const World *world, V3 along, bool detailed);

#endif

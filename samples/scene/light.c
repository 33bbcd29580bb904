/*
 * Light that changes slowly is computed once for every face (lamps, windows, sky, one bounce; later bounces
 * as a constant) and read back from maps; so it is free of noise. The sun's sharp edge is computed for each
 * sample. Method: J. T. Kajiya, "The Rendering Equation", SIGGRAPH '86; the mean direction kept beside the
 * irradiance lets relief be lit from the maps.
 */
#include "world.h"

#include <assert.h>
#include <stdlib.h>

#include "noise.h"

#define LIGHT_SIDE  4 /* samples of a lamp: SIDE x SIDE */
#define GATHER_SIDE 8 /* rays over the hemisphere: SIDE x SIDE */
#define LEAVE       1e-4

static double sky_up(V3 along)
{
    return clamp(along.y, 0, 1);
}

/* Clouds on a sheet above: 0 none, 1 thick. */
static double cloud_cover(V3 d)
{
    if (d.y < 0.015)
        return 0;
    double s = 1 / (d.y + 0.12), x = d.x * s * 1.3 + 3.1, z = d.z * s * 1.3 - 7.7;
    double wide = noise_sum(x * 0.7, z * 0.7, 3, 0, 411),
           fine = noise_sum(x * 2.2 + 0.35 * wide, z * 2.2, 6, 0, 977);
    return smooth_step(0.05, 0.75, 0.75 * wide + 0.62 * fine + 0.02) * smooth_step(0.015, 0.12, d.y);
}

V3 light_sky(const World *world, V3 along, bool detailed)
{
    double up = sky_up(along), near_sun = greater(0, v_dot(along, world->sun));
    V3 zenith = v3(0.20, 0.40, 0.86), horizon = v3(0.86, 0.99, 1.12);
    V3 colour = v_mix(horizon, zenith, pow(up, 0.48));
    double glow = pow(near_sun, 8) * 0.35 + pow(near_sun, 60) * 0.9;
    colour = v_add(colour, v_scale(v3(1, 0.93, 0.80), glow));
    if (along.y < 0)
        return v_scale(v3(0.35, 0.34, 0.32), 0.6);
    if (!detailed)
        return v_mix(colour, v3(1.35, 1.35, 1.35), 0.25);
    double cover = cloud_cover(along);
    V3 toward = v_unit(v_along(along, world->sun, 0.08));
    double shade = clamp(cover - cloud_cover(toward), -0.5, 0.5);
    V3 cloud = v_scale(v_mix(v3(1.30, 1.33, 1.38), v3(1.85, 1.80, 1.72), clamp(0.55 - 1.1 * shade, 0, 1)),
                       1.15 - 0.30 * cover * cover);
    colour = v_mix(colour, cloud, cover * 0.93);
    double disc = smooth_step(0.99995, 0.99999, near_sun);
    return v_add(colour, v_scale(v3(1, 0.96, 0.9), 40 * disc * (1 - cover) + 2.5 * pow(near_sun, 900)));
}

typedef struct Gathered {
    V3 light, direction;
} Gathered;

static void gather(Gathered *sum, V3 irradiance, V3 along)
{
    sum->light = v_add(sum->light, irradiance);
    sum->direction = v_along(sum->direction, along, v_luminance(irradiance));
}

/* One lamp, seen from a point through `side` x `side` rays, shifted by dx, dy. */
static void add_lamp(const World *world, const Light *lamp, V3 at, V3 normal, double dx, double dy,
                     Gathered *sum)
{
    if (v_dot(v_sub(at, lamp->centre), lamp->normal) <= 0)
        return;
    double area = 4 * v_length(lamp->half_u) * v_length(lamp->half_v);
    for (int i = 0; i < LIGHT_SIDE * LIGHT_SIDE; i++) {
        double a = fraction((i % LIGHT_SIDE + dx) / LIGHT_SIDE) * 2 - 1;
        double b = fraction((i / LIGHT_SIDE + dy) / LIGHT_SIDE) * 2 - 1;
        V3 target = v_along(v_along(lamp->centre, lamp->half_u, a), lamp->half_v, b), to = v_sub(target, at);
        double distance = v_length(to);
        V3 along = v_scale(to, 1 / distance);
        double here = v_dot(along, normal), there = -v_dot(along, lamp->normal);
        if (here <= 0 || there <= 0 || world_blocked(world, (Ray){at, along}, distance - 0.02))
            continue;
        double weight = here * there * area / (distance * distance + 0.01) / (LIGHT_SIDE * LIGHT_SIDE);
        gather(sum, v_scale(lamp->radiance, weight), along);
    }
}

static size_t texel_at(const World *world, const Hit *hit)
{
    const Solid *s = &world->solids[hit->solid];
    int nu = s->map_u[hit->face], nv = s->map_v[hit->face];
    int i = (int)(hit->u * nu), j = (int)(hit->v * nv);
    i = i >= nu ? nu - 1 : i;
    j = j >= nv ? nv - 1 : j;
    return (size_t)s->map_at[hit->face] + (size_t)j * (size_t)nu + (size_t)i;
}

SunState light_sun_state(const World *world, const Hit *hit)
{
    return world->sunlit == NULL ? SUN_MIXED : (SunState)world->sunlit[texel_at(world, hit)];
}

static V3 sun_at(const World *world, const Hit *hit)
{
    double facing = v_dot(hit->normal, world->sun);
    SunState state = light_sun_state(world, hit);
    if (!world->open_air || facing <= 0 || state == SUN_NONE)
        return v3(0, 0, 0);
    if (state == SUN_MIXED &&
        world_blocked(world, (Ray){v_along(hit->at, hit->normal, LEAVE), world->sun}, 1e3))
        return v3(0, 0, 0);
    return v_scale(world->sun_irradiance, facing);
}

/* What comes in over the hemisphere: sky, glowing things that are no lamps, and light that has bounced once.
 */
static void add_bounced(const World *world, const Texel *first, V3 at, V3 normal, double dx, double dy,
                        Gathered *sum)
{
    V3 side, up;
    v_basis(normal, &side, &up);
    for (int i = 0; i < GATHER_SIDE * GATHER_SIDE; i++) {
        double a = fraction((i % GATHER_SIDE + dx) / GATHER_SIDE) * 2 * PI;
        double r2 = fraction((i / GATHER_SIDE + dy) / GATHER_SIDE), r = sqrt(r2);
        V3 along = v_scale(normal, sqrt(1 - r2));
        along = v_along(v_along(along, side, r * cos(a)), up, r * sin(a));
        V3 light;
        Hit hit;
        if (world_trace(world, (Ray){at, along}, 1e3, &hit)) {
            const Material *m = &world->materials[world->solids[hit.solid].material];
            const Texel *t = first + texel_at(world, &hit);
            V3 arriving = v_add(v3((double)t->red, (double)t->green, (double)t->blue), world->ambient);
            light = v_scale(v_mul(m->mean, v_add(arriving, sun_at(world, &hit))), 1 / PI);
        } else {
            light = world->open_air ? light_sky(world, along, false) : v3(0, 0, 0);
        }
        gather(sum, v_scale(light, PI / (GATHER_SIDE * GATHER_SIDE)), along);
    }
}

static Texel as_texel(const Gathered *sum)
{
    double total = v_luminance(sum->light);
    V3 d = total > 1e-9 ? v_scale(sum->direction, 1 / total) : v3(0, 0, 0);
    return (Texel){(float)sum->light.x, (float)sum->light.y, (float)sum->light.z,
                   (float)d.x,          (float)d.y,          (float)d.z};
}

static Gathered from_texel(const Texel *t)
{
    V3 light = v3((double)t->red, (double)t->green, (double)t->blue);
    return (Gathered){light, v_scale(v3((double)t->x, (double)t->y, (double)t->z), v_luminance(light))};
}

typedef struct Place {
    int solid, face, i, j;
} Place;

static bool lay_out_maps(World *world, double grain, Place **places)
{
    size_t total = 0;
    for (int n = 0; n < world->solid_count; n++) {
        Solid *s = &world->solids[n];
        for (int f = 0; f < world_face_count(s); f++) {
            double across, up, texel = s->texel * grain;
            world_face_size(s, f, &across, &up);
            s->map_u[f] = (int)clamp(ceil(across / texel), s->kind == SOLID_BOX ? 2 : 12, 400);
            s->map_v[f] = (int)clamp(ceil(up / texel), 2, 400);
            s->map_at[f] = (int)total;
            total += (size_t)(s->map_u[f] * s->map_v[f]);
        }
    }
    assert(total > 0); /* world_finish lets no empty world pass, and no face has fewer than 2 x 2 texels */
    world->map = calloc(total, sizeof *world->map);
    world->map_count = total;
    *places = calloc(total, sizeof **places);
    if (world->map == NULL || *places == NULL)
        return false;
    for (int n = 0; n < world->solid_count; n++)
        for (int f = 0; f < world_face_count(&world->solids[n]); f++)
            for (int k = 0, nu = world->solids[n].map_u[f]; k < nu * world->solids[n].map_v[f]; k++)
                (*places)[world->solids[n].map_at[f] + k] = (Place){n, f, k % nu, k / nu};
    return true;
}

static void place_point(const World *world, Place p, V3 *at, V3 *normal)
{
    const Solid *s = &world->solids[p.solid];
    world_face_point(s, p.face, (p.i + 0.5) / s->map_u[p.face], (p.j + 0.5) / s->map_v[p.face], at, normal);
    *at = v_along(*at, *normal, LEAVE);
}

/* Takes the grain of single texels out: a tent over 3 x 3 within the face. */
static void soften(const World *world, const Texel *from, Texel *to, const Place *places)
{
    for (size_t n = 0; n < world->map_count; n++) {
        Place p = places[n];
        const Solid *s = &world->solids[p.solid];
        int nu = s->map_u[p.face], nv = s->map_v[p.face];
        Gathered sum = {{0, 0, 0}, {0, 0, 0}};
        for (int dj = -1; dj <= 1; dj++)
            for (int di = -1; di <= 1; di++) {
                int i = (int)clamp(p.i + di, 0, nu - 1), j = (int)clamp(p.j + dj, 0, nv - 1);
                Gathered g = from_texel(&from[s->map_at[p.face] + j * nu + i]);
                double weight = (di == 0 ? 0.5 : 0.25) * (dj == 0 ? 0.5 : 0.25);
                sum.light = v_along(sum.light, g.light, weight);
                sum.direction = v_along(sum.direction, g.direction, weight);
            }
        to[n] = as_texel(&sum);
    }
}

static void bake_direct(World *world, const Place *places, int threads)
{
#pragma omp parallel for schedule(dynamic, 256) num_threads(threads)
    for (size_t n = 0; n < world->map_count; n++) {
        V3 at, normal;
        place_point(world, places[n], &at, &normal);
        uint32_t h = hash_cell((int)n, 5, 77);
        Gathered sum = {{0, 0, 0}, {0, 0, 0}};
        for (int i = 0; i < world->light_count; i++)
            add_lamp(world, &world->lights[i], at, normal, hash_unit(h, (uint32_t)(2 * i)),
                     hash_unit(h, (uint32_t)(2 * i + 1)), &sum);
        world->map[n] = as_texel(&sum);
    }
}

#define SUN_SIDE 4 /* points a texel where the sun is looked for: SIDE x SIDE */

static SunState ask_sun(const World *world, Place p)
{
    const Solid *s = &world->solids[p.solid];
    int lit = 0, asked = 0;
    for (int k = 0; k < SUN_SIDE * SUN_SIDE; k++) {
        uint32_t h = hash_cell(p.i * 31 + k, p.j, (uint32_t)(p.solid * 6 + p.face));
        double u = (p.i + (k % SUN_SIDE + hash_unit(h, 1)) / SUN_SIDE) / s->map_u[p.face];
        double v = (p.j + (k / SUN_SIDE + hash_unit(h, 2)) / SUN_SIDE) / s->map_v[p.face];
        V3 at, normal;
        world_face_point(s, p.face, u, v, &at, &normal);
        if (v_dot(normal, world->sun) <= 0)
            continue;
        asked++;
        lit += !world_blocked(world, (Ray){v_along(at, normal, LEAVE), world->sun}, 1e3);
        if (lit != 0 && lit != asked)
            break;
    }
    return asked == 0 || (lit != 0 && lit != asked) ? SUN_MIXED : lit == 0 ? SUN_NONE : SUN_WHOLE;
}

/* A texel counts as whole or none only when all round it agree: edges and what is thin stay mixed. */
static SunState agreed(const World *world, const unsigned char *states, const Place *places, size_t n)
{
    Place p = places[n];
    const Solid *s = &world->solids[p.solid];
    int nu = s->map_u[p.face], nv = s->map_v[p.face];
    for (int j = p.j > 0 ? p.j - 1 : 0; j <= p.j + 1 && j < nv; j++)
        for (int i = p.i > 0 ? p.i - 1 : 0; i <= p.i + 1 && i < nu; i++)
            if (states[s->map_at[p.face] + j * nu + i] != states[n])
                return SUN_MIXED;
    return (SunState)states[n];
}

static bool bake_sun(World *world, const Place *places, int threads)
{
    unsigned char *states = malloc(world->map_count);
    world->sunlit = malloc(world->map_count);
    if (states != NULL && world->sunlit != NULL) {
#pragma omp parallel for schedule(dynamic, 256) num_threads(threads)
        for (size_t n = 0; n < world->map_count; n++)
            states[n] = (unsigned char)ask_sun(world, places[n]);
        for (size_t n = 0; n < world->map_count; n++)
            world->sunlit[n] = (unsigned char)agreed(world, states, places, n);
    }
    bool done = states != NULL && world->sunlit != NULL;
    free(states);
    return done;
}

static void bake_bounced(const World *world, const Texel *first, Texel *out, const Place *places, int threads)
{
#pragma omp parallel for schedule(dynamic, 256) num_threads(threads)
    for (size_t n = 0; n < world->map_count; n++) {
        V3 at, normal;
        place_point(world, places[n], &at, &normal);
        uint32_t h = hash_cell((int)n, 9, 78);
        Gathered sum = from_texel(&first[n]);
        add_bounced(world, first, at, normal, hash_unit(h, 1), hash_unit(h, 2), &sum);
        out[n] = as_texel(&sum);
    }
}

bool light_bake(World *world, double grain, int threads)
{
    Place *places = NULL;
    Texel *first = NULL;
    bool done = false;
    if (!lay_out_maps(world, grain, &places) || (first = calloc(world->map_count, sizeof *first)) == NULL)
        goto cleanup;
    if (world->open_air && grain <= 2 && !bake_sun(world, places, threads))
        goto cleanup;
    bake_direct(world, places, threads);
    soften(world, world->map, first, places);
    bake_bounced(world, first, world->map, places, threads);
    soften(world, world->map, first, places);
    for (size_t n = 0; n < world->map_count; n++)
        world->map[n] = first[n];
    done = true;
cleanup:
    free(first);
    free(places);
    return done;
}

static void add_texel(Gathered *sum, const Texel *t, double weight)
{
    sum->light = v_along(sum->light, v3((double)t->red, (double)t->green, (double)t->blue), weight);
    sum->direction = v_along(sum->direction, v3((double)t->x, (double)t->y, (double)t->z), weight);
}

V3 light_on(const World *world, const Hit *hit, V3 normal)
{
    const Solid *s = &world->solids[hit->solid];
    int nu = s->map_u[hit->face], nv = s->map_v[hit->face];
    double x = clamp(hit->u * nu - 0.5, 0, nu - 1), y = clamp(hit->v * nv - 0.5, 0, nv - 1);
    int i = (int)x, j = (int)y, i1 = i + 1 < nu ? i + 1 : i, j1 = j + 1 < nv ? j + 1 : j;
    const Texel *map = &world->map[s->map_at[hit->face]];
    Gathered sum = {{0, 0, 0}, {0, 0, 0}};
    x -= i;
    y -= j;
    add_texel(&sum, &map[j * nu + i], (1 - x) * (1 - y));
    add_texel(&sum, &map[j * nu + i1], x * (1 - y));
    add_texel(&sum, &map[j1 * nu + i], (1 - x) * y);
    add_texel(&sum, &map[j1 * nu + i1], x * y);
    V3 total = v_along(sum.light, world->ambient, 1);
    /* relief: the directed share follows the cosine, the rest does not */
    double flat = v_dot(sum.direction, hit->normal), bumped = v_dot(sum.direction, normal);
    double directed = lesser(1, v_length(sum.direction)), base = 1 - 0.85 * directed;
    return v_scale(total, greater(0.15, (base + bumped) / (base + greater(flat, 0.05))));
}

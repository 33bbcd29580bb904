/*
 * Rays through pixels. A first sample goes through each pixel's centre; where neighbours differ, more follow,
 * and all are averaged in linear light. Pixels that hardware or its shadow touches are rendered again with
 * the rig.
 */
#include "render.h"

#include <stdlib.h>

#include <underfoot/sphere.h>

#include "noise.h"

#define EXTRA_SAMPLES 4
#define RIG_SAMPLES   6
#define HAND_SAMPLES  5
#define SUN_RADIUS    (0.2665 * PI / 180) /* half the sun's mean apparent diameter, 32 arc minutes */

typedef struct Eye {
    const World *world;
    const Rig *rig; /* NULL: without hardware */
    V3 at;
    double step;  /* a pixel's angle */
    int sun_rays; /* most rays to the sun's disc from one point */
} Eye;

/* Points spread evenly over the unit square. Source: M. Roberts, "The Unreasonable Effectiveness of
 * Quasirandom Sequences" (2018): the plastic number's powers. */
static void spread(uint32_t i, double shift_x, double shift_y, double *x, double *y)
{
    *x = fraction(shift_x + 0.7548776662466927 * i);
    *y = fraction(shift_y + 0.5698402909980532 * i);
}

static bool in_shade(const Eye *eye, V3 at, V3 toward, bool clear)
{
    RigHit part;
    if (!clear && world_blocked(eye->world, (Ray){at, toward}, 1e3))
        return true;
    return eye->rig != NULL && rig_trace(eye->rig, v_sub(at, eye->at), toward, 0, INFINITY, &part);
}

/* Share of the sun's disc that a point sees; `clear` when no solid is in the way. */
static double sun_seen(const Eye *eye, V3 at, uint32_t shift, int rays, bool clear)
{
    if (clear && eye->rig == NULL)
        return 1;
    V3 side, up;
    v_basis(eye->world->sun, &side, &up);
    int lit = 0, asked = 0;
    double dx = hash_unit(shift, 1), dy = hash_unit(shift, 2);
    for (int i = 0; i < rays; i++) {
        double a, r;
        spread((uint32_t)i, dx, dy, &a, &r);
        r = sqrt(r) * SUN_RADIUS;
        V3 toward = v_along(v_along(eye->world->sun, side, r * cos(2 * PI * a)), up, r * sin(2 * PI * a));
        lit += !in_shade(eye, at, v_unit(toward), clear);
        asked++;
        if (i == 3 && (lit == 0 || lit == 4))
            break;
    }
    return (double)lit / asked;
}

static V3 look(const Eye *eye, Ray ray, double travelled, uint32_t shift, int depth);

/* One ray of the reflection; `turn` 0..1 and `out` 0..1 place it in the lobe. */
static V3 mirror_ray(const Eye *eye, const Hit *hit, V3 middle, double blur, double turn, double out,
                     double travelled, uint32_t shift)
{
    V3 side, up;
    v_basis(middle, &side, &up);
    double r = blur * sqrt(out), a = 2 * PI * turn;
    V3 along = v_unit(v_along(v_along(middle, side, r * cos(a)), up, r * sin(a)));
    double away = v_dot(along, hit->normal);
    if (away < 0.01)
        along = v_unit(v_along(along, hit->normal, 0.01 - away));
    V3 seen = look(eye, (Ray){v_along(hit->at, hit->normal, 1e-4), along}, travelled, shift, 1);
    double brightest = greater(seen.x, greater(seen.y, seen.z)), most = 5; /* keeps sparks out */
    return brightest > most ? v_scale(seen, most / brightest) : seen;
}

/* What a polished surface mirrors. Two rays; more where they disagree (Schlick's approximation for the
 * share). */
static V3 mirrored(const Eye *eye, const Hit *hit, const Surface *s, double travelled, uint32_t shift)
{
    double facing = greater(0.02, -v_dot(hit->along, s->normal)), k = 1 - facing;
    double share = s->gloss + (1 - s->gloss) * k * k * k * k * k * (s->gloss < 0.02 ? 0.15 : 0.6);
    if (share < 0.004)
        return v3(0, 0, 0);
    V3 middle = v_along(hit->along, s->normal, 2 * facing), sum = {0, 0, 0}, first = {0, 0, 0};
    double turn = hash_unit(shift, 5), out = hash_unit(shift, 6);
    int rays = s->blur > 0.004 ? 6 : 1;
    for (int i = 0; i < rays; i++) {
        V3 seen = mirror_ray(eye, hit, middle, s->blur, turn + (i % 2) * 0.5 + i * 0.17,
                             fraction(out + i * 0.38), travelled, shift + 77u + (uint32_t)i);
        sum = v_add(sum, seen);
        if (i == 0)
            first = seen;
        if (i == 1 && share * fabs(v_luminance(first) - v_luminance(seen)) < 0.02)
            rays = 2;
    }
    return v_scale(sum, share / rays);
}

static V3 shade(const Eye *eye, Hit *hit, double travelled, uint32_t shift, int depth)
{
    const World *world = eye->world;
    const Material *m = &world->materials[world->solids[hit->solid].material];
    double slant = greater(0.08, -v_dot(hit->along, hit->normal));
    hit->footprint = (travelled + hit->distance) * eye->step / sqrt(slant) * (depth > 0 ? 2 : 1);
    Surface s = {.albedo = m->mean, .normal = hit->normal, .occlusion = 1, .sunlight = 1};
    m->paint(m, hit, &s);
    V3 light = v_scale(light_on(world, hit, s.normal), s.occlusion);
    if (world->open_air) {
        double facing = v_dot(s.normal, world->sun);
        if (facing > 0 && s.sunlight > 0 && v_dot(hit->normal, world->sun) > 0) {
            SunState state = light_sun_state(world, hit);
            double seen = state == SUN_NONE ? 0
                                            : sun_seen(eye, v_along(hit->at, hit->normal, 1e-4), shift,
                                                       depth > 0 ? 1 : eye->sun_rays, state == SUN_WHOLE);
            light = v_along(light, world->sun_irradiance, facing * seen * s.sunlight);
        }
    }
    V3 colour = v_add(s.emission, v_scale(v_mul(s.albedo, light), 1 / PI));
    if (depth == 0 && s.gloss > 0)
        colour = v_add(colour, mirrored(eye, hit, &s, travelled + hit->distance, shift));
    return colour;
}

/* Light on hardware: the lamps' middles and the sun with shadows, the rest as a dome. */
static V3 light_on_part(const Eye *eye, V3 at, V3 normal, uint32_t shift)
{
    const World *world = eye->world;
    V3 sum = v_scale(v_mix(v3(0.55, 0.52, 0.47), v3(1, 1, 1), 0.5 + 0.5 * normal.y), 1.1);
    if (world->open_air) {
        double facing = v_dot(normal, world->sun);
        if (facing > 0)
            sum = v_along(sum, world->sun_irradiance, facing * sun_seen(eye, at, shift, 8, false));
        return v_add(sum, v_scale(v3(0.5, 0.7, 1), 0.9 * (1 + normal.y)));
    }
    for (int i = 0; i < world->light_count; i++) {
        const Light *lamp = &world->lights[i];
        V3 to = v_sub(lamp->centre, at);
        double distance = v_length(to);
        V3 toward = v_scale(to, 1 / distance);
        double here = v_dot(normal, toward), there = -v_dot(toward, lamp->normal);
        RigHit part;
        if (here <= 0 || there <= 0 || rig_trace(eye->rig, v_sub(at, eye->at), toward, 0, distance, &part))
            continue;
        double area = 4 * v_length(lamp->half_u) * v_length(lamp->half_v);
        sum = v_along(sum, lamp->radiance, here * there * area / (distance * distance));
    }
    return sum;
}

static V3 part_colour(const RigPart *part, V3 at)
{
    double n = noise_sum(at.x * 60, at.y * 60 + at.z * 30, 3, 0, 8);
    V3 c = v3(0.035, 0.036, 0.040);
    if (part->name[0] == 's' && part->name[1] == 'h') /* shins: bare metal */
        c = v3(0.26, 0.265, 0.275);
    else if (part->name[0] == 't')
        c = v3(0.075, 0.078, 0.085);
    else if (part->name[0] == 'c' && part->name[1] == 'o')
        c = v3(0.22, 0.225, 0.235);
    else if (part->name[0] == 'r')
        c = v3(0.055, 0.056, 0.062);
    else if (part->name[0] == 'a' || part->name[0] == 'u')
        c = v3(0.11, 0.112, 0.118);
    return v_scale(c, 1 + 0.12 * n);
}

static V3 part_seen(const Eye *eye, const RigHit *hit, V3 along, uint32_t shift)
{
    V3 at = v_along(v_add(eye->at, hit->at), hit->normal, 1e-4);
    V3 colour =
        v_scale(v_mul(part_colour(hit->part, hit->at), light_on_part(eye, at, hit->normal, shift)), 1 / PI);
    double facing = greater(0, -v_dot(along, hit->normal)), rim = pow(1 - facing, 4);
    return v_add(colour, v_scale(v3(0.30, 0.32, 0.35), 0.04 + 0.25 * rim));
}

static V3 look(const Eye *eye, Ray ray, double travelled, uint32_t shift, int depth)
{
    Hit hit;
    if (!world_trace(eye->world, ray, 1e3, &hit))
        return light_sky(eye->world, ray.along, true);
    return shade(eye, &hit, travelled, shift, depth);
}

static V3 direction(size_t width, double x, double y)
{
    double lon = (x / (double)width - 0.5) * 2 * PI, lat = (0.5 - 2 * y / (double)width) * PI;
    return v3(cos(lat) * sin(lon), sin(lat), cos(lat) * cos(lon));
}

static V3 sample(const Eye *eye, size_t width, double x, double y, uint32_t shift)
{
    V3 along = direction(width, x, y);
    RigHit part;
    if (eye->rig != NULL && along.y < 0 && rig_hides(eye->rig, along, &part))
        return part_seen(eye, &part, along, shift);
    return look(eye, (Ray){eye->at, along}, 0, shift, 0);
}

static void put(float *pixels, size_t index, V3 colour)
{
    pixels[3 * index] = (float)colour.x;
    pixels[3 * index + 1] = (float)colour.y;
    pixels[3 * index + 2] = (float)colour.z;
}

static V3 get(const float *pixels, size_t index)
{
    return v3((double)pixels[3 * index], (double)pixels[3 * index + 1], (double)pixels[3 * index + 2]);
}

/* How far two pixels are apart to the eye, about 0..1. */
static double contrast(V3 a, V3 b)
{
    double la = v_luminance(a), lb = v_luminance(b);
    double hue = fabs(a.x - b.x) + fabs(a.z - b.z);
    return (fabs(la - lb) + 0.3 * hue) / (0.5 * (la + lb) + 0.06);
}

static bool needs_more(const float *first, size_t width, size_t height, size_t x, size_t y)
{
    size_t i = y * width + x, left = y * width + (x + width - 1) % width, right = y * width + (x + 1) % width;
    V3 here = get(first, i);
    double most = greater(contrast(here, get(first, left)), contrast(here, get(first, right)));
    if (y > 0)
        most = greater(most, contrast(here, get(first, i - width)));
    if (y + 1 < height)
        most = greater(most, contrast(here, get(first, i + width)));
    return most > 0.12;
}

static uint32_t pixel_seed(size_t x, size_t y)
{
    return hash_cell((int)x, (int)y, 4711);
}

static V3 average(const Eye *eye, size_t width, size_t x, size_t y, V3 sum, uint32_t from, uint32_t count)
{
    uint32_t seed = pixel_seed(x, y);
    Eye quick = *eye; /* many samples share the sun's disc */
    quick.sun_rays = 2;
    for (uint32_t i = from; i < count; i++) {
        double sx, sy;
        spread(i, 0.5, 0.5, &sx, &sy);
        sum = v_add(sum, sample(&quick, width, (double)x + sx, (double)y + sy, seed + 977 * i));
    }
    return v_scale(sum, 1.0 / count);
}

static void render_truth(const Eye *eye, float *first, Panorama *p, int threads)
{
#pragma omp parallel for schedule(dynamic, 4) num_threads(threads)
    for (size_t y = 0; y < p->height; y++)
        for (size_t x = 0; x < p->width; x++)
            put(first, y * p->width + x,
                sample(eye, p->width, (double)x + 0.5, (double)y + 0.5, pixel_seed(x, y)));
#pragma omp parallel for schedule(dynamic, 4) num_threads(threads)
    for (size_t y = 0; y < p->height; y++) {
        /* towards the poles neighbours in a row look almost the same way, and fewer samples do */
        double narrow = cos((0.5 - ((double)y + 0.5) / (double)p->height) * PI);
        uint32_t extra = narrow < 0.45 ? EXTRA_SAMPLES / 2 : EXTRA_SAMPLES;
        for (size_t x = 0; x < p->width; x++) {
            size_t i = y * p->width + x;
            V3 colour = get(first, i);
            if (needs_more(first, p->width, p->height, x, y))
                colour = average(eye, p->width, x, y, colour, 1, 1 + extra);
            put(p->truth, i, colour);
        }
    }
}

/* 1 where a ray meets hardware that no frame looks past, 2 where the ground it meets lies in the rig's
 * shadow. */
static unsigned char rig_mark(const Eye *eye, size_t width, double x, double y)
{
    V3 along = direction(width, x, y);
    RigHit part;
    Hit hit;
    if (along.y >= 0)
        return 0;
    if (rig_hides(eye->rig, along, &part))
        return 1;
    if (!eye->world->open_air || !world_trace(eye->world, (Ray){eye->at, along}, 12, &hit))
        return 0;
    /* a ring of directions just outside the disc as well, so that no penumbra is missed */
    V3 side, up;
    v_basis(eye->world->sun, &side, &up);
    V3 from = v_sub(hit.at, eye->at);
    for (int i = 0; i < 7; i++) {
        double r = i == 0 ? 0 : 1.2 * SUN_RADIUS, a = i * PI / 3;
        V3 toward = v_unit(v_along(v_along(eye->world->sun, side, r * cos(a)), up, r * sin(a)));
        if (rig_trace(eye->rig, from, toward, 0, INFINITY, &part))
            return 2;
    }
    return 0;
}

/* Pixels whose surroundings are touched are touched: nothing at an edge is missed. */
static bool near_mark(const unsigned char *marks, size_t width, size_t height, size_t x, size_t y)
{
    for (size_t j = y > 0 ? y - 1 : 0; j <= y + 1 && j < height; j++)
        for (size_t i = x + width - 1; i <= x + width + 1; i++)
            if (marks[j * width + i % width] != 0)
                return true;
    return false;
}

static void render_as_shot(const Eye *eye, unsigned char *marks, Panorama *p, int threads)
{
    size_t from = p->height / 2;
#pragma omp parallel for schedule(dynamic, 4) num_threads(threads)
    for (size_t y = from; y < p->height; y++)
        for (size_t x = 0; x < p->width; x++)
            marks[y * p->width + x] = rig_mark(eye, p->width, (double)x + 0.5, (double)y + 0.5);
#pragma omp parallel for schedule(dynamic, 4) num_threads(threads)
    for (size_t y = 0; y < p->height; y++)
        for (size_t x = 0; x < p->width; x++) {
            size_t i = y * p->width + x;
            V3 colour = get(p->truth, i);
            p->touched[i] = y >= from && near_mark(marks, p->width, p->height, x, y);
            if (p->touched[i])
                colour = average(eye, p->width, x, y, v3(0, 0, 0), 0, RIG_SAMPLES);
            put(p->as_shot, i, colour);
        }
}

bool panorama_render(const World *world, const Rig *rig, size_t width, int threads, Panorama *out)
{
    size_t pixels = width * (width / 2);
    Eye eye = {world, NULL, v3(0, rig->height, 0), 2 * PI / (double)width, 10};
    Panorama p = {.width = width, .height = width / 2};
    p.truth = malloc(pixels * 3 * sizeof *p.truth);
    p.as_shot = malloc(pixels * 3 * sizeof *p.as_shot);
    p.touched = calloc(pixels, 1);
    unsigned char *marks = calloc(pixels, 1);
    bool done = p.truth != NULL && p.as_shot != NULL && p.touched != NULL && marks != NULL;
    if (done) {
        /* as_shot's room holds the first samples until its turn comes */
        render_truth(&eye, p.as_shot, &p, threads);
        eye.rig = rig;
        render_as_shot(&eye, marks, &p, threads);
    }
    free(marks);
    *out = p;
    return done;
}

float *hand_render(const World *world, const Hand *hand, size_t width, int threads)
{
    size_t height = width * 2 / 3;
    double focal = (double)width / 2 / tan(hand->field_deg * PI / 360);
    Eye eye = {world, NULL, v3(hand->x, hand->height, hand->z), 1 / focal, 4};
    UfRotation turn = uf_rotation_from_angles(uf_radians(hand->yaw_deg), uf_radians(hand->pitch_deg),
                                              uf_radians(hand->roll_deg));
    float *out = malloc(3 * width * height * sizeof *out);
    if (out == NULL)
        return NULL;
#pragma omp parallel for schedule(dynamic, 4) num_threads(threads)
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            V3 sum = v3(0, 0, 0);
            for (uint32_t i = 0; i < HAND_SAMPLES; i++) {
                double sx, sy;
                spread(i, 0.5, 0.5, &sx, &sy);
                double u = ((double)x + sx - (double)width / 2) / focal;
                double v = ((double)height / 2 - (double)y - sy) / focal, away = sqrt(u * u + v * v + 1);
                UfDirection d = uf_rotation_apply(&turn, (UfDirection){u / away, v / away, 1 / away});
                V3 seen = look(&eye, (Ray){eye.at, v3(d.x, d.y, d.z)}, 0, pixel_seed(x, y) + 977 * i, 0);
                sum = v_along(sum, seen,
                              1 / (away * away)); /* half of a plain lens's fourth power of the cosine */
            }
            put(out, y * width + x,
                v_scale(v_mul(sum, v3(hand->gain[0], hand->gain[1], hand->gain[2])), 1.0 / HAND_SAMPLES));
        }
    return out;
}

void panorama_free(Panorama *panorama)
{
    free(panorama->truth);
    free(panorama->as_shot);
    free(panorama->touched);
    *panorama = (Panorama){0};
}

/* Close to a normal distribution: the sum of four uniform ones. */
static double bell(uint32_t h, uint32_t n)
{
    return (hash_unit(h, n) + hash_unit(h, n + 1) + hash_unit(h, n + 2) + hash_unit(h, n + 3) - 2) *
           1.7320508;
}

/* Straight up to `knee`, then bending towards 1. */
static double tone(double v)
{
    const double knee = 0.45;
    return v <= knee ? v : knee + (1 - knee) * (1 - exp(-(v - knee) / (1 - knee)));
}

V3 develop(const World *world, V3 light, size_t x, size_t y)
{
    uint32_t h = hash_cell((int)x, (int)y, 90210);
    V3 v = v_scale(light, world->exposure);
    double *channel[3] = {&v.x, &v.y, &v.z};
    for (uint32_t i = 0; i < 3; i++) {
        double noise =
            sqrt(4e-7 + 3.0e-5 * greater(*channel[i], 0)); /* read noise and photon noise at ISO 100 */
        *channel[i] = clamp(tone(*channel[i] + noise * bell(h, 4 * i)), 0, 1);
    }
    return v;
}

/*
 * A cobbled yard with real relief: rounded stones laid in loose rows, joints of sand and moss. The view ray
 * walks into the relief (its top is y = 0), and so does a ray towards the sun. Source of the cells: S.
 * Worley, "A Cellular Texture Basis Function", SIGGRAPH '96.
 */
#include "noise.h"
#include "paint.h"

#define ROW   0.108 /* rows along x */
#define STONE 0.128
#define DEEP  0.030

typedef struct Stone {
    double edge; /* distance to the border with the nearest neighbour */
    double x, z; /* from the stone's centre */
    uint32_t id;
} Stone;

static void centre_of(int i, int j, uint32_t seed, double *x, double *z, uint32_t *id)
{
    uint32_t h = hash_cell(i, j, seed);
    double shift = 0.5 * (j & 1) + 0.35 * hash_unit(hash_cell(j, 77, seed), 1);
    *x = (i + 0.5 + shift + 0.46 * (hash_unit(h, 1) - 0.5)) * STONE;
    *z = (j + 0.5 + 0.34 * (hash_unit(h, 2) - 0.5)) * ROW;
    *id = h;
}

static Stone stone_at(double px, double pz, uint32_t seed)
{
    /* uneven outlines: the plane itself is bent a little */
    double x =
        px + 0.0085 * noise_at(px * 19, pz * 19, seed + 1) + 0.0030 * noise_at(px * 60, pz * 60, seed + 2);
    double z =
        pz + 0.0085 * noise_at(px * 19, pz * 19, seed + 3) + 0.0030 * noise_at(px * 60, pz * 60, seed + 4);
    int j = (int)floor(z / ROW);
    double cx[15], cz[15], nearest = 1e9;
    uint32_t ids[15];
    int count = 0, mine = 0;
    for (int dj = -1; dj <= 1; dj++) {
        double shift = 0.5 * ((j + dj) & 1) + 0.35 * hash_unit(hash_cell(j + dj, 77, seed), 1);
        int i = (int)floor(x / STONE - shift);
        for (int di = -2; di <= 2; di++, count++) {
            centre_of(i + di, j + dj, seed, &cx[count], &cz[count], &ids[count]);
            double dx = x - cx[count], dz = z - cz[count], d = dx * dx + dz * dz;
            if (d < nearest) {
                nearest = d;
                mine = count;
            }
        }
    }
    Stone s = {.edge = 1e9, .id = ids[mine], .x = x - cx[mine], .z = z - cz[mine]};
    for (int n = 0; n < count; n++) {
        if (n == mine)
            continue;
        double nx = cx[n] - cx[mine], nz = cz[n] - cz[mine], length = sqrt(nx * nx + nz * nz);
        double edge = length / 2 - (s.x * nx + s.z * nz) / length;
        s.edge = edge < s.edge ? edge : s.edge;
    }
    return s;
}

/* Height of the relief, -DEEP .. 0. */
static double relief(double x, double z, double fp, uint32_t seed, Stone *stone)
{
    *stone = stone_at(x, z, seed);
    double joint = 0.0045 + 0.003 * hash_unit(stone->id, 5), reach = 0.026 + 0.014 * hash_unit(stone->id, 6);
    double rise = clamp((stone->edge - joint) / reach, 0, 1), dome = sqrt(1 - (1 - rise) * (1 - rise));
    double top = -0.007 * hash_unit(stone->id, 3);
    double lean =
        (hash_unit(stone->id, 8) - 0.5) * 0.10 * stone->x + (hash_unit(stone->id, 9) - 0.5) * 0.10 * stone->z;
    double rough = fp < 0.02 ? 0.0011 * noise_sum(x * 55, z * 55, 3, fp * 55, seed + 21) : 0;
    double sand = -0.019 + 0.0035 * noise_at(x * 45, z * 45, seed + 22);
    double height = top - 0.004 + lean + rough - (1 - dome) * 0.021;
    return clamp(fmax(height, sand), -DEEP, 0);
}

static double soften_far(double fp)
{
    return clamp(1.6 - fp / 0.014, 0, 1);
}

/* Where the view ray meets the relief below the point on y = 0. */
static void walk_in(const Material *m, const Hit *hit, double *x, double *z, double *height, Stone *stone)
{
    V3 d = v_scale(hit->along, 1 / fmax(-hit->along.y, 0.12));
    double depth = 0, step = DEEP / 9, before = 0;
    *x = hit->at.x;
    *z = hit->at.z;
    *height = relief(*x, *z, hit->footprint, m->seed, stone);
    if (hit->footprint > 0.016)
        return;
    for (int i = 0; i < 9 && -depth > *height; i++) {
        before = *height + depth;
        depth += step;
        *x = hit->at.x + d.x * depth;
        *z = hit->at.z + d.z * depth;
        *height = relief(*x, *z, hit->footprint, m->seed, stone);
    }
    double after = *height + depth; /* positive: below the surface */
    if (depth > 0 && after > 0 && after - before > 1e-9) {
        depth -= step * after / (after - before);
        *x = hit->at.x + d.x * depth;
        *z = hit->at.z + d.z * depth;
        *height = relief(*x, *z, hit->footprint, m->seed, stone);
    }
}

static double sun_over_relief(const Material *m, double x, double z, double height, double fp)
{
    if (m->sun.y <= 0.02)
        return 0;
    double lit = 1, rise = m->sun.y, far = -height / rise, steps = fp < 0.006 ? 6 : 3;
    Stone ignored;
    for (double i = 1; i <= steps; i++) {
        double t = far * (i - 0.4) / steps;
        double above = height + t * rise - relief(x + t * m->sun.x, z + t * m->sun.z, fp, m->seed, &ignored);
        lit = fmin(lit, clamp(0.55 + above / 0.0030, 0, 1));
    }
    return lit;
}

static V3 stone_colour(const Material *m, const Stone *s, double x, double z, double fp)
{
    static const V3 kinds[6] = {{0.215, 0.208, 0.198}, {0.250, 0.238, 0.215}, {0.165, 0.165, 0.168},
                                {0.235, 0.190, 0.155}, {0.300, 0.285, 0.260}, {0.185, 0.178, 0.160}};
    V3 base = kinds[(int)(hash_unit(s->id, 10) * 6)];
    base = v_scale(base, 1 + 0.36 * (hash_unit(s->id, 11) - 0.5));
    double grain = noise_sum(x * 230, z * 230, 3, fp * 230, m->seed + 33);
    double blotch = noise_sum(x * 34 + hash_unit(s->id, 12) * 30, z * 34, 3, fp * 34, m->seed + 34);
    double speck =
        smooth_step(0.45, 0.7, noise_at(x * 390, z * 390, m->seed + 35)) * clamp(1 - fp * 200, 0, 1);
    base = v_scale(base, 1 + 0.22 * grain + 0.20 * blotch);
    return v_mix(base, v3(0.42, 0.41, 0.39), 0.30 * speck);
}

void paint_cobbles(const Material *m, const Hit *hit, Surface *surface)
{
    double x, z, height, fp = hit->footprint;
    Stone s, other;
    walk_in(m, hit, &x, &z, &height, &s);
    double step = fmax(0.0009, 0.5 * fp);
    double hx = relief(x + step, z, fp, m->seed, &other), hz = relief(x, z + step, fp, m->seed, &other);
    double near = soften_far(fp);
    V3 bump = v_unit(v3(-(hx - height) / step * near, 1, -(hz - height) / step * near));
    double damp = noise_sum(x * 0.55, z * 0.55, 4, fp, m->seed + 50),
           tuft = noise_sum(x * 85, z * 85, 3, fp * 85, 51);
    V3 sand = v_scale(v3(0.205, 0.178, 0.138), 1 + 0.35 * tuft);
    V3 moss = v_scale(v3(0.060, 0.088, 0.026), 1 + 0.75 * tuft);
    V3 joint = v_mix(sand, moss, smooth_step(-0.18, 0.22, damp + 0.30 * tuft));
    double open = smooth_step(-0.0165, -0.0105, height);
    V3 stone = stone_colour(m, &s, x, z, fp);
    /* lichen and dirt creep up the stones' flanks */
    stone = v_mix(stone, v_mul(joint, v3(0.9, 0.95, 0.9)), 0.40 * (1 - smooth_step(-0.012, -0.005, height)));
    surface->albedo = v_mix(joint, stone, open);
    surface->normal = bump;
    surface->occlusion = mix(1, mix(0.34, 1, smooth_step(-0.021, -0.004, height)), near * 0.85 + 0.15);
    surface->sunlight = mix(0.80, sun_over_relief(m, x, z, height, fp), near);
    surface->gloss = 0.010 * open;
    surface->blur = 0.35;
}

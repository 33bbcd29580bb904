/*
 * A cobbled yard with real relief: rounded stones laid in loose rows, joints of sand and moss. The view ray
 * walks into the relief (its top is y = 0), and so does a ray towards the sun. Source of the cells: S.
 * Worley, "A Cellular Texture Basis Function", SIGGRAPH '96.
 */
#include "noise.h"
#include "paint.h"

#define ROW       0.108 /* rows along x */
#define STONE     0.128
#define SMOOTH    1.0 /* a footprint that leaves the stones' grain out: for finding the way */
#define DEEP      0.030
#define SUN_STEPS 6

typedef struct Stone {
    double edge; /* distance to the border with the nearest neighbour */
    double x, z; /* from the stone's centre */
    uint32_t id;
} Stone;

/* The stones round a place: three rows of five. Rays stay among the same ones for most of their way. */
typedef struct Neighbours {
    bool known;
    int row, column[3];
    double shift[3];
    double x[15], z[15];
    uint32_t id[15];
} Neighbours;

static void gather_stones(Neighbours *near, uint32_t seed)
{
    for (int n = 0; n < 15; n++) {
        int i = near->column[n / 5] + n % 5 - 2, j = near->row + n / 5 - 1;
        uint32_t h = hash_cell(i, j, seed);
        near->x[n] = (i + 0.5 + near->shift[n / 5] + 0.46 * (hash_unit(h, 1) - 0.5)) * STONE;
        near->z[n] = (j + 0.5 + 0.34 * (hash_unit(h, 2) - 0.5)) * ROW;
        near->id[n] = h;
    }
}

static void move_to(Neighbours *near, double x, double z, uint32_t seed)
{
    int row = (int)floor(z / ROW);
    bool same = near->known && row == near->row;
    if (!same)
        for (int k = 0; k < 3; k++)
            near->shift[k] =
                0.5 * ((row + k - 1) & 1) + 0.35 * hash_unit(hash_cell(row + k - 1, 77, seed), 1);
    for (int k = 0; k < 3; k++) {
        int column = (int)floor(x / STONE - near->shift[k]);
        same = same && column == near->column[k];
        near->column[k] = column;
    }
    near->row = row;
    near->known = true;
    if (!same)
        gather_stones(near, seed);
}

static Stone stone_at(double px, double pz, uint32_t seed, Neighbours *near)
{
    /* uneven outlines: the plane itself is bent a little */
    double x =
        px + 0.0085 * noise_at(px * 19, pz * 19, seed + 1) + 0.0030 * noise_at(px * 60, pz * 60, seed + 2);
    double z =
        pz + 0.0085 * noise_at(px * 19, pz * 19, seed + 3) + 0.0030 * noise_at(px * 60, pz * 60, seed + 4);
    double squared[15], nearest = 1e9;
    int mine = 0;
    move_to(near, x, z, seed);
    for (int n = 0; n < 15; n++) {
        double dx = x - near->x[n], dz = z - near->z[n];
        squared[n] = dx * dx + dz * dz;
        if (squared[n] < nearest) {
            nearest = squared[n];
            mine = n;
        }
    }
    Stone s = {.edge = 0.05, .id = near->id[mine], .x = x - near->x[mine], .z = z - near->z[mine]};
    double close = sqrt(nearest) + 2 * s.edge; /* the border to a stone beyond this is farther than matters */
    for (int n = 0; n < 15; n++) {
        if (n == mine || squared[n] > close * close)
            continue;
        double nx = near->x[n] - near->x[mine], nz = near->z[n] - near->z[mine],
               length = sqrt(nx * nx + nz * nz);
        s.edge = lesser(s.edge, length / 2 - (s.x * nx + s.z * nz) / length);
    }
    return s;
}

/* Height of the relief, -DEEP .. 0. */
static double relief(double x, double z, double fp, uint32_t seed, Neighbours *near, Stone *stone)
{
    *stone = stone_at(x, z, seed, near);
    double joint = 0.0025 + 0.0025 * hash_unit(stone->id, 5), reach = 0.026 + 0.014 * hash_unit(stone->id, 6);
    double rise = clamp((stone->edge - joint) / reach, 0, 1), dome = sqrt(1 - (1 - rise) * (1 - rise));
    double top = -0.007 * hash_unit(stone->id, 3);
    double lean =
        (hash_unit(stone->id, 8) - 0.5) * 0.10 * stone->x + (hash_unit(stone->id, 9) - 0.5) * 0.10 * stone->z;
    double rough = fp < 0.02 ? 0.0011 * noise_sum(x * 55, z * 55, 3, fp * 55, seed + 21) : 0;
    double sand = -0.0225 + 0.0030 * noise_at(x * 45, z * 45, seed + 22);
    double height = top - 0.004 + lean + rough - (1 - dome) * 0.0235;
    return clamp(greater(height, sand), -DEEP, 0);
}

static double soften_far(double fp)
{
    return clamp(1.6 - fp / 0.014, 0, 1);
}

/* Where the view ray meets the relief below the point on y = 0. */
static void walk_in(const Material *m, const Hit *hit, Neighbours *near, double *x, double *z, double *height,
                    Stone *stone)
{
    V3 d = v_scale(hit->along, 1 / greater(-hit->along.y, 0.12));
    double depth = 0, step = DEEP / 8, before = 0;
    *x = hit->at.x;
    *z = hit->at.z;
    if (hit->footprint <= 0.016) {
        *height = relief(*x, *z, SMOOTH, m->seed, near, stone);
        for (int i = 0; i < 8 && -depth > *height; i++) {
            before = *height + depth;
            depth += step;
            *x = hit->at.x + d.x * depth;
            *z = hit->at.z + d.z * depth;
            *height = relief(*x, *z, SMOOTH, m->seed, near, stone);
        }
        double after = *height + depth; /* positive: below the surface */
        if (depth > 0 && after > 0 && after - before > 1e-9)
            depth -= step * after / (after - before);
        *x = hit->at.x + d.x * depth;
        *z = hit->at.z + d.z * depth;
    }
    *height = relief(*x, *z, hit->footprint, m->seed, near, stone);
}

static double sun_over_relief(const Material *m, Neighbours *near, double x, double z, double height)
{
    if (m->sun.y <= 0.02)
        return 0;
    /* as many steps near and far: with fewer there is less shade, and where they change a circle is seen */
    double lit = 1, rise = m->sun.y, far = -height / rise;
    Stone ignored;
    for (int i = 1; i <= SUN_STEPS; i++) {
        double t = far * (i - 0.4) / SUN_STEPS;
        double above =
            height + t * rise - relief(x + t * m->sun.x, z + t * m->sun.z, SMOOTH, m->seed, near, &ignored);
        lit = lesser(lit, clamp(0.55 + above / 0.0030, 0, 1));
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
    Neighbours stones = {.known = false};
    walk_in(m, hit, &stones, &x, &z, &height, &s);
    double step = greater(0.0009, 0.5 * fp);
    double hx = relief(x + step, z, fp, m->seed, &stones, &other),
           hz = relief(x, z + step, fp, m->seed, &stones, &other);
    double near = soften_far(fp);
    V3 bump = v_unit(v3(-(hx - height) / step * near, 1, -(hz - height) / step * near));
    double damp = noise_sum(x * 0.55, z * 0.55, 4, fp, m->seed + 50),
           tuft = noise_sum(x * 85, z * 85, 3, fp * 85, 51);
    V3 sand = v_scale(v3(0.205, 0.178, 0.138), 1 + 0.35 * tuft);
    V3 moss = v_scale(v3(0.060, 0.088, 0.026), 1 + 0.75 * tuft);
    V3 joint = v_mix(sand, moss, smooth_step(-0.18, 0.22, damp + 0.30 * tuft));
    double open = smooth_step(-0.0212, -0.0165, height);
    V3 stone = stone_colour(m, &s, x, z, fp);
    /* lichen and dirt creep up the stones' flanks */
    stone = v_mix(stone, v_mul(joint, v3(0.9, 0.95, 0.9)), 0.40 * (1 - smooth_step(-0.018, -0.010, height)));
    surface->albedo = v_mix(joint, stone, open);
    surface->normal = bump;
    surface->occlusion = mix(1, mix(0.34, 1, smooth_step(-0.021, -0.004, height)), near * 0.85 + 0.15);
    surface->sunlight = near > 0 ? mix(0.80, sun_over_relief(m, &stones, x, z, height), near) : 0.80;
}

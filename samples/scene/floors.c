/*
 * Indoor floors. Tiles: squares of 30 cm with their corners cut and small dark insets there. Planks: boards
 * of 14.5 cm with staggered ends.
 */
#include "noise.h"
#include "paint.h"

#define TILE       0.30
#define INSET      0.058
#define TILE_X     0.09 /* where the pattern starts, so that the hall's walls stand on joints */
#define TILE_Z     0.23
#define HALF_JOINT 0.0019

typedef struct TileSpot {
    double inside; /* distance to the piece's edge */
    V3 outward;    /* towards that edge, in the floor */
    bool inset;
    uint32_t id;
} TileSpot;

static TileSpot tile_at(double x, double z, uint32_t seed)
{
    double cx = floor(x / TILE), cz = floor(z / TILE);
    double fx = x - (cx + 0.5) * TILE, fz = z - (cz + 0.5) * TILE; /* from the tile's centre */
    double ex = TILE / 2 - fabs(fx), ez = TILE / 2 - fabs(fz);
    double corner = ex + ez - INSET; /* negative inside the inset */
    TileSpot spot;
    spot.inset = corner < 0;
    if (spot.inset) {
        spot.inside = -corner * 0.7071;
        spot.outward = v_scale(v3(-copysign(1, fx), 0, -copysign(1, fz)), 0.7071);
        spot.id = hash_cell((int)cx + (fx > 0), (int)cz + (fz > 0), seed + 1);
        return spot;
    }
    spot.inside = lesser(lesser(ex, ez), corner * 0.7071);
    spot.id = hash_cell((int)cx, (int)cz, seed);
    if (spot.inside == ex)
        spot.outward = v3(copysign(1, fx), 0, 0);
    else if (spot.inside == ez)
        spot.outward = v3(0, 0, copysign(1, fz));
    else
        spot.outward = v_scale(v3(copysign(1, fx), 0, copysign(1, fz)), 0.7071);
    return spot;
}

static V3 tile_colour(const Material *m, const TileSpot *spot, double x, double z, double footprint)
{
    double shift = hash_unit(spot->id, 7) * 40;
    double vein = noise_sum(x * 7 + shift, z * 7 - shift, 5, footprint * 7, m->seed + 31);
    double cloud = noise_sum(x * 26 - shift, z * 26 + shift, 4, footprint * 26, m->seed + 47);
    double line = exp(-60 * vein * vein) * (0.5 + 0.5 * cloud);
    if (spot->inset)
        return v_scale(v3(0.052, 0.058, 0.066), 1 + 0.35 * (hash_unit(spot->id, 1) - 0.5) + 0.30 * cloud);
    V3 base = v_mix(m->mean, m->second, hash_unit(spot->id, 2) * 0.75);
    base = v_scale(base, 1 + 0.17 * (hash_unit(spot->id, 3) - 0.5));
    if (hash_unit(spot->id, 4) < 0.035) /* laid later, from another batch */
        base = v_mul(base, v3(0.84, 0.86, 0.90));
    base = v_scale(base, 1 + 0.10 * vein + 0.09 * cloud);
    return v_mix(base, v_mul(base, v3(0.70, 0.66, 0.60)), 0.45 * line);
}

/* A hairline crack across few tiles: the zero line of a slow noise. */
static double tile_crack(const TileSpot *spot, double x, double z, double footprint)
{
    if (spot->inset || hash_unit(spot->id, 9) > 0.05)
        return 0;
    double a = hash_unit(spot->id, 10) * PI, across = x * cos(a) + z * sin(a);
    double n = noise_at(x * 9 + 5, z * 9, spot->id) * 0.035 + noise_at(x * 40, z * 40, spot->id) * 0.006;
    double middle = (floor(across / TILE) + 0.5) * TILE;
    return 1 - smooth_step(0.0004, 0.0011 + footprint, fabs(across + n - middle));
}

void paint_tiles(const Material *m, const Hit *hit, Surface *surface)
{
    double x = hit->at.x - TILE_X, z = hit->at.z - TILE_Z, fp = hit->footprint;
    TileSpot spot = tile_at(x, z, m->seed);
    double wear = noise_sum(x * 1.1, z * 1.1, 4, fp, m->seed + 3),
           grit = noise_sum(x * 160, z * 160, 2, fp * 160, 5);
    /* chipped edges: the edge is ragged where a noise is high */
    double chip = smooth_step(0.34, 0.62, noise_sum(x * 13, z * 13, 2, fp * 13, m->seed + 8)) *
                  (0.0035 + 0.004 * noise_at(x * 110, z * 110, m->seed + 9));
    double edge = spot.inside - HALF_JOINT - greater(0, chip) - 0.0003 * grit;
    double tile = smooth_step(-0.5 * fp - 0.0002, 0.5 * fp + 0.0002, edge);
    V3 colour = tile_colour(m, &spot, x, z, fp);
    double near_joint = exp(-spot.inside / 0.012);
    colour = v_scale(colour, 1 - 0.22 * near_joint * clamp(0.75 + wear, 0, 1) - 0.09 * clamp(wear, -0.4, 1));
    colour = v_scale(colour, 1 - 0.55 * tile_crack(&spot, x, z, fp));
    V3 joint = v_scale(v3(0.150, 0.138, 0.122), 1 + 0.30 * grit + 0.5 * wear);
    surface->albedo = v_mix(joint, colour, tile);
    surface->occlusion = mix(0.72, 1, tile);
    /* each piece lies a little off level, and its edge is rounded */
    V3 lean = v3((hash_unit(spot.id, 5) - 0.5) * 0.011, 0, (hash_unit(spot.id, 6) - 0.5) * 0.011);
    double round = (1 - smooth_step(0, 0.0036, edge)) * tile * clamp(1.4 - fp / 0.006, 0, 1);
    V3 wave = v3(noise_at(x * 21, z * 21, 71) * 0.0035, 0, noise_at(x * 21, z * 21, 72) * 0.0035);
    surface->normal = v_unit(v_along(v_add(v_add(v3(0, 1, 0), lean), wave), spot.outward, 0.45 * round));
    surface->gloss = m->gloss * tile * clamp(0.85 - 0.55 * wear, 0.25, 1.2) * (1 - 0.5 * near_joint);
    surface->blur = m->blur * (1 + 0.8 * clamp(wear, 0, 1));
}

#define BOARD 0.145

typedef struct Board {
    double across, along;     /* from the board's middle line; from its near end */
    double length, side_edge; /* distance to the nearer long edge */
    double end_edge;
    uint32_t id;
} Board;

static Board board_at(double x, double z, uint32_t seed)
{
    double row = floor(x / BOARD), pitch = 1.85;
    uint32_t h = hash_cell((int)row, 3, seed);
    double zz = z + hash_unit(h, 1) * pitch * 3;
    int k = (int)floor(zz / pitch);
    double start = 0, stop = 0;
    /* ends move by up to 0.35 of the pitch, so the piece may be the neighbour */
    for (int i = k - 1; i <= k + 1; i++) {
        start = (i + 0.35 * (2 * hash_unit(hash_cell((int)row, i, seed + 5), 1) - 1)) * pitch;
        stop = (i + 1 + 0.35 * (2 * hash_unit(hash_cell((int)row, i + 1, seed + 5), 1) - 1)) * pitch;
        k = i;
        if (zz >= start && zz < stop)
            break;
    }
    Board b = {.across = x - (row + 0.5) * BOARD, .along = zz - start, .length = stop - start};
    b.side_edge = BOARD / 2 - fabs(b.across);
    b.end_edge = lesser(b.along, stop - zz);
    b.id = hash_cell((int)row, k, seed + 9);
    return b;
}

/* Year rings as a flat-sawn board shows them: stretched along it, bent round knots. 0 pale .. 1 dark. */
static double ring_tone(const Board *b, double fp, double *knot)
{
    double x = b->across + (hash_unit(b->id, 11) - 0.5) * 0.16, z = b->along + hash_unit(b->id, 12) * 50;
    double bow = 4 + 7 * hash_unit(b->id, 13);
    double cathedral = x * x * bow + 0.10 * z * (hash_unit(b->id, 14) - 0.5);
    double depth =
        cathedral + 0.020 * noise_at(z * 1.6, x * 9, b->id) + 0.006 * noise_at(z * 5, x * 30, b->id + 1);
    *knot = 0;
    for (uint32_t i = 0; i < 2; i++) {
        if (hash_unit(b->id, 20 + i) > 0.42)
            continue;
        double kx = (hash_unit(b->id, 22 + i) - 0.5) * BOARD * 0.7,
               kz = (0.1 + 0.8 * hash_unit(b->id, 24 + i)) * b->length;
        double r = 0.006 + 0.010 * hash_unit(b->id, 26 + i);
        double dx = b->across - kx, dz = (b->along - kz) * 0.72;
        double d = sqrt(dx * dx + dz * dz) * (1 + 0.15 * noise_at(dx * 120, dz * 120, b->id));
        double pull = exp(-d * d / (9 * r * r));
        depth += pull * (0.055 - 0.6 * d);
        *knot = greater(*knot, 1 - smooth_step(0.6 * r, 1.25 * r, d));
    }
    double pitch = 0.0105 + 0.0065 * hash_unit(b->id, 15), phase = depth / pitch;
    double tone = phase - floor(phase);
    tone = tone < 0.82 ? pow(tone / 0.82, 1.6) : (1 - tone) / 0.18;
    double spacing = pitch / (0.25 + 2 * fabs(x) * bow); /* rings closer than samples would flicker */
    return mix(tone, 0.4, clamp(1.6 * fp / spacing - 0.45, 0, 1));
}

static double nail_mark(const Board *b, double fp)
{
    double end = lesser(b->along, b->length - b->along);
    double dx = fabs(fabs(b->across) - BOARD * 0.31), dz = fabs(end - 0.028);
    return 1 - smooth_step(0.0022, 0.0038 + fp, sqrt(dx * dx + dz * dz));
}

void paint_planks(const Material *m, const Hit *hit, Surface *surface)
{
    double x = hit->at.x, z = hit->at.z, fp = hit->footprint, knot;
    Board b = board_at(x, z, m->seed);
    double tone = ring_tone(&b, fp, &knot);
    double fibre = noise_sum(b.across * 620, (b.along + hash_unit(b.id, 3) * 9) * 9, 3, fp * 420, b.id);
    double pore = smooth_step(0.28, 0.62, noise_sum(b.across * 900, b.along * 26, 2, fp * 700, b.id + 4));
    double wear = noise_sum(x * 0.8, z * 0.8, 4, fp, m->seed + 40),
           stain = noise_sum(x * 2.7, z * 2.7, 4, fp * 3, 61);
    V3 base = v_mix(m->mean, m->second, hash_unit(b.id, 1));
    base = v_scale(base, 1 + 0.30 * (hash_unit(b.id, 2) - 0.5));
    base = v_mix(base, v_mul(base, v3(1.12, 1.0, 0.86)), hash_unit(b.id, 5));
    V3 colour = v_mix(v_scale(base, 1.16), v_mul(base, v3(0.62, 0.53, 0.45)), 0.80 * tone);
    colour = v_scale(colour, 1 + 0.17 * fibre - 0.20 * pore);
    colour = v_mix(colour, v_scale(v3(0.062, 0.036, 0.021), 1 + 0.4 * fibre), 0.85 * knot);
    /* grey where feet wore the varnish off, a few darker stains */
    colour =
        v_mix(colour, v_scale(v3(1.05, 1.0, 0.93), v_luminance(colour)), clamp(0.04 + 0.40 * wear, 0, 0.35));
    colour = v_scale(colour, 1 - 0.16 * smooth_step(0.32, 0.66, stain));
    colour = v_scale(colour, 1 - 0.85 * nail_mark(&b, fp));
    double gap = 0.0008 + 0.0007 * hash_unit(b.id, 6) + 0.0004 * noise_at(z * 7, x * 7, b.id);
    double edge = lesser(b.side_edge - gap, b.end_edge - 0.0007) - 0.00025 * fibre;
    double board = smooth_step(-0.5 * fp - 0.0002, 0.5 * fp + 0.0002, edge);
    double near = exp(-greater(edge, 0) / 0.0035);
    colour = v_scale(colour, 1 - 0.38 * near);
    surface->albedo = v_mix(v_scale(v3(0.020, 0.016, 0.012), 1), colour, board);
    surface->occlusion = mix(0.45, 1, board);
    double cup = b.across / BOARD * (0.02 + 0.03 * hash_unit(b.id, 8)); /* boards arch a little */
    V3 lean =
        v3((hash_unit(b.id, 7) - 0.5) * 0.012 + cup + 0.012 * fibre, 0, (hash_unit(b.id, 9) - 0.5) * 0.006);
    double round = near * board * clamp(1.3 - fp / 0.005, 0, 1) * (b.side_edge < b.end_edge ? 1 : 0);
    surface->normal = v_unit(v_add(v3(0, 1, 0), v_along(lean, v3(copysign(1, b.across), 0, 0), 0.4 * round)));
    surface->gloss = m->gloss * board * clamp(0.9 - 0.9 * wear - 0.5 * tone, 0.12, 1.3);
    surface->blur = m->blur * (1 + clamp(wear, -0.5, 1));
}

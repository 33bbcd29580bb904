/* Paints for everything but floors. */
#include "paint.h"

#include "letters.h"
#include "noise.h"

void paint_face_metres(const Hit *hit, double *across, double *up)
{
    V3 p = hit->local;
    int axis = hit->face / 2;
    *across = axis == 0 ? p.z : p.x;
    *up = axis == 1 ? p.z : p.y;
}

static uint32_t solid_seed(const Material *m, const Hit *hit)
{
    return hash_mix(m->seed + 131u * (uint32_t)hit->solid);
}

/* Trowelled and painted wall: a slow unevenness, a fine grain. */
void paint_plaster(const Material *m, const Hit *hit, Surface *surface)
{
    double a, b, fp = hit->footprint;
    paint_face_metres(hit, &a, &b);
    double slow = noise_sum(a * 0.9, b * 0.9, 4, fp, m->seed),
           fine = noise_sum(a * 70, b * 70, 3, fp * 70, m->seed + 1);
    double drip = noise_sum(a * 3.1, b * 0.6, 3, fp, m->seed + 2);
    surface->albedo = v_scale(m->mean, 1 + 0.045 * slow + 0.035 * fine + 0.03 * drip);
    V3 u, v;
    v_basis(hit->normal, &u, &v);
    double sx = noise_sum(a * 24, b * 24, 3, fp * 24, m->seed + 3),
           sy = noise_sum(a * 24, b * 24, 3, fp * 24, m->seed + 4);
    surface->normal = v_unit(v_along(v_along(hit->normal, u, 0.035 * sx), v, 0.035 * sy));
}

/* Wood with its grain along the face's longer side. */
void paint_wood(const Material *m, const Hit *hit, Surface *surface)
{
    double a, b, fp = hit->footprint;
    paint_face_metres(hit, &a, &b);
    uint32_t id = solid_seed(m, hit);
    double along = hit->tall ? b : a, across = hit->tall ? a : b;
    across += hash_unit(id, 1) * 20;
    along += hash_unit(id, 2) * 20;
    double bend = noise_sum(along * 1.1, across * 5, 3, fp * 5, id);
    double phase = across * 46 + 2.6 * bend, tone = 0.5 + 0.5 * sin(phase * 2 * PI * 0.45 + 2 * bend);
    double fibre = noise_sum(across * 420, along * 7, 3, fp * 420, id + 7);
    double board = m->second.x; /* width of glued boards; 0: one piece */
    double shade = 1 + 0.14 * (hash_unit(id, 3) - 0.5);
    double joint = 1;
    if (board > 0) {
        double k = floor(across / board), e = lesser(across - k * board, (k + 1) * board - across);
        shade = 1 + 0.22 * (hash_unit(hash_cell((int)k, 1, id), 4) - 0.5);
        joint = smooth_step(0.0005, 0.0022 + fp, e);
    }
    V3 colour = v_mix(v_scale(m->mean, 1.15), v_mul(m->mean, v3(0.66, 0.60, 0.53)), 0.55 * tone);
    surface->albedo = v_scale(colour, shade * (1 + 0.15 * fibre) * mix(0.35, 1, joint));
    surface->gloss = m->gloss * (0.8 - 0.4 * tone);
    surface->blur = m->blur;
}

void paint_lacquer(const Material *m, const Hit *hit, Surface *surface)
{
    double a, b;
    paint_face_metres(hit, &a, &b);
    double n = noise_sum(a * 3, b * 3, 4, hit->footprint * 3, m->seed + (uint32_t)hit->solid);
    surface->albedo = v_scale(m->mean, 1 + 0.06 * n);
    surface->gloss = m->gloss;
    surface->blur = m->blur;
}

void paint_metal(const Material *m, const Hit *hit, Surface *surface)
{
    double a, b;
    paint_face_metres(hit, &a, &b);
    double n = noise_sum(a * 30, b * 2, 3, hit->footprint * 30, m->seed);
    surface->albedo = v_scale(m->mean, 1 + 0.15 * n);
    surface->gloss = m->gloss;
    surface->blur = m->blur;
}

void paint_glow(const Material *m, const Hit *hit, Surface *surface)
{
    (void)hit;
    surface->albedo = v3(0.5, 0.5, 0.5);
    surface->emission = m->emission;
}

/* Daylight behind old glass, for rooms: a bright sky over a dim line of trees. */
void paint_window(const Material *m, const Hit *hit, Surface *surface)
{
    double a, b;
    paint_face_metres(hit, &a, &b);
    double wobble = 0.02 * noise_at(a * 9, b * 9, m->seed);
    double up = hit->v + wobble, tree = 0.22 + 0.10 * noise_sum(a * 2 + hit->solid, 1, 4, 0, m->seed + 1);
    double sky = smooth_step(tree - 0.02, tree + 0.02, up);
    double leaf = noise_sum(a * 22, b * 22, 3, hit->footprint * 22, m->seed + 2);
    V3 bright = v_mix(v3(1.0, 1.0, 0.98), v3(0.72, 0.86, 1.05), clamp(up, 0, 1));
    V3 green = v_scale(v3(0.20, 0.27, 0.12), 1 + 0.6 * leaf);
    surface->albedo = v3(0, 0, 0);
    surface->emission = v_mul(m->emission, v_mix(green, bright, sky));
    surface->gloss = 0.03;
}

/* A pane seen from outside: dark, and it mirrors the yard. */
void paint_pane(const Material *m, const Hit *hit, Surface *surface)
{
    double a, b;
    paint_face_metres(hit, &a, &b);
    double curtain = smooth_step(0.18, 0.30, fabs(hit->u - 0.5)) * (0.8 + 0.2 * sin(a * 130));
    surface->albedo =
        v_mix(v3(0.012, 0.013, 0.015), v3(0.16, 0.15, 0.13), 0.6 * curtain * (m->size > 0 ? 1 : 0));
    surface->gloss = 0.09;
    surface->blur = 0.003;
    V3 u, v;
    v_basis(hit->normal, &u, &v);
    V3 n = v_along(hit->normal, u, 0.006 * noise_at(a * 6 + hit->solid, b * 6, 3));
    surface->normal = v_unit(v_along(n, v, 0.006 * noise_at(a * 6, b * 6 + hit->solid, 4)));
}

/* Courses of cut stone. */
void paint_ashlar(const Material *m, const Hit *hit, Surface *surface)
{
    double a = hit->face / 2 == 0 ? hit->at.z : hit->at.x, b = hit->at.y, fp = hit->footprint;
    double h = m->size, row = floor(b / h), w = h * 2.1;
    double aa = a + (hash_unit(hash_cell((int)row, 4, m->seed), 1)) * w, column = floor(aa / w);
    uint32_t id = hash_cell((int)column, (int)row, m->seed);
    double ea = lesser(aa - column * w, (column + 1) * w - aa), eb = lesser(b - row * h, (row + 1) * h - b);
    double ragged = 0.003 * noise_sum(a * 25, b * 25, 2, fp * 25, m->seed + 1),
           edge = lesser(ea, eb) - 0.005 + ragged;
    double stone = smooth_step(-fp / 2 - 0.001, fp / 2 + 0.002, edge);
    double grain = noise_sum(a * 60, b * 60, 4, fp * 60, m->seed + 2),
           patch = noise_sum(a * 2, b * 2, 4, fp * 2, 9);
    V3 c = v_mix(m->mean, m->second, hash_unit(id, 2));
    c = v_scale(c, (1 + 0.22 * (hash_unit(id, 3) - 0.5)) * (1 + 0.14 * grain + 0.10 * patch));
    double foot = smooth_step(0.0, 0.7, b + 0.25 * patch); /* splashed and mossy near the ground */
    c = v_mix(v_mul(c, v3(0.62, 0.66, 0.55)), c, foot);
    surface->albedo = v_mix(v_scale(m->mean, 0.72), c, stone);
    V3 u, v;
    v_basis(hit->normal, &u, &v);
    double sx = noise_sum(a * 40, b * 40, 3, fp * 40, 11), sy = noise_sum(a * 40, b * 40, 3, fp * 40, 12);
    double round = (1 - smooth_step(0, 0.012, edge)) * (eb < ea ? 0.5 : 0);
    V3 n = v_along(v_along(hit->normal, u, 0.22 * sx), v, 0.22 * sy);
    surface->normal = v_unit(v_add(n, v3(0, round * (b - (row + 0.5) * h > 0 ? 1 : -1), 0)));
    surface->occlusion = mix(0.7, 1, stone);
}

/* Overlapping clay tiles on a sloping roof; rows run along the box's x axis. */
void paint_roof(const Material *m, const Hit *hit, Surface *surface)
{
    double a = hit->local.x, b = hit->local.z, fp = hit->footprint;
    double row = floor(b / 0.19), fb = b / 0.19 - row, w = 0.17, aa = a + (((int)row & 1) != 0 ? w / 2 : 0);
    double column = floor(aa / w), fa = aa / w - column;
    uint32_t id = hash_cell((int)column, (int)row, m->seed);
    V3 c = v_mix(m->mean, m->second, hash_unit(id, 1));
    c = v_scale(c, 1 + 0.3 * (hash_unit(id, 2) - 0.5) + 0.16 * noise_sum(a * 40, b * 40, 3, fp * 40, 3));
    double lip = smooth_step(0.0, 0.14, fb), side = smooth_step(0, 0.06 + fp / w, lesser(fa, 1 - fa));
    surface->albedo = v_scale(c, mix(0.45, 1, lip) * mix(0.6, 1, side));
    surface->occlusion = mix(0.7, 1, lip);
}

/* A row of book spines or boxes on a shelf. */
void paint_books(const Material *m, const Hit *hit, Surface *surface)
{
    static const V3 covers[8] = {{0.22, 0.05, 0.04}, {0.05, 0.09, 0.16}, {0.07, 0.13, 0.07},
                                 {0.28, 0.20, 0.10}, {0.12, 0.07, 0.04}, {0.34, 0.30, 0.22},
                                 {0.18, 0.10, 0.14}, {0.06, 0.06, 0.07}};
    double a, b, at = 0, width = 0;
    paint_face_metres(hit, &a, &b);
    uint32_t id = solid_seed(m, hit), book = 0;
    for (a += 20; at + width <= a - floor(a / 0.5) * 0.5 && book < 40; book++) {
        at += width;
        width = 0.018 + 0.030 * hash_unit(hash_cell((int)floor(a / 0.5), 3, id), book);
    }
    double x = a - floor(a / 0.5) * 0.5 - at;
    uint32_t h = hash_cell((int)floor(a / 0.5), (int)book, id);
    V3 c = v_scale(covers[h % 8], 0.8 + 0.5 * hash_unit(h, 2));
    double edge = lesser(x, greater(width - x, 0)),
           band = fabs(hit->v - 0.80) < 0.012 || fabs(hit->v - 0.70) < 0.006 || fabs(hit->v - 0.12) < 0.010;
    c = v_mix(c, v3(0.45, 0.33, 0.12), band * 0.6);
    double top = 0.80 + 0.20 * hash_unit(h, 5);
    surface->albedo =
        hit->v > top ? v3(0.012, 0.010, 0.008) : v_scale(c, smooth_step(-0.001, 0.005, edge) * 0.8 + 0.2);
    surface->gloss = 0.02;
    surface->blur = 0.2;
}

void paint_leaves(const Material *m, const Hit *hit, Surface *surface)
{
    V3 p = v_scale(hit->at, 14);
    double n1 = noise_sum(p.x + p.y, p.z - 0.7 * p.y, 4, hit->footprint * 14, m->seed);
    double n2 = noise_sum(p.z + p.y, p.x + 0.7 * p.y, 4, hit->footprint * 14, m->seed + 1);
    double n3 = noise_sum(p.x * 3 + p.y * 2, p.z * 3, 3, hit->footprint * 42, m->seed + 2);
    surface->albedo = v_scale(v_mix(m->mean, m->second, clamp(0.5 + n1 + 0.5 * n3, 0, 1)), 1 + 0.5 * n3);
    surface->normal = v_unit(v_add(hit->normal, v3(1.1 * n1, 0.9 * n2, 1.1 * n3)));
    surface->occlusion = clamp(0.65 + 0.7 * n2, 0.25, 1);
    surface->gloss = 0.012;
    surface->blur = 0.3;
}

/* Glazed wall tiles in a running bond. */
void paint_wall_tiles(const Material *m, const Hit *hit, Surface *surface)
{
    double a = hit->face / 2 == 0 ? hit->at.z : hit->at.x, b = hit->at.y, fp = hit->footprint;
    double h = m->size, w = 2 * h, row = floor(b / h), aa = a + (((int)row & 1) != 0 ? h : 0),
           column = floor(aa / w);
    uint32_t id = hash_cell((int)column, (int)row, m->seed);
    double e = lesser(lesser(aa - column * w, (column + 1) * w - aa), lesser(b - row * h, (row + 1) * h - b));
    double tile = smooth_step(0.0008, 0.0026 + fp, e);
    V3 c = v_scale(m->mean, 1 + 0.22 * (hash_unit(id, 1) - 0.5));
    surface->albedo = v_mix(v3(0.38, 0.36, 0.33), c, tile);
    V3 u, v;
    v_basis(hit->normal, &u, &v);
    V3 n = v_along(hit->normal, u, 0.02 * (hash_unit(id, 2) - 0.5) + 0.006 * noise_at(a * 20, b * 20, 5));
    surface->normal = v_unit(v_along(n, v, 0.02 * (hash_unit(id, 3) - 0.5)));
    surface->gloss = m->gloss * tile;
    surface->blur = m->blur;
}

static double text_ink(const char *text, double a, double b, double cap, double footprint)
{
    double d = letters_distance(text, a / cap + letters_width(text) / 2, b / cap) * cap, half = 0.075 * cap;
    return 1 - smooth_step(half - footprint / 2, half + footprint / 2, d);
}

static double motif_ink(int motif, double a, double b, double size, double fp)
{
    double x = a / size, y = b / size, soft = fp / size + 0.004;
    if (motif == 1) { /* a thimble: a tapered cup with a rim and rows of dots */
        double half = 0.30 - 0.13 * (y + 0.5), dome = hypot(x / 0.22, (y - 0.22) / 0.22);
        double cup = y < 0.22 ? greater(fabs(x) - half, -0.5 - y) : (dome - 1) * 0.2;
        double rim = greater(fabs(x) - 0.36, fabs(y + 0.46) - 0.05);
        double fx = x * 11 - floor(x * 11) - 0.5, fy = y * 11 - floor(y * 11) - 0.5;
        double dots = smooth_step(0.16, 0.22, hypot(fx, fy));
        return greater((1 - smooth_step(-soft, soft, cup)) * (y < -0.36 ? 1 : mix(0.25, 1, dots)),
                       1 - smooth_step(-soft, soft, rim));
    }
    if (motif == 2) { /* a rising sun */
        double r = hypot(x, y + 0.25), angle = atan2(y + 0.25, x), ray = 0.5 + 0.5 * cos(angle * 22);
        return y < -0.25 ? 0
                         : greater(1 - smooth_step(0.24, 0.24 + soft, r),
                                   r > 0.30 && r < 0.62 ? smooth_step(0.45, 0.6, ray) : 0);
    }
    if (motif == 3) /* bars */
        return fabs(x) < 0.4 && fabs(y) < 0.4 && sin(x * 34) > 0.1 ? 1 : 0;
    return 0;
}

void paint_poster(const Material *m, const Hit *hit, Surface *surface)
{
    const Poster *poster = m->detail;
    /* seen from in front, x grows to the right on faces -z and +x only */
    double a, b, fp = hit->footprint;
    paint_face_metres(hit, &a, &b);
    if (hit->face == 0 || hit->face == 5)
        a = -a;
    double size = m->size;
    V3 c = v_scale(poster->paper, 1 + 0.03 * noise_sum(a * 5, b * 5, 3, fp, m->seed));
    double cap = size * 0.13;
    if (poster->motif != 0)
        c = v_mix(c, poster->accent, motif_ink(poster->motif, a, b, size * 0.95, fp));
    if (poster->top != NULL)
        c = v_mix(c, poster->ink,
                  text_ink(poster->top, a, b - (poster->motif != 0 ? size * 0.58 : -cap / 2), cap, fp));
    if (poster->bottom != NULL)
        c = v_mix(c, poster->ink, text_ink(poster->bottom, a, b + size * 0.72, cap, fp));
    surface->albedo = c;
    surface->gloss = 0.02;
    surface->blur = 0.25;
}

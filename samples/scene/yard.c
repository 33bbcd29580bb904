/* The cobbled yard in sun: three wings of the house, a wall with a gate, a trough, tubs with trees, benches.
 */
#include "build.h"
#include "spots.h"

#include "noise.h"

typedef struct Palette {
    int ground, stone, pale, plinth, roof, door, frame, pane, iron, oak, leaf, pot, trunk, water, tin, brass;
} Palette;

static Palette mix_palette(World *w)
{
    Palette p;
    p.ground = world_material(
        w, (Material){.paint = paint_cobbles, .mean = {0.19, 0.175, 0.15}, .seed = 3301, .sun = w->sun});
    p.stone = world_material(w, (Material){.paint = paint_ashlar,
                                           .mean = {0.40, 0.335, 0.24},
                                           .second = {0.48, 0.41, 0.31},
                                           .size = 0.30,
                                           .seed = 331});
    p.pale = world_material(w, (Material){.paint = paint_plaster, .mean = {0.55, 0.50, 0.41}, .seed = 341});
    p.plinth = world_material(w, (Material){.paint = paint_ashlar,
                                            .mean = {0.27, 0.25, 0.22},
                                            .second = {0.32, 0.30, 0.26},
                                            .size = 0.34,
                                            .seed = 351});
    p.roof = world_material(
        w, (Material){
               .paint = paint_roof, .mean = {0.33, 0.135, 0.08}, .second = {0.25, 0.11, 0.075}, .seed = 361});
    p.door = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.045, 0.12, 0.13}, .gloss = 0.03, .blur = 0.05});
    p.frame = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.62, 0.60, 0.54}, .gloss = 0.02, .blur = 0.1});
    p.pane = world_material(w, (Material){.paint = paint_pane, .mean = {0.03, 0.03, 0.03}, .size = 1});
    p.iron = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.04, 0.042, 0.045}, .gloss = 0.05, .blur = 0.15});
    p.oak = world_material(
        w, (Material){
               .paint = paint_wood, .mean = {0.27, 0.185, 0.115}, .gloss = 0.012, .blur = 0.2, .seed = 371});
    p.leaf = world_material(w, (Material){.paint = paint_leaves,
                                          .mean = {0.035, 0.085, 0.018},
                                          .second = {0.10, 0.17, 0.035},
                                          .seed = 381});
    p.pot = world_material(w, (Material){.paint = paint_lacquer, .mean = {0.36, 0.15, 0.085}});
    p.trunk = world_material(w, (Material){.paint = paint_wood, .mean = {0.13, 0.10, 0.07}, .seed = 391});
    p.water = world_material(w, (Material){.paint = paint_pane, .mean = {0.02, 0.03, 0.03}, .size = -1});
    p.tin = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.30, 0.31, 0.32}, .gloss = 0.2, .blur = 0.12});
    p.brass = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.46, 0.32, 0.12}, .gloss = 0.3, .blur = 0.08});
    return p;
}

static const Poster board_print = {"THIMBLE",          "HOUSE", {0.06, 0.13, 0.15}, {0.78, 0.70, 0.48},
                                   {0.78, 0.62, 0.30}, 1};

/* One wing: two floors of windows, a plinth, sills, eaves and a roof. Its roof rises away from the yard. */
static void wing(World *w, const Wall *wall, const Palette *p, const Opening *openings, int count,
                 const bool *is_door, double eaves)
{
    wall_raise(w, wall, openings, count, -1, 0);
    double a = wall->from;
    for (int i = 0; i <= count; i++) { /* plinth between doors */
        bool breaks = i == count || is_door[i];
        if (!breaks)
            continue;
        double stop = i == count ? wall->to : openings[i].from - 0.11;
        wall_box(w, wall, p->plinth, a, stop, 0, 0.52, 0, 0.05);
        a = i == count ? stop : openings[i].to + 0.11;
    }
    for (int i = 0; i < count; i++) {
        if (is_door[i]) {
            build_door(w, wall, openings[i], p->door, p->frame, p->brass,
                       openings[i].to - openings[i].from > 1.4);
            wall_box(w, wall, p->plinth, openings[i].from - 0.2, openings[i].to + 0.2, 0, 0.055, -0.2, 0.38);
        } else {
            build_window(w, wall, openings[i], p->pane, p->frame, 2, 4, v3(0, 0, 0));
            wall_box(w, wall, p->plinth, openings[i].from - 0.12, openings[i].to + 0.12, openings[i].high,
                     openings[i].high + 0.22, 0, 0.02);
        }
        if (openings[i].high < 2.9) { /* the upper floor's windows are set on the wall */
            Opening up = {openings[i].from, openings[i].to, 3.55, 5.0};
            double m = (up.from + up.to) / 2;
            up.from = m - 0.5;
            up.to = m + 0.5;
            wall_box(w, wall, p->plinth, up.from - 0.11, up.to + 0.11, up.low - 0.10, up.high + 0.14, 0,
                     0.03);
            wall_box(w, wall, p->pane, up.from, up.to, up.low, up.high, 0.025, 0.034);
            wall_box(w, wall, p->frame, up.from, up.from + 0.05, up.low, up.high, 0.03, 0.05);
            wall_box(w, wall, p->frame, up.to - 0.05, up.to, up.low, up.high, 0.03, 0.05);
            wall_box(w, wall, p->frame, m - 0.03, m + 0.03, up.low, up.high, 0.03, 0.048);
            wall_box(w, wall, p->frame, up.from, up.to, up.low, up.low + 0.05, 0.03, 0.05);
            wall_box(w, wall, p->frame, up.from, up.to, up.high - 0.05, up.high, 0.03, 0.05);
            for (int k = 1; k < 3; k++) {
                double y = mix(up.low, up.high, k / 3.0);
                wall_box(w, wall, p->frame, up.from, up.to, y - 0.015, y + 0.015, 0.03, 0.045);
            }
        }
    }
    wall_box(w, wall, p->frame, wall->from, wall->to, eaves - 0.16, eaves, 0, 0.22);
    wall_box(w, wall, p->tin, wall->from, wall->to, eaves, eaves + 0.10, 0.20, 0.32);
    double middle = (wall->from + wall->to) / 2, half = (wall->to - wall->from) / 2, run = 2.6;
    V3 centre = wall_point(wall, middle, eaves + 0.02 + run * sin(0.66), 0.28 - run * cos(0.66));
    double yaw = wall->along_x ? (wall->side > 0 ? PI : 0) : (wall->side > 0 ? -PI / 2 : PI / 2);
    world_turned_box(w, p->roof, centre, v3(half + 0.3, 0.06, run), yaw, 0.66);
}

static void tree(World *w, const Palette *p, V3 at, uint32_t seed)
{
    world_cylinder(w, p->pot, at, 0.31, 0.46);
    world_cylinder(w, p->pot, v3(at.x, 0.46, at.z), 0.345, 0.06);
    world_cylinder(w, p->trunk, v3(at.x, 0.5, at.z), 0.038, 1.0);
    for (uint32_t i = 0; i < 34; i++) {
        double up = 1 - 2 * (i + 0.5) / 34, a = i * 2.39996, r = sqrt(1 - up * up), reach = 0.44;
        double size = 0.15 + 0.07 * hash_unit(seed, i);
        world_ball(w, p->leaf, v3(at.x + reach * r * cos(a), 1.86 + reach * up, at.z + reach * r * sin(a)),
                   size);
    }
    world_ball(w, p->leaf, v3(at.x, 1.86, at.z), 0.42);
}

static void trough(World *w, const Palette *p, V3 at)
{
    double x = 0.95, z = 0.36, h = 0.58;
    world_box(w, p->plinth, v3(at.x - x, 0, at.z - z), v3(at.x + x, h, at.z - z + 0.11));
    world_box(w, p->plinth, v3(at.x - x, 0, at.z + z - 0.11), v3(at.x + x, h, at.z + z));
    world_box(w, p->plinth, v3(at.x - x, 0, at.z - z), v3(at.x - x + 0.11, h, at.z + z));
    world_box(w, p->plinth, v3(at.x + x - 0.11, 0, at.z - z), v3(at.x + x, h, at.z + z));
    world_box(w, p->water, v3(at.x - x + 0.1, 0.1, at.z - z + 0.1), v3(at.x + x - 0.1, 0.49, at.z + z - 0.1));
    world_cylinder(w, p->iron, v3(at.x, 0, at.z - z - 0.16), 0.07, 1.05);
    world_ball(w, p->iron, v3(at.x, 1.08, at.z - z - 0.16), 0.085);
    world_box(w, p->iron, v3(at.x - 0.022, 0.82, at.z - z - 0.16), v3(at.x + 0.022, 0.86, at.z - z + 0.24));
}

static void lamp_post(World *w, const Palette *p, double x, double z)
{
    world_box(w, p->plinth, v3(x - 0.15, 0, z - 0.15), v3(x + 0.15, 0.3, z + 0.15));
    world_cylinder(w, p->iron, v3(x, 0.3, z), 0.075, 0.5);
    world_cylinder(w, p->iron, v3(x, 0.8, z), 0.042, 2.25);
    world_box(w, p->frame, v3(x - 0.11, 3.05, z - 0.11), v3(x + 0.11, 3.38, z + 0.11));
    world_turned_box(w, p->iron, v3(x, 3.42, z), v3(0.17, 0.03, 0.17), 0, 0);
    world_ball(w, p->iron, v3(x, 3.50, z), 0.05);
}

static void furnish(World *w, const Palette *p)
{
    trough(w, p, v3(2.7, 0, -3.1));
    tree(w, p, v3(-4.55, 0, 3.9), 5);
    tree(w, p, v3(2.6, 0, 6.6), 6);
    tree(w, p, v3(-1.2, 0, 6.6), 7);
    tree(w, p, v3(5.35, 0, -2.2), 8);
    build_bench(w, p->oak, p->iron, v3(-5.35, 0, 0.9), 1.8, PI / 2);
    build_bench(w, p->oak, p->iron, v3(5.55, 0, 1.6), 1.8, -PI / 2);
    lamp_post(w, p, 4.2, 4.9);
    for (int i = 0; i < 3; i++) /* barrels by the wall */
        world_cylinder(w, p->oak, v3(-5.0 + 0.72 * i, 0, -5.2 + 0.1 * i), 0.30, 0.85);
    for (int i = 0; i < 6; i++)
        world_cylinder(w, p->iron, v3(-5.0 + 0.72 * (i / 2), 0.14 + 0.5 * (i % 2), -5.2 + 0.1 * (i / 2)),
                       0.306, 0.04);
    for (int i = 0; i < 4; i++) { /* downpipes */
        world_cylinder(w, p->tin, v3(i < 2 ? -6.1 : 6.1, 0, i % 2 ? 6.9 : -5.6), 0.05, 5.9);
    }
    world_box(w, p->oak, v3(-0.2, 0, -5.6), v3(0.9, 0.55, -5.0)); /* a chest with a cart wheel's hub by it */
    world_box(w, p->tin, v3(3.9, 0, -5.4), v3(4.5, 0.42, -5.0));
}

/* The side of the gate: a garden wall with two piers. */
static void gate_side(World *w, const Palette *p, double z, double x0, double x1)
{
    Wall low = {true, z, 1, x0, x1, 2.35, 0.35, p->stone};
    Opening gate[1] = {{1.1, 3.5, 0, 2.35}};
    wall_raise(w, &low, gate, 1, -1, 0);
    wall_box(w, &low, p->plinth, x0, 1.1, 2.35, 2.45, -0.42, 0.07);
    wall_box(w, &low, p->plinth, 3.5, x1, 2.35, 2.45, -0.42, 0.07);
    for (int i = 0; i < 2; i++) {
        double x = i == 0 ? 0.85 : 3.75;
        wall_box(w, &low, p->plinth, x - 0.27, x + 0.27, 0, 2.95, -0.45, 0.10);
        wall_box(w, &low, p->pale, x - 0.33, x + 0.33, 2.95, 3.07, -0.51, 0.16);
        world_ball(w, p->pale, wall_point(&low, x, 3.27, -0.17), 0.21);
    }
    for (int i = 0; i < 21; i++) {
        double x = 1.18 + i * 0.112;
        world_cylinder(w, p->iron, wall_point(&low, x, 0.06, -0.17), 0.011,
                       1.95 + 0.25 * cos((x - 2.3) * 1.2));
    }
    wall_box(w, &low, p->iron, 1.12, 3.48, 0.22, 0.26, -0.19, -0.15);
    wall_box(w, &low, p->iron, 1.12, 3.48, 1.75, 1.79, -0.19, -0.15);
    for (uint32_t i = 0; i < 90; i++) { /* trees behind the wall */
        double x = -16 + 33 * hash_unit(17, i), y = 1.6 + 3.0 * hash_unit(18, i),
               r = 0.8 + 1.1 * hash_unit(19, i);
        world_ball(w, p->leaf, v3(x, y, z - 8 - 5 * hash_unit(20, i)), r);
    }
}

void yard_build(World *w)
{
    Palette p = mix_palette(w);
    double x0 = -6.3, x1 = 6.3, z0 = -6.2, z1 = 7.4;
    int ground = world_box(w, p.ground, v3(x0, -0.3, z0), v3(x1, 0, z1));
    w->solids[ground].texel = 0.10;
    w->solids[world_box(w, p.ground, v3(-26, -0.3, -26), v3(26, -0.002, z0))].texel = 0.8;
    Wall left = {false, x0, 1, z0, z1, 6.0, 0.4, p.stone}, right = {false, x1, -1, z0, z1, 6.0, 0.4, p.pale};
    Wall front = {true, z1, -1, x0, x1, 6.0, 0.4, p.stone};
    Opening left_openings[4] = {
        {-4.6, -3.5, 0.95, 2.5}, {-1.7, -0.6, 0.95, 2.5}, {2.2, 3.3, 0.95, 2.5}, {5.2, 6.2, 0, 2.2}};
    Opening right_openings[4] = {
        {-4.4, -3.3, 0.95, 2.5}, {-0.6, 0.5, 0.95, 2.5}, {2.9, 4.5, 0, 2.4}, {5.6, 6.6, 0.95, 2.5}};
    Opening front_openings[3] = {{-4.3, -3.2, 0.95, 2.5}, {-0.15, 1.65, 0, 2.5}, {4.0, 5.1, 0.95, 2.5}};
    wing(w, &left, &p, left_openings, 4, (const bool[]){false, false, false, true}, 6.0);
    wing(w, &right, &p, right_openings, 4, (const bool[]){false, false, true, false}, 6.0);
    wing(w, &front, &p, front_openings, 3, (const bool[]){false, true, false}, 6.0);
    gate_side(w, &p, z0, x0, x1);
    int board = world_material(w, (Material){.paint = paint_poster,
                                             .mean = board_print.paper,
                                             .size = 0.62,
                                             .seed = 401,
                                             .detail = &board_print});
    build_poster(w, &front, 2.75, 1.75, 0.72, 1.02, board, p.brass);
    furnish(w, &p);
    w->ambient = v3(0.25, 0.24, 0.22);
    w->exposure = 0.58;
}

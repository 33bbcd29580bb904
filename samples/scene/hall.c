/* The ticket hall: tiled floor, glazed dado, tall windows, counter, columns. */
#include "build.h"
#include "spots.h"

typedef struct Palette {
    int floor, wall, dado, rail, ceiling, beam, oak, dark, frame, brass, iron, green, pane, lamp, shade,
        cloth;
} Palette;

static Palette mix_palette(World *w)
{
    Palette p;
    p.floor = world_material(w, (Material){.paint = paint_tiles,
                                           .mean = {0.50, 0.455, 0.375},
                                           .gloss = 0.019,
                                           .second = {0.40, 0.365, 0.305},
                                           .blur = 0.03,
                                           .seed = 1201});
    p.wall = world_material(w, (Material){.paint = paint_plaster, .mean = {0.66, 0.60, 0.47}, .seed = 31});
    p.dado = world_material(w, (Material){.paint = paint_wall_tiles,
                                          .mean = {0.075, 0.19, 0.145},
                                          .size = 0.075,
                                          .gloss = 0.045,
                                          .blur = 0.01,
                                          .seed = 41});
    p.rail = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.035, 0.075, 0.06}, .gloss = 0.04, .blur = 0.02});
    p.ceiling = world_material(w, (Material){.paint = paint_plaster, .mean = {0.74, 0.71, 0.64}, .seed = 51});
    p.beam = world_material(w, (Material){.paint = paint_wood, .mean = {0.17, 0.105, 0.06}, .seed = 61});
    p.oak = world_material(
        w, (Material){
               .paint = paint_wood, .mean = {0.30, 0.175, 0.085}, .gloss = 0.03, .blur = 0.05, .seed = 71});
    p.dark = world_material(
        w, (Material){
               .paint = paint_wood, .mean = {0.135, 0.068, 0.034}, .gloss = 0.035, .blur = 0.04, .seed = 81});
    p.frame = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.70, 0.68, 0.61}, .gloss = 0.03, .blur = 0.06});
    p.brass = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.46, 0.32, 0.12}, .gloss = 0.4, .blur = 0.06});
    p.iron = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.05, 0.05, 0.055}, .gloss = 0.06, .blur = 0.15});
    p.green = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.06, 0.14, 0.11}, .gloss = 0.04, .blur = 0.03});
    p.pane = world_material(w, (Material){.paint = paint_window, .emission = {4.2, 4.5, 4.9}, .seed = 3});
    p.lamp = world_material(w, (Material){.paint = paint_glow, .emission = {9, 7.6, 5.6}});
    p.shade = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.05, 0.12, 0.10}, .gloss = 0.04, .blur = 0.05});
    p.cloth = world_material(w, (Material){.paint = paint_lacquer, .mean = {0.32, 0.05, 0.05}});
    return p;
}

static const Poster prints[4] = {
    {"TICKETS", NULL, {0.06, 0.15, 0.12}, {0.75, 0.62, 0.34}, {0, 0, 0}, 0},
    {"THIMBLE", "HOUSE", {0.70, 0.62, 0.46}, {0.10, 0.08, 0.07}, {0.45, 0.12, 0.08}, 1},
    {"SUMMER", "OPEN", {0.16, 0.26, 0.34}, {0.80, 0.74, 0.60}, {0.78, 0.45, 0.14}, 2},
    {"THREADS", "AND YARN", {0.55, 0.24, 0.18}, {0.85, 0.80, 0.68}, {0.85, 0.74, 0.46}, 3},
};

static int print_material(World *w, int index, double size)
{
    return world_material(w, (Material){.paint = paint_poster,
                                        .mean = prints[index].paper,
                                        .size = size,
                                        .seed = 90u + (uint32_t)index,
                                        .detail = &prints[index]});
}

/* Glazed dado with a moulding, between the openings that reach the floor. */
static void dado(World *w, const Wall *wall, const Palette *p, double a0, double a1)
{
    wall_box(w, wall, p->dado, a0, a1, 0.14, 1.20, 0, 0.012);
    wall_box(w, wall, p->rail, a0, a1, 1.20, 1.25, 0, 0.035);
    wall_box(w, wall, p->rail, a0, a1, 0, 0.14, 0, 0.022);
}

static void pilaster(World *w, const Wall *wall, const Palette *p, double a)
{
    wall_box(w, wall, p->wall, a - 0.19, a + 0.19, 0, wall->height, 0, 0.12);
    wall_box(w, wall, p->rail, a - 0.21, a + 0.21, 0, 0.24, 0, 0.14);
    wall_box(w, wall, p->frame, a - 0.23, a + 0.23, wall->height - 0.42, wall->height - 0.30, 0, 0.16);
}

static void counter(World *w, const Wall *back, const Palette *p)
{
    double a0 = -2.35, a1 = 2.75, d0 = 1.25, d1 = 1.85, h = 1.06;
    wall_box(w, back, p->dark, a0, a1, 0.06, h, d0, d1);
    wall_box(w, back, p->iron, a0 + 0.05, a1 - 0.05, 0, 0.06, d0 + 0.05, d1 - 0.06);
    wall_box(w, back, p->oak, a0 - 0.06, a1 + 0.06, h, h + 0.045, d0 - 0.05, d1 + 0.07);
    for (int i = 0; i < 6; i++) { /* panels on the public side */
        double a = a0 + 0.06 + i * 0.84;
        wall_box(w, back, p->oak, a + 0.03, a + 0.75, 0.20, h - 0.10, d1, d1 + 0.012);
        wall_box(w, back, p->dark, a + 0.10, a + 0.68, 0.27, h - 0.17, d1 + 0.012, d1 + 0.022);
    }
    for (int i = 0; i < 4; i++) { /* brass posts and a rail: the screen */
        double a = a0 + 0.2 + i * 1.56;
        world_cylinder(w, p->brass, wall_point(back, a, h + 0.045, d0 + 0.18), 0.016, 0.78);
    }
    wall_box(w, back, p->brass, a0 + 0.18, a1 - 0.2, h + 0.80, h + 0.835, d0 + 0.165, d0 + 0.195);
    wall_box(w, back, p->iron, -0.9, -0.45, h + 0.045, h + 0.33, d0 + 0.10, d0 + 0.42); /* till */
    wall_box(w, back, p->brass, -0.87, -0.48, h + 0.33, h + 0.40, d0 + 0.13, d0 + 0.30);
    wall_box(w, back, p->cloth, 0.7, 1.1, h + 0.045, h + 0.09, d0 + 0.2, d0 + 0.48);
    wall_box(w, back, p->frame, 1.25, 1.55, h + 0.045, h + 0.07, d0 + 0.22, d0 + 0.44);
}

static void showcase(World *w, const Palette *p, V3 at, double wide, double deep)
{
    double x = wide / 2, z = deep / 2;
    world_box(w, p->dark, v3(at.x - x, 0.05, at.z - z), v3(at.x + x, 0.78, at.z + z));
    world_box(w, p->iron, v3(at.x - x + 0.04, 0, at.z - z + 0.04),
              v3(at.x + x - 0.04, 0.05, at.z + z - 0.04));
    world_box(w, p->cloth, v3(at.x - x + 0.03, 0.78, at.z - z + 0.03),
              v3(at.x + x - 0.03, 0.80, at.z + z - 0.03));
    for (int i = 0; i < 4; i++) {
        double cx = at.x + (i & 1 ? 1 : -1) * (x - 0.02), cz = at.z + (i & 2 ? 1 : -1) * (z - 0.02);
        world_box(w, p->brass, v3(cx - 0.014, 0.78, cz - 0.014), v3(cx + 0.014, 1.16, cz + 0.014));
    }
    for (int i = -1; i <= 1; i += 2) {
        world_box(w, p->brass, v3(at.x - x, 1.16, at.z + i * (z - 0.02) - 0.014),
                  v3(at.x + x, 1.186, at.z + i * (z - 0.02) + 0.014));
        world_box(w, p->brass, v3(at.x + i * (x - 0.02) - 0.014, 1.16, at.z - z),
                  v3(at.x + i * (x - 0.02) + 0.014, 1.186, at.z + z));
    }
    for (int i = 0; i < 7; i++) { /* thimbles on little stands */
        double tx = at.x - x + 0.14 + (wide - 0.28) * i / 6;
        world_cylinder(w, p->dark, v3(tx, 0.80, at.z + 0.06 * (i % 3 - 1)), 0.035, 0.03 + 0.03 * (i % 2));
        world_cylinder(w, i % 2 ? p->brass : p->frame,
                       v3(tx, 0.83 + 0.03 * (i % 2), at.z + 0.06 * (i % 3 - 1)), 0.020, 0.055);
    }
}

static void column(World *w, const Palette *p, double x, double z, double high)
{
    world_box(w, p->rail, v3(x - 0.19, 0, z - 0.19), v3(x + 0.19, 0.16, z + 0.19));
    world_cylinder(w, p->rail, v3(x, 0.16, z), 0.165, 0.07);
    world_cylinder(w, p->green, v3(x, 0.23, z), 0.115, high - 0.55);
    world_cylinder(w, p->brass, v3(x, high - 0.36, z), 0.135, 0.04);
    world_cylinder(w, p->rail, v3(x, high - 0.32, z), 0.17, 0.10);
    world_box(w, p->rail, v3(x - 0.2, high - 0.22, z - 0.2), v3(x + 0.2, high, z + 0.2));
}

static void furnish(World *w, const Palette *p)
{
    showcase(w, p, v3(-3.05, 0, -1.9), 0.72, 1.5);
    showcase(w, p, v3(3.35, 0, 1.35), 0.72, 1.5);
    build_bench(w, p->oak, p->iron, v3(4.62, 0, -1.35), 1.9, -PI / 2);
    build_bench(w, p->oak, p->iron, v3(-3.98, 0, 2.2), 1.7, PI / 2);
    for (int i = 0; i < 3; i++) { /* posts with a rope, for the queue */
        V3 at = v3(-1.2 + 1.25 * i, 0, 2.65);
        world_cylinder(w, p->brass, at, 0.15, 0.022);
        world_cylinder(w, p->brass, v3(at.x, 0.022, at.z), 0.021, 0.93);
        world_ball(w, p->brass, v3(at.x, 0.985, at.z), 0.038);
        for (int k = 0; i < 2 && k < 26; k++) {
            double t = (k + 0.5) / 26, sag = 0.24 * 4 * t * (1 - t);
            world_ball(w, p->cloth, v3(at.x + 1.25 * t, 0.88 - sag, at.z), 0.030);
        }
    }
    for (int i = 0; i < 6; i++) { /* a coat stand */
        double a = i * PI / 3;
        world_turned_box(w, p->dark, v3(-3.9 + 0.10 * cos(a), 1.68, -4.9 + 0.10 * sin(a)),
                         v3(0.11, 0.012, 0.012), -a, 0);
    }
    world_cylinder(w, p->dark, v3(-3.9, 0, -4.9), 0.022, 1.85);
    world_cylinder(w, p->dark, v3(-3.9, 0, -4.9), 0.22, 0.04);
}

static void raise_walls(World *w, const Palette *p, double x0, double x1, double z0, double z1, double high)
{
    Wall left = {false, x0, 1, z0, z1, high, 0.35, p->wall},
         right = {false, x1, -1, z0, z1, high, 0.35, p->wall};
    Wall front = {true, z1, -1, x0, x1, high, 0.35, p->wall},
         back = {true, z0, 1, x0, x1, high, 0.35, p->wall};
    Opening windows[3] = {{-4.0, -2.6, 1.35, 3.55}, {-0.55, 0.85, 1.35, 3.55}, {2.9, 4.3, 1.35, 3.55}};
    Opening doors[1] = {{-1.05, 0.95, 0, 2.55}}, side_door[1] = {{2.6, 3.6, 0, 2.2}};
    wall_raise(w, &left, windows, 3, -1, 0);
    wall_raise(w, &right, side_door, 1, -1, 0);
    wall_raise(w, &front, NULL, 0, -1, 0);
    wall_raise(w, &back, doors, 1, -1, 0);
    for (int i = 0; i < 3; i++)
        build_window(w, &left, windows[i], p->pane, p->frame, 3, 5, v3(3.3, 3.6, 4.0));
    build_door(w, &back, doors[0], p->green, p->frame, p->brass, true);
    build_door(w, &right, side_door[0], p->green, p->frame, p->brass, false);
    dado(w, &left, p, z0, z1);
    dado(w, &front, p, x0, x1);
    dado(w, &back, p, x0, -1.16);
    dado(w, &back, p, 1.06, x1);
    dado(w, &right, p, z0, 2.49);
    dado(w, &right, p, 3.71, z1);
    for (int i = 0; i < 4; i++) {
        pilaster(w, &left, p, z0 + 0.5 + i * (z1 - z0 - 1.0) / 3);
        pilaster(w, &right, p, z0 + 0.5 + i * (z1 - z0 - 1.0) / 3);
    }
    counter(w, &front, p);
    build_poster(w, &front, 0.2, 2.75, 3.2, 0.62, print_material(w, 0, 2.6), p->brass);
    for (int i = 0; i < 3; i++)
        build_poster(w, &right, -3.4 + 1.75 * i, 2.05, 0.86, 1.22, print_material(w, 1 + i, 0.80), p->dark);
    build_shelves(w, &front, -3.9, -2.6, 2.3, 5, p->dark, p->oak, (const int[]){p->cloth, p->green, p->frame},
                  3);
    build_shelves(w, &front, 3.2, 4.7, 2.3, 5, p->dark, p->oak, (const int[]){p->cloth, p->green, p->frame},
                  3);
}

void hall_build(World *w)
{
    /* walls stand on joints of the floor's pattern */
    double x0 = -4.41, x1 = 5.19, z0 = -5.77, z1 = 6.23, high = 4.1;
    Palette p = mix_palette(w);
    int floor = world_box(w, p.floor, v3(x0, -0.2, z0), v3(x1, 0, z1));
    w->solids[floor].texel = 0.055;
    world_box(w, p.ceiling, v3(x0, high, z0), v3(x1, high + 0.2, z1));
    raise_walls(w, &p, x0, x1, z0, z1, high);
    for (int i = 0; i < 5; i++) {
        double z = z0 + (z1 - z0) * (i + 0.5) / 5;
        world_box(w, p.beam, v3(x0, high - 0.24, z - 0.11), v3(x1, high, z + 0.11));
    }
    column(w, &p, -2.35, 3.6, high - 0.24);
    column(w, &p, 2.75, 3.6, high - 0.24);
    column(w, &p, -2.35, -3.6, high - 0.24);
    column(w, &p, 2.75, -3.6, high - 0.24);
    furnish(w, &p);
    for (int i = 0; i < 3; i++)
        build_pendant(w, p.shade, p.lamp, v3(0.4, 2.95, -4.1 + 4.6 * i), high, 0.26, v3(17, 13.6, 9.6));
    w->ambient = v3(0.22, 0.20, 0.17);
    w->exposure = 1.45;
}

/* The restorer's workshop: plank floor, workbenches, shelves, roof beams, two lamps and windows to the north.
 */
#include "build.h"
#include "spots.h"

#include "noise.h"

typedef struct Palette {
    int floor, wall, brick, skirting, ceiling, beam, bench, pine, dark, frame, iron, steel, pane, lamp, shade,
        red, blue, canvas;
} Palette;

static Palette mix_palette(World *w)
{
    Palette p;
    p.floor = world_material(w, (Material){.paint = paint_planks,
                                           .mean = {0.36, 0.225, 0.125},
                                           .gloss = 0.007,
                                           .second = {0.28, 0.165, 0.085},
                                           .blur = 0.12,
                                           .seed = 2201});
    p.wall = world_material(w, (Material){.paint = paint_plaster, .mean = {0.60, 0.60, 0.55}, .seed = 131});
    p.brick = world_material(
        w, (Material){.paint = paint_wall_tiles, .mean = {0.34, 0.13, 0.085}, .size = 0.115, .seed = 141});
    p.skirting = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.16, 0.20, 0.20}, .gloss = 0.03, .blur = 0.08});
    p.ceiling = world_material(
        w, (Material){.paint = paint_wood, .mean = {0.50, 0.40, 0.29}, .second = {0.16, 0, 0}, .seed = 151});
    p.beam = world_material(w, (Material){.paint = paint_wood, .mean = {0.20, 0.125, 0.07}, .seed = 161});
    p.bench = world_material(w, (Material){.paint = paint_wood,
                                           .mean = {0.38, 0.245, 0.13},
                                           .second = {0.11, 0, 0},
                                           .gloss = 0.015,
                                           .blur = 0.15,
                                           .seed = 171});
    p.pine = world_material(
        w, (Material){
               .paint = paint_wood, .mean = {0.52, 0.36, 0.20}, .gloss = 0.015, .blur = 0.15, .seed = 181});
    p.dark = world_material(
        w, (Material){
               .paint = paint_wood, .mean = {0.14, 0.08, 0.045}, .gloss = 0.03, .blur = 0.05, .seed = 191});
    p.frame = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.20, 0.28, 0.29}, .gloss = 0.03, .blur = 0.06});
    p.iron = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.045, 0.045, 0.05}, .gloss = 0.06, .blur = 0.15});
    p.steel = world_material(
        w, (Material){.paint = paint_metal, .mean = {0.30, 0.31, 0.32}, .gloss = 0.3, .blur = 0.10});
    p.pane = world_material(w, (Material){.paint = paint_window, .emission = {4.0, 4.4, 5.0}, .seed = 13});
    p.lamp = world_material(w, (Material){.paint = paint_glow, .emission = {9, 7.4, 5.2}});
    p.shade = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.05, 0.10, 0.13}, .gloss = 0.04, .blur = 0.05});
    p.red = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.33, 0.055, 0.04}, .gloss = 0.04, .blur = 0.05});
    p.blue = world_material(
        w, (Material){.paint = paint_lacquer, .mean = {0.06, 0.13, 0.22}, .gloss = 0.03, .blur = 0.08});
    p.canvas = world_material(w, (Material){.paint = paint_plaster, .mean = {0.56, 0.50, 0.38}, .seed = 211});
    return p;
}

static const Poster plan_print = {"PATTERN",          NULL, {0.10, 0.17, 0.28}, {0.72, 0.76, 0.78},
                                  {0.62, 0.68, 0.72}, 1};
static const Poster chart_print = {"YARN CHART",       NULL, {0.66, 0.60, 0.48}, {0.12, 0.10, 0.09},
                                   {0.30, 0.22, 0.14}, 3};

/* Tools hang on a board: handles and blades of several lengths. */
static void tool_board(World *w, const Wall *wall, const Palette *p, double a0, double a1, double y)
{
    wall_box(w, wall, p->pine, a0, a1, y, y + 0.85, 0, 0.02);
    for (int i = 0; a0 + 0.12 + 0.115 * i < a1 - 0.05; i++) {
        double a = a0 + 0.10 + 0.115 * i, long_ = 0.16 + 0.32 * hash_unit(hash_cell(i, 1, 5), 1);
        int handle = i % 3 == 0 ? p->red : i % 3 == 1 ? p->dark : p->bench;
        wall_box(w, wall, p->iron, a - 0.008, a + 0.008, y + 0.74, y + 0.755, 0.02, 0.05);
        wall_box(w, wall, handle, a - 0.013, a + 0.013, y + 0.60, y + 0.745, 0.025, 0.05);
        wall_box(w, wall, p->steel, a - 0.018 - 0.008 * (i % 2), a + 0.018 + 0.008 * (i % 2),
                 y + 0.60 - long_, y + 0.60, 0.03, 0.042);
    }
}

static void workbench(World *w, const Palette *p, V3 at, double wide, double yaw)
{
    build_table(w, p->bench, at, wide, 0.75, 0.90, yaw);
    double c = cos(yaw), s = sin(yaw);
    static const struct {
        double x, z, h, half_x, half_z;
        int kind;
    } things[] = {{-0.60, 0.05, 0.10, 0.14, 0.10, 0},
                  {-0.25, -0.15, 0.22, 0.09, 0.09, 1},
                  {0.12, 0.1, 0.03, 0.22, 0.15, 2},
                  {0.52, -0.1, 0.16, 0.12, 0.14, 3},
                  {0.75, 0.12, 0.06, 0.06, 0.16, 4}};
    const int paints[] = {p->red, p->steel, p->canvas, p->blue, p->dark};
    for (size_t i = 0; i < sizeof things / sizeof *things; i++) {
        double x = things[i].x * wide / 2, z = things[i].z;
        V3 middle = v3(at.x + c * x + s * z, 0.90 + things[i].h / 2, at.z + c * z - s * x);
        world_turned_box(w, paints[things[i].kind], middle,
                         v3(things[i].half_x, things[i].h / 2, things[i].half_z), yaw + 0.3 * (double)i, 0);
    }
}

static void easel(World *w, const Palette *p, V3 at, double yaw)
{
    double c = cos(yaw), s = sin(yaw);
    for (int i = -1; i <= 1; i += 2)
        world_turned_box(w, p->pine, v3(at.x + i * 0.25 * c, 0.85, at.z - i * 0.25 * s),
                         v3(0.022, 0.86, 0.018), yaw, -0.12);
    world_turned_box(w, p->pine, v3(at.x + 0.35 * s, 0.80, at.z + 0.35 * c), v3(0.02, 0.84, 0.015), yaw,
                     0.32);
    world_turned_box(w, p->pine, v3(at.x - 0.03 * s, 0.72, at.z - 0.03 * c), v3(0.34, 0.02, 0.05), yaw, 0);
    world_turned_box(w, p->canvas, v3(at.x - 0.01 * s, 1.16, at.z - 0.01 * c), v3(0.36, 0.43, 0.012), yaw,
                     -0.12);
}

static void stack_of_crates(World *w, const Palette *p, V3 at)
{
    for (int i = 0; i < 4; i++) {
        double y = 0.36 * (i / 2), x = at.x + 0.62 * (i % 2), yaw = 0.06 * (i - 1.5);
        V3 middle = v3(x, y + 0.18, at.z);
        for (int k = 0; k < 3; k++)
            world_turned_box(w, p->pine, v3(x, y + 0.065 + 0.115 * k, at.z), v3(0.28, 0.05, 0.20), yaw, 0);
        world_turned_box(w, p->dark, middle, v3(0.265, 0.165, 0.185), yaw, 0);
    }
}

static void raise_walls(World *w, const Palette *p, double x0, double x1, double z0, double z1, double high)
{
    Wall left = {false, x0, 1, z0, z1, high, 0.35, p->wall},
         right = {false, x1, -1, z0, z1, high, 0.35, p->brick};
    Wall front = {true, z1, -1, x0, x1, high, 0.35, p->wall},
         back = {true, z0, 1, x0, x1, high, 0.35, p->wall};
    Opening north[3] = {{-2.9, -1.3, 1.0, 2.65}, {-0.75, 0.85, 1.0, 2.65}, {1.4, 3.0, 1.0, 2.65}};
    Opening door[1] = {{-2.6, -1.6, 0, 2.1}}, small[1] = {{1.6, 2.6, 1.1, 2.3}};
    wall_raise(w, &front, north, 3, p->skirting, 0.16);
    wall_raise(w, &left, small, 1, p->skirting, 0.16);
    wall_raise(w, &right, NULL, 0, p->skirting, 0.16);
    wall_raise(w, &back, door, 1, p->skirting, 0.16);
    for (int i = 0; i < 3; i++)
        build_window(w, &front, north[i], p->pane, p->frame, 4, 4, v3(3.6, 4.0, 4.6));
    build_window(w, &left, small[0], p->pane, p->frame, 2, 3, v3(3.4, 3.8, 4.4));
    build_door(w, &back, door[0], p->frame, p->skirting, p->steel, false);
    tool_board(w, &left, p, -2.1, 0.9, 1.15);
    const int things[] = {p->red, p->blue, p->canvas, p->dark, p->pine};
    build_shelves(w, &right, -2.6, -0.6, 2.35, 5, p->pine, p->canvas, things, 5);
    build_shelves(w, &right, -0.5, 1.5, 2.35, 5, p->pine, p->dark, things, 5);
    build_shelves(w, &back, 0.9, 2.9, 2.1, 4, p->dark, p->blue, things, 5);
    int plan = world_material(w, (Material){.paint = paint_poster,
                                            .mean = plan_print.paper,
                                            .size = 0.72,
                                            .seed = 300,
                                            .detail = &plan_print});
    int chart = world_material(w, (Material){.paint = paint_poster,
                                             .mean = chart_print.paper,
                                             .size = 0.62,
                                             .seed = 301,
                                             .detail = &chart_print});
    build_poster(w, &back, -0.5, 1.65, 0.80, 1.10, plan, p->pine);
    build_poster(w, &right, 2.45, 1.65, 0.80, 0.95, chart, p->dark);
}

void workshop_build(World *w)
{
    double x0 = -3.6, x1 = 3.75, z0 = -3.5, z1 = 4.3, high = 3.3;
    Palette p = mix_palette(w);
    int floor = world_box(w, p.floor, v3(x0, -0.2, z0), v3(x1, 0, z1));
    w->solids[floor].texel = 0.05;
    world_box(w, p.ceiling, v3(x0, high, z0), v3(x1, high + 0.2, z1));
    raise_walls(w, &p, x0, x1, z0, z1, high);
    for (int i = 0; i < 4; i++) {
        double z = z0 + (z1 - z0) * (i + 0.5) / 4;
        world_box(w, p.beam, v3(x0, high - 0.26, z - 0.09), v3(x1, high, z + 0.09));
    }
    for (int i = 0; i < 2; i++) { /* posts with braces carry the middle beam */
        double x = i == 0 ? -2.35 : 2.55, z = z0 + (z1 - z0) * 2.5 / 4;
        world_box(w, p.beam, v3(x - 0.09, 0, z - 0.09), v3(x + 0.09, high - 0.26, z + 0.09));
        world_turned_box(w, p.beam, v3(x + (i ? -0.28 : 0.28), high - 0.52, z), v3(0.055, 0.055, 0.40),
                         PI / 2, i ? -0.78 : 0.78);
    }
    workbench(w, &p, v3(0.1, 0, 3.65), 3.6, 0);
    workbench(w, &p, v3(-2.95, 0, -0.6), 2.6, PI / 2);
    build_table(w, p.pine, v3(2.35, 0, 3.45), 1.1, 0.7, 0.78, 0.15);
    build_stool(w, p.dark, v3(-1.95, 0, -0.35), 0.62);
    build_stool(w, p.bench, v3(0.55, 0, 2.75), 0.62);
    easel(w, &p, v3(1.75, 0, -1.75), 2.2);
    stack_of_crates(w, &p, v3(-1.0, 0, -2.95));
    world_cylinder(w, p.dark, v3(3.2, 0, 2.05), 0.24, 0.62);
    world_cylinder(w, p.iron, v3(3.2, 0.15, 2.05), 0.246, 0.035);
    world_cylinder(w, p.iron, v3(3.2, 0.45, 2.05), 0.246, 0.035);
    build_pendant(w, p.shade, p.lamp, v3(-0.1, 2.25, 2.9), high, 0.22, v3(13, 10.4, 7.2));
    build_pendant(w, p.shade, p.lamp, v3(-2.4, 2.25, -0.8), high, 0.22, v3(13, 10.4, 7.2));
    build_pendant(w, p.shade, p.lamp, v3(1.3, 2.45, -1.1), high, 0.22, v3(11, 8.8, 6.2));
    w->ambient = v3(0.20, 0.19, 0.17);
    w->exposure = 2.1;
}

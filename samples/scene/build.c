/* Walls, windows, doors, lamps, furniture. */
#include "build.h"

#include "noise.h"

V3 wall_point(const Wall *wall, double a, double y, double d)
{
    double across = wall->at + wall->side * d;
    return wall->along_x ? v3(a, y, across) : v3(across, y, a);
}

int wall_box(World *world, const Wall *wall, int material, double a0, double a1, double y0, double y1,
             double d0, double d1)
{
    V3 p = wall_point(wall, a0, y0, d0), q = wall_point(wall, a1, y1, d1);
    V3 low = v3(lesser(p.x, q.x), lesser(p.y, q.y), lesser(p.z, q.z)),
       high = v3(greater(p.x, q.x), greater(p.y, q.y), greater(p.z, q.z));
    return world_box(world, material, low, high);
}

void wall_raise(World *world, const Wall *wall, const Opening *openings, int count, int skirting,
                double skirting_high)
{
    double a = wall->from, depth = -wall->thickness;
    for (int i = 0; i <= count; i++) {
        double stop = i < count ? openings[i].from : wall->to;
        if (stop - a > 1e-6)
            wall_box(world, wall, wall->material, a, stop, 0, wall->height, depth, 0);
        if (stop - a > 1e-6 && skirting >= 0)
            wall_box(world, wall, skirting, a, stop, 0, skirting_high, 0, 0.018);
        if (i == count)
            break;
        const Opening *o = &openings[i];
        if (o->low > 0)
            wall_box(world, wall, wall->material, o->from, o->to, 0, o->low, depth, 0);
        if (o->low > 0 && skirting >= 0)
            wall_box(world, wall, skirting, o->from, o->to, 0, skirting_high, 0, 0.018);
        if (o->high < wall->height)
            wall_box(world, wall, wall->material, o->from, o->to, o->high, wall->height, depth, 0);
        a = o->to;
    }
}

void build_window(World *world, const Wall *wall, Opening o, int pane, int frame, int bars_across,
                  int bars_up, V3 radiance)
{
    double in = -0.20, t = 0.045;
    wall_box(world, wall, pane, o.from, o.to, o.low, o.high, in - 0.02, in);
    wall_box(world, wall, frame, o.from, o.from + t, o.low, o.high, in, in + 0.06);
    wall_box(world, wall, frame, o.to - t, o.to, o.low, o.high, in, in + 0.06);
    wall_box(world, wall, frame, o.from, o.to, o.low, o.low + t, in, in + 0.06);
    wall_box(world, wall, frame, o.from, o.to, o.high - t, o.high, in, in + 0.06);
    for (int i = 1; i < bars_across; i++) {
        double a = mix(o.from, o.to, (double)i / bars_across);
        wall_box(world, wall, frame, a - 0.016, a + 0.016, o.low, o.high, in, in + 0.045);
    }
    for (int i = 1; i < bars_up; i++) {
        double y = mix(o.low, o.high, (double)i / bars_up);
        wall_box(world, wall, frame, o.from, o.to, y - 0.014, y + 0.014, in, in + 0.04);
    }
    wall_box(world, wall, frame, o.from - 0.06, o.to + 0.06, o.low - 0.035, o.low, in, 0.05);
    if (v_luminance(radiance) <= 0)
        return;
    V3 centre = wall_point(wall, (o.from + o.to) / 2, (o.low + o.high) / 2, in + 0.065);
    V3 half_a = v_scale(v_sub(wall_point(wall, o.to, 0, 0), wall_point(wall, o.from, 0, 0)), 0.5);
    V3 normal = v_sub(wall_point(wall, 0, 0, 1), wall_point(wall, 0, 0, 0));
    world_light(world, (Light){centre, half_a, v3(0, (o.high - o.low) / 2, 0), normal, radiance});
}

static void door_leaf(World *world, const Wall *wall, double a0, double a1, double high, int leaf, int handle,
                      bool handle_left)
{
    double w = a1 - a0;
    wall_box(world, wall, leaf, a0 + 0.004, a1 - 0.004, 0.008, high - 0.004, -0.14, -0.10);
    double bars[4] = {0.01, 0.32, 0.60, 1}; /* rails at these heights */
    for (int i = 0; i < 4; i++) {
        double y = bars[i] * (high - 0.12);
        wall_box(world, wall, leaf, a0 + 0.004, a1 - 0.004, y, y + 0.11, -0.10, -0.085);
    }
    wall_box(world, wall, leaf, a0 + 0.004, a0 + 0.11, 0.008, high - 0.004, -0.10, -0.084);
    wall_box(world, wall, leaf, a1 - 0.11, a1 - 0.004, 0.008, high - 0.004, -0.10, -0.084);
    for (int i = 0; i < 3; i++) {
        double y0 = bars[i] * (high - 0.12) + 0.15, y1 = bars[i + 1] * (high - 0.12) - 0.04;
        wall_box(world, wall, leaf, a0 + 0.15, a1 - 0.15, y0, y1, -0.10, -0.091);
    }
    double h = handle_left ? a0 + 0.06 : a1 - 0.06;
    wall_box(world, wall, handle, h - 0.018, h + 0.018, 0.95, 1.15, -0.084, -0.080);
    wall_box(world, wall, handle, handle_left ? h : h - w * 0.14, handle_left ? h + w * 0.14 : h, 1.06, 1.08,
             -0.055, -0.035);
}

void build_door(World *world, const Wall *wall, Opening o, int leaf, int frame, int handle, bool twin)
{
    double middle = (o.from + o.to) / 2;
    if (twin) {
        door_leaf(world, wall, o.from, middle, o.high, leaf, handle, false);
        door_leaf(world, wall, middle, o.to, o.high, leaf, handle, true);
    } else {
        door_leaf(world, wall, o.from, o.to, o.high, leaf, handle, true);
    }
    wall_box(world, wall, frame, o.from - 0.11, o.from, 0, o.high + 0.11, 0, 0.035);
    wall_box(world, wall, frame, o.to, o.to + 0.11, 0, o.high + 0.11, 0, 0.035);
    wall_box(world, wall, frame, o.from, o.to, o.high, o.high + 0.11, 0, 0.035);
    wall_box(world, wall, frame, o.from - 0.13, o.to + 0.13, o.high + 0.11, o.high + 0.15, 0, 0.055);
}

void build_poster(World *world, const Wall *wall, double a, double y, double wide, double high, int print,
                  int frame)
{
    double t = 0.03, a0 = a - wide / 2, a1 = a + wide / 2, y0 = y - high / 2, y1 = y + high / 2;
    wall_box(world, wall, print, a0, a1, y0, y1, 0, 0.012);
    wall_box(world, wall, frame, a0 - t, a0, y0 - t, y1 + t, 0, 0.028);
    wall_box(world, wall, frame, a1, a1 + t, y0 - t, y1 + t, 0, 0.028);
    wall_box(world, wall, frame, a0, a1, y0 - t, y0, 0, 0.028);
    wall_box(world, wall, frame, a0, a1, y1, y1 + t, 0, 0.028);
}

void build_shelves(World *world, const Wall *wall, double a0, double a1, double high, int boards, int wood,
                   int books, const int *things, int thing_count)
{
    double deep = 0.32, t = 0.022, pitch = (high - 0.10) / boards;
    wall_box(world, wall, wood, a0, a0 + t, 0, high, 0, deep);
    wall_box(world, wall, wood, a1 - t, a1, 0, high, 0, deep);
    wall_box(world, wall, wood, a0, a1, 0, high, 0, 0.012);
    for (int i = 0; i <= boards; i++)
        wall_box(world, wall, wood, a0, a1, 0.08 + i * pitch, 0.08 + i * pitch + t, 0, deep);
    wall_box(world, wall, wood, a0, a1, 0, 0.08, 0.02, deep - 0.03);
    for (int i = 0; i < boards; i++) {
        double y = 0.08 + i * pitch + t, a = a0 + t + 0.02;
        uint32_t h = hash_cell((int)(a0 * 100), i, 61);
        for (uint32_t k = 0; a < a1 - 0.25 && k < 12; k++) {
            double wide = 0.12 + 0.30 * hash_unit(h, 3 * k),
                   tall = (pitch - t) * (0.45 + 0.45 * hash_unit(h, 3 * k + 1));
            if (hash_unit(h, 3 * k + 2) < 0.45) {
                wide = lesser(0.5, a1 - t - a - 0.02);
                wall_box(world, wall, books, a, a + wide, y, y + (pitch - t) * 0.78, 0.03, deep - 0.06);
            } else if (thing_count > 0) {
                wide = lesser(wide, a1 - t - a - 0.02);
                wall_box(world, wall, things[(h + k) % (uint32_t)thing_count], a, a + wide, y, y + tall, 0.04,
                         deep - 0.05);
            }
            a += wide + 0.02 + 0.05 * hash_unit(h, 40 + k);
        }
    }
}

/* A box placed in the frame of something that stands at `at`, turned by yaw. */
static void part_box(World *world, int material, V3 at, double yaw, V3 low, V3 high)
{
    V3 middle = v_scale(v_add(low, high), 0.5), half = v_scale(v_sub(high, low), 0.5);
    double c = cos(yaw), s = sin(yaw);
    V3 turned = v3(c * middle.x + s * middle.z, middle.y, c * middle.z - s * middle.x);
    world_turned_box(world, material, v_add(at, turned), half, yaw, 0);
}

void build_bench(World *world, int wood, int iron, V3 at, double length, double yaw)
{
    double l = length / 2;
    for (int i = 0; i < 4; i++) {
        double z = -0.21 + i * 0.115;
        part_box(world, wood, at, yaw, v3(-l, 0.43, z), v3(l, 0.465, z + 0.095));
    }
    for (int i = 0; i < 3; i++)
        part_box(world, wood, at, yaw, v3(-l, 0.58 + 0.12 * i, -0.262), v3(l, 0.67 + 0.12 * i, -0.235));
    for (int i = -1; i <= 1; i += 2) {
        double x = i * (l - 0.14);
        part_box(world, iron, at, yaw, v3(x - 0.022, 0, -0.235), v3(x + 0.022, 0.90, -0.20));
        part_box(world, iron, at, yaw, v3(x - 0.022, 0, 0.18), v3(x + 0.022, 0.43, 0.215));
        part_box(world, iron, at, yaw, v3(x - 0.022, 0.40, -0.22), v3(x + 0.022, 0.43, 0.215));
    }
}

void build_table(World *world, int wood, V3 at, double wide, double deep, double high, double yaw)
{
    double x = wide / 2, z = deep / 2, leg = 0.035;
    part_box(world, wood, at, yaw, v3(-x, high - 0.04, -z), v3(x, high, z));
    part_box(world, wood, at, yaw, v3(-x + 0.06, high - 0.14, -z + 0.05),
             v3(x - 0.06, high - 0.04, -z + 0.075));
    part_box(world, wood, at, yaw, v3(-x + 0.06, high - 0.14, z - 0.075),
             v3(x - 0.06, high - 0.04, z - 0.05));
    for (int i = 0; i < 4; i++) {
        double cx = (i & 1 ? 1 : -1) * (x - 0.08), cz = (i & 2 ? 1 : -1) * (z - 0.08);
        part_box(world, wood, at, yaw, v3(cx - leg, 0, cz - leg), v3(cx + leg, high - 0.04, cz + leg));
    }
    part_box(world, wood, at, yaw, v3(-x + 0.08, 0.16, -0.02), v3(x - 0.08, 0.20, 0.02));
}

void build_stool(World *world, int wood, V3 at, double high)
{
    world_cylinder(world, wood, v3(at.x, high - 0.035, at.z), 0.17, 0.035);
    for (int i = 0; i < 3; i++) {
        double a = 2 * PI * i / 3 + 0.4;
        world_cylinder(world, wood, v3(at.x + 0.12 * cos(a), 0, at.z + 0.12 * sin(a)), 0.017, high - 0.035);
    }
    world_cylinder(world, wood, v3(at.x, 0.2, at.z), 0.115, 0.015);
}

void build_pendant(World *world, int shade, int bulb, V3 at, double ceiling, double radius, V3 radiance)
{
    world_cylinder(world, shade, v3(at.x, at.y + 0.16, at.z), 0.006, ceiling - at.y - 0.16);
    world_cylinder(world, shade, v3(at.x, ceiling - 0.03, at.z), 0.05, 0.03);
    world_cylinder(world, shade, v3(at.x, at.y + 0.13, at.z), radius * 0.32, 0.07);
    world_cylinder(world, shade, v3(at.x, at.y + 0.06, at.z), radius * 0.72, 0.07);
    world_cylinder(world, shade, v3(at.x, at.y + 0.012, at.z), radius, 0.05);
    world_cylinder(world, bulb, v3(at.x, at.y, at.z), radius * 0.9, 0.012);
    world_light(world, (Light){v3(at.x, at.y - 0.002, at.z), v3(radius * 0.8, 0, 0), v3(0, 0, radius * 0.8),
                               v3(0, -1, 0), radiance});
}

/* Solids, their bounding tree, and rays through them (slabs for boxes; T. L. Kay and J. T. Kajiya, SIGGRAPH
 * '86). */
#include "world.h"

#include <stdlib.h>
#include <string.h>

#define NEAR 1e-5

int world_material(World *world, Material material)
{
    if (world->material_count == MAX_MATERIALS) {
        world->overflow = true;
        return 0;
    }
    world->materials[world->material_count] = material;
    return world->material_count++;
}

static void set_bounds(Solid *solid)
{
    V3 reach = solid->half;
    if (solid->kind == SOLID_CYLINDER)
        reach.z = reach.x;
    else if (solid->kind == SOLID_BALL)
        reach = v3(reach.x, reach.x, reach.x);
    else if (solid->turned) {
        const V3 *a = solid->axis;
        V3 h = solid->half;
        reach = v3(fabs(a[0].x) * h.x + fabs(a[1].x) * h.y + fabs(a[2].x) * h.z,
                   fabs(a[0].y) * h.x + fabs(a[1].y) * h.y + fabs(a[2].y) * h.z,
                   fabs(a[0].z) * h.x + fabs(a[1].z) * h.y + fabs(a[2].z) * h.z);
    }
    solid->low = v_sub(solid->centre, reach);
    solid->high = v_add(solid->centre, reach);
}

static int add_solid(World *world, Solid solid)
{
    if (world->solid_count == MAX_SOLIDS) {
        world->overflow = true;
        return 0;
    }
    if (solid.texel <= 0)
        solid.texel = 0.12;
    set_bounds(&solid);
    world->solids[world->solid_count] = solid;
    return world->solid_count++;
}

int world_box(World *world, int material, V3 from, V3 to)
{
    Solid solid = {.kind = SOLID_BOX, .material = material, .centre = v_scale(v_add(from, to), 0.5)};
    solid.half = v_scale(v_sub(to, from), 0.5);
    solid.axis[0] = v3(1, 0, 0);
    solid.axis[1] = v3(0, 1, 0);
    solid.axis[2] = v3(0, 0, 1);
    return add_solid(world, solid);
}

int world_turned_box(World *world, int material, V3 centre, V3 half, double yaw, double tilt)
{
    Solid solid = {.kind = SOLID_BOX, .material = material, .centre = centre, .half = half, .turned = true};
    double c = cos(yaw), s = sin(yaw), ct = cos(tilt), st = sin(tilt);
    solid.axis[0] = v3(c, 0, -s);
    solid.axis[1] = v3(-st * s, ct, -st * c);
    solid.axis[2] = v3(ct * s, st, ct * c);
    return add_solid(world, solid);
}

int world_cylinder(World *world, int material, V3 foot, double radius, double height)
{
    Solid solid = {.kind = SOLID_CYLINDER, .material = material, .half = v3(radius, height / 2, radius)};
    solid.centre = v3(foot.x, foot.y + height / 2, foot.z);
    return add_solid(world, solid);
}

int world_ball(World *world, int material, V3 centre, double radius)
{
    Solid solid = {
        .kind = SOLID_BALL, .material = material, .centre = centre, .half = v3(radius, radius, radius)};
    solid.texel = radius * 0.6;
    return add_solid(world, solid);
}

void world_light(World *world, Light light)
{
    if (world->light_count == MAX_LIGHTS)
        world->overflow = true;
    else
        world->lights[world->light_count++] = light;
}

static double part(V3 v, int axis)
{
    return axis == 0 ? v.x : axis == 1 ? v.y : v.z;
}

static void bound(const World *world, Node *node, int first, int count)
{
    V3 low = v3(1e9, 1e9, 1e9), high = v3(-1e9, -1e9, -1e9);
    for (int i = first; i < first + count; i++) {
        const Solid *s = &world->solids[world->order[i]];
        low = v3(lesser(low.x, s->low.x), lesser(low.y, s->low.y), lesser(low.z, s->low.z));
        high = v3(greater(high.x, s->high.x), greater(high.y, s->high.y), greater(high.z, s->high.z));
    }
    double bounds[2][3] = {{low.x, low.y, low.z}, {high.x, high.y, high.z}};
    memcpy(node->bound, bounds, sizeof bounds);
}

static void sort_by_axis(World *world, int first, int count, int axis)
{
    for (int i = first + 1; i < first + count; i++) {
        int moving = world->order[i];
        double key = part(world->solids[moving].centre, axis);
        int j = i;
        for (; j > first && part(world->solids[world->order[j - 1]].centre, axis) > key; j--)
            world->order[j] = world->order[j - 1];
        world->order[j] = moving;
    }
}

static double half_area(const Node *node)
{
    double dx = node->bound[1][0] - node->bound[0][0], dy = node->bound[1][1] - node->bound[0][1];
    double dz = node->bound[1][2] - node->bound[0][2];
    return dx * dy + dy * dz + dz * dx;
}

/* Cost of splitting the sorted range after `left` solids: the surface area heuristic. */
static double split_cost(const World *world, int first, int left, int count)
{
    Node a, b;
    bound(world, &a, first, left);
    bound(world, &b, first + left, count - left);
    return half_area(&a) * left + half_area(&b) * (count - left);
}

static int build(World *world, int first, int count)
{
    int index = world->node_count++;
    Node node = {.first = first, .count = count};
    bound(world, &node, first, count);
    if (count > 2) {
        double best = half_area(&node) * (count - 0.5);
        int best_axis = -1, best_left = 0, step = count > 64 ? count / 16 : 1;
        for (int axis = 0; axis < 3; axis++) {
            sort_by_axis(world, first, count, axis);
            for (int left = 1; left < count; left += step) {
                double cost = split_cost(world, first, left, count);
                if (cost < best) {
                    best = cost;
                    best_axis = axis;
                    best_left = left;
                }
            }
        }
        if (best_axis < 0 && count > 6) {
            best_axis = 0;
            best_left = count / 2;
        }
        if (best_axis >= 0) {
            sort_by_axis(world, first, count, best_axis);
            node.count = 0;
            node.left = build(world, first, best_left);
            node.right = build(world, first + best_left, count - best_left);
        }
    }
    world->nodes[index] = node;
    return index;
}

bool world_finish(World *world)
{
    if (world->overflow || world->solid_count == 0)
        return false;
    for (int i = 0; i < world->solid_count; i++)
        world->order[i] = i;
    world->node_count = 0;
    build(world, 0, world->solid_count);
    return true;
}

/* A ray made ready for slabs: its origin, the inverse of its direction, which bound it meets first on each
 * axis. */
typedef struct Probe {
    double from[3], inverse[3];
    int first[3];
} Probe;

/* Where the ray enters the node's bounds, or INFINITY when it misses them or meets them beyond `reach`. */
static inline double slab_entry(const Node *node, const Probe *p, double reach)
{
    double in = (node->bound[p->first[0]][0] - p->from[0]) * p->inverse[0];
    double out = (node->bound[1 - p->first[0]][0] - p->from[0]) * p->inverse[0];
    double y0 = (node->bound[p->first[1]][1] - p->from[1]) * p->inverse[1];
    double y1 = (node->bound[1 - p->first[1]][1] - p->from[1]) * p->inverse[1];
    double z0 = (node->bound[p->first[2]][2] - p->from[2]) * p->inverse[2];
    double z1 = (node->bound[1 - p->first[2]][2] - p->from[2]) * p->inverse[2];
    in = greater(greater(in, y0), z0);
    out = lesser(lesser(out, y1), z1);
    return in <= out && out > 0 && in < reach ? in : INFINITY;
}

static V3 to_local(const Solid *s, V3 v)
{
    return v3(v_dot(s->axis[0], v), v_dot(s->axis[1], v), v_dot(s->axis[2], v));
}

static double safe_inverse(double v)
{
    return 1.0 / (fabs(v) < 1e-12 ? copysign(1e-12, v) : v);
}

static bool hit_box(const Solid *s, Ray ray, double reach, double *distance, int *face)
{
    V3 o = v_sub(ray.from, s->centre), d = ray.along;
    if (s->turned) {
        o = to_local(s, o);
        d = to_local(s, d);
    }
    double from[3] = {o.x, o.y, o.z}, along[3] = {d.x, d.y, d.z}, half[3] = {s->half.x, s->half.y, s->half.z};
    double in = -INFINITY, out = INFINITY;
    int in_face = 0;
    for (int i = 0; i < 3; i++) {
        double inverse = safe_inverse(along[i]);
        double near = (-copysign(half[i], inverse) - from[i]) * inverse;
        double far = (copysign(half[i], inverse) - from[i]) * inverse;
        if (near > in) {
            in = near;
            in_face = 2 * i + (inverse < 0);
        }
        out = far < out ? far : out;
    }
    if (in > out || in < NEAR || in >= reach)
        return false;
    *distance = in;
    *face = in_face;
    return true;
}

static bool hit_ball(const Solid *s, Ray ray, double reach, double *distance, int *face)
{
    V3 o = v_sub(ray.from, s->centre);
    double b = v_dot(o, ray.along), c = v_dot(o, o) - s->half.x * s->half.x, root = b * b - c;
    if (root < 0)
        return false;
    double t = -b - sqrt(root);
    if (t < NEAR || t >= reach)
        return false;
    *distance = t;
    *face = 0;
    return true;
}

static bool hit_cylinder(const Solid *s, Ray ray, double reach, double *distance, int *face)
{
    V3 o = v_sub(ray.from, s->centre), d = ray.along;
    double a = d.x * d.x + d.z * d.z, r = s->half.x, h = s->half.y, best = reach;
    if (a > 1e-12) {
        double b = o.x * d.x + o.z * d.z, root = b * b - a * (o.x * o.x + o.z * o.z - r * r);
        double t = root < 0 ? -1 : (-b - sqrt(root)) / a;
        if (t > NEAR && t < best && fabs(o.y + t * d.y) <= h) {
            best = t;
            *face = 0;
        }
    }
    if (fabs(d.y) > 1e-9) {
        double t = ((d.y < 0 ? h : -h) - o.y) / d.y, x = o.x + t * d.x, z = o.z + t * d.z;
        if (t > NEAR && t < best && x * x + z * z <= r * r) {
            best = t;
            *face = d.y < 0 ? 1 : 2;
        }
    }
    *distance = best;
    return best < reach;
}

static bool hit_solid(const Solid *s, Ray ray, double reach, double *distance, int *face)
{
    if (s->kind == SOLID_BOX)
        return hit_box(s, ray, reach, distance, face);
    if (s->kind == SOLID_BALL)
        return hit_ball(s, ray, reach, distance, face);
    return hit_cylinder(s, ray, reach, distance, face);
}

static Probe make_probe(Ray ray)
{
    Probe p = {.from = {ray.from.x, ray.from.y, ray.from.z},
               .inverse = {safe_inverse(ray.along.x), safe_inverse(ray.along.y), safe_inverse(ray.along.z)}};
    for (int i = 0; i < 3; i++)
        p.first[i] = p.inverse[i] < 0;
    return p;
}

/* Walks the tree, near sides first; with `any` it stops at the first solid. */
static int walk(const World *world, Ray ray, double reach, bool any, double *distance, int *face)
{
    Probe probe = make_probe(ray);
    struct {
        int node;
        double entry;
    } stack[64];
    int depth = 0, found = -1;
    stack[depth].node = 0;
    stack[depth++].entry = -INFINITY;
    while (depth > 0) {
        depth--;
        if (stack[depth].entry >= reach)
            continue;
        const Node *node = &world->nodes[stack[depth].node];
        if (node->count == 0) {
            double left = slab_entry(&world->nodes[node->left], &probe, reach);
            double right = slab_entry(&world->nodes[node->right], &probe, reach);
            bool swap = left <= right;
            double far = swap ? right : left, near = swap ? left : right;
            if (far < INFINITY && depth < 62) {
                stack[depth].node = swap ? node->right : node->left;
                stack[depth++].entry = far;
            }
            if (near < INFINITY) {
                stack[depth].node = swap ? node->left : node->right;
                stack[depth++].entry = near;
            }
            continue;
        }
        for (int i = 0; i < node->count; i++) {
            int index = world->order[node->first + i];
            if (hit_solid(&world->solids[index], ray, reach, distance, face)) {
                reach = *distance;
                found = index;
                if (any)
                    return found;
            }
        }
    }
    *distance = reach;
    return found;
}

bool world_blocked(const World *world, Ray ray, double reach)
{
    double distance;
    int face;
    return walk(world, ray, reach, true, &distance, &face) >= 0;
}

static const int box_u[6] = {2, 2, 0, 0, 0, 0}, box_v[6] = {1, 1, 2, 2, 1, 1};

static void fill_box(const Solid *s, Hit *hit)
{
    double local[3] = {hit->local.x, hit->local.y, hit->local.z}, half[3] = {s->half.x, s->half.y, s->half.z};
    int u = box_u[hit->face], v = box_v[hit->face];
    hit->tall = half[v] > half[u];
    hit->u = clamp(local[u] / half[u] * 0.5 + 0.5, 0, 1);
    hit->v = clamp(local[v] / half[v] * 0.5 + 0.5, 0, 1);
    hit->normal = v_scale(s->axis[hit->face / 2], hit->face % 2 == 1 ? 1 : -1);
}

static void fill_round(const Solid *s, Hit *hit)
{
    hit->tall = s->kind == SOLID_CYLINDER && hit->face == 0 && s->half.y > s->half.x;
    V3 p = hit->local;
    double r = s->half.x;
    if (s->kind == SOLID_BALL) {
        hit->normal = v_scale(p, 1 / r);
        hit->u = atan2(p.x, p.z) / (2 * PI) + 0.5;
        hit->v = clamp(asin(clamp(p.y / r, -1, 1)) / PI + 0.5, 0, 1);
    } else if (hit->face == 0) {
        hit->normal = v3(p.x / r, 0, p.z / r);
        hit->u = atan2(p.x, p.z) / (2 * PI) + 0.5;
        hit->v = clamp(p.y / s->half.y * 0.5 + 0.5, 0, 1);
    } else {
        hit->normal = v3(0, hit->face == 1 ? 1 : -1, 0);
        hit->u = clamp(p.x / r * 0.5 + 0.5, 0, 1);
        hit->v = clamp(p.z / r * 0.5 + 0.5, 0, 1);
    }
}

bool world_trace(const World *world, Ray ray, double reach, Hit *hit)
{
    int face = 0;
    double distance = reach;
    int index = walk(world, ray, reach, false, &distance, &face);
    if (index < 0)
        return false;
    const Solid *s = &world->solids[index];
    hit->distance = distance;
    hit->solid = index;
    hit->face = face;
    hit->along = ray.along;
    hit->at = v_along(ray.from, ray.along, distance);
    hit->local = v_sub(hit->at, s->centre);
    if (s->turned)
        hit->local = to_local(s, hit->local);
    if (s->kind == SOLID_BOX)
        fill_box(s, hit);
    else
        fill_round(s, hit);
    /* an inner corner may give back a point a hair inside: the normal always faces the viewer */
    if (v_dot(hit->normal, ray.along) > 0)
        hit->normal = v_scale(hit->normal, -1);
    return true;
}

int world_face_count(const Solid *solid)
{
    return solid->kind == SOLID_BOX ? 6 : solid->kind == SOLID_CYLINDER ? 3 : 1;
}

void world_face_size(const Solid *solid, int face, double *across, double *up)
{
    double half[3] = {solid->half.x, solid->half.y, solid->half.z};
    if (solid->kind == SOLID_BOX) {
        *across = 2 * half[box_u[face]];
        *up = 2 * half[box_v[face]];
    } else if (face == 0) {
        *across = 2 * PI * half[0];
        *up = solid->kind == SOLID_BALL ? PI * half[0] : 2 * half[1];
    } else {
        *across = *up = 2 * half[0];
    }
}

static void round_point(const Solid *s, int face, double u, double v, V3 *at, V3 *normal)
{
    double angle = (u - 0.5) * 2 * PI, r = s->half.x;
    if (s->kind == SOLID_BALL) {
        double up = (v - 0.5) * PI;
        *normal = v3(cos(up) * sin(angle), sin(up), cos(up) * cos(angle));
        *at = v_along(s->centre, *normal, r);
    } else if (face == 0) {
        *normal = v3(sin(angle), 0, cos(angle));
        *at = v_along(v_add(s->centre, v3(0, (2 * v - 1) * s->half.y, 0)), *normal, r);
    } else {
        *normal = v3(0, face == 1 ? 1 : -1, 0);
        *at = v_add(s->centre, v3((2 * u - 1) * r, normal->y * s->half.y, (2 * v - 1) * r));
    }
}

void world_face_point(const Solid *s, int face, double u, double v, V3 *at, V3 *normal)
{
    if (s->kind != SOLID_BOX) {
        round_point(s, face, u, v, at, normal);
        return;
    }
    double half[3] = {s->half.x, s->half.y, s->half.z}, side = face % 2 == 1 ? 1 : -1;
    int w = face / 2;
    V3 p = v_along(s->centre, s->axis[w], side * half[w]);
    p = v_along(p, s->axis[box_u[face]], (2 * u - 1) * half[box_u[face]]);
    *at = v_along(p, s->axis[box_v[face]], (2 * v - 1) * half[box_v[face]]);
    *normal = v_scale(s->axis[w], side);
}

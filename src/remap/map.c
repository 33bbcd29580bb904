/* From target pixels to directions, and from directions to places in the source. */
#include "remap/map.h"

#include <math.h>

#include "base/cpu.h"
#include "remap/arctangent.h"

/* Enough for any picture, and far from where the rounding below would overflow. */
#define FAR_PX 1e9

/* To a multiple of 2^-20: what is above 2^32 in double precision is one. */
static inline double rounded(double value)
{
    const double large = 1.5 * 4294967296;
    return value + large - large;
}

static double plane_x(const UfView *view, double x_px)
{
    return (x_px - view->centre_x_px) / view->scale_px;
}

static double plane_y(const UfView *view, double y_px)
{
    return (view->centre_y_px - y_px) / view->scale_px;
}

static inline void put(const UfMap *map, UfMapRow *row, size_t i, double x, double y, double z)
{
    row->x[i] = map->turn[0][0] * x + map->turn[0][1] * y + map->turn[0][2] * z;
    row->y[i] = map->turn[1][0] * x + map->turn[1][1] * y + map->turn[1][2] * z;
    row->z[i] = map->turn[2][0] * x + map->turn[2][1] * y + map->turn[2][2] * z;
}

void uf_map_columns(const UfMap *map, double x_px, size_t count, UfMapColumns *out)
{
    if (map->target.projection != UF_PROJECTION_EQUIRECTANGULAR)
        return;
    for (size_t i = 0; i < count; i++) {
        double lon_rad = plane_x(&map->target, x_px + (double)i);
        out->sine[i] = sin(lon_rad);
        out->cosine[i] = cos(lon_rad);
    }
}

/* Snyder (12-5), (12-6). */
static void equirectangular_row(const UfMap *map, const UfMapColumns *columns, double y_px, size_t count,
                                UfMapRow *out)
{
    double lat_rad = plane_y(&map->target, y_px);
    double sine = sin(lat_rad), cosine = cos(lat_rad);
    for (size_t i = 0; i < count; i++)
        put(map, out, i, cosine * columns->sine[i], sine, cosine * columns->cosine[i]);
}

/* Snyder (22-3) turned round: (x, y, 1). */
static void rectilinear_row(const UfMap *map, double x_px, double y_px, size_t count, UfMapRow *out)
{
    double y = plane_y(&map->target, y_px);
    for (size_t i = 0; i < count; i++)
        put(map, out, i, plane_x(&map->target, x_px + (double)i), y, 1);
}

/* Snyder (21-4) turned round, with q = tan^2(theta/2): (x, y, 1 - q) / (1 + q). */
static void stereographic_row(const UfMap *map, double x_px, double y_px, size_t count, UfMapRow *out)
{
    double y = plane_y(&map->target, y_px);
    for (size_t i = 0; i < count; i++) {
        double x = plane_x(&map->target, x_px + (double)i);
        double q = (x * x + y * y) / 4;
        double scale = 1 / (1 + q);
        put(map, out, i, x * scale, y * scale, (1 - q) * scale);
    }
}

static void any_row(const UfMap *map, double x_px, double y_px, size_t count, UfMapRow *out)
{
    for (size_t i = 0; i < count; i++) {
        UfPlanePoint at = {plane_x(&map->target, x_px + (double)i), plane_y(&map->target, y_px)};
        UfDirection seen;
        if (uf_unproject(map->target.projection, at, &seen))
            put(map, out, i, seen.x, seen.y, seen.z);
        else
            out->x[i] = out->y[i] = out->z[i] = NAN;
    }
}

/* What a place on an equirectangular source is computed from. */
typedef struct Sphere {
    double centre_x_px, centre_y_px, scale_px, round_px, width_px;
    double least_v_px, most_v_px; /* beyond a pole, where it goes on, v is the pole's */
} Sphere;

static inline Sphere sphere_of(const UfMap *map)
{
    const UfView *view = &map->source;
    return (Sphere){.centre_x_px = view->centre_x_px,
                    .centre_y_px = view->centre_y_px,
                    .scale_px = view->scale_px,
                    .round_px = map->round_px,
                    .width_px = (double)view->width_px,
                    .least_v_px = map->over_top ? 0 : -INFINITY,
                    .most_v_px = map->over_bottom ? (double)view->height_px : INFINITY};
}

/* Snyder (12-1), (12-2); the arctangent needs no unit vector. NaN where there is no place. No branch, as in
 * uf_atan2. */
static inline __attribute__((always_inline)) void equirectangular_place(const Sphere *at, double x, double y,
                                                                        double z, double *u_px, double *v_px)
{
    const double u = at->centre_x_px + at->scale_px * uf_atan2(x, z);
    double v = at->centre_y_px - at->scale_px * uf_atan2(y, sqrt(x * x + z * z));
    const double nowhere = ((fabs(u) < FAR_PX) & (fabs(v) < FAR_PX)) ? 0 : NAN;
    const double turns = (u < 0 ? 1 : 0) - (((u > at->width_px) & (u - at->round_px >= 0)) ? 1 : 0);
    v = v < at->least_v_px ? at->least_v_px : v;
    v = v > at->most_v_px ? at->most_v_px : v;
    *u_px = rounded(u + turns * at->round_px) + nowhere;
    *v_px = rounded(v) + nowhere;
}

/* A loop that the compiler makes vectors of. */
static inline __attribute__((always_inline)) void equirectangular_places(const UfMap *map, size_t count,
                                                                         UfMapRow *out)
{
    const Sphere at = sphere_of(map);
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        equirectangular_place(&at, out->x[i], out->y[i], out->z[i], &out->u_px[i], &out->v_px[i]);
}

static void places_scalar(const UfMap *map, size_t count, UfMapRow *out)
{
    equirectangular_places(map, count, out);
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static void places_avx2(const UfMap *map, size_t count, UfMapRow *out)
{
    equirectangular_places(map, count, out);
}

__attribute__((target("avx512f,avx512dq,avx512vl,avx512bw"))) static void
places_avx512(const UfMap *map, size_t count, UfMapRow *out)
{
    equirectangular_places(map, count, out);
}
#endif

static UfMapPlaces *places_of(unsigned cpu_flags)
{
#if defined(__x86_64__)
    if (cpu_flags & UF_CPU_AVX512)
        return places_avx512;
    if (cpu_flags & UF_CPU_AVX2)
        return places_avx2;
#else
    (void)cpu_flags;
#endif
    return places_scalar;
}

UfMap uf_map_create(const UfView *target, const UfView *source, const UfSource *edges)
{
    UfRotation into_source = uf_rotation_inverse(&source->rotation);
    UfRotation turn = uf_rotation_product(&into_source, &target->rotation);
    UfMap map = {
        .target = *target,
        .source = *source,
        .wraps = edges->wraps,
        .over_top = edges->over_top,
        .over_bottom = edges->over_bottom,
        .places = places_of(uf_cpu_flags()),
    };
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            map.turn[i][k] = turn.m[i][k];
    if (source->projection == UF_PROJECTION_EQUIRECTANGULAR)
        map.round_px = map.wraps ? (double)source->width_px : 2 * UF_PI * source->scale_px;
    return map;
}

static bool flat_place(const UfMap *map, double x, double y, double z, double *u_px, double *v_px)
{
    const UfView *view = &map->source;
    UfPlanePoint at;
    if (view->projection == UF_PROJECTION_RECTILINEAR) {
        if (!(z > 0))
            return false;
        at = (UfPlanePoint){x / z, y / z};
    } else {
        double length = sqrt(x * x + y * y + z * z);
        if (!(length > 0) ||
            !uf_project(view->projection, (UfDirection){x / length, y / length, z / length}, &at))
            return false;
    }
    double u = view->centre_x_px + view->scale_px * at.x;
    double v = view->centre_y_px - view->scale_px * at.y;
    if (!(fabs(u) < FAR_PX && fabs(v) < FAR_PX))
        return false;
    *u_px = rounded(u);
    *v_px = rounded(v);
    return true;
}

static bool place(const UfMap *map, double x, double y, double z, double *u_px, double *v_px)
{
    if (map->round_px > 0) {
        const Sphere at = sphere_of(map);
        equirectangular_place(&at, x, y, z, u_px, v_px);
        return !isnan(*u_px);
    }
    return flat_place(map, x, y, z, u_px, v_px);
}

/* Beyond the poles of an equirectangular target there is nothing, rounding of the limit aside. */
static bool has_directions(const UfMap *map, double y_px)
{
    return map->target.projection != UF_PROJECTION_EQUIRECTANGULAR ||
           fabs(plane_y(&map->target, y_px)) <= UF_PI / 2 * (1 + 1e-15);
}

void uf_map_row(const UfMap *map, const UfMapColumns *columns, double x_px, double y_px, size_t count,
                UfMapRow *out)
{
    switch (map->target.projection) {
    case UF_PROJECTION_EQUIRECTANGULAR:
        equirectangular_row(map, columns, y_px, count, out);
        break;
    case UF_PROJECTION_RECTILINEAR:
        rectilinear_row(map, x_px, y_px, count, out);
        break;
    case UF_PROJECTION_STEREOGRAPHIC:
        stereographic_row(map, x_px, y_px, count, out);
        break;
    default:
        any_row(map, x_px, y_px, count, out);
        break;
    }
    const bool there = has_directions(map, y_px);
    if (there && map->round_px > 0) {
        map->places(map, count, out);
        return;
    }
    for (size_t i = 0; i < count; i++)
        if (!there || !flat_place(map, out->x[i], out->y[i], out->z[i], &out->u_px[i], &out->v_px[i]))
            out->u_px[i] = out->v_px[i] = NAN;
}

bool uf_map_point(const UfMap *map, double x_px, double y_px, double *u_px, double *v_px)
{
    UfPlanePoint at = {plane_x(&map->target, x_px), plane_y(&map->target, y_px)};
    UfDirection seen;
    if (!uf_unproject(map->target.projection, at, &seen))
        return false;
    const double(*turn)[3] = map->turn;
    return place(map, turn[0][0] * seen.x + turn[0][1] * seen.y + turn[0][2] * seen.z,
                 turn[1][0] * seen.x + turn[1][1] * seen.y + turn[1][2] * seen.z,
                 turn[2][0] * seen.x + turn[2][1] * seen.y + turn[2][2] * seen.z, u_px, v_px) &&
           uf_map_fold(map, u_px, v_px);
}

bool uf_map_fold(const UfMap *map, double *u_px, double *v_px)
{
    double width = (double)map->source.width_px, height = (double)map->source.height_px;
    if (map->over_top && *v_px < 0) {
        *v_px = -*v_px;
        *u_px += width / 2;
    } else if (map->over_bottom && *v_px > height) {
        *v_px = 2 * height - *v_px;
        *u_px += width / 2;
    }
    if (map->wraps && !(*u_px >= 0 && *u_px <= width))
        *u_px -= floor(*u_px / width) * width;
    return uf_map_holds(map, *u_px, *v_px);
}

/* Half the difference across the middle, or one side's where the other is missing, or 0. */
static inline double slope(double before, double middle, double after)
{
    double across = (after - before) / 2;
    if (!isnan(across))
        return across;
    if (!isnan(middle) && !isnan(after))
        return after - middle;
    return !isnan(before) && !isnan(middle) ? middle - before : 0;
}

/* The direction of column i and its steps for one pixel along x and along y. */
typedef struct Steps {
    double at[3], across[3], down[3];
} Steps;

static inline Steps steps_at(const UfMapRow *above, const UfMapRow *here, const UfMapRow *below, size_t i)
{
    return (Steps){.at = {here->x[i], here->y[i], here->z[i]},
                   .across = {slope(here->x[i - 1], here->x[i], here->x[i + 1]),
                              slope(here->y[i - 1], here->y[i], here->y[i + 1]),
                              slope(here->z[i - 1], here->z[i], here->z[i + 1])},
                   .down = {slope(above->x[i], here->x[i], below->x[i]),
                            slope(above->y[i], here->y[i], below->y[i]),
                            slope(above->z[i], here->z[i], below->z[i])}};
}

static inline double dot(const double *a, const double *b)
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/* One whose columns have these scalar products: e and g of each with itself, f of the two. */
static UfJacobian of_products(double e, double f, double g)
{
    UfJacobian out = {.ux = sqrt(e > 0 ? e : 0)};
    out.uy = out.ux > 0 ? f / out.ux : 0;
    out.vy = sqrt(g > out.uy * out.uy ? g - out.uy * out.uy : 0);
    return out;
}

UfJacobian uf_map_angular(const UfMap *map, const UfMapRow *above, const UfMapRow *here,
                          const UfMapRow *below, size_t i)
{
    const Steps steps = steps_at(above, here, below, i);
    double squared = dot(steps.at, steps.at);
    double along_across = dot(steps.at, steps.across), along_down = dot(steps.at, steps.down);
    double unit = map->source.scale_px * map->source.scale_px / squared;
    double e = unit * (dot(steps.across, steps.across) - along_across * along_across / squared);
    double g = unit * (dot(steps.down, steps.down) - along_down * along_down / squared);
    double f = unit * (dot(steps.across, steps.down) - along_across * along_down / squared);
    return of_products(e, f, g);
}

/* d(lambda) = (z dx - x dz) / (x^2 + z^2), d(phi) = (r dy - y dr) / (r^2 + y^2) with r dr = x dx + z dz. */
UfJacobian uf_map_jacobian(const UfMap *map, const UfMapRow *above, const UfMapRow *here,
                           const UfMapRow *below, size_t i)
{
    UfJacobian out;
    if (map->round_px == 0) {
        out.ux = slope(here->u_px[i - 1], here->u_px[i], here->u_px[i + 1]);
        out.vx = slope(here->v_px[i - 1], here->v_px[i], here->v_px[i + 1]);
        out.uy = slope(above->u_px[i], here->u_px[i], below->u_px[i]);
        out.vy = slope(above->v_px[i], here->v_px[i], below->v_px[i]);
        return out;
    }
    const Steps steps = steps_at(above, here, below, i);
    const double *at = steps.at, *across = steps.across, *down = steps.down;
    double level = at[0] * at[0] + at[2] * at[2];
    level = level > 1e-30 ? level : 1e-30;
    double around = map->source.scale_px / level;
    double upwards = -map->source.scale_px / (sqrt(level) * (level + at[1] * at[1]));
    out.ux = around * (at[2] * across[0] - at[0] * across[2]);
    out.uy = around * (at[2] * down[0] - at[0] * down[2]);
    out.vx = upwards * (level * across[1] - at[1] * (at[0] * across[0] + at[2] * across[2]));
    out.vy = upwards * (level * down[1] - at[1] * (at[0] * down[0] + at[2] * down[2]));
    return out;
}

/* Lengths on the sphere of steps in the plane: along a parallel by cos(phi); Snyder (22-3) differentiated. */
UfJacobian uf_map_angular_of(const UfMap *map, UfPixelPoint place, const UfJacobian *j)
{
    double x = plane_x(&map->source, place.x_px), y = plane_y(&map->source, place.y_px);
    if (map->source.projection == UF_PROJECTION_EQUIRECTANGULAR) {
        double level = cos(y);
        return (UfJacobian){j->ux * level, j->vx, j->uy * level, j->vy};
    }
    /* pixels count y downwards */
    double squared = 1 + x * x + y * y, across = x * j->ux - y * j->vx, down = x * j->uy - y * j->vy;
    double e = ((j->ux * j->ux + j->vx * j->vx) * squared - across * across) / (squared * squared);
    double g = ((j->uy * j->uy + j->vy * j->vy) * squared - down * down) / (squared * squared);
    double f = ((j->ux * j->uy + j->vx * j->vy) * squared - across * down) / (squared * squared);
    return of_products(e, f, g);
}

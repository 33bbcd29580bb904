/* Places and footprints: the short formulas of the remapper against the sphere's own functions. */
#include <criterion/criterion.h>
#include <math.h>

#include "remap/map.h"

static double noise(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (double)(*state >> 8) / 16777216.0;
}

static UfSource edges_of(const UfView *view)
{
    UfSource source = {.width_px = (ptrdiff_t)view->width_px, .height_px = (ptrdiff_t)view->height_px};
    uf_source_set_edges(&source, view);
    return source;
}

static UfView view_of(UfProjection projection, uint32_t *state)
{
    if (projection == UF_PROJECTION_EQUIRECTANGULAR) {
        UfView view = uf_view_equirectangular(65536);
        view.rotation = uf_rotation_from_angles(6 * noise(state), 3 * noise(state) - 1.5, 6 * noise(state));
        return view;
    }
    return (UfView){
        projection, uf_rotation_from_angles(6 * noise(state), 3 * noise(state) - 1.5, 6 * noise(state)),
        900,        1000,
        1000,       2000,
        2000};
}

/* Every pair of projections; 1/64 pixel of a panorama 65536 wide is the promise, the rounding to 2^-20 the
 * limit. */
Test(remap_map, places_agree_with_the_sphere)
{
    uint32_t state = 17;
    size_t seen = 0;
    for (int pair = 0; pair < UF_PROJECTION_COUNT * UF_PROJECTION_COUNT; pair++) {
        UfView target = view_of((UfProjection)(pair / UF_PROJECTION_COUNT), &state);
        UfView source = view_of((UfProjection)(pair % UF_PROJECTION_COUNT), &state);
        UfSource edges = edges_of(&source);
        UfMap map = uf_map_create(&target, &source, &edges);
        for (int run = 0; run < 40; run++) {
            UfMapColumns columns;
            UfMapRow row;
            double x_px = floor(noise(&state) * (double)(target.width_px - 100)) + 0.5;
            double y_px = floor(noise(&state) * (double)target.height_px) + 0.5;
            uf_map_columns(&map, x_px, 100, &columns);
            uf_map_row(&map, &columns, x_px, y_px, 100, &row);
            for (size_t i = 0; i < 100; i++) {
                UfDirection direction;
                UfPixelPoint at;
                bool there = uf_view_direction(&target, (UfPixelPoint){x_px + (double)i, y_px}, &direction) &&
                             uf_view_pixel(&source, direction, &at) && fabs(at.x_px) < 1e8 &&
                             fabs(at.y_px) < 1e8;
                if (isnan(row.u_px[i])) {
                    cr_assert(!there, "pair %d: no place where there is one", pair);
                    continue;
                }
                cr_assert(there, "pair %d: a place where there is none", pair);
                double off = fabs(row.u_px[i] - at.x_px);
                if (edges.wraps)
                    off = fmin(off, fabs(off - (double)source.width_px));
                double size = fmax(1, fmax(fabs(at.x_px), fabs(at.y_px)) / 65536);
                cr_assert_leq(fmax(off, fabs(row.v_px[i] - at.y_px)), 2e-6 * size * size, "pair %d: %g %g",
                              pair, at.x_px, at.y_px);
                seen++;
            }
        }
    }
    cr_expect_gt(seen, 30000);
}

static UfJacobian jacobian_at(const UfMap *map, double x_px, double y_px)
{
    UfMapColumns columns;
    UfMapRow rows[3];
    uf_map_columns(map, x_px - 1, 3, &columns);
    for (int i = 0; i < 3; i++)
        uf_map_row(map, &columns, x_px - 1, y_px - 1 + i, 3, &rows[i]);
    return uf_map_jacobian(map, &rows[0], &rows[1], &rows[2], 1);
}

/*
 * A panorama 4096 wide read by a face of 1024 pixels, c = 5 degrees from the nadir. With the gnomonic r = tan
 * c (Snyder, PP 1395, section 22): along the parallel (W/2 pi)/(tan c N/2), outwards (H/pi) cos^2 c/(N/2).
 */
Test(remap_map, footprint_near_the_nadir)
{
    UfView sphere = uf_view_equirectangular(4096), face = uf_view_face(UF_FACE_DOWN, 1024);
    UfSource edges = edges_of(&sphere);
    UfMap map = uf_map_create(&face, &sphere, &edges);
    double radius_px = tan(UF_PI / 36) * 512;
    UfJacobian right = jacobian_at(&map, 512 + radius_px, 512),
               down = jacobian_at(&map, 512, 512 + radius_px);
    cr_expect_float_eq(fabs(right.uy), 14.553194590, 5e-3, "%g", right.uy);
    cr_expect_float_eq(fabs(right.vx), 1.263567860, 5e-4, "%g", right.vx);
    cr_expect_float_eq(right.ux, 0, 1e-9);
    cr_expect_float_eq(right.vy, 0, 1e-9);
    /* on the seam (the bottom of the down face looks back) it is the same */
    cr_expect_float_eq(fabs(down.ux), fabs(right.uy), 1e-9);
    cr_expect_float_eq(fabs(down.vy), fabs(right.vx), 1e-9);
}

Test(remap_map, footprint_of_the_same_view_is_one_pixel)
{
    uint32_t state = 3;
    for (UfProjection p = 0; p < UF_PROJECTION_COUNT; p++) {
        UfView view = view_of(p, &state);
        UfSource edges = edges_of(&view);
        UfMap map = uf_map_create(&view, &view, &edges);
        UfJacobian j = jacobian_at(&map, 1200.5, 900.5);
        cr_expect_float_eq(j.ux, 1, 1e-4, "projection %d: %g", p, j.ux);
        cr_expect_float_eq(j.vy, 1, 1e-4, "projection %d: %g", p, j.vy);
        cr_expect_float_eq(fabs(j.uy) + fabs(j.vx), 0, 1e-4, "projection %d", p);
    }
}

Test(remap_map, folding_over_seam_and_poles)
{
    UfView sphere = uf_view_equirectangular(100), window = uf_view_window(&sphere, 10, 10, 30, 20);
    UfSource edges = edges_of(&sphere), flat = edges_of(&window);
    UfMap map = uf_map_create(&sphere, &sphere, &edges), cut = uf_map_create(&sphere, &window, &flat);
    const double cases[][4] = {
        {-3, 10, 97, 10}, {103, 10, 3, 10}, {20, -2, 70, 2},
        {80, -2, 30, 2},  {80, 51, 30, 49}, {-1, 52, 49, 48},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double u = cases[i][0], v = cases[i][1];
        cr_expect(uf_map_fold(&map, &u, &v));
        cr_expect_float_eq(u, cases[i][2], 1e-12, "case %zu: %g", i, u);
        cr_expect_float_eq(v, cases[i][3], 1e-12, "case %zu: %g", i, v);
    }
    double u = 31, v = 5;
    cr_expect_not(uf_map_fold(&cut, &u, &v), "a window ends where it ends");
}

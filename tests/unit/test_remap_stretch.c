/* Stretched footprints: their places against those computed one by one, their weights, and the kernels that
 * blend them. */
#include "test_remap_support.h"

#include "base/cpu.h"
#include "remap/footprint.h"
#include "remap/lobe.h"
#include "remap/stretch.h"

/* A footprint of the pixel whose centre is (x_px, y_px), as the remapper asks for it. */
typedef struct Asked {
    UfJacobian jacobian;
    UfPlaces room;
    UfFootprint print;
    UfFootprintPlaces places;
    bool stretched;
} Asked;

static void ask(const UfMap *map, double x_px, double y_px, Asked *out)
{
    static UfMapRow rows[3];
    UfMapColumns columns;
    uf_map_columns(map, x_px - 1, 3, &columns);
    for (int i = 0; i < 3; i++)
        uf_map_row(map, &columns, x_px - 1, y_px - 1 + i, 3, &rows[i]);
    out->jacobian = uf_map_jacobian(map, &rows[0], &rows[1], &rows[2], 1);
    const UfStretchPixel pixel = {rows, 1, x_px, y_px, uf_stretch_axis(&out->jacobian)};
    out->stretched = !isnan(rows[1].u_px[1]) && uf_stretch_sets_in(&pixel.axis, 1);
    if (!out->stretched)
        return;
    uf_stretch_footprint(map, &pixel, 1, &out->room, &out->print);
    uf_footprint_places(&out->print, (int32_t)map->source.width_px, &out->places);
}

static UfMap map_of(const UfView *target, const UfView *source)
{
    UfSource edges = {.width_px = (ptrdiff_t)source->width_px, .height_px = (ptrdiff_t)source->height_px};
    uf_source_set_edges(&edges, source);
    return uf_map_create(target, source, &edges);
}

/* The long axis of the footprint in the target, by looking round its right half; the length along it. */
static double longest(const UfJacobian *j, double along[2])
{
    double most = 0;
    for (int k = 0; k < 200000; k++) {
        const double a = UF_PI * (k / 200000.0 - 0.5), x = cos(a), y = sin(a);
        const double length = hypot(j->ux * x + j->uy * y, j->vx * x + j->vy * y);
        if (length > most) {
            most = length;
            along[0] = x;
            along[1] = y;
        }
    }
    return most;
}

/* How far a place is from the one that its place on the target's line has, in pixels of the source's equator.
 */
static double off_px(const UfMap *map, const Asked *asked, int n, double x_px, double y_px)
{
    double u, v;
    cr_assert(uf_map_point(map, x_px, y_px, &u, &v));
    const double got_u = asked->places.x[n] + (double)asked->places.right[n] + 0.5;
    const double got_v = asked->places.y[n] + (double)asked->places.down[n] + 0.5;
    const double width = (double)map->source.width_px, level = sin(UF_PI * v / (width / 2));
    const double across = fabs(got_u - u), round = fmin(across, fabs(across - width));
    return fmax(fabs(got_v - v), level * round);
}

static UfView view_of(int kind, size_t width_px)
{
    UfView view = uf_view_equirectangular(width_px);
    if (kind == 1)
        view = uf_view_face(UF_FACE_DOWN, width_px / 3);
    if (kind == 2)
        view = uf_view_planet(width_px / 3, 4.0, 0.3, true);
    if (kind != 1)
        view.rotation = uf_rotation_from_angles(0.5, 0.9, 0.2);
    return view;
}

/* 1/64 pixel is the promise. Targets too small for parabolas are found place by place. */
Test(remap_stretch, places_lie_along_the_footprint)
{
    static const size_t widths[] = {16384, 4096, 512, 256, 64};
    uint32_t state = 3;
    static Asked asked;
    for (size_t w = 0; w < sizeof widths / sizeof *widths; w++)
        for (int kind = 0; kind < 3; kind++) {
            const UfView sphere = uf_view_equirectangular(widths[w]), view = view_of(kind, widths[w]);
            const UfMap map = map_of(&view, &sphere);
            double largest = 0;
            int found = 0;
            for (int run = 0; run < 200; run++) {
                double along[2];
                const double x = floor(noise(&state) * (double)view.width_px) + 0.5;
                const double y = floor(noise(&state) * (double)view.height_px) + 0.5;
                ask(&map, x, y, &asked);
                if (!asked.stretched || y < 4 || y > (double)view.height_px - 4)
                    continue;
                const double length = longest(&asked.jacobian, along);
                if (length > 2000)
                    continue; /* on a pole */
                const double share = uf_lobe_share(length), wide = 1 + share * (length - 1);
                const double step = fmax(1, wide / 4) / length;
                found++;
                /* an upright axis may be found either way up */
                double up = 0, down = 0;
                for (int n = 0; n < asked.print.count; n++) {
                    const double t = (n - asked.print.count / 2) * step;
                    up = fmax(up, off_px(&map, &asked, n, x + t * along[0], y + t * along[1]));
                    down = fmax(down, off_px(&map, &asked, n, x - t * along[0], y - t * along[1]));
                }
                largest = fmax(largest, fabs(along[0]) < 1e-3 ? fmin(up, down) : up);
            }
            cr_expect_gt(found, 10, "%zu, kind %d: %d", widths[w], kind, found);
            cr_expect_leq(largest, 1.0 / 64, "%zu px, kind %d: %g px", widths[w], kind, largest);
        }
}

/* The series against sines. */
Test(remap_stretch, weights_are_the_windowed_sinc)
{
    uint32_t state = 8;
    const UfView sphere = uf_view_equirectangular(2048), view = view_of(0, 2048);
    const UfMap map = map_of(&view, &sphere);
    static Asked asked;
    int found = 0;
    for (int run = 0; run < 2000; run++) {
        ask(&map, floor(noise(&state) * 2048) + 0.5, floor(noise(&state) * 1024) + 0.5, &asked);
        if (!asked.stretched)
            continue;
        const double per_place = (double)asked.print.lobe_rad * UF_LOBES / UF_PI;
        double sum = 0;
        for (int n = 0; n < asked.print.count; n++)
            sum += uf_lobe_weight((n - asked.print.count / 2) * per_place, 1);
        found++;
        for (int n = 0; n < asked.print.count; n++) {
            const double wanted = uf_lobe_weight((n - asked.print.count / 2) * per_place, 1) / sum;
            const double got = (double)(asked.places.weights[n] * asked.places.share);
            cr_assert_float_eq(got, wanted, 1e-6, "place %d of %d: %g, not %g", n, asked.print.count, got,
                               wanted);
        }
        /* the next one would lie beyond the lobe */
        cr_assert((asked.print.count / 2 + 1) * per_place >= UF_LOBES * (1 - 1e-6));
        cr_assert(asked.print.count / 2 * per_place < UF_LOBES);
    }
    cr_expect_gt(found, 500);
}

/* A turned sphere, its seam and poles, and a face whose rows are low-passed: the same bits by all instruction
 * sets. */
Test(remap_stretch, every_instruction_set_blends_the_same_bits)
{
    const UfView sphere = uf_view_equirectangular(512);
    for (size_t type = 0; type < 3; type++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *source = make_picture(512, 256, channels, all_samples[type]);
            fill_noise(source, (uint32_t)(type + 10 * channels));
            for (size_t y = 0; channels % 2 == 0 && y < 256; y++)
                for (size_t x = 0; x < 512; x++)
                    if ((x / 24 + y / 24) % 3 != 0)
                        set(source, x, y, channels - 1,
                            (x / 24 + y / 24) % 3 == 1 ? 0 : sample_max(all_samples[type]));
            for (int kind = 0; kind < 3; kind++) {
                const UfView view = view_of(kind, 512);
                const UfRemapOptions options = {
                    .sampling = UF_SAMPLING_SHARP, .threads = 1, .with_alpha = kind == 0};
                uf_cpu_set_mask(0);
                UfPicture *scalar = remap(source, &sphere, &view, &options);
                uf_cpu_set_mask(UF_CPU_ALL);
                UfPicture *wide = remap(source, &sphere, &view, &options);
                cr_expect(same_bytes(scalar, wide), "%d bytes a sample, %zu channels, kind %d",
                          all_samples[type], channels, kind);
                uf_picture_free(&wide);
                uf_picture_free(&scalar);
            }
            uf_picture_free(&source);
        }
}

/* Means over footprints: boxes against integrals, tiles' footprints against exact ones, windows of light. */
#include "test_remap_support.h"

#include "base/cpu.h"
#include "remap/average.h"
#include "remap/boxes.h"
#include "remap/coarse.h"

#define WIDTH_PX  64
#define HEIGHT_PX 32

static UfSource source_of(const UfPicture *picture)
{
    UfSource source = uf_source_of_picture(picture, NULL);
    const UfView sphere = uf_view_equirectangular(uf_picture_width_px(picture));
    uf_source_set_edges(&source, &sphere);
    return source;
}

/* The pixel that stands for one beyond the edges of a sphere. */
static double light_at(const UfPicture *picture, ptrdiff_t x, ptrdiff_t y, size_t c)
{
    while (y < 0 || y >= HEIGHT_PX) {
        y = y < 0 ? -1 - y : 2 * HEIGHT_PX - 1 - y;
        x += WIDTH_PX / 2;
    }
    x = (x % WIDTH_PX + WIDTH_PX) % WIDTH_PX;
    return get(picture, (size_t)x, (size_t)y, c) / sample_max(uf_picture_sample(picture));
}

static double keys(double z)
{
    z = fabs(z);
    return z < 1 ? (1.5 * z - 2.5) * z * z + 1 : z < 2 ? ((-0.5 * z + 2.5) * z - 4) * z + 2 : 0;
}

/* What a pixel at `at` weighs in a stretch about `middle`, by the midpoint rule. */
static double weight(double middle, double length, double at)
{
    enum { STEPS = 2000 };
    double sum = 0;
    if (!(length > 0))
        return keys(middle - at);
    for (int i = 0; i < STEPS; i++)
        sum += keys(middle + length * ((i + 0.5) / STEPS - 0.5) - at);
    return sum / STEPS;
}

/* Places as UfBoxes has them, without its base. */
typedef struct Box {
    double u, v, bu, bv, lean;
} Box;

static double integral(const UfPicture *picture, const Box *box, size_t c)
{
    double sum = 0;
    for (ptrdiff_t y = (ptrdiff_t)floor(box->v - box->bv / 2) - 3; y <= box->v + box->bv / 2 + 3; y++) {
        const double down = weight(box->v, box->bv, (double)y), u = box->u + box->lean * ((double)y - box->v);
        if (down == 0)
            continue;
        for (ptrdiff_t x = (ptrdiff_t)floor(u - box->bu / 2) - 3; x <= u + box->bu / 2 + 3; x++)
            sum += down * weight(u, box->bu, (double)x) * light_at(picture, x, y, c);
    }
    return sum;
}

static Box any_box(int kind, uint32_t *state)
{
    Box box = {.u = 90 * noise(state) - 10, .v = 34 * noise(state) - 1, .bu = 0.05 + 3.9 * noise(state)};
    if (kind % 4 >= 1)
        box.bu = 0.05 + 30 * noise(state);
    if (kind % 4 >= 2)
        box.bv = 0.06 + 12 * noise(state);
    if (kind % 4 == 3)
        box.lean = 2 * noise(state) - 1;
    return box;
}

static void put(UfBoxes *boxes, size_t i, const Box *box)
{
    boxes->base_u = -100;
    boxes->base_v = -50;
    boxes->u[i] = (float)(box->u + 100);
    boxes->v[i] = (float)(box->v + 50);
    boxes->bu[i] = (float)box->bu;
    boxes->bv[i] = (float)box->bv;
    boxes->lean[i] = (float)box->lean;
}

/* All over the sphere, seam and poles included, for every size of box: the weighted mean is that of the box
 * convolved with the cubic. */
Test(remap_average, boxes_are_integrals)
{
    uint32_t state = 3;
    for (size_t channels = 1; channels <= 3; channels += 2) {
        UfPicture *picture = make_picture(WIDTH_PX, HEIGHT_PX, channels, UF_SAMPLE_U16);
        const UfSource source = source_of(picture);
        UfBoxes boxes = {0};
        UfMeans means;
        UfLight light;
        Box all[100];
        double largest = 0;
        fill_noise(picture, 7);
        cr_assert(uf_light_create(&light));
        for (size_t i = 0; i < 100; i++) {
            all[i] = any_box((int)i, &state);
            put(&boxes, i, &all[i]);
        }
        cr_assert(
            uf_boxes_mean(&boxes, 100, &light, &source, UF_SAMPLE_U16, channels, uf_cpu_flags(), means));
        for (size_t i = 0; i < 100; i++)
            for (size_t c = 0; c < channels; c++)
                largest =
                    fmax(largest, fabs((double)means[i * channels + c] - integral(picture, &all[i], c)));
        cr_expect_leq(largest, 1e-5, "%zu channels: %g", channels, largest);
        uf_light_free(&light);
        uf_picture_free(&picture);
    }
}

/* In parts that fit into the room, the means are the same as one by one; what is too large alone is refused.
 */
Test(remap_average, boxes_too_large_for_the_room_are_taken_in_parts)
{
    const size_t width = 8192;
    UfPicture *picture = make_picture(width, width / 2, 1, UF_SAMPLE_U8);
    const UfSource source = source_of(picture);
    UfBoxes boxes = {.base_u = -20000, .base_v = -20000}, one = boxes;
    UfMeans together, alone;
    UfLight light;
    fill_noise(picture, 5);
    cr_assert(uf_light_create(&light));
    for (size_t i = 0; i < UF_BOXES_MAX; i++) {
        boxes.u[i] = 20000 + 31.4f * (float)i;
        boxes.v[i] = 20000 + 15.7f * (float)i;
        boxes.bu[i] = 60;
        boxes.bv[i] = 50;
    }
    cr_assert(
        uf_boxes_mean(&boxes, UF_BOXES_MAX, &light, &source, UF_SAMPLE_U8, 1, uf_cpu_flags(), together));
    for (size_t i = 0; i < UF_BOXES_MAX; i++) {
        one.u[0] = boxes.u[i];
        one.v[0] = boxes.v[i];
        one.bu[0] = boxes.bu[i];
        one.bv[0] = boxes.bv[i];
        cr_assert(uf_boxes_mean(&one, 1, &light, &source, UF_SAMPLE_U8, 1, uf_cpu_flags(), alone));
        cr_expect_eq(memcmp(&together[i], alone, sizeof alone[0]), 0, "box %zu", i);
    }
    boxes.bu[0] = 8000;
    boxes.bv[0] = 400;
    cr_expect_not(uf_boxes_mean(&boxes, 1, &light, &source, UF_SAMPLE_U8, 1, uf_cpu_flags(), together));
    uf_light_free(&light);
    uf_picture_free(&picture);
}

/* Boxes have the footprint's variances, less what the source's pixels have already. */
Test(remap_average, boxes_have_the_moments_of_footprints)
{
    static const double jacobians[][4] = {
        {2, 0, 0, 1}, {3, 1, -1, 2}, {0.5, 0.2, 2, 1}, {1, 0, 0, 1}, {40, 9, 7, 30}};
    UfSlopes slopes = {0};
    UfBoxes boxes;
    for (size_t i = 0; i < 5; i++) {
        slopes.ux[i] = (float)jacobians[i][0];
        slopes.uy[i] = (float)jacobians[i][1];
        slopes.vx[i] = (float)jacobians[i][2];
        slopes.vy[i] = (float)jacobians[i][3];
    }
    uf_boxes_size(&slopes, 5, 1000, uf_cpu_flags(), &boxes);
    for (size_t i = 0; i < 5; i++) {
        const double ux = jacobians[i][0], uy = jacobians[i][1], vx = jacobians[i][2], vy = jacobians[i][3];
        const double level = fmax(vx * vx + vy * vy, 1), uv = ux * vx + uy * vy;
        const double wide = ux * ux + uy * uy - uv * uv / level - 1, high = vx * vx + vy * vy - 1;
        cr_expect_float_eq((double)boxes.bu[i], fmax(sqrt(fmax(wide, 0)), UF_BOX_LEAST_PX),
                           1e-4 * fmax(1, wide));
        cr_expect_float_eq((double)boxes.bv[i], sqrt(fmax(high, 0)), 1e-5 * fmax(1, high));
        cr_expect_float_eq((double)boxes.lean[i], uv / level, 1e-5);
    }
}

/* Places and slopes of a tile, whole and in parts, against those of the exact path. */
static void check_tile(const UfMap *map, size_t x_px, size_t y_px, size_t side, size_t *fitted)
{
    const size_t nodes = side == UF_TILE_PX ? 5 : 2 * UF_TILE_PX / side + 1; /* at least four */
    UfLattice lattice;
    UfTile tile;
    UfCoarse coarse;
    UfMapColumns columns;
    uf_lattice_fill(map, x_px, y_px, side / 2, nodes, &lattice);
    for (size_t y = 0; y < UF_TILE_PX; y += side)
        for (size_t x = 0; x < UF_TILE_PX; x += side) {
            if (!uf_tile_fit(&lattice, x / side, y / side, &tile))
                return;
            uf_coarse_add(map, &tile, x, y, side, false, uf_cpu_flags(), &coarse);
        }
    uf_coarse_finish(map, UF_TILE_PX, UF_TILE_PX, uf_cpu_flags(), &coarse);
    (*fitted)++;
    for (size_t i = 0; i < (size_t)UF_TILE_PX * UF_TILE_PX; i += 7) {
        const double x = (double)(x_px + i % UF_TILE_PX), y = (double)(y_px + i / UF_TILE_PX);
        UfMapRow rows[3];
        uf_map_columns(map, x - 0.5, 3, &columns);
        for (int k = 0; k < 3; k++)
            uf_map_row(map, &columns, x - 0.5, y - 0.5 + k, 3, &rows[k]);
        const UfJacobian j = uf_map_jacobian(map, &rows[0], &rows[1], &rows[2], 1);
        /* boxes lie about the pixel's mean place */
        double u_mean = 0, v_mean = 0;
        for (int k = 0; k < 64; k++) {
            double u, v;
            cr_assert(uf_map_point(map, x + (k % 8 + 0.5) / 8, y + (k / 8 + 0.5) / 8, &u, &v));
            u_mean += remainder(u - rows[1].u_px[1], map->round_px) / 64;
            v_mean += (v - rows[1].v_px[1]) / 64;
        }
        const double off_u = remainder((double)coarse.boxes.base_u + (double)coarse.boxes.u[i] + 0.5 -
                                           rows[1].u_px[1] - u_mean,
                                       map->round_px);
        const double off_v =
            (double)coarse.boxes.base_v + (double)coarse.boxes.v[i] + 0.5 - rows[1].v_px[1] - v_mean;
        const double largest = fmax(1, fmax(fabs(j.ux) + fabs(j.uy), fabs(j.vx) + fabs(j.vy)));
        cr_expect_leq(fabs(off_u), 1.0 / 64, "place %g", off_u);
        cr_expect_leq(fabs(off_v), 1.0 / 64, "place %g", off_v);
        cr_expect_leq(fabs((double)coarse.slopes.ux[i] - j.ux), 0.01 * largest);
        cr_expect_leq(fabs((double)coarse.slopes.uy[i] - j.uy), 0.01 * largest);
        cr_expect_leq(fabs((double)coarse.slopes.vx[i] - j.vx), 0.01 * largest);
        cr_expect_leq(fabs((double)coarse.slopes.vy[i] - j.vy), 0.01 * largest);
        cr_expect_leq(fabs((double)coarse.share[i] - uf_average_share(&j)), 0.05);
    }
}

/* 16384 wide: faces, of which down has the pole and back the seam, and a planet coarser than they are. */
Test(remap_average, footprints_of_tiles_are_those_of_the_exact_path)
{
    const UfView sphere = uf_view_equirectangular(16384);
    const UfView views[] = {uf_view_face(UF_FACE_DOWN, 5215), uf_view_face(UF_FACE_BACK, 5215),
                            uf_view_face(UF_FACE_UP, 1700), uf_view_planet(4096, 4.8, 0.4, false)};
    UfSource edges = {.width_px = 16384, .height_px = 8192};
    uint32_t state = 11;
    uf_source_set_edges(&edges, &sphere);
    for (size_t k = 0; k < 4; k++) {
        const UfMap map = uf_map_create(&views[k], &sphere, &edges);
        const double middle = (double)views[k].width_px / 2;
        size_t fitted[3] = {0};
        for (int run = 0; run < 40; run++) {
            /* all over, and close to the middle */
            const double reach = run % 2 == 0 ? middle - 40 : 300;
            const size_t x = (size_t)(middle + reach * (2 * noise(&state) - 1)) / 16 * 16;
            const size_t y = (size_t)(middle + reach * (2 * noise(&state) - 1)) / 16 * 16;
            for (size_t part = 0; part < 3; part++)
                check_tile(&map, x, y, UF_TILE_PX >> part, &fitted[part]);
        }
        cr_expect_gt(fitted[0], 5);
        cr_expect_geq(fitted[1], fitted[0]);
        cr_expect_geq(fitted[2], fitted[1]);
    }
}

/* Waves four pixels of a target of scale_px long, each channel's in another direction. */
static UfPicture *waves(const UfView *sphere, double scale_px)
{
    UfPicture *picture = make_picture(sphere->width_px, sphere->height_px, 3, UF_SAMPLE_F32);
    const double rate = 2 * UF_PI * scale_px / 4;
    for (size_t y = 0; y < sphere->height_px; y++)
        for (size_t x = 0; x < sphere->width_px; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(sphere, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            set(picture, x, y, 0, 0.5 + 0.5 * cos(rate * d.x));
            set(picture, x, y, 1, 0.5 + 0.5 * cos(rate * d.z));
            set(picture, x, y, 2, 0.5 + 0.5 * cos(rate * 0.7 * (d.x + d.z)));
        }
    return picture;
}

/* The 10 x 10 pixels about the middle. */
enum { ABOUT = 10, ABOUT_ALL = ABOUT * ABOUT };

static void find_middle(const UfMap *map, UfAveraged *out, float *values)
{
    const double from = (double)map->target.width_px / 2 - ABOUT / 2;
    for (size_t i = 0; i < ABOUT_ALL; i++) {
        const double x = from + (double)(i % ABOUT), y = from + (double)(i / ABOUT);
        UfMapColumns columns;
        UfMapRow rows[3];
        uf_map_columns(map, x - 0.5, 3, &columns);
        for (int k = 0; k < 3; k++)
            uf_map_row(map, &columns, x - 0.5, y - 0.5 + k, 3, &rows[k]);
        out[i] = (UfAveraged){.x_px = x + 0.5,
                              .y_px = y + 0.5,
                              .u_px = rows[1].u_px[1],
                              .v_px = rows[1].v_px[1],
                              .share = 1,
                              .jacobian = uf_map_jacobian(map, &rows[0], &rows[1], &rows[2], 1),
                              .pixel = (uint8_t *)(values + 3 * i)};
    }
}

/* About a pole, where squares are bent, the boxes of their parts give what many points of them give. */
Test(remap_average, parts_of_pixels_about_a_pole_are_as_good_as_points)
{
    const UfView sphere = uf_view_equirectangular(2048);
    for (int i = 0; i < 6; i++) {
        const size_t sides[3] = {652, 650, 217};
        const UfView view =
            uf_view_face(i % 2 == 0 ? UF_FACE_DOWN : UF_FACE_UP, sides[i / 2] + (size_t)i / 4);
        UfPicture *picture = waves(&sphere, view.scale_px);
        const UfSource source = source_of(picture);
        const UfMap map = uf_map_create(&view, &sphere, &source);
        UfTransfer *transfer = NULL;
        UfKernels kernels;
        UfLight light;
        UfAveraged pixels[ABOUT_ALL];
        static float by_parts[3 * ABOUT_ALL], by_points[3 * ABOUT_ALL];
        double largest = 0;
        cr_assert_eq(uf_transfer_create(picture, &transfer, NULL), UF_OK);
        cr_assert(uf_light_create(&light));
        uf_kernels_init(&kernels, UF_SAMPLE_F32, 3, false, 0);
        const UfAverager averager = {.map = &map,
                                     .source = &source,
                                     .transfer = transfer,
                                     .sum_bilinear = kernels.sum_bilinear,
                                     .sum_bicubic = kernels.sum_bicubic,
                                     .sample = UF_SAMPLE_F32,
                                     .channels = 3,
                                     .cpu_flags = uf_cpu_flags()};
        find_middle(&map, pixels, by_parts);
        uf_average_pixels(&averager, pixels, ABOUT_ALL, &light);
        find_middle(&map, pixels, by_points);
        uf_average_pixels(&averager, pixels, ABOUT_ALL, NULL);
        for (size_t k = 0; k < (size_t)3 * ABOUT_ALL; k++)
            largest = fmax(largest, fabs((double)by_parts[k] - (double)by_points[k]));
        cr_log_info("%zu: %g", view.width_px, largest);
        cr_expect_leq(largest, 0.01, "%zu: %g", view.width_px, largest);
        uf_light_free(&light);
        uf_transfer_free(&transfer);
        uf_picture_free(&picture);
    }
}

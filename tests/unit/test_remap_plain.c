/* Plain tiles: places between few exact ones, and each instruction set's kernels against the scalar ones. */
#include "test_remap_support.h"

#include "base/cpu.h"
#include "remap/plain.h"
#include "remap/tile.h"

static UfSource edges_of(const UfView *view)
{
    UfSource source = {.width_px = (ptrdiff_t)view->width_px, .height_px = (ptrdiff_t)view->height_px};
    uf_source_set_edges(&source, view);
    return source;
}

static UfRotation any_rotation(uint32_t *state)
{
    return uf_rotation_from_angles(6 * noise(state), 3 * noise(state) - 1.5, 6 * noise(state));
}

/* As fine as a panorama 16384 wide. */
static UfView fine_view(UfProjection projection, uint32_t *state)
{
    UfView view = uf_view_equirectangular(16384);
    if (projection != UF_PROJECTION_EQUIRECTANGULAR)
        view = (UfView){.projection = projection,
                        .scale_px = 16384 / (2 * UF_PI),
                        .centre_x_px = 4096,
                        .centre_y_px = 4096,
                        .width_px = 8192,
                        .height_px = 8192};
    view.rotation = any_rotation(state);
    return view;
}

/* The place that a tile gives for a pixel, against the one computed for it. Returns the error in pixels. */
static double error_at(const UfMap *map, const UfTile *tile, size_t left_px, size_t top_px, size_t x,
                       size_t y)
{
    const double s = ((double)x + 0.5) / UF_NODE_PX - 1, t = ((double)y + 0.5) / UF_NODE_PX - 1;
    double u = (double)tile->base_u, v = (double)tile->base_v, u_px, v_px, power_t = 1;
    for (size_t i = 0; i < 3; i++, power_t *= t) {
        u += power_t * (tile->u[i][0] + s * (tile->u[i][1] + s * tile->u[i][2]));
        v += power_t * (tile->v[i][0] + s * (tile->v[i][1] + s * tile->v[i][2]));
    }
    if (!uf_map_point(map, (double)(left_px + x) + 0.5, (double)(top_px + y) + 0.5, &u_px, &v_px)) {
        const double u_far = (double)map->source.width_px, v_far = (double)map->source.height_px, near = 0.01;
        bool inside = u > near && v > near && u < u_far - near && v < v_far - near;
        return inside ? INFINITY : 0;
    }
    double off = fabs(u - u_px);
    if (map->wraps)
        off = fmin(off, fabs(off - map->round_px));
    return fmax(off, fabs(v - v_px));
}

static double block_error(const UfMap *map, size_t left_px, size_t top_px, size_t *fitted)
{
    static UfLattice lattice;
    double largest = 0;
    uf_lattice_fill(map, left_px, top_px, UF_NODE_PX, UF_NODES, &lattice);
    for (size_t k = 0; k < 64; k++) {
        UfTile tile;
        size_t left = left_px + k % 8 * UF_TILE_PX, top = top_px + k / 8 * UF_TILE_PX;
        if (!uf_tile_fit(&lattice, k % 8, k / 8, &tile))
            continue;
        (*fitted)++;
        for (size_t y = 0; y < UF_TILE_PX; y += 5)
            for (size_t x = 0; x < UF_TILE_PX; x += 3)
                largest = fmax(largest, error_at(map, &tile, left, top, x, y));
    }
    return largest;
}

/* In the inner part, where every projection has something to show. */
static size_t block_of(size_t side_px, double part)
{
    return (size_t)((0.15 + 0.7 * part) * (double)(side_px / UF_BLOCK_PX)) * UF_BLOCK_PX;
}

/* 1/64 pixel is the promise, for every pair of projections, wherever in the picture. */
Test(remap_plain, places_between_the_exact_ones)
{
    uint32_t state = 23;
    for (int pair = 0; pair < UF_PROJECTION_COUNT * UF_PROJECTION_COUNT; pair++) {
        UfView target = fine_view((UfProjection)(pair / UF_PROJECTION_COUNT), &state);
        UfView source = fine_view((UfProjection)(pair % UF_PROJECTION_COUNT), &state);
        UfSource edges = edges_of(&source);
        UfMap map = uf_map_create(&target, &source, &edges);
        size_t fitted = 0;
        double largest = 0;
        for (int run = 0; run < 12; run++) {
            size_t x = block_of(target.width_px, noise(&state));
            size_t y = block_of(target.height_px, noise(&state));
            largest = fmax(largest, block_error(&map, x, y, &fitted));
        }
        cr_expect_leq(largest, 1.0 / 64, "pair %d: %g px", pair, largest);
        cr_expect_gt(fitted, 20, "pair %d: %zu", pair, fitted);
    }
}

/* The blocks round a pole and along the seam of the source, and the corner of a face. */
Test(remap_plain, places_at_poles_seam_and_face_corners)
{
    UfView sphere = uf_view_equirectangular(16384);
    UfSource edges = edges_of(&sphere);
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        UfView view = uf_view_face((UfFace)face, 5120);
        UfMap map = uf_map_create(&view, &sphere, &edges);
        const size_t middle = 2560 - UF_BLOCK_PX, ends[3] = {0, middle, 5120 - UF_BLOCK_PX};
        size_t fitted = 0;
        double largest = 0;
        for (int i = 0; i < 9; i++)
            largest = fmax(largest, block_error(&map, ends[i % 3], ends[i / 3], &fitted));
        largest = fmax(largest, block_error(&map, middle + UF_BLOCK_PX, middle + UF_BLOCK_PX, &fitted));
        cr_expect_leq(largest, 1.0 / 64, "%s: %g px", uf_face_name((UfFace)face), largest);
        cr_expect_gt(fitted, 300);
    }
}

/* Of pixels that lie within a tile: theirs, to half of 2^-13, which is what floats hold of 1024 pixels. */
Test(remap_plain, tiles_of_places_are_exact)
{
    uint32_t state = 5;
    UfExactPlaces places;
    UfTilePlaces room;
    UfTile tile;
    for (size_t y = 0; y < UF_TILE_PX; y++)
        for (size_t x = 0; x < UF_TILE_PX; x++) {
            places.u_px[y][x] = 7000 + 1000 * noise(&state);
            places.v_px[y][x] = 4090 + 3 * noise(&state);
        }
    cr_assert(uf_tile_of_places(&places, 11, 16, &room, &tile));
    for (size_t y = 0; y < UF_TILE_PX; y++)
        for (size_t x = 0; x < 11; x++) {
            const UfPixelPoint at = uf_tile_pixel(&tile, x, y);
            cr_assert_float_eq(at.x_px, places.u_px[y][x], 0.5 / 8192);
            cr_assert_float_eq(at.y_px, places.v_px[y][x], 0.5 / 8192);
            cr_assert(at.x_px > (double)tile.base_u + 2 && at.x_px < (double)(tile.base_u + tile.reach_u));
            cr_assert(at.y_px > (double)tile.base_v + 2 && at.y_px < (double)(tile.base_v + tile.reach_v));
        }
    places.u_px[15][10] = 5000;
    cr_expect_not(uf_tile_of_places(&places, 11, 16, &room, &tile), "they lie too far apart");
    cr_expect(uf_tile_of_places(&places, 11, 15, &room, &tile), "that one is not asked for");
    places.v_px[0][3] = NAN;
    cr_expect_not(uf_tile_of_places(&places, 11, 15, &room, &tile), "one is missing");
}

static void sprinkle_holes(UfPicture *picture, uint32_t seed)
{
    size_t alpha = uf_picture_channels(picture) - 1;
    double max = sample_max(uf_picture_sample(picture));
    for (size_t y = 0; y < uf_picture_height_px(picture); y++)
        for (size_t x = 0; x < uf_picture_width_px(picture); x++)
            set(picture, x, y, alpha, (x / 24 + y / 24) % 3 == 0 ? noise(&seed) * max : max);
}

/* Whatever the processor: the same bits, down to the last one. */
static void expect_the_same_bits(const UfPicture *source, const UfView *from, const UfView *to,
                                 const UfRemapOptions *options, const char *what)
{
    static const unsigned masks[] = {UF_CPU_AVX2, UF_CPU_ALL};
    uf_cpu_set_mask(0);
    UfPicture *scalar = remap(source, from, to, options);
    for (size_t m = 0; m < sizeof masks / sizeof *masks; m++) {
        uf_cpu_set_mask(masks[m]);
        UfPicture *wide = remap(source, from, to, options);
        cr_expect(same_bytes(scalar, wide),
                  "%s: %d bytes a sample, %zu channels, sampling %d, alpha %d, mask %u", what,
                  uf_picture_sample(source), uf_picture_channels(source), options->sampling,
                  options->with_alpha, masks[m]);
        uf_picture_free(&wide);
    }
    uf_cpu_set_mask(UF_CPU_ALL);
    uf_picture_free(&scalar);
}

/* As finely drawn as a panorama 8192 wide: there all tiles but those on the edges are plain. */
Test(remap_plain, every_instruction_set_gives_the_same_bits)
{
    static const UfSampling samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR, UF_SAMPLING_SHARP};
    UfView from = uf_view_rectilinear(210, 150, 210 / 1304.0, uf_rotation_from_angles(0, 0, 0));
    UfView to = uf_view_rectilinear(203, 141, 203 / 1310.0, uf_rotation_from_angles(0.004, 0.003, 0.05));
    for (size_t type = 0; type < 3; type++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *source = make_picture(210, 150, channels, all_samples[type]);
            fill_noise(source, (uint32_t)(type + 10 * channels));
            if (channels % 2 == 0)
                sprinkle_holes(source, 77);
            for (int k = 0; k < 6; k++) {
                const UfRemapOptions options = {
                    .sampling = samplings[k % 3], .threads = 1, .with_alpha = k >= 3};
                expect_the_same_bits(source, &from, &to, &options, "flat");
            }
            uf_picture_free(&source);
        }
}

/* Seam, poles and rows that are low-passed. */
Test(remap_plain, every_instruction_set_gives_the_same_bits_on_the_sphere)
{
    static const UfSampling samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR, UF_SAMPLING_SHARP};
    const UfView sphere = uf_view_equirectangular(1024);
    const UfRotation seam = uf_rotation_from_angles(3.1, 0.2, 0.4);
    UfView turned = uf_view_equirectangular(260);
    turned.rotation = uf_rotation_from_angles(0.3, 0.2, 0.1);
    const UfView views[] = {uf_view_face(UF_FACE_DOWN, 326), uf_view_rectilinear(220, 110, 1.2, seam), turned,
                            uf_view_planet(220, 4.5, 0.7, true)};
    for (size_t type = 0; type < 3; type++) {
        UfPicture *source = make_picture(1024, 512, 3, all_samples[type]);
        fill_noise(source, (uint32_t)type);
        for (size_t k = 0; k < 4; k++) {
            const UfRemapOptions options = {.sampling = samplings[(type + k) % 3], .threads = 1};
            expect_the_same_bits(source, &sphere, &views[k], &options, "sphere");
        }
        const UfRemapOptions sharp = {.sampling = UF_SAMPLING_SHARP, .threads = 1};
        expect_the_same_bits(source, &sphere, &views[0], &sharp, "face down");
        const UfRemapOptions interpolated = {
            .sampling = samplings[type % 2], .threads = 1, .interpolates_only = true};
        expect_the_same_bits(source, &sphere, &views[0], &interpolated, "face down, interpolated");
        uf_picture_free(&source);
    }
}

/* Averaged pixels, upright and leaning, all samples and channels, with holes: a wide view that is averaged
 * all over, and one in which averaging sets in. */
Test(remap_plain, every_instruction_set_gives_the_same_means)
{
    const UfView sphere = uf_view_equirectangular(512);
    UfView turned = uf_view_equirectangular(200);
    turned.rotation = uf_rotation_from_angles(0.3, 0.2, 0.1);
    const UfView views[] = {uf_view_face(UF_FACE_UP, 150), turned, uf_view_planet(120, 4.5, 0.7, false)};
    for (size_t type = 0; type < 3; type++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *source = make_picture(512, 256, channels, all_samples[type]);
            fill_noise(source, (uint32_t)(type + 10 * channels));
            if (channels % 2 == 0)
                sprinkle_holes(source, 77);
            for (size_t k = 0; k < 6; k++) {
                const UfRemapOptions options = {
                    .sampling = UF_SAMPLING_BICUBIC, .threads = 1, .with_alpha = k >= 3};
                expect_the_same_bits(source, &sphere, &views[k % 3], &options, "means");
            }
            uf_picture_free(&source);
        }
}

/* The tile's kernel against the exact one, which is double precision throughout: one code, where a place
 * rounds. */
Test(remap_plain, values_are_those_of_the_exact_kernel)
{
    enum { SIDE = 64 };
    const double allowed[3] = {
        1, 3, 4e-5}; /* places are single precision: 2^-18 pixel, times a step of the noise */
    const UfTile tile = {.base_u = 10,
                         .base_v = 12,
                         .reach_u = 24,
                         .reach_v = 24,
                         .u = {{11.3, 7.1, 0.07}, {0.9, 0.03, 0}, {-0.05, 0, 0}},
                         .v = {{12.9, -0.4, 0.02}, {7.7, 0.05, 0}, {0.11, 0, 0}}};
    for (size_t type = 0; type < 3; type++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (int cubic = 0; cubic < 2; cubic++) {
                UfPicture *picture = make_picture(SIDE, SIDE, channels, all_samples[type]);
                UfPicture *out = make_picture(UF_TILE_PX, UF_TILE_PX, channels, all_samples[type]);
                UfPicture *exact = make_picture(UF_TILE_PX, UF_TILE_PX, channels, all_samples[type]);
                fill_noise(picture, 5);
                if (channels % 2 == 0)
                    sprinkle_holes(picture, 6);
                UfKernels kernels;
                uf_kernels_init(&kernels, all_samples[type], channels, false, 0);
                UfSource source = uf_source_of_picture(picture, NULL);
                const UfSampling sampling = cubic ? UF_SAMPLING_BICUBIC : UF_SAMPLING_BILINEAR;
                const UfPlain plain = {&source, cubic ? kernels.bicubic : kernels.bilinear};
                cr_assert(uf_plain_holds(&source, &tile));
                uf_plain_tile(sampling, all_samples[type], channels, false,
                              uf_cpu_flags())(&plain, &tile, UF_TILE_PX, UF_TILE_PX, uf_picture_row(out, 0),
                                              uf_picture_stride_bytes(out));
                for (size_t y = 0; y < UF_TILE_PX; y++)
                    for (size_t x = 0; x < UF_TILE_PX; x++) {
                        const double s = ((double)x + 0.5) / UF_NODE_PX - 1,
                                     t = ((double)y + 0.5) / UF_NODE_PX - 1;
                        double at[2];
                        for (int k = 0; k < 2; k++) {
                            const double(*of)[3] = k == 0 ? tile.u : tile.v;
                            at[k] = of[0][0] + s * (of[0][1] + s * of[0][2]) + t * (of[1][0] + s * of[1][1]) +
                                    t * t * of[2][0];
                        }
                        at[0] += 10;
                        at[1] += 12;
                        plain.exact(&source, &at[0], &at[1], 1,
                                    (uint8_t *)uf_picture_row(exact, y) +
                                        x * channels * (size_t)all_samples[type]);
                    }
                double off = largest_difference(out, exact);
                cr_expect_leq(off, allowed[type], "type %zu, %zu channels, cubic %d: %g", type, channels,
                              cubic, off);
                uf_picture_free(&picture);
                uf_picture_free(&out);
                uf_picture_free(&exact);
            }
}

/* A place that a tile gives, computed once more. */
static void place_in(const UfTile *tile, size_t x, size_t y, double at[2])
{
    const double s = ((double)x + 0.5) / UF_NODE_PX - 1, t = ((double)y + 0.5) / UF_NODE_PX - 1;
    for (int k = 0; k < 2; k++) {
        const double(*of)[3] = k == 0 ? tile->u : tile->v;
        at[k] = (double)(k == 0 ? tile->base_u : tile->base_v);
        for (int i = 2; i >= 0; i--)
            at[k] += pow(t, i) * (of[i][0] + s * (of[i][1] + s * of[i][2]));
    }
}

/* Codes of the 8-bit kernels, which count in whole numbers, against the same samples as floats through the
 * exact kernel: they are off by what rounding does and by less than a tenth of a code. Contrast is the
 * largest there is. */
Test(remap_plain, bytes_are_within_a_tenth_of_a_code)
{
    enum { SIDE = 64 };
    uint32_t state = 9;
    UfPicture *bytes = make_picture(SIDE, SIDE, 3, UF_SAMPLE_U8),
              *floats = make_picture(SIDE, SIDE, 3, UF_SAMPLE_F32);
    UfPicture *out = make_picture(UF_TILE_PX, UF_TILE_PX, 3, UF_SAMPLE_U8);
    for (size_t i = 0; i < (size_t)SIDE * SIDE * 3; i++) {
        const double code = noise(&state) < 0.5 ? 0 : 255;
        set(bytes, i / 3 % SIDE, i / 3 / SIDE, i % 3, code);
        set(floats, i / 3 % SIDE, i / 3 / SIDE, i % 3, code);
    }
    const UfSource source = uf_source_of_picture(bytes, NULL), truth = uf_source_of_picture(floats, NULL);
    double largest = 0;
    for (int run = 0; run < 200; run++) {
        const bool cubic = run % 2 == 1;
        const UfTile tile = {
            .base_u = 10,
            .base_v = 12,
            .reach_u = 30,
            .reach_v = 30,
            .u = {{11 + 2 * noise(&state), 7 * noise(&state), 0.1}, {noise(&state), 0.03, 0}},
            .v = {{12 + 2 * noise(&state), noise(&state), 0.02}, {7 * noise(&state), 0.05, 0}}};
        UfKernels kernels;
        uf_kernels_init(&kernels, UF_SAMPLE_F32, 3, false, 0);
        const UfPlain plain = {&source, NULL};
        cr_assert(uf_plain_holds(&source, &tile));
        uf_plain_tile(cubic ? UF_SAMPLING_BICUBIC : UF_SAMPLING_BILINEAR, UF_SAMPLE_U8, 3, false,
                      run % 4 < 2 ? 0 : uf_cpu_flags())(&plain, &tile, UF_TILE_PX, UF_TILE_PX,
                                                        uf_picture_row(out, 0), uf_picture_stride_bytes(out));
        for (size_t i = 0; i < (size_t)UF_TILE_PX * UF_TILE_PX; i++) {
            double at[2];
            float exact[3];
            place_in(&tile, i % UF_TILE_PX, i / UF_TILE_PX, at);
            (cubic ? kernels.bicubic : kernels.bilinear)(&truth, &at[0], &at[1], 1, exact);
            for (size_t c = 0; c < 3; c++)
                largest = fmax(largest, fabs(fmin(fmax((double)exact[c], 0), 255) -
                                             get(out, i % UF_TILE_PX, i / UF_TILE_PX, c)));
        }
    }
    cr_log_info("%.4f codes", largest);
    cr_expect_leq(largest, 0.5 + 0.1, "%g codes", largest);
    uf_picture_free(&bytes);
    uf_picture_free(&floats);
    uf_picture_free(&out);
}

static size_t changed_outside(const uint8_t *bytes, size_t stride, size_t rows, size_t row_bytes, size_t left)
{
    size_t changed = 0;
    for (size_t i = 0; i < stride * (rows + 2); i++) {
        bool inside =
            i / stride >= 1 && i / stride <= rows && i % stride >= left && i % stride < left + row_bytes;
        changed += !inside && bytes[i] != 0xa5;
    }
    return changed;
}

/* Another thread may be writing there: vectors hold more than a pixel. */
Test(remap_plain, nothing_is_written_beside_a_tile)
{
    enum { SIDE = 64, ROWS = 3, LEFT = 64, STRIDE = 512 };
    static uint8_t out[STRIDE * (ROWS + 2)];
    const UfTile tile = {.base_u = 10,
                         .base_v = 12,
                         .reach_u = 24,
                         .reach_v = 24,
                         .u = {{11.3, 7.1, 0.07}, {0.9, 0.03, 0}},
                         .v = {{12.9, -0.4, 0.02}, {7.7, 0.05, 0}}};
    static const UfSampling samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR};
    for (size_t type = 0; type < 3; type++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *picture = make_picture(SIDE, SIDE, channels, all_samples[type]);
            fill_noise(picture, 5);
            const UfSource source = uf_source_of_picture(picture, NULL);
            for (size_t k = 0; k < 4 * UF_TILE_PX; k++) {
                const bool cubic = k % 2 == 0, adds_alpha = channels % 2 == 1 && k / 2 % 2 == 1;
                const size_t width = k / 4 + 1, many = channels + adds_alpha;
                UfKernels kernels;
                uf_kernels_init(&kernels, all_samples[type], channels, adds_alpha, 0);
                const UfPlain plain = {&source, cubic ? kernels.bicubic : kernels.bilinear};
                memset(out, 0xa5, sizeof out);
                uf_plain_tile(samplings[k % 2], all_samples[type], channels, adds_alpha,
                              uf_cpu_flags())(&plain, &tile, width, ROWS, out + STRIDE + LEFT, STRIDE);
                cr_expect_eq(
                    changed_outside(out, STRIDE, ROWS, width * many * (size_t)all_samples[type], LEFT), 0,
                    "%zu channels of type %zu, alpha %d, %zu wide", channels, type, adds_alpha, width);
            }
            uf_picture_free(&picture);
        }
}

/*
 * The smooth fill carries the ring's grain. Panoramas are stitched here from six noisy faces, as a camera's
 * frames are, so that their grain is as even on the sphere as a real one, and looked at straight up, one
 * pixel of the view for one of the panorama's equator.
 */
#include "test_patch_support.h"

#include <stdlib.h>

#include <underfoot/wrap.h>

#include "patch/grain.h"
#include "base/cpu.h"
#include "patch/grain_tile.h"

#define WIDTH 1024u
#define SIDE  330u /* of the view: a little more than 90 degrees */

typedef struct Noise {
    double sigma[3];  /* of 255 */
    double common;    /* share of the variance that all channels have in common */
    int blur;         /* passes of a 3 x 3 mean */
    double low, high; /* the sky's values at its edge and in its middle */
} Noise;

static uint32_t state;

static double uniform(void)
{
    state = state * 1664525U + 1013904223U;
    return ((double)(state >> 8) + 0.5) / 16777216.0;
}

static double normal(void)
{
    return sqrt(-2 * log(uniform())) * cos(2 * UF_PI * uniform());
}

/* Mean of 3 x 3, with the edges' pixels repeated, and the variance brought back. */
static void blur(float *field, size_t side)
{
    float *from = malloc(side * side * sizeof *from);
    cr_assert_not_null(from);
    memcpy(from, field, side * side * sizeof *from);
    double before = 0, after = 0;
    for (size_t y = 0; y < side; y++)
        for (size_t x = 0; x < side; x++) {
            double sum = 0;
            for (int k = 0; k < 9; k++) {
                long u = (long)x + k % 3 - 1, v = (long)y + k / 3 - 1;
                u = u < 0 ? 0 : u >= (long)side ? (long)side - 1 : u;
                v = v < 0 ? 0 : v >= (long)side ? (long)side - 1 : v;
                sum += from[v * (long)side + u] / 9;
            }
            field[y * side + x] = (float)sum;
            before += from[y * side + x] * from[y * side + x];
            after += sum * sum;
        }
    for (size_t i = 0; i < side * side; i++)
        field[i] *= (float)sqrt(before / after);
    free(from);
}

static double sky_at(const Noise *noise, double up)
{
    return noise->low + (noise->high - noise->low) * (up > 0 ? up : 0);
}

static UfPicture *noisy_face(const Noise *noise, UfFace face)
{
    size_t side = uf_face_full_size_px(WIDTH);
    UfView view = uf_view_face(face, side);
    UfPicture *picture = make_picture(side, side, 3, UF_SAMPLE_F32);
    float *field[4];
    for (size_t f = 0; f < 4; f++) {
        field[f] = malloc(side * side * sizeof **field);
        cr_assert_not_null(field[f]);
        for (size_t i = 0; i < side * side; i++)
            field[f][i] = (float)normal();
        for (int k = 0; k < noise->blur; k++)
            blur(field[f], side);
    }
    for (size_t i = 0; i < side * side; i++) {
        UfDirection d;
        (void)uf_view_direction(&view, (UfPixelPoint){(double)(i % side) + 0.5, (double)(i / side) + 0.5},
                                &d);
        for (size_t c = 0; c < 3; c++) {
            double n = sqrt(1 - noise->common) * field[c][i] + sqrt(noise->common) * field[3][i];
            set(picture, i % side, i / side, c, sky_at(noise, d.y) + noise->sigma[c] / 255 * n);
        }
    }
    for (size_t f = 0; f < 4; f++)
        free(field[f]);
    return picture;
}

/* A sky of that noise. */
static UfPicture *noisy_sky(const Noise *noise, UfSample sample)
{
    UfPicture *faces[UF_FACE_COUNT], *stitched = NULL;
    UfPicture *picture = make_picture(WIDTH, WIDTH / 2, 3, sample);
    UfRemapOptions options = {.sampling = UF_SAMPLING_SHARP};
    state = 7;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        faces[f] = noisy_face(noise, (UfFace)f);
    cr_assert_eq(uf_wrap_faces((const UfPicture *const *)faces, WIDTH, &options, &stitched, NULL), UF_OK);
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++)
            for (size_t c = 0; c < 3; c++)
                set(picture, x, y, c, get(stitched, x, y, c));
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        uf_picture_free(&faces[f]);
    uf_picture_free(&stitched);
    return picture;
}

typedef struct Grains {
    double fine[3], coarse[3]; /* deviation from the mean of 3 x 3, and that from the mean of 9 x 9 */
    double common;             /* correlation of the first two channels */
} Grains;

static double mean_of(const UfPicture *view, size_t x, size_t y, size_t c, int reach)
{
    double sum = 0;
    for (int v = -reach; v <= reach; v++)
        for (int u = -reach; u <= reach; u++)
            sum += get(view, x + (size_t)u, y + (size_t)v, c);
    return sum / ((2 * reach + 1) * (2 * reach + 1));
}

/* Between two angles from the view's centre. */
static Grains grains_of(const UfPicture *view, double from_deg, double to_deg)
{
    double fine[3] = {0}, coarse[3] = {0}, product[3] = {0}, count = 0;
    Grains out;
    for (size_t y = 5; y + 5 < SIDE; y += 2)
        for (size_t x = 5; x + 5 < SIDE; x += 2) {
            double r = hypot((double)x + 0.5 - SIDE / 2.0, (double)y + 0.5 - SIDE / 2.0) * 2 * UF_PI / WIDTH;
            double angle_deg = uf_degrees(atan(r)), off[3];
            if (angle_deg < from_deg || angle_deg > to_deg)
                continue;
            for (size_t c = 0; c < 3; c++) {
                double small = mean_of(view, x, y, c, 1), large = mean_of(view, x, y, c, 4);
                fine[c] += (get(view, x, y, c) - small) * (get(view, x, y, c) - small);
                coarse[c] += (small - large) * (small - large);
                off[c] = get(view, x, y, c) - large;
            }
            product[0] += off[0] * off[1];
            product[1] += off[0] * off[0];
            product[2] += off[1] * off[1];
            count++;
        }
    cr_assert_gt(count, 100);
    for (size_t c = 0; c < 3; c++) {
        out.fine[c] = sqrt(fine[c] / count) * 255;
        out.coarse[c] = sqrt(coarse[c] / count) * 255;
    }
    out.common = product[0] / sqrt(product[1] * product[2]);
    return out;
}

static UfPicture *look_up(const UfPicture *panorama)
{
    return look(panorama, true, 0, 2 * uf_degrees(atan(SIDE / 2.0 * 2 * UF_PI / WIDTH)), SIDE);
}

static void assert_same_grain(const Noise *noise, UfSample sample, double cap_deg, const char *name)
{
    UfPicture *picture = noisy_sky(noise, sample);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, cap_deg, 2);
    options.at_zenith = true;
    patch(picture, &options);
    UfPicture *view = look_up(picture);
    Grains cap = grains_of(view, 0, cap_deg - 1), feather = grains_of(view, cap_deg + 0.3, cap_deg + 1.7);
    Grains ring = grains_of(view, cap_deg + 3, cap_deg + 12);
    for (size_t c = 0; c < 3; c++) {
        cr_log_info(
            "%s, channel %zu: fine %.2f in the ring, %.2f in the cap, %.2f in the feather; coarse %.2f, "
            "%.2f, %.2f of 255",
            name, c, ring.fine[c], cap.fine[c], feather.fine[c], ring.coarse[c], cap.coarse[c],
            feather.coarse[c]);
        cr_expect(cap.fine[c] > 0.8 * ring.fine[c] && cap.fine[c] < 1.25 * ring.fine[c]);
        cr_expect(cap.coarse[c] > 0.8 * ring.coarse[c] && cap.coarse[c] < 1.25 * ring.coarse[c]);
        cr_expect(feather.fine[c] > 0.8 * ring.fine[c] && feather.fine[c] < 1.25 * ring.fine[c]);
    }
    cr_log_info("%s: correlation %.2f, %.2f", name, ring.common, cap.common);
    cr_expect_float_eq(cap.common, ring.common, 0.12);
    uf_picture_free(&view);
    uf_picture_free(&picture);
}

Test(grain, of_the_cap_is_that_of_the_ring)
{
    const Noise fine = {{4, 2.5, 6}, 0, 0, 0.5, 0.4};
    const Noise coarse = {{3, 2, 3}, 0.7, 2, 0.5, 0.45};
    assert_same_grain(&fine, UF_SAMPLE_U8, 20, "fine, 8 bits");
    assert_same_grain(&coarse, UF_SAMPLE_U16, 10, "coarse, 16 bits");
    assert_same_grain(&fine, UF_SAMPLE_F32, 8, "fine, float");
}

static UfPicture *clean_sky(UfSample sample)
{
    const Noise none = {.low = 0.62, .high = 0.41};
    UfPicture *picture = make_picture(WIDTH, WIDTH / 2, 3, sample);
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++)
            for (size_t c = 0; c < 3; c++)
                set(picture, x, y, c, sky_at(&none, sin((0.5 - ((double)y + 0.5) / (WIDTH / 2)) * UF_PI)));
    return picture;
}

static UfGrain *grain_of(const UfPicture *picture, double cap_deg)
{
    UfGrain *grain = NULL;
    UfCap cap = {.width_px = WIDTH,
                 .height_px = WIDTH / 2,
                 .at_zenith = true,
                 .cap_rad = uf_radians(cap_deg),
                 .feather_rad = uf_radians(1),
                 .threads = 2};
    cr_assert_eq(uf_grain_measure(picture, &cap, 0, &grain, NULL), UF_OK);
    return grain;
}

/* Rounded gradients, flat ground, ground that is white or nothing, and a ring of one row: nothing is added.
 */
Test(grain, none_where_the_ring_has_none)
{
    const UfSample samples[] = {UF_SAMPLE_U8, UF_SAMPLE_U16, UF_SAMPLE_F32};
    for (size_t i = 0; i < 3; i++) {
        UfPicture *picture = clean_sky(samples[i]);
        cr_expect_null(grain_of(picture, 6));
        cr_expect_null(grain_of(picture, 35));
        cr_expect_null(grain_of(picture, 74), "at the horizon no block has room");
        uf_picture_free(&picture);
    }
    UfPicture *flat = make_picture(WIDTH, WIDTH / 2, 4, UF_SAMPLE_U8); /* transparent black */
    cr_expect_null(grain_of(flat, 20));
    for (size_t y = 0; y < WIDTH / 2; y++)
        memset(uf_picture_row(flat, y), 255, uf_picture_stride_bytes(flat));
    cr_expect_null(grain_of(flat, 20));
    uf_picture_free(&flat);
}

/* A sample of a tile that goes on for ever. */
static int sample_of(const UfGrainTile *tile, long x, long y, size_t c)
{
    const long side = (long)UF_GRAIN_TILE;
    size_t column = (size_t)(x - side * (long)floor((double)x / (double)side));
    size_t row = (size_t)(y - side * (long)floor((double)y / (double)side));
    return tile->samples[4 * (row * UF_GRAIN_SIDE + column) + c];
}

/* What a tile has at (u, v) samples by the formula of bilinear interpolation. */
static double bilinear(const UfGrainTile *tile, double u, double v, size_t c)
{
    long x = (long)floor(u), y = (long)floor(v);
    double a = u - (double)x, b = v - (double)y;
    return (1 - b) * ((1 - a) * sample_of(tile, x, y, c) + a * sample_of(tile, x + 1, y, c)) +
           b * ((1 - a) * sample_of(tile, x, y + 1, c) + a * sample_of(tile, x + 1, y + 1, c));
}

/* At places that a reading can tell apart, to the last digit, on both sides of the origin and over the tiles'
 * edges; a quarter of a turn is exact, too. By every processor's instructions. */
Test(grain, tiles_are_read_bilinearly_and_repeat)
{
    UfGrainTile tiles[UF_GRAIN_TILES] = {{NULL, {2, 0, 5, -3}}, {NULL, {0, -1, 0.5F, 100}}};
    float x[UF_GRAIN_CHUNK], y[UF_GRAIN_CHUNK];
    int32_t sums[UF_GRAIN_CHUNK][4];
    state = 11;
    for (size_t t = 0; t < UF_GRAIN_TILES; t++) {
        tiles[t].samples = malloc(UF_GRAIN_SIDE * UF_GRAIN_SIDE * 4);
        cr_assert_not_null(tiles[t].samples);
        for (size_t i = 0; i < UF_GRAIN_SIDE * UF_GRAIN_SIDE; i++) {
            size_t row = i / UF_GRAIN_SIDE % UF_GRAIN_TILE, column = i % UF_GRAIN_SIDE % UF_GRAIN_TILE;
            for (size_t c = 0; c < 4; c++)
                tiles[t].samples[4 * i + c] = (row + column + c) % 7 == 0 ? UF_GRAIN_LARGEST
                                              : (row + column + c) % 5 == 0
                                                  ? -UF_GRAIN_LARGEST - 1
                                                  : (int8_t)(row * 31 + column * 17 + c * 91);
        }
    }
    for (int round = 0; round < 200; round++) {
        for (size_t i = 0; i < UF_GRAIN_CHUNK; i++) {
            x[i] = (float)(floor(uniform() * 1e5) - 5e4) / UF_GRAIN_PLACES;
            y[i] = (float)(floor(uniform() * 1e5) - 5e4) / UF_GRAIN_PLACES;
        }
        uf_cpu_set_mask(round % 2 == 0 ? 0 : UF_CPU_ALL);
        uf_grain_read(tiles, x, y, sums);
        for (size_t i = 0; i < UF_GRAIN_CHUNK; i++)
            for (size_t c = 0; c < 4; c++) {
                double first = bilinear(&tiles[0], 2 * (double)x[i] + 5, 2 * (double)y[i] - 3, c);
                double second = bilinear(&tiles[1], (double)y[i] + 0.5, 100 - (double)x[i], c);
                cr_assert_eq((double)sums[i][c], (first + second) * UF_GRAIN_PLACES * UF_GRAIN_PLACES,
                             "at %g, %g", (double)x[i], (double)y[i]);
            }
    }
    uf_cpu_set_mask(UF_CPU_ALL);
    for (size_t t = 0; t < UF_GRAIN_TILES; t++)
        free(tiles[t].samples);
}

/* A tree over half the sky, and white glare over a quarter: the grain is the sky's. */
Test(grain, is_measured_where_it_is_quiet)
{
    UfPicture *picture = clean_sky(UF_SAMPLE_U8);
    double sum = 0;
    state = 3;
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++) {
            double noise = normal() * (x < WIDTH / 2 ? 40 : 2) / 255;
            for (size_t c = 0; c < 3; c++)
                set(picture, x, y, c,
                    x > WIDTH * 3 / 4 ? 1 : fmin(fmax(get(picture, x, y, c) + noise, 0), 1));
        }
    UfGrain *grain = grain_of(picture, 30);
    cr_assert_not_null(grain);
    /* white in the panorama's pixels is finer than pixels of the sphere: what is beyond those is not counted
     */
    double share = sqrt(sin(uf_radians(40)));
    cr_expect_float_eq(uf_grain_sigma(grain, 1) * 255, 2 * share, 0.3 * share, "%g",
                       uf_grain_sigma(grain, 1) * 255);
    /* and what is made has that variance */
    for (int i = 0; i < 10000; i++) {
        float value[4];
        uf_grain_at(grain, i % 100 * 2.7 - 130, i / 100 * 3.1 - 150, value);
        sum += (double)value[1] * (double)value[1] / 10000;
    }
    cr_expect_float_eq(sqrt(sum), uf_grain_sigma(grain, 1), 0.05 * uf_grain_sigma(grain, 1));
    uf_grain_free(&grain);
    uf_picture_free(&picture);
}

Test(grain, follows_the_seed_not_the_threads)
{
    const Noise noise = {{4, 4, 4}, 0, 0, 0.5, 0.4};
    UfPicture *one = noisy_sky(&noise, UF_SAMPLE_U8), *two = copy_picture(one), *three = copy_picture(one);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 15, 2);
    options.threads = 1;
    patch(one, &options);
    options.threads = 3;
    patch(two, &options);
    cr_expect_eq(largest_difference(one, two), 0);
    options.seed++;
    patch(three, &options);
    cr_expect_gt(largest_difference(one, three), 4 / 255.0);
    uf_picture_free(&one);
    uf_picture_free(&two);
    uf_picture_free(&three);
}

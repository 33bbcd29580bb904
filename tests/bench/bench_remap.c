/*
 * Cube faces out of a panorama, everything included, against cv::remap on maps that are ready (the faster of
 * its float and fixed maps), and against a floor: whole pixels fetched from ready offsets. There both only
 * interpolate. The face down is coarser than the panorama, though, and averaged unless one asks for less:
 * that, against a peer that averages, too, cv::remap on ready maps of twice the size and the means of each
 * 2 x 2. One thread; its processor time counts.
 *
 * What two threads gain on the wall is measured in turn with what they gain at work that shares nothing:
 * arithmetic in registers, and the floor's fetching. Two processors of a virtual machine may be one core.
 */
#include "bench/bench.h"

#include <limits.h>
#include <malloc.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/opencv_remap.h"

#define WIDTH_PX  8192
#define CHANNELS  3
#define RUNS      7
#define WALL_RUNS 15 /* what other programs do counts */

typedef struct Maps {
    OpencvMaps *floating, *fixed;
    uint32_t *offsets; /* of the nearest pixel, counted in pixels */
    UfView view;
    size_t side_px;
} Maps;

static void *room(size_t count, size_t bytes)
{
    void *got = calloc(count, bytes);
    if (got == NULL)
        bench_die("remap", "not enough memory");
    return got;
}

/* OpenCV's pixel centres are at whole numbers. */
static Maps maps_of(const UfView *view)
{
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    const size_t width = view->width_px, count = width * view->height_px;
    double *x = room(count, sizeof *x), *y = room(count, sizeof *y);
    Maps maps = {.view = *view, .side_px = width, .offsets = room(count, sizeof *maps.offsets)};
    for (size_t i = 0; i < count; i++) {
        UfDirection direction;
        UfPixelPoint at;
        UfPixelPoint pixel = {(double)(i % width) + 0.5, (double)(i / width) + 0.5};
        if (!uf_view_direction(view, pixel, &direction) || !uf_view_pixel(&sphere, direction, &at))
            bench_die("remap", "a pixel without a place");
        x[i] = at.x_px - 0.5;
        y[i] = at.y_px - 0.5;
        size_t column = (size_t)at.x_px, row = (size_t)at.y_px;
        column = column < WIDTH_PX ? column : WIDTH_PX - 1;
        row = row < WIDTH_PX / 2 ? row : WIDTH_PX / 2 - 1;
        maps.offsets[i] = (uint32_t)(row * WIDTH_PX + column);
    }
    maps.floating = opencv_maps_create(x, y, width, view->height_px, 0);
    maps.fixed = opencv_maps_create(x, y, width, view->height_px, 1);
    free(x);
    free(y);
    return maps;
}

static void maps_free(Maps *maps)
{
    opencv_maps_free(maps->floating);
    opencv_maps_free(maps->fixed);
    free(maps->offsets);
}

typedef struct Case {
    const UfPicture *panorama;
    const Maps *maps;
    const OpencvMaps *peer;
    UfSampling sampling;
    int threads;
    bool interpolates_only;
    void *out;
    void *twice; /* room for four times as many pixels */
} Case;

static void ours(void *data)
{
    const Case *at = data;
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    const UfRemapOptions options = {
        .sampling = at->sampling, .threads = at->threads, .interpolates_only = at->interpolates_only};
    UfReport *report = uf_report_create();
    UfPicture *out = NULL;
    if (uf_remap(at->panorama, &sphere, &at->maps->view, &options, &out, report) != UF_OK)
        bench_die("remap", uf_report_error(report));
    uf_picture_free(&out);
    uf_report_free(&report);
}

static OpencvKernel kernel_of(const Case *at)
{
    return at->sampling == UF_SAMPLING_BILINEAR ? OPENCV_LINEAR : OPENCV_CUBIC;
}

static void theirs(void *data)
{
    const Case *at = data;
    opencv_remap_ready(at->peer, uf_picture_row_const(at->panorama, 0), WIDTH_PX, WIDTH_PX / 2, CHANNELS,
                       (size_t)uf_picture_sample(at->panorama), kernel_of(at), at->out);
}

static void theirs_averaged(void *data)
{
    const Case *at = data;
    opencv_remap_averaged(at->peer, uf_picture_row_const(at->panorama, 0), WIDTH_PX, WIDTH_PX / 2, CHANNELS,
                          (size_t)uf_picture_sample(at->panorama), kernel_of(at), at->twice, at->out);
}

static void fetch(const Case *at, size_t from, size_t to)
{
    const size_t bytes = CHANNELS * (size_t)uf_picture_sample(at->panorama);
    const uint8_t *pixels = uf_picture_row_const(at->panorama, 0);
    uint8_t *out = (uint8_t *)at->out + from * bytes;
    for (size_t i = from; i < to; i++, out += bytes)
        for (size_t k = 0; k < bytes; k++)
            out[k] = pixels[at->maps->offsets[i] * bytes + k];
}

static void fetched(void *data)
{
    const Case *at = data;
    fetch(at, 0, at->maps->side_px * at->maps->side_px);
}

/* What the case's threads share out. */
#define PARTS 64u

static void fetched_by_threads(void *data)
{
    const Case *at = data;
    const size_t count = at->maps->side_px * at->maps->side_px;
#pragma omp parallel for num_threads(at->threads)
    for (size_t part = 0; part < PARTS; part++)
        fetch(at, part * count / PARTS, (part + 1) * count / PARTS);
}

/* G. Marsaglia, Xorshift RNGs, Journal of Statistical Software 8(14), 2003. */
static uint64_t shifted(uint64_t x)
{
    x ^= x << 13;
    x ^= x >> 7;
    return x ^ x << 17;
}

#define STEPS 40000

/* Four streams side by side: one alone would leave a core half idle, and room for another thread. */
static void arithmetic_by_threads(void *data)
{
    const Case *at = data;
    uint64_t all = 0;
#pragma omp parallel for num_threads(at->threads) reduction(^ : all)
    for (size_t part = 0; part < PARTS; part++) {
        uint64_t a = part + 1, b = ~a, c = a << 32, d = ~c;
        for (size_t i = 0; i < STEPS; i++) {
            a = shifted(a);
            b = shifted(b);
            c = shifted(c);
            d = shifted(d);
        }
        all ^= a ^ b ^ c ^ d;
    }
    memcpy(at->out, &all, sizeof all);
}

static void compare_threads(const Case *one)
{
    Case alone = *one, two = *one;
    double wall_s[6];
    two.threads = 2;
    bench_in_turn((BenchWork *[]){ours, ours, arithmetic_by_threads, arithmetic_by_threads,
                                  fetched_by_threads, fetched_by_threads},
                  (void *[]){&alone, &two, &alone, &two, &alone, &two}, 6, WALL_RUNS, bench_now_s, wall_s);
    bench_row((BenchTarget){BENCH_AT_LEAST, 1.8}, wall_s[0] / wall_s[1], "  two threads to one", "%.1f Mpx/s",
              1e-6 * (double)(one->maps->side_px * one->maps->side_px) / wall_s[1]);
    bench_row((BenchTarget){0}, wall_s[2] / wall_s[3], "    the machine's arithmetic so",
              "its fetching of whole pixels %.2f", wall_s[4] / wall_s[5]);
}

static const char *const sample_names[] = {
    [UF_SAMPLE_U8] = "8-bit", [UF_SAMPLE_U16] = "16-bit", [UF_SAMPLE_F32] = "float"};
static const char *const sampling_names[] = {
    [UF_SAMPLING_BICUBIC] = "bicubic", [UF_SAMPLING_BILINEAR] = "bilinear", [UF_SAMPLING_SHARP] = "sharp"};

static void compare(const UfPicture *panorama, const Maps *maps, const char *face, UfSampling sampling,
                    double at_least)
{
    const size_t count = maps->side_px * maps->side_px,
                 bytes = CHANNELS * (size_t)uf_picture_sample(panorama);
    void *out = room(count, bytes);
    Case one = {panorama, maps, maps->floating, sampling, 1, true, out, NULL};
    Case fixed = {panorama, maps, maps->fixed, sampling, 1, true, out, NULL};
    double work_s[4];
    char name[64];
    bench_in_turn((BenchWork *[]){ours, theirs, theirs, fetched}, (void *[]){&one, &one, &fixed, &one}, 4,
                  RUNS, bench_work_s, work_s);
    const double peer_s = fmin(work_s[1], work_s[2]), mega = 1e-6 * (double)count;
    snprintf(name, sizeof name, "%s %s %s", sampling_names[sampling],
             sample_names[uf_picture_sample(panorama)], face);
    bench_row((BenchTarget){at_least > 0 ? BENCH_AT_LEAST : BENCH_NO_TARGET, at_least}, peer_s / work_s[0],
              name, "%.1f Mpx/s, peer %.1f", mega / work_s[0], mega / peer_s);
    bench_row((BenchTarget){0}, work_s[3] / work_s[0], "  of the floor", "%.1f Mpx/s", mega / work_s[3]);
    compare_threads(&one);
    free(out);
}

/* `twice` holds the maps of the same face at twice the size. */
static void compare_averaged(const UfPicture *panorama, const Maps *maps, const Maps *twice, const char *face,
                             UfSampling sampling, double at_least)
{
    const size_t count = maps->side_px * maps->side_px,
                 bytes = CHANNELS * (size_t)uf_picture_sample(panorama);
    void *out = room(count, bytes), *large = room(4 * count, bytes);
    Case one = {panorama, maps, twice->floating, sampling, 1, false, out, large};
    Case fixed = {panorama, maps, twice->fixed, sampling, 1, false, out, large};
    Case bare = {panorama, maps, maps->floating, sampling, 1, false, out, NULL};
    Case bare_fixed = {panorama, maps, maps->fixed, sampling, 1, false, out, NULL};
    double work_s[5];
    char name[64];
    bench_in_turn((BenchWork *[]){ours, theirs_averaged, theirs_averaged, theirs, theirs},
                  (void *[]){&one, &one, &fixed, &bare, &bare_fixed}, 5, RUNS, bench_work_s, work_s);
    const double peer_s = fmin(work_s[1], work_s[2]), bare_s = fmin(work_s[3], work_s[4]),
                 mega = 1e-6 * (double)count;
    snprintf(name, sizeof name, "%s %s %s, averaged", sampling_names[sampling],
             sample_names[uf_picture_sample(panorama)], face);
    bench_row((BenchTarget){BENCH_AT_LEAST, at_least}, peer_s / work_s[0], name, "%.1f Mpx/s, peer %.1f",
              mega / work_s[0], mega / peer_s);
    bench_row((BenchTarget){0}, bare_s / work_s[0], "  of the peer that averages nothing", "%.1f Mpx/s",
              mega / bare_s);
    compare_threads(&one);
    free(out);
    free(large);
}

/* The 8-bit picture with samples of another type. */
static UfPicture *as(const UfPicture *panorama, UfSample sample)
{
    UfPicture *out = NULL;
    if (uf_picture_create(WIDTH_PX, WIDTH_PX / 2, CHANNELS, sample, &out, NULL) != UF_OK ||
        uf_picture_stride_bytes(out) != (size_t)WIDTH_PX * CHANNELS * (size_t)sample)
        bench_die("remap", "there is no memory, or it has gaps between the rows");
    for (size_t y = 0; y < WIDTH_PX / 2; y++) {
        const uint8_t *from = uf_picture_row_const(panorama, y);
        void *row = uf_picture_row(out, y);
        for (size_t i = 0; i < (size_t)WIDTH_PX * CHANNELS; i++)
            if (sample == UF_SAMPLE_U8)
                ((uint8_t *)row)[i] = from[i];
            else if (sample == UF_SAMPLE_U16)
                ((uint16_t *)row)[i] = (uint16_t)(257 * from[i]);
            else
                ((float *)row)[i] = (float)from[i] / 255;
    }
    return out;
}

void bench_remap(const Bench *bench)
{
    (void)bench;
    mallopt(M_MMAP_MAX, 0);
    mallopt(M_TRIM_THRESHOLD, INT_MAX);
    UfPicture *panorama = bench_earth(WIDTH_PX);
    const size_t side_px = uf_face_full_size_px(WIDTH_PX);
    const UfView front = uf_view_face(UF_FACE_FRONT, side_px), down = uf_view_face(UF_FACE_DOWN, side_px);
    const UfView twice = uf_view_face(UF_FACE_DOWN, 2 * side_px);
    Maps maps[2] = {maps_of(&front), maps_of(&down)}, twice_maps = maps_of(&twice);
    static const char *const names[2] = {"front", "down"};
    static const struct {
        UfSample sample;
        UfSampling sampling;
        double at_least;
    } cases[] = {
        {UF_SAMPLE_U8, UF_SAMPLING_BILINEAR, 1},
        {UF_SAMPLE_U8, UF_SAMPLING_BICUBIC, 2},
        {UF_SAMPLE_U16, UF_SAMPLING_BICUBIC, 3},
        {UF_SAMPLE_F32, UF_SAMPLING_BICUBIC, 2},
    };
    bench_heading("faces of %zu px from a panorama %d wide, against cv::remap on ready maps", side_px,
                  WIDTH_PX);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        UfPicture *source = as(panorama, cases[i].sample);
        for (int face = 0; face < 2; face++)
            compare(source, &maps[face], names[face], cases[i].sampling, cases[i].at_least);
        compare_averaged(source, &maps[1], &twice_maps, names[1], cases[i].sampling, cases[i].at_least);
        uf_picture_free(&source);
    }
    maps_free(&maps[0]);
    maps_free(&maps[1]);
    maps_free(&twice_maps);
    uf_picture_free(&panorama);
    mallopt(M_MMAP_MAX, 65536); /* as at the start, mallopt(3) */
    mallopt(M_TRIM_THRESHOLD, 128 * 1024);
    malloc_trim(0);
}

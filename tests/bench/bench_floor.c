/*
 * The floor fill of a panorama 8192 wide, cap 25 degrees, against cv::inpaint (Navier-Stokes) on a plane as
 * large as the one that the fill works in. The peer is given that plane for nothing; the fill makes it and
 * brings it home. And its memory: a panorama twice as wide, whose cap is as many pixels across, should not
 * cost more.
 */
#include "bench/bench.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <underfoot/patch.h>
#include <underfoot/remap.h>
#include <underfoot/sphere.h>

#include "support/opencv_inpaint.h"

#define WIDTH_PX 8192
#define CAP_DEG  25.0
/* As many pixels across in a panorama twice as wide. */
#define HALF_CAP "13.1"
/* As the fill does: the plane reaches so many times as far as the cap. */
#define REACH 2.2
/* The photograph's pixels for a camera height. */
#define FINENESS 900.0
#define RUNS     3

/* The photograph as a floor without end, mirrored at its edges. */
static UfPicture *floor_panorama(size_t width)
{
    UfPicture *earth = bench_earth(2048), *panorama = bench_earth(width);
    size_t w = uf_picture_width_px(earth), h = uf_picture_height_px(earth), height = width / 2;
    for (size_t y = height - height / 3; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            double lon = ((double)x + 0.5) / (double)width * 2 * UF_PI;
            double r = FINENESS * tan((double)(height - y) / (double)height * UF_PI);
            size_t u = (size_t)fabs(r * sin(lon) + 700) % (2 * w),
                   v = (size_t)fabs(r * cos(lon) + 300) % (2 * h);
            memcpy(uf_picture_row(panorama, y) + 3 * x,
                   uf_picture_row(earth, v < h ? v : 2 * h - 1 - v) + 3 * (u < w ? u : 2 * w - 1 - u), 3);
        }
    uf_picture_free(&earth);
    return panorama;
}

static void fill(void *data)
{
    UfPatchOptions options = {
        .fill = UF_FILL_FLOOR, .cap_rad = uf_radians(CAP_DEG), .feather_rad = uf_radians(1.5)};
    UfPatchResult result = {0};
    if (uf_patch(data, &options, NULL, &result, NULL) != UF_OK || result.fill_used != UF_FILL_FLOOR)
        bench_die("the floor fill", "it was not one");
}

typedef struct Plane {
    uint8_t *pixels, *mask;
    size_t side;
} Plane;

static void inpaint(void *data)
{
    Plane *plane = data;
    opencv_inpaint(plane->pixels, plane->mask, plane->side, plane->side, OPENCV_NS);
}

static Plane plane_of(const UfPicture *panorama)
{
    double scale = WIDTH_PX / (2 * UF_PI), rim = tan(uf_radians(CAP_DEG));
    size_t side = 2 * (size_t)ceil(REACH * rim * scale);
    UfView whole = uf_view_equirectangular(WIDTH_PX);
    UfView down = uf_view_rectilinear(side, side, 2 * atan((double)side / 2 / scale),
                                      uf_rotation_from_angles(0, -UF_PI / 2, 0));
    UfPicture *view = NULL;
    Plane plane = {malloc(3 * side * side), calloc(side, side), side};
    if (plane.pixels == NULL || plane.mask == NULL ||
        uf_remap(panorama, &whole, &down, NULL, &view, NULL) != UF_OK)
        bench_die("the plane", "out of memory");
    for (size_t y = 0; y < side; y++) {
        memcpy(plane.pixels + 3 * y * side, uf_picture_row(view, y), 3 * side);
        for (size_t x = 0; x < side; x++)
            plane.mask[y * side + x] =
                hypot((double)x + 0.5 - (double)side / 2, (double)y + 0.5 - (double)side / 2) < rim * scale;
    }
    uf_picture_free(&view);
    return plane;
}

static double peak_mib(const Bench *bench, size_t width_px, char *cap, const UfPicture *panorama)
{
    char *in = bench_path(bench, "bench-in.jpg"), *out = bench_path(bench, "bench-out.jpg");
    char *run[] = {bench->program, "patch", in, "-o", out, "--overwrite", "--cap", cap, "--quiet", NULL};
    UfPicture *made = panorama == NULL ? floor_panorama(width_px) : NULL;
    bench_write(panorama == NULL ? made : panorama, in);
    uf_picture_free(&made);
    BenchCost cost = bench_run(run);
    unlink(in);
    unlink(out);
    free(in);
    free(out);
    return cost.peak_mib;
}

void bench_floor(const Bench *bench)
{
    UfPicture *panorama = floor_panorama(WIDTH_PX);
    double narrow = peak_mib(bench, WIDTH_PX, "25", panorama);
    Plane plane = plane_of(panorama);
    BenchWork *const works[] = {fill, inpaint};
    void *const data[] = {panorama, &plane};
    double wall[2], work[2];
    bench_in_turn(works, data, 2, RUNS, bench_now_s, wall);
    bench_in_turn(works, data, 2, 1, bench_work_s, work);
    free(plane.pixels);
    free(plane.mask);
    uf_picture_free(&panorama);
    double wide = peak_mib(bench, (size_t)2 * WIDTH_PX, HALF_CAP, NULL);
    bench_heading("floor fill of a %d x %d panorama, cap 25 degrees, against cv::inpaint NS on its plane",
                  WIDTH_PX, WIDTH_PX / 2);
    bench_row((BenchTarget){0}, 1, "cv::inpaint NS", "%.2f s", wall[1]);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, wall[0] / wall[1], "floor fill", "%.2f s", wall[0]);
    bench_row((BenchTarget){0}, work[0] / work[1], "floor fill, all cores' time", "%.2f s", work[0]);
    bench_row((BenchTarget){BENCH_AT_MOST, 1.5}, wide / narrow, "memory, 4 times the panorama's pixels",
              "%.0f MiB against %.0f", wide, narrow);
}

/*
 * Cube faces from file to files, against the same phases one after the other in memory, each with all
 * threads: decoding, six views, coding. What the phases' overlap saves shows as a ratio below 1. And the
 * memory of turning the same file and of making a planet of it, once each.
 */
#include "bench/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define WIDTH_PX  8192
#define SPARE_MIB 64.0
/* Of the rows lie so many below the face down's corners, 35.26 degrees below the horizon. */
#define DOWN_PART 0.304

typedef struct Phases {
    const Bench *bench;
    const char *in;
    UfPicture *panorama, *faces[UF_FACE_COUNT];
} Phases;

static void decode(void *data)
{
    Phases *phases = data;
    UfReport *report = uf_report_create();
    uf_picture_free(&phases->panorama);
    if (uf_picture_read(phases->in, NULL, &phases->panorama, report) != UF_OK)
        bench_die(phases->in, uf_report_error(report));
    uf_report_free(&report);
}

static void remap(void *data)
{
    Phases *phases = data;
    UfReport *report = uf_report_create();
    const UfView sphere = uf_view_equirectangular(WIDTH_PX);
    const UfRemapOptions options = {.sampling = UF_SAMPLING_SHARP}; /* as the command does */
    for (int face = 0; face < UF_FACE_COUNT; face++) {
        const UfView view = uf_view_face((UfFace)face, uf_face_full_size_px(WIDTH_PX));
        uf_picture_free(&phases->faces[face]);
        if (uf_remap(phases->panorama, &sphere, &view, &options, &phases->faces[face], report) != UF_OK)
            bench_die("faces", uf_report_error(report));
    }
    uf_report_free(&report);
}

static void encode(void *data)
{
    Phases *phases = data;
    for (int face = 0; face < UF_FACE_COUNT; face++) {
        char name[32];
        snprintf(name, sizeof name, "bench-face-%d.jpg", face);
        char *path = bench_path(phases->bench, name);
        bench_write(phases->faces[face], path);
        unlink(path);
        free(path);
    }
}

/* `line` makes `out`, a JPEG, which takes out_mib in memory as the source takes source_mib. */
static void put_memory(const char *name, char *const line[], double source_mib, double out_mib)
{
    const BenchCost cost = bench_run(line);
    const double more_mib = cost.peak_mib - source_mib - out_mib;
    bench_row((BenchTarget){0}, 1, name, "%.2f s, cpu %.2f, %.0f MiB", cost.seconds, cost.work_s,
              cost.peak_mib);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, more_mib / SPARE_MIB, "  memory beyond source and output",
              "%.0f MiB of %.0f more", more_mib, SPARE_MIB);
}

static void others(const Bench *bench, char *in, double source_mib)
{
    char *out = bench_path(bench, "bench-out.jpg");
    char *home = bench_path(bench, "bench-out.jpg.home.ini"); /* of the planet */
    char *turn[] = {bench->program, "turn", in,       "-o", out,           "--yaw",   "30",
                    "--pitch",      "20",   "--roll", "5",  "--overwrite", "--quiet", NULL};
    char *planet[] = {bench->program, "planet", in, "-o", out, "--overwrite", "--quiet", NULL};
    bench_heading("a %d x %d JPEG turned, and made a planet of %d x %d", WIDTH_PX, WIDTH_PX / 2, WIDTH_PX / 2,
                  WIDTH_PX / 2);
    put_memory("turn", turn, source_mib, source_mib);
    put_memory("planet", planet, source_mib, source_mib / 2);
    unlink(out);
    unlink(home);
    free(out);
    free(home);
}

void bench_faces(const Bench *bench)
{
    char *in = bench_path(bench, "bench-in.jpg"), *out = bench_path(bench, "bench-faces");
    Phases phases = {.bench = bench, .in = in};
    double seconds[3];
    char *line[] = {bench->program, "faces",    in,     "-o",      out,
                    "--overwrite",  "--format", "jpeg", "--quiet", NULL};
    char *clear[] = {"rm", "-rf", out, NULL};
    UfPicture *panorama = bench_earth(WIDTH_PX);
    bench_write(panorama, in);
    uf_picture_free(&panorama);
    char *down[] = {bench->program, "faces", in,        "-o",     out,    "--overwrite",
                    "--format",     "jpeg",  "--quiet", "--only", "down", NULL};
    BenchCost cost = bench_run_median(line), one = bench_run_median(down);
    const double face_mib =
        3 * (double)uf_face_full_size_px(WIDTH_PX) * (double)uf_face_full_size_px(WIDTH_PX) / 1048576;
    bench_in_turn((BenchWork *[]){decode, remap, encode}, (void *[]){&phases, &phases, &phases}, 3,
                  BENCH_RUNS, bench_now_s, seconds);
    double sum_s = seconds[0] + seconds[1] + seconds[2], source_mib = 1.5 * WIDTH_PX * WIDTH_PX / 1048576;
    bench_heading("six faces of a %d x %d JPEG as JPEGs, against the sum of the phases", WIDTH_PX,
                  WIDTH_PX / 2);
    bench_row((BenchTarget){0}, seconds[0] / sum_s, "decoding", "%.2f s", seconds[0]);
    bench_row((BenchTarget){0}, seconds[1] / sum_s, "six views", "%.2f s", seconds[1]);
    bench_row((BenchTarget){0}, seconds[2] / sum_s, "coding", "%.2f s", seconds[2]);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, cost.seconds / sum_s, "underfoot faces",
              "%.2f s, cpu %.2f, %.0f MiB", cost.seconds, cost.work_s, cost.peak_mib);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, (cost.peak_mib - source_mib - 2 * face_mib) / SPARE_MIB,
              "  memory beyond the source and two faces", "%.0f MiB of %.0f more",
              cost.peak_mib - source_mib - 2 * face_mib, SPARE_MIB);
    bench_row((BenchTarget){0}, one.seconds / sum_s, "underfoot faces --only down",
              "%.2f s, cpu %.2f, %.0f MiB", one.seconds, one.work_s, one.peak_mib);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, (one.peak_mib - DOWN_PART * source_mib - face_mib) / SPARE_MIB,
              "  memory beyond its rows and the face", "%.0f MiB of %.0f more",
              one.peak_mib - DOWN_PART * source_mib - face_mib, SPARE_MIB);
    bench_run(clear);
    others(bench, in, source_mib);
    for (int face = 0; face < UF_FACE_COUNT; face++)
        uf_picture_free(&phases.faces[face]);
    uf_picture_free(&phases.panorama);
    unlink(in);
    free(in);
    free(out);
}

/*
 * How time and memory grow with the panorama: patch, planet and faces for widths from 2048 to 32768, with one
 * thread and with two. One run each. Ratios are of processor time a pixel, against the same command 8192 wide
 * with one thread: 1 where it grows as the picture does.
 */
#include "bench/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define BASE_PX 8192u

static const size_t widths_px[] = {BASE_PX, 2048, 4096, 16384, 32768}; /* what the others refer to first */
#define WIDTHS (sizeof widths_px / sizeof *widths_px)

static const char *const commands[] = {"patch", "planet", "faces"};
#define COMMANDS (sizeof commands / sizeof *commands)

/* Seconds that a pixel takes 8192 wide, once that is known. */
typedef struct Base {
    double pixel_s[COMMANDS];
} Base;

static BenchCost cost_of(const Bench *bench, size_t command, char *in, char *out, char *threads)
{
    char *patch[] = {bench->program, "patch",  in,        "-o",        out,     "--cap",       "25",
                     "--fill",       "smooth", "--quiet", "--threads", threads, "--overwrite", NULL};
    char *planet[] = {bench->program, "planet",    in,      "-o",          out,
                      "--quiet",      "--threads", threads, "--overwrite", NULL};
    char *faces[] = {bench->program, "faces",   in,          "-o",    out,           "--format",
                     "jpeg",         "--quiet", "--threads", threads, "--overwrite", NULL};
    char *const *const lines[COMMANDS] = {patch, planet, faces};
    return bench_run(lines[command]);
}

static void measure(const Bench *bench, size_t command, size_t width_px, int threads, char *in, Base *base)
{
    char name[64], many[8];
    char *out = bench_path(bench, command == 2 ? "bench-faces" : "bench-out.jpg");
    char *home = bench_path(bench, "bench-out.jpg.home.ini"); /* of a planet */
    char *clear[] = {"rm", "-rf", out, home, NULL};
    snprintf(many, sizeof many, "%d", threads);
    const BenchCost cost = cost_of(bench, command, in, out, many);
    const double pixel_s = cost.work_s / (0.5 * (double)width_px * (double)width_px);
    if (width_px == BASE_PX && threads == 1)
        base->pixel_s[command] = pixel_s;
    snprintf(name, sizeof name, "%s, %zu wide, %d thread%s", commands[command], width_px, threads,
             threads == 1 ? "" : "s");
    bench_row((BenchTarget){0}, pixel_s / base->pixel_s[command], name, "%.2f s, cpu %.2f, %.0f MiB",
              cost.seconds, cost.work_s, cost.peak_mib);
    bench_run(clear);
    free(out);
    free(home);
}

void bench_scale(const Bench *bench)
{
    char *in = bench_path(bench, "bench-in.jpg");
    Base base = {{0}};
    bench_heading("JPEGs from 2048 to 32768 wide, processor time a pixel against %u wide", BASE_PX);
    for (size_t i = 0; i < WIDTHS; i++) {
        UfPicture *panorama = bench_earth(widths_px[i]);
        bench_write(panorama, in);
        uf_picture_free(&panorama);
        for (size_t command = 0; command < COMMANDS; command++)
            for (int threads = 1; threads <= 2; threads++)
                measure(bench, command, widths_px[i], threads, in, &base);
    }
    unlink(in);
    free(in);
}

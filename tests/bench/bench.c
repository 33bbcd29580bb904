/*
 * Speed and memory, as ratios against a peer or a floor measured in the same run. Medians of five.
 *
 * Peers: libjpeg-turbo's jpegtran (the whole file through the coefficient interface, nothing changed) for patching
 * a JPEG; memcpy of as many bytes as the remap writes for the remap. The input is made from the Earth picture of
 * Debian's xplanet-images, enlarged to the wanted width.
 *
 * usage: bench PROGRAM FOLDER     (FOLDER takes the inputs and outputs)
 */
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <underfoot/underfoot.h>

#include "bench/bench_plan.h"

#define RUNS 5
#define EARTH "/usr/share/xplanet/images/earth.jpg"

extern char **environ;

typedef struct Cost {
    double seconds;
    double peak_mib;
} Cost;

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, by_value);
    return values[count / 2];
}

static void die(const char *what, UfReport *report)
{
    fprintf(stderr, "bench: %s: %s\n", what, uf_report_error(report));
    exit(1);
}

/* Runs a program with its output thrown away; a program that fails ends the bench. */
static Cost run_once(char *const arguments[])
{
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", 1, 0);
    pid_t child;
    double start = now_s();
    if (posix_spawnp(&child, arguments[0], &actions, NULL, arguments, environ) != 0) {
        fprintf(stderr, "bench: %s cannot be started\n", arguments[0]);
        exit(1);
    }
    posix_spawn_file_actions_destroy(&actions);
    int status;
    struct rusage usage;
    wait4(child, &status, 0, &usage);
    Cost cost = {now_s() - start, (double)usage.ru_maxrss / 1024.0};
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        fprintf(stderr, "bench: %s ended with status %d\n", arguments[0], status);
        exit(1);
    }
    return cost;
}

static Cost run_median(char *const arguments[])
{
    double seconds[RUNS];
    double peaks[RUNS];
    for (int i = 0; i < RUNS; i++) {
        Cost cost = run_once(arguments);
        seconds[i] = cost.seconds;
        peaks[i] = cost.peak_mib;
    }
    return (Cost){median(seconds, RUNS), median(peaks, RUNS)};
}

static UfPicture *enlarged_earth(size_t width_px)
{
    UfReport *report = uf_report_create();
    UfPicture *earth = NULL;
    UfPicture *large = NULL;
    if (uf_picture_read(EARTH, NULL, &earth, report) != UF_OK)
        die("read", report);
    if (uf_resize(earth, width_px, width_px / 2, true, NULL, &large, report) != UF_OK)
        die("resize", report);
    uf_picture_free(&earth);
    uf_report_free(&report);
    return large;
}

static void write_picture(const UfPicture *picture, const char *path)
{
    UfReport *report = uf_report_create();
    UfWriteOptions options = {.overwrite = true, .quality = 92};
    if (uf_picture_write(picture, path, &options, report) != UF_OK)
        die("write", report);
    uf_report_free(&report);
}

static double remap_seconds(const UfPicture *panorama, UfFace face, UfSampling sampling, int threads)
{
    size_t width = uf_picture_width_px(panorama);
    UfView source = uf_view_equirectangular(width);
    UfView target = uf_view_face(face, uf_face_full_size_px(width));
    UfRemapOptions options = {.sampling = sampling, .threads = threads};
    UfReport *report = uf_report_create();
    double seconds[RUNS];
    for (int i = 0; i < RUNS; i++) {
        UfPicture *out = NULL;
        double start = now_s();
        if (uf_remap(panorama, &source, &target, &options, &out, report) != UF_OK)
            die("remap", report);
        seconds[i] = now_s() - start;
        uf_picture_free(&out);
    }
    uf_report_free(&report);
    return median(seconds, RUNS);
}

static double memcpy_seconds(size_t bytes)
{
    char *from = malloc(bytes);
    char *to = malloc(bytes);
    if (from == NULL || to == NULL)
        exit(1);
    memset(from, 1, bytes);
    memset(to, 2, bytes);
    double seconds[RUNS];
    volatile char sink = 0;
    for (int i = 0; i < RUNS; i++) {
        double start = now_s();
        memcpy(to, from, bytes);
        sink = (char)(sink + to[bytes / 2]);
        seconds[i] = now_s() - start;
    }
    free(from);
    free(to);
    return median(seconds, RUNS);
}

static void bench_remap(const UfPicture *panorama)
{
    static const struct {
        const char *name;
        UfFace face;
        UfSampling sampling;
        int threads;
    } cases[] = {
        {"bilinear front, 1 thread", UF_FACE_FRONT, UF_SAMPLING_BILINEAR, 1},
        {"bicubic front, 1 thread", UF_FACE_FRONT, UF_SAMPLING_BICUBIC, 1},
        {"bicubic front, 2 threads", UF_FACE_FRONT, UF_SAMPLING_BICUBIC, 2},
        {"bicubic down, 1 thread", UF_FACE_DOWN, UF_SAMPLING_BICUBIC, 1},
    };
    size_t side = uf_face_full_size_px(uf_picture_width_px(panorama));
    double pixels = (double)side * (double)side;
    double floor_s = memcpy_seconds(side * side * uf_picture_channels(panorama));
    printf("\nremap to a %zu px face\n%-34s %10s %14s\n", side, "", "Mpx/s", "x memcpy time");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double s = remap_seconds(panorama, cases[i].face, cases[i].sampling, cases[i].threads);
        printf("%-34s %10.1f %14.1f\n", cases[i].name, 1e-6 * pixels / s, s / floor_s);
    }
}

static void bench_patch(char *program, char *panorama, char *out, const char *label)
{
    char *transcode[] = {"jpegtran", "-copy", "all", "-outfile", out, panorama, NULL};
    char *smooth[] = {program, "patch",  panorama,      "-o", out, "--overwrite",
                      "--cap", "25",     "--fill",      "smooth", "--quiet", NULL};
    char *floor[] = {program, "patch", panorama,     "-o",    out, "--overwrite",
                     "--cap", "25",    "--fill",     "floor", "--quiet", NULL};
    Cost peer = run_median(transcode);
    Cost membrane = run_median(smooth);
    Cost rebuilt = run_median(floor);
    printf("\npatch a %s JPEG, cap 25 degrees\n%-34s %8s %8s %10s %8s\n", label, "", "s", "ratio", "peak MiB",
           "ratio");
    printf("%-34s %8.2f %8.2f %10.0f %8.2f\n", "jpegtran -copy all (peer)", peer.seconds, 1.0, peer.peak_mib, 1.0);
    printf("%-34s %8.2f %8.2f %10.0f %8.2f\n", "patch --fill smooth", membrane.seconds,
           membrane.seconds / peer.seconds, membrane.peak_mib, membrane.peak_mib / peer.peak_mib);
    printf("%-34s %8.2f %8.2f %10.0f %8.2f\n", "patch --fill floor", rebuilt.seconds,
           rebuilt.seconds / peer.seconds, rebuilt.peak_mib, rebuilt.peak_mib / peer.peak_mib);
}

int main(int argc, char **argv)
{
    if (argc != 3) {
        fprintf(stderr, "usage: bench PROGRAM FOLDER\n");
        return 64;
    }
    char in[4096];
    char out[4096];
    snprintf(in, sizeof in, "%s/bench-in.jpg", argv[2]);
    snprintf(out, sizeof out, "%s/bench-out.jpg", argv[2]);
    UfPicture *panorama = enlarged_earth(8192);
    write_picture(panorama, in);
    bench_remap(panorama);
    uf_picture_free(&panorama);
    bench_patch(argv[1], in, out, "8192 x 4096");
    unlink(in);
    unlink(out);
    bench_plan(argv[2]);
    return 0;
}

/* Clocks, medians, programs run and pictures made for it. */
#include "bench/bench.h"

#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define EARTH "/usr/share/xplanet/images/earth.jpg"

extern char **environ;

void bench_die(const char *what, const char *why)
{
    fprintf(stderr, "bench: %s: %s\n", what, why);
    exit(2);
}

static double clock_s(clockid_t clock)
{
    struct timespec t;
    clock_gettime(clock, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

double bench_now_s(void)
{
    return clock_s(CLOCK_MONOTONIC);
}

double bench_work_s(void)
{
    return clock_s(CLOCK_PROCESS_CPUTIME_ID);
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

double bench_median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, by_value);
    return values[count / 2];
}

#define WORKS_MAX 8
#define RUNS_MAX  64

void bench_in_turn(BenchWork *const *works, void *const *data, size_t count, size_t runs, BenchClock *clock,
                   double *seconds)
{
    static double taken[WORKS_MAX][RUNS_MAX];
    if (count > WORKS_MAX || runs > RUNS_MAX)
        bench_die("bench_in_turn", "too many works or runs");
    for (size_t run = 0; run < runs; run++)
        for (size_t i = 0; i < count; i++) {
            double start = clock();
            works[i](data[i]);
            taken[i][run] = clock() - start;
        }
    for (size_t i = 0; i < count; i++)
        seconds[i] = bench_median(taken[i], runs);
}

static double seconds_of(struct timeval t)
{
    return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

BenchCost bench_run(char *const arguments[])
{
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", 1, 0);
    pid_t child;
    double start = bench_now_s();
    if (posix_spawnp(&child, arguments[0], &actions, NULL, arguments, environ) != 0)
        bench_die(arguments[0], "cannot be started");
    posix_spawn_file_actions_destroy(&actions);
    int status;
    struct rusage usage;
    wait4(child, &status, 0, &usage);
    BenchCost cost = {bench_now_s() - start, seconds_of(usage.ru_utime) + seconds_of(usage.ru_stime),
                      (double)usage.ru_maxrss / 1024.0};
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
        bench_die(arguments[0], "failed");
    return cost;
}

BenchCost bench_run_median(char *const arguments[])
{
    double seconds[BENCH_RUNS];
    double work_s[BENCH_RUNS];
    double peaks[BENCH_RUNS];
    for (int i = 0; i < BENCH_RUNS; i++) {
        BenchCost cost = bench_run(arguments);
        seconds[i] = cost.seconds;
        work_s[i] = cost.work_s;
        peaks[i] = cost.peak_mib;
    }
    return (BenchCost){bench_median(seconds, BENCH_RUNS), bench_median(work_s, BENCH_RUNS),
                       bench_median(peaks, BENCH_RUNS)};
}

char *bench_path(const Bench *bench, const char *name)
{
    size_t size = strlen(bench->folder) + strlen(name) + 2;
    char *path = malloc(size);
    if (path == NULL)
        bench_die(name, "not enough memory");
    snprintf(path, size, "%s/%s", bench->folder, name);
    return path;
}

UfPicture *bench_earth(size_t width_px)
{
    UfReport *report = uf_report_create();
    UfPicture *earth = NULL;
    UfPicture *large = NULL;
    if (uf_picture_read(EARTH, NULL, &earth, report) != UF_OK ||
        uf_resize(earth, width_px, width_px / 2, true, NULL, &large, report) != UF_OK)
        bench_die(EARTH, uf_report_error(report));
    uf_picture_free(&earth);
    uf_report_free(&report);
    return large;
}

void bench_write(const UfPicture *picture, const char *path)
{
    UfReport *report = uf_report_create();
    UfWriteOptions options = {.overwrite = true, .quality = 92};
    if (uf_picture_write(picture, path, &options, report) != UF_OK)
        bench_die(path, uf_report_error(report));
    uf_report_free(&report);
}

/*
 * A tour of small panoramas with two jobs against the same with one, each job on one thread: throughput, and
 * the memory of all its processes together (the sum of their resident sizes, looked at every 2 ms) against
 * the limit that it was given. Medians of three.
 */
#include "bench/bench.h"

#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define RUNS      3
#define PANORAMAS 8
#define LIMIT_MIB 240

extern char **environ;

static void sh(const char *format, const char *a, const char *b)
{
    char line[9000];
    snprintf(line, sizeof line, format, a, b);
    if (system(line) != 0) {
        bench_die(line, "failed");
    }
}

static double resident_mib(long pid)
{
    char path[64];
    long pages = 0;
    snprintf(path, sizeof path, "/proc/%ld/statm", pid);
    FILE *stream = fopen(path, "r");
    if (stream != NULL && fscanf(stream, "%*d %ld", &pages) != 1)
        pages = 0;
    if (stream != NULL)
        fclose(stream);
    return (double)pages * (double)sysconf(_SC_PAGESIZE) / 1048576;
}

/* The tour and the steps that it runs. */
static double tree_mib(long pid)
{
    char path[80];
    long child;
    double sum = resident_mib(pid);
    snprintf(path, sizeof path, "/proc/%ld/task/%ld/children", pid, pid);
    FILE *stream = fopen(path, "r");
    while (stream != NULL && fscanf(stream, "%ld", &child) == 1)
        sum += resident_mib(child);
    if (stream != NULL)
        fclose(stream);
    return sum;
}

/* Seconds of a run from an empty folder; *peak_mib grows to its peak. */
static double run_once(const char *program, const char *folder, const char *jobs, double *peak_mib)
{
    char sheet[4200];
    char limit[32];
    snprintf(sheet, sizeof sheet, "%s/tour.ini", folder);
    snprintf(limit, sizeof limit, "%dM", LIMIT_MIB);
    sh("rm -rf '%s/out'", folder, "");
    char *arguments[] = {(char *)program, "tour",       sheet,          "--quiet", "--jobs", (char *)jobs,
                         "--threads",     (char *)jobs, "--max-memory", limit,     NULL};
    pid_t child;
    double start = bench_now_s();
    int status = 1;
    if (posix_spawn(&child, program, NULL, NULL, arguments, environ) != 0)
        bench_die(program, "cannot be started");
    while (waitpid(child, &status, WNOHANG) == 0) {
        double now_mib = tree_mib(child);
        *peak_mib = now_mib > *peak_mib ? now_mib : *peak_mib;
        nanosleep(&(struct timespec){.tv_nsec = 2000000}, NULL);
    }
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        bench_die("the tour", "failed");
    }
    return bench_now_s() - start;
}

void bench_tour(const Bench *bench)
{
    char folder[4100];
    double one[RUNS], two[RUNS], peak_one = 0, peak_two = 0;
    char *picture = bench_path(bench, "bench-tour.jpg");
    UfPicture *panorama = bench_earth(2048);
    bench_write(panorama, picture);
    uf_picture_free(&panorama);
    snprintf(folder, sizeof folder, "%s/bench-tour", bench->folder);
    sh("rm -rf '%s'; mkdir -p '%s/in'", folder, folder);
    for (int i = 0; i < PANORAMAS; i++) {
        char target[4200];
        snprintf(target, sizeof target, "%s/in/%d.jpg", folder, i);
        sh("cp '%s' '%s'", picture, target);
    }
    sh("printf '[tour]\\ninput = in\\nout = out\\n[patch]\\ncap = 25\\nfill = smooth\\n[view floor]\\npitch "
       "= -90\\n"
       "size = 600x600\\n' >'%s/%s'",
       folder, "tour.ini");
    for (int i = 0; i < RUNS; i++) {
        one[i] = run_once(bench->program, folder, "1", &peak_one);
        two[i] = run_once(bench->program, folder, "2", &peak_two);
    }
    double one_s = bench_median(one, RUNS), two_s = bench_median(two, RUNS);
    bench_heading("A tour of %d panoramas, 2048 x 1024, against itself with one job, and its limit of %d MiB",
                  PANORAMAS, LIMIT_MIB);
    bench_row((BenchTarget){BENCH_AT_LEAST, 1.7}, one_s / two_s, "two jobs on two cores", "%.2f s", two_s);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, peak_two / LIMIT_MIB, "memory of all its processes",
              "%.0f MiB", peak_two);
    sh("rm -rf '%s' '%s'", folder, picture);
    free(picture);
}

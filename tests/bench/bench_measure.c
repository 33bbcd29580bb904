/* Clocks, medians, programs run and pictures made for it. */
#include "bench/bench.h"

#include <fcntl.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
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

/* Runs a program here; false when it fails. */
static bool run_here(char *const arguments[], BenchCost *out)
{
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", 1, 0);
    pid_t child;
    double start = bench_now_s();
    bool started = posix_spawnp(&child, arguments[0], &actions, NULL, arguments, environ) == 0;
    posix_spawn_file_actions_destroy(&actions);
    int status = 1;
    struct rusage usage = {0};
    if (started)
        wait4(child, &status, 0, &usage);
    *out = (BenchCost){bench_now_s() - start, seconds_of(usage.ru_utime) + seconds_of(usage.ru_stime),
                       (double)usage.ru_maxrss / 1024.0};
    return started && WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

/*
 * A program's peak counts from the process that starts it, whose own peak it takes over: a process of its own
 * starts them, forked while this one is small.
 */
typedef struct Answer {
    bool good;
    BenchCost cost;
} Answer;

#define REQUEST_BYTES 16384
#define ARGUMENTS_MAX 64

static int requests = -1, answers = -1;

static void serve(int from, int to)
{
    static char text[REQUEST_BYTES];
    char *arguments[ARGUMENTS_MAX + 1];
    while (read(from, text, sizeof text) == (ssize_t)sizeof text) {
        size_t count = 0;
        for (char *at = text; *at != '\0' && count < ARGUMENTS_MAX; at += strlen(at) + 1)
            arguments[count++] = at;
        arguments[count] = NULL;
        Answer answer = {.good = false};
        answer.good = run_here(arguments, &answer.cost);
        if (write(to, &answer, sizeof answer) != (ssize_t)sizeof answer)
            break;
    }
    _exit(0);
}

void bench_start_runner(void)
{
    int there[2], back[2];
    /* packets arrive whole */
    if (socketpair(AF_UNIX, SOCK_SEQPACKET, 0, there) != 0 ||
        socketpair(AF_UNIX, SOCK_SEQPACKET, 0, back) != 0)
        bench_die("the runner", "cannot be started");
    pid_t child = fork();
    if (child < 0)
        bench_die("the runner", "cannot be started");
    if (child == 0) {
        close(there[1]);
        close(back[1]);
        serve(there[0], back[0]);
    }
    close(there[0]);
    close(back[0]);
    fcntl(there[1], F_SETFD, FD_CLOEXEC);
    fcntl(back[1], F_SETFD, FD_CLOEXEC);
    requests = there[1];
    answers = back[1];
}

BenchCost bench_run(char *const arguments[])
{
    static char text[REQUEST_BYTES];
    size_t used = 0;
    Answer answer;
    memset(text, 0, sizeof text);
    for (size_t i = 0; arguments[i] != NULL; i++) {
        size_t size = strlen(arguments[i]) + 1;
        if (i >= ARGUMENTS_MAX || used + size >= sizeof text)
            bench_die(arguments[0], "has too many arguments");
        memcpy(text + used, arguments[i], size);
        used += size;
    }
    if (write(requests, text, sizeof text) != (ssize_t)sizeof text ||
        read(answers, &answer, sizeof answer) != (ssize_t)sizeof answer)
        bench_die(arguments[0], "the runner has gone");
    if (!answer.good)
        bench_die(arguments[0], "failed");
    return answer.cost;
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

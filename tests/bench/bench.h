/*
 * Speed and memory as ratios against a peer or a floor measured in the same run.
 *
 * A topic is one file with one function, and one line in the table of bench.c. It measures, and puts rows
 * into the one table that is printed: what was measured, its ratio, and the target that the ratio is to hold.
 * A target that does not hold makes the exit status 1.
 */
#ifndef UF_BENCH_H
#define UF_BENCH_H

#include <stdbool.h>
#include <stddef.h>

#include <underfoot/underfoot.h>

/* Medians are taken of this many. */
#define BENCH_RUNS 5

typedef struct Bench {
    char *program;      /* the program under test */
    const char *folder; /* takes inputs and outputs; whoever writes a file there removes it */
} Bench;

typedef enum BenchBound { BENCH_NO_TARGET = 0, BENCH_AT_LEAST, BENCH_AT_MOST } BenchBound;

typedef struct BenchTarget {
    BenchBound bound;
    double ratio;
} BenchTarget;

/* A heading: what is measured, and against what. */
void bench_heading(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* A row; `measured` is text of its own, such as "53.1 Mpx/s". */
void bench_row(BenchTarget target, double ratio, const char *name, const char *measured, ...)
    __attribute__((format(printf, 4, 5)));
/* Rows whose target does not hold, so far. */
size_t bench_misses(void);

/* Ends the program with what went wrong. */
_Noreturn void bench_die(const char *what, const char *why);

double bench_now_s(void);  /* of the clock on the wall */
double bench_work_s(void); /* of this process's processor time: what other programs do hardly counts */
double bench_median(double *values, size_t count); /* sorts them */

typedef void BenchWork(void *data);
typedef double BenchClock(void);
/*
 * Seconds that each of `count` works takes: all of them in turn, `runs` times over, so that what disturbs one
 * disturbs the others; medians.
 */
void bench_in_turn(BenchWork *const *works, void *const *data, size_t count, size_t runs, BenchClock *clock,
                   double *seconds);

typedef struct BenchCost {
    double seconds;  /* on the wall */
    double work_s;   /* of processor time */
    double peak_mib; /* resident */
} BenchCost;

/* First of all, while this process is small: starts what starts the programs, so that their peaks are theirs.
 */
void bench_start_runner(void);
/* Runs a program with its output thrown away; one that fails ends the bench. */
BenchCost bench_run(char *const arguments[]);
/* Medians of BENCH_RUNS. */
BenchCost bench_run_median(char *const arguments[]);

/* FOLDER/NAME, owned by the caller. */
char *bench_path(const Bench *bench, const char *name);
/* The Earth picture of Debian's xplanet-images, enlarged to that width (8-bit RGB); owned by the caller. */
UfPicture *bench_earth(size_t width_px);
/* In the format of the name, JPEG at quality 92. */
void bench_write(const UfPicture *picture, const char *path);

/* The topics. */
void bench_remap(const Bench *bench);
void bench_patch(const Bench *bench);
void bench_floor(const Bench *bench);
void bench_faces(const Bench *bench);
void bench_plan(const Bench *bench);
void bench_start(const Bench *bench);
void bench_tour(const Bench *bench);
void bench_scale(const Bench *bench);

#endif

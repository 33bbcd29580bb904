/* How soon the program answers, against 10 ms: what a person does not notice. */
#include "bench/bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define PROMPT_S 0.010
#define RUNS     21

static const char rig_text[] = "[camera]\nsensor = 23.5 x 15.6\npixels = 6000 x 4000\nhold = portrait\n"
                               "[lens]\nfocal = 8\nmapping = equidistant\n[stand]\nheight = 1500\n"
                               "[row level]\ntilt = 0\noverlap = 30\n[shot up]\ntilt = 90\n"
                               "[part clamp]\nturns = no\nshape = disc\ncentre = 0 -200 0\nradius = 60\n";

static void put(const char *name, char *const arguments[])
{
    double seconds[RUNS];
    double work_s[RUNS];
    double peak_mib = 0;
    for (int i = 0; i < RUNS; i++) {
        BenchCost cost = bench_run(arguments);
        seconds[i] = cost.seconds;
        work_s[i] = cost.work_s;
        peak_mib = cost.peak_mib;
    }
    double median_s = bench_median(seconds, RUNS);
    bench_row((BenchTarget){BENCH_AT_MOST, 1}, median_s / PROMPT_S, name, "%.1f ms (cpu %.1f), %.1f MiB",
              1e3 * median_s, 1e3 * bench_median(work_s, RUNS), peak_mib);
}

void bench_start(const Bench *bench)
{
    char *rig = bench_path(bench, "bench-start.ini");
    FILE *stream = fopen(rig, "w");
    if (stream == NULL || fputs(rig_text, stream) < 0 || fclose(stream) != 0)
        bench_die(rig, "cannot be written");
    bench_heading("start-up, against %.0f ms", 1e3 * PROMPT_S);
    put("underfoot --version", (char *[]){bench->program, "--version", NULL});
    put("underfoot plan", (char *[]){bench->program, "plan", rig, "--quiet", NULL});
    unlink(rig);
    free(rig);
}

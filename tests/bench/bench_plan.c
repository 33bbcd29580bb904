/*
 * A plan of 20 frames and 12 parts against the same work done naively: an even grid as fine as the plan's
 * smallest cells, every frame and every part looked at for every ray, by the plain ray caster of the tests.
 * Of the naive grid only every 64th row is cast, and the time multiplied.
 */
#include "bench/bench.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "support/caster.h"

#define RUNS  BENCH_RUNS
#define GRID  4096
#define EVERY 8

static const char rig_text[] =
    "[camera]\nsensor = 23.5 x 15.6\npixels = 6000 x 4000\nhold = portrait\n"
    "[lens]\nfocal = 10.5\nmapping = equisolid\n[stand]\nheight = 1500\n"
    "[row level]\ntilt = 0\nframes = 8\n[row up]\ntilt = 50\nframes = 5\npan = 20\n[row down]\ntilt = "
    "-50\nframes = 4\n"
    "[shot up]\ntilt = 90\n[shot down]\ntilt = -90\n[shot again]\ntilt = -90\npan = 90\n"
    "[part lens]\nturns = yes\nshape = rod\nfrom = 0 0 -68\nto = 0 0 -6\nradius = 33\n"
    "[part body]\nturns = yes\nshape = box\nfrom = -62 -70 -112\nto = 50 70 -68\n"
    "[part slide]\nturns = yes\nshape = box\nfrom = -76 -20 -140\nto = -62 20 20\n"
    "[part upright]\nturns = yes\nshape = box\nfrom = -88 -172 -24\nto = -76 60 24\n"
    "[part arm]\nturns = yes\nshape = box\nfrom = -88 -184 -21\nto = 58 -172 21\n"
    "[part clamp]\nturns = yes\nshape = box\nfrom = -27 -198 -31\nto = 27 -184 31\n"
    "[part rotator]\nturns = no\nshape = rod\nfrom = 0 -246 0\nto = 0 -198 0\nradius = 33\n"
    "[part leveller]\nturns = no\nshape = disc\ncentre = 0 -292 0\nradius = 29\n"
    "[part column]\nturns = no\nshape = rod\nfrom = 0 -640 0\nto = 0 -292 0\nradius = 14\n"
    "[part spider]\nturns = no\nshape = rod\nfrom = 0 -372 0\nto = 0 -320 0\nradius = 52\n"
    "[part leg]\nturns = no\nshape = rod\nfrom = 0 -340 52\nto = 0 -1480 549\nradius = 14\ncopies = 3\n"
    "[part foot]\nturns = no\nshape = disc\ncentre = 0 -1490 550\nradius = 20\ncopies = 3\n";

static UfRig *read_rig(const Bench *bench, UfReport *report)
{
    char *path = bench_path(bench, "bench-rig.ini");
    UfRig *rig = NULL;
    FILE *stream = fopen(path, "w");
    if (stream == NULL || fputs(rig_text, stream) < 0 || fclose(stream) != 0)
        bench_die(path, "cannot be written");
    if (uf_rig_read(path, &rig, report) != UF_OK)
        bench_die("rig", uf_report_error(report));
    remove(path);
    free(path);
    return rig;
}

static double plan_seconds(const UfRig *rig, int threads, UfPlan *plan, UfReport *report)
{
    double seconds[RUNS];
    for (int i = 0; i < RUNS; i++) {
        UfPlanOptions options = {.threads = threads};
        double start = bench_now_s();
        if (uf_plan(rig, &options, plan, report) != UF_OK)
            bench_die("plan", uf_report_error(report));
        seconds[i] = bench_now_s() - start;
    }
    return bench_median(seconds, RUNS);
}

/* Lambert's cylindrical equal-area grid. */
static double naive_seconds(const UfRig *rig, double *seen_share)
{
    size_t seen = 0;
    size_t rays = 0;
    double start = bench_now_s();
    for (int row = EVERY / 2; row < GRID; row += EVERY)
        for (int column = EVERY / 2; column < GRID; column += EVERY) {
            double up = 2 * (row + 0.5) / GRID - 1;
            double across = sqrt(1 - up * up);
            double lon = 2 * UF_PI * (column + 0.5) / GRID;
            UfSight sight = caster_sight(rig, (UfDirection){across * sin(lon), up, across * cos(lon)});
            seen += sight.seeing > 0 ? 1 : 0;
            rays++;
        }
    *seen_share = (double)seen / (double)rays;
    return (bench_now_s() - start) * EVERY * EVERY;
}

static void put(const char *name, double seconds, double naive, double seen_share)
{
    bench_row((BenchTarget){0}, seconds / naive, name, "%.3f s, %.3f %% seen", seconds, 100 * seen_share);
}

void bench_plan(const Bench *bench)
{
    UfReport *report = uf_report_create();
    UfRig *rig = read_rig(bench, report);
    UfPlan plan;
    double seen_share = 0;
    double one = plan_seconds(rig, 1, &plan, report);
    double two = plan_seconds(rig, 2, &plan, report);
    double naive = naive_seconds(rig, &seen_share);
    bench_heading("plan of %zu frames and %zu parts, against an even grid of 4096 x 4096, naive",
                  uf_rig_frame_count(rig), uf_rig_part_count(rig));
    put("plan, 1 thread", one, naive, plan.seen_share);
    put("plan, 2 threads", two, naive, plan.seen_share);
    put("naive", naive, naive, seen_share);
    uf_rig_free(&rig);
    uf_report_free(&report);
}

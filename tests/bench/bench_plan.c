/*
 * A plan of 20 frames and 12 parts against the same work done naively: an even grid as fine as the plan's
 * smallest cells, every frame and every part looked at for every ray, by the plain ray caster of the tests.
 * Of the naive grid only every 64th row is cast, and the time multiplied.
 */
#include "bench/bench_plan.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include <underfoot/plan.h>

#include "support/caster.h"

#define RUNS  5
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

static void die(const char *what, const UfReport *report)
{
    fprintf(stderr, "bench: %s: %s\n", what, uf_report_error(report));
    exit(1);
}

static UfRig *read_rig(const char *folder, UfReport *report)
{
    char path[4096];
    UfRig *rig = NULL;
    snprintf(path, sizeof path, "%s/bench-rig.ini", folder);
    FILE *stream = fopen(path, "w");
    if (stream == NULL || fputs(rig_text, stream) < 0 || fclose(stream) != 0) {
        fprintf(stderr, "bench: %s cannot be written\n", path);
        exit(1);
    }
    if (uf_rig_read(path, &rig, report) != UF_OK)
        die("rig", report);
    remove(path);
    return rig;
}

static double plan_seconds(const UfRig *rig, int threads, UfPlan *plan, UfReport *report)
{
    double seconds[RUNS];
    for (int i = 0; i < RUNS; i++) {
        UfPlanOptions options = {.threads = threads};
        double start = now_s();
        if (uf_plan(rig, &options, plan, report) != UF_OK)
            die("plan", report);
        seconds[i] = now_s() - start;
    }
    qsort(seconds, RUNS, sizeof *seconds, by_value);
    return seconds[RUNS / 2];
}

/* Lambert's cylindrical equal-area grid. */
static double naive_seconds(const UfRig *rig, double *seen_share)
{
    size_t seen = 0;
    size_t rays = 0;
    double start = now_s();
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
    return (now_s() - start) * EVERY * EVERY;
}

void bench_plan(const char *folder)
{
    UfReport *report = uf_report_create();
    UfRig *rig = read_rig(folder, report);
    UfPlan plan;
    double seen_share = 0;
    double one = plan_seconds(rig, 1, &plan, report);
    double two = plan_seconds(rig, 2, &plan, report);
    double naive = naive_seconds(rig, &seen_share);
    printf("\nplan of %zu frames and %zu parts\n%-34s %8s %8s %10s\n", uf_rig_frame_count(rig),
           uf_rig_part_count(rig), "", "s", "ratio", "seen %");
    printf("%-34s %8.3f %8.4f %10.3f\n", "plan, 1 thread", one, one / naive, 100 * plan.seen_share);
    printf("%-34s %8.3f %8.4f %10.3f\n", "plan, 2 threads", two, two / naive, 100 * plan.seen_share);
    printf("%-34s %8.3f %8.4f %10.3f\n", "even grid of 4096 x 4096, naive", naive, 1.0, 100 * seen_share);
    uf_rig_free(&rig);
    uf_report_free(&report);
}

/*
 * Runs the topics and prints their table.
 *
 * usage: bench PROGRAM FOLDER [TOPIC...]     (FOLDER takes the inputs and outputs; without topics all of them
 * run that hold targets)
 */
#include "bench/bench.h"

#include <stdio.h>
#include <string.h>

static const struct {
    const char *name;
    void (*run)(const Bench *bench);
    bool when_named; /* takes long, and holds no target */
} topics[] = {
    {"start", bench_start, false}, {"remap", bench_remap, false}, {"patch", bench_patch, false},
    {"faces", bench_faces, false}, {"floor", bench_floor, false}, {"plan", bench_plan, false},
    {"tour", bench_tour, false},   {"scale", bench_scale, true},
};

static bool is_named(const char *name, char **named, int count)
{
    for (int i = 0; i < count; i++)
        if (strcmp(named[i], name) == 0)
            return true;
    return false;
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "usage: bench PROGRAM FOLDER [TOPIC...]\n");
        return 64;
    }
    const Bench bench = {argv[1], argv[2]};
    bench_start_runner();
    for (size_t i = 0; i < sizeof topics / sizeof *topics; i++)
        if (is_named(topics[i].name, argv + 3, argc - 3) || (argc == 3 && !topics[i].when_named))
            topics[i].run(&bench);
    printf("\n%zu of the targets %s not hold\n", bench_misses(), bench_misses() == 1 ? "does" : "do");
    return bench_misses() > 0;
}

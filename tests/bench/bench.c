/*
 * Runs the topics and prints their table.
 *
 * usage: bench PROGRAM FOLDER [TOPIC...]     (FOLDER takes the inputs and outputs; without topics all of them
 * run)
 */
#include "bench/bench.h"

#include <stdio.h>
#include <string.h>

static const struct {
    const char *name;
    void (*run)(const Bench *bench);
} topics[] = {
    {"start", bench_start}, {"remap", bench_remap}, {"patch", bench_patch}, {"faces", bench_faces},
    {"floor", bench_floor}, {"plan", bench_plan},   {"tour", bench_tour},
};

static bool is_wanted(const char *name, char **wanted, int count)
{
    for (int i = 0; i < count; i++)
        if (strcmp(wanted[i], name) == 0)
            return true;
    return count == 0;
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
        if (is_wanted(topics[i].name, argv + 3, argc - 3))
            topics[i].run(&bench);
    printf("\n%zu of the targets %s not hold\n", bench_misses(), bench_misses() == 1 ? "does" : "do");
    return bench_misses() > 0;
}

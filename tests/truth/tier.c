/* Holds the processor to the instruction sets that the environment variable TIER names: none, avx2, all. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/cpu.h"

/* In every process that runs tests, before the first of them. */
__attribute__((constructor)) static void hold_to_tier(void)
{
    static const struct {
        const char *name;
        unsigned mask;
    } tiers[] = {{"none", 0}, {"avx2", UF_CPU_AVX2}, {"all", UF_CPU_ALL}};
    const char *wanted = getenv("TIER");
    for (size_t i = 0; wanted != NULL && i < sizeof tiers / sizeof *tiers; i++)
        if (strcmp(wanted, tiers[i].name) == 0) {
            uf_cpu_set_mask(tiers[i].mask);
            return;
        }
    if (wanted != NULL) {
        fprintf(stderr, "TIER=%s is none of none, avx2, all\n", wanted);
        exit(1);
    }
}

/* The spread of residuals: 1.4826 times the element that sorting puts in the middle. */
#include <criterion/criterion.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/robust.h"

static int by_size(const void *a, const void *b)
{
    double p = *(const double *)a, q = *(const double *)b;
    return (p > q) - (p < q);
}

/* Of every number of sizes: few different ones, many, falling, all the same. */
Test(robust, spread_is_the_middle_of_the_sorted)
{
    enum { MOST = 300 };
    double sizes[MOST], sorted[MOST];
    uint32_t state = 1;
    for (size_t count = 1; count <= MOST; count++)
        for (unsigned kinds = 1; kinds <= 1000; kinds *= 10) {
            for (size_t i = 0; i < count; i++) {
                state = state * 1664525u + 1013904223u;
                sizes[i] = kinds == 100 ? (double)(count - i) : (double)((state >> 8) % kinds);
            }
            memcpy(sorted, sizes, sizeof sizes);
            qsort(sorted, count, sizeof *sorted, by_size);
            cr_assert_eq(uf_robust_spread(sizes, count), 1.4826 * sorted[count / 2], "%zu of %u kinds", count,
                         kinds);
        }
    cr_assert_eq(uf_robust_spread(sizes, 0), 0);
}

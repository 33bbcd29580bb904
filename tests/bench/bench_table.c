/* The one table: name, what was measured, ratio, target, and whether it holds. */
#include "bench/bench.h"

#include <stdarg.h>
#include <stdio.h>

static size_t misses;

size_t bench_misses(void)
{
    return misses;
}

void bench_heading(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    printf("\n");
    vprintf(format, arguments);
    va_end(arguments);
    printf("\n%-40s %28s %8s %10s\n", "", "measured", "ratio", "target");
}

void bench_row(BenchTarget target, double ratio, const char *name, const char *measured, ...)
{
    char text[128];
    va_list arguments;
    va_start(arguments, measured);
    vsnprintf(text, sizeof text, measured, arguments);
    va_end(arguments);
    printf("%-40s %28s %8.3f", name, text, ratio);
    if (target.bound != BENCH_NO_TARGET) {
        bool at_least = target.bound == BENCH_AT_LEAST;
        bool holds = at_least ? ratio >= target.ratio : ratio <= target.ratio;
        misses += !holds;
        printf("    %s %4.2f  %s", at_least ? ">=" : "<=", target.ratio, holds ? "holds" : "MISSED");
    }
    printf("\n");
    fflush(stdout);
}

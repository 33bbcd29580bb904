#include "base/robust.h"

#include <stdlib.h>

static int by_size(const void *a, const void *b)
{
    double p = *(const double *)a, q = *(const double *)b;
    return p < q ? -1 : p > q;
}

double uf_robust_spread(double *sizes, size_t count)
{
    if (count == 0)
        return 0;
    qsort(sizes, count, sizeof *sizes, by_size);
    return 1.4826 * sizes[count / 2];
}

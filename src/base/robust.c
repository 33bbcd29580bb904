#include "base/robust.h"

static void swap(double *a, double *b)
{
    double kept = *a;
    *a = *b;
    *b = kept;
}

/*
 * Brings the element that sorting would put at `place` there, smaller ones before it (C. A. R. Hoare,
 * Algorithm 65: FIND, Comm. ACM 4(7), 1961): in a time that grows as the count does.
 */
static double select_place(double *sizes, size_t count, size_t place)
{
    size_t first = 0, last = count - 1;
    while (first < last) {
        double pivot = sizes[first + (last - first) / 2];
        size_t i = first, j = last;
        while (sizes[i] < pivot)
            i++;
        while (pivot < sizes[j])
            j--;
        while (i < j) {
            swap(&sizes[i], &sizes[j]);
            do
                i++;
            while (sizes[i] < pivot);
            do
                j--;
            while (pivot < sizes[j]);
        }
        /* all up to j are no larger than the pivot, all from j + 1 on no smaller */
        if (place <= j)
            last = j;
        else
            first = j + 1;
    }
    return sizes[place];
}

double uf_median(double *values, size_t count)
{
    return count == 0 ? 0 : select_place(values, count, count / 2);
}

double uf_robust_spread(double *sizes, size_t count)
{
    return 1.4826 * uf_median(sizes, count);
}

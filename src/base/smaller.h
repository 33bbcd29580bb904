/* The smaller and the larger of two sizes. */
#ifndef UF_BASE_SMALLER_H
#define UF_BASE_SMALLER_H

#include <stddef.h>

static inline size_t uf_smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

static inline size_t uf_larger(size_t a, size_t b)
{
    return a > b ? a : b;
}

#endif

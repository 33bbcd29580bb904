/* Eight floats side by side, in the compiler's own vectors: the same bits by any instruction set. */
#ifndef UF_REMAP_LANES_H
#define UF_REMAP_LANES_H

#include <stddef.h>
#include <stdint.h>

#define UF_LANES 8

typedef float UfLanes __attribute__((vector_size(4 * UF_LANES)));
/* In memory, anywhere. */
typedef float UfLanesAt __attribute__((vector_size(4 * UF_LANES), aligned(4), may_alias));

/* What comparing gives: all bits of a lane, or none. */
typedef int32_t UfLanesInt __attribute__((vector_size(4 * UF_LANES)));
typedef int32_t UfLanesIntAt __attribute__((vector_size(4 * UF_LANES), aligned(4), may_alias));

static inline size_t uf_up_to_lanes(size_t count)
{
    return (count + UF_LANES - 1) / UF_LANES * UF_LANES;
}

#endif

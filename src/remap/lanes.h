/* Eight floats side by side, in the compiler's own vectors: the same bits by any instruction set. */
#ifndef UF_REMAP_LANES_H
#define UF_REMAP_LANES_H

#define UF_LANES 8

typedef float UfLanes __attribute__((vector_size(4 * UF_LANES)));
/* In memory, anywhere. */
typedef float UfLanesAt __attribute__((vector_size(4 * UF_LANES), aligned(4), may_alias));

#endif

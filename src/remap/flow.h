/*
 * UfRemapRows from the inside: waiting for the source's rows, and telling of the target's.
 *
 * The target is filled block by block, in whatever order; its rows are final as far as all rows of blocks
 * from the top down are.
 */
#ifndef UF_REMAP_FLOW_H
#define UF_REMAP_FLOW_H

#include <pthread.h>
#include <stdatomic.h>

#include <underfoot/remap.h>

typedef struct UfFlow {
    const UfRemapRows *rows; /* NULL: nobody waits */
    UfPicture *target;
    size_t source_height_px, arrived_px; /* rows of the source that are there */
    size_t block_px, down;               /* a block's height, and the rows of blocks */
    atomic_size_t *left; /* of each row of blocks, those that are not filled; NULL: no one waits */
    pthread_mutex_t mutex;
    size_t final; /* rows of blocks that are, under the mutex */
    bool told;
} UfFlow;

/* The target is cut into blocks, `across` of them side by side. `rows` and `target` are borrowed. */
UfStatus uf_flow_open(UfFlow *out, const UfRemapRows *rows, size_t source_height_px, UfPicture *target,
                      size_t block_px, size_t across, UfReport *report);
/* Waits for the source's rows before end_px, as far as it has them. */
UfStatus uf_flow_await(UfFlow *flow, size_t end_px, UfReport *report);
/* From any thread: one block that has row y_px is filled. */
void uf_flow_filled(UfFlow *flow, size_t y_px);
/* With what all of it came to: a target that will be freed is no longer looked at when this returns. */
void uf_flow_close(UfFlow *flow, UfStatus status);

#endif

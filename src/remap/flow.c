/* Rows that come, and rows that go. */
#include "remap/flow.h"

#include <stdlib.h>

#include "base/memory.h"
#include "base/report.h"
#include "base/smaller.h"

UfStatus uf_flow_open(UfFlow *out, const UfRemapRows *rows, size_t source_height_px, UfPicture *target,
                      size_t block_px, size_t across, UfReport *report)
{
    *out = (UfFlow){.rows = rows,
                    .target = target,
                    .source_height_px = source_height_px,
                    .block_px = block_px,
                    .down = (uf_picture_height_px(target) + block_px - 1) / block_px};
    (void)pthread_mutex_init(&out->mutex, NULL);
    if (rows == NULL || rows->source == NULL)
        out->arrived_px = source_height_px;
    if (rows == NULL || rows->target == NULL)
        return UF_OK;
    out->left = uf_alloc(out->down, sizeof *out->left);
    if (out->left == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < out->down; i++)
        atomic_init(&out->left[i], across);
    return UF_OK;
}

UfStatus uf_flow_await(UfFlow *flow, size_t end_px, UfReport *report)
{
    end_px = uf_smaller(end_px, flow->source_height_px);
    if (end_px <= flow->arrived_px)
        return UF_OK;
    const size_t arrived = flow->rows->source(flow->rows->source_data, end_px);
    if (arrived < end_px)
        return uf_fail(report, UF_ERROR_ARGUMENT, "the rest of the picture to be remapped was not read");
    flow->arrived_px = uf_smaller(arrived, flow->source_height_px);
    return UF_OK;
}

void uf_flow_filled(UfFlow *flow, size_t y_px)
{
    if (flow->left == NULL || atomic_fetch_sub(&flow->left[y_px / flow->block_px], 1) != 1)
        return;
    (void)pthread_mutex_lock(&flow->mutex);
    size_t end = flow->final;
    while (end < flow->down && atomic_load(&flow->left[end]) == 0)
        end++;
    if (end > flow->final) {
        flow->final = end;
        flow->told = true;
        flow->rows->target(flow->rows->target_data, flow->target,
                           uf_smaller(end * flow->block_px, uf_picture_height_px(flow->target)));
    }
    (void)pthread_mutex_unlock(&flow->mutex);
}

void uf_flow_close(UfFlow *flow, UfStatus status)
{
    if (status != UF_OK && flow->told)
        flow->rows->target(flow->rows->target_data, NULL, 0);
    (void)pthread_mutex_destroy(&flow->mutex);
    free(flow->left);
    *flow = (UfFlow){0};
}

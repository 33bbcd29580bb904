/* Bands of rows, shared out among threads. */
#include "putback/bands.h"

#include <omp.h>
#include <stdlib.h>

#include "base/memory.h"
#include "base/report.h"
#include "base/smaller.h"

/* A line of the cache, in floats: no two threads write into one. */
#define LINE ((size_t)16)

UfStatus uf_part_bands(size_t height_px, size_t room_count, int threads, UfPartBand *band, void *job,
                       UfReport *report)
{
    const size_t bands = (height_px + UF_PART_BAND_PX - 1) / UF_PART_BAND_PX;
    const size_t each = (room_count + LINE - 1) / LINE * LINE;
    const size_t wanted = (size_t)(threads > 0 ? threads : omp_get_num_procs());
    const int used = (int)uf_larger(uf_smaller(wanted, bands), 1);
    float *rooms = uf_alloc(each * (size_t)used, sizeof *rooms);
    if (rooms == NULL)
        return uf_fail_memory(report);
#pragma omp parallel for schedule(dynamic) num_threads(used)
    for (size_t i = 0; i < bands; i++)
        band(job, i * UF_PART_BAND_PX, uf_smaller((i + 1) * UF_PART_BAND_PX, height_px),
             rooms + each * (size_t)omp_get_thread_num());
    free(rooms);
    return UF_OK;
}

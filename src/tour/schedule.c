/* Counting slots, memory and threads. */
#include "tour/schedule.h"

bool uf_schedule_start(UfSchedule *schedule, uint64_t need_bytes, size_t startable, size_t *threads)
{
    bool fits = need_bytes <= schedule->memory_max - (schedule->memory_bytes < schedule->memory_max
                                                          ? schedule->memory_bytes
                                                          : schedule->memory_max);
    if (schedule->running >= schedule->jobs_max || (!fits && schedule->running > 0))
        return false;
    size_t slots = schedule->jobs_max - schedule->running;
    size_t sharers = startable < slots ? startable : slots;
    size_t spare = schedule->threads < schedule->threads_max ? schedule->threads_max - schedule->threads : 0;
    size_t share = sharers > 0 ? spare / sharers : spare;
    *threads = share > 0 ? share : 1;
    schedule->running++;
    schedule->threads += *threads;
    schedule->memory_bytes += need_bytes;
    if (schedule->memory_bytes > schedule->peak_bytes)
        schedule->peak_bytes = schedule->memory_bytes;
    return true;
}

void uf_schedule_end(UfSchedule *schedule, uint64_t need_bytes, size_t threads)
{
    schedule->running--;
    schedule->threads -= threads;
    schedule->memory_bytes -= need_bytes;
}

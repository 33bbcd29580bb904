/*
 * How many steps at once, and with how many threads each.
 *
 * While many wait, each runs on one thread, since work on different files shares nothing; when fewer wait
 * than there are cores, the cores are shared among them. Results do not depend on the number of threads.
 */
#ifndef UF_TOUR_SCHEDULE_H
#define UF_TOUR_SCHEDULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct UfSchedule {
    size_t jobs_max, threads_max;
    uint64_t memory_max;
    size_t running, threads;
    uint64_t memory_bytes, peak_bytes;
} UfSchedule;

/*
 * May a step that needs so much memory start now? `startable` steps could, itself among them. When it may, it
 * is counted as running and *threads is its share. A step alone may always start.
 */
bool uf_schedule_start(UfSchedule *schedule, uint64_t need_bytes, size_t startable, size_t *threads);
void uf_schedule_end(UfSchedule *schedule, uint64_t need_bytes, size_t threads);

#endif

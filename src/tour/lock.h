/*
 * One run at a time on an output folder, or on a part of it. Locks are flock(2)'s: they go with the processes
 * that hold them, whatever ends those.
 *
 * A run of the whole tour, or a merge, holds the hidden folder's "lock" alone. Runs of parts share it; each
 * holds "lock-K-of-N" alone, and all of one division share "lock-of-N", which nobody may do for another N.
 */
#ifndef UF_TOUR_LOCK_H
#define UF_TOUR_LOCK_H

#include <stddef.h>

#include <underfoot/status.h>

typedef struct UfLock {
    int fds[3]; /* -1: not held */
} UfLock;

#define UF_LOCK_NONE ((UfLock){{-1, -1, -1}})

/* parts 0: the whole tour. UF_ERROR_EXISTS when another run holds it. Processes started meanwhile hold it
 * too. */
UfStatus uf_lock_take(const char *hidden_folder, size_t part, size_t parts, UfLock *out, UfReport *report);
void uf_lock_drop(UfLock *lock);

#endif

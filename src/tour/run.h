/* A run of a tour, and what the files that make it up share. */
#ifndef UF_TOUR_RUN_H
#define UF_TOUR_RUN_H

#include "tour/journal.h"
#include "tour/lock.h"
#include "tour/schedule.h"
#include "tour/tour.h"

typedef struct UfRun {
    UfTour *tour;
    const char *hidden, *work, *journal_path; /* without a slash at the end */
    UfLock lock;
    UfJournal journal; /* of earlier runs, sorted */
    UfJournalWriter writer;
    UfSchedule schedule;
    double began_s, busy_s;
    double need_factor; /* by how much a step needed more than was thought; at least 1 */
    size_t done, failed, made, there;
    UfReport *report;
} UfRun;

double uf_run_now_s(void);

/*
 * Looks a waiting job up: is its result in place, made by the same order from the same source? Sets its state
 * to THERE, KEPT, FAILED or READY. Its source must be there.
 */
UfStatus uf_run_examine(UfRun *run, UfJob *job);
/* Did this tour make the file at that place, as it is now? */
bool uf_run_is_own_file(const UfRun *run, const UfJob *job, const UfJournalFile *file);

/* Puts the finished files of a job in place; `folder` holds them. Sets its state to MADE or FAILED. */
UfStatus uf_run_place(UfRun *run, UfJob *job, const char *folder);

/* Processes, threads and memory that the tour may use. */
UfSchedule uf_run_limits(const UfTour *tour);

/* Reads the journals, and changes nothing; they may be missing. */
UfStatus uf_run_peek(UfRun *run);
/* Opens hidden folder, lock and journal, and sweeps what a killed run left. */
UfStatus uf_run_open(UfRun *run);
void uf_run_close(UfRun *run);
/* One journal of all. */
UfStatus uf_run_merge_journals(UfRun *run);

void uf_run_fail(UfRun *run, UfJob *job, const char *format, ...) __attribute__((format(printf, 3, 4)));
/* Tells the host of a job, or, without one, that time goes by. */
void uf_run_tell(UfRun *run, UfTourEventKind kind, const UfJob *job);

/* What became of it all: totals, summary.csv, review page. */
UfStatus uf_run_sum_up(UfRun *run, UfTourTotals *out);

#endif

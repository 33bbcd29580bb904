/*
 * The run itself: looks jobs up, starts steps as slots and memory allow, takes their results in.
 *
 * Jobs are tried in their order, panorama by panorama, so that what is begun is finished first. Everything
 * happens in one thread; only the steps run beside it, as processes.
 */
#include "tour/run.h"

#include <errno.h>
#include <math.h>
#include <time.h>
#include <unistd.h>

#include "base/memory.h"
#include "base/report.h"
#include "tour/place.h"
#include "tour/step_text.h"

#define TICK_S 0.5

double uf_run_now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static bool is_finished(const UfJob *job)
{
    return job->state != UF_JOB_WAITING && job->state != UF_JOB_READY && job->state != UF_JOB_RUNNING;
}

static double size_of(const UfRun *run, const UfJob *job)
{
    const UfPictureInfo *info = &run->tour->panoramas[job->panorama].info;
    return ((double)info->width_px * (double)info->height_px + 1) * (double)job->step_count;
}

/* From the time that results of the same section took for their size, or all of them. */
static double left_s(const UfRun *run)
{
    const UfTour *tour = run->tour;
    double all_s = 0;
    double all_size = 0;
    for (size_t i = 0; i < tour->job_count; i++)
        if (tour->jobs[i].state == UF_JOB_MADE) {
            all_s += tour->jobs[i].record.time_s;
            all_size += size_of(run, &tour->jobs[i]);
        }
    double elapsed_s = uf_run_now_s() - run->began_s;
    if (!(all_s > 0) || !(elapsed_s > 0))
        return -1;
    double left = 0;
    const char *section = "";
    double rate = 0;
    for (size_t i = 0; i < tour->job_count; i++) {
        const UfJob *job = &tour->jobs[i];
        if (is_finished(job))
            continue;
        double section_s = 0;
        double section_size = 0;
        for (size_t k = 0; strcmp(section, job->section) != 0 && k < tour->job_count; k++)
            if (tour->jobs[k].state == UF_JOB_MADE && strcmp(tour->jobs[k].section, job->section) == 0) {
                section_s += tour->jobs[k].record.time_s;
                section_size += size_of(run, &tour->jobs[k]);
            }
        if (strcmp(section, job->section) != 0)
            rate = section_size > 0 ? section_s / section_size : all_s / all_size;
        section = job->section;
        left += rate * size_of(run, job);
    }
    return left / fmax(1, fmin(run->busy_s / elapsed_s, (double)run->schedule.jobs_max));
}

static uint64_t bytes_of(const UfJob *job)
{
    uint64_t bytes = 0;
    for (size_t i = 0; i < job->record.file_count; i++)
        bytes += job->record.files[i].size_bytes;
    return bytes;
}

void uf_run_tell(UfRun *run, UfTourEventKind kind, const UfJob *job)
{
    UfTour *tour = run->tour;
    double elapsed_s = uf_run_now_s() - run->began_s;
    UfTourEvent event = {.kind = kind,
                         .done = run->done,
                         .total = tour->job_count,
                         .running = run->schedule.running,
                         .elapsed_s = elapsed_s,
                         .rate = elapsed_s > 0 ? 60 * (double)run->made / elapsed_s : 0,
                         .left_s = left_s(run)};
    if (job != NULL) {
        const char *messages = job->record.messages == NULL ? "" : job->record.messages;
        event.panorama = tour->panoramas[job->panorama].name;
        event.section = job->section;
        event.path = uf_job_target(tour, job);
        event.text = kind == UF_TOUR_EVENT_FAILED ? job->error : messages;
        event.time_s = job->record.time_s;
        event.bytes = bytes_of(job);
    }
    tour->host->tell(tour->host->context, &event);
}

/* A job has come to its end, whatever it is. */
static void count_finished(UfRun *run, const UfJob *job)
{
    run->done++;
    run->failed += job->state == UF_JOB_FAILED;
    run->made += job->state == UF_JOB_MADE;
    run->there += job->state == UF_JOB_THERE || job->state == UF_JOB_KEPT;
    if (job->follows)
        return;
    uf_run_tell(run,
                job->state == UF_JOB_FAILED ? UF_TOUR_EVENT_FAILED
                : job->state == UF_JOB_MADE ? UF_TOUR_EVENT_MADE
                                            : UF_TOUR_EVENT_THERE,
                job);
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == NULL ? path : slash + 1;
}

/* The folder of a job's step: its number and the step's, in the folder that steps work in. */
static const char *step_folder(UfRun *run, const UfJob *job, size_t step)
{
    return uf_arena_print(&run->tour->arena, "%s/%zu/%zu", run->work, (size_t)(job - run->tour->jobs), step);
}

static const char *step_result(UfRun *run, const UfJob *job, size_t step)
{
    const char *folder = step_folder(run, job, step);
    return folder == NULL ? NULL : uf_arena_print(&run->tour->arena, "%s/%s", folder, base_name(job->target));
}

static uint64_t need_of(const UfRun *run, const UfJob *job)
{
    double need = (double)job->need_bytes * run->need_factor;
    return need < (double)run->schedule.memory_max ? (uint64_t)need : run->schedule.memory_max;
}

static UfStatus start_step(UfRun *run, UfJob *job)
{
    UfTour *tour = run->tour;
    size_t count;
    const char *folder = step_folder(run, job, job->step);
    const char *out = step_result(run, job, job->step);
    const char *source = job->step == 0 ? uf_job_source(tour, job) : step_result(run, job, job->step - 1);
    if (folder == NULL || out == NULL || source == NULL)
        return uf_fail_memory(run->report);
    UfStatus status = uf_place_make_folder(folder, run->report);
    if (status != UF_OK)
        return status;
    const char **arguments = uf_job_arguments(tour, &job->steps[job->step], source, out, job->threads,
                                              run->schedule.memory_max, &count);
    if (arguments == NULL)
        return uf_fail_memory(run->report);
    if (!tour->host->start(tour->host->context, arguments, count, &job->process))
        return uf_fail(run->report, UF_ERROR_IO, "no further process can be started: %s; give fewer --jobs",
                       strerror(errno));
    job->state = UF_JOB_RUNNING;
    job->began_s = uf_run_now_s();
    return status;
}

static bool can_be_looked_up(const UfRun *run, const UfJob *job)
{
    return job->state == UF_JOB_READY ||
           (job->state == UF_JOB_WAITING &&
            (job->source_job < 0 || is_finished(&run->tour->jobs[job->source_job])));
}

static size_t count_startable(const UfRun *run)
{
    size_t count = 0;
    for (size_t i = 0; i < run->tour->job_count; i++)
        count += can_be_looked_up(run, &run->tour->jobs[i]);
    return count;
}

/* "folder/" of the place in which the results will lie. */
static const char *final_folder(UfRun *run, const UfJob *job)
{
    const char *target = uf_job_target(run->tour, job);
    return target == NULL
               ? NULL
               : uf_arena_print(&run->tour->arena, "%.*s", (int)(base_name(target) - target), target);
}

/* Texts of the step, with the places where the results will lie. */
static UfStatus take_texts(UfRun *run, UfJob *job, const UfTourEnd *end)
{
    UfArena *arena = &run->tour->arena;
    const char *folder = step_folder(run, job, job->step);
    const char *final = final_folder(run, job);
    const char *staged = folder == NULL ? NULL : uf_arena_print(arena, "%s/", folder);
    if (staged == NULL || final == NULL)
        return uf_fail_memory(run->report);
    const char *result = uf_step_replace(arena, end->result == NULL ? "" : end->result, staged, final);
    const char *said = uf_step_replace(arena, end->messages == NULL ? "" : end->messages, staged, final);
    const char *warnings = said == NULL ? NULL : uf_step_warnings(arena, said);
    if (result == NULL || warnings == NULL)
        return uf_fail_memory(run->report);
    const UfJournalRecord *before = &job->record;
    job->record.results =
        uf_arena_print(arena, "%s%s", before->results == NULL ? "" : before->results, result);
    job->record.messages =
        uf_arena_print(arena, "%s%s", before->messages == NULL ? "" : before->messages, warnings);
    if (end->signal != 0)
        uf_run_fail(run, job, "%s was ended by signal %d (%s)", job->steps[job->step].command, end->signal,
                    strsignal(end->signal));
    else if (end->status != 0 && end->status != 2) {
        const char *reason = uf_step_reason(arena, said);
        uf_run_fail(run, job, "%s", reason == NULL || reason[0] == '\0' ? "it ended without a word" : reason);
    }
    return job->record.results == NULL || job->record.messages == NULL ? uf_fail_memory(run->report) : UF_OK;
}

/* A full disk or one that cannot be written to stops everything: the next panorama would fare no better. */
static UfStatus check_disk(UfRun *run, const UfJob *job)
{
    const int reasons[] = {ENOSPC, EDQUOT, EROFS};
    for (size_t i = 0; i < sizeof reasons / sizeof reasons[0] && job->state == UF_JOB_FAILED; i++)
        if (strstr(job->error, strerror(reasons[i])) != NULL)
            return uf_fail(run->report, UF_ERROR_IO,
                           "%s; make room and run the same line again: what is finished is kept", job->error);
    return UF_OK;
}

static void note_peak(UfRun *run, UfJob *job, uint64_t peak_bytes)
{
    if (peak_bytes > job->record.peak_bytes)
        job->record.peak_bytes = peak_bytes;
    double factor = (double)peak_bytes / (double)job->need_bytes;
    if (factor > run->need_factor)
        run->need_factor = factor;
}

/* What failed is told to the journal, too: another part's run and the summary know of it then. */
static UfStatus record_failure(UfRun *run, const UfJob *job)
{
    UfJournalRecord record = {.target = job->target,
                              .order = job->order,
                              .time_s = job->record.time_s,
                              .failed = true,
                              .messages = job->error};
    return uf_journal_append(&run->writer, &record, run->report);
}

static UfStatus finish_job(UfRun *run, UfJob *job)
{
    UfStatus status = UF_OK;
    if (job->state != UF_JOB_FAILED) {
        const char *folder = step_folder(run, job, job->step);
        status = folder == NULL ? uf_fail_memory(run->report) : uf_run_place(run, job, folder);
    }
    if (status == UF_OK)
        status = check_disk(run, job);
    if (status == UF_OK && job->state == UF_JOB_FAILED)
        status = record_failure(run, job);
    const char *folder =
        uf_arena_print(&run->tour->arena, "%s/%zu", run->work, (size_t)(job - run->tour->jobs));
    if (status == UF_OK && folder != NULL)
        status = uf_place_remove(folder, run->report);
    if (status == UF_OK)
        count_finished(run, job);
    return status;
}

static UfStatus end_step(UfRun *run, UfJob *job, const UfTourEnd *end)
{
    double time_s = uf_run_now_s() - job->began_s;
    job->record.time_s += time_s;
    run->busy_s += time_s;
    uf_schedule_end(&run->schedule, job->held_bytes, job->threads);
    note_peak(run, job, end->peak_bytes);
    UfStatus status = take_texts(run, job, end);
    if (status != UF_OK || job->state == UF_JOB_FAILED || job->step + 1 == job->step_count)
        return status == UF_OK ? finish_job(run, job) : status;
    const char *used = job->step == 0 ? NULL : step_folder(run, job, job->step - 1);
    if (used != NULL)
        status = uf_place_remove(used, run->report);
    job->step++;
    job->state = UF_JOB_READY;
    return status;
}

static UfStatus take_end(UfRun *run, UfTourEnd *end)
{
    UfStatus status = UF_OK;
    for (size_t i = 0; i < run->tour->job_count; i++) {
        UfJob *job = &run->tour->jobs[i];
        if (job->state == UF_JOB_RUNNING && job->process == end->id) {
            status = end_step(run, job, end);
            break;
        }
    }
    free(end->result);
    free(end->messages);
    return status;
}

static UfStatus wait_for_something(UfRun *run, double seconds)
{
    const UfTourHost *host = run->tour->host;
    UfTourEnd end = {0};
    switch (host->wait(host->context, seconds, &end)) {
    case UF_TOUR_WAIT_END:
        return take_end(run, &end);
    case UF_TOUR_WAIT_TIME:
        uf_run_tell(run, UF_TOUR_EVENT_TIME, NULL);
        return UF_OK;
    case UF_TOUR_WAIT_STOP:
        break;
    }
    return uf_fail(run->report, UF_ERROR_UNCLEAR,
                   "stopped; %zu of %zu results are finished and kept. Run the same line again to go on",
                   run->done - run->failed, run->tour->job_count);
}

/* Looks one job up and starts it if that is what it needs. */
static UfStatus try_job(UfRun *run, UfJob *job, bool *waits)
{
    UfStatus status = UF_OK;
    if (job->state == UF_JOB_WAITING) {
        status = uf_run_examine(run, job);
        if (status == UF_OK && is_finished(job)) {
            count_finished(run, job);
            return wait_for_something(run, 0); /* looking up takes its time, too */
        }
    }
    if (status != UF_OK || job->state != UF_JOB_READY)
        return status;
    job->held_bytes = need_of(run, job);
    *waits = !uf_schedule_start(&run->schedule, job->held_bytes, count_startable(run), &job->threads);
    if (*waits)
        return UF_OK;
    status = start_step(run, job);
    if (status == UF_OK && job->step == 0)
        uf_run_tell(run, UF_TOUR_EVENT_START, job);
    return status;
}

/* A job whose memory is not free does not keep smaller ones behind it from starting. */
static UfStatus start_what_can(UfRun *run)
{
    UfStatus status = UF_OK;
    for (size_t i = 0; i < run->tour->job_count && status == UF_OK; i++) {
        UfJob *job = &run->tour->jobs[i];
        bool waits = false;
        if (run->schedule.running >= run->schedule.jobs_max)
            break;
        if (can_be_looked_up(run, job))
            status = try_job(run, job, &waits);
    }
    return status;
}

static UfStatus make_all(UfRun *run)
{
    UfStatus status = start_what_can(run);
    while (status == UF_OK && run->done < run->tour->job_count) {
        if (run->schedule.running > 0)
            status = wait_for_something(run, TICK_S);
        if (status == UF_OK)
            status = start_what_can(run);
    }
    if (status != UF_OK)
        run->tour->host->stop(run->tour->host->context);
    return status;
}

UfSchedule uf_run_limits(const UfTour *tour)
{
    const UfTourRequest *request = &tour->request;
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    size_t threads = request->threads > 0 ? request->threads : cores > 0 ? (size_t)cores : 1;
    return (UfSchedule){.threads_max = threads,
                        .jobs_max = request->jobs > 0 ? request->jobs : threads,
                        .memory_max = request->max_memory_bytes > 0 ? request->max_memory_bytes
                                                                    : uf_default_memory_limit()};
}

UfStatus uf_tour_run(UfTour *tour, UfTourTotals *out, UfReport *report)
{
    UfRun run = {.tour = tour,
                 .lock = UF_LOCK_NONE,
                 .writer = {.fd = -1},
                 .schedule = uf_run_limits(tour),
                 .need_factor = 1,
                 .began_s = uf_run_now_s(),
                 .report = report};
    UfTourTotals totals = {0};
    UfStatus status = uf_run_open(&run);
    if (status == UF_OK)
        status = make_all(&run);
    if (status == UF_OK && tour->request.merge)
        status = uf_run_merge_journals(&run);
    if (status == UF_OK)
        status = uf_run_sum_up(&run, &totals);
    uf_run_close(&run);
    if (status == UF_OK)
        *out = totals;
    return status;
}

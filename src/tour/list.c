/* What a run would do, without doing it. */
#include "base/memory.h"
#include "base/report.h"
#include "tour/run.h"

typedef struct Listing {
    UfRun run;
    void (*line)(void *context, const char *const *arguments, size_t count);
    void *context;
} Listing;

/* The steps of a chain in between go through the folder that is removed again. */
static UfStatus list_job(Listing *listing, const UfJob *job)
{
    UfTour *tour = listing->run.tour;
    const char *base = strrchr(job->target, '/');
    base = base == NULL ? job->target : base + 1;
    const char *source = uf_job_source(tour, job);
    for (size_t s = 0; s < job->step_count; s++) {
        size_t count = 0;
        const char *result = s + 1 == job->step_count
                                 ? uf_job_target(tour, job)
                                 : uf_arena_print(&tour->arena, "%s%s/work/%zu/%zu/%s", tour->out,
                                                  UF_TOUR_HIDDEN, (size_t)(job - tour->jobs), s, base);
        const char **arguments = source == NULL || result == NULL
                                     ? NULL
                                     : uf_job_arguments(tour, &job->steps[s], source, result, 0, 0, &count);
        if (arguments == NULL)
            return uf_fail_memory(listing->run.report);
        listing->line(listing->context, arguments, count);
        source = result;
    }
    return UF_OK;
}

/* What is taken from a panorama that is made anew is made anew, too. */
static UfStatus look_up(UfRun *run, UfJob *job)
{
    if (job->source_job >= 0 && run->tour->jobs[job->source_job].state == UF_JOB_READY)
        job->state = UF_JOB_READY;
    else
        return uf_run_examine(run, job);
    return UF_OK;
}

UfStatus uf_tour_list(UfTour *tour, void (*line)(void *context, const char *const *arguments, size_t count),
                      void *context, UfReport *report)
{
    Listing listing = {.run = {.tour = tour,
                               .lock = UF_LOCK_NONE,
                               .writer = {.fd = -1},
                               .schedule = uf_run_limits(tour),
                               .report = report},
                       .line = line,
                       .context = context};
    UfStatus status = uf_run_peek(&listing.run);
    for (size_t i = 0; i < tour->job_count && status == UF_OK; i++) {
        UfJob *job = &tour->jobs[i];
        status = look_up(&listing.run, job);
        if (status == UF_OK && job->state == UF_JOB_READY)
            status = list_job(&listing, job);
        else if (status == UF_OK && job->state == UF_JOB_FAILED)
            uf_run_tell(&listing.run, UF_TOUR_EVENT_FAILED, job);
    }
    for (size_t i = 0; i < tour->job_count; i++)
        tour->jobs[i].state = UF_JOB_WAITING;
    uf_run_close(&listing.run);
    return status;
}

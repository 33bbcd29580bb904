/* Is a result there already? By what it was made from, how, and what its files hold; never by dates. */
#include <sys/stat.h>
#include <underfoot/underfoot.h>

#include "base/memory.h"
#include "base/report.h"
#include "tour/place.h"
#include "tour/run.h"

static int compare_options(const void *a, const void *b)
{
    return strcmp(((const UfOption *)a)->key, ((const UfOption *)b)->key);
}

/* The order in which a sheet names options means nothing. */
static UfStatus add_step(UfRun *run, const UfJobStep *step, UfDigestTexts *texts)
{
    UfOption *options = uf_arena_alloc(&run->tour->arena, step->option_count, sizeof *options);
    if (options == NULL)
        return uf_fail_memory(run->report);
    if (step->option_count > 0)
        memcpy(options, step->options, step->option_count * sizeof *options);
    qsort(options, step->option_count, sizeof *options, compare_options);
    uf_digest_add(texts, step->command);
    for (size_t i = 0; i < step->option_count; i++) {
        const UfOption *option = &options[i];
        UfDigest digest;
        char text[UF_DIGEST_TEXT];
        if (option->kind == UF_TOUR_OPTION_FLAG && strcmp(option->value, "yes") != 0)
            continue;
        uf_digest_add(texts, option->key);
        if (option->kind != UF_TOUR_OPTION_FILE) {
            uf_digest_add(texts, option->value);
            continue;
        }
        UfStatus status = uf_tour_digest_named(run->tour, option->value, &digest, run->report);
        if (status != UF_OK)
            return status;
        uf_digest_text(&digest, text);
        uf_digest_add(texts, text);
    }
    uf_digest_add(texts, "");
    return UF_OK;
}

static UfStatus make_order(UfRun *run, UfJob *job, const UfDigest *source)
{
    UfDigestTexts texts = {0};
    char text[UF_DIGEST_TEXT];
    uf_digest_text(source, text);
    uf_digest_add(&texts, UF_VERSION);
    uf_digest_add(&texts, text);
    UfStatus status = UF_OK;
    for (size_t i = 0; i < job->step_count && status == UF_OK; i++)
        status = add_step(run, &job->steps[i], &texts);
    bool made = uf_digest_end(&texts, &job->order);
    return status != UF_OK ? status : made ? UF_OK : uf_fail_memory(run->report);
}

/* Of the panorama, or of the finished one that the job is derived from. */
static bool find_source(UfRun *run, UfJob *job, UfDigest *out)
{
    UfPanorama *panorama = &run->tour->panoramas[job->panorama];
    if (job->source_job >= 0) {
        const UfJob *source = &run->tour->jobs[job->source_job];
        *out = source->record.files[0].digest;
        return true;
    }
    uint64_t size_bytes;
    UfReport *why = uf_report_create();
    if (!panorama->is_digested &&
        uf_digest_file(panorama->path, &panorama->digest, &size_bytes, why) == UF_OK)
        panorama->is_digested = true;
    if (!panorama->is_digested)
        uf_run_fail(run, job, "%s", uf_report_error(why));
    uf_report_free(&why);
    *out = panorama->digest;
    return panorama->is_digested;
}

bool uf_run_is_own_file(const UfRun *run, const UfJob *job, const UfJournalFile *file)
{
    size_t count;
    const UfJournalRecord *records = uf_journal_find(&run->journal, job->target, &count);
    for (size_t i = 0; i < count; i++)
        for (size_t f = 0; f < records[i].file_count; f++) {
            const UfJournalFile *known = &records[i].files[f];
            if (strcmp(known->path, file->path) == 0 &&
                uf_place_state(run->tour->out, known) == UF_PLACE_SAME)
                return true;
        }
    return false;
}

static bool is_whole(const UfRun *run, const UfJournalRecord *record)
{
    for (size_t i = 0; i < record->file_count; i++)
        if (uf_place_state(run->tour->out, &record->files[i]) != UF_PLACE_SAME)
            return false;
    return record->file_count > 0;
}

/* Is anything of the result there that this tour did not leave so? */
static bool was_changed(const UfRun *run, const UfJob *job, const UfJournalRecord *records, size_t count)
{
    for (size_t i = 0; i < count; i++)
        for (size_t f = 0; f < records[i].file_count; f++)
            if (uf_place_state(run->tour->out, &records[i].files[f]) == UF_PLACE_OTHER &&
                !uf_run_is_own_file(run, job, &records[i].files[f]))
                return true;
    return false;
}

/* As it is, with what is derived from it made from it as it is. */
static UfStatus keep(UfRun *run, UfJob *job)
{
    UfTour *tour = run->tour;
    UfJournalFile *file = uf_arena_alloc(&tour->arena, 1, sizeof *file);
    const char *path = uf_job_target(tour, job);
    if (file == NULL || path == NULL)
        return uf_fail_memory(run->report);
    file->path = job->target;
    if (!job->is_folder) {
        UfStatus status = uf_digest_file(path, &file->digest, &file->size_bytes, run->report);
        if (status != UF_OK)
            return status;
    }
    job->record = (UfJournalRecord){.target = job->target, .files = file, .file_count = 1, .results = ""};
    job->record.messages =
        uf_arena_print(&tour->arena,
                       "%s was changed by somebody else since it was made: it is kept as it is (--overwrite "
                       "makes it anew)\n",
                       path);
    job->state = UF_JOB_KEPT;
    return job->record.messages == NULL ? uf_fail_memory(run->report) : UF_OK;
}

/* What a part found out before. */
static void refuse_unmade(UfRun *run, UfJob *job, const UfJournalRecord *records, size_t count)
{
    for (size_t i = count; i > 0; i--)
        if (records[i - 1].failed && uf_digest_same(&records[i - 1].order, &job->order)) {
            uf_run_fail(run, job, "%s", records[i - 1].messages);
            return;
        }
    uf_run_fail(run, job, "is not made yet; run its part, or the tour without --part");
}

static UfStatus look_up(UfRun *run, UfJob *job)
{
    UfTour *tour = run->tour;
    size_t count;
    struct stat facts;
    const UfJournalRecord *records = uf_journal_find(&run->journal, job->target, &count);
    bool was_made = false;
    for (size_t i = count; i > 0; i--) {
        was_made |= records[i - 1].file_count > 0;
        if (uf_digest_same(&records[i - 1].order, &job->order) && is_whole(run, &records[i - 1])) {
            job->record = records[i - 1];
            job->state = UF_JOB_THERE;
            return UF_OK;
        }
    }
    bool guards = !tour->request.overwrite && job->piece < 0;
    if (guards && was_made && was_changed(run, job, records, count))
        return keep(run, job);
    const char *path = uf_job_target(tour, job);
    if (path == NULL)
        return uf_fail_memory(run->report);
    if (guards && !was_made && !job->is_folder && lstat(path, &facts) == 0)
        uf_run_fail(run, job,
                    "%s is there already and was not made by this tour; move it away, or add --overwrite to "
                    "replace it",
                    path);
    else if (tour->request.merge && job->piece < 0)
        refuse_unmade(run, job, records, count);
    else if (job->need_bytes > run->schedule.memory_max)
        uf_run_fail(run, job, "needs about %.0f MB, and --max-memory allows %.0f MB; give at least %.0fM",
                    (double)job->need_bytes / 1e6, (double)run->schedule.memory_max / 1e6,
                    (double)job->need_bytes / 1048576 + 1);
    else
        job->state = UF_JOB_READY;
    return UF_OK;
}

UfStatus uf_run_examine(UfRun *run, UfJob *job)
{
    const UfPanorama *panorama = &run->tour->panoramas[job->panorama];
    UfDigest source;
    if (panorama->error != NULL) {
        uf_run_fail(run, job, "%s", panorama->error);
        job->follows = job > &run->tour->jobs[panorama->first_job];
        return UF_OK;
    }
    if (job->source_job >= 0 && run->tour->jobs[job->source_job].state == UF_JOB_FAILED) {
        uf_run_fail(run, job, "the panorama that it is taken from was not made");
        job->follows = true; /* one message a misfortune */
        return UF_OK;
    }
    if (!find_source(run, job, &source))
        return UF_OK;
    UfStatus status = make_order(run, job, &source);
    return status == UF_OK ? look_up(run, job) : status;
}

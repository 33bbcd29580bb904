/* The hidden folder of a run: lock, journal, the folder that steps work in. And how results leave it. */
#include <dirent.h>
#include <errno.h>
#include <stdarg.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/memory.h"
#include "base/report.h"
#include "tour/place.h"
#include "tour/run.h"

static bool is_journal(const char *name)
{
    size_t length = strlen(name);
    return strncmp(name, "journal", 7) == 0 && length > 4 && strcmp(name + length - 4, ".txt") == 0;
}

/* Calls `visit` with every entry of the hidden folder that it wants. */
static UfStatus each_entry(UfRun *run, bool (*wants)(const char *name),
                           UfStatus (*visit)(UfRun *run, const char *path))
{
    DIR *stream = opendir(run->hidden);
    if (stream == NULL)
        return uf_fail_errno(run->report, "cannot be read", run->hidden);
    UfStatus status = UF_OK;
    for (const struct dirent *entry; status == UF_OK && (entry = readdir(stream)) != NULL;) {
        if (!wants(entry->d_name))
            continue;
        const char *path = uf_arena_print(&run->tour->arena, "%s/%s", run->hidden, entry->d_name);
        status = path == NULL ? uf_fail_memory(run->report) : visit(run, path);
    }
    closedir(stream);
    return status;
}

static UfStatus read_journal(UfRun *run, const char *path)
{
    return uf_journal_read(path, &run->journal, run->report);
}

static bool is_work(const char *name)
{
    return strncmp(name, "work", 4) == 0;
}

static UfStatus remove_tree(UfRun *run, const char *path)
{
    return uf_place_remove(path, run->report);
}

/* Parts clean up behind themselves only: others may be at work. */
static UfStatus sweep(UfRun *run)
{
    const UfTourRequest *request = &run->tour->request;
    uf_place_sweep(run->tour->summary_path);
    if (request->review_path != NULL)
        uf_place_sweep(request->review_path);
    UfStatus status =
        request->parts > 0 ? uf_place_remove(run->work, run->report) : each_entry(run, is_work, remove_tree);
    return status == UF_OK ? uf_place_make_folder(run->work, run->report) : status;
}

static UfStatus name_places(UfRun *run)
{
    UfTour *tour = run->tour;
    const UfTourRequest *request = &tour->request;
    char part[64] = "";
    if (request->parts > 0)
        snprintf(part, sizeof part, "-%zu-of-%zu", request->part, request->parts);
    run->hidden = uf_arena_print(&tour->arena, "%s%s", tour->out, UF_TOUR_HIDDEN);
    run->work = uf_arena_print(&tour->arena, "%s%s/work%s", tour->out, UF_TOUR_HIDDEN, part);
    run->journal_path = uf_arena_print(&tour->arena, "%s%s/journal%s.txt", tour->out, UF_TOUR_HIDDEN, part);
    if (run->hidden == NULL || run->work == NULL || run->journal_path == NULL)
        return uf_fail_memory(run->report);
    return UF_OK;
}

UfStatus uf_run_peek(UfRun *run)
{
    UfStatus status = name_places(run);
    if (status == UF_OK && access(run->hidden, R_OK | X_OK) == 0)
        status = each_entry(run, is_journal, read_journal);
    uf_journal_sort(&run->journal);
    return status;
}

UfStatus uf_run_open(UfRun *run)
{
    const UfTourRequest *request = &run->tour->request;
    UfStatus status = name_places(run);
    if (status == UF_OK)
        status = uf_place_make_folder(run->hidden, run->report);
    if (status == UF_OK)
        status = uf_lock_take(run->hidden, request->part, request->parts, &run->lock, run->report);
    if (status == UF_OK)
        status = sweep(run);
    if (status == UF_OK)
        status = each_entry(run, is_journal, read_journal);
    if (status == UF_OK)
        status = uf_journal_open(run->journal_path, &run->writer, run->report);
    uf_journal_sort(&run->journal);
    return status;
}

void uf_run_close(UfRun *run)
{
    if (run->lock.fds[0] >= 0)
        (void)uf_place_remove(run->work, NULL);
    uf_journal_close(&run->writer);
    uf_journal_clear(&run->journal);
    uf_lock_drop(&run->lock);
}

void uf_run_fail(UfRun *run, UfJob *job, const char *format, ...)
{
    char text[2000];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    const char *kept = uf_arena_print(&run->tour->arena, "%s", text);
    job->error = kept == NULL ? "not enough memory" : kept;
    job->state = UF_JOB_FAILED;
}

/* Has somebody else put a file where one of ours must go? */
static bool finds_others(UfRun *run, UfJob *job)
{
    struct stat facts;
    for (size_t i = 0; i < job->record.file_count; i++) {
        const UfJournalFile *file = &job->record.files[i];
        const char *path = uf_arena_print(&run->tour->arena, "%s%s", run->tour->out, file->path);
        if (path == NULL || lstat(path, &facts) != 0 || run->tour->request.overwrite || job->piece >= 0 ||
            uf_run_is_own_file(run, job, file))
            continue;
        uf_run_fail(run, job,
                    "%s is there already and was not made by this tour; move it away, or add --overwrite to "
                    "replace it",
                    path);
        return true;
    }
    return false;
}

/* What an older order made and the new one does not: a face as PNG beside the new one as JPEG. */
static void remove_superseded(const UfRun *run, const UfJob *job)
{
    size_t count;
    const UfJournalRecord *records = uf_journal_find(&run->journal, job->target, &count);
    for (size_t i = 0; i < count; i++)
        for (size_t f = 0; f < records[i].file_count; f++) {
            const UfJournalFile *old = &records[i].files[f];
            bool stays = false;
            for (size_t n = 0; n < job->record.file_count && !stays; n++)
                stays = strcmp(job->record.files[n].path, old->path) == 0;
            char *path = NULL;
            if (stays || uf_place_state(run->tour->out, old) != UF_PLACE_SAME ||
                asprintf(&path, "%s%s", run->tour->out, old->path) < 0)
                continue;
            (void)unlink(path);
            free(path);
        }
}

static UfStatus move_files(UfRun *run, const UfJob *job, const char *folder, const char *prefix)
{
    UfArena *arena = &run->tour->arena;
    UfStatus status = UF_OK;
    for (size_t i = 0; i < job->record.file_count && status == UF_OK; i++) {
        const char *path = job->record.files[i].path;
        const char *from = uf_arena_print(arena, "%s/%s", folder, path + strlen(prefix));
        char *to = uf_arena_print(arena, "%s%s", run->tour->out, path);
        if (from == NULL || to == NULL)
            return uf_fail_memory(run->report);
        char *slash = strrchr(to, '/');
        *slash = '\0';
        status = uf_place_make_folder(to, run->report);
        *slash = '/';
        if (status == UF_OK)
            status = uf_place_move(from, to, run->report);
    }
    return status;
}

/* The journal learns of the files before they are in place: what no record knows is not ours. */
UfStatus uf_run_place(UfRun *run, UfJob *job, const char *folder)
{
    UfArena *arena = &run->tour->arena;
    const char *slash = strrchr(job->target, '/');
    const char *prefix =
        uf_arena_print(arena, "%.*s", slash == NULL ? 0 : (int)(slash - job->target) + 1, job->target);
    if (prefix == NULL)
        return uf_fail_memory(run->report);
    job->record.target = job->target;
    job->record.order = job->order;
    UfStatus status =
        uf_place_list(arena, folder, prefix, &job->record.files, &job->record.file_count, run->report);
    if (status != UF_OK || finds_others(run, job))
        return status;
    status = uf_journal_append(&run->writer, &job->record, run->report);
    if (status != UF_OK)
        return status;
    remove_superseded(run, job);
    status = move_files(run, job, folder, prefix);
    if (status == UF_OK)
        job->state = UF_JOB_MADE;
    return status;
}

static UfStatus remove_part(UfRun *run, const char *path)
{
    return strcmp(path, run->journal_path) == 0 || unlink(path) == 0 || errno == ENOENT
               ? UF_OK
               : uf_fail_errno(run->report, "cannot be removed", path);
}

/* Of the records of what is in place only the one that fits stays. */
static bool is_needed(const UfRun *run, const UfJournalRecord *record)
{
    for (size_t i = 0; i < run->tour->job_count; i++) {
        const UfJob *job = &run->tour->jobs[i];
        if (job->state == UF_JOB_THERE && strcmp(job->target, record->target) == 0)
            return job->record.files == record->files;
    }
    return true;
}

UfStatus uf_run_merge_journals(UfRun *run)
{
    UfJournalWriter fresh = {.fd = -1};
    const char *path = uf_arena_print(&run->tour->arena, "%s/journal.txt", run->work);
    UfStatus status = path == NULL ? uf_fail_memory(run->report) : uf_journal_open(path, &fresh, run->report);
    for (size_t i = 0; i < run->journal.count && status == UF_OK; i++)
        if (is_needed(run, &run->journal.records[i]))
            status = uf_journal_append(&fresh, &run->journal.records[i], run->report);
    uf_journal_close(&fresh);
    if (status == UF_OK)
        status = uf_place_move(path, run->journal_path, run->report);
    return status == UF_OK ? each_entry(run, is_journal, remove_part) : status;
}

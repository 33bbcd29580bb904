/* After a run: a record of each panorama, summary.csv (RFC 4180), the review page, the totals. */
#include <inttypes.h>
#include <math.h>
#include <time.h>

#include "base/file.h"
#include "base/memory.h"
#include "base/report.h"
#include "tour/review.h"
#include "tour/run.h"
#include "tour/step_text.h"

static bool has_result(const UfJob *job)
{
    return job->state == UF_JOB_MADE || job->state == UF_JOB_THERE || job->state == UF_JOB_KEPT;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == NULL ? path : slash + 1;
}

/* Where the cap of a patch came from. */
static const char *cap_origin(UfTour *tour, const UfJob *job)
{
    const char *origin = "given";
    for (size_t s = 0; s < job->step_count; s++)
        for (size_t i = 0; strcmp(job->steps[s].command, "patch") == 0 && i < job->steps[s].option_count;
             i++) {
            const UfOption *option = &job->steps[s].options[i];
            if (strcmp(option->key, "rig") == 0)
                origin = uf_arena_print(&tour->arena, "rig %s", base_name(option->value));
            else if (strcmp(option->key, "mask") == 0)
                origin = uf_arena_print(&tour->arena, "mask %s", base_name(option->value));
            else if (strcmp(option->key, "cap") == 0)
                origin = strcmp(option->value, "auto") == 0 ? "found in the picture"
                         : option->line > 0                 ? "sheet"
                                                            : "command line";
        }
    return origin;
}

/* One JSON array of the objects that the steps wrote one after the other. */
static const char *as_array(UfTour *tour, const char *results)
{
    const char *joined = uf_step_replace(&tour->arena, results, "\n}\n{\n", "\n},\n{\n");
    return joined == NULL || joined[0] == '\0' ? NULL : uf_arena_print(&tour->arena, "[%s]", joined);
}

static UfStatus add_warnings(UfTour *tour, UfTourRecord *record, const char ***list, const char *lines,
                             UfReport *report)
{
    for (const char *at = lines; *at != '\0';) {
        size_t length = strcspn(at, "\n");
        const char **place = uf_arena_grow(&tour->arena, list, &record->warning_count, sizeof *place);
        if (place == NULL || (*place = uf_arena_print(&tour->arena, "%.*s", (int)length, at)) == NULL)
            return uf_fail_memory(report);
        at += length + (at[length] == '\n');
    }
    return UF_OK;
}

static UfStatus add_job(UfTour *tour, const UfJob *job, UfTourRecord *record, const char ***warnings,
                        UfReport *report)
{
    record->time_s += job->record.time_s;
    if (job->piece >= 0) {
        record->pieces[job->piece] = has_result(job) ? uf_job_target(tour, job) : NULL;
        return UF_OK;
    }
    for (size_t i = 0; i < job->record.file_count; i++)
        record->output_bytes += job->record.files[i].size_bytes;
    if (job->state == UF_JOB_FAILED) {
        record->outcome = UF_TOUR_FAILED;
        if (record->error == NULL && !job->follows)
            record->error = uf_arena_print(&tour->arena, "%s: %s", job->section, job->error);
        return UF_OK;
    }
    if (job->is_chain) {
        record->output_path = uf_job_target(tour, job);
        record->steps_json = as_array(tour, job->record.results == NULL ? "" : job->record.results);
        for (const char *step = job->record.results; step != NULL; step = strstr(step, "\n}\n{\n")) {
            step += strncmp(step, "\n}\n", 3) == 0 ? 3 : 0;
            if (uf_step_number(step, "cap_deg", &record->cap_deg))
                record->cap_origin = cap_origin(tour, job);
        }
        for (size_t s = 0; s < job->step_count; s++)
            for (size_t i = 0; strcmp(job->steps[s].command, "tag") == 0 && i < job->steps[s].option_count;
                 i++)
                if (strcmp(job->steps[s].options[i].key, "heading") == 0) {
                    record->has_heading = true;
                    record->heading_deg =
                        fmod(fmod(strtod(job->steps[s].options[i].value, NULL), 360) + 360, 360);
                }
    }
    return add_warnings(tour, record, warnings, job->record.messages == NULL ? "" : job->record.messages,
                        report);
}

static UfStatus make_record(UfTour *tour, const UfPanorama *panorama, UfTourRecord *out, UfReport *report)
{
    UfTourRecord record = {.name = panorama->name,
                           .input_path = panorama->path,
                           .width_px = panorama->info.width_px,
                           .height_px = panorama->info.height_px,
                           .input_bytes = panorama->info.file_bytes,
                           .outcome = panorama->skip ? UF_TOUR_SKIPPED : UF_TOUR_DONE};
    const char **warnings = NULL;
    UfStatus status = UF_OK;
    for (size_t i = 0; i < panorama->job_count && status == UF_OK; i++)
        status = add_job(tour, &tour->jobs[panorama->first_job + i], &record, &warnings, report);
    record.warnings = warnings;
    if (record.outcome == UF_TOUR_FAILED && record.error == NULL)
        record.error = "not all of it was made";
    if (record.outcome == UF_TOUR_DONE && record.warning_count > 0)
        record.outcome = UF_TOUR_WARNED;
    *out = record;
    return status;
}

/* A field of RFC 4180: in quotes where it must be. */
static void put_field(FILE *stream, const char *text, const char *end)
{
    if (text == NULL)
        text = "";
    bool quoted = strpbrk(text, ",\"\r\n") != NULL;
    if (quoted)
        fputc('"', stream);
    for (; *text != '\0'; text++) {
        if (*text == '"')
            fputc('"', stream);
        fputc(*text, stream);
    }
    fputs(quoted ? "\"" : "", stream);
    fputs(end, stream);
}

static const char *outcome_name(UfTourOutcome outcome)
{
    static const char *const names[UF_TOUR_OUTCOME_COUNT] = {"done", "warned", "failed", "skipped"};
    return names[outcome];
}

/*
 * No times, and results by their places in the output folder: the same results give the same summary, however
 * and wherever they came about.
 */
static void put_line(FILE *stream, const UfTour *tour, const UfTourRecord *record)
{
    put_field(stream, record->name, ",");
    put_field(stream, outcome_name(record->outcome), ",");
    put_field(stream, record->input_path, ",");
    put_field(stream, record->output_path == NULL ? NULL : record->output_path + strlen(tour->out), ",");
    fprintf(stream, "%zu,%zu,", record->width_px, record->height_px);
    if (record->cap_origin != NULL)
        fprintf(stream, "%.4f", record->cap_deg);
    fputc(',', stream);
    put_field(stream, record->cap_origin, ",");
    fprintf(stream, "%" PRIu64 ",%zu,", record->output_bytes, record->warning_count);
    char *warnings = NULL;
    size_t size = 0;
    FILE *text = open_memstream(&warnings, &size);
    for (size_t i = 0; text != NULL && i < record->warning_count; i++)
        fprintf(text, "%s%s", i > 0 ? "\n" : "", record->warnings[i]);
    if (text != NULL && fclose(text) == 0)
        put_field(stream, warnings, ",");
    free(warnings);
    put_field(stream, record->error, "\r\n");
}

static UfStatus write_summary(UfRun *run, const UfTourRecord *records, size_t count)
{
    UfOutput output;
    UfStatus status = uf_output_open(run->tour->summary_path, true, &output, run->report);
    if (status != UF_OK)
        return status;
    fputs("panorama,outcome,input,output,width_px,height_px,cap_deg,cap_from,output_bytes,warning_count,"
          "warnings,error\r\n",
          output.stream);
    for (size_t i = 0; i < count; i++)
        put_line(output.stream, run->tour, &records[i]);
    return uf_output_commit(&output, run->report);
}

static UfStatus write_review(UfRun *run, const UfTourRecord *records, size_t count)
{
    const UfTourRequest *request = &run->tour->request;
    char made[40] = "";
    time_t now = time(NULL);
    struct tm local;
    if (localtime_r(&now, &local) != NULL)
        (void)strftime(made, sizeof made, "%Y-%m-%d %H:%M", &local);
    char *place = realpath(run->tour->out, NULL);
    UfReviewInfo info = {.title = place == NULL ? NULL : base_name(place),
                         .tour_key = place,
                         .made = made,
                         .sheet = request->sheet_path == NULL ? NULL : base_name(request->sheet_path),
                         .time_s = uf_run_now_s() - run->began_s,
                         .overwrite = true};
    UfStatus status = uf_review_write(request->review_path, records, count, &info, run->report);
    free(place);
    return status;
}

static void count_outcome(const UfTourRecord *record, UfTourTotals *totals)
{
    totals->panoramas++;
    totals->done += record->outcome == UF_TOUR_DONE;
    totals->warned += record->outcome == UF_TOUR_WARNED;
    totals->failed += record->outcome == UF_TOUR_FAILED;
    totals->skipped += record->outcome == UF_TOUR_SKIPPED;
    totals->bytes += record->output_bytes;
}

UfStatus uf_run_sum_up(UfRun *run, UfTourTotals *out)
{
    UfTour *tour = run->tour;
    UfTourTotals totals = {.made = run->made, .there = run->there, .peak_bytes = run->schedule.peak_bytes};
    UfTourRecord *records = uf_arena_alloc(&tour->arena, tour->panorama_count, sizeof *records);
    size_t count = 0;
    UfStatus status = UF_OK;
    if (records == NULL)
        return uf_fail_memory(run->report);
    for (size_t i = 0; i < tour->panorama_count && status == UF_OK; i++) {
        if (tour->panoramas[i].elsewhere)
            continue;
        status = make_record(tour, &tour->panoramas[i], &records[count], run->report);
        count_outcome(&records[count], &totals);
        count++;
    }
    if (status == UF_OK && tour->request.parts == 0) {
        totals.summary_path = tour->summary_path;
        status = write_summary(run, records, count);
    }
    if (status == UF_OK && tour->request.parts == 0 && tour->request.review_path != NULL)
        status = write_review(run, records, count);
    totals.time_s = uf_run_now_s() - run->began_s;
    *out = totals;
    return status;
}

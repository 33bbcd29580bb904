/*
 * From sheet and panoramas to jobs: options merged, every command line looked at, no two results in one
 * place.
 */
#include <fnmatch.h>
#include <sys/stat.h>

#include "base/memory.h"
#include "base/report.h"
#include "tour/tour.h"

#define PROBLEM_BYTES 600
#define AROUND_PX     1536

UfStatus uf_tour_digest_named(UfTour *tour, const char *path, UfDigest *out, UfReport *report)
{
    for (size_t i = 0; i < tour->file_count; i++)
        if (strcmp(tour->files[i].path, path) == 0) {
            *out = tour->files[i].digest;
            return UF_OK;
        }
    UfDigest digest;
    uint64_t size_bytes;
    UfStatus status = uf_digest_file(path, &digest, &size_bytes, report);
    if (status != UF_OK)
        return status;
    UfNamedFile *file = uf_arena_grow(&tour->arena, &tour->files, &tour->file_count, sizeof *file);
    if (file == NULL)
        return uf_fail_memory(report);
    *file = (UfNamedFile){path, digest};
    *out = digest;
    return UF_OK;
}

/* Replaces, adds or takes away an option. */
static UfStatus set_option(UfTour *tour, UfJobStep *step, const UfOverride *override, UfReport *report)
{
    size_t at = 0;
    while (at < step->option_count && strcmp(step->options[at].key, override->key) != 0)
        at++;
    bool gone = override->value[0] == '\0';
    if (gone && at < step->option_count) {
        step->option_count--;
        memmove(&step->options[at], &step->options[at + 1],
                (step->option_count - at) * sizeof *step->options);
    }
    if (gone)
        return UF_OK;
    UfOption option = {override->key, override->value, override->kind, override->line};
    if (at < step->option_count) {
        step->options[at] = option;
        return UF_OK;
    }
    UfOption *grown = uf_arena_alloc(&tour->arena, step->option_count + 1, sizeof *grown);
    if (grown == NULL)
        return uf_fail_memory(report);
    if (step->option_count > 0)
        memcpy(grown, step->options, step->option_count * sizeof *grown);
    grown[step->option_count++] = option;
    step->options = grown;
    return UF_OK;
}

/* The step as it is for this panorama; *skip when it is to be left out. */
static UfStatus merge(UfTour *tour, size_t number, const UfPanorama *panorama, UfJobStep *out, bool *skip,
                      UfReport *report)
{
    const UfStep *step = &tour->sheet.steps[number];
    UfJobStep merged = {.command = step->command, .section = step->name, .option_count = step->option_count};
    merged.options = uf_arena_alloc(&tour->arena, step->option_count, sizeof *merged.options);
    if (merged.options == NULL)
        return uf_fail_memory(report);
    if (step->option_count > 0)
        memcpy(merged.options, step->options, step->option_count * sizeof *merged.options);
    UfStatus status = UF_OK;
    *skip = false;
    for (size_t r = 0; r < tour->sheet.rule_count && status == UF_OK; r++) {
        const UfRule *rule = &tour->sheet.rules[r];
        bool fits = fnmatch(rule->pattern, panorama->name, 0) == 0;
        for (size_t i = 0; fits && i < rule->override_count && status == UF_OK; i++) {
            const UfOverride *override = &rule->overrides[i];
            if (override->step != number)
                continue;
            if (strcmp(override->key, "skip") == 0)
                *skip = strcmp(override->value, "yes") == 0;
            else
                status = set_option(tour, &merged, override, report);
        }
    }
    if (status == UF_OK)
        *out = merged;
    return status;
}

static const char *option_value(const UfJobStep *step, const char *key)
{
    for (size_t i = 0; i < step->option_count; i++)
        if (strcmp(step->options[i].key, key) == 0)
            return step->options[i].value;
    return NULL;
}

/* "hall.jpg" without its extension: the length. */
static int stem_length(const char *name)
{
    const char *dot = strrchr(name, '.');
    return (int)(dot == NULL ? strlen(name) : (size_t)(dot - name));
}

/* Where a derived result lies: NAME/hall.jpg, or the folder NAME/hall. */
static const char *derived_target(UfTour *tour, const UfJobStep *step, const char *name, bool *is_folder)
{
    int stem = stem_length(name);
    const char *format = option_value(step, "format");
    bool is_faces = strcmp(step->command, "faces") == 0;
    *is_folder = is_faces && option_value(step, "sheet") == NULL;
    if (*is_folder)
        return uf_arena_print(&tour->arena, "%s/%.*s", step->section, stem, name);
    const char *extension = format == NULL                ? (is_faces ? ".png" : name + stem)
                            : strcmp(format, "png") == 0  ? ".png"
                            : strcmp(format, "tiff") == 0 ? ".tif"
                                                          : ".jpg";
    return uf_arena_print(&tour->arena, "%s/%.*s%s", step->section, stem, name, extension);
}

static UfStatus add_job(UfTour *tour, const UfJob *job, UfReport *report)
{
    UfJob *place = uf_arena_grow(&tour->arena, &tour->jobs, &tour->job_count, sizeof *place);
    if (place == NULL || job->target == NULL)
        return uf_fail_memory(report);
    *place = *job;
    tour->panoramas[job->panorama].job_count++;
    return UF_OK;
}

static UfStatus check_files(UfTour *tour, const UfJobStep *step, UfReport *report)
{
    for (size_t i = 0; i < step->option_count; i++) {
        const UfOption *option = &step->options[i];
        UfDigest digest;
        if (option->kind != UF_TOUR_OPTION_FILE)
            continue;
        UfReport *why = uf_report_create();
        UfStatus status = uf_tour_digest_named(tour, option->value, &digest, why);
        if (status != UF_OK)
            status = uf_fail(report, status,
                             "%s%s = %s; correct the name, which counts from the folder of the sheet",
                             uf_sheet_place(tour, option->line), option->key, uf_report_error(why));
        uf_report_free(&why);
        if (status != UF_OK)
            return status;
    }
    return UF_OK;
}

/* Would the command take it? The line of the last option is named, or that of the section. */
static UfStatus check_step(UfTour *tour, const UfJob *job, const UfJobStep *step, const char *out,
                           UfReport *report)
{
    size_t count = 0;
    char problem[PROBLEM_BYTES] = "";
    const UfPanorama *panorama = &tour->panoramas[job->panorama];
    const char **arguments = uf_job_arguments(tour, step, panorama->path, out, 0, 0, &count);
    if (arguments == NULL)
        return uf_fail_memory(report);
    UfStatus status = check_files(tour, step, report);
    if (status != UF_OK || tour->host->check(tour->host->context, arguments, count, problem, sizeof problem))
        return status;
    int line = 0;
    for (size_t i = 0; i < tour->sheet.step_count; i++)
        if (strcmp(tour->sheet.steps[i].name, step->section) == 0)
            line = tour->sheet.steps[i].line;
    bool overridden = false;
    for (size_t r = 0; r < tour->sheet.rule_count; r++)
        overridden |= fnmatch(tour->sheet.rules[r].pattern, panorama->name, 0) == 0;
    for (size_t i = 0; i < step->option_count; i++)
        line = step->options[i].line > line ? step->options[i].line : line;
    return uf_fail(report, UF_ERROR_FORMAT, "%s%s of %s: %s%s", uf_sheet_place(tour, line), step->section,
                   panorama->name, problem,
                   overridden ? " (in a [panorama] section 'option =' with nothing behind it takes one away)"
                              : "");
}

static UfStatus check_job(UfTour *tour, const UfJob *job, UfReport *report)
{
    const char *out = uf_arena_print(&tour->arena, "%s%s", tour->out, job->target);
    UfStatus status = out == NULL ? uf_fail_memory(report) : UF_OK;
    for (size_t i = 0; i < job->step_count && status == UF_OK; i++)
        status = check_step(tour, job, &job->steps[i], out, report);
    return status;
}

static UfJob new_job(size_t panorama)
{
    return (UfJob){.panorama = panorama, .piece = -1, .source_job = -1};
}

/* turn, patch and tag: one job, whose result has the panorama's own name. */
static UfStatus add_chain(UfTour *tour, size_t number, ptrdiff_t *chain, UfReport *report)
{
    UfPanorama *panorama = &tour->panoramas[number];
    UfJob job = new_job(number);
    job.is_chain = true;
    job.target = panorama->name;
    UfStatus status = UF_OK;
    for (size_t i = 0; i < tour->sheet.step_count && status == UF_OK; i++) {
        bool skip = tour->sheet.steps[i].is_derived;
        UfJobStep step = {0};
        if (!skip)
            status = merge(tour, i, panorama, &step, &skip, report);
        UfJobStep *place = skip || status != UF_OK
                               ? NULL
                               : uf_arena_grow(&tour->arena, &job.steps, &job.step_count, sizeof *place);
        if (place != NULL)
            *place = step;
        else if (!skip && status == UF_OK)
            status = uf_fail_memory(report);
    }
    if (status != UF_OK || job.step_count == 0)
        return status;
    job.section = job.steps[job.step_count - 1].section;
    status = check_job(tour, &job, report);
    if (status == UF_OK)
        status = add_job(tour, &job, report);
    *chain = (ptrdiff_t)tour->job_count - 1;
    return status;
}

static UfStatus add_derived(UfTour *tour, size_t number, ptrdiff_t chain, UfReport *report)
{
    UfStatus status = UF_OK;
    for (size_t i = 0; i < tour->sheet.step_count && status == UF_OK; i++) {
        if (!tour->sheet.steps[i].is_derived)
            continue;
        UfJob job = new_job(number);
        bool skip = false;
        job.source_job = chain;
        job.steps = uf_arena_alloc(&tour->arena, 1, sizeof *job.steps);
        job.step_count = 1;
        if (job.steps == NULL)
            return uf_fail_memory(report);
        status = merge(tour, i, &tour->panoramas[number], job.steps, &skip, report);
        if (status != UF_OK || skip)
            continue;
        job.section = job.steps[0].section;
        job.target = derived_target(tour, job.steps, tour->panoramas[number].name, &job.is_folder);
        status = job.target == NULL ? uf_fail_memory(report) : check_job(tour, &job, report);
        if (status == UF_OK)
            status = add_job(tour, &job, report);
    }
    return status;
}

/* The small pictures of the review page (record.h). */
static const struct {
    const char *name, *command;
    UfOption options[4];
    size_t count;
} pieces[UF_TOUR_PIECE_COUNT] = {
    [UF_TOUR_NADIR_BEFORE] = {"before",
                              "view",
                              {{"pitch", "-90", UF_TOUR_OPTION_VALUE, 0},
                               {"fov", "100", UF_TOUR_OPTION_VALUE, 0},
                               {"size", "640x640", UF_TOUR_OPTION_VALUE, 0}},
                              3},
    [UF_TOUR_NADIR_AFTER] = {"after",
                             "view",
                             {{"pitch", "-90", UF_TOUR_OPTION_VALUE, 0},
                              {"fov", "100", UF_TOUR_OPTION_VALUE, 0},
                              {"size", "640x640", UF_TOUR_OPTION_VALUE, 0}},
                             3},
    [UF_TOUR_SEAM] = {"seam",
                      "view",
                      {{"yaw", "180", UF_TOUR_OPTION_VALUE, 0}, {"size", "640x480", UF_TOUR_OPTION_VALUE, 0}},
                      2},
    [UF_TOUR_ZENITH] = {"zenith",
                        "view",
                        {{"pitch", "90", UF_TOUR_OPTION_VALUE, 0},
                         {"size", "480x480", UF_TOUR_OPTION_VALUE, 0}},
                        2},
    [UF_TOUR_AROUND] = {"around",
                        "deliver",
                        {{"quality", "80", UF_TOUR_OPTION_VALUE, 0}, {"srgb", "yes", UF_TOUR_OPTION_FLAG, 0}},
                        2}};

static UfStatus add_piece(UfTour *tour, size_t number, ptrdiff_t chain, int piece, UfReport *report)
{
    UfPanorama *panorama = &tour->panoramas[number];
    UfJob job = new_job(number);
    job.piece = piece;
    job.source_job = piece == UF_TOUR_NADIR_BEFORE ? -1 : chain;
    job.section = "review";
    job.target =
        uf_arena_print(&tour->arena, UF_TOUR_HIDDEN "/review/%s/%s.jpg", panorama->name, pieces[piece].name);
    job.steps = uf_arena_alloc(&tour->arena, 1, sizeof *job.steps);
    job.step_count = 1;
    UfOption *options = uf_arena_alloc(&tour->arena, pieces[piece].count + 1, sizeof *options);
    if (job.steps == NULL || options == NULL)
        return uf_fail_memory(report);
    memcpy(options, pieces[piece].options, pieces[piece].count * sizeof *options);
    job.steps[0] = (UfJobStep){pieces[piece].command, "review", options, pieces[piece].count};
    if (piece == UF_TOUR_AROUND) {
        size_t width = panorama->info.width_px < AROUND_PX ? panorama->info.width_px / 2 * 2 : AROUND_PX;
        const char *value = uf_arena_print(&tour->arena, "%zu", width);
        options[job.steps[0].option_count++] = (UfOption){"width", value, UF_TOUR_OPTION_VALUE, 0};
    }
    return add_job(tour, &job, report);
}

/* JPEG holds no transparency: panoramas that have it go without pieces. */
static UfStatus add_pieces(UfTour *tour, size_t number, ptrdiff_t chain, UfReport *report)
{
    UfStatus status = UF_OK;
    bool has_alpha = tour->panoramas[number].info.channels % 2 == 0;
    for (int piece = 0; piece < UF_TOUR_PIECE_COUNT && !has_alpha && status == UF_OK; piece++)
        status = add_piece(tour, number, chain, piece, report);
    return status;
}

/* A header that cannot be used is the panorama's own misfortune, not the tour's. */
static void probe(UfTour *tour, UfPanorama *panorama)
{
    UfReport *report = uf_report_create();
    UfStatus status = uf_picture_probe(panorama->path, &panorama->info, report);
    if (status != UF_OK)
        panorama->error = uf_arena_print(&tour->arena, "%s", uf_report_error(report));
    else if (panorama->info.width_px != 2 * panorama->info.height_px)
        panorama->error = uf_arena_print(
            &tour->arena, "is %zu x %zu pixels; a full panorama is twice as wide as it is high",
            panorama->info.width_px, panorama->info.height_px);
    uf_report_free(&report);
}

static int compare_targets(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* hall.jpg and hall.tif have one place for what is derived from them in one format. */
static UfStatus check_targets(UfTour *tour, UfReport *report)
{
    const char **targets = uf_arena_alloc(&tour->arena, tour->job_count, sizeof *targets);
    if (targets == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < tour->job_count; i++)
        targets[i] = tour->jobs[i].target;
    qsort(targets, tour->job_count, sizeof *targets, compare_targets);
    for (size_t i = 0; i + 1 < tour->job_count; i++)
        if (strcmp(targets[i], targets[i + 1]) == 0)
            return uf_fail(report, UF_ERROR_ARGUMENT,
                           "%s%s would be made of two panoramas; rename one of them, or make two tours with "
                           "an output folder each",
                           tour->out, targets[i]);
    return UF_OK;
}

/* Whatever lists say: a result must never take an original's place. */
static UfStatus check_originals(UfTour *tour, UfReport *report)
{
    for (size_t i = 0; i < tour->job_count; i++) {
        struct stat target;
        struct stat original;
        const char *path = uf_job_target(tour, &tour->jobs[i]);
        if (path == NULL)
            return uf_fail_memory(report);
        if (stat(path, &target) != 0)
            continue;
        for (size_t p = 0; p < tour->panorama_count; p++)
            if (stat(tour->panoramas[p].path, &original) == 0 && original.st_dev == target.st_dev &&
                original.st_ino == target.st_ino)
                return uf_fail(report, UF_ERROR_ARGUMENT,
                               "%s: is an original of this tour; a result would take its place. Give another "
                               "output folder",
                               path);
    }
    return UF_OK;
}

UfStatus uf_tour_make_jobs(UfTour *tour, UfReport *report)
{
    UfStatus status = UF_OK;
    for (size_t i = 0; i < tour->panorama_count && status == UF_OK; i++) {
        UfPanorama *panorama = &tour->panoramas[i];
        ptrdiff_t chain = -1;
        panorama->first_job = tour->job_count;
        panorama->elsewhere = tour->request.parts > 0 && i % tour->request.parts != tour->request.part - 1;
        if (panorama->skip || panorama->elsewhere)
            continue;
        probe(tour, panorama);
        status = add_chain(tour, i, &chain, report);
        if (status == UF_OK)
            status = add_derived(tour, i, chain, report);
        if (status == UF_OK && tour->request.review_path != NULL && panorama->error == NULL)
            status = add_pieces(tour, i, chain, report);
    }
    for (size_t i = 0; i < tour->job_count && status == UF_OK; i++) {
        UfJob *job = &tour->jobs[i];
        for (size_t s = 0; s < job->step_count; s++) {
            uint64_t need = uf_job_need(&job->steps[s], &tour->panoramas[job->panorama].info);
            job->need_bytes = need > job->need_bytes ? need : job->need_bytes;
        }
    }
    if (status == UF_OK)
        status = check_targets(tour, report);
    return status == UF_OK ? check_originals(tour, report) : status;
}

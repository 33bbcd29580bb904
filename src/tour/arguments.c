/* A step as a command line of the program. */
#include "tour/tour.h"

/* Room for: command, -o OUT, --json, --threads, --max-memory, --, input, NULL. */
#define FIXED_ARGUMENTS 9

const char *uf_job_source(const UfTour *tour, const UfJob *job)
{
    const UfPanorama *panorama = &tour->panoramas[job->panorama];
    if (job->source_job < 0)
        return panorama->path;
    return uf_job_target((UfTour *)tour, &tour->jobs[job->source_job]);
}

char *uf_job_target(UfTour *tour, const UfJob *job)
{
    return uf_arena_print(&tour->arena, "%s%s", tour->out, job->target);
}

/* `format` of anything but faces is told by the name of the result. */
static bool is_passed_on(const UfJobStep *step, const UfOption *option)
{
    if (strcmp(option->key, "format") != 0 || strcmp(step->command, "faces") != 0)
        return strcmp(option->key, "format") != 0;
    for (size_t i = 0; i < step->option_count; i++)
        if (strcmp(step->options[i].key, "sheet") == 0)
            return false;
    return true;
}

static bool takes(const UfTour *tour, const UfJobStep *step, const char *key)
{
    char problem[200];
    return tour->host->option(tour->host->context, step->command, key, "1", problem, sizeof problem) !=
           UF_TOUR_OPTION_UNKNOWN;
}

const char **uf_job_arguments(UfTour *tour, const UfJobStep *step, const char *source, const char *out,
                              size_t threads, uint64_t max_memory_bytes, size_t *count)
{
    UfArena *arena = &tour->arena;
    const char **line = uf_arena_alloc(arena, step->option_count + FIXED_ARGUMENTS, sizeof *line);
    size_t used = 0;
    if (line == NULL)
        return NULL;
    line[used++] = step->command;
    for (size_t i = 0; i < step->option_count; i++) {
        const UfOption *option = &step->options[i];
        bool is_flag = option->kind == UF_TOUR_OPTION_FLAG;
        if (!is_passed_on(step, option) || (is_flag && strcmp(option->value, "yes") != 0))
            continue;
        line[used++] = is_flag ? uf_arena_print(arena, "--%s", option->key)
                               : uf_arena_print(arena, "--%s=%s", option->key, option->value);
    }
    line[used++] = "--json";
    if (threads > 0 && takes(tour, step, "threads"))
        line[used++] = uf_arena_print(arena, "--threads=%zu", threads);
    if (max_memory_bytes > 0 && takes(tour, step, "max-memory"))
        line[used++] = uf_arena_print(arena, "--max-memory=%llu", (unsigned long long)max_memory_bytes);
    line[used++] = "-o";
    line[used++] = out;
    line[used++] = "--";
    line[used++] = source;
    for (size_t i = 0; i < used; i++)
        if (line[i] == NULL)
            return NULL;
    *count = used;
    return line;
}

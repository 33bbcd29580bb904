/*
 * Which panoramas? Those of a folder, or those that a pattern (POSIX glob) finds, sorted by their paths'
 * bytes.
 *
 * What the tour itself makes is no panorama of it, and neither is a file that the sheet names as a logo, a
 * rig or the like.
 */
#include <dirent.h>
#include <errno.h>
#include <fnmatch.h>
#include <glob.h>
#include <limits.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/ini.h"
#include "base/memory.h"
#include "base/report.h"
#include "tour/tour.h"

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == NULL ? path : slash + 1;
}

static bool is_folder(const char *path)
{
    struct stat facts;
    return stat(path, &facts) == 0 && S_ISDIR(facts.st_mode);
}

static bool same_file(const char *a, const char *b)
{
    struct stat first;
    struct stat second;
    return stat(a, &first) == 0 && stat(b, &second) == 0 && first.st_dev == second.st_dev &&
           first.st_ino == second.st_ino;
}

/* Is `path` at or under `folder`? By their real places. */
static bool is_under(const char *path, const char *folder)
{
    char real_path[PATH_MAX];
    char real_folder[PATH_MAX];
    if (realpath(path, real_path) == NULL || realpath(folder, real_folder) == NULL)
        return false;
    size_t length = strlen(real_folder);
    return strncmp(real_path, real_folder, length) == 0 &&
           (real_path[length] == '/' || real_path[length] == '\0' || length == 1);
}

/* The folder in which `path` lies is the output folder. */
static bool lies_in_out(const UfTour *tour, const char *path)
{
    char folder[PATH_MAX];
    size_t length = (size_t)(base_name(path) - path);
    snprintf(folder, sizeof folder, "%.*s", (int)length, length == 0 ? "" : path);
    return same_file(length == 0 ? "." : folder, tour->out);
}

static bool has_chain(const UfTour *tour)
{
    return tour->sheet.step_count > 0 && !tour->sheet.steps[0].is_derived;
}

/* Is it, or could it be, a result of this tour? */
static bool is_own(UfTour *tour, const char *path)
{
    if (!is_folder(tour->out))
        return false;
    const char *hidden = uf_arena_print(&tour->arena, "%s%s", tour->out, UF_TOUR_HIDDEN);
    if (hidden != NULL && is_under(path, hidden))
        return true;
    for (size_t i = 0; i < tour->sheet.step_count; i++) {
        const UfStep *step = &tour->sheet.steps[i];
        const char *folder = uf_arena_print(&tour->arena, "%s%s", tour->out, step->name);
        if (step->is_derived && folder != NULL && is_under(path, folder))
            return true;
    }
    return has_chain(tour) && lies_in_out(tour, path);
}

static bool is_named(const UfTour *tour, const char *path)
{
    const UfSheet *sheet = &tour->sheet;
    bool named = false;
    for (size_t i = 0; i < sheet->step_count && !named; i++)
        for (size_t j = 0; j < sheet->steps[i].option_count && !named; j++) {
            const UfOption *option = &sheet->steps[i].options[j];
            named = option->kind == UF_TOUR_OPTION_FILE && same_file(option->value, path);
        }
    for (size_t i = 0; i < sheet->rule_count && !named; i++)
        for (size_t j = 0; j < sheet->rules[i].override_count && !named; j++) {
            const UfOverride *override = &sheet->rules[i].overrides[j];
            named = override->kind == UF_TOUR_OPTION_FILE && same_file(override->value, path);
        }
    return named;
}

static UfStatus add(UfTour *tour, const char *path, UfReport *report)
{
    UfPanorama *panorama =
        uf_arena_grow(&tour->arena, &tour->panoramas, &tour->panorama_count, sizeof *panorama);
    if (panorama == NULL)
        return uf_fail_memory(report);
    *panorama = (UfPanorama){.path = uf_arena_print(&tour->arena, "%s", path)};
    if (panorama->path == NULL)
        return uf_fail_memory(report);
    panorama->name = base_name(panorama->path);
    return UF_OK;
}

static UfStatus list_folder(UfTour *tour, const char *folder, UfReport *report)
{
    DIR *stream = opendir(folder);
    if (stream == NULL)
        return uf_fail_errno(report, "cannot be read", folder);
    UfStatus status = UF_OK;
    bool ended = folder[strlen(folder) - 1] == '/';
    for (const struct dirent *entry; status == UF_OK && (entry = readdir(stream)) != NULL;) {
        if (entry->d_name[0] == '.' || uf_format_from_name(entry->d_name) == UF_FORMAT_UNKNOWN)
            continue;
        const char *path = uf_arena_print(&tour->arena, "%s%s%s", folder, ended ? "" : "/", entry->d_name);
        if (path == NULL)
            status = uf_fail_memory(report);
        else if (!is_folder(path) && !is_named(tour, path))
            status = add(tour, path, report);
    }
    closedir(stream);
    return status;
}

static UfStatus list_pattern(UfTour *tour, const char *pattern, size_t *own, UfReport *report)
{
    glob_t found;
    int result = glob(pattern, 0, NULL, &found);
    if (result == GLOB_NOSPACE)
        return uf_fail_memory(report);
    UfStatus status = UF_OK;
    for (size_t i = 0; result == 0 && i < found.gl_pathc && status == UF_OK; i++) {
        const char *path = found.gl_pathv[i];
        if (is_folder(path) || is_named(tour, path))
            continue;
        if (is_own(tour, path))
            (*own)++;
        else
            status = add(tour, path, report);
    }
    globfree(&found);
    return status;
}

static int compare(const void *a, const void *b)
{
    return strcmp(((const UfPanorama *)a)->path, ((const UfPanorama *)b)->path);
}

/* Two of one name would have one place in the output folder. */
static UfStatus check_names(const UfTour *tour, UfReport *report)
{
    for (size_t i = 0; i < tour->panorama_count; i++)
        for (size_t j = i + 1; j < tour->panorama_count; j++)
            if (strcmp(tour->panoramas[i].name, tour->panoramas[j].name) == 0)
                return uf_fail(
                    report, UF_ERROR_ARGUMENT,
                    "%s and %s have the same name, and so would their results; rename one, or make "
                    "two tours with an output folder each",
                    tour->panoramas[i].path, tour->panoramas[j].path);
    return UF_OK;
}

static UfStatus match_rules(UfTour *tour, UfReport *report)
{
    for (size_t r = 0; r < tour->sheet.rule_count; r++) {
        UfRule *rule = &tour->sheet.rules[r];
        for (size_t i = 0; i < tour->panorama_count; i++)
            if (fnmatch(rule->pattern, tour->panoramas[i].name, 0) == 0) {
                rule->matches++;
                if (rule->says_skip)
                    tour->panoramas[i].skip = rule->skip;
            }
        if (rule->matches == 0)
            return uf_fail(report, UF_ERROR_FORMAT,
                           "%s[panorama %s] fits no panorama in %s; correct it, or take the section out",
                           uf_sheet_place(tour, rule->line), rule->pattern, tour->request.input);
    }
    return UF_OK;
}

static UfStatus refuse_own(const UfTour *tour, UfReport *report)
{
    return uf_fail(report, UF_ERROR_ARGUMENT,
                   "%s: is the folder of the originals, too; results would take their places. Give another "
                   "output folder",
                   tour->out);
}

UfStatus uf_tour_list_input(UfTour *tour, UfReport *report)
{
    const char *input = tour->request.input;
    const char *place = input == tour->sheet.input ? uf_sheet_place(tour, tour->sheet.input_line) : "";
    bool folder = is_folder(input);
    const char *odd = strpbrk(input, "~\"");
    size_t own = 0;
    if (folder && has_chain(tour) && same_file(input, tour->out))
        return refuse_own(tour, report);
    UfStatus status = folder ? list_folder(tour, input, report) : list_pattern(tour, input, &own, report);
    if (status == UF_OK && tour->panorama_count == 0 && own > 0)
        return refuse_own(tour, report);
    if (status == UF_OK && tour->panorama_count == 0)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "%s%s: %s; give a folder or a pattern such as 'pictures/*.jpg'%s", place, input,
                       folder ? "holds no file that ends in .jpg, .jpeg, .png, .tif or .tiff"
                       : strpbrk(input, "*?[") != NULL ? "fits no file"
                                                       : "is not there",
                       uf_ini_slip(odd != NULL ? odd : input));
    if (tour->panorama_count > 1)
        qsort(tour->panoramas, tour->panorama_count, sizeof *tour->panoramas, compare);
    if (status == UF_OK)
        status = check_names(tour, report);
    return status == UF_OK ? match_rules(tour, report) : status;
}

/*
 * The job sheet: sections to steps, [panorama PATTERN] sections to overrides.
 *
 * docs/tour.md is its reference. Nothing is guessed: what the sheet says and nobody understands is refused
 * with its line, before anything runs.
 */
#include <ctype.h>
#include <math.h>

#include "base/ini.h"
#include "base/memory.h"
#include "base/report.h"
#include "tour/tour.h"

#define PROBLEM_BYTES 400

typedef enum Role { ROLE_TURN = 0, ROLE_PATCH, ROLE_TAG, ROLE_DERIVED } Role;

/* The commands that a sheet may hold, in the order in which they run. */
static const struct {
    const char *command;
    Role role;
} roles[] = {{"turn", ROLE_TURN},      {"patch", ROLE_PATCH},  {"tag", ROLE_TAG},
             {"faces", ROLE_DERIVED},  {"view", ROLE_DERIVED}, {"planet", ROLE_DERIVED},
             {"deliver", ROLE_DERIVED}};
#define ROLE_COUNT (sizeof roles / sizeof roles[0])

/* What the tour sees to itself. */
static const char *const own_keys[] = {"out",  "overwrite", "threads", "max-memory",
                                       "json", "quiet",     "help",    "version"};

const char *uf_sheet_place(UfTour *tour, int line)
{
    const char *text = line > 0 ? uf_arena_print(&tour->arena, "%s:%d: ", tour->sheet.path, line) : "";
    return text == NULL ? "" : text;
}

/* A path of the sheet as one from the working folder; one that begins with a dash is no option. */
static const char *resolve(UfTour *tour, const char *path)
{
    if (path[0] == '/')
        return uf_arena_print(&tour->arena, "%s", path);
    const char *folder = tour->sheet.folder;
    return uf_arena_print(&tour->arena, "%s%s%s", folder, folder[0] == '\0' && path[0] == '-' ? "./" : "",
                          path);
}

static int find_role(const char *kind)
{
    for (size_t i = 0; i < ROLE_COUNT; i++)
        if (strcmp(roles[i].command, kind) == 0)
            return (int)i;
    return -1;
}

bool uf_tour_has_step(const char *command)
{
    return find_role(command) >= 0;
}

/* "; it belongs under [patch]": the sections that have such an option; "" for none. */
static const char *where_it_belongs(UfTour *tour, const char *key)
{
    const char *list = "";
    for (size_t i = 0; i < ROLE_COUNT && list != NULL; i++) {
        char problem[PROBLEM_BYTES];
        if (tour->host->option(tour->host->context, roles[i].command, key, "", problem, sizeof problem) !=
            UF_TOUR_OPTION_UNKNOWN)
            list = uf_arena_print(&tour->arena, "%s%s[%s]", list,
                                  *list == '\0' ? "; it belongs under " : " or ", roles[i].command);
    }
    return list == NULL ? "" : list;
}

static UfStatus unknown_option(UfTour *tour, const char *command, const char *key, const char *problem,
                               int line, UfReport *report)
{
    const char *elsewhere = where_it_belongs(tour, key);
    bool is_near = *elsewhere == '\0' && problem[0] != '\0';
    return uf_fail(report, UF_ERROR_FORMAT,
                   "%s[%s] has no option '%s'%s%s%s; 'underfoot help %s' lists what there is",
                   uf_sheet_place(tour, line), command, key, elsewhere, is_near ? "; " : "",
                   is_near ? problem : "", command);
}

/* Takes or refuses an option of a step. */
static UfStatus check_option(UfTour *tour, const char *command, const char *key, const char *value, int line,
                             UfTourOptionKind *kind, UfReport *report)
{
    const char *place = uf_sheet_place(tour, line);
    char problem[PROBLEM_BYTES] = "";
    for (size_t i = 0; i < sizeof own_keys / sizeof own_keys[0]; i++)
        if (strcmp(own_keys[i], key) == 0)
            return uf_fail(
                report, UF_ERROR_FORMAT, "%s'%s' is seen to by the tour itself; take it out%s", place, key,
                strcmp(key, "threads") == 0 || strcmp(key, "max-memory") == 0 ? ", or put it under [tour]"
                                                                              : "");
    bool names_format = strcmp(key, "format") == 0 && strcmp(command, "faces") != 0;
    if (names_format) { /* the tour's own: the commands tell the format by the name */
        *kind = UF_TOUR_OPTION_VALUE;
        if (strcmp(value, "png") == 0 || strcmp(value, "tiff") == 0 || strcmp(value, "jpeg") == 0 ||
            *value == 0)
            return UF_OK;
        return uf_fail(report, UF_ERROR_FORMAT, "%sformat = %s: it must be png, tiff or jpeg", place, value);
    }
    *kind = tour->host->option(tour->host->context, command, key, value, problem, sizeof problem);
    if (*kind == UF_TOUR_OPTION_UNKNOWN)
        return unknown_option(tour, command, key, problem, line, report);
    if (*kind == UF_TOUR_OPTION_FLAG && strcmp(value, "yes") != 0 && strcmp(value, "no") != 0 && *value != 0)
        return uf_fail(report, UF_ERROR_FORMAT, "%s%s = %s: it must be yes or no", place, key, value);
    if (*kind != UF_TOUR_OPTION_FLAG && *value != '\0' && problem[0] != '\0')
        return uf_fail(report, UF_ERROR_FORMAT, "%s%s = %s: %s%s", place, key, value, problem,
                       uf_ini_slip(value));
    return UF_OK;
}

static UfStatus add_option(UfTour *tour, UfStep *step, const char *key, const char *value, int line,
                           UfReport *report)
{
    UfTourOptionKind kind = UF_TOUR_OPTION_UNKNOWN;
    UfStatus status = check_option(tour, step->command, key, value, line, &kind, report);
    if (status != UF_OK)
        return status;
    if (*value == '\0')
        return uf_fail(report, UF_ERROR_FORMAT, "%s'%s' has no value; give one, or take the line out",
                       uf_sheet_place(tour, line), key);
    UfOption *option = uf_arena_grow(&tour->arena, &step->options, &step->option_count, sizeof *option);
    if (option == NULL)
        return uf_fail_memory(report);
    *option = (UfOption){.key = uf_arena_print(&tour->arena, "%s", key), .kind = kind, .line = line};
    option->value =
        kind == UF_TOUR_OPTION_FILE ? resolve(tour, value) : uf_arena_print(&tour->arena, "%s", value);
    return option->key == NULL || option->value == NULL ? uf_fail_memory(report) : UF_OK;
}

/* A name that becomes a folder, and comes before the dot in overrides. */
static bool is_plain_name(const char *name)
{
    if (!isalnum((unsigned char)name[0]))
        return false;
    for (const char *at = name; *at != '\0'; at++)
        if (!isalnum((unsigned char)*at) && *at != '-' && *at != '_')
            return false;
    return true;
}

static UfStatus add_step(UfTour *tour, const UfIniSection *section, size_t role, UfReport *report)
{
    UfSheet *sheet = &tour->sheet;
    const char *place = uf_sheet_place(tour, section->line);
    const char *name = section->name[0] != '\0' ? section->name : section->kind;
    if (!is_plain_name(name))
        return uf_fail(report, UF_ERROR_FORMAT,
                       "%s[%s %s]: a name is made of letters, digits, - and _, because it becomes a folder",
                       place, section->kind, section->name);
    for (size_t i = 0; i < sheet->step_count; i++)
        if (strcmp(sheet->steps[i].name, name) == 0)
            return uf_fail(report, UF_ERROR_FORMAT,
                           "%sthere are two sections of the name '%s'; give one of them another, such as [%s "
                           "%s-2]",
                           place, name, section->kind, name);
    bool once = roles[role].role == ROLE_TURN || roles[role].role == ROLE_TAG;
    for (size_t i = 0; i < sheet->step_count && once; i++)
        if (strcmp(sheet->steps[i].command, section->kind) == 0)
            return uf_fail(report, UF_ERROR_FORMAT, "%sa panorama is %s once; take one of the [%s] out",
                           place, roles[role].role == ROLE_TURN ? "turned" : "tagged", section->kind);
    UfStep *step = uf_arena_grow(&tour->arena, &sheet->steps, &sheet->step_count, sizeof *step);
    if (step == NULL)
        return uf_fail_memory(report);
    *step = (UfStep){.command = roles[role].command,
                     .name = uf_arena_print(&tour->arena, "%s", name),
                     .is_derived = roles[role].role == ROLE_DERIVED,
                     .line = section->line};
    UfStatus status = step->name == NULL ? uf_fail_memory(report) : UF_OK;
    for (size_t i = 0; i < section->count && status == UF_OK; i++)
        status = add_option(tour, step, section->entries[i].key, section->entries[i].value,
                            section->entries[i].line, report);
    return status;
}

/* Role by role: the order of running. */
static UfStatus add_steps(UfTour *tour, const UfIni *ini, UfReport *report)
{
    UfStatus status = UF_OK;
    for (int role = ROLE_TURN; role <= ROLE_DERIVED; role++)
        for (size_t i = 0; i < ini->count && status == UF_OK; i++) {
            int found = find_role(ini->sections[i].kind);
            if (found >= 0 && (int)roles[found].role == role)
                status = add_step(tour, &ini->sections[i], (size_t)found, report);
        }
    if (status == UF_OK && tour->sheet.step_count == 0)
        return uf_fail(
            report, UF_ERROR_FORMAT,
            "%s: says nothing about what to make; add a section such as [patch] with rig = RIG.ini",
            tour->sheet.path);
    return status;
}

static UfStatus whole_number(UfTour *tour, const UfIniEntry *entry, size_t *out, UfReport *report)
{
    size_t digits = strspn(entry->value, "0123456789");
    if (digits == 0 || digits > 6 || entry->value[digits] != '\0' || strtoul(entry->value, NULL, 10) == 0)
        return uf_fail(report, UF_ERROR_FORMAT, "%s%s = %s: it must be a whole number from 1 on",
                       uf_sheet_place(tour, entry->line), entry->key, entry->value);
    *out = strtoul(entry->value, NULL, 10);
    return UF_OK;
}

static UfStatus memory_size(UfTour *tour, const UfIniEntry *entry, uint64_t *out, UfReport *report)
{
    const char *units = "KMGT";
    size_t digits = strspn(entry->value, "0123456789");
    const char *unit =
        entry->value[digits] == '\0' ? NULL : strchr(units, toupper((unsigned char)entry->value[digits]));
    bool good = digits > 0 && digits <= 15 &&
                (entry->value[digits] == '\0' || (unit != NULL && entry->value[digits + 1] == '\0'));
    double bytes =
        good ? ldexp(strtod(entry->value, NULL), unit == NULL ? 0 : 10 * (int)(unit - units + 1)) : 0;
    if (!(bytes >= 1 && bytes <= 9e15))
        return uf_fail(report, UF_ERROR_FORMAT, "%smax-memory = %s: it must be a size such as 500M or 8G",
                       uf_sheet_place(tour, entry->line), entry->value);
    *out = (uint64_t)bytes;
    return UF_OK;
}

static UfStatus take_tour_entry(UfTour *tour, const UfIniEntry *entry, UfReport *report)
{
    UfSheet *sheet = &tour->sheet;
    if (strcmp(entry->key, "jobs") == 0)
        return whole_number(tour, entry, &sheet->jobs, report);
    if (strcmp(entry->key, "threads") == 0)
        return whole_number(tour, entry, &sheet->threads, report);
    if (strcmp(entry->key, "max-memory") == 0)
        return memory_size(tour, entry, &sheet->max_memory_bytes, report);
    const char **place = strcmp(entry->key, "input") == 0    ? &sheet->input
                         : strcmp(entry->key, "out") == 0    ? &sheet->out
                         : strcmp(entry->key, "review") == 0 ? &sheet->review
                                                             : NULL;
    if (place == NULL)
        return uf_fail(report, UF_ERROR_FORMAT,
                       "%s[tour] has no '%s'%s; there are input, out, review, jobs, threads and max-memory",
                       uf_sheet_place(tour, entry->line), entry->key, where_it_belongs(tour, entry->key));
    if (entry->value[0] == '\0')
        return uf_fail(report, UF_ERROR_FORMAT, "%s'%s' has no value; give one, or take the line out",
                       uf_sheet_place(tour, entry->line), entry->key);
    if (place == &sheet->input)
        sheet->input_line = entry->line;
    *place = resolve(tour, entry->value);
    return *place == NULL ? uf_fail_memory(report) : UF_OK;
}

/* "name.key": the step's number, and the key behind the last dot. */
static UfStatus split_override(UfTour *tour, const UfIniEntry *entry, size_t *step, const char **key,
                               UfReport *report)
{
    const UfSheet *sheet = &tour->sheet;
    const char *dot = strrchr(entry->key, '.');
    size_t length = dot == NULL ? 0 : (size_t)(dot - entry->key);
    for (size_t i = 0; i < sheet->step_count && dot != NULL; i++) {
        if (strlen(sheet->steps[i].name) != length || memcmp(sheet->steps[i].name, entry->key, length) != 0)
            continue;
        *step = i;
        *key = dot + 1;
        return UF_OK;
    }
    if (dot == NULL)
        return uf_fail(report, UF_ERROR_FORMAT,
                       "%s'%s' is neither skip nor SECTION.option; write it as %s.%s, say",
                       uf_sheet_place(tour, entry->line), entry->key, sheet->steps[0].name, entry->key);
    return uf_fail(report, UF_ERROR_FORMAT,
                   "%sthe sheet has no section '%.*s'; its sections are called %s%s%s",
                   uf_sheet_place(tour, entry->line), (int)length, entry->key, sheet->steps[0].name,
                   sheet->step_count > 1 ? ", " : "", sheet->step_count > 1 ? sheet->steps[1].name : "");
}

static UfStatus yes_or_no(UfTour *tour, const UfIniEntry *entry, bool *out, UfReport *report)
{
    *out = strcmp(entry->value, "yes") == 0;
    if (*out || strcmp(entry->value, "no") == 0)
        return UF_OK;
    return uf_fail(report, UF_ERROR_FORMAT, "%s%s = %s: it must be yes or no",
                   uf_sheet_place(tour, entry->line), entry->key, entry->value);
}

static UfStatus take_rule_entry(UfTour *tour, UfRule *rule, const UfIniEntry *entry, UfReport *report)
{
    size_t step = 0;
    const char *key = "";
    bool skip = false;
    if (strcmp(entry->key, "skip") == 0) {
        rule->says_skip = true;
        return yes_or_no(tour, entry, &rule->skip, report);
    }
    UfStatus status = split_override(tour, entry, &step, &key, report);
    UfTourOptionKind kind = UF_TOUR_OPTION_FLAG;
    if (status == UF_OK && strcmp(key, "skip") == 0)
        status = yes_or_no(tour, entry, &skip, report);
    else if (status == UF_OK)
        status = check_option(tour, tour->sheet.steps[step].command, key, entry->value, entry->line, &kind,
                              report);
    if (status != UF_OK)
        return status;
    UfOverride *place = uf_arena_grow(&tour->arena, &rule->overrides, &rule->override_count, sizeof *place);
    if (place == NULL)
        return uf_fail_memory(report);
    *place = (UfOverride){.step = step, .kind = kind, .line = entry->line};
    place->key = uf_arena_print(&tour->arena, "%s", key);
    place->value = kind == UF_TOUR_OPTION_FILE && entry->value[0] != '\0'
                       ? resolve(tour, entry->value)
                       : uf_arena_print(&tour->arena, "%s", entry->value);
    return place->key == NULL || place->value == NULL ? uf_fail_memory(report) : UF_OK;
}

static UfStatus add_rule(UfTour *tour, const UfIniSection *section, UfReport *report)
{
    if (section->name[0] == '\0')
        return uf_fail(
            report, UF_ERROR_FORMAT,
            "%s[panorama] needs the name of a panorama or a pattern, such as [panorama hall-*.jpg]",
            uf_sheet_place(tour, section->line));
    UfRule *rule = uf_arena_grow(&tour->arena, &tour->sheet.rules, &tour->sheet.rule_count, sizeof *rule);
    if (rule == NULL)
        return uf_fail_memory(report);
    *rule = (UfRule){.pattern = uf_arena_print(&tour->arena, "%s", section->name), .line = section->line};
    UfStatus status = rule->pattern == NULL ? uf_fail_memory(report) : UF_OK;
    for (size_t i = 0; i < section->count && status == UF_OK; i++)
        status = take_rule_entry(tour, rule, &section->entries[i], report);
    return status;
}

static UfStatus check_kind(UfTour *tour, const UfIniSection *section, UfReport *report)
{
    if (strcmp(section->kind, "tour") == 0 && section->name[0] == '\0')
        return UF_OK;
    if (strcmp(section->kind, "panorama") == 0 || find_role(section->kind) >= 0)
        return UF_OK;
    if (strcmp(section->kind, "camera") == 0 || strcmp(section->kind, "lens") == 0)
        return uf_fail(
            report, UF_ERROR_FORMAT,
            "%s[%s] belongs into a rig file, and this should be a job sheet, which names the rig under "
            "[patch], as rig = FILE",
            uf_sheet_place(tour, section->line), section->kind);
    return uf_fail(report, UF_ERROR_FORMAT,
                   "%sthere is no section [%s%s%s]; there are [tour], [turn], [patch], [tag], [faces NAME], "
                   "[view NAME], [planet NAME], [deliver NAME] and [panorama PATTERN]",
                   uf_sheet_place(tour, section->line), section->kind, section->name[0] != '\0' ? " " : "",
                   section->name);
}

static UfStatus take_sections(UfTour *tour, const UfIni *ini, UfReport *report)
{
    UfStatus status = UF_OK;
    for (size_t i = 0; i < ini->count && status == UF_OK; i++)
        status = check_kind(tour, &ini->sections[i], report);
    const UfIniSection *top = status == UF_OK ? uf_ini_section(ini, "tour", "") : NULL;
    for (size_t i = 0; top != NULL && i < top->count && status == UF_OK; i++)
        status = take_tour_entry(tour, &top->entries[i], report);
    if (status == UF_OK)
        status = add_steps(tour, ini, report);
    for (size_t i = 0; i < ini->count && status == UF_OK; i++)
        if (strcmp(ini->sections[i].kind, "panorama") == 0)
            status = add_rule(tour, &ini->sections[i], report);
    return status;
}

UfStatus uf_tour_read_sheet(UfTour *tour, UfReport *report)
{
    UfIni ini;
    UfSheet *sheet = &tour->sheet;
    sheet->path = tour->request.sheet_path;
    const char *slash = strrchr(sheet->path, '/');
    sheet->folder = slash == NULL
                        ? ""
                        : uf_arena_print(&tour->arena, "%.*s", (int)(slash - sheet->path) + 1, sheet->path);
    if (sheet->folder == NULL)
        return uf_fail_memory(report);
    UfStatus status = uf_ini_read(sheet->path, &ini, report);
    if (status == UF_OK)
        status = take_sections(tour, &ini, report);
    uf_ini_clear(&ini);
    return status;
}

UfStatus uf_tour_plain_sheet(UfTour *tour, UfReport *report)
{
    UfSheet *sheet = &tour->sheet;
    sheet->folder = "";
    UfStep *step = uf_arena_grow(&tour->arena, &sheet->steps, &sheet->step_count, sizeof *step);
    if (step == NULL)
        return uf_fail_memory(report);
    *step = (UfStep){.command = "patch", .name = "patch"};
    UfStatus status = UF_OK;
    for (size_t i = 0; i < tour->request.patch_count && status == UF_OK; i++)
        status = add_option(tour, step, tour->request.patch[i].key, tour->request.patch[i].value, 0, report);
    return status;
}

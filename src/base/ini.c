/*
 * INI files through inih.
 *
 * inih (as Debian builds it) tells its handler no line numbers, says nothing about sections without keys,
 * cuts section names at 50 bytes and takes an indented line as more of the value before it. So the lines are
 * handed to it one by one by a reader that counts them, sees the headings itself, and takes the indentation
 * off.
 */
#include "base/ini.h"

#include <ctype.h>
#include <ini.h>

#include "base/file.h"
#include "base/memory.h"

#define FILE_MAX_BYTES (1u << 20)
/* inih's line buffer holds 200 bytes with the line's end. */
#define LINE_MAX_BYTES 190

typedef struct Reading {
    UfInput input;
    UfIni *ini;
    int line;
    UfStatus status;
    UfReport *report;
} Reading;

static UfStatus add_section(Reading *reading, const char *kind, const char *name)
{
    UfIni *ini = reading->ini;
    const UfIniSection *same = uf_ini_section(ini, kind, name);
    if (same != NULL)
        return uf_fail(
            reading->report, UF_ERROR_FORMAT,
            "%s:%d: [%s%s%s] is there already, in line %d; give each section once, with a name of its own",
            reading->input.path, reading->line, kind, *name != '\0' ? " " : "", name, same->line);
    UfIniSection *grown = uf_realloc(ini->sections, ini->count + 1, sizeof *grown);
    if (grown == NULL)
        return uf_fail_memory(reading->report);
    ini->sections = grown;
    grown[ini->count] = (UfIniSection){.kind = strdup(kind), .name = strdup(name), .line = reading->line};
    bool is_full = grown[ini->count].kind != NULL && grown[ini->count].name != NULL;
    ini->count++;
    return is_full ? UF_OK : uf_fail_memory(reading->report);
}

static char *skip_blanks(char *at)
{
    while (isspace((unsigned char)*at))
        at++;
    return at;
}

/* "[ kind name ] ; comment" in `text`, which is changed. */
static UfStatus take_heading(Reading *reading, char *text)
{
    char *end = strchr(text, ']');
    char *after = end == NULL ? NULL : skip_blanks(end + 1);
    if (end == NULL || (*after != '\0' && *after != ';'))
        return uf_fail(reading->report, UF_ERROR_FORMAT,
                       "%s:%d: is no section heading; write it as [kind] or [kind name], alone on its line",
                       reading->input.path, reading->line);
    while (end > text + 1 && isspace((unsigned char)end[-1]))
        end--;
    *end = '\0';
    char *kind = skip_blanks(text + 1);
    char *blank = kind;
    while (*blank != '\0' && !isspace((unsigned char)*blank))
        blank++;
    char *name = skip_blanks(blank);
    *blank = '\0';
    return add_section(reading, kind, name);
}

static UfStatus take_line(Reading *reading, char *text, size_t bytes)
{
    if (strlen(text) != bytes)
        return uf_fail(reading->report, UF_ERROR_FORMAT,
                       "%s:%d: has a zero byte: it is no text, or not in UTF-8; give an INI file",
                       reading->input.path, reading->line);
    char *start = skip_blanks(text);
    if (strlen(start) > LINE_MAX_BYTES)
        return uf_fail(reading->report, UF_ERROR_FORMAT,
                       "%s:%d: is longer than %d bytes; break comments into lines", reading->input.path,
                       reading->line, LINE_MAX_BYTES);
    if (*start != '[')
        return UF_OK;
    char *copy = strdup(start);
    UfStatus status = copy == NULL ? uf_fail_memory(reading->report) : take_heading(reading, copy);
    free(copy);
    return status;
}

/* The reader that inih calls for a line, as fgets; after a mistake the file ends for it. */
static char *next_line(char *buffer, int size, void *stream)
{
    Reading *reading = stream;
    char *text = NULL;
    size_t room = 0;
    char *result = NULL;
    ssize_t bytes = reading->status == UF_OK ? getline(&text, &room, reading->input.stream) : -1;
    if (bytes < 0)
        goto cleanup;
    reading->line++;
    char *start = text;
    if (reading->line == 1 && bytes >= 3 &&
        memcmp(text, "\xEF\xBB\xBF", 3) == 0) /* UTF-8's byte order mark */
        start += 3;
    reading->status = take_line(reading, start, (size_t)(bytes - (start - text)));
    start = skip_blanks(start);
    if (reading->status == UF_OK) {
        snprintf(buffer, (size_t)size, "%s\n", start);
        result = buffer;
    }
cleanup:
    free(text);
    return result;
}

static UfStatus add_entry(Reading *reading, const char *key, const char *value)
{
    if (reading->ini->count == 0)
        return uf_fail(reading->report, UF_ERROR_FORMAT,
                       "%s:%d: '%s' stands before any [section]; move it into one", reading->input.path,
                       reading->line, key);
    UfIniSection *section = &reading->ini->sections[reading->ini->count - 1];
    const UfIniEntry *same = uf_ini_entry(section, key);
    if (same != NULL)
        return uf_fail(reading->report, UF_ERROR_FORMAT,
                       "%s:%d: '%s' is given twice in this section, first in line %d; take one out",
                       reading->input.path, reading->line, key, same->line);
    UfIniEntry *grown = uf_realloc(section->entries, section->count + 1, sizeof *grown);
    if (grown == NULL)
        return uf_fail_memory(reading->report);
    section->entries = grown;
    grown[section->count] = (UfIniEntry){strdup(key), strdup(value), reading->line};
    bool is_full = grown[section->count].key != NULL && grown[section->count].value != NULL;
    section->count++;
    return is_full ? UF_OK : uf_fail_memory(reading->report);
}

static int take_entry(void *user, const char *section, const char *key, const char *value)
{
    (void)section; /* its last heading is the last section */
    Reading *reading = user;
    if (reading->status == UF_OK)
        reading->status = add_entry(reading, key, value);
    return 1;
}

UfStatus uf_ini_read(const char *path, UfIni *out, UfReport *report)
{
    *out = (UfIni){0};
    Reading reading = {.ini = out, .report = report};
    UfStatus status = uf_input_open(path, &reading.input, report);
    if (status != UF_OK)
        return status;
    int bad_line = 0;
    if (reading.input.size_bytes > FILE_MAX_BYTES)
        reading.status =
            uf_fail(report, UF_ERROR_FORMAT, "%s: has more than a million bytes; this is no INI file", path);
    else
        bad_line = ini_parse_stream(next_line, &reading, take_entry, &reading);
    if (reading.status == UF_OK && ferror(reading.input.stream))
        reading.status = uf_fail_errno(report, "cannot be read", path);
    if (reading.status == UF_OK && bad_line != 0)
        reading.status =
            uf_fail(report, UF_ERROR_FORMAT,
                    "%s:%d: is neither a [section] nor 'key = value'; comments begin with ;", path, bad_line);
    uf_input_close(&reading.input);
    return reading.status;
}

void uf_ini_clear(UfIni *ini)
{
    for (size_t i = 0; i < ini->count; i++) {
        UfIniSection *section = &ini->sections[i];
        for (size_t j = 0; j < section->count; j++) {
            free(section->entries[j].key);
            free(section->entries[j].value);
        }
        free(section->entries);
        free(section->kind);
        free(section->name);
    }
    free(ini->sections);
    *ini = (UfIni){0};
}

const UfIniSection *uf_ini_section(const UfIni *ini, const char *kind, const char *name)
{
    for (size_t i = 0; i < ini->count; i++)
        if (strcmp(ini->sections[i].kind, kind) == 0 && strcmp(ini->sections[i].name, name) == 0)
            return &ini->sections[i];
    return NULL;
}

const UfIniEntry *uf_ini_entry(const UfIniSection *section, const char *key)
{
    for (size_t i = 0; i < section->count; i++)
        if (strcmp(section->entries[i].key, key) == 0)
            return &section->entries[i];
    return NULL;
}

const char *uf_ini_slip(const char *value)
{
    if (strstr(value, " #") != NULL || strstr(value, "\t#") != NULL)
        return "; comments begin with ;";
    if (value[0] == '"' || value[0] == '\'')
        return "; leave the quotes out";
    return value[0] == '~' ? "; write the folder out, ~ is a shell's" : "";
}

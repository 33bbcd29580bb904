/* Numbers, words and texts out of a rig file. */
#include "plan/rig_values.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>

#define TEXT_BYTES 400

void uf_rig_refuse(UfRigSection *reader, const char *key, const char *format, ...)
{
    if (reader->status != UF_OK)
        return;
    char text[TEXT_BYTES];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    const UfIniSection *section = reader->section;
    const UfIniEntry *entry = key == NULL ? NULL : uf_ini_entry(section, key);
    reader->status = uf_fail(reader->report, UF_ERROR_FORMAT, "%s:%d: [%s%s%s]: %s", reader->path,
                             entry != NULL ? entry->line : section->line, section->kind,
                             *section->name != '\0' ? " " : "", section->name, text);
}

/* "a, b and c" */
static void join(const char *const *words, size_t count, const char *last, char text[static TEXT_BYTES])
{
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < count; i++) {
        const char *between = i == 0 ? "" : i + 1 < count ? ", " : last;
        int wrote = snprintf(text + used, TEXT_BYTES - used, "%s%s", between, words[i]);
        used += wrote > 0 && (size_t)wrote < TEXT_BYTES - used ? (size_t)wrote : 0;
    }
}

void uf_rig_known_keys(UfRigSection *reader, const char *const *known)
{
    size_t count = 0;
    while (known[count] != NULL)
        count++;
    for (size_t i = 0; i < reader->section->count; i++) {
        const char *key = reader->section->entries[i].key;
        size_t at = 0;
        while (at < count && strcmp(known[at], key) != 0)
            at++;
        char all[TEXT_BYTES];
        join(known, count, " and ", all);
        if (at == count)
            uf_rig_refuse(reader, key, "there is no key '%s' here; the keys are %s", key, all);
    }
}

bool uf_rig_has(const UfRigSection *reader, const char *key)
{
    return uf_ini_entry(reader->section, key) != NULL;
}

const char *uf_rig_text(UfRigSection *reader, const char *key, const char *example)
{
    const UfIniEntry *entry = uf_ini_entry(reader->section, key);
    if (entry == NULL)
        uf_rig_refuse(reader, NULL, "the key '%s' is missing; add a line such as '%s = %s'", key, key,
                      example);
    else if (*entry->value == '\0')
        uf_rig_refuse(reader, key, "'%s' has no value; write for example '%s = %s'", key, key, example);
    return entry == NULL || reader->status != UF_OK ? "" : entry->value;
}

static bool in_range(double value, UfRigRange range)
{
    bool above = range.without_least ? value > range.least : value >= range.least;
    bool below = range.without_most ? value < range.most : value <= range.most;
    return above && below;
}

static void range_text(UfRigRange range, char text[static TEXT_BYTES])
{
    const char *least = range.without_least ? "above" : "from";
    const char *most = range.without_most ? "to below" : "to";
    if (range.most >= 1e6)
        snprintf(text, TEXT_BYTES, "%s %g %s", range.without_least ? "above" : "not below", range.least,
                 range.unit);
    else
        snprintf(text, TEXT_BYTES, "%s %g %s %g %s", least, range.least, most, range.most, range.unit);
}

void uf_rig_numbers(UfRigSection *reader, const char *key, char separator, size_t count, UfRigRange range,
                    const char *example, double *out)
{
    const char *text = uf_rig_text(reader, key, example);
    const char *at = text;
    for (size_t i = 0; i < count && reader->status == UF_OK; i++) {
        char *end = NULL;
        double value = strtod(at, &end);
        bool is_ended = *end == '\0' || isspace((unsigned char)*end) || (separator != 0 && *end == separator);
        if (end == at || !is_ended || !isfinite(value)) {
            uf_rig_refuse(reader, key, "'%s = %s': %s expected; write for example '%s = %s'%s", key, text,
                          count == 1 ? "one plain number is" : "plain numbers are", key, example,
                          uf_ini_slip(text));
            return;
        }
        if (!in_range(value, range)) {
            char limits[TEXT_BYTES];
            range_text(range, limits);
            uf_rig_refuse(reader, key, "'%s = %s': must be %s, such as '%s = %s'", key, text, limits, key,
                          example);
            return;
        }
        out[i] = value;
        at = end;
        while (isspace((unsigned char)*at))
            at++;
        if (separator != 0 && i + 1 < count && *at == separator)
            at++;
    }
    if (reader->status == UF_OK && *at != '\0')
        uf_rig_refuse(reader, key, "'%s = %s': '%s' is too much; write for example '%s = %s'", key, text, at,
                      key, example);
}

void uf_rig_number(UfRigSection *reader, const char *key, UfRigRange range, const char *example, double *out)
{
    uf_rig_numbers(reader, key, 0, 1, range, example, out);
}

void uf_rig_maybe_number(UfRigSection *reader, const char *key, UfRigRange range, const char *example,
                         double *out)
{
    if (uf_rig_has(reader, key))
        uf_rig_number(reader, key, range, example, out);
}

size_t uf_rig_word(UfRigSection *reader, const char *key, const char *const *words, size_t count)
{
    const char *text = uf_rig_text(reader, key, words[0]);
    for (size_t i = 0; i < count; i++)
        if (strcmp(words[i], text) == 0)
            return i;
    char all[TEXT_BYTES];
    join(words, count, " or ", all);
    uf_rig_refuse(reader, key, "'%s = %s' is not known; write %s", key, text, all);
    return 0;
}

/* Texts of steps, line by line. */
#include "tour/step_text.h"

#include <stddef.h>

#define WARNING "underfoot: warning: "

char *uf_step_replace(UfArena *arena, const char *text, const char *from, const char *to)
{
    char *result = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&result, &size);
    if (stream == NULL)
        return NULL;
    for (const char *found; (found = strstr(text, from)) != NULL; text = found + strlen(from)) {
        (void)fwrite(text, 1, (size_t)(found - text), stream); /* looked at below */
        fputs(to, stream);
    }
    fputs(text, stream);
    bool failed = ferror(stream) != 0;
    if (fclose(stream) != 0 || failed) {
        free(result);
        return NULL;
    }
    return uf_arena_take(arena, result);
}

bool uf_step_number(const char *json, const char *key, double *out)
{
    char start[80];
    snprintf(start, sizeof start, "\n  \"%s\": ", key);
    const char *at = strstr(json, start);
    if (at == NULL)
        return false;
    char *end = NULL;
    at += strlen(start);
    double number = strtod(at, &end);
    if (end == at)
        return false;
    *out = number;
    return true;
}

static size_t line_length(const char *at)
{
    return strcspn(at, "\n");
}

char *uf_step_warnings(UfArena *arena, const char *messages)
{
    char *warnings = uf_arena_print(arena, "%s", "");
    for (const char *at = messages; *at != '\0' && warnings != NULL;) {
        size_t length = line_length(at);
        if (strncmp(at, WARNING, strlen(WARNING)) == 0)
            warnings = uf_arena_print(arena, "%s%.*s\n", warnings, (int)(length - strlen(WARNING)),
                                      at + strlen(WARNING));
        at += length + (at[length] == '\n');
    }
    return warnings;
}

/* Behind "underfoot: " or "underfoot patch: ". */
static const char *behind_program(const char *line, size_t length)
{
    const char *colon = memchr(line, ':', length);
    bool named = strncmp(line, "underfoot", 9) == 0 && colon != NULL && colon[1] == ' ';
    return named ? colon + 2 : line;
}

char *uf_step_reason(UfArena *arena, const char *messages)
{
    const char *reason = "";
    size_t reason_length = 0;
    for (const char *at = messages; *at != '\0';) {
        size_t length = line_length(at);
        bool counts = length > 0 && strncmp(at, WARNING, strlen(WARNING)) != 0 && strncmp(at, "see ", 4) != 0;
        if (counts) {
            reason = behind_program(at, length);
            reason_length = (size_t)(at + length - reason);
        }
        at += length + (at[length] == '\n');
    }
    return uf_arena_print(arena, "%.*s", (int)reason_length, reason);
}

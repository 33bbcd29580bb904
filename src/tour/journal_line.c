/* Records to text and back: fields between tabs, and a checksum before them. */
#define XXH_INLINE_ALL
#include <xxhash.h>

#include "tour/journal_line.h"

#include <errno.h>
#include <inttypes.h>

#include "base/memory.h"

#define CHECKSUM_DIGITS 16
#define HEADING         "underfoot tour journal\t1"

static void put_field(FILE *stream, const char *text)
{
    fputc('\t', stream);
    for (const char *at = text; *at != '\0'; at++) {
        const char *escaped = *at == '\t' ? "\\t" : *at == '\n' ? "\\n" : *at == '\\' ? "\\\\" : NULL;
        if (escaped != NULL)
            fputs(escaped, stream);
        else
            fputc(*at, stream);
    }
}

static void put_record(FILE *stream, const UfJournalRecord *record)
{
    char digest[UF_DIGEST_TEXT];
    fputs("made", stream);
    put_field(stream, record->target);
    uf_digest_text(&record->order, digest);
    put_field(stream, digest);
    fprintf(stream, "\t%.3f\t%" PRIu64 "\t%s\t%zu", record->time_s, record->peak_bytes,
            record->failed ? "failed" : "done", record->file_count);
    for (size_t i = 0; i < record->file_count; i++) {
        const UfJournalFile *file = &record->files[i];
        put_field(stream, file->path);
        uf_digest_text(&file->digest, digest);
        fprintf(stream, "\t%" PRIu64 "\t%s", file->size_bytes, digest);
    }
    put_field(stream, record->results == NULL ? "" : record->results);
    put_field(stream, record->messages == NULL ? "" : record->messages);
}

static char *with_checksum(const char *text)
{
    char *line = NULL;
    int length = asprintf(&line, "%016" PRIx64 "\t%s\n", (uint64_t)XXH3_64bits(text, strlen(text)), text);
    return length < 0 ? NULL : line;
}

char *uf_journal_print(const UfJournalRecord *record)
{
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    if (stream == NULL)
        return NULL;
    put_record(stream, record);
    bool failed = ferror(stream) != 0;
    char *line = fclose(stream) == 0 && !failed ? with_checksum(text) : NULL;
    free(text);
    return line;
}

char *uf_journal_heading(void)
{
    return with_checksum(HEADING);
}

/* The next field, its escapes undone in place; NULL when there is none. */
static char *next_field(char **rest)
{
    char *field = *rest;
    if (field == NULL)
        return NULL;
    char *tab = strchr(field, '\t');
    *rest = tab == NULL ? NULL : tab + 1;
    if (tab != NULL)
        *tab = '\0';
    char *to = field;
    for (const char *from = field; *from != '\0'; from++) {
        if (*from == '\\' && from[1] != '\0') {
            from++;
            *to++ = (char)(*from == 't' ? '\t' : *from == 'n' ? '\n' : *from);
        } else {
            *to++ = *from;
        }
    }
    *to = '\0';
    return field;
}

static bool next_number(char **rest, uint64_t *out)
{
    const char *field = next_field(rest);
    if (field == NULL || field[0] < '0' || field[0] > '9')
        return false;
    char *end = NULL;
    errno = 0;
    *out = strtoull(field, &end, 10);
    return *end == '\0' && errno == 0;
}

static bool next_digest(char **rest, UfDigest *out)
{
    const char *field = next_field(rest);
    return field != NULL && uf_digest_from_text(field, out);
}

static const char *keep(UfArena *arena, const char *field)
{
    return field == NULL ? NULL : uf_arena_print(arena, "%s", field);
}

/* Below the output folder: the tour removes files that a record names. */
static bool is_below(const char *path)
{
    for (const char *at = path;; at++) {
        size_t length = strcspn(at, "/");
        if (length == 0 || (length == 2 && memcmp(at, "..", 2) == 0))
            return false;
        at += length;
        if (*at == '\0')
            return true;
    }
}

static bool next_file(UfArena *arena, char **rest, UfJournalFile *out)
{
    out->path = keep(arena, next_field(rest));
    return out->path != NULL && is_below(out->path) && next_number(rest, &out->size_bytes) &&
           next_digest(rest, &out->digest);
}

/* A sound line that does not read as a record was not written by this program. */
static UfJournalLine parse_record(UfArena *arena, char *rest, UfJournalRecord *out)
{
    UfJournalRecord record = {.target = keep(arena, next_field(&rest))};
    uint64_t files = 0;
    bool good = record.target != NULL && next_digest(&rest, &record.order);
    const char *seconds = good ? next_field(&rest) : NULL;
    good = seconds != NULL && next_number(&rest, &record.peak_bytes);
    record.time_s = good ? strtod(seconds, NULL) : 0;
    const char *state = good ? next_field(&rest) : NULL;
    good = state != NULL && next_number(&rest, &files) && files <= strlen(rest == NULL ? "" : rest);
    if (!good)
        return UF_JOURNAL_FOREIGN;
    record.failed = strcmp(state, "failed") == 0;
    record.files = uf_arena_alloc(arena, (size_t)files, sizeof *record.files);
    if (record.files == NULL)
        return UF_JOURNAL_NO_MEMORY;
    record.file_count = (size_t)files;
    for (size_t i = 0; i < record.file_count && good; i++)
        good = next_file(arena, &rest, &record.files[i]);
    record.results = good ? keep(arena, next_field(&rest)) : NULL;
    record.messages = good ? keep(arena, next_field(&rest)) : NULL;
    if (record.results == NULL || record.messages == NULL)
        return UF_JOURNAL_FOREIGN;
    *out = record;
    return UF_JOURNAL_RECORD;
}

UfJournalLine uf_journal_parse(UfArena *arena, char *line, UfJournalRecord *out)
{
    if (strlen(line) <= CHECKSUM_DIGITS || line[CHECKSUM_DIGITS] != '\t')
        return UF_JOURNAL_DAMAGED;
    char expected[CHECKSUM_DIGITS + 1];
    char *text = line + CHECKSUM_DIGITS + 1;
    snprintf(expected, sizeof expected, "%016" PRIx64, (uint64_t)XXH3_64bits(text, strlen(text)));
    if (memcmp(expected, line, CHECKSUM_DIGITS) != 0)
        return UF_JOURNAL_DAMAGED;
    if (strcmp(text, HEADING) == 0)
        return UF_JOURNAL_HEADING;
    char *rest = text;
    const char *kind = next_field(&rest);
    return strcmp(kind, "made") == 0 ? parse_record(arena, rest, out) : UF_JOURNAL_FOREIGN;
}

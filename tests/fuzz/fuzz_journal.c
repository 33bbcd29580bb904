/*
 * The tour's journal. Each line of the bytes is what stands behind a checksum: the target puts the checksum
 * before it, so that the reader of the fields is reached; a line that begins with '!' goes in as it is. What
 * was read is written and read again, and must be the same.
 */
#define XXH_INLINE_ALL
#include <xxhash.h>

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/underfoot.h>

#include "fuzz/fuzz.h"
#include "tour/journal.h"
#include "tour/journal_line.h"
#include "tour/step_text.h"

static void put_line(FILE *stream, const uint8_t *line, size_t length)
{
    /* the reader sees the text up to a zero byte */
    const uint8_t *zero = memchr(line, 0, length);
    size_t text = zero == NULL ? length : (size_t)(zero - line);
    if (length > 0 && line[0] == '!')
        fwrite(line + 1, 1, length - 1, stream);
    else {
        fprintf(stream, "%016" PRIx64 "\t", (uint64_t)XXH3_64bits(line, text));
        fwrite(line, 1, length, stream);
    }
}

/* With checksums; the last line has an end when the bytes have one. */
static char *with_checksums(const uint8_t *data, size_t size, size_t *out_size)
{
    char *text = NULL;
    FILE *stream = open_memstream(&text, out_size);
    if (stream == NULL)
        abort();
    for (size_t at = 0; at < size;) {
        const uint8_t *end = memchr(data + at, '\n', size - at);
        size_t length = end == NULL ? size - at : (size_t)(end - data) - at;
        put_line(stream, data + at, length);
        if (end != NULL)
            fputc('\n', stream);
        at += length + 1;
    }
    if (fclose(stream) != 0)
        abort();
    return text;
}

/* Inside the output folder: the tour removes files that a record names. */
static void check_path(const char *path)
{
    if (path[0] == '/' || strcmp(path, "..") == 0 || strncmp(path, "../", 3) == 0 ||
        strstr(path, "/../") != NULL)
        abort();
}

static void check_record(const UfJournal *journal, UfArena *arena, const UfJournalRecord *record)
{
    size_t count = 0;
    double number;
    UfJournalRecord again = {0};
    const UfJournalRecord *found = uf_journal_find(journal, record->target, &count);
    if (found == NULL || record < found || record >= found + count)
        abort();
    for (size_t i = 0; i < record->file_count; i++)
        check_path(record->files[i].path);
    (void)uf_step_number(record->results, "cap_deg", &number);
    (void)uf_step_warnings(arena, record->messages);
    (void)uf_step_reason(arena, record->messages);
    char *line = uf_journal_print(record);
    if (line == NULL)
        abort();
    line[strlen(line) - 1] = '\0';
    char *copy = strdup(line);
    if (copy == NULL || uf_journal_parse(arena, copy, &again) != UF_JOURNAL_RECORD)
        abort();
    char *second = uf_journal_print(&again);
    if (second == NULL || strncmp(line, second, strlen(line)) != 0)
        abort();
    free(second);
    free(copy);
    free(line);
}

/* Opened for writing, one more record is in it. */
static void go_on(const char *path, size_t records, UfReport *report)
{
    UfJournal journal = {0};
    UfJournalWriter writer;
    const UfJournalRecord record = {.target = "one more"};
    if (uf_journal_open(path, &writer, report) != UF_OK ||
        uf_journal_append(&writer, &record, report) != UF_OK)
        abort();
    uf_journal_close(&writer);
    if (uf_journal_read(path, &journal, report) != UF_OK || journal.count != records + 1)
        abort();
    uf_journal_clear(&journal);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    size_t bytes = 0;
    char *text = with_checksums(data, size, &bytes);
    const char *path = fuzz_file(0, "journal.txt", (const uint8_t *)text, bytes);
    UfReport *report = uf_report_create();
    UfJournal journal = {0};
    UfArena arena = {0};
    if (uf_journal_read(path, &journal, report) == UF_OK) {
        uf_journal_sort(&journal);
        for (size_t i = 0; i < journal.count; i++)
            check_record(&journal, &arena, &journal.records[i]);
        go_on(path, journal.count, report);
    }
    uf_arena_clear(&arena);
    uf_journal_clear(&journal);
    uf_report_free(&report);
    free(text);
    return 0;
}

/* Reading the journal, and looking things up in it. */
#include "tour/journal.h"

#include <errno.h>

#include "base/file.h"
#include "base/memory.h"
#include "tour/journal_line.h"

static UfStatus take_line(UfJournal *journal, const char *path, size_t number, char *line, UfReport *report)
{
    UfJournalRecord record;
    UfJournalLine kind = uf_journal_parse(&journal->arena, line, &record);
    if (kind == UF_JOURNAL_NO_MEMORY)
        return uf_fail_memory(report);
    if (kind == UF_JOURNAL_FOREIGN)
        return uf_fail(report, UF_ERROR_UNSUPPORTED,
                       "%s:%zu: was written by a newer version of the program; use that one, or give another "
                       "output folder",
                       path, number);
    if (kind == UF_JOURNAL_DAMAGED)
        uf_warn(report, "%s:%zu: this record is damaged; what it told of will be made again", path, number);
    if (kind != UF_JOURNAL_RECORD)
        return UF_OK;
    UfJournalRecord *place =
        uf_arena_grow(&journal->arena, &journal->records, &journal->count, sizeof *journal->records);
    if (place == NULL)
        return uf_fail_memory(report);
    *place = record;
    return UF_OK;
}

UfStatus uf_journal_read(const char *path, UfJournal *journal, UfReport *report)
{
    FILE *stream = fopen(path, "rbe");
    if (stream == NULL)
        return errno == ENOENT ? UF_OK : uf_fail_errno(report, "cannot be read", path);
    char *line = NULL;
    size_t room = 0;
    ssize_t length = 0;
    UfStatus status = UF_OK;
    for (size_t number = 1; status == UF_OK && (length = getline(&line, &room, stream)) > 0; number++) {
        if (line[length - 1] != '\n') /* torn: the power went before its end was written */
            break;
        line[length - 1] = '\0';
        status = take_line(journal, path, number, line, report);
    }
    if (status == UF_OK && ferror(stream))
        status = uf_fail_errno(report, "cannot be read", path);
    free(line);
    fclose(stream);
    return status;
}

typedef struct Place {
    const UfJournalRecord *record;
} Place;

/* Records lie in one array in the order of their coming: their places break ties. */
static int compare(const void *a, const void *b)
{
    const UfJournalRecord *first = ((const Place *)a)->record;
    const UfJournalRecord *second = ((const Place *)b)->record;
    int order = strcmp(first->target, second->target);
    return order != 0 ? order : first < second ? -1 : 1;
}

void uf_journal_sort(UfJournal *journal)
{
    if (journal->count < 2)
        return;
    Place *places = uf_arena_alloc(&journal->arena, journal->count, sizeof *places);
    UfJournalRecord *sorted = uf_arena_alloc(&journal->arena, journal->count, sizeof *sorted);
    if (places == NULL || sorted == NULL)
        return; /* uf_journal_find then finds less, and more is made again */
    for (size_t i = 0; i < journal->count; i++)
        places[i].record = &journal->records[i];
    qsort(places, journal->count, sizeof *places, compare);
    for (size_t i = 0; i < journal->count; i++)
        sorted[i] = *places[i].record;
    journal->records = sorted;
}

const UfJournalRecord *uf_journal_find(const UfJournal *journal, const char *target, size_t *count)
{
    size_t low = 0;
    size_t high = journal->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(journal->records[middle].target, target) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    size_t end = low;
    while (end < journal->count && strcmp(journal->records[end].target, target) == 0)
        end++;
    *count = end - low;
    return end > low ? &journal->records[low] : NULL;
}

void uf_journal_clear(UfJournal *journal)
{
    uf_arena_clear(&journal->arena);
    *journal = (UfJournal){0};
}

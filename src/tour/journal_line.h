/* A record of the journal as one line of text. */
#ifndef UF_TOUR_JOURNAL_LINE_H
#define UF_TOUR_JOURNAL_LINE_H

#include "tour/journal.h"

typedef enum UfJournalLine {
    UF_JOURNAL_RECORD = 0,
    UF_JOURNAL_HEADING,
    UF_JOURNAL_DAMAGED, /* the checksum does not fit */
    UF_JOURNAL_FOREIGN, /* sound, but of another version */
    UF_JOURNAL_NO_MEMORY
} UfJournalLine;

/* `line` without its end; it is changed. Texts go into the arena. */
UfJournalLine uf_journal_parse(UfArena *arena, char *line, UfJournalRecord *out);
/* With its end; the caller frees it. NULL without memory. */
char *uf_journal_print(const UfJournalRecord *record);
/* The first line of a journal; the caller frees it. */
char *uf_journal_heading(void);

#endif

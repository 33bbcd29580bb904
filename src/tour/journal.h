/*
 * The journal: what was made, from what, and what its files held. Append-only text; docs/tour.md describes
 * it.
 *
 *     CHECKSUM <tab> made <tab> target <tab> order <tab> seconds <tab> bytes of memory <tab> state <tab> n
 *              { <tab> path <tab> size <tab> digest } n times  <tab> results <tab> messages
 *
 * A line is one record; tabs, line ends and backslashes in texts are escaped. The checksum is 64 bits of XXH3
 * over what follows its tab. A line that does not fit its checksum (cut off when the power went) is no
 * record. `target` and `path` are relative to the output folder. A record is on the disk before the files
 * that it tells of are put in place: a file of the tour that no record knows was made or changed by somebody
 * else.
 */
#ifndef UF_TOUR_JOURNAL_H
#define UF_TOUR_JOURNAL_H

#include "tour/arena.h"
#include "tour/digest.h"

typedef struct UfJournalFile {
    const char *path;
    uint64_t size_bytes;
    UfDigest digest;
} UfJournalFile;

typedef struct UfJournalRecord {
    const char *target;
    UfDigest order; /* of source, options and program */
    double time_s;
    uint64_t peak_bytes;
    bool failed; /* then there are no files, and `messages` says why */
    UfJournalFile *files;
    size_t file_count;
    const char *results;  /* the steps' JSON texts, one after the other */
    const char *messages; /* one a line */
} UfJournalRecord;

typedef struct UfJournal {
    UfArena arena;
    UfJournalRecord *records; /* in the order of their coming until uf_journal_sort */
    size_t count;
} UfJournal;

/* Adds the records of a file; none when it is not there. Damaged lines are left out with a warning. */
UfStatus uf_journal_read(const char *path, UfJournal *journal, UfReport *report);
/* By target; among those of one target the order stays. */
void uf_journal_sort(UfJournal *journal);
/* The records of a target in a sorted journal: the first, and how many. */
const UfJournalRecord *uf_journal_find(const UfJournal *journal, const char *target, size_t *count);
void uf_journal_clear(UfJournal *journal);

/* A journal file that is being written. */
typedef struct UfJournalWriter {
    int fd;     /* -1: closed */
    char *path; /* owned */
} UfJournalWriter;

/* Opens for appending, makes it when it is not there; what a torn last line left is cut off. */
UfStatus uf_journal_open(const char *path, UfJournalWriter *out, UfReport *report);
/* On the disk when it returns UF_OK; on failure the file is as it was. */
UfStatus uf_journal_append(UfJournalWriter *writer, const UfJournalRecord *record, UfReport *report);
void uf_journal_close(UfJournalWriter *writer);

#endif

/*
 * Plain tables: a line is blank-separated words; # begins a comment; a '-' is a value that does not exist.
 * The last line, "checks N", says how many lines there are, so that a cut file does not pass.
 */
#ifndef TRUTH_ROWS_H
#define TRUTH_ROWS_H

#include <criterion/criterion.h>

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS_MAX_WORDS 16

typedef struct Rows {
    FILE *stream;
    const char *path;
    int line, count;
    char text[512];
    char *words[ROWS_MAX_WORDS];
    int word_count;
} Rows;

static inline Rows rows_open(const char *path)
{
    Rows rows = {.stream = fopen(path, "r"), .path = path};
    cr_assert_not_null(rows.stream, "%s cannot be opened", path);
    return rows;
}

/* False at the end, which is checked. */
static inline bool rows_next(Rows *rows, int word_count)
{
    while (fgets(rows->text, sizeof rows->text, rows->stream) != NULL) {
        rows->line++;
        char *save = NULL;
        rows->word_count = 0;
        rows->text[strcspn(rows->text, "#\n")] = '\0';
        for (char *word = strtok_r(rows->text, " ", &save); word != NULL && rows->word_count < ROWS_MAX_WORDS;
             word = strtok_r(NULL, " ", &save))
            rows->words[rows->word_count++] = word;
        if (rows->word_count == 0)
            continue;
        if (strcmp(rows->words[0], "checks") == 0) {
            cr_assert_eq(rows->word_count, 2, "%s:%d", rows->path, rows->line);
            cr_assert_eq((int)strtol(rows->words[1], NULL, 10), rows->count, "%s: %d lines were checked",
                         rows->path, rows->count);
            cr_assert_gt(rows->count, 0);
            fclose(rows->stream);
            return false;
        }
        cr_assert_eq(rows->word_count, word_count, "%s:%d: has %d words", rows->path, rows->line,
                     rows->word_count);
        rows->count++;
        return true;
    }
    cr_assert_fail("%s: has no line 'checks N'", rows->path);
    return false;
}

/* NaN for '-'. */
static inline double rows_number(const Rows *rows, int word)
{
    const char *text = rows->words[word];
    if (strcmp(text, "-") == 0)
        return NAN;
    char *end = NULL;
    double value = strtod(text, &end);
    cr_assert_eq(*end, '\0', "%s:%d: '%s' is no number", rows->path, rows->line, text);
    return value;
}

#endif

/*
 * What the program says. Results go to stdout, everything else to stderr. Control characters in names and
 * texts are shown as \xNN, so that no file name can command the terminal.
 */
#ifndef UF_CLI_MESSAGE_H
#define UF_CLI_MESSAGE_H

#include <stdio.h>

#include "cli/command.h"

/* "underfoot patch: TEXT" and where to read on; returns CLI_WRONG_USAGE. Without a command: "underfoot:
 * TEXT". */
int cli_wrong_usage(const CliCommand *command, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* "underfoot: TEXT"; returns CLI_FAILED. */
int cli_failed(const char *format, ...) __attribute__((format(printf, 1, 2)));
/*
 * The report's error as cli_failed, with the name of the file before it unless it begins with a name already,
 * and what to do about a damaged file behind it.
 */
int cli_failed_report(const CliLine *line, const char *path, UfStatus status, const UfReport *report);
/* Writes the report's warnings, unless --quiet; CLI_WARNED when there are any, otherwise CLI_DONE. */
int cli_warnings(const CliLine *line, const UfReport *report);
/*
 * From here on usage errors and failures go to `text` instead of stderr, the last one only, without the
 * program's name; with NULL to stderr again.
 */
void cli_capture(char *text, size_t text_bytes);
/* One line of text (no newline) with control characters made visible. */
void cli_put_text(FILE *stream, const char *text);

/* A line that says what goes on, redrawn in place; only when stderr is a terminal and --quiet is not given.
 */
void cli_progress(const CliLine *line, const char *doing, const char *name);
void cli_progress_end(const CliLine *line);

#endif

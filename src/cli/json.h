/*
 * A JSON text (RFC 8259), written as it goes, indented. Numbers are written so that they read back as the
 * same double; what is not finite becomes null. Bytes of a file name that are no UTF-8 become U+FFFD.
 */
#ifndef UF_CLI_JSON_H
#define UF_CLI_JSON_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include <underfoot/status.h>

typedef struct CliJson {
    FILE *stream;
    size_t depth;
    bool has_members; /* of the innermost open object or array */
    bool flat;        /* all on one line */
} CliJson;

CliJson cli_json_start(FILE *stream);
/* The key is NULL inside an array and at the top. */
void cli_json_open(CliJson *json, const char *key, char bracket);
void cli_json_close(CliJson *json, char bracket);
/* After the last value: the line's end. */
void cli_json_end(CliJson *json);

void cli_json_text(CliJson *json, const char *key, const char *text); /* NULL: null */
void cli_json_number(CliJson *json, const char *key, double number);
void cli_json_whole(CliJson *json, const char *key, long long number);
void cli_json_truth(CliJson *json, const char *key, bool truth);
/* `key`, and, where the name is no UTF-8, `key`_hex with its bytes. */
void cli_json_file(CliJson *json, const char *key, const char *path);
/* "warnings": [...] */
void cli_json_warnings(CliJson *json, const UfReport *report);

#endif

/* JSON: strings with everything escaped that has to be, numbers that survive the journey. */
#include "cli/json.h"

#include <math.h>
#include <stdint.h>

#include "base/banned.h"
#include "base/utf8.h"

CliJson cli_json_start(FILE *stream)
{
    return (CliJson){.stream = stream};
}

static void put_string(FILE *stream, const char *text)
{
    fputc('"', stream);
    const char *at = text;
    while (*at != '\0') {
        size_t length = uf_utf8_bytes(at);
        if (length == 0)
            fputs("\\ufffd", stream);
        else if (*at == '"' || *at == '\\')
            fprintf(stream, "\\%c", *at);
        else if ((unsigned char)*at < 0x20 || *at == 0x7f)
            fprintf(stream, "\\u%04x", *at);
        else
            (void)fwrite(at, 1, length, stream); /* like all printing: checked once, at the exit */
        at += length == 0 ? 1 : length;
    }
    fputc('"', stream);
}

static void new_line(const CliJson *json)
{
    if (json->flat)
        return;
    fputc('\n', json->stream);
    for (size_t i = 0; i < json->depth; i++)
        fputs("  ", json->stream);
}

static void begin_member(CliJson *json, const char *key)
{
    if (json->has_members)
        fputs(json->flat ? ", " : ",", json->stream);
    if (json->depth > 0)
        new_line(json);
    json->has_members = true;
    if (key != NULL) {
        put_string(json->stream, key);
        fputs(": ", json->stream);
    }
}

void cli_json_open(CliJson *json, const char *key, char bracket)
{
    begin_member(json, key);
    fputc(bracket, json->stream);
    json->depth++;
    json->has_members = false;
}

void cli_json_close(CliJson *json, char bracket)
{
    json->depth--;
    if (json->has_members)
        new_line(json);
    fputc(bracket, json->stream);
    json->has_members = true;
}

void cli_json_end(CliJson *json)
{
    fputc('\n', json->stream);
}

void cli_json_text(CliJson *json, const char *key, const char *text)
{
    begin_member(json, key);
    if (text == NULL)
        fputs("null", json->stream);
    else
        put_string(json->stream, text);
}

/* The fewest digits that read back as the same number; the locale is always "C" here. */
void cli_json_number(CliJson *json, const char *key, double number)
{
    begin_member(json, key);
    char text[40] = "null";
    for (int digits = 6; digits <= 17 && isfinite(number); digits++) {
        snprintf(text, sizeof text, "%.*g", digits, number);
        if (strtod(text, NULL) == number)
            break;
    }
    fputs(text, json->stream);
}

void cli_json_whole(CliJson *json, const char *key, long long number)
{
    begin_member(json, key);
    fprintf(json->stream, "%lld", number);
}

void cli_json_truth(CliJson *json, const char *key, bool truth)
{
    begin_member(json, key);
    fputs(truth ? "true" : "false", json->stream);
}

static bool is_utf8(const char *text)
{
    const char *at = text;
    while (*at != '\0') {
        size_t length = uf_utf8_bytes(at);
        if (length == 0)
            return false;
        at += length;
    }
    return true;
}

void cli_json_file(CliJson *json, const char *key, const char *path)
{
    cli_json_text(json, key, path);
    if (is_utf8(path))
        return;
    char hex_key[64];
    snprintf(hex_key, sizeof hex_key, "%s_hex", key);
    begin_member(json, hex_key);
    fputc('"', json->stream);
    for (const unsigned char *at = (const unsigned char *)path; *at != '\0'; at++)
        fprintf(json->stream, "%02x", *at);
    fputc('"', json->stream);
}

void cli_json_warnings(CliJson *json, const UfReport *report)
{
    cli_json_open(json, "warnings", '[');
    for (size_t i = 0; i < uf_report_warning_count(report); i++)
        cli_json_text(json, NULL, uf_report_warning(report, i));
    cli_json_close(json, ']');
}

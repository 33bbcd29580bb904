/* Messages to the person at the terminal. */
#include "cli/message.h"

#include <stdarg.h>
#include <unistd.h>

#include "cli/missing.h"

#define TEXT_BYTES 2048

void cli_put_text(FILE *stream, const char *text)
{
    for (const unsigned char *at = (const unsigned char *)text; *at != '\0'; at++) {
        if (*at == '\n')
            fputs("\\n", stream);
        else if (*at < 0x20 || *at == 0x7f)
            fprintf(stream, "\\x%02x", *at);
        else
            fputc(*at, stream);
    }
}

static char *capture;
static size_t capture_bytes;

void cli_capture(char *text, size_t text_bytes)
{
    capture = text;
    capture_bytes = text_bytes;
}

static void say_text(const char *who, const char *text)
{
    if (capture != NULL) {
        snprintf(capture, capture_bytes, "%s", text);
        return;
    }
    (void)fflush(stdout); /* to keep the order on a terminal; stdout is checked once, at the exit */
    fprintf(stderr, "%s: ", who);
    cli_put_text(stderr, text);
    fputc('\n', stderr);
}

__attribute__((format(printf, 2, 0))) static void say(const char *who, const char *format, va_list arguments)
{
    char text[TEXT_BYTES];
    vsnprintf(text, sizeof text, format, arguments);
    say_text(who, text);
}

int cli_wrong_usage(const CliCommand *command, const char *format, ...)
{
    char who[64] = "underfoot";
    if (command != NULL)
        snprintf(who, sizeof who, "underfoot %s", command->name);
    va_list arguments;
    va_start(arguments, format);
    say(who, format, arguments);
    va_end(arguments);
    if (capture == NULL)
        fprintf(stderr, command != NULL ? "see %s --help\n" : "see %s help\n", who);
    return CLI_WRONG_USAGE;
}

int cli_failed(const char *format, ...)
{
    char text[TEXT_BYTES];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    cli_advise_on_missing_file(text, sizeof text);
    say_text("underfoot", text);
    return CLI_FAILED;
}

static bool begins_with(const char *text, const char *name)
{
    return name != NULL && strncmp(text, name, strlen(name)) == 0;
}

int cli_failed_report(const CliLine *line, const char *path, UfStatus status, const UfReport *report)
{
    const char *text = uf_report_error(report);
    bool named = begins_with(text, path);
    for (size_t id = 0; id < CLI_VALUE_COUNT && !named; id++)
        named = begins_with(text, line->values[id].text);
    bool has_advice = strstr(text, "again") != NULL;
    const char *advice = "";
    if (status == UF_ERROR_FORMAT && !has_advice)
        advice = "; export it again as JPEG, PNG or TIFF";
    if (strstr(text, "raise the limit") != NULL)
        advice = " (--max-memory raises it)";
    return named ? cli_failed("%s%s", text, advice) : cli_failed("%s: %s%s", path, text, advice);
}

int cli_warnings(const CliLine *line, const UfReport *report)
{
    size_t count = uf_report_warning_count(report);
    for (size_t i = 0; i < count && !line->values[CLI_QUIET].given; i++) {
        fputs("underfoot: warning: ", stderr);
        cli_put_text(stderr, uf_report_warning(report, i));
        fputc('\n', stderr);
    }
    return count > 0 ? CLI_WARNED : CLI_DONE;
}

static bool shows_progress(const CliLine *line)
{
    return !line->values[CLI_QUIET].given && isatty(STDERR_FILENO);
}

void cli_progress(const CliLine *line, const char *doing, const char *name)
{
    if (!shows_progress(line))
        return;
    fprintf(stderr, "\r\033[K%s ", doing);
    cli_put_text(stderr, name);
    (void)fflush(stderr); /* progress that cannot be shown is no failure of the work */
}

void cli_progress_end(const CliLine *line)
{
    if (shows_progress(line))
        fputs("\r\033[K", stderr);
}

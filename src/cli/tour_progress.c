/*
 * What `underfoot tour` says while it works: on a terminal one line that is redrawn, elsewhere a line for
 * each result, with --json an object a line on standard output.
 */
#include <sys/ioctl.h>
#include <unistd.h>

#include "cli/json.h"
#include "cli/message.h"
#include "cli/tour_host.h"

#define LINE_BYTES 400

static bool on_terminal(const TourHost *host)
{
    return !host->line->values[CLI_QUIET].given && isatty(STDERR_FILENO);
}

void tour_clear_line(TourHost *host)
{
    if (host->shows_line)
        fputs("\r\033[K", stderr);
    host->shows_line = false;
}

/* "3 min", "1 h 05 min" */
static void put_duration(char *text, size_t bytes, double seconds)
{
    const long hour_and_half = 5400;
    long whole = (long)(seconds + 0.5);
    if (whole < 90)
        snprintf(text, bytes, "%ld s", whole);
    else if (whole < hour_and_half)
        snprintf(text, bytes, "%ld min", (whole + 30) / 60);
    else
        snprintf(text, bytes, "%ld h %02ld min", whole / 3600, whole % 3600 / 60);
}

static size_t terminal_columns(void)
{
    struct winsize size;
    return ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 20 ? size.ws_col : 80;
}

static void draw_line(TourHost *host, const UfTourEvent *event)
{
    char text[LINE_BYTES];
    char left[40] = "";
    if (event->left_s >= 0)
        put_duration(left, sizeof left, event->left_s);
    int used = snprintf(text, sizeof text, "%zu of %zu results, %zu at work", event->done, event->total,
                        event->running);
    if (event->rate > 0 && used > 0)
        used += snprintf(text + used, sizeof text - (size_t)used, ", %.1f a minute", event->rate);
    if (left[0] != '\0' && used > 0)
        snprintf(text + used, sizeof text - (size_t)used, ", about %s left", left);
    size_t columns = terminal_columns() - 1;
    if (columns < sizeof text)
        text[columns] = '\0';
    fprintf(stderr, "\r\033[K%s", text);
    (void)fflush(stderr); /* progress that cannot be shown is no failure of the work */
    host->shows_line = true;
}

static void put_json(const UfTourEvent *event)
{
    static const char *const names[] = {"time", "start", "made", "there", "failed"};
    CliJson json = cli_json_start(stdout);
    json.flat = true;
    cli_json_open(&json, NULL, '{');
    cli_json_text(&json, "event", names[event->kind]);
    cli_json_file(&json, "panorama", event->panorama);
    cli_json_text(&json, "section", event->section);
    cli_json_file(&json, "path", event->path);
    cli_json_text(&json, "text", event->text);
    cli_json_number(&json, "time_s", event->time_s);
    cli_json_whole(&json, "bytes", (long long)event->bytes);
    cli_json_whole(&json, "done", (long long)event->done);
    cli_json_whole(&json, "total", (long long)event->total);
    if (event->left_s >= 0)
        cli_json_number(&json, "left_s", event->left_s);
    cli_json_close(&json, '}');
    cli_json_end(&json);
    (void)fflush(stdout); /* a reader wants it now; stdout is checked at the exit */
}

static void put_warnings(TourHost *host, const UfTourEvent *event)
{
    for (const char *at = event->text; *at != '\0';) {
        size_t length = strcspn(at, "\n");
        char text[1000];
        snprintf(text, sizeof text, "%.*s", (int)length, at);
        tour_clear_line(host);
        fputs("underfoot: warning: ", stderr);
        cli_put_text(stderr, event->panorama);
        fputs(": ", stderr);
        cli_put_text(stderr, text);
        fputc('\n', stderr);
        at += length + (at[length] == '\n');
    }
}

static void put_made(const UfTourEvent *event)
{
    fprintf(stderr, "[%zu/%zu] ", event->done, event->total);
    if (strstr(event->path, "/.underfoot/") != NULL) { /* a piece of the page, which nobody opens there */
        const char *name = strrchr(event->path, '/') + 1;
        char piece[40];
        snprintf(piece, sizeof piece, "%.*s", (int)strcspn(name, "."), name);
        cli_put_text(stderr, event->panorama);
        fprintf(stderr, ", for the review page: %s", piece);
    } else {
        cli_put_text(stderr, event->path);
    }
    fprintf(stderr, "  %.1f s\n", event->time_s);
}

void tour_tell(void *context, const UfTourEvent *event)
{
    TourHost *host = context;
    const CliValue *values = host->line->values;
    bool quiet = values[CLI_QUIET].given;
    if (values[CLI_JSON].given && event->kind != UF_TOUR_EVENT_TIME)
        put_json(event);
    if (event->kind == UF_TOUR_EVENT_FAILED) {
        tour_clear_line(host);
        cli_failed("%s: %s: %s", event->panorama, event->section, event->text);
    } else if (!quiet && event->panorama != NULL && event->kind != UF_TOUR_EVENT_START) {
        put_warnings(host, event);
    }
    if (on_terminal(host))
        draw_line(host, event);
    else if (!quiet && event->kind == UF_TOUR_EVENT_MADE)
        put_made(event);
}

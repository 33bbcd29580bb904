/*
 * A browser over a pipe: descriptor 3 takes commands, descriptor 4 gives answers and events (Chrome DevTools
 * Protocol,
 * --remote-debugging-pipe). Answers are searched for the few members that are needed; results come
 * percent-encoded, so that no JSON has to be taken apart.
 */
#include "support/browser.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "support/base64.h"
#include "support/files.h"

#define PATIENCE_MS 30000

struct Browser {
    pid_t child;
    int commands, answers;
    char *pending; /* read and not yet taken, ended by a zero byte */
    size_t pending_bytes, pending_room;
    unsigned last_id;
    char session[64];
    char *complaints;
    size_t complaints_bytes;
    FILE *complaints_stream;
};

static void run_browser(int commands, int answers, size_t width, size_t height)
{
    char window[64];
    snprintf(window, sizeof window, "--window-size=%zu,%zu", width, height);
    int null = open("/dev/null", O_RDWR);
    /* away from 3 and 4 before they are put there */
    int in = fcntl(commands, F_DUPFD, 10);
    int out = fcntl(answers, F_DUPFD, 10);
    if (null < 0 || in < 0 || out < 0 || dup2(null, 0) < 0 || dup2(null, 1) < 0 || dup2(null, 2) < 0 ||
        dup2(in, 3) < 0 || dup2(out, 4) < 0)
        _exit(126);
    execlp("chromium-headless-shell", "chromium-headless-shell", "--no-sandbox", "--remote-debugging-pipe",
           "--user-data-dir=profile", "--use-gl=angle", "--use-angle=swiftshader",
           "--enable-unsafe-swiftshader", "--host-resolver-rules=MAP * ~NOTFOUND",
           "--force-color-profile=srgb", "--hide-scrollbars", window, (char *)NULL);
    _exit(127);
}

/* The next message, ended by a zero byte; free it. */
static char *take_message(Browser *browser)
{
    for (;;) {
        char *end = browser->pending_bytes == 0 ? NULL : memchr(browser->pending, 0, browser->pending_bytes);
        if (end != NULL) {
            char *message = strdup(browser->pending);
            cr_assert_not_null(message);
            browser->pending_bytes -= (size_t)(end + 1 - browser->pending);
            memmove(browser->pending, end + 1, browser->pending_bytes);
            return message;
        }
        if (browser->pending_room - browser->pending_bytes < 65536) {
            browser->pending_room = browser->pending_room * 2 + 262144;
            browser->pending = realloc(browser->pending, browser->pending_room);
            cr_assert_not_null(browser->pending);
        }
        struct pollfd waiting = {.fd = browser->answers, .events = POLLIN};
        cr_assert_gt(poll(&waiting, 1, PATIENCE_MS), 0, "the browser does not answer");
        ssize_t got = read(browser->answers, browser->pending + browser->pending_bytes,
                           browser->pending_room - browser->pending_bytes);
        cr_assert_gt(got, 0, "chromium-headless-shell ended, or is not installed (see .ci/packages)");
        browser->pending_bytes += (size_t)got;
    }
}

static bool has_method(const char *message, const char *method)
{
    char wanted[96];
    snprintf(wanted, sizeof wanted, "{\"method\":\"%s\"", method);
    return strncmp(message, wanted, strlen(wanted)) == 0;
}

static bool is_outside_request(const char *message)
{
    if (!has_method(message, "Network.requestWillBeSent"))
        return false;
    const char *request = strstr(message, "\"request\":{");
    const char *url = request == NULL ? NULL : strstr(request, "\"url\":\"");
    return url == NULL || (strncmp(url + 7, "file:", 5) != 0 && strncmp(url + 7, "blob:", 5) != 0 &&
                           strncmp(url + 7, "about:blank", 11) != 0);
}

static void note_event(Browser *browser, const char *message)
{
    if (has_method(message, "Runtime.consoleAPICalled") || has_method(message, "Runtime.exceptionThrown") ||
        has_method(message, "Log.entryAdded") || is_outside_request(message)) {
        fprintf(browser->complaints_stream, "%.600s\n", message);
        fflush(browser->complaints_stream);
    }
}

static void send_all(int fd, const char *text, size_t bytes)
{
    while (bytes > 0) {
        ssize_t sent = write(fd, text, bytes);
        cr_assert(sent > 0 || errno == EINTR, "the browser takes no command: %s", strerror(errno));
        text += sent > 0 ? sent : 0;
        bytes -= sent > 0 ? (size_t)sent : 0;
    }
}

/* Sends a command with its parameters' JSON and waits for the answer; free it. */
static char *call(Browser *browser, const char *method, const char *parameters)
{
    char *text = NULL;
    size_t bytes = 0;
    FILE *stream = open_memstream(&text, &bytes);
    cr_assert_not_null(stream);
    unsigned id = ++browser->last_id;
    fprintf(stream, "{\"id\":%u,\"method\":\"%s\",", id, method);
    if (browser->session[0] != '\0')
        fprintf(stream, "\"sessionId\":\"%s\",", browser->session);
    fprintf(stream, "\"params\":%s}", parameters);
    fclose(stream);
    send_all(browser->commands, text, bytes + 1);
    free(text);
    char wanted[32];
    snprintf(wanted, sizeof wanted, "{\"id\":%u,", id);
    for (;;) {
        char *message = take_message(browser);
        if (strncmp(message, wanted, strlen(wanted)) == 0) {
            cr_assert_null(strstr(message, "\"error\":{\"code\""), "%s: %s", method, message);
            return message;
        }
        note_event(browser, message);
        free(message);
    }
}

static void tell(Browser *browser, const char *method, const char *format, ...)
{
    char parameters[1024];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(parameters, sizeof parameters, format, arguments);
    va_end(arguments);
    cr_assert(length > 0 && (size_t)length < sizeof parameters);
    free(call(browser, method, parameters));
}

/* The text of a string member that needs no unescaping, ended in place; NULL when it is not there. */
static char *member(char *message, const char *key)
{
    char wanted[64];
    snprintf(wanted, sizeof wanted, "\"%s\":\"", key);
    char *value = strstr(message, wanted);
    if (value == NULL)
        return NULL;
    value += strlen(wanted);
    value[strcspn(value, "\"")] = '\0';
    return value;
}

static void attach(Browser *browser)
{
    char parameters[128];
    char *answer = call(browser, "Target.createTarget", "{\"url\":\"about:blank\"}");
    char *target = member(answer, "targetId");
    cr_assert_not_null(target);
    snprintf(parameters, sizeof parameters, "{\"targetId\":\"%s\",\"flatten\":true}", target);
    free(answer);
    answer = call(browser, "Target.attachToTarget", parameters);
    char *session = member(answer, "sessionId");
    cr_assert_not_null(session);
    snprintf(browser->session, sizeof browser->session, "%s", session);
    free(answer);
}

Browser *browser_start(size_t width, size_t height)
{
    Browser *browser = calloc(1, sizeof *browser);
    int commands[2];
    int answers[2];
    cr_assert(browser != NULL && pipe(commands) == 0 && pipe(answers) == 0);
    browser->complaints_stream = open_memstream(&browser->complaints, &browser->complaints_bytes);
    cr_assert_not_null(browser->complaints_stream);
    fflush(browser->complaints_stream);
    /* nobody else may hold the ends: the browser goes when its pipe closes */
    fcntl(commands[1], F_SETFD, FD_CLOEXEC);
    fcntl(answers[0], F_SETFD, FD_CLOEXEC);
    browser->child = fork();
    cr_assert_geq(browser->child, 0);
    if (browser->child == 0)
        run_browser(commands[0], answers[1], width, height);
    close(commands[0]);
    close(answers[1]);
    browser->commands = commands[1];
    browser->answers = answers[0];
    attach(browser);
    for (const char *const *domain = (const char *const[]){"Page", "Runtime", "Log", "Network", NULL};
         *domain != NULL; domain++) {
        char method[32];
        snprintf(method, sizeof method, "%s.enable", *domain);
        tell(browser, method, "{}");
    }
    tell(browser, "Emulation.setDeviceMetricsOverride",
         "{\"width\":%zu,\"height\":%zu,\"deviceScaleFactor\":1,\"mobile\":false}", width, height);
    return browser;
}

void browser_end(Browser **browser)
{
    (*browser)->session[0] = '\0';
    tell(*browser, "Browser.close", "{}");
    close((*browser)->commands);
    close((*browser)->answers);
    waitpid((*browser)->child, NULL, 0);
    fclose((*browser)->complaints_stream);
    free((*browser)->complaints);
    free((*browser)->pending);
    free(*browser);
    *browser = NULL;
}

void browser_open(Browser *browser, const char *file)
{
    char folder[PATH_MAX];
    cr_assert_not_null(getcwd(folder, sizeof folder));
    tell(browser, "Page.navigate",
         "{\"url\":\"about:blank\"}"); /* the same file with another part would not be loaded */
    browser_until(browser, "location.protocol === 'about:'");
    tell(browser, "Page.navigate", "{\"url\":\"file://%s/%s\"}", folder, file);
    browser_until(browser, "location.protocol === 'file:' && document.readyState === 'complete'");
}

static void put_json(FILE *stream, const char *text)
{
    for (; *text != '\0'; text++)
        if (*text == '"' || *text == '\\')
            fprintf(stream, "\\%c", *text);
        else if ((unsigned char)*text < 0x20)
            fprintf(stream, "\\u%04x", (unsigned)*text);
        else
            fputc(*text, stream);
}

static void percent_decode(char *text)
{
    char *to = text;
    for (const char *at = text; *at != '\0'; to++) {
        unsigned byte = 0;
        if (*at == '%' && sscanf(at + 1, "%2x", &byte) == 1) {
            *to = (char)byte;
            at += 3;
        } else
            *to = *at++;
    }
    *to = '\0';
}

static char *evaluate(Browser *browser, const char *expression)
{
    char *parameters = NULL;
    size_t bytes = 0;
    FILE *stream = open_memstream(&parameters, &bytes);
    cr_assert_not_null(stream);
    fputs("{\"returnByValue\":true,\"awaitPromise\":true,\"expression\":\"(async () => "
          "encodeURIComponent(String(await (",
          stream);
    put_json(stream, expression);
    fputs("))))()\"}", stream);
    fclose(stream);
    char *answer = call(browser, "Runtime.evaluate", parameters);
    free(parameters);
    cr_assert_null(strstr(answer, "\"exceptionDetails\""), "%s\n%s", expression, answer);
    char *value = member(answer, "value");
    cr_assert_not_null(value, "%s\n%s", expression, answer);
    char *text = strdup(value);
    cr_assert_not_null(text);
    free(answer);
    percent_decode(text);
    return text;
}

static char *formatted(const char *format, va_list arguments)
{
    char *text = NULL;
    cr_assert_geq(vasprintf(&text, format, arguments), 0);
    return text;
}

char *browser_text(Browser *browser, const char *expression, ...)
{
    va_list arguments;
    va_start(arguments, expression);
    char *whole = formatted(expression, arguments);
    va_end(arguments);
    char *text = evaluate(browser, whole);
    free(whole);
    return text;
}

double browser_number(Browser *browser, const char *expression, ...)
{
    va_list arguments;
    va_start(arguments, expression);
    char *whole = formatted(expression, arguments);
    va_end(arguments);
    char *text = evaluate(browser, whole);
    char *end = NULL;
    double number = strtod(text, &end);
    cr_assert(end != text && *end == '\0', "%s is no number: %s", whole, text);
    free(text);
    free(whole);
    return number;
}

void browser_until(Browser *browser, const char *expression, ...)
{
    va_list arguments;
    va_start(arguments, expression);
    char *whole = formatted(expression, arguments);
    va_end(arguments);
    bool is_true = false;
    for (int waited = 0; !is_true && waited < PATIENCE_MS; waited += 20) {
        char *text = evaluate(browser, whole);
        is_true = strcmp(text, "true") == 0;
        free(text);
        if (!is_true)
            nanosleep(&(struct timespec){.tv_nsec = 20000000}, NULL);
    }
    cr_assert(is_true, "still not so: %s", whole);
    free(whole);
}

/* Key codes of the keys that do something by themselves (UI Events KeyboardEvent code and the legacy
 * keyCode). */
static int key_code(const char *key)
{
    static const struct {
        const char *key;
        int code;
    } codes[] = {{"ArrowLeft", 37}, {"ArrowUp", 38}, {"ArrowRight", 39}, {"ArrowDown", 40},
                 {"Home", 36},      {"End", 35},     {"PageUp", 33},     {"PageDown", 34},
                 {"Escape", 27},    {"Enter", 13},   {"Tab", 9}};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
        if (strcmp(codes[i].key, key) == 0)
            return codes[i].code;
    return 0;
}

void browser_key(Browser *browser, const char *key)
{
    const char *text = strlen(key) == 1 ? key : strcmp(key, "Enter") == 0 ? "\\r" : "";
    tell(browser, "Input.dispatchKeyEvent",
         "{\"type\":\"keyDown\",\"key\":\"%s\",\"code\":\"%s\",\"windowsVirtualKeyCode\":%d,\"text\":\"%s\"}",
         key, strlen(key) == 1 ? "" : key, key_code(key), text);
    tell(browser, "Input.dispatchKeyEvent",
         "{\"type\":\"keyUp\",\"key\":\"%s\",\"windowsVirtualKeyCode\":%d}", key, key_code(key));
}

static void mouse(Browser *browser, const char *type, double x, double y, bool is_down)
{
    tell(browser, "Input.dispatchMouseEvent",
         "{\"type\":\"%s\",\"x\":%.2f,\"y\":%.2f,\"button\":\"left\",\"buttons\":%d,\"clickCount\":1}", type,
         x, y, is_down);
}

void browser_click(Browser *browser, double x, double y)
{
    mouse(browser, "mousePressed", x, y, true);
    mouse(browser, "mouseReleased", x, y, false);
}

void browser_drag(Browser *browser, double from_x, double from_y, double to_x, double to_y)
{
    mouse(browser, "mousePressed", from_x, from_y, true);
    for (int step = 1; step <= 4; step++)
        mouse(browser, "mouseMoved", from_x + (to_x - from_x) * step / 4, from_y + (to_y - from_y) * step / 4,
              true);
    mouse(browser, "mouseReleased", to_x, to_y, false);
}

void browser_wheel(Browser *browser, double x, double y, double delta_y)
{
    tell(browser, "Input.dispatchMouseEvent",
         "{\"type\":\"mouseWheel\",\"x\":%.2f,\"y\":%.2f,\"deltaX\":0,\"deltaY\":%.2f}", x, y, delta_y);
}

void browser_swipe(Browser *browser, double from_x, double from_y, double to_x, double to_y)
{
    static const char one[] = "{\"type\":\"%s\",\"touchPoints\":[{\"x\":%.2f,\"y\":%.2f}]}";
    tell(browser, "Input.dispatchTouchEvent", one, "touchStart", from_x, from_y);
    for (int step = 1; step <= 4; step++)
        tell(browser, "Input.dispatchTouchEvent", one, "touchMove", from_x + (to_x - from_x) * step / 4,
             from_y + (to_y - from_y) * step / 4);
    tell(browser, "Input.dispatchTouchEvent", "{\"type\":\"touchEnd\",\"touchPoints\":[]}");
}

void browser_pinch(Browser *browser, double x, double y, double from_px, double to_px)
{
    for (int step = 0; step <= 4; step++) {
        double half = (from_px + (to_px - from_px) * step / 4) / 2;
        tell(browser, "Input.dispatchTouchEvent",
             "{\"type\":\"%s\",\"touchPoints\":[{\"x\":%.2f,\"y\":%.2f,\"id\":1},{\"x\":%.2f,\"y\":%.2f,"
             "\"id\":2}]}",
             step == 0 ? "touchStart" : "touchMove", x - half, y, x + half, y);
    }
    tell(browser, "Input.dispatchTouchEvent", "{\"type\":\"touchEnd\",\"touchPoints\":[]}");
}

Pixels browser_picture(Browser *browser)
{
    char *answer = call(browser, "Page.captureScreenshot", "{\"format\":\"png\"}");
    char *data = member(answer, "data");
    cr_assert_not_null(data);
    Bytes png = base64_decode(data, strlen(data));
    free(answer);
    file_write("browser.png", png.data, png.size);
    bytes_free(&png);
    return picture_decode("browser.png");
}

const char *browser_complaints(const Browser *browser)
{
    return browser->complaints;
}

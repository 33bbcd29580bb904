/*
 * The engine's hands. A step is this program itself with an ordinary command line, in a process of its own
 * that dies with this one (prctl PR_SET_PDEATHSIG), however that ends. What it writes goes into memory files,
 * so that nobody has to empty pipes.
 */
#include "cli/tour_host.h"

#include <errno.h>
#include <signal.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "cli/files.h"
#include "cli/message.h"
#include "cli/nearest.h"
#include "cli/options.h"
#include "cli/values.h"

#define PROGRAM     "/proc/self/exe"
#define PATIENCE_MS 3000
#define EXEC_FAILED 127

/* SIGPIPE: nobody reads any more what the tour says. */
static const int stop_signals[] = {SIGINT, SIGTERM, SIGHUP, SIGPIPE};
#define STOP_SIGNALS (sizeof stop_signals / sizeof stop_signals[0])

/* Those that are not ignored already (nohup). */
static sigset_t stop_set(void)
{
    sigset_t set;
    sigemptyset(&set);
    for (size_t i = 0; i < STOP_SIGNALS; i++) {
        struct sigaction now;
        if (sigaction(stop_signals[i], NULL, &now) == 0 && now.sa_handler != SIG_IGN)
            sigaddset(&set, stop_signals[i]);
    }
    return set;
}

static UfTourOptionKind kind_of(const CliOption *option)
{
    return option->kind == CLI_FLAG   ? UF_TOUR_OPTION_FLAG
           : option->kind == CLI_FILE ? UF_TOUR_OPTION_FILE
                                      : UF_TOUR_OPTION_VALUE;
}

static UfTourOptionKind find_option(void *context, const char *command, const char *key, const char *value,
                                    char *problem, size_t problem_bytes)
{
    (void)context;
    const CliCommand *found = cli_find_command(command);
    const CliOption *nearest = NULL;
    size_t best = cli_distance_limit(key) + 1;
    problem[0] = '\0';
    for (size_t id = 0; found != NULL && id < cli_option_count(found); id++) {
        const CliOption *option = cli_option(found, id);
        if (option == NULL)
            continue;
        if (strcmp(option->name, key) == 0) {
            char why[CLI_PROBLEM_BYTES] = "";
            CliValue read;
            if (option->kind != CLI_FLAG && !cli_read_value(option, value, &read, why))
                snprintf(problem, problem_bytes, "%s", why);
            return kind_of(option);
        }
        size_t distance = cli_distance(key, option->name);
        if (distance < best) {
            best = distance;
            nearest = option;
        }
    }
    if (nearest != NULL)
        snprintf(problem, problem_bytes, "did you mean '%s'", nearest->name);
    return UF_TOUR_OPTION_UNKNOWN;
}

/* A rig file that the step would refuse is refused before anything runs. */
static int check_rigs(const CliLine *line)
{
    int status = CLI_DONE;
    for (size_t id = CLI_COMMON_COUNT; id < cli_option_count(line->command) && status == CLI_DONE; id++) {
        if (strcmp(cli_option(line->command, id)->name, "rig") != 0 || !line->values[id].given)
            continue;
        UfRig *rig = NULL;
        UfReport *report = uf_report_create();
        if (uf_rig_read(line->values[id].text, &rig, report) != UF_OK)
            status = cli_failed("%s", uf_report_error(report));
        uf_rig_free(&rig);
        uf_report_free(&report);
    }
    return status;
}

static int check_line(const CliCommand *command, size_t count, char **arguments)
{
    CliLine line;
    UfFormat format;
    int status = cli_parse(command, count, arguments, &line);
    bool makes_folder = strcmp(command->name, "faces") == 0;
    if (status == CLI_DONE && !makes_folder)
        status = cli_check_format(&line, &format);
    if (status == CLI_DONE && command->check != NULL)
        status = command->check(&line);
    return status == CLI_DONE ? check_rigs(&line) : status;
}

static bool check(void *context, const char *const *arguments, size_t count, char *problem,
                  size_t problem_bytes)
{
    (void)context;
    const CliCommand *command = cli_find_command(arguments[0]);
    char **copy = malloc(count * sizeof *copy); /* parsing moves them about */
    if (command == NULL || copy == NULL) {
        free(copy);
        snprintf(problem, problem_bytes, "not enough memory");
        return false;
    }
    memcpy(copy, arguments + 1, (count - 1) * sizeof *copy);
    cli_capture(problem, problem_bytes);
    int status = check_line(command, count - 1, copy);
    cli_capture(NULL, 0);
    free(copy);
    return status == CLI_DONE;
}

/* In the child, between fork and exec: async-signal-safe calls only. */
static _Noreturn void become_step(char **arguments, pid_t parent, int out, int err)
{
    sigset_t none;
    sigemptyset(&none);
    bool good = prctl(PR_SET_PDEATHSIG, SIGKILL) == 0 && getppid() == parent &&
                dup2(out, STDOUT_FILENO) >= 0 && dup2(err, STDERR_FILENO) >= 0 &&
                sigprocmask(SIG_SETMASK, &none, NULL) == 0;
    if (good)
        execv(PROGRAM, arguments);
    _exit(EXEC_FAILED);
}

static bool spawn(TourStep *step, char **arguments)
{
    TourStep started = {.out = memfd_create("result", MFD_CLOEXEC),
                        .err = memfd_create("messages", MFD_CLOEXEC)};
    pid_t parent = getpid();
    started.pid = started.out < 0 || started.err < 0 ? -1 : fork();
    if (started.pid == 0)
        become_step(arguments, parent, started.out, started.err);
    if (started.pid > 0) {
        *step = started;
        return true;
    }
    int reason = errno;
    if (started.out >= 0)
        close(started.out);
    if (started.err >= 0)
        close(started.err);
    errno = reason;
    return false;
}

static bool start(void *context, const char *const *arguments, size_t count, int *id)
{
    TourHost *host = context;
    TourStep *step = NULL;
    for (size_t i = 0; i < TOUR_STEPS_MAX && step == NULL; i++)
        step = host->steps[i].pid == 0 ? &host->steps[i] : NULL;
    char **line = malloc((count + 2) * sizeof *line);
    char *name = strdup("underfoot");
    bool started = false;
    errno = ENOMEM;
    if (line != NULL && name != NULL && step != NULL) {
        line[0] = name;
        memcpy(line + 1, arguments, count * sizeof *line);
        line[count + 1] = NULL;
        started = spawn(step, line);
    }
    free(name);
    free(line);
    if (started)
        *id = (int)step->pid;
    return started;
}

/* Everything in a memory file, as text; closes it. NULL without memory. */
static char *read_text(int fd)
{
    off_t size = lseek(fd, 0, SEEK_END);
    char *text = size < 0 ? NULL : malloc((size_t)size + 1);
    ssize_t got = text == NULL ? 0 : pread(fd, text, (size_t)size, 0);
    if (text != NULL)
        text[got < 0 ? 0 : got] = '\0';
    close(fd);
    return text;
}

static bool reap(TourHost *host, UfTourEnd *out)
{
    for (size_t i = 0; i < TOUR_STEPS_MAX; i++) {
        TourStep *step = &host->steps[i];
        int status;
        struct rusage usage;
        if (step->pid == 0 || wait4(step->pid, &status, WNOHANG, &usage) != step->pid)
            continue;
        *out = (UfTourEnd){.id = (int)step->pid,
                           .status = WIFEXITED(status) ? WEXITSTATUS(status) : 1,
                           .signal = WIFSIGNALED(status) ? WTERMSIG(status) : 0,
                           .peak_bytes = (uint64_t)usage.ru_maxrss * 1024,
                           .result = read_text(step->out),
                           .messages = read_text(step->err)};
        *step = (TourStep){0};
        return true;
    }
    return false;
}

static struct timespec timespec_of(double seconds)
{
    return (struct timespec){.tv_sec = (time_t)seconds,
                             .tv_nsec = (long)((seconds - (double)(time_t)seconds) * 1e9)};
}

static bool asked_to_stop(TourHost *host, double seconds)
{
    sigset_t set = stop_set();
    struct timespec patience = timespec_of(seconds);
    int number = host->stop_signal == 0 ? sigtimedwait(&set, NULL, &patience) : 0;
    if (number > 0)
        host->stop_signal = number;
    return host->stop_signal != 0;
}

/* A step that died of the signal that asked this program, too, to end has not failed. */
static bool stops_with_step(TourHost *host, const UfTourEnd *end)
{
    for (size_t i = 0; i < STOP_SIGNALS; i++)
        if (end->signal == stop_signals[i])
            return asked_to_stop(host, 0.1);
    return false;
}

static UfTourWait wait_for_step(void *context, double seconds, UfTourEnd *out)
{
    TourHost *host = context;
    UfTourEnd end;
    if (asked_to_stop(host, 0))
        return UF_TOUR_WAIT_STOP;
    bool ended = reap(host, &end);
    if (!ended) {
        sigset_t set = stop_set();
        struct timespec patience = timespec_of(seconds);
        sigaddset(&set, SIGCHLD);
        int number = sigtimedwait(&set, NULL, &patience);
        if (number > 0 && number != SIGCHLD)
            host->stop_signal = number;
        if (asked_to_stop(host, 0))
            return UF_TOUR_WAIT_STOP;
        ended = reap(host, &end);
    }
    if (!ended)
        return UF_TOUR_WAIT_TIME;
    if (stops_with_step(host, &end)) {
        free(end.result);
        free(end.messages);
        return UF_TOUR_WAIT_STOP;
    }
    *out = end;
    return UF_TOUR_WAIT_END;
}

static bool any_runs(TourHost *host)
{
    UfTourEnd end;
    while (reap(host, &end)) {
        free(end.result);
        free(end.messages);
    }
    for (size_t i = 0; i < TOUR_STEPS_MAX; i++)
        if (host->steps[i].pid != 0)
            return true;
    return false;
}

static void signal_steps(const TourHost *host, int number)
{
    for (size_t i = 0; i < TOUR_STEPS_MAX; i++)
        if (host->steps[i].pid != 0)
            (void)kill(host->steps[i].pid, number);
}

static void stop(void *context)
{
    TourHost *host = context;
    const struct timespec moment = {.tv_nsec = 10 * 1000000L};
    signal_steps(host, SIGTERM);
    for (int waited = 0; any_runs(host); waited += 10) {
        if (waited == PATIENCE_MS)
            signal_steps(host, SIGKILL);
        (void)nanosleep(&moment, NULL);
    }
}

UfTourHost tour_host_start(TourHost *host, const CliLine *line)
{
    *host = (TourHost){.line = line};
    sigset_t set = stop_set();
    sigaddset(&set, SIGCHLD);
    sigprocmask(SIG_BLOCK, &set, NULL);
    return (UfTourHost){.context = host,
                        .option = find_option,
                        .check = check,
                        .start = start,
                        .wait = wait_for_step,
                        .stop = stop,
                        .tell = tour_tell};
}

void tour_host_end(TourHost *host)
{
    sigset_t set = stop_set();
    if (host->stop_signal != 0) {
        signal(host->stop_signal, SIG_DFL);
        raise(host->stop_signal);
    }
    sigprocmask(SIG_UNBLOCK, &set, NULL);
}

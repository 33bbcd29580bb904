/* Programs as children: their output goes to files in a folder that is not the test's own, so nothing can
 * block. */
#include "support/program.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <grp.h>
#include <limits.h>
#include <stdint.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "support/files.h"

static char program_path[PATH_MAX];
static char folder[PATH_MAX];

struct Started {
    pid_t child;
    FILE *out, *err; /* unnamed files that the child writes to */
    bool keep_report;
};

/* Found before the first change of folder, because UF_BUILD_DIR may be relative. */
static void find_program(void)
{
    if (program_path[0] != '\0')
        return;
    const char *build = getenv("UF_BUILD_DIR");
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/underfoot", build != NULL ? build : ".build/release");
    cr_assert_not_null(realpath(path, program_path), "%s: %s (build it, or set UF_BUILD_DIR)", path,
                       strerror(errno));
}

const char *underfoot_path(void)
{
    find_program();
    return program_path;
}

void folder_enter(void)
{
    find_program();
    const char *top = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/uf-test-XXXXXX", top != NULL ? top : "/tmp");
    cr_assert_not_null(mkdtemp(folder), "%s: %s", folder, strerror(errno));
    cr_assert_eq(chdir(folder), 0);
}

const char *program_for_nobody(void)
{
    file_copy(underfoot_path(), "program");
    cr_assert(chmod("program", 0755) == 0 && chmod(".", 0777) == 0);
    return "./program";
}

static int remove_one(const char *path, const struct stat *facts, int kind, struct FTW *walk)
{
    (void)facts;
    (void)kind;
    (void)walk;
    return remove(path);
}

void folder_leave(void)
{
    cr_assert_eq(chdir("/"), 0);
    if (folder[0] != '\0')
        nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

/* In the child, between fork and exec: only calls that are safe there. */
static void become(const char *const *arguments, const RunOptions *options, int out, int err)
{
    int in = open("/dev/null", O_RDONLY);
    if (options->stdout_path != NULL)
        out = open(options->stdout_path, O_WRONLY | O_CREAT, 0666);
    int ends[2] = {-1, -1};
    if (options->stdout_unread && pipe(ends) == 0) {
        close(ends[0]);
        out = ends[1];
    }
    if (in < 0 || out < 0 || dup2(in, 0) < 0 || dup2(out, 1) < 0 || dup2(err, 2) < 0)
        _exit(126);
    if (options->as_nobody && (setgroups(0, NULL) != 0 || setgid(65534) != 0 || setuid(65534) != 0))
        _exit(126);
    /* a test run in the background of a script inherits ignored signals, which the program would respect */
    signal(SIGPIPE, SIG_DFL);
    signal(SIGINT, SIG_DFL);
    signal(SIGHUP, SIG_DFL);
    execvp(arguments[0], (char *const *)(uintptr_t)arguments);
    _exit(127);
}

Started *run_start(const char *const *arguments, const RunOptions *options)
{
    static const RunOptions none;
    const RunOptions *chosen = options != NULL ? options : &none;
    Started *started = calloc(1, sizeof *started);
    cr_assert_not_null(started);
    started->out = tmpfile();
    started->err = tmpfile();
    started->keep_report = chosen->keep_report;
    cr_assert(started->out != NULL && started->err != NULL);
    started->child = fork();
    cr_assert(started->child >= 0, "fork: %s", strerror(errno));
    if (started->child == 0)
        become(arguments, chosen, fileno(started->out), fileno(started->err));
    return started;
}

int run_process_id(const Started *started)
{
    return (int)started->child;
}

static char *take_all(FILE *stream, size_t *bytes)
{
    struct stat facts;
    cr_assert_eq(fstat(fileno(stream), &facts), 0);
    size_t size = (size_t)facts.st_size;
    char *text = malloc(size + 1);
    cr_assert_not_null(text);
    rewind(stream);
    cr_assert_eq(fread(text, 1, size, stream), size);
    text[size] = '\0';
    *bytes = size;
    fclose(stream);
    return text;
}

Run run_wait(Started *started)
{
    int how = 0;
    while (waitpid(started->child, &how, 0) < 0)
        cr_assert_eq(errno, EINTR);
    Run run = {.status = WIFEXITED(how) ? WEXITSTATUS(how) : -1,
               .signal = WIFSIGNALED(how) ? WTERMSIG(how) : 0};
    run.out = take_all(started->out, &run.out_bytes);
    run.err = take_all(started->err, &run.err_bytes);
    bool reported = strstr(run.err, "Sanitizer") != NULL || strstr(run.err, "runtime error:") != NULL;
    cr_assert(started->keep_report || !reported, "a sanitizer reports: %s", run.err);
    cr_assert_neq(run.status, 127, "the program could not be started");
    cr_assert_neq(run.status, 126, "the program's surroundings could not be made");
    free(started);
    return run;
}

Run run_program(const char *const *arguments, const RunOptions *options)
{
    return run_wait(run_start(arguments, options));
}

void run_free(Run *run)
{
    free(run->out);
    free(run->err);
    *run = (Run){0};
}

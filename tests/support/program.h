/*
 * Running a program as a person would, each test in a fresh folder of its own.
 *
 *     TestSuite(cli_tag, .init = folder_enter, .fini = folder_leave);
 *     Run run = RUN_UNDERFOOT("tag", "a.jpg", "-o", "b.jpg");
 *     cr_assert_eq(run.status, 0, "%s", run.err);
 *     run_free(&run);
 *
 * The program is the one in the folder that the environment names in UF_BUILD_DIR, or in .build/release.
 */
#ifndef UF_TESTS_SUPPORT_PROGRAM_H
#define UF_TESTS_SUPPORT_PROGRAM_H

#include <stdbool.h>
#include <stddef.h>

/* Makes a temporary folder and changes into it / removes it with all that is in it. */
void folder_enter(void);
void folder_leave(void);

typedef struct Run {
    int status;      /* exit status, -1 when it died by a signal */
    int signal;      /* the signal, 0 when it ended by itself */
    char *out, *err; /* what it wrote, ended by a zero byte; owned */
    size_t out_bytes, err_bytes;
} Run;

typedef struct RunOptions {
    const char *stdout_path; /* write stdout there instead of capturing it */
    bool stdout_unread;      /* stdout is a pipe that nobody reads */
    bool as_nobody;          /* without root's rights: user and group 65534 */
    bool keep_report;        /* a sanitizer's report on stderr is not held against the program */
} RunOptions;

/*
 * Runs a program found in PATH, or by its path, with the arguments that follow, ended by NULL. Fails the test
 * when it cannot be started, and when a sanitizer reports anything.
 */
Run run_program(const char *const *arguments, const RunOptions *options);
void run_free(Run *run);

/* Absolute path of the program under test. */
const char *underfoot_path(void);

#define RUN_PROGRAM(...)   run_program((const char *const[]){__VA_ARGS__, NULL}, NULL)
#define RUN_UNDERFOOT(...) RUN_PROGRAM(underfoot_path(), __VA_ARGS__)
#define RUN_UNDERFOOT_WITH(options, ...)                                                                     \
    run_program((const char *const[]){underfoot_path(), __VA_ARGS__, NULL}, options)

/*
 * The same as user and group 65534: a copy of the program in the working folder, because the way to its own
 * place may be closed to others. Opens the working folder to everybody.
 */
#define RUN_UNDERFOOT_AS_NOBODY(...)                                                                         \
    run_program((const char *const[]){program_for_nobody(), __VA_ARGS__, NULL},                              \
                &(RunOptions){.as_nobody = true})
const char *program_for_nobody(void);

/* Starts it and returns its process id; end it with run_wait. */
typedef struct Started Started;
Started *run_start(const char *const *arguments, const RunOptions *options);
int run_process_id(const Started *started);
Run run_wait(Started *started);

#endif

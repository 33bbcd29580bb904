/* What `underfoot tour` lends the engine: the table of options, and processes of the program itself. */
#ifndef UF_CLI_TOUR_HOST_H
#define UF_CLI_TOUR_HOST_H

#include <sys/types.h>

#include "cli/command.h"

#define TOUR_STEPS_MAX 256

typedef struct TourStep {
    pid_t pid; /* 0: free */
    int out, err;
} TourStep;

typedef struct TourHost {
    const CliLine *line;
    TourStep steps[TOUR_STEPS_MAX];
    int stop_signal; /* that asked for an end, or 0 */
    bool shows_line; /* a progress line stands on the terminal */
} TourHost;

/* SIGINT, SIGTERM, SIGHUP and SIGPIPE ask for an end instead of ending the program at once. */
UfTourHost tour_host_start(TourHost *host, const CliLine *line);
/* Ends the program by the signal that asked for it, if one did. */
void tour_host_end(TourHost *host);

/* tour_progress.c: prints what goes on. */
void tour_tell(void *context, const UfTourEvent *event);
void tour_clear_line(TourHost *host);

#endif

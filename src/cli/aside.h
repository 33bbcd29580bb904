/* One piece of work beside the program's own. */
#ifndef UF_CLI_ASIDE_H
#define UF_CLI_ASIDE_H

#include <pthread.h>
#include <stdbool.h>

#include <underfoot/status.h>

typedef UfStatus CliAsideWork(void *data);

/* Zeroed before its first use. */
typedef struct CliAside {
    CliAsideWork *work;
    void *data;
    UfStatus status;
    pthread_t thread;
    bool is_running;
} CliAside;

/* Begins the work in a thread of its own; false where there is none to be had. */
bool cli_aside_begin(CliAside *aside, CliAsideWork *work, void *data);
/* Begins the work; where only one thread is wanted (`threads` is 1) or there is none to be had, does it at
 * once. */
void cli_aside_start(CliAside *aside, int threads, CliAsideWork *work, void *data);
/* Waits for it, and returns what it returned; UF_OK where it was never begun. */
UfStatus cli_aside_wait(CliAside *aside);

#endif

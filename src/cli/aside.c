/* A thread for one piece of work. */
#include "cli/aside.h"

static void *run(void *data)
{
    CliAside *aside = data;
    aside->status = aside->work(aside->data);
    return NULL;
}

bool cli_aside_begin(CliAside *aside, CliAsideWork *work, void *data)
{
    *aside = (CliAside){.work = work, .data = data};
    aside->is_running = pthread_create(&aside->thread, NULL, run, aside) == 0;
    return aside->is_running;
}

void cli_aside_start(CliAside *aside, int threads, CliAsideWork *work, void *data)
{
    if (threads != 1 && cli_aside_begin(aside, work, data))
        return;
    *aside = (CliAside){.work = work, .data = data};
    (void)run(aside);
}

UfStatus cli_aside_wait(CliAside *aside)
{
    if (aside->is_running)
        (void)pthread_join(aside->thread, NULL);
    aside->is_running = false;
    return aside->status;
}

/* The handler does what is safe inside one: unlink, and let the signal kill. */
#include "cli/signals.h"

#include <signal.h>
#include <stddef.h>

#include <underfoot/signals.h>

/* SA_RESETHAND has put the default action back; the raised signal is delivered when the handler returns. */
static void remove_and_die(int number)
{
    uf_output_discard_all_on_signal();
    raise(number);
}

void cli_catch_signals(void)
{
    static const int numbers[] = {SIGINT, SIGTERM, SIGHUP, SIGPIPE, SIGXCPU, SIGXFSZ};
    struct sigaction action = {.sa_handler = remove_and_die, .sa_flags = (int)SA_RESETHAND};
    sigemptyset(&action.sa_mask);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        struct sigaction before;
        /* what was ignored when the program started (nohup) stays ignored */
        if (sigaction(numbers[i], NULL, &before) == 0 && before.sa_handler != SIG_IGN)
            sigaction(numbers[i], &action, NULL);
    }
}

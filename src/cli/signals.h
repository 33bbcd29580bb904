/* SIGINT, SIGTERM and the like: unfinished outputs are removed, then the program dies by the signal. */
#ifndef UF_CLI_SIGNALS_H
#define UF_CLI_SIGNALS_H

void cli_catch_signals(void);

#endif

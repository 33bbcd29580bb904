/* Advice about a file that is not there. */
#ifndef UF_CLI_MISSING_H
#define UF_CLI_MISSING_H

#include "cli/command.h"

/*
 * Adds to a message "PATH: cannot be opened: No such file or directory" what may have been meant: a file of
 * nearly that name, or what else to look at. Leaves other messages alone.
 */
void cli_advise_on_missing_file(char *text, size_t text_bytes);

#endif

/* Advice about an option that a command does not take. */
#ifndef UF_CLI_UNKNOWN_OPTION_H
#define UF_CLI_UNKNOWN_OPTION_H

#include "cli/command.h"

/*
 * Says on stderr that `command` has no option `argument` ("--fill", "--fill=x", "-q"), and what was meant:
 * the same option of other commands, and for a tour the section of the job sheet that it belongs into; an
 * option that begins with that letter; one that is written nearly so.
 */
void cli_unknown_option(const CliCommand *command, const char *argument);

#endif

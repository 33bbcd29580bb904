/* An option's value, read in full: false and *problem (what would have been right) for anything else. */
#ifndef UF_CLI_VALUES_H
#define UF_CLI_VALUES_H

#include "cli/command.h"

#define CLI_PROBLEM_BYTES 200

bool cli_read_value(const CliOption *option, const char *text, CliValue *value,
                    char problem[static CLI_PROBLEM_BYTES]);

#endif

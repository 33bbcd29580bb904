/* The table of commands: a new one is one file and one line here. */
#include "cli/command.h"

#include <string.h>

#define COMMANDS(X)                                                                                          \
    X(plan)                                                                                                  \
    X(check)                                                                                                 \
    X(patch)                                                                                                 \
    X(faces)                                                                                                 \
    X(view)                                                                                                  \
    X(putback)                                                                                               \
    X(wrap)                                                                                                  \
    X(planet)                                                                                                \
    X(deliver)                                                                                               \
    X(turn)                                                                                                  \
    X(tag)                                                                                                   \
    X(tour)

#define DECLARE(name) extern const CliCommand cli_command_##name;
#define LIST(name)    &cli_command_##name,

COMMANDS(DECLARE)

const CliCommand *const cli_commands[] = {COMMANDS(LIST)};
const size_t cli_command_count = sizeof cli_commands / sizeof cli_commands[0];
_Static_assert(sizeof cli_commands / sizeof cli_commands[0] <= CLI_COMMANDS_MAX,
               "lists of commands hold them all");

const CliCommand *cli_find_command(const char *name)
{
    for (size_t i = 0; i < cli_command_count; i++)
        if (strcmp(cli_commands[i]->name, name) == 0)
            return cli_commands[i];
    return NULL;
}

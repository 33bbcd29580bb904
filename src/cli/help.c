/* `--help` of a command, made from its table: an example, what it does, its options. */
#include <stdio.h>

#include "cli/options.h"

#define OPTION_COLUMN 24

static void print_option(const CliOption *option)
{
    char left[64];
    int used = option->letter != 0 ? snprintf(left, sizeof left, "-%c, --%s", option->letter, option->name)
                                   : snprintf(left, sizeof left, "--%s", option->name);
    if (option->argument != NULL && used > 0 && (size_t)used < sizeof left)
        snprintf(left + used, sizeof left - (size_t)used, " %s", option->argument);
    printf("  %-*s%s%s\n", OPTION_COLUMN - 2, left, strlen(left) < OPTION_COLUMN - 2 ? "" : " ",
           option->help);
}

void cli_print_help(const CliCommand *command)
{
    printf("    %s\n\n%s\nusage: underfoot %s %s\n\n", command->example, command->about, command->name,
           command->operands);
    size_t count = cli_option_count(command);
    for (size_t id = CLI_COMMON_COUNT; id < count; id++)
        print_option(cli_option(command, id));
    if (count > CLI_COMMON_COUNT)
        putchar('\n');
    for (size_t id = 0; id < CLI_COMMON_COUNT; id++) {
        const CliOption *option = cli_option(command, id);
        if (option != NULL && id != CLI_HELP && id != CLI_VERSION)
            print_option(option);
    }
}

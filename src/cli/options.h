/*
 * The command line: `--name value`, `--name=value`, `-o value`, `-ovalue`; options and operands in any order;
 * `--` ends the options, so that what follows may begin with a dash. Nothing is guessed: a name that is not
 * written in full, a number with anything behind it and an option given twice are refused with a message that
 * says which.
 */
#ifndef UF_CLI_OPTIONS_H
#define UF_CLI_OPTIONS_H

#include "cli/command.h"

/* Option number `id` of a command, NULL past the last and for a common one that the command does not take. */
const CliOption *cli_option(const CliCommand *command, size_t id);
/* How many ids there are: common ones and the command's own. */
size_t cli_option_count(const CliCommand *command);

/*
 * Reads the arguments after the command's name. Moves the operands to the front of `arguments`. On a mistake
 * says what is wrong on stderr and returns CLI_WRONG_USAGE; otherwise CLI_DONE.
 */
int cli_parse(const CliCommand *command, size_t count, char **arguments, CliLine *line);

/* True when `word` ("--help") stands among the arguments before any `--`. */
bool cli_asks_for(const char *word, size_t count, char *const *arguments);

/* `help COMMAND`: an example first, then what it does, then its options. */
void cli_print_help(const CliCommand *command);
/* `COMMAND --help`: the same where it fits a screen, otherwise less of it. */
void cli_print_screen(const CliCommand *command);

#endif

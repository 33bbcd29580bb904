/*
 * usage: manual man | man COMMAND | bash | zsh | fish | commands
 *
 * A tool of the build, not installed: prints one page or one completion on standard output.
 */
#include <stdio.h>
#include <string.h>

#include "manual/manual.h"

static int usage(void)
{
    fputs("usage: manual man [COMMAND] | bash | zsh | fish | commands\n", stderr);
    return CLI_WRONG_USAGE;
}

static int page_of(const char *name)
{
    const CliCommand *command = cli_find_command(name);
    if (command == NULL)
        return usage();
    uf_manual_command(stdout, command);
    return CLI_DONE;
}

static int print(int argc, char **argv)
{
    const char *what = argc > 1 ? argv[1] : "";
    if (argc == 3 && strcmp(what, "man") == 0)
        return page_of(argv[2]);
    if (argc != 2)
        return usage();
    if (strcmp(what, "man") == 0)
        uf_manual_program(stdout);
    else if (strcmp(what, "bash") == 0)
        uf_completion_bash(stdout);
    else if (strcmp(what, "zsh") == 0)
        uf_completion_zsh(stdout);
    else if (strcmp(what, "fish") == 0)
        uf_completion_fish(stdout);
    else if (strcmp(what, "commands") == 0)
        for (size_t i = 0; i < cli_command_count; i++)
            puts(cli_commands[i]->name);
    else
        return usage();
    return CLI_DONE;
}

int main(int argc, char **argv)
{
    int status = print(argc, argv);
    return fclose(stdout) == 0 ? status : CLI_FAILED;
}

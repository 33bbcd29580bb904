/* The program: finds the command, reads its line, runs it, and sees to it that the result has arrived. */
#include <ctype.h>
#include <errno.h>
#include <malloc.h>
#include <stdio.h>
#include <unistd.h>

#include "cli/message.h"
#include "cli/nearest.h"
#include "cli/options.h"
#include "cli/signals.h"

static void print_commands(FILE *stream)
{
    fputs("    underfoot patch hall.jpg -o hall-clean.jpg --cap 18\n\n"
          "Covers the tripod in full spherical panoramas, and looks after the pictures.\n\n"
          "usage: underfoot COMMAND ...\n\n",
          stream);
    for (size_t i = 0; i < cli_command_count; i++)
        fprintf(stream, "  %-8s%s\n", cli_commands[i]->name, cli_commands[i]->summary);
    fputs("  help    this page, or with the name of a command all about it\n\n"
          "Every command explains itself on a screen with --help. --version prints the version.\n"
          "Exit status: 0 done, 1 failed, 2 done with warnings, 64 wrong usage.\n",
          stream);
}

/* An option, or a picture, where the command should be. */
static int command_comes_first(const char *name)
{
    if (strcmp(name, "-h") == 0 || strcmp(name, "-v") == 0 || strcmp(name, "-V") == 0)
        return cli_wrong_usage(NULL, "there is no option '%s'; did you mean %s?", name,
                               name[1] == 'h' ? "--help" : "--version");
    if (name[0] == '-')
        return cli_wrong_usage(
            NULL, "there is no option '%s' here; the command comes first, such as underfoot patch", name);
    return cli_wrong_usage(NULL, "'%s' is a file; the command comes first, such as underfoot check %s", name,
                           name);
}

static void write_small(const char *name, char *out, size_t out_bytes)
{
    size_t i = 0;
    for (; name[i] != '\0' && i + 1 < out_bytes; i++)
        out[i] = (char)tolower((unsigned char)name[i]);
    out[i] = '\0';
}

/* The nearest name where one is near, otherwise all of them. */
static int unknown_command(const char *name)
{
    char small[64];
    if (name[0] == '-' || access(name, F_OK) == 0)
        return command_comes_first(name);
    write_small(name, small, sizeof small);
    const char *nearest = NULL;
    size_t best = cli_distance_limit(name) + 1;
    char all[200] = "";
    size_t used = 0;
    for (size_t i = 0; i <= cli_command_count; i++) {
        const char *known = i < cli_command_count ? cli_commands[i]->name : "help";
        const char *join = i == 0 ? "" : i < cli_command_count ? ", " : " and ";
        int wrote = snprintf(all + used, sizeof all - used, "%s%s", join, known);
        used += wrote > 0 && (size_t)wrote < sizeof all - used ? (size_t)wrote : 0;
        size_t distance = cli_distance(small, known);
        if (distance < best) {
            best = distance;
            nearest = known;
        }
    }
    if (nearest != NULL)
        return cli_wrong_usage(NULL, "there is no command '%s'; did you mean '%s'?", name, nearest);
    return cli_wrong_usage(NULL, "there is no command '%s'; there are %s", name, all);
}

static int print_version(void)
{
    puts("underfoot " UF_VERSION);
    return CLI_DONE;
}

static int run_command(const CliCommand *command, size_t count, char **arguments)
{
    if (cli_asks_for("--help", count, arguments)) {
        cli_print_screen(command);
        return CLI_DONE;
    }
    if (cli_asks_for("--version", count, arguments))
        return print_version();
    CliLine line;
    int status = cli_parse(command, count, arguments, &line);
    return status == CLI_DONE ? command->run(&line) : status;
}

/* `help` alone, or with one command's name */
static int run_help(size_t count, char **arguments)
{
    if (count > 1)
        return cli_wrong_usage(NULL, "help takes the name of one command");
    if (count == 0 || strcmp(arguments[0], "help") == 0) {
        print_commands(stdout);
        return CLI_DONE;
    }
    const CliCommand *command = cli_find_command(arguments[0]);
    if (command == NULL)
        return unknown_command(arguments[0]);
    cli_print_help(command);
    return CLI_DONE;
}

static int run(size_t count, char **arguments)
{
    if (count == 0) {
        print_commands(stderr);
        return CLI_WRONG_USAGE;
    }
    const char *name = arguments[0];
    if (strcmp(name, "help") == 0 || strcmp(name, "--help") == 0)
        return run_help(count - 1, arguments + 1);
    if (strcmp(name, "--version") == 0)
        return print_version();
    const CliCommand *command = cli_find_command(name);
    return command == NULL ? unknown_command(name) : run_command(command, count - 1, arguments + 1);
}

/* A full disk behind stdout shows only when the buffer is flushed. */
static int finish_output(int status)
{
    bool failed = ferror(stdout) != 0;
    errno = 0;
    if (fclose(stdout) != 0)
        failed = true;
    if (!failed)
        return status;
    return cli_failed("the result cannot be written to standard output%s%s", errno != 0 ? ": " : "",
                      errno != 0 ? strerror(errno) : "");
}

/*
 * Pictures and their bands go back to the system when they are freed. By itself glibc keeps what is as large
 * as the largest that was freed before, up to 32 MiB, and hands it out in pieces.
 */
#define MAPPED_FROM_BYTES (1 << 20)

static void return_large_memory(void)
{
#ifdef M_MMAP_THRESHOLD
    (void)mallopt(M_MMAP_THRESHOLD, MAPPED_FROM_BYTES);
#endif
}

int main(int argc, char **argv)
{
    return_large_memory();
    cli_catch_signals();
    int status = run(argc > 1 ? (size_t)argc - 1 : 0, argv + 1);
    return finish_output(status);
}

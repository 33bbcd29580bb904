/*
 * The page of a command, made from its table: an example, what it does, its options. `--help` fits a terminal
 * of 24 lines of 80 columns, the prompt included: where the whole page does not, options that complete
 * another stand behind it, and the common ones in one list.
 */
#include <stdio.h>

#include "cli/options.h"

#define OPTION_COLUMN 24
#define COLUMNS       80
#define SCREEN_LINES  23

/* "--cap DEG" */
static void write_option(const CliOption *option, char *text, size_t text_bytes)
{
    snprintf(text, text_bytes, "--%s%s%s", option->name, option->argument != NULL ? " " : "",
             option->argument != NULL ? option->argument : "");
}

/* "-o OUT" where there is a letter */
static void write_shortly(const CliOption *option, char *text, size_t text_bytes)
{
    if (option->letter == 0)
        write_option(option, text, text_bytes);
    else
        snprintf(text, text_bytes, "-%c %s", option->letter, option->argument);
}

static void print_option(FILE *out, const CliOption *option)
{
    char left[64], text[56];
    write_option(option, text, sizeof text);
    if (option->letter != 0)
        snprintf(left, sizeof left, "-%c, %s", option->letter, text);
    else
        snprintf(left, sizeof left, "%s", text);
    fprintf(out, "  %-*s%s%s\n", OPTION_COLUMN - 2, left, strlen(left) < OPTION_COLUMN - 2 ? "" : " ",
            option->help);
}

/* A list of options that breaks between them. */
typedef struct List {
    FILE *out;
    size_t column;
    const char *indent, *before; /* of each line; of the next option */
} List;

static void print_item(List *list, const char *text)
{
    size_t length = strlen(list->before) + strlen(text);
    if (list->column + length >= COLUMNS) { /* a comma may follow */
        fprintf(list->out, "%.1s\n%s%s", list->before, list->indent, text);
        list->column = strlen(list->indent) + strlen(text);
    } else {
        fprintf(list->out, "%s%s", list->before, text);
        list->column += length;
    }
    list->before = ", ";
}

static void print_listed(List *list, const CliOption *option)
{
    char text[56];
    write_shortly(option, text, sizeof text);
    print_item(list, text);
}

/* The options that complete `option`, below it. */
static void print_companions(FILE *out, const CliCommand *command, const CliOption *option)
{
    List list = {.out = out, .indent = "                        ", .before = "                        with "};
    for (size_t id = CLI_COMMON_COUNT; id < cli_option_count(command); id++) {
        const CliOption *other = cli_option(command, id);
        if (other->with != NULL && strcmp(other->with, option->name) == 0)
            print_listed(&list, other);
    }
    if (list.column > 0)
        putc('\n', out);
}

static void print_own(FILE *out, const CliCommand *command, bool whole)
{
    for (size_t id = CLI_COMMON_COUNT; id < cli_option_count(command); id++) {
        const CliOption *option = cli_option(command, id);
        if (!whole && option->with != NULL)
            continue;
        print_option(out, option);
        if (!whole)
            print_companions(out, command, option);
    }
    if (cli_option_count(command) > CLI_COMMON_COUNT)
        putc('\n', out);
}

static bool is_shown(const CliCommand *command, size_t id)
{
    return cli_option(command, id) != NULL && id != CLI_HELP && id != CLI_VERSION;
}

static void print_common(FILE *out, const CliCommand *command)
{
    for (size_t id = 0; id < CLI_COMMON_COUNT; id++)
        if (is_shown(command, id))
            print_option(out, cli_option(command, id));
}

static void list_common(FILE *out, const CliCommand *command)
{
    List list = {.out = out, .indent = "  ", .before = "  "};
    for (size_t id = 0; id < CLI_COMMON_COUNT; id++)
        if (is_shown(command, id))
            print_listed(&list, cli_option(command, id));
    char text[56];
    snprintf(text, sizeof text, "'underfoot help %s' explains them", command->name);
    list.before = "; ";
    print_item(&list, text);
    putc('\n', out);
}

static void print_page(FILE *out, const CliCommand *command, bool whole)
{
    fprintf(out, "    %s\n\n%s%s\nusage: underfoot %s %s\n\n", command->example, command->about,
            whole && command->more != NULL ? command->more : "", command->name, command->operands);
    print_own(out, command, whole);
    if (whole)
        print_common(out, command);
    else
        list_common(out, command);
}

static size_t count_lines(const char *text)
{
    size_t lines = 0;
    for (; *text != '\0'; text++)
        lines += *text == '\n';
    return lines;
}

void cli_print_help(const CliCommand *command)
{
    print_page(stdout, command, true);
}

void cli_print_screen(const CliCommand *command)
{
    char *text = NULL;
    size_t bytes = 0;
    FILE *page = open_memstream(&text, &bytes);
    bool fits = false;
    if (page != NULL) {
        print_page(page, command, true);
        fits = fclose(page) == 0 && count_lines(text) <= SCREEN_LINES;
    }
    free(text);
    print_page(stdout, command, fits);
}

/*
 * Completions for bash (complete -F), zsh (_arguments) and fish (complete), all from the same table:
 * commands, then the options of the command that was typed, then the words that an option takes or file
 * names.
 */
#include "manual/manual.h"

#include <string.h>

#include "cli/options.h"

typedef void EachOption(FILE *out, const CliCommand *command, const CliOption *option);

static void each_option(FILE *out, const CliCommand *command, EachOption *print)
{
    for (size_t id = 0; id < cli_option_count(command); id++)
        if (cli_option(command, id) != NULL)
            print(out, command, cli_option(command, id));
}

static void command_names(FILE *out)
{
    for (size_t i = 0; i < cli_command_count; i++)
        fprintf(out, "%s%s", i > 0 ? " " : "", cli_commands[i]->name);
}

static void words(FILE *out, const CliOption *option, const char *separator)
{
    for (size_t i = 0; i < CLI_WORDS && option->words[i] != NULL; i++)
        fprintf(out, "%s%s", i > 0 ? separator : "", option->words[i]);
}

/* Inside single quotes of a shell: it's -> it'\''s; with `colon`, what zsh's _arguments would take for its
 * own marks is escaped. */
static void quoted(FILE *out, const char *text, const char *marks)
{
    for (const char *c = text; *c != '\0'; c++) {
        if (strchr(marks, *c) != NULL)
            putc('\\', out);
        fputs(*c == '\'' ? "'\\''" : (const char[]){*c, '\0'}, out);
    }
}

static void bash_name(FILE *out, const CliCommand *command, const CliOption *option)
{
    (void)command;
    fprintf(out, " --%s", option->name);
}

/* What may follow an option: nothing but its words, or file names. */
static void bash_value(FILE *out, const CliCommand *command, const CliOption *option)
{
    if (option->kind == CLI_FLAG)
        return;
    fprintf(out, "        %s:--%s", command->name, option->name);
    if (option->letter != 0)
        fprintf(out, "|%s:-%c", command->name, option->letter);
    if (option->kind == CLI_FILE) {
        fputs(") compopt -o filenames; COMPREPLY=($(compgen -f -- \"$word\")); return ;;\n", out);
        return;
    }
    fputs(") COMPREPLY=($(compgen -W '", out);
    words(out, option, " ");
    fputs("' -- \"$word\")); return ;;\n", out);
}

void uf_completion_bash(FILE *out)
{
    fputs("# bash completion for underfoot\n_underfoot()\n{\n"
          "    local word=${COMP_WORDS[COMP_CWORD]} command=${COMP_WORDS[1]} options=\n"
          "    COMPREPLY=()\n"
          "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n        COMPREPLY=($(compgen -W 'help ",
          out);
    command_names(out);
    fputs(" --help --version' -- \"$word\"))\n        return\n    fi\n"
          "    case $command:${COMP_WORDS[COMP_CWORD - 1]} in\n",
          out);
    for (size_t i = 0; i < cli_command_count; i++)
        each_option(out, cli_commands[i], bash_value);
    fputs("    esac\n    case $command in\n        help) options='", out);
    command_names(out);
    fputs("' ;;\n", out);
    for (size_t i = 0; i < cli_command_count; i++) {
        fprintf(out, "        %s) options='", cli_commands[i]->name);
        each_option(out, cli_commands[i], bash_name);
        fputs("' ;;\n", out);
    }
    fputs(
        "    esac\n"
        "    if [ \"$command\" = help ] || [ \"${word#-}\" != \"$word\" ]; then\n"
        "        COMPREPLY=($(compgen -W \"$options\" -- \"$word\"))\n"
        "    else\n        compopt -o filenames\n        COMPREPLY=($(compgen -f -- \"$word\"))\n    fi\n}\n"
        "complete -F _underfoot underfoot\n",
        out);
}

/* --name[help]:ARGUMENT:(words) or :_files */
static void zsh_option(FILE *out, const CliCommand *command, const CliOption *option)
{
    (void)command;
    fputs("                '", out);
    if (option->letter != 0)
        fprintf(out, "(-%c --%s)'{-%c,--%s}'", option->letter, option->name, option->letter, option->name);
    else
        fprintf(out, "--%s", option->name);
    putc('[', out);
    quoted(out, option->help, "[]:\\");
    putc(']', out);
    if (option->kind != CLI_FLAG) {
        putc(':', out);
        quoted(out, option->argument != NULL ? option->argument : "value", "[]:\\");
        putc(':', out);
        if (option->kind == CLI_FILE)
            fputs("_files", out);
        else if (option->words[0] != NULL) {
            putc('(', out);
            words(out, option, " ");
            putc(')', out);
        }
    }
    fputs("' \\\n", out);
}

void uf_completion_zsh(FILE *out)
{
    fputs("#compdef underfoot\n\n_underfoot()\n{\n    local -a commands\n    commands=(\n", out);
    for (size_t i = 0; i < cli_command_count; i++) {
        fprintf(out, "        '%s:", cli_commands[i]->name);
        quoted(out, cli_commands[i]->summary, ":\\");
        fputs("'\n", out);
    }
    fputs("        'help:the page of a command'\n    )\n"
          "    if (( CURRENT == 2 )); then\n        _describe command commands\n        return\n    fi\n"
          "    local command=$words[2]\n    shift words\n    (( CURRENT-- ))\n    case $command in\n"
          "        help)\n            _describe command commands ;;\n",
          out);
    for (size_t i = 0; i < cli_command_count; i++) {
        fprintf(out, "        %s)\n            _arguments -S \\\n", cli_commands[i]->name);
        each_option(out, cli_commands[i], zsh_option);
        fputs("                '*:file:_files' ;;\n", out);
    }
    fputs("    esac\n}\n\n_underfoot \"$@\"\n", out);
}

static void fish_option(FILE *out, const CliCommand *command, const CliOption *option)
{
    fprintf(out, "complete -c underfoot -n '__fish_seen_subcommand_from %s' -l %s", command->name,
            option->name);
    if (option->letter != 0)
        fprintf(out, " -s %c", option->letter);
    if (option->kind == CLI_FILE)
        fputs(" -rF", out);
    else if (option->kind != CLI_FLAG)
        fputs(" -x", out);
    if (option->words[0] != NULL) {
        fputs(" -a '", out);
        words(out, option, " ");
        putc('\'', out);
    }
    fputs(" -d '", out);
    quoted(out, option->help, "\\");
    fputs("'\n", out);
}

void uf_completion_fish(FILE *out)
{
    fputs("# fish completion for underfoot\n", out);
    for (size_t i = 0; i < cli_command_count; i++) {
        fprintf(out, "complete -c underfoot -n __fish_use_subcommand -f -a %s -d '", cli_commands[i]->name);
        quoted(out, cli_commands[i]->summary, "\\");
        fputs("'\n", out);
    }
    fputs("complete -c underfoot -n __fish_use_subcommand -f -a help -d 'the page of a command'\n"
          "complete -c underfoot -n '__fish_seen_subcommand_from help' -f -a '",
          out);
    command_names(out);
    fputs("'\n", out);
    for (size_t i = 0; i < cli_command_count; i++)
        each_option(out, cli_commands[i], fish_option);
}

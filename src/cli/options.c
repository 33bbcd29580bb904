/* The command line against a command's table of options. */
#include "cli/options.h"

#include <ctype.h>

#include "cli/message.h"
#include "cli/unknown_option.h"
#include "cli/values.h"

static const CliOption common_options[CLI_COMMON_COUNT] = {
    [CLI_OUT] = {.name = "out",
                 .letter = 'o',
                 .kind = CLI_FILE,
                 .argument = "OUT",
                 .help = "the file or folder to write"},
    [CLI_OVERWRITE] = {.name = "overwrite", .help = "replace OUT when it is there already"},
    [CLI_SAMPLING] = {.name = "sampling",
                      .kind = CLI_WORD,
                      .argument = "HOW",
                      .words = {"bicubic", "bilinear", "sharp"},
                      .help = "bicubic, bilinear or sharp"},
    [CLI_QUALITY] = {.name = "quality",
                     .kind = CLI_COUNT,
                     .argument = "Q",
                     .range = {1, 100, false, false},
                     .help = "JPEG quality 1 to 100 (default 92)"},
    [CLI_DEPTH] = {.name = "depth",
                   .kind = CLI_WORD,
                   .argument = "BITS",
                   .words = {"8", "16"},
                   .help = "8 or 16 bits a sample (default: as the input)"},
    [CLI_THREADS] = {.name = "threads",
                     .kind = CLI_COUNT,
                     .argument = "N",
                     .range = {1, 1024, false, false},
                     .help = "cores to use (default: all)"},
    [CLI_MAX_MEMORY] = {.name = "max-memory",
                        .kind = CLI_BYTES,
                        .argument = "SIZE",
                        .range = {1, 9e15, false, false},
                        .help = "refuse what needs more, as 500M (default: 3/4 of all)"},
    [CLI_JSON] = {.name = "json", .help = "the result as JSON on standard output"},
    [CLI_QUIET] = {.name = "quiet", .help = "no progress, no text of warnings"},
    [CLI_HELP] = {.name = "help", .help = "this page"},
    [CLI_VERSION] = {.name = "version", .help = "the version of the program"},
};

size_t cli_option_count(const CliCommand *command)
{
    size_t own = 0;
    while (own < CLI_OWN_MAX && command->own[own].name != NULL)
        own++;
    return CLI_COMMON_COUNT + own;
}

const CliOption *cli_option(const CliCommand *command, size_t id)
{
    unsigned always = CLI_TAKES(CLI_HELP) | CLI_TAKES(CLI_VERSION);
    if (id >= CLI_COMMON_COUNT)
        return id < cli_option_count(command) ? &command->own[id - CLI_COMMON_COUNT] : NULL;
    return ((command->common | always) & CLI_TAKES(id)) != 0 ? &common_options[id] : NULL;
}

bool cli_asks_for(const char *word, size_t count, char *const *arguments)
{
    for (size_t i = 0; i < count && strcmp(arguments[i], "--") != 0; i++)
        if (strcmp(arguments[i], word) == 0)
            return true;
    return false;
}

/* The id of the option with that name of `length` bytes; cli_option_count for none. */
static size_t find_long(const CliCommand *command, const char *name, size_t length)
{
    size_t count = cli_option_count(command);
    for (size_t id = 0; id < count; id++) {
        const CliOption *option = cli_option(command, id);
        if (option != NULL && strlen(option->name) == length && memcmp(option->name, name, length) == 0)
            return id;
    }
    return count;
}

static size_t find_letter(const CliCommand *command, char letter)
{
    size_t count = cli_option_count(command);
    for (size_t id = 0; id < count; id++) {
        const CliOption *option = cli_option(command, id);
        if (option != NULL && option->letter == letter)
            return id;
    }
    return count;
}

/* One option as it stands on the line. */
typedef struct Found {
    const CliOption *option;
    CliValue *value;
    const char *text; /* the value that is part of the argument itself, or NULL */
} Found;

static int refuse_stream(const CliCommand *command)
{
    return cli_wrong_usage(command, "'-' is no file; pictures are read from and written to files by name");
}

/* -o, -oFILE; false when it was refused */
static bool find_short_option(const CliCommand *command, const char *argument, CliLine *line, Found *out)
{
    size_t id = find_letter(command, argument[1]);
    const CliOption *option = cli_option(command, id);
    /* -out, -overwrite: no -o with a file "ut" */
    bool is_long = strlen(argument) > 2 &&
                   find_long(command, argument + 1, strcspn(argument + 1, "=")) < cli_option_count(command);
    if (argument[1] == '\0') {
        refuse_stream(command);
    } else if (option == NULL || is_long) {
        cli_unknown_option(command, argument);
    } else if (argument[2] == '=') {
        cli_wrong_usage(command, "write -%c FILE or --%s=FILE, not %s", argument[1], option->name, argument);
    } else {
        *out = (Found){option, &line->values[id], argument[2] != '\0' ? argument + 2 : NULL};
        return true;
    }
    return false;
}

/* --name, --name=value; false when it was refused */
static bool find_long_option(const CliCommand *command, const char *argument, CliLine *line, Found *out)
{
    const char *name = argument + 2;
    size_t length = strcspn(name, "=");
    size_t id = find_long(command, name, length);
    const CliOption *option = cli_option(command, id);
    if (option == NULL) {
        cli_unknown_option(command, argument);
        return false;
    }
    *out = (Found){option, &line->values[id], name[length] == '=' ? name + length + 1 : NULL};
    return true;
}

/* A value in an argument of its own may begin with a dash only where it is a number. */
static bool looks_like_option(const CliOption *option, const char *text)
{
    if (text[0] != '-')
        return false;
    bool number = isdigit((unsigned char)text[1]) || text[1] == '.';
    return option->kind == CLI_FILE || option->kind == CLI_TEXT || !number;
}

/* Says what it could be, and of a colour how it gets past the shell. */
static int needs_value(const CliCommand *command, const CliOption *option)
{
    char problem[CLI_PROBLEM_BYTES] = "";
    CliValue none;
    if (option->kind == CLI_FILE || option->kind == CLI_TEXT || cli_read_value(option, "", &none, problem))
        return cli_wrong_usage(command, "--%s needs a value: --%s %s", option->name, option->name,
                               option->argument);
    return cli_wrong_usage(
        command, "--%s needs a value: --%s %s; %s%s", option->name, option->name, option->argument, problem,
        option->kind == CLI_COLOUR ? ", in quotes, because a shell takes # for a comment" : "");
}

static int take_value(const CliCommand *command, const Found *found, const char *next, bool *used_next)
{
    const CliOption *option = found->option;
    char problem[CLI_PROBLEM_BYTES];
    const char *text = found->text;
    if (found->value->given)
        return cli_wrong_usage(command, "--%s is given twice; give it once", option->name);
    if (option->kind == CLI_FLAG) {
        if (text != NULL)
            return cli_wrong_usage(command, "--%s takes no value", option->name);
        *found->value = (CliValue){.given = true, .word = -1};
        return CLI_DONE;
    }
    *used_next = text == NULL;
    if (text == NULL && next == NULL)
        return needs_value(command, option);
    if (text == NULL && strcmp(next, "-") == 0 && option->kind == CLI_FILE)
        return refuse_stream(command);
    if (text == NULL && looks_like_option(option, next))
        return cli_wrong_usage(command,
                               "--%s needs a value, but %s follows; a value that begins with a dash is "
                               "written --%s=%s",
                               option->name, next, option->name, next);
    text = text == NULL ? next : text;
    if (!cli_read_value(option, text, found->value, problem))
        return cli_wrong_usage(command, "--%s '%s': %s", option->name, text, problem);
    return CLI_DONE;
}

/* What somebody meant who gave one operand too many. */
static const char *advise_on_operand(const CliCommand *command, const CliLine *line, const char *operand)
{
    if (operand[0] == '-')
        return "behind -- everything is the name of a file, so options come before it";
    if (cli_option(command, CLI_OUT) != NULL && !line->values[CLI_OUT].given)
        return "what is to be written comes behind -o";
    return "a name with blanks in it goes into quotes, and 'underfoot tour' takes whole folders";
}

static int check_operands(const CliCommand *command, const CliLine *line)
{
    if (line->operand_count < command->least_operands)
        return cli_wrong_usage(command, "%s is given: underfoot %s %s",
                               line->operand_count == 0 ? "no picture" : "only one picture", command->name,
                               command->operands);
    if (line->operand_count > command->most_operands)
        return cli_wrong_usage(command, "one at a time, but '%s' is given as well; %s",
                               line->operands[command->most_operands],
                               advise_on_operand(command, line, line->operands[command->most_operands]));
    for (size_t i = 0; i < line->operand_count; i++)
        if (line->operands[i][0] == '\0')
            return cli_wrong_usage(command, "the name of a picture is empty");
    return CLI_DONE;
}

int cli_parse(const CliCommand *command, size_t count, char **arguments, CliLine *line)
{
    *line = (CliLine){.command = command, .operands = arguments};
    bool options_ended = false;
    for (size_t i = 0; i < count; i++) {
        char *argument = arguments[i];
        if (options_ended || argument[0] != '-') {
            arguments[line->operand_count++] = argument;
            continue;
        }
        if (strcmp(argument, "--") == 0) {
            options_ended = true;
            continue;
        }
        Found found;
        bool used_next = false;
        bool known = argument[1] == '-' ? find_long_option(command, argument, line, &found)
                                        : find_short_option(command, argument, line, &found);
        if (!known)
            return CLI_WRONG_USAGE;
        int status = take_value(command, &found, i + 1 < count ? arguments[i + 1] : NULL, &used_next);
        if (status != CLI_DONE)
            return status;
        i += used_next;
    }
    return check_operands(command, line);
}

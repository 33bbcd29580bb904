/* What somebody meant by an option that is none: of another command, by its letter, by its spelling. */
#include "cli/unknown_option.h"

#include <ctype.h>
#include <unistd.h>

#include "cli/message.h"
#include "cli/nearest.h"
#include "cli/options.h"

#define NAME_BYTES  48
#define LIST_BYTES  200
#define SUGGESTIONS 3 /* more than that is no advice */

/* "a", "a or b", "a, b or c", in the order in which they are added. */
typedef struct List {
    const char *names[CLI_COMMANDS_MAX];
    size_t count;
} List;

static void write_list(const List *list, const char *before, const char *after, const char *last, char *text)
{
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < list->count && used < LIST_BYTES; i++) {
        const char *join = i == 0 ? "" : i + 1 < list->count ? ", " : last;
        int wrote = snprintf(text + used, LIST_BYTES - used, "%s%s%s%s", join, before, list->names[i], after);
        used += wrote > 0 ? (size_t)wrote : 0;
    }
}

/* The option of that name, whatever its id; NULL for none. */
static const CliOption *find(const CliCommand *command, const char *name)
{
    for (size_t id = 0; id < cli_option_count(command); id++) {
        const CliOption *option = cli_option(command, id);
        if (option != NULL && strcmp(option->name, name) == 0)
            return option;
    }
    return NULL;
}

/* The commands that have that option; in a tour those that a job sheet may name. */
static const CliOption *find_elsewhere(const CliCommand *command, const char *name, List *owners)
{
    bool is_tour = strcmp(command->name, "tour") == 0;
    const CliOption *found = NULL;
    for (size_t i = 0; i < cli_command_count; i++) {
        const CliOption *option = find(cli_commands[i], name);
        if (option == NULL || (is_tour && !uf_tour_has_step(cli_commands[i]->name)))
            continue;
        found = option;
        owners->names[owners->count++] = cli_commands[i]->name;
    }
    return found;
}

/* "-o", "-oFILE", "--out", "--out=FILE" where there is no output */
static bool asks_for_output(const CliCommand *command, const char *argument, const char *name)
{
    return command->no_out != NULL &&
           (strcmp(name, "out") == 0 || (argument[1] == 'o' && argument[0] == '-'));
}

static void say_where_it_belongs(const CliCommand *command, const CliOption *option, const List *owners)
{
    char list[LIST_BYTES];
    if (strcmp(command->name, "tour") == 0) {
        write_list(owners, "[", "]", " or ", list);
        cli_wrong_usage(
            command,
            "--%s is no option of the tour itself; it belongs into the job sheet, as a line '%s = "
            "%s' under %s",
            option->name, option->name, option->kind == CLI_FLAG ? "yes" : option->argument, list);
        return;
    }
    write_list(owners, "", "", " and ", list);
    cli_wrong_usage(command, "there is no option --%s here; it is one of %s", option->name, list);
}

/* Options of the command that begin with that letter: the common ones, the last first, then its own. */
static void by_letter(const CliCommand *command, char letter, List *out)
{
    size_t count = cli_option_count(command);
    for (size_t i = 0; i < count && out->count < SUGGESTIONS; i++) {
        size_t id = i < CLI_COMMON_COUNT ? CLI_COMMON_COUNT - 1 - i : i;
        const CliOption *option = cli_option(command, id);
        if (option != NULL && option->name[0] == tolower((unsigned char)letter))
            out->names[out->count++] = option->name;
    }
}

static void by_spelling(const CliCommand *command, const char *name, List *out)
{
    size_t best = cli_distance_limit(name) + 1;
    for (size_t id = 0; id < cli_option_count(command); id++) {
        const CliOption *option = cli_option(command, id);
        size_t distance = option == NULL ? best : cli_distance(name, option->name);
        if (option != NULL && strlen(name) > 1 && strncmp(name, option->name, strlen(name)) == 0)
            distance = 0; /* cut short */
        if (distance < best) {
            best = distance;
            out->names[0] = option->name;
            out->count = 1;
        }
    }
}

void cli_unknown_option(const CliCommand *command, const char *argument)
{
    char name[NAME_BYTES];
    const char *bare = argument + (argument[1] == '-' ? 2 : 1);
    snprintf(name, sizeof name, "%.*s", (int)strcspn(bare, "="), bare);
    List owners = {0}, near = {0};
    if (asks_for_output(command, argument, name)) {
        cli_wrong_usage(command, "there is no option %s here; %s", argument, command->no_out);
        return;
    }
    if (access(argument, F_OK) == 0) {
        cli_wrong_usage(command, "%s is no option; the file of that name is written ./%s", argument,
                        argument);
        return;
    }
    const CliOption *elsewhere = find(command, name) == NULL ? find_elsewhere(command, name, &owners) : NULL;
    if (elsewhere != NULL) {
        say_where_it_belongs(command, elsewhere, &owners);
        return;
    }
    bool is_letter = argument[1] != '-' && isalpha((unsigned char)name[1]) == 0;
    if (is_letter)
        by_letter(command, name[0], &near);
    else
        by_spelling(command, name, &near);
    char list[LIST_BYTES];
    write_list(&near, "--", "", " or ", list);
    if (near.count == 0)
        cli_wrong_usage(command, "there is no option %s", argument);
    else
        cli_wrong_usage(command, "there is no option %s; did you mean %s?", argument, list);
}

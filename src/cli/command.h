/*
 * What a command of the program is. A new one is one file with a CliCommand in it and one line in commands.c.
 *
 * The program uses the public library only (<underfoot/...>); base/banned.h is here for its compile errors.
 */
#ifndef UF_CLI_COMMAND_H
#define UF_CLI_COMMAND_H

#include <stdbool.h>
#include <stddef.h>

#include <underfoot/underfoot.h>

#include "base/banned.h"

/* Exit status. 64 is EX_USAGE of BSD's sysexits.h. */
enum { CLI_DONE = 0, CLI_FAILED = 1, CLI_WARNED = 2, CLI_WRONG_USAGE = 64 };

/* How an option's value is read. Every kind but FLAG may also take one of the option's words. */
typedef enum CliKind {
    CLI_FLAG = 0, /* no value */
    CLI_WORD,     /* one of the words and nothing else */
    CLI_FILE,     /* the name of a file, not empty */
    CLI_TEXT,     /* text, not empty */
    CLI_ANGLE,    /* 12.5 or 12.5deg: number */
    CLI_COUNT,    /* a whole number: number */
    CLI_BYTES,    /* 500M, 8G; powers of 1024: number */
    CLI_NUMBER,   /* 1.65: number */
    CLI_SUN,      /* 130,42: azimuth and elevation in degrees: number, second */
    CLI_SIZE,     /* 1600x900: width_px, height_px */
    CLI_COLOUR    /* #RRGGBB or #RGB: colour */
} CliKind;

/* Limits of a number; none when low and high are equal. */
typedef struct CliRange {
    double low, high;
    bool without_low, without_high; /* the limit itself is refused */
} CliRange;

#define CLI_WORDS 4

typedef struct CliOption {
    const char *name; /* without the dashes */
    char letter;      /* -o; 0 for none */
    CliKind kind;
    const char *argument; /* how --help names the value: "DEG", "WxH" */
    const char *words[CLI_WORDS];
    CliRange range;
    const char *help; /* one line */
    const char *with; /* the option that it completes, or NULL */
} CliOption;

typedef struct CliValue {
    bool given;
    int word; /* index of the word that was given, -1 when it was none */
    double number, second;
    size_t width_px, height_px;
    double colour[3]; /* 0..1 */
    const char *text; /* as it was written; NULL when not given */
} CliValue;

/* Options that mean the same in every command; a command names those that it takes. Its own come after. */
enum {
    CLI_OUT = 0,
    CLI_OVERWRITE,
    CLI_SAMPLING,
    CLI_QUALITY,
    CLI_DEPTH,
    CLI_THREADS,
    CLI_MAX_MEMORY,
    CLI_JSON,
    CLI_QUIET,
    CLI_HELP,
    CLI_VERSION,
    CLI_COMMON_COUNT
};

#define CLI_TAKES(id)   (1u << (unsigned)(id))
#define CLI_OWN_MAX     24
#define CLI_VALUE_COUNT (CLI_COMMON_COUNT + CLI_OWN_MAX)

typedef struct CliLine CliLine;

typedef struct CliCommand {
    const char *name;
    const char *summary;  /* one line for `underfoot help` */
    const char *example;  /* the command's page begins with it */
    const char *operands; /* "PANO -o OUT" */
    size_t least_operands, most_operands;
    const char *about;    /* a few lines for --help, each ended by \n */
    const char *more;     /* lines of it for which a screen has no room, or NULL */
    const char *no_out;   /* without --out: where the result goes, for who gives it; otherwise NULL */
    unsigned common;      /* CLI_TAKES(...) of the common options; --help and --version always are */
    const CliOption *own; /* ended by one without a name; value number i is values[CLI_COMMON_COUNT + i] */
    int (*check)(const CliLine *line); /* what can be refused by the line alone; or NULL */
    int (*run)(const CliLine *line);
} CliCommand;

/* A command line that was read and found right. Everything is borrowed from argv. */
struct CliLine {
    const CliCommand *command;
    CliValue values[CLI_VALUE_COUNT];
    char **operands;
    size_t operand_count;
};

#define CLI_COMMANDS_MAX 16

/* All commands, in the order of `underfoot help`. */
extern const CliCommand *const cli_commands[];
extern const size_t cli_command_count;
/* NULL when there is none of that name. */
const CliCommand *cli_find_command(const char *name);

#endif

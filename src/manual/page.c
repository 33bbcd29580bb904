/* Manual pages, in the man macros (groff_man(7)). */
#include "manual/manual.h"

#include <ctype.h>
#include <string.h>

#include "cli/options.h"

/* Text in which nothing is markup: backslashes, dashes and a dot or quote that begins a line are written so.
 */
static void put_text(FILE *out, const char *text)
{
    bool starts = true;
    for (const char *c = text; *c != '\0'; c++) {
        if (starts && (*c == '.' || *c == '\''))
            fputs("\\&", out);
        if (*c == '\\')
            fputs("\\e", out);
        else if (*c == '-')
            fputs("\\-", out);
        else
            putc(*c, out);
        starts = *c == '\n';
    }
}

static void put_line(FILE *out, const char *before, const char *text, const char *after)
{
    fputs(before, out);
    put_text(out, text);
    fputs(after, out);
}

/* The date is the version's, not the build's: the same source makes the same page. */
static void head(FILE *out, const char *title, const char *name, const char *summary)
{
    fputs(".TH ", out);
    for (const char *c = title; *c != '\0'; c++)
        putc(toupper((unsigned char)*c), out);
    fprintf(out, " 1 %s \"underfoot %s\" \"User Commands\"\n", UF_VERSION_DATE, UF_VERSION);
    put_line(out, ".SH NAME\n", name, " \\- ");
    put_line(out, "", summary, "\n");
}

static void option(FILE *out, const CliOption *option)
{
    fputs(".TP\n", out);
    if (option->letter != 0)
        fprintf(out, "\\fB\\-%c\\fR, ", option->letter);
    put_line(out, "\\fB\\-\\-", option->name, "\\fR");
    if (option->argument != NULL)
        put_line(out, " \\fI", option->argument, "\\fR");
    put_line(out, "\n", option->help, "\n");
}

static void options(FILE *out, const CliCommand *command)
{
    size_t count = cli_option_count(command);
    fputs(".SH OPTIONS\n", out);
    for (size_t id = CLI_COMMON_COUNT; id < count; id++)
        option(out, cli_option(command, id));
    for (size_t id = 0; id < CLI_COMMON_COUNT; id++)
        if (cli_option(command, id) != NULL)
            option(out, cli_option(command, id));
}

static void exit_status(FILE *out)
{
    fputs(".SH EXIT STATUS\n.TP\n0\ndone\n.TP\n1\nfailed; no output was written\n.TP\n2\ndone with warnings\n"
          ".TP\n64\nwrong usage\n",
          out);
}

void uf_manual_command(FILE *out, const CliCommand *command)
{
    char name[40];
    snprintf(name, sizeof name, "underfoot-%s", command->name);
    head(out, name, name, command->summary);
    put_line(out, ".SH SYNOPSIS\n\\fBunderfoot ", command->name, "\\fR ");
    put_line(out, "", command->operands, " [OPTION]...\n");
    put_line(out, ".SH DESCRIPTION\n", command->about, "");
    if (command->more != NULL)
        put_text(out, command->more);
    put_line(out, ".SH EXAMPLE\n.nf\n", command->example, "\n.fi\n");
    options(out, command);
    exit_status(out);
    fputs(".SH SEE ALSO\n.BR underfoot (1)\n", out);
}

void uf_manual_program(FILE *out)
{
    head(out, "underfoot", "underfoot",
         "cover the tripod in full spherical panoramas, and look after the pictures");
    fputs(".SH SYNOPSIS\n\\fBunderfoot\\fR COMMAND [OPTION]... [FILE]...\n.br\n"
          "\\fBunderfoot help\\fR [COMMAND]\n"
          ".SH DESCRIPTION\nWorks on stitched 2:1 equirectangular pictures (JPEG, PNG, TIFF). Each command "
          "has a\n"
          "page of its own. Outputs appear whole or not at all, inputs are never changed.\n"
          ".SH COMMANDS\n",
          out);
    for (size_t i = 0; i < cli_command_count; i++) {
        put_line(out, ".TP\n.BR underfoot\\-", cli_commands[i]->name, " (1)\n");
        put_line(out, "", cli_commands[i]->summary, "\n");
    }
    exit_status(out);
    fputs(
        ".SH CAUTIONS\nA pole or mast near overhead lines can kill, a tripod in a walkway trips people, and\n"
        "looking at the sun through a camera blinds. Local rules and licensed practice decide.\n"
        ".SH SEE ALSO\n",
        out);
    for (size_t i = 0; i < cli_command_count; i++)
        fprintf(out, ".BR underfoot\\-%s (1)%s\n", cli_commands[i]->name,
                i + 1 < cli_command_count ? "," : "");
}

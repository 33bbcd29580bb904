/*
 * What is made from the table of commands and options when the program is packaged: manual pages and the
 * shells' completions. A page or a completion never says anything that the program does not.
 */
#ifndef UF_MANUAL_MANUAL_H
#define UF_MANUAL_MANUAL_H

#include <stdio.h>

#include "cli/command.h"

/* underfoot(1), and underfoot-COMMAND(1), in the man macros of groff_man(7). */
void uf_manual_program(FILE *out);
void uf_manual_command(FILE *out, const CliCommand *command);

void uf_completion_bash(FILE *out);
void uf_completion_zsh(FILE *out);
void uf_completion_fish(FILE *out);

#endif

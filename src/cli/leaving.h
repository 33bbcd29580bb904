/* A picture that is coded and written while its lower rows are still being made. */
#ifndef UF_CLI_LEAVING_H
#define UF_CLI_LEAVING_H

#include <underfoot/remap.h>

#include "cli/aside.h"
#include "cli/rows.h"

typedef struct CliLeaving {
    CliAside aside;
    CliRows rows;
    UfWriteOptions write; /* what the work writes with: it waits for the rows */
    UfReport *report;     /* of the work */
    CliAsideWork *work;
    void *data;
    bool has_begun;
} CliLeaving;

/*
 * `work` will write cli_rows_picture(&out->rows) in a thread of its own: it gets `data`, and sees the last
 * row when cli_leaving_go has been called. `out` stays where it is until cli_leaving_wait or
 * cli_leaving_drop, one of which has to follow.
 */
void cli_leaving_open(CliLeaving *out, const UfWriteOptions *write, CliAsideWork *work, void *data);
/* Lets the work begin when the first rows of the target are told of, but with one thread. */
void cli_leaving_listen(CliLeaving *leaving, UfRemapRows *rows);
/* All of it is made, and may be written to its end. */
void cli_leaving_go(CliLeaving *leaving, UfPicture *picture);
/* Returns what the work returned; what was said is added to `report`. */
UfStatus cli_leaving_wait(CliLeaving *leaving, UfReport *report);
/* Where the picture, or another one before it, did not come to its end: no file is left. */
void cli_leaving_drop(CliLeaving *leaving);
/* The first two of these, or the third where `made` is a failure, which is returned. */
UfStatus cli_leaving_finish(CliLeaving *leaving, UfStatus made, UfPicture *picture, UfReport *report);

#endif

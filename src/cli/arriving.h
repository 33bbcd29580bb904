/* A panorama whose upper rows are looked at while the lower ones are still being read. */
#ifndef UF_CLI_ARRIVING_H
#define UF_CLI_ARRIVING_H

#include "cli/aside.h"
#include "cli/rows.h"

typedef struct CliArriving {
    CliAside aside;
    const char *path;
    UfReadOptions read;
    UfReport *report;
    CliRows rows;
    UfPicture *picture;
} CliArriving;

/* Begins to read; with one thread it has been read when this returns. `out` stays where it is until
 * cli_arriving_clear. */
void cli_arriving_start(CliArriving *out, const char *path, const UfReadOptions *read);
/*
 * Waits until the metadata are there. They may be looked at until cli_arriving_finish, and so may the rows
 * that cli_rows_await(&arriving->rows) has waited for. NULL where they do not come.
 */
const UfPicture *cli_arriving_picture(CliArriving *arriving);
/* Waits for the rest; what was said about it is added to `report`. The picture stays until it is cleared. */
UfStatus cli_arriving_finish(CliArriving *arriving, UfReport *report);
/* After cli_arriving_finish. Frees the picture. */
void cli_arriving_clear(CliArriving *arriving);

#endif

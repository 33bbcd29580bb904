/* A panorama whose upper rows are looked at while the lower ones are still being read. */
#ifndef UF_CLI_ARRIVING_H
#define UF_CLI_ARRIVING_H

#include <underfoot/picture.h>

#include "cli/aside.h"

typedef struct CliArriving {
    CliAside aside;
    const char *path;
    UfReadOptions read;
    UfReport *report; /* of the reading alone until it is finished */
    pthread_mutex_t mutex;
    pthread_cond_t changed;
    /* under the mutex */
    const UfPicture *upper; /* NULL: nothing may be looked at (yet, or any more) */
    size_t end_px;          /* of its rows that are there */
    bool over, looked_at;
    UfPicture *picture;
} CliArriving;

/* Begins to read; with one thread it has been read when this returns. `out` stays where it is. */
void cli_arriving_start(CliArriving *out, const char *path, const UfReadOptions *read, UfReport *report);
/* Waits for the rows before end_px. They and the metadata may be looked at until cli_arriving_finish. NULL
 * where they do not come. */
const UfPicture *cli_arriving_rows(CliArriving *arriving, size_t end_px);
/* Waits for the rest. The caller owns *out, which is what cli_arriving_rows returned. */
UfStatus cli_arriving_finish(CliArriving *arriving, UfPicture **out);

#endif

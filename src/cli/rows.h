/* Rows of a picture that one thread makes and another one waits for. */
#ifndef UF_CLI_ROWS_H
#define UF_CLI_ROWS_H

#include <pthread.h>

#include <underfoot/picture.h>

typedef struct CliRows {
    pthread_mutex_t mutex;
    pthread_cond_t changed;
    /* under the mutex */
    UfPicture *picture; /* NULL: nothing may be looked at (yet, or any more) */
    size_t end_px;      /* of its rows that are there */
    bool over;          /* no more come */
    bool looked_at;     /* from cli_rows_picture to cli_rows_release */
} CliRows;

void cli_rows_init(CliRows *out);
void cli_rows_clear(CliRows *rows);
/* The rows before end_px are there. */
void cli_rows_tell(CliRows *rows, UfPicture *picture, size_t end_px);
/* All of it is there, and good; or, with NULL, no more of it comes. */
void cli_rows_end(CliRows *rows, UfPicture *picture);
/* No more of it comes: when this returns, nobody looks at it. */
void cli_rows_withdraw(CliRows *rows);
/* Waits for the picture, with some rows or none; NULL where it does not come. From now on it is looked at. */
UfPicture *cli_rows_picture(CliRows *rows);
void cli_rows_release(CliRows *rows);
/* UfRowsAwaited. The last row is there when all is good. */
size_t cli_rows_await(void *rows, size_t end_px);

#endif

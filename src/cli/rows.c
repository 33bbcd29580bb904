/* One picture between two threads. */
#include "cli/rows.h"

void cli_rows_init(CliRows *out)
{
    *out = (CliRows){0};
    (void)pthread_mutex_init(&out->mutex, NULL);
    (void)pthread_cond_init(&out->changed, NULL);
}

void cli_rows_clear(CliRows *rows)
{
    (void)pthread_cond_destroy(&rows->changed);
    (void)pthread_mutex_destroy(&rows->mutex);
}

void cli_rows_tell(CliRows *rows, UfPicture *picture, size_t end_px)
{
    (void)pthread_mutex_lock(&rows->mutex);
    rows->picture = picture;
    rows->end_px = end_px;
    (void)pthread_cond_broadcast(&rows->changed);
    (void)pthread_mutex_unlock(&rows->mutex);
}

void cli_rows_end(CliRows *rows, UfPicture *picture)
{
    (void)pthread_mutex_lock(&rows->mutex);
    rows->picture = picture;
    rows->over = true;
    (void)pthread_cond_broadcast(&rows->changed);
    (void)pthread_mutex_unlock(&rows->mutex);
}

void cli_rows_withdraw(CliRows *rows)
{
    cli_rows_end(rows, NULL);
    (void)pthread_mutex_lock(&rows->mutex);
    while (rows->looked_at)
        (void)pthread_cond_wait(&rows->changed, &rows->mutex);
    (void)pthread_mutex_unlock(&rows->mutex);
}

void cli_rows_release(CliRows *rows)
{
    (void)pthread_mutex_lock(&rows->mutex);
    rows->looked_at = false;
    (void)pthread_cond_broadcast(&rows->changed);
    (void)pthread_mutex_unlock(&rows->mutex);
}

UfPicture *cli_rows_picture(CliRows *rows)
{
    (void)pthread_mutex_lock(&rows->mutex);
    while (!rows->over && rows->picture == NULL)
        (void)pthread_cond_wait(&rows->changed, &rows->mutex);
    UfPicture *picture = rows->picture;
    rows->looked_at = picture != NULL;
    (void)pthread_mutex_unlock(&rows->mutex);
    return picture;
}

/* Of the last row it is known only when it is over whether it is good. */
static size_t rows_there(const CliRows *rows)
{
    if (rows->picture == NULL)
        return 0;
    const size_t height = uf_picture_height_px(rows->picture);
    if (rows->over)
        return height;
    return rows->end_px < height ? rows->end_px : height - 1;
}

size_t cli_rows_await(void *data, size_t end_px)
{
    CliRows *rows = data;
    (void)pthread_mutex_lock(&rows->mutex);
    while (!rows->over && rows_there(rows) < end_px)
        (void)pthread_cond_wait(&rows->changed, &rows->mutex);
    const size_t there = rows_there(rows);
    (void)pthread_mutex_unlock(&rows->mutex);
    return there;
}

/* Reading beside the program's own work, which waits for rows. */
#include "cli/arriving.h"

/* From the thread that reads. What is being looked at is not taken away. */
static void note_rows(void *data, const UfPicture *picture, size_t end_px)
{
    CliArriving *arriving = data;
    (void)pthread_mutex_lock(&arriving->mutex);
    arriving->upper = picture;
    arriving->end_px = end_px;
    (void)pthread_cond_broadcast(&arriving->changed);
    while (picture == NULL && arriving->looked_at)
        (void)pthread_cond_wait(&arriving->changed, &arriving->mutex);
    (void)pthread_mutex_unlock(&arriving->mutex);
}

static UfStatus read_picture(void *data)
{
    CliArriving *arriving = data;
    UfPicture *picture = NULL;
    UfStatus status = uf_picture_read(arriving->path, &arriving->read, &picture, arriving->report);
    (void)pthread_mutex_lock(&arriving->mutex);
    arriving->picture = picture;
    arriving->upper = picture;
    arriving->over = true;
    (void)pthread_cond_broadcast(&arriving->changed);
    (void)pthread_mutex_unlock(&arriving->mutex);
    return status;
}

void cli_arriving_start(CliArriving *out, const char *path, const UfReadOptions *read, UfReport *report)
{
    *out = (CliArriving){.path = path, .read = *read, .report = report};
    (void)pthread_mutex_init(&out->mutex, NULL);
    (void)pthread_cond_init(&out->changed, NULL);
    out->read.rows_read = note_rows;
    out->read.rows_read_data = out;
    cli_aside_start(&out->aside, read->threads, read_picture, out);
}

const UfPicture *cli_arriving_rows(CliArriving *arriving, size_t end_px)
{
    (void)pthread_mutex_lock(&arriving->mutex);
    while (!arriving->over && (arriving->upper == NULL || arriving->end_px < end_px))
        (void)pthread_cond_wait(&arriving->changed, &arriving->mutex);
    const UfPicture *upper = arriving->upper;
    arriving->looked_at = upper != NULL;
    (void)pthread_mutex_unlock(&arriving->mutex);
    return upper;
}

UfStatus cli_arriving_finish(CliArriving *arriving, UfPicture **out)
{
    (void)pthread_mutex_lock(&arriving->mutex);
    arriving->looked_at = false;
    (void)pthread_cond_broadcast(&arriving->changed);
    (void)pthread_mutex_unlock(&arriving->mutex);
    UfStatus status = cli_aside_wait(&arriving->aside);
    *out = arriving->picture;
    (void)pthread_cond_destroy(&arriving->changed);
    (void)pthread_mutex_destroy(&arriving->mutex);
    return status;
}

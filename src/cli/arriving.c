/* Reading beside the program's own work, which waits for rows. */
#include "cli/arriving.h"

/* From the thread that reads. What is being looked at is not taken away. */
static void note_rows(void *data, UfPicture *picture, size_t end_px)
{
    CliArriving *arriving = data;
    if (picture != NULL)
        cli_rows_tell(&arriving->rows, picture, end_px);
    else
        cli_rows_withdraw(&arriving->rows);
}

static UfStatus read_picture(void *data)
{
    CliArriving *arriving = data;
    UfStatus status = uf_picture_read(arriving->path, &arriving->read, &arriving->picture, arriving->report);
    cli_rows_end(&arriving->rows, arriving->picture);
    return status;
}

void cli_arriving_start(CliArriving *out, const char *path, const UfReadOptions *read)
{
    *out = (CliArriving){.path = path, .read = *read, .report = uf_report_create()};
    cli_rows_init(&out->rows);
    out->read.rows_read = read->threads == 1 ? NULL : note_rows;
    out->read.rows_read_data = out;
    cli_aside_start(&out->aside, read->threads, read_picture, out);
}

const UfPicture *cli_arriving_picture(CliArriving *arriving)
{
    return cli_rows_picture(&arriving->rows);
}

UfStatus cli_arriving_finish(CliArriving *arriving, UfReport *report)
{
    cli_rows_release(&arriving->rows);
    UfStatus status = cli_aside_wait(&arriving->aside);
    uf_report_add(report, arriving->report);
    return status;
}

void cli_arriving_clear(CliArriving *arriving)
{
    uf_picture_free(&arriving->picture);
    uf_report_free(&arriving->report);
    cli_rows_clear(&arriving->rows);
}

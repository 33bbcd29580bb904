/* Writing beside the making. */
#include "cli/leaving.h"

void cli_leaving_open(CliLeaving *out, const UfWriteOptions *write, CliAsideWork *work, void *data)
{
    *out = (CliLeaving){.write = *write, .report = uf_report_create(), .work = work, .data = data};
    cli_rows_init(&out->rows);
    out->write.rows = cli_rows_await;
    out->write.rows_data = &out->rows;
}

/* UfRowsTold: begins the work where there is a second thread to be had. */
static void note_rows(void *data, UfPicture *picture, size_t end_px)
{
    CliLeaving *leaving = data;
    if (picture == NULL) {
        cli_rows_end(&leaving->rows, NULL);
        (void)cli_aside_wait(&leaving->aside);
        return;
    }
    cli_rows_tell(&leaving->rows, picture, end_px);
    if (!leaving->has_begun)
        leaving->has_begun = cli_aside_begin(&leaving->aside, leaving->work, leaving->data);
}

void cli_leaving_listen(CliLeaving *leaving, UfRemapRows *rows)
{
    if (leaving->write.threads == 1)
        return;
    rows->target = note_rows;
    rows->target_data = leaving;
}

void cli_leaving_go(CliLeaving *leaving, UfPicture *picture)
{
    cli_rows_end(&leaving->rows, picture);
    if (!leaving->has_begun)
        cli_aside_start(&leaving->aside, leaving->write.threads, leaving->work, leaving->data);
    leaving->has_begun = true;
}

static void clear(CliLeaving *leaving)
{
    uf_report_free(&leaving->report);
    cli_rows_clear(&leaving->rows);
}

UfStatus cli_leaving_wait(CliLeaving *leaving, UfReport *report)
{
    UfStatus status = cli_aside_wait(&leaving->aside);
    uf_report_add(report, leaving->report);
    clear(leaving);
    return status;
}

void cli_leaving_drop(CliLeaving *leaving)
{
    cli_rows_end(&leaving->rows, NULL);
    (void)cli_aside_wait(&leaving->aside);
    clear(leaving);
}

UfStatus cli_leaving_finish(CliLeaving *leaving, UfStatus made, UfPicture *picture, UfReport *report)
{
    if (made != UF_OK) {
        cli_leaving_drop(leaving);
        return made;
    }
    cli_leaving_go(leaving, picture);
    return cli_leaving_wait(leaving, report);
}

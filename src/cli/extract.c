/* Pictures out of a panorama: checks before the pixels are read, then picture and sidecar together. */
#include "cli/extract.h"

#include <unistd.h>

#include "cli/files.h"
#include "cli/message.h"

#define JPEG_MAX_SIDE_PX 65500 /* libjpeg's JPEG_MAX_DIMENSION */

int cli_check_holds(const CliLine *line, const UfPictureInfo *panorama, UfFormat format, size_t width_px,
                    size_t height_px)
{
    if (format != UF_FORMAT_JPEG)
        return CLI_DONE;
    if (panorama->channels % 2 == 0)
        return cli_failed("%s: has transparency, which JPEG cannot hold; write PNG or TIFF",
                          line->operands[0]);
    if (width_px > JPEG_MAX_SIDE_PX || height_px > JPEG_MAX_SIDE_PX)
        return cli_wrong_usage(line->command,
                               "a JPEG can be %d pixels wide and high at most; write PNG or TIFF",
                               JPEG_MAX_SIDE_PX);
    return CLI_DONE;
}

int cli_check_memory(const CliLine *line, const UfPictureInfo *panorama, const UfReadOptions *read,
                     size_t width_px, size_t height_px)
{
    double pixel_bytes = (double)panorama->channels * (double)panorama->sample;
    double pixels = (double)panorama->width_px * (double)(read->end_row_px - read->first_row_px) +
                    (double)width_px * (double)height_px;
    double limit = (double)cli_memory_limit(line);
    if (pixels * pixel_bytes <= limit)
        return CLI_DONE;
    return cli_failed(
        "%s: a picture of %zu x %zu pixels and the panorama need %.1f MB, more than the limit of %.1f MB; "
        "give a smaller --size or a larger --max-memory",
        line->operands[0], width_px, height_px, pixels * pixel_bytes / 1e6, limit / 1e6);
}

int cli_check_sidecar(const CliLine *line, const char *picture_path)
{
    char *name = uf_home_sidecar_name(picture_path);
    int status = name == NULL ? cli_failed("not enough memory") : cli_check_place(line, name);
    free(name);
    return status;
}

/* Prints nothing: it runs beside the making. */
static UfStatus write_taken(void *data)
{
    CliTaken *taken = data;
    CliLeaving *leaving = &taken->leaving;
    CliArriving *arriving = taken->arriving;
    UfHome home = taken->home;
    UfPicture *picture = cli_rows_picture(&leaving->rows);
    /* the address tells the panorama by all the rows that were asked for */
    if (picture == NULL || cli_rows_await(&arriving->rows, home.panorama_width_px / 2) == 0)
        return UF_ERROR_ARGUMENT;
    UfStatus status = uf_home_set_panorama(&home, arriving->picture, arriving->path, leaving->report);
    if (status == UF_OK)
        status = uf_home_dress(&home, arriving->picture, picture, leaving->report);
    if (status == UF_OK)
        status = uf_picture_write(picture, taken->path, &leaving->write, leaving->report);
    if (status != UF_OK)
        return status;
    uf_picture_free(&taken->picture); /* it has seen the last row: all is made, and the next one needs room */
    status = uf_home_write_sidecar(&home, taken->path, leaving->write.overwrite, leaving->report);
    if (status != UF_OK)
        (void)unlink(taken->path);
    return status;
}

UfStatus cli_take(const CliLine *line, bool leaves, CliTaken *taken)
{
    const UfWriteOptions write = cli_write_options(line);
    UfRemapRows rows = {.source = cli_rows_await, .source_data = &taken->arriving->rows};
    cli_leaving_open(&taken->leaving, &write, write_taken, taken);
    if (leaves)
        cli_leaving_listen(&taken->leaving, &rows);
    const UfPicture *panorama = cli_arriving_picture(taken->arriving);
    if (panorama == NULL)
        return UF_ERROR_ARGUMENT;
    cli_progress(line, "making", taken->path);
    return uf_home_extract(&taken->home, panorama, cli_threads(line), &rows, &taken->picture, taken->report);
}

UfStatus cli_taken_wait(CliTaken *taken)
{
    UfStatus status = cli_leaving_wait(&taken->leaving, taken->report);
    uf_picture_free(&taken->picture);
    return status;
}

void cli_taken_drop(CliTaken *taken)
{
    cli_leaving_drop(&taken->leaving);
    uf_picture_free(&taken->picture);
}

/* Reading, making and writing, side by side. */
static UfStatus read_and_extract(const CliLine *line, const UfHome *home, const UfReadOptions *read,
                                 UfReport *report)
{
    CliArriving arriving;
    CliTaken taken = {
        .home = *home, .arriving = &arriving, .path = line->values[CLI_OUT].text, .report = report};
    cli_progress(line, "reading", line->operands[0]);
    cli_arriving_start(&arriving, line->operands[0], read);
    UfStatus made = cli_take(line, true, &taken);
    UfStatus status = cli_arriving_finish(&arriving, report);
    if (status == UF_OK)
        status = made;
    if (status == UF_OK)
        cli_progress(line, "writing", taken.path);
    status = cli_leaving_finish(&taken.leaving, status, taken.picture, report);
    uf_picture_free(&taken.picture);
    cli_arriving_clear(&arriving);
    cli_progress_end(line);
    return status;
}

int cli_extract_one(const CliLine *line, UfHome *home, const UfPictureInfo *info, UfFormat format,
                    UfReport *report)
{
    const char *path = line->operands[0];
    UfReadOptions read = cli_read_options(line);
    home->panorama_width_px = info->width_px;
    int status = cli_check_holds(line, info, format, home->width_px, home->height_px);
    if (status != CLI_DONE)
        return status;
    UfStatus made = uf_home_check(home, report);
    if (made == UF_OK)
        made = uf_home_rows(home, &read.first_row_px, &read.end_row_px, report);
    if (made != UF_OK)
        return cli_failed_report(line, path, made, report);
    status = cli_check_memory(line, info, &read, home->width_px, home->height_px);
    if (status == CLI_DONE)
        status = cli_check_not_output(line, path);
    if (status == CLI_DONE)
        status = cli_check_sidecar(line, line->values[CLI_OUT].text);
    if (status != CLI_DONE)
        return status;
    made = read_and_extract(line, home, &read, report);
    return made == UF_OK ? CLI_DONE : cli_failed_report(line, path, made, report);
}

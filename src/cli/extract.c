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

UfStatus cli_write_taken(CliTaken *taken)
{
    UfStatus status =
        uf_home_set_panorama(&taken->home, taken->panorama, taken->panorama_path, taken->report);
    if (status == UF_OK)
        status = uf_home_dress(&taken->home, taken->panorama, taken->picture, taken->report);
    if (status == UF_OK)
        status = uf_picture_write(taken->picture, taken->path, taken->write, taken->report);
    uf_picture_free(&taken->picture);
    if (status != UF_OK)
        return status;
    status = uf_home_write_sidecar(&taken->home, taken->path, taken->write->overwrite, taken->report);
    if (status != UF_OK)
        (void)unlink(taken->path);
    return status;
}

static UfStatus make_and_write(const CliLine *line, const UfHome *home, const UfPicture *panorama,
                               UfReport *report)
{
    const char *path = line->values[CLI_OUT].text;
    const UfWriteOptions write = cli_write_options(line);
    CliTaken taken = {.home = *home,
                      .panorama = panorama,
                      .panorama_path = line->operands[0],
                      .path = path,
                      .write = &write,
                      .report = report};
    cli_progress(line, "making", path);
    UfStatus status = uf_home_extract(home, panorama, cli_threads(line), &taken.picture, report);
    if (status != UF_OK)
        return status;
    cli_progress(line, "writing", path);
    return cli_write_taken(&taken);
}

static UfStatus read_and_extract(const CliLine *line, const UfHome *home, const UfReadOptions *read,
                                 UfReport *report)
{
    UfPicture *panorama = NULL;
    cli_progress(line, "reading", line->operands[0]);
    UfStatus status = uf_picture_read(line->operands[0], read, &panorama, report);
    if (status == UF_OK)
        status = make_and_write(line, home, panorama, report);
    cli_progress_end(line);
    uf_picture_free(&panorama);
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

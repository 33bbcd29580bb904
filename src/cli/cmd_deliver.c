/* `underfoot deliver`: a smaller copy of a panorama for the client or the web. */
#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum { DELIVER_WIDTH = CLI_COMMON_COUNT, DELIVER_SRGB };

static const CliOption options[] = {
    {.name = "width",
     .kind = CLI_COUNT,
     .argument = "W",
     .range = {2, UF_PICTURE_MAX_SIDE_PX, false, false},
     .help = "its width in pixels, even; it is half as high"},
    {.name = "srgb", .help = "convert the colours to sRGB, as browsers expect"},
    {0}};

static int check_usage(const CliLine *line)
{
    const CliValue *width = &line->values[DELIVER_WIDTH];
    if (!width->given)
        return cli_wrong_usage(line->command, "no width is given; add --width and its pixels, such as 4096");
    if ((size_t)width->number % 2 != 0)
        return cli_wrong_usage(line->command,
                               "--width %.0f: a panorama is twice as wide as it is high; give "
                               "an even number",
                               width->number);
    return CLI_DONE;
}

/* What can be refused by the headers. */
static int check_panorama(const CliLine *line, const UfPictureInfo *info, UfFormat format)
{
    const char *path = line->operands[0];
    size_t width = (size_t)line->values[DELIVER_WIDTH].number;
    if (width > info->width_px)
        return cli_failed("%s: is %zu pixels wide; --width %zu would only blow it up, give at most its own "
                          "width",
                          path, info->width_px, width);
    if (format == UF_FORMAT_JPEG && info->channels % 2 == 0)
        return cli_failed("%s: has transparency, which JPEG cannot hold; write .png or .tif", path);
    if (format == UF_FORMAT_JPEG && width > 65500) /* libjpeg's JPEG_MAX_DIMENSION */
        return cli_wrong_usage(line->command, "a JPEG can be 65500 pixels wide at most; write .png or .tif");
    double pixel_bytes = (double)info->channels * (double)info->sample;
    double needs =
        pixel_bytes * ((double)info->width_px * (double)info->height_px + (double)width * (double)width / 2);
    double limit = (double)cli_memory_limit(line);
    if (needs > limit)
        return cli_failed("%s: needs %.1f MB, more than the limit of %.1f MB; give a larger --max-memory",
                          path, needs / 1e6, limit / 1e6);
    return cli_check_not_output(line, path);
}

static void print_plain(const CliLine *line, const UfPictureInfo *info)
{
    size_t width = (size_t)line->values[DELIVER_WIDTH].number;
    cli_put_text(stdout, line->values[CLI_OUT].text);
    printf("\n  %zu x %zu pixels, from %zu x %zu%s\n", width, width / 2, info->width_px, info->height_px,
           line->values[DELIVER_SRGB].given ? ", in sRGB" : "");
}

static void print_json(const CliLine *line, const UfReport *report)
{
    long long width = (long long)line->values[DELIVER_WIDTH].number;
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", line->values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", width);
    cli_json_whole(&json, "height_px", width / 2);
    cli_json_truth(&json, "srgb", line->values[DELIVER_SRGB].given);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static UfStatus deliver(const CliLine *line, UfReport *report)
{
    UfPicture *panorama = NULL;
    UfPicture *picture = NULL;
    UfDeliverOptions how = {.width_px = (size_t)line->values[DELIVER_WIDTH].number,
                            .to_srgb = line->values[DELIVER_SRGB].given,
                            .threads = cli_threads(line)};
    UfStatus status = cli_read_panorama(line, &panorama, report);
    cli_progress(line, "making smaller", line->operands[0]);
    if (status == UF_OK)
        status = uf_deliver(panorama, &how, &picture, report);
    uf_picture_free(&panorama);
    if (status == UF_OK)
        status = cli_write_output(line, picture, report);
    cli_progress_end(line);
    uf_picture_free(&picture);
    return status;
}

static int deliver_one(const CliLine *line, UfFormat format, UfReport *report)
{
    UfPictureInfo info;
    int status = cli_probe_panorama(line, &info, report);
    if (status == CLI_DONE)
        status = check_panorama(line, &info, format);
    if (status != CLI_DONE)
        return status;
    UfStatus made = deliver(line, report);
    if (made != UF_OK)
        return cli_failed_report(line, line->operands[0], made, report);
    if (line->values[CLI_JSON].given)
        print_json(line, report);
    else
        print_plain(line, &info);
    return cli_warnings(line, report);
}

static int run(const CliLine *line)
{
    return cli_make_output(line, deliver_one);
}

const CliCommand cli_command_deliver = {
    .name = "deliver",
    .summary = "a smaller copy for a client or the web",
    .example = "underfoot deliver hall.tif -o hall-web.jpg --width 4096 --quality 85 --srgb",
    .operands = "PANO -o OUT --width W",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Makes a panorama smaller: averaged in linear light, so that fine contrast stays\n"
             "as bright as it was. EXIF, profile and XMP go along; the Photo Sphere fields are\n"
             "scaled. With --srgb the colours are converted and an sRGB profile is attached.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) |
              CLI_TAKES(CLI_THREADS) | CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .check = check_usage,
    .run = run,
};

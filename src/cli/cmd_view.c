/* `underfoot view`: a plain (rectilinear) picture out of a panorama, as a camera at its centre would take it.
 */
#include <math.h>

#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum { VIEW_YAW = CLI_COMMON_COUNT, VIEW_PITCH, VIEW_ROLL, VIEW_FOV, VIEW_SIZE };

static const CliOption options[] = {{.name = "yaw",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-3600, 3600, false, false},
                                     .help = "where to look, to the right of the centre (default 0)"},
                                    {.name = "pitch",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-90, 90, false, false},
                                     .help = "how far up; -90 is straight down (default 0)"},
                                    {.name = "roll",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-180, 180, false, false},
                                     .help = "turns the horizon counter-clockwise (default 0)"},
                                    {.name = "fov",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {0, 179, true, false},
                                     .help = "full angle across the width (default 90)"},
                                    {.name = "size",
                                     .kind = CLI_SIZE,
                                     .argument = "WxH",
                                     .help = "pixels (default: 4:3, as sharp as the panorama)"},
                                    {0}};

#define DEFAULT_FOV_DEG 90.0

static double fov_deg(const CliLine *line)
{
    return line->values[VIEW_FOV].given ? line->values[VIEW_FOV].number : DEFAULT_FOV_DEG;
}

/*
 * As many pixels as the panorama has at the view's centre (W/2 pi to the radian, so 2 tan(fov/2) W/2 pi
 * across), but no more than the panorama itself is wide; 4:3.
 */
static void default_size(size_t panorama_width_px, double fov_rad, size_t *width_px, size_t *height_px)
{
    double full = 2.0 * tan(fov_rad / 2.0) * (double)panorama_width_px / (2.0 * UF_PI);
    double width = fmax(4.0, fmin(round(full), (double)panorama_width_px));
    *width_px = (size_t)width;
    *height_px = (size_t)fmax(1.0, round(width * 0.75));
}

static UfView view_of(const CliLine *line, size_t panorama_width_px)
{
    const CliValue *values = line->values;
    double fov_rad = uf_radians(fov_deg(line));
    size_t width_px = values[VIEW_SIZE].width_px;
    size_t height_px = values[VIEW_SIZE].height_px;
    if (!values[VIEW_SIZE].given)
        default_size(panorama_width_px, fov_rad, &width_px, &height_px);
    UfRotation rotation =
        uf_rotation_from_angles(uf_radians(values[VIEW_YAW].number), uf_radians(values[VIEW_PITCH].number),
                                uf_radians(values[VIEW_ROLL].number));
    return uf_view_rectilinear(width_px, height_px, fov_rad, rotation);
}

/* Both pictures are in memory at once. */
static int check_memory(const CliLine *line, const UfPictureInfo *info, const UfView *view)
{
    double pixel_bytes = (double)info->channels * (double)info->sample;
    double pixels =
        (double)info->width_px * (double)info->height_px + (double)view->width_px * (double)view->height_px;
    double limit = (double)cli_memory_limit(line);
    if (pixels * pixel_bytes <= limit)
        return CLI_DONE;
    return cli_failed(
        "%s: a view of %zu x %zu pixels and the panorama need %.1f MB, more than the limit of %.1f MB; "
        "give a smaller --size or a larger --max-memory",
        line->operands[0], view->width_px, view->height_px, pixels * pixel_bytes / 1e6, limit / 1e6);
}

#define JPEG_MAX_SIDE_PX 65500 /* libjpeg's JPEG_MAX_DIMENSION */

static int check_format(const CliLine *line, const UfPictureInfo *info, UfFormat format, const UfView *view)
{
    if (format != UF_FORMAT_JPEG)
        return CLI_DONE;
    if (info->channels % 2 == 0)
        return cli_failed("%s: has transparency, which JPEG cannot hold; write .png or .tif",
                          line->operands[0]);
    if (view->width_px > JPEG_MAX_SIDE_PX || view->height_px > JPEG_MAX_SIDE_PX)
        return cli_wrong_usage(line->command,
                               "a JPEG can be %d pixels wide and high at most; write .png or .tif",
                               JPEG_MAX_SIDE_PX);
    return CLI_DONE;
}

static void print_plain(const CliLine *line, const UfView *view)
{
    const CliValue *values = line->values;
    cli_put_text(stdout, values[CLI_OUT].text);
    printf("\n  %zu x %zu pixels, %.6g deg across, yaw %.6g pitch %.6g roll %.6g deg\n", view->width_px,
           view->height_px, fov_deg(line), values[VIEW_YAW].number, values[VIEW_PITCH].number,
           values[VIEW_ROLL].number);
}

static void print_json(const CliLine *line, const UfView *view, const UfReport *report)
{
    const CliValue *values = line->values;
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", (long long)view->width_px);
    cli_json_whole(&json, "height_px", (long long)view->height_px);
    cli_json_number(&json, "fov_deg", fov_deg(line));
    cli_json_number(&json, "yaw_deg", values[VIEW_YAW].number);
    cli_json_number(&json, "pitch_deg", values[VIEW_PITCH].number);
    cli_json_number(&json, "roll_deg", values[VIEW_ROLL].number);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

/* The view's picture with the panorama's metadata, less what says that it is a panorama. */
static UfStatus render(const CliLine *line, const UfPicture *panorama, const UfView *view, UfPicture **out,
                       UfReport *report)
{
    UfView source = uf_view_equirectangular(uf_picture_width_px(panorama));
    UfRemapOptions remap = {.sampling =
                                line->values[CLI_SAMPLING].given && line->values[CLI_SAMPLING].word == 1
                                    ? UF_SAMPLING_BILINEAR
                                    : UF_SAMPLING_BICUBIC,
                            .threads = cli_threads(line)};
    UfStatus status = uf_remap(panorama, &source, view, &remap, out, report);
    if (status == UF_OK)
        status = uf_picture_copy_metadata(panorama, *out, report);
    if (status == UF_OK)
        status = uf_picture_drop_photo_sphere(*out, report);
    return status;
}

static int make_view(const CliLine *line, const UfView *view, UfReport *report)
{
    const char *path = line->operands[0];
    const char *out = line->values[CLI_OUT].text;
    UfPicture *panorama = NULL;
    UfPicture *picture = NULL;
    UfReadOptions read = cli_read_options(line);
    UfWriteOptions write = cli_write_options(line);
    cli_progress(line, "reading", path);
    UfStatus status = uf_picture_read(path, &read, &panorama, report);
    cli_progress(line, "looking into", path);
    if (status == UF_OK)
        status = render(line, panorama, view, &picture, report);
    cli_progress(line, "writing", out);
    if (status == UF_OK)
        status = uf_picture_write(picture, out, &write, report);
    cli_progress_end(line);
    uf_picture_free(&panorama);
    uf_picture_free(&picture);
    return status == UF_OK ? CLI_DONE : cli_failed_report(line, path, status, report);
}

static int view(const CliLine *line, UfFormat format, UfReport *report)
{
    UfPictureInfo info;
    int status = cli_probe_panorama(line, &info, report);
    if (status != CLI_DONE)
        return status;
    UfView target = view_of(line, info.width_px);
    status = check_format(line, &info, format, &target);
    if (status == CLI_DONE)
        status = check_memory(line, &info, &target);
    if (status == CLI_DONE)
        status = cli_check_not_output(line, line->operands[0]);
    if (status == CLI_DONE)
        status = make_view(line, &target, report);
    if (status != CLI_DONE)
        return status;
    if (line->values[CLI_JSON].given)
        print_json(line, &target, report);
    else
        print_plain(line, &target);
    return cli_warnings(line, report);
}

static int run(const CliLine *line)
{
    UfFormat format = UF_FORMAT_UNKNOWN;
    int status = cli_check_output(line, &format);
    if (status != CLI_DONE)
        return status;
    UfReport *report = uf_report_create();
    status = report == NULL ? cli_failed("not enough memory") : view(line, format, report);
    uf_report_free(&report);
    return status;
}

const CliCommand cli_command_view = {
    .name = "view",
    .summary = "a plain picture out of a panorama, as a camera would take it",
    .example = "underfoot view hall.jpg -o down.jpg --pitch -90 --size 1200x1200",
    .operands = "PANO -o OUT",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Makes a rectilinear view: straight lines stay straight. Profile and EXIF go\n"
             "along; the Photo Sphere fields do not, because a view is no panorama.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_SAMPLING) |
              CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

/* `underfoot view`: a plain (rectilinear) picture out of a panorama, as a camera at its centre would take it.
 */
#include <math.h>

#include "cli/extract.h"
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
                                     .range = {0, UF_VIEW_FOV_MAX_DEG, true, false},
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

static UfHome home_of(const CliLine *line, size_t panorama_width_px)
{
    const CliValue *values = line->values;
    UfHome home = {.kind = UF_HOME_VIEW,
                   .yaw_deg = values[VIEW_YAW].number,
                   .pitch_deg = values[VIEW_PITCH].number,
                   .roll_deg = values[VIEW_ROLL].number,
                   .fov_deg = fov_deg(line),
                   .sampling = cli_sampling(line, UF_SAMPLING_SHARP),
                   .width_px = values[VIEW_SIZE].width_px,
                   .height_px = values[VIEW_SIZE].height_px};
    if (!values[VIEW_SIZE].given)
        default_size(panorama_width_px, uf_radians(fov_deg(line)), &home.width_px, &home.height_px);
    return home;
}

static void print_plain(const CliLine *line, const UfHome *home)
{
    const CliValue *values = line->values;
    cli_put_text(stdout, values[CLI_OUT].text);
    printf("\n  %zu x %zu pixels, %.6g deg across, yaw %.6g pitch %.6g roll %.6g deg\n", home->width_px,
           home->height_px, fov_deg(line), values[VIEW_YAW].number, values[VIEW_PITCH].number,
           values[VIEW_ROLL].number);
}

static void print_json(const CliLine *line, const UfHome *home, const UfReport *report)
{
    const CliValue *values = line->values;
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", (long long)home->width_px);
    cli_json_whole(&json, "height_px", (long long)home->height_px);
    cli_json_number(&json, "fov_deg", fov_deg(line));
    cli_json_number(&json, "yaw_deg", values[VIEW_YAW].number);
    cli_json_number(&json, "pitch_deg", values[VIEW_PITCH].number);
    cli_json_number(&json, "roll_deg", values[VIEW_ROLL].number);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static int view(const CliLine *line, UfFormat format, UfReport *report)
{
    UfPictureInfo info;
    int status = cli_probe_panorama(line, &info, report);
    if (status != CLI_DONE)
        return status;
    UfHome home = home_of(line, info.width_px);
    status = cli_extract_one(line, &home, &info, format, report);
    if (status != CLI_DONE)
        return status;
    if (line->values[CLI_JSON].given)
        print_json(line, &home, report);
    else
        print_plain(line, &home);
    return cli_warnings(line, report);
}

static int run(const CliLine *line)
{
    return cli_make_output(line, view);
}

const CliCommand cli_command_view = {
    .name = "view",
    .summary = "a plain picture out of a panorama, as a camera would take it",
    .example = "underfoot view hall.jpg -o down.jpg --pitch -90 --size 1200x1200",
    .operands = "PANO -o OUT",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Makes a rectilinear view: straight lines stay straight. Profile and EXIF go\n"
             "along; the Photo Sphere fields do not, because a view is no panorama. Where the\n"
             "view came from is written into its XMP and into OUT" UF_HOME_SUFFIX " beside it, so that\n"
             "it can be put back after retouching. Sampling is sharp unless told otherwise.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_SAMPLING) |
              CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

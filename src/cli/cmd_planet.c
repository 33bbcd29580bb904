/* `underfoot planet`: the panorama as a little planet, or inside out with the sky in the middle. */
#include <math.h>

#include "cli/extract.h"
#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum { PLANET_SIZE = CLI_COMMON_COUNT, PLANET_FOV, PLANET_HEADING, PLANET_SKY };

static const CliOption options[] = {{.name = "size",
                                     .kind = CLI_COUNT,
                                     .argument = "N",
                                     .range = {1, UF_PICTURE_MAX_SIDE_PX, false, false},
                                     .help = "pixels a side (default: half the panorama's width)"},
                                    {.name = "fov",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {0, 360, true, true},
                                     .help = "full angle across the width (default 300)"},
                                    {.name = "heading",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-3600, 3600, false, false},
                                     .help = "yaw that lies at the top; --sky-centre: bottom"},
                                    {.name = "sky-centre", .help = "the zenith in the middle, not the nadir"},
                                    {0}};

#define DEFAULT_FOV_DEG 300.0

static UfHome home_of(const CliLine *line, size_t panorama_width_px)
{
    const CliValue *values = line->values;
    size_t size_px = values[PLANET_SIZE].given ? (size_t)values[PLANET_SIZE].number : panorama_width_px / 2;
    return (UfHome){.kind = UF_HOME_PLANET,
                    .yaw_deg = values[PLANET_HEADING].number,
                    .fov_deg = values[PLANET_FOV].given ? values[PLANET_FOV].number : DEFAULT_FOV_DEG,
                    .sky_centre = values[PLANET_SKY].given,
                    .sampling = cli_sampling(line, UF_SAMPLING_BICUBIC),
                    .width_px = size_px,
                    .height_px = size_px};
}

static void print_plain(const CliLine *line, const UfHome *home)
{
    cli_put_text(stdout, line->values[CLI_OUT].text);
    printf("\n  %zu x %zu pixels, %.6g deg across, %s in the middle, heading %.6g deg at the %s\n",
           home->width_px, home->height_px, home->fov_deg, home->sky_centre ? "sky" : "ground", home->yaw_deg,
           home->sky_centre ? "bottom" : "top");
}

static void print_json(const CliLine *line, const UfHome *home, const UfReport *report)
{
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", line->values[CLI_OUT].text);
    cli_json_whole(&json, "size_px", (long long)home->width_px);
    cli_json_number(&json, "fov_deg", home->fov_deg);
    cli_json_number(&json, "heading_deg", home->yaw_deg);
    cli_json_truth(&json, "sky_centre", home->sky_centre);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static int planet(const CliLine *line, UfFormat format, UfReport *report)
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
    return cli_make_output(line, planet);
}

const CliCommand cli_command_planet = {
    .name = "planet",
    .summary = "a little planet, or its inside-out form",
    .example = "underfoot planet hall.jpg -o planet.jpg --fov 290 --heading 40",
    .operands = "PANO -o OUT",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Makes a square stereographic picture: the ground in the middle, the sky around.\n"
             "A wider field shows more sky and a smaller ground; 180 ends at the horizon at\n"
             "the middle of each side. Profile and EXIF go along, and where the picture came\n"
             "from goes into its XMP and into OUT" UF_HOME_SUFFIX " beside it.\n"
             "Sampling is bicubic unless told otherwise.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_SAMPLING) |
              CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

/* `underfoot tag`: Photo Sphere metadata into a copy of a panorama, whose pixels stay as they are. */
#include <math.h>

#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum { TAG_HEADING = CLI_COMMON_COUNT, TAG_PITCH, TAG_ROLL };

/* Ranges: Photo Sphere XMP Metadata (Google); a heading outside 0 .. 360 is the same turned full circles. */
static const CliOption options[] = {{.name = "heading",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-3600, 3600, false, false},
                                     .help = "compass heading of the picture's centre"},
                                    {.name = "pitch",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-90, 90, false, false},
                                     .help = "pitch of the picture's centre, -90 to 90"},
                                    {.name = "roll",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-180, 180, true, false},
                                     .help = "roll, above -180 to 180"},
                                    {0}};

static double full_circle_deg(double deg)
{
    double rest = fmod(deg, 360.0);
    if (rest < 0)
        rest += 360.0;
    return rest >= 360.0 ? 0.0 : rest + 0.0;
}

static UfPhotoSphere pose_of(const CliLine *line)
{
    const CliValue *values = line->values;
    return (UfPhotoSphere){.has_heading = values[TAG_HEADING].given,
                           .has_pitch = values[TAG_PITCH].given,
                           .has_roll = values[TAG_ROLL].given,
                           .heading_deg = full_circle_deg(values[TAG_HEADING].number),
                           .pitch_deg = values[TAG_PITCH].number,
                           .roll_deg = values[TAG_ROLL].number};
}

static void print_plain(const CliLine *line, const UfPictureInfo *info, const UfPhotoSphere *pose)
{
    cli_put_text(stdout, line->values[CLI_OUT].text);
    printf("\n  tagged as a full sphere of %zu x %zu pixels\n", info->width_px, info->height_px);
    if (pose->has_heading)
        printf("  heading %.6g deg\n", pose->heading_deg);
    if (pose->has_pitch)
        printf("  pitch %.6g deg\n", pose->pitch_deg);
    if (pose->has_roll)
        printf("  roll %.6g deg\n", pose->roll_deg);
}

static void print_json(const CliLine *line, const UfPictureInfo *info, const UfPhotoSphere *pose,
                       const UfReport *report)
{
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", line->values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", (long long)info->width_px);
    cli_json_whole(&json, "height_px", (long long)info->height_px);
    if (pose->has_heading)
        cli_json_number(&json, "heading_deg", pose->heading_deg);
    if (pose->has_pitch)
        cli_json_number(&json, "pitch_deg", pose->pitch_deg);
    if (pose->has_roll)
        cli_json_number(&json, "roll_deg", pose->roll_deg);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static int tag(const CliLine *line, UfFormat format, UfReport *report)
{
    const char *path = line->operands[0];
    const char *out = line->values[CLI_OUT].text;
    UfPictureInfo info;
    int status = cli_probe_panorama(line, &info, report);
    if (status != CLI_DONE)
        return status;
    if (format != info.format)
        return cli_failed("%s: is a %s file and tag copies it as it is; '%s' is the name of a %s file", path,
                          uf_format_name(info.format), out, uf_format_name(format));
    UfPhotoSphere pose = pose_of(line);
    UfWriteOptions write = cli_write_options(line);
    UfStatus tagged = uf_picture_tag(path, out, &pose, &write, report);
    if (tagged != UF_OK)
        return cli_failed_report(line, path, tagged, report);
    if (line->values[CLI_JSON].given)
        print_json(line, &info, &pose, report);
    else
        print_plain(line, &info, &pose);
    return cli_warnings(line, report);
}

static int run(const CliLine *line)
{
    return cli_make_output(line, tag);
}

const CliCommand cli_command_tag = {
    .name = "tag",
    .summary = "write Photo Sphere metadata, so that viewers know it as a panorama",
    .example = "underfoot tag hall.jpg -o hall-tagged.jpg --heading 215",
    .operands = "PANO -o OUT",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Copies a 2:1 panorama and adds the Photo Sphere fields (XMP) that say so. Pixels\n"
             "and all other metadata stay exactly as they are; OUT has the format of PANO.\n"
             "Poses that are not given stay as the file has them.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

/* `underfoot patch`: the nadir (or the zenith) of a panorama covered, everything else left as it is. */
#include <math.h>

#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"
#include "cli/patch_where.h"
#include "cli/plate.h"
#include "cli/rig_cap.h"

enum {
    PATCH_CAP = CLI_COMMON_COUNT,
    PATCH_RIG,
    PATCH_AT,
    PATCH_MASK,
    PATCH_SUN,
    PATCH_HEIGHT,
    PATCH_SHADOW_WIDTH,
    PATCH_FILL,
    PATCH_PLATE,
    PATCH_PLATE_RIG,
    PATCH_PLATE_POINTS,
    PATCH_LOGO,
    PATCH_LOGO_CAP,
    PATCH_LOGO_CONTACT,
    PATCH_HEADING,
    PATCH_FEATHER,
    PATCH_SEED
};

static const CliOption options[] = {
    {.name = "cap",
     .kind = CLI_ANGLE,
     .argument = "DEG|auto",
     .words = {"auto"},
     .range = {0, UF_CAP_MAX_DEG, true, false},
     .help = "half-angle of the circle to cover; auto finds a hole"},
    {.name = "rig",
     .kind = CLI_FILE,
     .argument = "RIG.ini",
     .help = "take the cap that 'underfoot plan' computes"},
    {.name = "at",
     .kind = CLI_WORD,
     .argument = "POLE",
     .words = {"nadir", "zenith"},
     .help = "nadir (default) or zenith"},
    {.name = "mask",
     .kind = CLI_FILE,
     .argument = "MASK",
     .help = "white is covered: a panorama, or a face or view of it"},
    {.name = "sun",
     .kind = CLI_SUN,
     .argument = "AZ,EL",
     .words = {"find", "clock"},
     .help = "cover the shadow, too: yaw and elevation, find or clock"},
    {.name = "height",
     .kind = CLI_NUMBER,
     .argument = "M",
     .range = {0, 100, true, false},
     .help = "camera above the floor (default: the rig's, or 1.5)",
     .with = "sun"},
    {.name = "shadow-width",
     .kind = CLI_NUMBER,
     .argument = "M",
     .range = {0, 100, true, false},
     .help = "of the shadow at the camera (default 0.6)",
     .with = "sun"},
    {.name = "fill",
     .kind = CLI_COLOUR,
     .argument = "WHAT",
     .words = {"floor", "smooth", "none"},
     .help = "floor (default), smooth, none or #RRGGBB"},
    {.name = "plate",
     .kind = CLI_FILE,
     .argument = "PHOTO",
     .help = "a photograph of the bare floor, from anywhere"},
    {.name = "plate-rig",
     .kind = CLI_FILE,
     .argument = "RIG.ini",
     .help = "the lens that took it, where it is a fisheye",
     .with = "plate"},
    {.name = "plate-points",
     .kind = CLI_FILE,
     .argument = "FILE",
     .help = "points of the floor in both, when it cannot be fitted",
     .with = "plate"},
    {.name = "logo", .kind = CLI_FILE, .argument = "FILE", .help = "a picture laid flat on the floor"},
    {.name = "logo-cap",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {0, UF_CAP_MAX_DEG, true, false},
     .help = "half-angle of the circle round it (default: --cap)",
     .with = "logo"},
    {.name = "logo-contact",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {UF_LOGO_CONTACT_MIN_DEG, UF_LOGO_CONTACT_MAX_DEG, false, false},
     .help = "a soft shade this broad round it (default none)",
     .with = "logo"},
    {.name = "heading",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {-3600, 3600, false, false},
     .help = "yaw that the logo's top points to (default 0)",
     .with = "logo"},
    {.name = "feather",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {0, 15, false, true},
     .help = "width of the soft edge outside the cap (default 1.5)"},
    {.name = "seed",
     .kind = CLI_COUNT,
     .argument = "N",
     .range = {0, 4294967295.0, false, false},
     .help = "another number, another floor and grain (default 0)"},
    {0}};

#define DEFAULT_FEATHER_DEG 1.5

/* The same order as the words of --fill. */
static const UfFill fills[] = {UF_FILL_FLOOR, UF_FILL_SMOOTH, UF_FILL_NONE};

static UfFill fill_of(const CliLine *line)
{
    const CliValue *fill = &line->values[PATCH_FILL];
    if (!fill->given)
        return UF_FILL_FLOOR;
    return fill->word >= 0 ? fills[fill->word] : UF_FILL_COLOUR;
}

static const char *fill_name(UfFill fill)
{
    switch (fill) {
    case UF_FILL_FLOOR:
        return "floor";
    case UF_FILL_SMOOTH:
        return "smooth";
    case UF_FILL_COLOUR:
        return "colour";
    case UF_FILL_NONE:
        break;
    }
    return "none";
}

static bool at_zenith(const CliLine *line)
{
    return line->values[PATCH_AT].given && line->values[PATCH_AT].word == 1;
}

/* Options that make no sense together. */
static int check_usage(const CliLine *line)
{
    const CliValue *values = line->values;
    const CliCommand *command = line->command;
    bool logo = values[PATCH_LOGO].given;
    bool fills_cap = fill_of(line) != UF_FILL_NONE;
    if (!logo && values[PATCH_LOGO_CAP].given)
        return cli_wrong_usage(command, "--logo-cap is the size of a logo; add --logo FILE");
    if (!logo && values[PATCH_LOGO_CONTACT].given)
        return cli_wrong_usage(command, "--logo-contact shades the floor round a logo; add --logo FILE");
    if (!logo && values[PATCH_HEADING].given)
        return cli_wrong_usage(command, "--heading turns a logo; add --logo FILE");
    if (!logo && !fills_cap)
        return cli_wrong_usage(command,
                               "--fill none without --logo leaves the picture as it is; give one of them");
    if (values[PATCH_SEED].given && fill_of(line) != UF_FILL_FLOOR && fill_of(line) != UF_FILL_SMOOTH)
        return cli_wrong_usage(command, "--seed is for --fill floor and smooth; leave it out");
    if (values[PATCH_PLATE].given && fill_of(line) != UF_FILL_FLOOR)
        return cli_wrong_usage(command, "--plate is a fill of its own; leave --fill out");
    if (!values[PATCH_PLATE].given && (values[PATCH_PLATE_RIG].given || values[PATCH_PLATE_POINTS].given))
        return cli_wrong_usage(command, "--plate-rig and --plate-points are for --plate PHOTO; add it");
    if (!values[PATCH_SUN].given && (values[PATCH_HEIGHT].given || values[PATCH_SHADOW_WIDTH].given))
        return cli_wrong_usage(command,
                               "--height and --shadow-width shape a shadow; add --sun AZ,EL, find or clock");
    if (values[PATCH_SUN].given && at_zenith(line))
        return cli_wrong_usage(command, "--sun covers a shadow on the floor; leave --at zenith out");
    if (!fills_cap && (values[PATCH_SUN].given || values[PATCH_MASK].given))
        return cli_wrong_usage(command, "--fill none leaves shadow and mask as they are; give another fill");
    if (values[PATCH_CAP].given && values[PATCH_RIG].given)
        return cli_wrong_usage(command, "--cap and --rig both say how large the cap is; give one of them");
    if (values[PATCH_CAP].given || values[PATCH_RIG].given || (!fills_cap && values[PATCH_LOGO_CAP].given) ||
        values[PATCH_MASK].given)
        return CLI_DONE;
    if (!fills_cap)
        return cli_wrong_usage(command, "how large is the logo? give --logo-cap DEG, such as --logo-cap 15");
    return cli_wrong_usage(
        command,
        "how large is what has to be covered? give --cap DEG (half-angle of the circle "
        "about the pole, such as --cap 18), --cap auto where the picture has a hole, --rig RIG.ini, or "
        "--mask MASK");
}

static int check_logo_size(const CliLine *line)
{
    const CliValue *cap = &line->values[PATCH_CAP];
    const CliValue *logo_cap = &line->values[PATCH_LOGO_CAP];
    if (logo_cap->given && cap->given && cap->word < 0 && logo_cap->number > cap->number)
        return cli_wrong_usage(line->command,
                               "--logo-cap %.6g is larger than --cap %.6g; the logo lies inside the cap",
                               logo_cap->number, cap->number);
    return CLI_DONE;
}

/* A depth that is the file's own asks for nothing; a patched JPEG keeps its own tables. */
static int check_encoding(const CliLine *line, const UfPictureInfo *info, UfFormat format,
                          UfWriteOptions *write)
{
    if (format == UF_FORMAT_JPEG && info->channels % 2 == 0)
        return cli_failed("%s: has transparency, which JPEG cannot hold; write .png or .tif",
                          line->operands[0]);
    if (format == UF_FORMAT_JPEG && info->format == UF_FORMAT_JPEG && line->values[CLI_QUALITY].given)
        return cli_wrong_usage(
            line->command,
            "leave --quality out: it does not go with JPEG to JPEG, the patched file keeps the "
            "input's own quality, so that nothing outside the cap changes");
    if (write->depth_bits == 8 * (int)info->sample)
        write->depth_bits = 0;
    return CLI_DONE;
}

static UfPatchOptions patch_options(const CliLine *line, const UfPicture *logo, const UfPlate *plate)
{
    const CliValue *values = line->values;
    const CliValue *cap = &values[values[PATCH_CAP].given ? PATCH_CAP : PATCH_LOGO_CAP];
    double feather_deg = values[PATCH_FEATHER].given ? values[PATCH_FEATHER].number : DEFAULT_FEATHER_DEG;
    UfPatchOptions patch = {.at_zenith = at_zenith(line),
                            .cap_rad = cap->word >= 0 ? 0 : uf_radians(cap->number),
                            .feather_rad = uf_radians(feather_deg),
                            .fill = fill_of(line),
                            .plate = plate,
                            .without_cap = !values[PATCH_CAP].given && !values[PATCH_RIG].given &&
                                           values[PATCH_MASK].given,
                            .height_m = values[PATCH_HEIGHT].number,
                            .shadow_width_m = values[PATCH_SHADOW_WIDTH].number,
                            .logo = logo,
                            .logo_cap_rad = uf_radians(values[PATCH_LOGO_CAP].number),
                            .logo_contact_rad = uf_radians(values[PATCH_LOGO_CONTACT].number),
                            .heading_rad = uf_radians(values[PATCH_HEADING].number),
                            .seed = (unsigned)values[PATCH_SEED].number,
                            .threads = cli_threads(line)};
    for (size_t i = 0; i < 3; i++)
        patch.colour[i] = values[PATCH_FILL].colour[i];
    return patch;
}

/* Degrees without the last bits that the way through radians left. */
static double degrees(double rad)
{
    return round(uf_degrees(rad) * 1e9) / 1e9;
}

static void print_plain(const CliLine *line, const UfPictureInfo *info, const UfPatchOptions *patch,
                        const UfPatchResult *result)
{
    cli_put_text(stdout, line->values[CLI_OUT].text);
    putchar('\n');
    if (!patch->without_cap)
        printf("  cap   %.2f deg about the %s, soft edge %.2f deg\n", degrees(result->cap_rad),
               patch->at_zenith ? "zenith" : "nadir", degrees(patch->feather_rad));
    if (patch->mask != NULL) {
        fputs("  mask  ", stdout);
        cli_put_text(stdout, line->values[PATCH_MASK].text);
        putchar('\n');
    }
    if (patch->has_sun)
        printf("  sun   yaw %.1f, elevation %.1f deg; shadow covered %.2f m from the foot\n",
               degrees(patch->sun.lon_rad), degrees(patch->sun.lat_rad), result->shadow_length_m);
    printf("  rows  %zu to %zu of %zu touched\n", result->first_row_px, result->last_row_px - 1,
           info->height_px);
    if (patch->plate != NULL)
        cli_plate_print(line->values[PATCH_PLATE].text, &result->plate);
    printf("  fill  %s", patch->plate != NULL ? "plate" : fill_name(result->fill_used));
    if (patch->logo != NULL) {
        fputs(", logo ", stdout);
        cli_put_text(stdout, line->values[PATCH_LOGO].text);
    }
    putchar('\n');
}

static void print_json(const CliLine *line, const UfPictureInfo *info, const UfPatchOptions *patch,
                       const UfPatchResult *result, const UfReport *report)
{
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", line->values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", (long long)info->width_px);
    cli_json_whole(&json, "height_px", (long long)info->height_px);
    cli_json_text(&json, "at", patch->at_zenith ? "zenith" : "nadir");
    cli_json_number(&json, "cap_deg", degrees(result->cap_rad));
    if (patch->mask != NULL)
        cli_json_file(&json, "mask", line->values[PATCH_MASK].text);
    if (patch->has_sun) {
        cli_json_open(&json, "shadow", '{');
        cli_json_number(&json, "sun_yaw_deg", degrees(patch->sun.lon_rad));
        cli_json_number(&json, "sun_elevation_deg", degrees(patch->sun.lat_rad));
        cli_json_number(&json, "length_m", result->shadow_length_m);
        cli_json_truth(&json, "cut", result->shadow_is_cut);
        cli_json_close(&json, '}');
    }
    if (line->values[PATCH_RIG].given)
        cli_json_file(&json, "rig", line->values[PATCH_RIG].text);
    cli_json_number(&json, "feather_deg", degrees(patch->feather_rad));
    cli_json_text(&json, "fill", patch->plate != NULL ? "plate" : fill_name(result->fill_used));
    if (patch->plate != NULL)
        cli_plate_json(&json, line->values[PATCH_PLATE].text, &result->plate);
    if (patch->logo != NULL)
        cli_json_file(&json, "logo", line->values[PATCH_LOGO].text);
    cli_json_whole(&json, "first_row_px", (long long)result->first_row_px);
    cli_json_whole(&json, "last_row_px", (long long)result->last_row_px - 1);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

/* What the work needs, so that one place frees it. */
typedef struct Work {
    UfReport *report;
    UfPicture *panorama, *logo;
    CliPlate plate;
    UfTouched *touched;
    UfPictureInfo info;
    UfWriteOptions write;
    double rig_cap_rad, rig_height_m; /* 0 without --rig */
    CliWhere where;
} Work;

static int read_logo(const CliLine *line, Work *work)
{
    const char *path = line->values[PATCH_LOGO].text;
    int refused = cli_check_not_output(line, path);
    if (refused != CLI_DONE)
        return refused;
    UfReadOptions read = cli_read_options(line);
    UfStatus status = uf_picture_read(path, &read, &work->logo, work->report);
    return status == UF_OK ? CLI_DONE : cli_failed_report(line, path, status, work->report);
}

static int plan_cap(const CliLine *line, Work *work)
{
    const char *path = line->values[PATCH_RIG].text;
    const CliValue *logo_cap = &line->values[PATCH_LOGO_CAP];
    int status = cli_check_not_output(line, path);
    if (status == CLI_DONE)
        status = cli_rig_cap(path, at_zenith(line), cli_threads(line), &work->rig_cap_rad,
                             &work->rig_height_m, work->report);
    if (status == CLI_DONE && logo_cap->given && logo_cap->number > uf_degrees(work->rig_cap_rad))
        return cli_wrong_usage(line->command,
                               "--logo-cap %.6g is larger than the rig's cap, %.6g; the logo lies inside it",
                               logo_cap->number, uf_degrees(work->rig_cap_rad));
    return status;
}

/* Everything that can be refused by names and headers, before the pixels are read. */
static int prepare(const CliLine *line, Work *work)
{
    UfFormat format = UF_FORMAT_UNKNOWN;
    int status = check_usage(line);
    if (status == CLI_DONE)
        status = check_logo_size(line);
    if (status == CLI_DONE)
        status = cli_check_output(line, &format);
    if (status == CLI_DONE)
        status = cli_probe_panorama(line, &work->info, work->report);
    work->write = cli_write_options(line);
    if (status == CLI_DONE)
        status = check_encoding(line, &work->info, format, &work->write);
    if (status == CLI_DONE && line->values[PATCH_RIG].given)
        status = plan_cap(line, work);
    if (status == CLI_DONE && line->values[PATCH_LOGO].given)
        status = read_logo(line, work);
    if (status == CLI_DONE && line->values[PATCH_PLATE].given)
        status = cli_plate_read(line, line->values[PATCH_PLATE].text, line->values[PATCH_PLATE_RIG].text,
                                line->values[PATCH_PLATE_POINTS].text, &work->plate, work->report);
    return status;
}

/* The rows that are read and what is worked in beside them; a shadow or a mask may still ask for more. */
static int check_memory(const CliLine *line, const UfPictureInfo *info, const UfPatchOptions *covering,
                        const UfReadOptions *read)
{
    size_t rows = read->end_row_px > 0 ? read->end_row_px - read->first_row_px : info->height_px;
    double bytes = (double)rows * (double)info->width_px * (double)info->channels * (double)info->sample;
    if (!line->values[PATCH_SUN].given && !line->values[PATCH_MASK].given)
        bytes += (double)uf_patch_bytes_needed(covering, info->width_px, info->height_px);
    double limit = (double)read->max_memory_bytes;
    if (bytes <= limit)
        return CLI_DONE;
    return cli_failed(
        "%s: covering it needs at least %.1f MB of memory, and the limit is %.1f MB; give --max-memory "
        "%.0fM or more",
        line->operands[0], bytes / 1e6, limit / 1e6, ceil(bytes / (1u << 20)));
}

/* A file that is changed in part is read in part, where only cap and logo say what changes. */
static int read_panorama(const CliLine *line, Work *work, const UfPatchOptions *covering)
{
    const char *path = line->operands[0];
    UfReadOptions read = cli_read_options(line);
    bool in_part = uf_format_from_name(line->values[CLI_OUT].text) == work->info.format &&
                   work->write.depth_bits == 0 && work->write.quality == 0;
    if (in_part && !line->values[PATCH_MASK].given && !line->values[PATCH_SUN].given) {
        uf_patch_rows_needed(covering, work->info.width_px, work->info.height_px, &read.first_row_px,
                             &read.end_row_px);
        read.sparse = uf_patch_rows_sparse(covering, work->info.width_px, work->info.height_px);
        uf_patch_rows_replaced(covering, work->info.width_px, work->info.height_px, &read.replaced_first_px,
                               &read.replaced_end_px);
    }
    int refused = check_memory(line, &work->info, covering, &read);
    if (refused != CLI_DONE)
        return refused;
    cli_progress(line, "reading", path);
    UfStatus status = uf_picture_read(path, &read, &work->panorama, work->report);
    if (status == UF_OK)
        status = uf_touched_create(work->info.width_px, work->info.height_px, &work->touched, work->report);
    cli_progress_end(line);
    return status == UF_OK ? CLI_DONE : cli_failed_report(line, path, status, work->report);
}

/* Mask and sun, which are told by the panorama's pixels. */
static int find_where(const CliLine *line, Work *work, UfPatchOptions *covering)
{
    const CliValue *values = line->values;
    int status = CLI_DONE;
    if (values[PATCH_MASK].given)
        status = cli_read_mask(line, values[PATCH_MASK].text, work->panorama, &work->where, work->report);
    if (status == CLI_DONE && values[PATCH_SUN].given)
        status = cli_place_sun(line, &values[PATCH_SUN], line->operands[0], work->panorama, &work->where,
                               work->report);
    covering->mask = work->where.mask;
    covering->mask_view = work->where.has_view ? &work->where.mask_view : NULL;
    covering->has_sun = work->where.has_sun;
    covering->sun = work->where.sun;
    if (!values[PATCH_HEIGHT].given)
        covering->height_m = work->rig_height_m;
    return status;
}

static UfStatus patch(const CliLine *line, Work *work, const UfPatchOptions *patch_options,
                      UfPatchResult *result)
{
    const char *path = line->operands[0];
    const char *out = line->values[CLI_OUT].text;
    UfStatus status = UF_OK;
    cli_progress(line, "covering the cap of", path);
    if (status == UF_OK)
        status = uf_patch(work->panorama, patch_options, work->touched, result, work->report);
    cli_progress(line, "writing", out);
    if (status == UF_OK)
        status = uf_picture_rewrite(work->panorama, path, work->touched, out, &work->write, work->report);
    cli_progress_end(line);
    return status;
}

static int run(const CliLine *line)
{
    Work work = {.report = uf_report_create()};
    UfPatchResult result = {0};
    int status = work.report == NULL ? cli_failed("not enough memory") : prepare(line, &work);
    if (status != CLI_DONE)
        goto cleanup;
    UfPatchOptions covering =
        patch_options(line, work.logo, work.plate.plate.photo != NULL ? &work.plate.plate : NULL);
    if (line->values[PATCH_RIG].given)
        covering.cap_rad = work.rig_cap_rad;
    if ((status = read_panorama(line, &work, &covering)) != CLI_DONE ||
        (status = find_where(line, &work, &covering)) != CLI_DONE)
        goto cleanup;
    UfStatus patched = patch(line, &work, &covering, &result);
    if (patched != UF_OK) {
        status = cli_failed_report(line, line->operands[0], patched, work.report);
        goto cleanup;
    }
    if (line->values[CLI_JSON].given)
        print_json(line, &work.info, &covering, &result, work.report);
    else
        print_plain(line, &work.info, &covering, &result);
    status = cli_warnings(line, work.report);
cleanup:
    uf_touched_free(&work.touched);
    uf_picture_free(&work.panorama);
    uf_picture_free(&work.logo);
    cli_plate_clear(&work.plate);
    cli_where_clear(&work.where);
    uf_report_free(&work.report);
    return status;
}

const CliCommand cli_command_patch = {
    .name = "patch",
    .summary = "cover the tripod at the nadir: floor, colour, logo",
    .example = "underfoot patch hall.jpg -o hall-clean.jpg --cap 18",
    .operands = "PANO -o OUT --cap DEG | --rig RIG.ini | --mask MASK",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Covers a circle about the nadir (or the zenith) of a 2:1 panorama. Nothing above\n"
             "its soft edge changes: samples of PNG and TIFF and blocks of JPEG stay exact.\n",
    .more = "The metadata go along. floor rebuilds the ground from what surrounds the\n"
            "circle; smooth continues the colours of its edge; none leaves what is there.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) |
              CLI_TAKES(CLI_THREADS) | CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .check = check_usage,
    .run = run,
};

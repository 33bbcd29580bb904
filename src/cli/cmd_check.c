/* `underfoot check`: what files are, and whether they are sound panoramas. */
#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

static const char *const hole_names[] = {"transparent", "black", "flat"};
static const char *const channel_names[] = {"", "grey", "grey with alpha", "RGB", "RGB with alpha"};

/* What is behind one file's part of the result. */
typedef struct Checked {
    const char *path;
    UfStatus status;
    UfCheck check;
    const UfReport *report;
} Checked;

static const char *sample_name(UfSample sample)
{
    return sample == UF_SAMPLE_U8 ? "8 bit" : sample == UF_SAMPLE_U16 ? "16 bit" : "32-bit float";
}

static void print_row(const char *name)
{
    printf("  %-14s", name);
}

static void print_pose(const UfPhotoSphere *sphere)
{
    const struct {
        bool has;
        const char *name;
        double deg;
    } poses[] = {{sphere->has_heading, "heading", sphere->heading_deg},
                 {sphere->has_pitch, "pitch", sphere->pitch_deg},
                 {sphere->has_roll, "roll", sphere->roll_deg}};
    for (size_t i = 0; i < sizeof poses / sizeof poses[0]; i++)
        if (poses[i].has)
            printf(", %s %.6g deg", poses[i].name, poses[i].deg);
}

static void print_sphere(const UfPhotoSphere *sphere)
{
    print_row("Photo Sphere");
    if (!sphere->present) {
        puts("none");
        return;
    }
    cli_put_text(stdout, sphere->projection);
    if (sphere->has_full)
        printf(", full %ld x %ld", sphere->full_width_px, sphere->full_height_px);
    bool is_part =
        sphere->has_cropped && !(sphere->has_full && sphere->cropped_width_px == sphere->full_width_px &&
                                 sphere->cropped_height_px == sphere->full_height_px);
    if (is_part)
        printf(", this part %ld x %ld at %ld, %ld", sphere->cropped_width_px, sphere->cropped_height_px,
               sphere->cropped_left_px, sphere->cropped_top_px);
    print_pose(sphere);
    putchar('\n');
}

static void print_hole(const UfHole *hole)
{
    print_row("hole");
    printf("%s, about yaw %.1f pitch %.1f deg, radius %.1f deg, %.2f %% of the sphere\n",
           hole_names[hole->kind], hole->lon_deg, hole->lat_deg, hole->radius_deg, hole->sphere_percent);
}

static void print_facts(const UfCheck *check)
{
    const UfPictureInfo *info = &check->info;
    print_row("size");
    printf("%zu x %zu pixels, %s, %s\n", info->width_px, info->height_px, sample_name(info->sample),
           channel_names[info->channels]);
    print_row("file");
    bool small = info->file_bytes < 1000000;
    printf("%s%s, %s%s, %.1f %s\n", info->big_tiff ? "Big" : "", uf_format_name(info->format), info->encoding,
           info->tiled ? ", tiles" : "", (double)info->file_bytes / (small ? 1e3 : 1e6), small ? "kB" : "MB");
    print_row("profile");
    cli_put_text(stdout, check->profile);
    putchar('\n');
    print_row("metadata");
    printf("EXIF %s, XMP %s, stored orientation %d\n", check->has_exif ? "yes" : "no",
           check->has_xmp ? "yes" : "no", info->orientation);
    print_sphere(&check->sphere);
    if (!check->is_two_to_one)
        return;
    print_row("seam");
    printf("differs by %.1f of 255, %.2f times as much as neighbouring columns\n", check->seam_difference,
           check->seam_ratio);
    print_row("poles");
    printf("rows differ by %.1f (zenith) and %.1f (nadir) of 255\n", check->zenith_spread,
           check->nadir_spread);
    for (size_t i = 0; i < check->hole_count; i++)
        print_hole(&check->holes[i]);
}

static void print_plain(const Checked *checked)
{
    cli_put_text(stdout, checked->path);
    putchar('\n');
    size_t findings = uf_report_warning_count(checked->report);
    for (size_t i = 0; i < findings; i++) {
        print_row("finding");
        cli_put_text(stdout, uf_report_warning(checked->report, i));
        putchar('\n');
    }
    if (findings == 0) {
        print_row("sound");
        puts("nothing to mend was found");
    }
    print_facts(&checked->check);
}

static void json_sphere(CliJson *json, const UfPhotoSphere *sphere)
{
    cli_json_open(json, "photo_sphere", '{');
    cli_json_truth(json, "present", sphere->present);
    if (sphere->present)
        cli_json_text(json, "projection", sphere->projection);
    if (sphere->has_full) {
        cli_json_whole(json, "full_width_px", sphere->full_width_px);
        cli_json_whole(json, "full_height_px", sphere->full_height_px);
    }
    if (sphere->has_cropped) {
        cli_json_whole(json, "cropped_width_px", sphere->cropped_width_px);
        cli_json_whole(json, "cropped_height_px", sphere->cropped_height_px);
        cli_json_whole(json, "cropped_left_px", sphere->cropped_left_px);
        cli_json_whole(json, "cropped_top_px", sphere->cropped_top_px);
    }
    if (sphere->has_heading)
        cli_json_number(json, "heading_deg", sphere->heading_deg);
    if (sphere->has_pitch)
        cli_json_number(json, "pitch_deg", sphere->pitch_deg);
    if (sphere->has_roll)
        cli_json_number(json, "roll_deg", sphere->roll_deg);
    cli_json_close(json, '}');
}

static void json_holes(CliJson *json, const UfCheck *check)
{
    cli_json_open(json, "holes", '[');
    for (size_t i = 0; i < check->hole_count; i++) {
        const UfHole *hole = &check->holes[i];
        cli_json_open(json, NULL, '{');
        cli_json_text(json, "kind", hole_names[hole->kind]);
        cli_json_number(json, "yaw_deg", hole->lon_deg);
        cli_json_number(json, "pitch_deg", hole->lat_deg);
        cli_json_number(json, "radius_deg", hole->radius_deg);
        cli_json_number(json, "sphere_percent", hole->sphere_percent);
        cli_json_close(json, '}');
    }
    cli_json_close(json, ']');
}

static void json_info(CliJson *json, const UfPictureInfo *info)
{
    cli_json_text(json, "format", uf_format_name(info->format));
    cli_json_text(json, "encoding", info->encoding);
    cli_json_whole(json, "width_px", (long long)info->width_px);
    cli_json_whole(json, "height_px", (long long)info->height_px);
    cli_json_whole(json, "channels", (long long)info->channels);
    cli_json_whole(json, "depth_bits", 8 * (long long)info->sample);
    cli_json_truth(json, "is_float", info->sample == UF_SAMPLE_F32);
    cli_json_whole(json, "orientation", info->orientation);
    cli_json_truth(json, "is_progressive", info->progressive);
    cli_json_truth(json, "is_big_tiff", info->big_tiff);
    cli_json_truth(json, "is_tiled", info->tiled);
    cli_json_whole(json, "file_bytes", (long long)info->file_bytes);
}

static void json_facts(CliJson *json, const UfCheck *check)
{
    json_info(json, &check->info);
    cli_json_text(json, "profile", check->profile);
    cli_json_truth(json, "has_exif", check->has_exif);
    cli_json_truth(json, "has_xmp", check->has_xmp);
    cli_json_truth(json, "has_icc", check->has_icc);
    json_sphere(json, &check->sphere);
    cli_json_truth(json, "is_two_to_one", check->is_two_to_one);
    if (check->is_two_to_one) {
        cli_json_number(json, "seam_ratio", check->seam_ratio);
        cli_json_number(json, "seam_difference_of_255", check->seam_difference);
        cli_json_number(json, "zenith_spread_of_255", check->zenith_spread);
        cli_json_number(json, "nadir_spread_of_255", check->nadir_spread);
    }
    json_holes(json, check);
}

static void print_json(CliJson *json, const Checked *checked)
{
    cli_json_open(json, NULL, '{');
    cli_json_file(json, "file", checked->path);
    cli_json_text(json, "error", checked->status == UF_OK ? NULL : uf_report_error(checked->report));
    cli_json_open(json, "findings", '[');
    for (size_t i = 0; i < uf_report_warning_count(checked->report); i++)
        cli_json_text(json, NULL, uf_report_warning(checked->report, i));
    cli_json_close(json, ']');
    if (checked->status == UF_OK)
        json_facts(json, &checked->check);
    cli_json_close(json, '}');
}

/* One file; a failure is told and the next one is looked at. */
static int check_file(const CliLine *line, const char *path, CliJson *json)
{
    UfReport *report = uf_report_create();
    UfReadOptions options = cli_read_options(line);
    Checked checked = {.path = path, .report = report};
    if (report == NULL)
        return cli_failed("not enough memory");
    cli_progress(line, "checking", path);
    checked.status = uf_check(path, &options, &checked.check, report);
    cli_progress_end(line);
    int status = checked.status != UF_OK ? cli_failed_report(line, path, checked.status, report) : CLI_DONE;
    if (status == CLI_DONE && uf_report_warning_count(report) > 0)
        status = CLI_WARNED;
    if (json->stream != NULL)
        print_json(json, &checked);
    else if (status != CLI_FAILED)
        print_plain(&checked);
    uf_report_free(&report);
    return status;
}

static int run(const CliLine *line)
{
    CliJson json = cli_json_start(line->values[CLI_JSON].given ? stdout : NULL);
    if (json.stream != NULL)
        cli_json_open(&json, NULL, '[');
    int result = CLI_DONE;
    for (size_t i = 0; i < line->operand_count; i++) {
        int status = check_file(line, line->operands[i], &json);
        if (status == CLI_FAILED || result == CLI_DONE)
            result = status;
    }
    if (json.stream != NULL) {
        cli_json_close(&json, ']');
        cli_json_end(&json);
    }
    return result;
}

static const CliOption no_options[] = {{0}};

const CliCommand cli_command_check = {
    .name = "check",
    .summary = "is it a sound panorama? size, seam, poles, holes, metadata",
    .example = "underfoot check hall.jpg workshop.tif",
    .operands = "PANO...",
    .least_operands = 1,
    .most_operands = (size_t)-1,
    .about = "Says what a file is, and what is wrong with it as a full panorama: not 2:1, a\n"
             "broken seam, poles that are not one colour, holes, missing or stale metadata.\n"
             "Exit status 2 when there is anything to mend, 1 when a file cannot be read.\n",
    .no_out = "check writes no file, and what it finds goes to standard output",
    .common = CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = no_options,
    .run = run,
};

/* `underfoot putback`: retouched faces and views home into their panorama, changed pixels only. */
#include <math.h>

#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum {
    PUTBACK_AS = CLI_COMMON_COUNT,
    PUTBACK_YAW,
    PUTBACK_PITCH,
    PUTBACK_ROLL,
    PUTBACK_FOV,
    PUTBACK_FEATHER,
    PUTBACK_TOLERANCE
};

#define FEATHER_MOST_PX 200.0
#define EDITS_MOST      64u

static const CliOption options[] = {{.name = "as",
                                     .kind = CLI_FILE,
                                     .argument = "FACE",
                                     .help = "which face it is, when its home address is lost"},
                                    {.name = "yaw",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-3600, 3600, false, false},
                                     .help = "where the view looks, when its address is lost"},
                                    {.name = "pitch",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-90, 90, false, false},
                                     .help = "how far up it looks (default 0)"},
                                    {.name = "roll",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-180, 180, false, false},
                                     .help = "how it is turned (default 0)"},
                                    {.name = "fov",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {0, UF_VIEW_FOV_MAX_DEG, true, false},
                                     .help = "its full angle across the width (default 90)"},
                                    {.name = "feather",
                                     .kind = CLI_COUNT,
                                     .argument = "PX",
                                     .range = {0, FEATHER_MOST_PX, false, false},
                                     .help = "soft edge round what changed, its own pixels (default 2)"},
                                    {.name = "tolerance",
                                     .kind = CLI_COUNT,
                                     .argument = "N",
                                     .range = {0, 255, false, false},
                                     .help = "differences up to N of 255 are none (default: measured)"},
                                    {0}};

#define DEFAULT_FOV_DEG 90.0

static bool says_view(const CliLine *line)
{
    for (size_t id = PUTBACK_YAW; id <= PUTBACK_FOV; id++)
        if (line->values[id].given)
            return true;
    return false;
}

static int check_usage(const CliLine *line)
{
    const CliValue *as = &line->values[PUTBACK_AS];
    UfFace face;
    bool by_hand = as->given || says_view(line);
    if (line->operand_count > EDITS_MOST + 1)
        return cli_wrong_usage(line->command, "at most %u pictures can be put back at once", EDITS_MOST);
    if (as->given && !uf_face_from_name(as->text, &face))
        return cli_wrong_usage(line->command,
                               "--as '%s': there is no such face; give front, right, back, left, up or down",
                               as->text);
    if (as->given && says_view(line))
        return cli_wrong_usage(
            line->command,
            "--as says that it is a face, --yaw, --pitch, --roll and --fov that it is a view; give "
            "one or the other");
    if (by_hand && line->operand_count > 2)
        return cli_wrong_usage(
            line->command, "--as and the angles are for one picture; put the others back by another call");
    return CLI_DONE;
}

/* The address that the options state; size, sampling and fingerprint are left open. */
static UfHome stated_home(const CliLine *line)
{
    const CliValue *values = line->values;
    UfHome home = {.kind = UF_HOME_VIEW};
    if (values[PUTBACK_AS].given) {
        home.kind = UF_HOME_FACE;
        (void)uf_face_from_name(values[PUTBACK_AS].text, &home.face);
        home.fov_deg = 90;
        return home;
    }
    home.yaw_deg = remainder(values[PUTBACK_YAW].number, 360);
    home.pitch_deg = values[PUTBACK_PITCH].number;
    home.roll_deg = values[PUTBACK_ROLL].number;
    home.fov_deg = values[PUTBACK_FOV].given ? values[PUTBACK_FOV].number : DEFAULT_FOV_DEG;
    return home;
}

#define ANGLE_STEP_DEG 1e-6

static bool same_angle(double a_deg, double b_deg)
{
    return fabs(remainder(a_deg - b_deg, 360)) < ANGLE_STEP_DEG;
}

static bool same_place(const UfHome *a, const UfHome *b)
{
    if (a->kind != b->kind)
        return false;
    if (a->kind == UF_HOME_FACE)
        return a->face == b->face;
    return same_angle(a->yaw_deg, b->yaw_deg) && same_angle(a->pitch_deg, b->pitch_deg) &&
           same_angle(a->roll_deg, b->roll_deg) && same_angle(a->fov_deg, b->fov_deg);
}

#define PLACE_BYTES 120

/* "right face", "view at yaw 30, pitch -90, roll 0, 60 deg across" */
static void describe(const UfHome *home, char text[static PLACE_BYTES])
{
    if (home->kind == UF_HOME_FACE)
        (void)snprintf(text, PLACE_BYTES, "%s face", uf_face_name(home->face));
    else if (home->kind == UF_HOME_VIEW)
        (void)snprintf(text, PLACE_BYTES, "view at yaw %.6g, pitch %.6g, roll %.6g, %.6g deg across",
                       home->yaw_deg, home->pitch_deg, home->roll_deg, home->fov_deg);
    else
        (void)snprintf(text, PLACE_BYTES, "%s of faces", uf_home_kind_name(home->kind));
}

/* What the work needs, so that one place frees it. */
typedef struct Work {
    UfReport *report;
    UfPictureInfo info;
    UfWriteOptions write;
    UfPicture *panorama;
    UfTouched *touched;
    UfPicture *pictures[EDITS_MOST];
    UfEdit edits[EDITS_MOST];
    UfPutbackChange changes[EDITS_MOST];
    size_t count;
    UfPutbackResult result;
    char conflict[2 * PLACE_BYTES + 80]; /* what an address says against the options */
} Work;

static int lost_address(const char *path)
{
    return cli_failed(
        "%s: has no home address, neither inside nor in %s%s beside it; say what it is with --as "
        "FACE, or with --yaw, --pitch, --roll and --fov",
        path, path, UF_HOME_SUFFIX);
}

/* The options' address, or the one that was found when both say the same. */
static void choose_stated(const CliLine *line, const UfHome *found, UfEdit *edit, Work *work)
{
    UfHome stated = stated_home(line);
    if (found != NULL && same_place(found, &stated)) {
        edit->home = *found;
        return;
    }
    edit->home = stated;
    edit->by_hand = true;
    if (found == NULL)
        return;
    char is[PLACE_BYTES], said[PLACE_BYTES];
    describe(found, is);
    describe(&stated, said);
    (void)snprintf(work->conflict, sizeof work->conflict,
                   "its home address says %s, the options say %s; the options were followed", is, said);
}

static int read_edit(const CliLine *line, const char *path, Work *work)
{
    UfEdit *edit = &work->edits[work->count];
    UfPicture **picture = &work->pictures[work->count];
    UfHome found_home;
    bool found = false;
    UfReadOptions read = cli_read_options(line);
    UfStatus status = uf_picture_read(path, &read, picture, work->report);
    if (status == UF_OK)
        status = uf_home_find(*picture, path, &found_home, &found, work->report);
    if (status != UF_OK)
        return cli_failed_report(line, path, status, work->report);
    *edit = (UfEdit){.picture = *picture, .name = path};
    work->count++;
    if (line->values[PUTBACK_AS].given || says_view(line)) {
        choose_stated(line, found ? &found_home : NULL, edit, work);
        return CLI_DONE;
    }
    if (!found)
        return lost_address(path);
    edit->home = found_home;
    return CLI_DONE;
}

/* The JPEG that comes out keeps its own tables; a depth that is the file's own asks for nothing. */
static int check_encoding(const CliLine *line, const UfPictureInfo *info, UfFormat format,
                          UfWriteOptions *write)
{
    if (format == UF_FORMAT_JPEG && info->channels % 2 == 0)
        return cli_failed("%s: has transparency, which JPEG cannot hold; write .png or .tif",
                          line->operands[0]);
    if (format == UF_FORMAT_JPEG && info->format == UF_FORMAT_JPEG && line->values[CLI_QUALITY].given)
        return cli_wrong_usage(
            line->command,
            "leave --quality out: it does not go with JPEG to JPEG, the file keeps its own quality, so that "
            "nothing outside the change changes");
    if (write->depth_bits == 8 * (int)info->sample)
        write->depth_bits = 0;
    return CLI_DONE;
}

/* Everything that can be refused by names and headers, before the pixels are read. */
static int prepare(const CliLine *line, Work *work)
{
    UfFormat format = UF_FORMAT_UNKNOWN;
    int status = check_usage(line);
    if (status == CLI_DONE)
        status = cli_check_output(line, &format);
    if (status == CLI_DONE)
        status = cli_probe_panorama(line, &work->info, work->report);
    work->write = cli_write_options(line);
    if (status == CLI_DONE)
        status = check_encoding(line, &work->info, format, &work->write);
    for (size_t i = 1; status == CLI_DONE && i < line->operand_count; i++) {
        if (cli_same_file(line->operands[i], line->operands[0]))
            status = cli_failed("%s: is the panorama itself; name the retouched faces or views behind it",
                                line->operands[i]);
        if (status == CLI_DONE)
            status = cli_check_not_output(line, line->operands[i]);
    }
    for (size_t i = 1; status == CLI_DONE && i < line->operand_count; i++) {
        cli_progress(line, "reading", line->operands[i]);
        status = read_edit(line, line->operands[i], work);
        cli_progress_end(line);
    }
    return status;
}

static UfStatus bring_home(const CliLine *line, Work *work)
{
    const char *path = line->operands[0], *out = line->values[CLI_OUT].text;
    UfPutbackOptions putback = {
        .feather_px = line->values[PUTBACK_FEATHER].given ? line->values[PUTBACK_FEATHER].number : -1,
        .tolerance = line->values[PUTBACK_TOLERANCE].given ? line->values[PUTBACK_TOLERANCE].number : -1,
        .threads = cli_threads(line)};
    UfStatus status = cli_read_panorama(line, &work->panorama, work->report);
    if (status == UF_OK)
        status = uf_touched_create(work->info.width_px, work->info.height_px, &work->touched, work->report);
    cli_progress(line, "comparing with", path);
    if (status == UF_OK)
        status = uf_putback(work->panorama, work->edits, work->count, &putback, work->touched, work->changes,
                            &work->result, work->report);
    cli_progress(line, "writing", out);
    if (status == UF_OK)
        status = uf_putback_write(work->panorama, path, work->touched, &work->result, out, &work->write,
                                  work->report);
    cli_progress_end(line);
    return status;
}

static void print_edit(const UfEdit *edit, const UfPutbackChange *change)
{
    char place[PLACE_BYTES];
    describe(&edit->home, place);
    fputs("  ", stdout);
    cli_put_text(stdout, edit->name);
    printf("  %s%s%s\n", place, change->resized ? ", resized" : "",
           change->converted ? ", other colours" : "");
    if (!change->changed) {
        puts("    no change");
        return;
    }
    printf("    %zu pixels changed (%.3g%%), in %zu x %zu at %zu, %zu\n", change->changed_px,
           change->changed_percent, change->width_px, change->height_px, change->left_px, change->top_px);
    printf("    yaw %.2f, pitch %.2f, within %.2f deg; %.3g%% of the sphere\n", change->lon_deg,
           change->lat_deg, change->radius_deg, change->sphere_percent);
    if (!change->exact)
        printf("    noise: differences up to %.2f of 255 on plain ground are none\n", change->tolerance);
}

static void print_plain(const CliLine *line, const Work *work)
{
    double all = (double)work->info.width_px * (double)work->info.height_px;
    cli_put_text(stdout, line->values[CLI_OUT].text);
    putchar('\n');
    for (size_t i = 0; i < work->count; i++)
        print_edit(&work->edits[i], &work->changes[i]);
    if (work->result.changed_px == 0)
        puts("  panorama  as it was");
    else
        printf("  panorama  %zu pixels changed (%.3g%%), rows %zu to %zu of %zu\n", work->result.changed_px,
               100 * (double)work->result.changed_px / all, work->result.top_px, work->result.bottom_px - 1,
               work->info.height_px);
}

static void json_edit(CliJson *json, const UfEdit *edit, const UfPutbackChange *change)
{
    const UfHome *home = &edit->home;
    cli_json_open(json, NULL, '{');
    cli_json_file(json, "file", edit->name);
    cli_json_text(json, "kind", uf_home_kind_name(home->kind));
    if (home->kind == UF_HOME_FACE)
        cli_json_text(json, "face", uf_face_name(home->face));
    if (home->kind == UF_HOME_VIEW) {
        cli_json_number(json, "yaw_deg", home->yaw_deg);
        cli_json_number(json, "pitch_deg", home->pitch_deg);
        cli_json_number(json, "roll_deg", home->roll_deg);
        cli_json_number(json, "fov_deg", home->fov_deg);
    }
    cli_json_truth(json, "changed", change->changed);
    cli_json_truth(json, "exact", change->exact);
    cli_json_number(json, "tolerance", change->tolerance);
    cli_json_truth(json, "resized", change->resized);
    cli_json_truth(json, "converted", change->converted);
    cli_json_truth(json, "other_state", change->other_panorama);
    cli_json_whole(json, "changed_px", (long long)change->changed_px);
    if (change->changed) {
        cli_json_number(json, "changed_percent", change->changed_percent);
        cli_json_whole(json, "left_px", (long long)change->left_px);
        cli_json_whole(json, "top_px", (long long)change->top_px);
        cli_json_whole(json, "width_px", (long long)change->width_px);
        cli_json_whole(json, "height_px", (long long)change->height_px);
        cli_json_number(json, "lon_deg", change->lon_deg);
        cli_json_number(json, "lat_deg", change->lat_deg);
        cli_json_number(json, "radius_deg", change->radius_deg);
        cli_json_number(json, "sphere_percent", change->sphere_percent);
    }
    cli_json_close(json, '}');
}

static void print_json(const CliLine *line, const Work *work)
{
    const UfPutbackResult *result = &work->result;
    double all = (double)work->info.width_px * (double)work->info.height_px;
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", line->values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", (long long)work->info.width_px);
    cli_json_whole(&json, "height_px", (long long)work->info.height_px);
    cli_json_open(&json, "edits", '[');
    for (size_t i = 0; i < work->count; i++)
        json_edit(&json, &work->edits[i], &work->changes[i]);
    cli_json_close(&json, ']');
    cli_json_truth(&json, "changed", result->changed_px > 0);
    cli_json_whole(&json, "changed_px", (long long)result->changed_px);
    cli_json_number(&json, "changed_percent", 100 * (double)result->changed_px / all);
    cli_json_number(&json, "sphere_percent", result->sphere_percent);
    if (result->changed_px > 0) {
        cli_json_whole(&json, "first_row_px", (long long)result->top_px);
        cli_json_whole(&json, "last_row_px", (long long)result->bottom_px - 1);
    }
    cli_json_warnings(&json, work->report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

/* The warnings of the library, and what only the command knows. */
static int finish(const CliLine *line, const Work *work)
{
    bool quiet = line->values[CLI_QUIET].given;
    bool any = false;
    int status = cli_warnings(line, work->report);
    for (size_t i = 0; i < work->count; i++)
        any = any || work->changes[i].changed;
    if (work->conflict[0] != '\0' && !quiet) {
        fputs("underfoot: warning: ", stderr);
        cli_put_text(stderr, work->edits[0].name);
        fprintf(stderr, ": %s\n", work->conflict);
    }
    if (!any && !quiet)
        fputs("underfoot: warning: no change found: the pictures are as they were taken out, and so is the "
              "panorama\n",
              stderr);
    return !any || work->conflict[0] != '\0' ? CLI_WARNED : status;
}

static void work_free(Work **work)
{
    if (*work == NULL)
        return;
    for (size_t i = 0; i < EDITS_MOST; i++)
        uf_picture_free(&(*work)->pictures[i]);
    uf_touched_free(&(*work)->touched);
    uf_picture_free(&(*work)->panorama);
    uf_report_free(&(*work)->report);
    free(*work);
    *work = NULL;
}

static int run(const CliLine *line)
{
    Work *work = calloc(1, sizeof *work);
    if (work == NULL || (work->report = uf_report_create()) == NULL) {
        work_free(&work);
        return cli_failed("not enough memory");
    }
    int status = prepare(line, work);
    if (status != CLI_DONE)
        goto cleanup;
    UfStatus brought = bring_home(line, work);
    if (brought != UF_OK) {
        status = cli_failed_report(line, line->operands[0], brought, work->report);
        goto cleanup;
    }
    if (line->values[CLI_JSON].given)
        print_json(line, work);
    else
        print_plain(line, work);
    status = finish(line, work);
cleanup:
    work_free(&work);
    return status;
}

const CliCommand cli_command_putback = {
    .name = "putback",
    .summary = "retouched faces and views home, changed pixels only",
    .example = "underfoot putback hall.jpg faces/down.png -o hall-clean.jpg",
    .operands = "PANO EDITED... -o OUT",
    .least_operands = 2,
    .most_operands = EDITS_MOST + 1,
    .about = "Compares faces, sheets of faces and views that went through an editor with the\n"
             "same ones taken out anew, and brings home what differs. All else stays as it\n"
             "was: samples of PNG and TIFF, blocks of JPEG, metadata. The edits may be PNG,\n"
             "TIFF or JPEG, of other size, depth or colour profile. Without a change the\n"
             "panorama is copied and the exit status is 2.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) |
              CLI_TAKES(CLI_THREADS) | CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

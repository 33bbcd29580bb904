/* `underfoot turn`: another direction to the centre of a panorama, or the horizon level. */
#include <math.h>

#include "cli/arriving.h"
#include "cli/files.h"
#include "cli/json.h"
#include "cli/leaving.h"
#include "cli/message.h"
#include "cli/options.h"

enum { TURN_YAW = CLI_COMMON_COUNT, TURN_PITCH, TURN_ROLL, TURN_LEVEL };

static const CliOption options[] = {
    {.name = "yaw",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {-3600, 3600, false, false},
     .help = "what lies so far right comes to the centre (default 0)"},
    {.name = "pitch",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {-90, 90, false, false},
     .help = "what lies so far up comes to the centre (default 0)"},
    {.name = "roll",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {-180, 180, false, false},
     .help = "turns the horizon counter-clockwise (default 0)"},
    {.name = "level", .help = "find pitch and roll by what stands upright in it"},
    {0}};

/* What is to be done, and what came of it. */
typedef struct Turn {
    const CliLine *line;
    UfFormat format;
    UfPictureInfo info;
    UfRotation rotation;
    UfLevel level;
    size_t shift_px; /* where is_shift */
    size_t step_px;  /* columns that a JPEG's blocks can move at a time; 0: none */
    bool is_yaw;     /* about the vertical axis only */
    bool is_shift, is_blocks;
    UfPicture *panorama; /* where it had to be looked at before */
    CliLeaving leaving;
} Turn;

static bool levels(const CliLine *line)
{
    return line->values[TURN_LEVEL].given;
}

static int check_usage(const CliLine *line)
{
    const CliValue *values = line->values;
    if (levels(line) && (values[TURN_PITCH].given || values[TURN_ROLL].given))
        return cli_wrong_usage(line->command,
                               "--level finds pitch and roll in the picture; leave --pitch and --roll out");
    if (!levels(line) && !values[TURN_YAW].given && !values[TURN_PITCH].given && !values[TURN_ROLL].given)
        return cli_wrong_usage(line->command,
                               "nothing says how to turn; give --yaw, --pitch, --roll or --level");
    return CLI_DONE;
}

/* Panorama and result, and what sharp sampling holds besides: twice the panorama's bytes, or four times
 * those of 8-bit pictures with alpha. */
static int check_memory(const Turn *turn)
{
    const UfPictureInfo *info = &turn->info;
    bool sharp = cli_sampling(turn->line, UF_SAMPLING_SHARP) == UF_SAMPLING_SHARP && !turn->is_shift;
    double spline = info->sample == UF_SAMPLE_U8 && info->channels % 2 == 0 ? 6 : 4;
    double bytes = (double)info->width_px * (double)info->height_px * (double)info->channels *
                   (double)info->sample * (sharp ? spline : 2);
    double limit = (double)cli_memory_limit(turn->line);
    if (bytes <= limit)
        return CLI_DONE;
    return cli_failed("%s: turning it needs %.1f MB, more than the limit of %.1f MB; give a larger "
                      "--max-memory%s",
                      turn->line->operands[0], bytes / 1e6, limit / 1e6,
                      sharp ? ", or --sampling bicubic, which needs half of that or less" : "");
}

static int check_format(const Turn *turn)
{
    if (turn->format == UF_FORMAT_JPEG && turn->info.channels % 2 == 0)
        return cli_failed("%s: has transparency, which JPEG cannot hold; write .png or .tif",
                          turn->line->operands[0]);
    return CLI_DONE;
}

/* From the options or from the picture. */
static UfStatus find_rotation(Turn *turn, UfReport *report)
{
    const CliValue *values = turn->line->values;
    UfStatus status = UF_OK;
    turn->rotation =
        uf_rotation_from_angles(uf_radians(values[TURN_YAW].number), uf_radians(values[TURN_PITCH].number),
                                uf_radians(values[TURN_ROLL].number));
    if (levels(turn->line)) {
        status = cli_read_panorama(turn->line, &turn->panorama, report);
        cli_progress(turn->line, "looking for upright lines in", turn->line->operands[0]);
        if (status == UF_OK)
            status = uf_find_level(turn->panorama, &turn->level, report);
        if (status != UF_OK)
            return status;
        UfRotation upright = uf_level_turn(&turn->level);
        turn->rotation = uf_rotation_product(&upright, &turn->rotation);
    }
    turn->is_yaw = !levels(turn->line) && values[TURN_PITCH].number == 0 && values[TURN_ROLL].number == 0;
    turn->is_shift = uf_turn_is_shift(&turn->rotation, turn->info.width_px, &turn->shift_px);
    if (turn->is_yaw && turn->info.format == UF_FORMAT_JPEG && turn->format == UF_FORMAT_JPEG)
        status = uf_picture_shift_step(turn->line->operands[0], &turn->step_px, report);
    turn->is_blocks = turn->is_shift && turn->step_px > 0 && turn->shift_px % turn->step_px == 0 &&
                      !values[CLI_QUALITY].given && !values[CLI_DEPTH].given;
    return status;
}

static UfStatus write_turned(void *data)
{
    Turn *turn = data;
    UfPicture *picture = cli_rows_picture(&turn->leaving.rows);
    if (picture == NULL)
        return UF_ERROR_ARGUMENT;
    return uf_picture_write(picture, turn->line->values[CLI_OUT].text, &turn->leaving.write,
                            turn->leaving.report);
}

/* From `panorama`, or, where that is NULL, from what arrives. */
static UfStatus turn_rows(Turn *turn, CliArriving *arriving, UfPicture **out, UfReport *report)
{
    const CliLine *line = turn->line;
    UfRemapRows rows = {0};
    const UfRemapOptions remap = {
        .sampling = cli_sampling(line, UF_SAMPLING_SHARP), .threads = cli_threads(line), .rows = &rows};
    const UfPicture *panorama = turn->panorama;
    if (panorama == NULL) {
        rows.source = cli_rows_await;
        rows.source_data = &arriving->rows;
        panorama = cli_arriving_picture(arriving);
    }
    if (panorama == NULL)
        return UF_ERROR_ARGUMENT;
    cli_progress(line, "turning", line->operands[0]);
    cli_leaving_listen(&turn->leaving, &rows);
    return uf_turn(panorama, &turn->rotation, levels(line), &remap, out, report);
}

/* Reading, turning and writing, side by side. */
static UfStatus turn_pixels(Turn *turn, UfReport *report)
{
    const CliLine *line = turn->line;
    const UfReadOptions read = cli_read_options(line);
    const UfWriteOptions write = cli_write_options(line);
    const bool reads = turn->panorama == NULL;
    CliArriving arriving;
    UfPicture *picture = NULL;
    UfStatus status = UF_OK;
    cli_progress(line, reads ? "reading" : "turning", line->operands[0]);
    if (reads)
        cli_arriving_start(&arriving, line->operands[0], &read);
    cli_leaving_open(&turn->leaving, &write, write_turned, turn);
    UfStatus turned = turn_rows(turn, &arriving, &picture, report);
    if (reads) {
        status = cli_arriving_finish(&arriving, report);
        cli_arriving_clear(&arriving);
    }
    uf_picture_free(&turn->panorama);
    if (status == UF_OK)
        status = turned;
    if (status == UF_OK)
        cli_progress(line, "writing", line->values[CLI_OUT].text);
    status = cli_leaving_finish(&turn->leaving, status, picture, report);
    uf_picture_free(&picture);
    return status;
}

/* The nearest yaw by which blocks could have moved: pixels, and degrees. */
static double nearest_step(const Turn *turn, double *deg)
{
    double width = (double)turn->info.width_px, step = (double)turn->step_px;
    double steps = round(turn->line->values[TURN_YAW].number / 360 * width / step);
    if (steps == 0)
        steps = turn->line->values[TURN_YAW].number < 0 ? -1 : 1;
    *deg = 360 * steps * step / width;
    return steps * step;
}

static bool is_lossless(const Turn *turn)
{
    bool rounds = turn->line->values[CLI_DEPTH].given ||
                  (turn->info.sample == UF_SAMPLE_F32 && turn->format == UF_FORMAT_PNG);
    return turn->is_blocks || (turn->is_shift && turn->format != UF_FORMAT_JPEG && !rounds);
}

/* A yaw of a JPEG that was not moved block by block: why not, and what would have been. */
static void print_loss(const Turn *turn)
{
    double deg;
    if (is_lossless(turn) || !turn->is_yaw || turn->info.format != UF_FORMAT_JPEG ||
        turn->format != UF_FORMAT_JPEG)
        return;
    if (turn->step_px == 0) {
        printf("  re-encoded: the width of this JPEG is no whole number of its blocks, or it is stored "
               "turned\n");
    } else if (turn->is_shift && turn->shift_px % turn->step_px == 0) {
        printf("  re-encoded: without --quality and --depth its blocks would have been moved without loss\n");
    } else {
        double columns = nearest_step(turn, &deg);
        printf("  re-encoded: blocks move by whole multiples of %zu pixels; a yaw of %.0f pixels = %.12g deg "
               "would "
               "have been lossless\n",
               turn->step_px, columns, deg);
    }
}

static void print_plain(const Turn *turn)
{
    const CliValue *values = turn->line->values;
    cli_put_text(stdout, values[CLI_OUT].text);
    printf("\n  %zu x %zu pixels", turn->info.width_px, turn->info.height_px);
    if (levels(turn->line))
        printf(", leaned by pitch %.2f roll %.2f deg (confidence %.2f), now level",
               uf_degrees(turn->level.pitch_rad), uf_degrees(turn->level.roll_rad), turn->level.confidence);
    if (!levels(turn->line) || values[TURN_YAW].given)
        printf(", turned by yaw %.6g pitch %.6g roll %.6g deg", values[TURN_YAW].number,
               values[TURN_PITCH].number, values[TURN_ROLL].number);
    putchar('\n');
    if (is_lossless(turn))
        printf("  moved by %zu columns without loss\n", turn->shift_px);
    print_loss(turn);
}

static void print_json(const Turn *turn, const UfReport *report)
{
    const CliValue *values = turn->line->values;
    double lossless_deg;
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", turn->line->operands[0]);
    cli_json_file(&json, "out", values[CLI_OUT].text);
    cli_json_whole(&json, "width_px", (long long)turn->info.width_px);
    cli_json_whole(&json, "height_px", (long long)turn->info.height_px);
    cli_json_number(&json, "yaw_deg", values[TURN_YAW].number);
    cli_json_number(&json, "pitch_deg", values[TURN_PITCH].number);
    cli_json_number(&json, "roll_deg", values[TURN_ROLL].number);
    if (levels(turn->line)) {
        cli_json_open(&json, "level", '{');
        cli_json_number(&json, "pitch_deg", uf_degrees(turn->level.pitch_rad));
        cli_json_number(&json, "roll_deg", uf_degrees(turn->level.roll_rad));
        cli_json_number(&json, "confidence", turn->level.confidence);
        cli_json_close(&json, '}');
    }
    cli_json_truth(&json, "lossless", is_lossless(turn));
    if (turn->is_shift)
        cli_json_whole(&json, "columns", (long long)turn->shift_px);
    if (turn->step_px > 0 && !turn->is_blocks) {
        (void)nearest_step(turn, &lossless_deg);
        cli_json_number(&json, "lossless_yaw_deg", lossless_deg);
    }
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static int make_turn(Turn *turn, UfReport *report)
{
    const CliLine *line = turn->line;
    UfStatus status = find_rotation(turn, report);
    if (status == UF_OK && check_memory(turn) != CLI_DONE)
        return CLI_FAILED;
    if (status == UF_OK && turn->is_blocks)
        status = uf_turn_blocks(line->operands[0], turn->shift_px, line->values[CLI_OUT].text,
                                line->values[CLI_OVERWRITE].given, report);
    else if (status == UF_OK)
        status = turn_pixels(turn, report);
    cli_progress_end(line);
    return status == UF_OK ? CLI_DONE : cli_failed_report(line, line->operands[0], status, report);
}

static int turn_all(const CliLine *line, UfFormat format, UfReport *report)
{
    Turn turn = {.line = line, .format = format};
    int status = cli_probe_panorama(line, &turn.info, report);
    if (status == CLI_DONE)
        status = check_format(&turn);
    if (status == CLI_DONE)
        status = cli_check_not_output(line, line->operands[0]);
    if (status == CLI_DONE)
        status = make_turn(&turn, report);
    uf_picture_free(&turn.panorama);
    if (status != CLI_DONE)
        return status;
    if (line->values[CLI_JSON].given)
        print_json(&turn, report);
    else
        print_plain(&turn);
    return cli_warnings(line, report);
}

static int run(const CliLine *line)
{
    return cli_make_output(line, turn_all);
}

const CliCommand cli_command_turn = {
    .name = "turn",
    .summary = "bring another direction to the centre, or level the horizon",
    .example = "underfoot turn hall.jpg -o hall-level.jpg --level",
    .operands = "PANO -o OUT",
    .least_operands = 1,
    .most_operands = 1,
    .about = "What lay at (yaw, pitch) comes to the centre; a pose in the Photo Sphere fields\n"
             "follows. A yaw by whole pixels moves samples and changes none; from JPEG to\n"
             "JPEG a yaw by whole blocks (8 or 16 pixels) moves blocks and loses nothing,\n"
             "otherwise the picture is encoded again. --level finds the lean by what stands\n"
             "upright in the scene, and refuses where the picture does not show it; --yaw can\n"
             "go with it.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_SAMPLING) |
              CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .check = check_usage,
    .run = run,
};

/* `underfoot plan`: what a rig sees, what stays blind, what has to be covered; and the sun. */
#include <math.h>

#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/plan.h"

static const CliOption options[] = {{.name = "width",
                                     .kind = CLI_COUNT,
                                     .argument = "PX",
                                     .range = {2, UF_PICTURE_MAX_SIDE_PX, false, false},
                                     .help = "width of the panorama (default: the lens's native width)"},
                                    {.name = "map",
                                     .kind = CLI_FILE,
                                     .argument = "OUT.png",
                                     .help = "draw the plan: the sphere, and the floor"},
                                    {.name = "sun",
                                     .kind = CLI_FILE,
                                     .argument = "WHEN",
                                     .help = "2026-06-21T14:30+02:00, or a panorama that says when"},
                                    {.name = "place",
                                     .kind = CLI_FILE,
                                     .argument = "LAT,LON",
                                     .help = "for --sun: degrees, north and east positive"},
                                    {.name = "heading",
                                     .kind = CLI_ANGLE,
                                     .argument = "DEG",
                                     .range = {-3600, 3600, false, false},
                                     .help = "for --sun: compass heading of the panorama's centre"},
                                    {0}};

static int check_usage(const CliLine *line)
{
    const CliValue *values = line->values;
    if (!values[PLAN_SUN].given && (values[PLAN_PLACE].given || values[PLAN_HEADING].given))
        return cli_wrong_usage(line->command, "%s is for --sun; add --sun and the time",
                               values[PLAN_PLACE].given ? "--place" : "--heading");
    if (line->operand_count == 0 && !values[PLAN_SUN].given)
        return cli_wrong_usage(line->command, "no rig is given; name its file, such as samples/hall.ini");
    if (line->operand_count == 0 && (values[PLAN_MAP].given || values[PLAN_WIDTH].given))
        return cli_wrong_usage(line->command, "%s is for a rig; name its file, such as samples/hall.ini",
                               values[PLAN_MAP].given ? "--map" : "--width");
    if (values[PLAN_WIDTH].given && fmod(values[PLAN_WIDTH].number, 2) > 0)
        return cli_wrong_usage(line->command,
                               "--width %s: must be even; a panorama is twice as wide as it is high",
                               values[PLAN_WIDTH].text);
    if (!values[PLAN_MAP].given)
        return values[CLI_OVERWRITE].given
                   ? cli_wrong_usage(line->command, "--overwrite is for --map; leave it out")
                   : CLI_DONE;
    if (uf_format_from_name(values[PLAN_MAP].text) != UF_FORMAT_PNG)
        return cli_wrong_usage(line->command, "--map '%s': the name must end in .png", values[PLAN_MAP].text);
    CliLine as_output = *line;
    as_output.values[CLI_OUT] = values[PLAN_MAP];
    UfFormat format = UF_FORMAT_UNKNOWN;
    return cli_check_output(&as_output, &format);
}

static int write_map(const CliLine *line, const UfRig *rig, const UfPlan *plan, UfReport *report)
{
    UfPicture *map = NULL;
    UfWriteOptions write = {.overwrite = line->values[CLI_OVERWRITE].given};
    UfStatus status = uf_plan_draw(rig, plan, cli_threads(line), &map, report);
    if (status == UF_OK)
        status = uf_picture_write(map, line->values[PLAN_MAP].text, &write, report);
    uf_picture_free(&map);
    return status == UF_OK ? CLI_DONE : cli_failed_report(line, line->values[PLAN_MAP].text, status, report);
}

/* What the work needs, so that one place frees it. */
typedef struct Work {
    UfReport *report;
    UfRig *rig;
    UfPlan plan;
    UfAdvice advice[UF_PLAN_MAX_ADVICE];
    size_t advice_count;
    CliSun sun;
} Work;

static int plan_rig(const CliLine *line, Work *work)
{
    UfPlanOptions plan = {.width_px = (size_t)line->values[PLAN_WIDTH].number, .threads = cli_threads(line)};
    UfStatus status = uf_rig_read(line->operands[0], &work->rig, work->report);
    if (status == UF_OK)
        status = uf_plan(work->rig, &plan, &work->plan, work->report);
    if (status == UF_OK && !line->values[CLI_JSON].given)
        status = uf_plan_advise(work->rig, &work->plan, work->advice, &work->advice_count, work->report);
    if (status != UF_OK)
        return cli_failed("%s",
                          uf_report_error(work->report)); /* it names the file, the line and the remedy */
    return line->values[PLAN_MAP].given ? write_map(line, work->rig, &work->plan, work->report) : CLI_DONE;
}

static void print_json(const CliLine *line, const Work *work)
{
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    if (work->rig != NULL)
        cli_plan_json(&json, work->rig, &work->plan);
    if (line->values[PLAN_SUN].given)
        cli_sun_json(&json, &work->sun);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static void print_plain(const CliLine *line, const Work *work)
{
    if (work->rig != NULL)
        cli_plan_print(line->operands[0], work->rig, &work->plan, work->advice, work->advice_count);
    if (work->rig != NULL && line->values[PLAN_SUN].given)
        putchar('\n');
    if (line->values[PLAN_SUN].given)
        cli_sun_print(&work->sun, work->rig != NULL ? uf_rig_height_mm(work->rig) : 0);
}

static int run(const CliLine *line)
{
    Work work = {.report = uf_report_create()};
    int status = work.report == NULL ? cli_failed("not enough memory") : check_usage(line);
    if (status == CLI_DONE && line->values[PLAN_SUN].given)
        status = cli_sun_find(line, &work.sun, work.report);
    if (status == CLI_DONE && line->operand_count > 0)
        status = plan_rig(line, &work);
    if (status != CLI_DONE)
        goto cleanup;
    if (line->values[CLI_JSON].given)
        print_json(line, &work);
    else
        print_plain(line, &work);
    status = cli_warnings(line, work.report);
cleanup:
    uf_rig_free(&work.rig);
    uf_report_free(&work.report);
    return status;
}

const CliCommand cli_command_plan = {
    .name = "plan",
    .summary = "before the shoot: frames, blind areas, the cap to cover, the sun",
    .example = "underfoot plan samples/hall.ini --map hall-plan.png",
    .operands = "RIG.ini",
    .least_operands = 0,
    .most_operands = 1,
    .about = "Works out from a rig file (lens, frames, stand, hardware) how many frames a row\n"
             "needs, which directions no frame sees, and the smallest cap about the nadir that\n"
             "covers what bracket, head and tripod hide. With --sun: where the sun stands and\n"
             "where shadows fall; a rig is not needed for that.\n",
    .no_out = "the drawing is written by --map OUT.png, and the text goes to standard output",
    .common = CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_THREADS) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

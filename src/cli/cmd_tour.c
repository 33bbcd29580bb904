/* `underfoot tour`: a job sheet, or a folder, overnight. */
#include <limits.h>
#include <sys/stat.h>

#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"
#include "cli/tour_host.h"

enum { TOUR_RIG = CLI_COMMON_COUNT, TOUR_CAP, TOUR_JOBS, TOUR_REVIEW, TOUR_DRY_RUN, TOUR_PART, TOUR_MERGE };

static const CliOption options[] = {
    {.name = "rig",
     .kind = CLI_FILE,
     .argument = "RIG.ini",
     .help = "FOLDER: patch with the cap of this rig"},
    {.name = "cap",
     .kind = CLI_ANGLE,
     .argument = "DEG|auto",
     .words = {"auto"},
     .range = {0, UF_CAP_MAX_DEG, true, false},
     .help = "FOLDER: patch with this cap"},
    {.name = "jobs",
     .kind = CLI_COUNT,
     .argument = "N",
     .range = {1, TOUR_STEPS_MAX, false, false},
     .help = "panoramas at once (default: one a core)"},
    {.name = "review",
     .kind = CLI_FILE,
     .argument = "FILE.html",
     .help = "a page to look at the results, in one file"},
    {.name = "dry-run", .help = "print the command lines, make nothing"},
    {.name = "part",
     .kind = CLI_TEXT,
     .argument = "K/N",
     .help = "every Nth panorama from the Kth on, for several machines"},
    {.name = "merge", .help = "after all parts: one journal, one summary, the page"},
    {0}};

static bool is_folder(const char *path)
{
    struct stat facts;
    return stat(path, &facts) == 0 && S_ISDIR(facts.st_mode);
}

/* "K/N" */
static int read_part(const CliLine *line, UfTourRequest *request)
{
    const char *text = line->values[TOUR_PART].text;
    size_t first = text == NULL ? 0 : strspn(text, "0123456789");
    size_t second = text == NULL || text[first] != '/' ? 0 : strspn(text + first + 1, "0123456789");
    if (text == NULL)
        return CLI_DONE;
    bool shape = first > 0 && first < 7 && second > 0 && second < 7 && text[first + 1 + second] == '\0';
    request->part = shape ? strtoul(text, NULL, 10) : 0;
    request->parts = shape ? strtoul(text + first + 1, NULL, 10) : 0;
    if (request->part < 1 || request->part > request->parts)
        return cli_wrong_usage(line->command, "--part '%s': it must be K/N with K from 1 to N, such as 2/8",
                               text);
    return CLI_DONE;
}

static int check_usage(const CliLine *line)
{
    const CliValue *values = line->values;
    const CliCommand *command = line->command;
    if (line->operand_count == 0)
        return cli_wrong_usage(command, "no job sheet and no folder is given: underfoot tour %s",
                               command->operands);
    bool folder = is_folder(line->operands[0]);
    bool patches = values[TOUR_RIG].given || values[TOUR_CAP].given;
    if (values[TOUR_RIG].given && values[TOUR_CAP].given)
        return cli_wrong_usage(command, "--rig and --cap both say how large the cap is; give one of them");
    if (folder && !patches)
        return cli_wrong_usage(command,
                               "a folder needs --rig RIG.ini or --cap DEG; for more, write a job sheet");
    if (!folder && patches)
        return cli_wrong_usage(command,
                               "--rig and --cap go with a folder; a job sheet has them under [patch]");
    if (folder && !values[CLI_OUT].given)
        return cli_wrong_usage(command, "no output is given; add -o and the name of a folder");
    if (values[TOUR_MERGE].given && (values[TOUR_PART].given || values[TOUR_DRY_RUN].given))
        return cli_wrong_usage(command, "--merge makes nothing and takes all parts; leave %s out",
                               values[TOUR_PART].given ? "--part" : "--dry-run");
    return CLI_DONE;
}

static int read_request(const CliLine *line, UfTourRequest *out, UfTourSetting *setting)
{
    const CliValue *values = line->values;
    UfTourRequest request = {.out_folder = values[CLI_OUT].text,
                             .jobs = (size_t)values[TOUR_JOBS].number,
                             .threads = (size_t)values[CLI_THREADS].number,
                             .max_memory_bytes = (uint64_t)values[CLI_MAX_MEMORY].number,
                             .overwrite = values[CLI_OVERWRITE].given,
                             .merge = values[TOUR_MERGE].given,
                             .review_path = values[TOUR_REVIEW].text};
    if (is_folder(line->operands[0])) {
        request.input = line->operands[0];
        *setting = values[TOUR_RIG].given ? (UfTourSetting){"rig", values[TOUR_RIG].text}
                                          : (UfTourSetting){"cap", values[TOUR_CAP].text};
        request.patch = setting;
        request.patch_count = 1;
    } else {
        request.sheet_path = line->operands[0];
    }
    *out = request;
    return read_part(line, out);
}

/* As a shell would take it: in single quotes where it must be. */
static void put_argument(const char *text)
{
    const char *plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_=./,:+@%";
    if (text[0] != '\0' && strspn(text, plain) == strlen(text)) {
        fputs(text, stdout);
        return;
    }
    putchar('\'');
    for (; *text != '\0'; text++) {
        if (*text == '\'')
            fputs("'\\''", stdout);
        else
            putchar(*text);
    }
    putchar('\'');
}

typedef struct Listing {
    bool is_json;
    size_t lines;
} Listing;

static void print_line(void *context, const char *const *arguments, size_t count)
{
    Listing *listing = context;
    listing->lines++;
    if (listing->is_json) {
        CliJson json = cli_json_start(stdout);
        json.flat = true;
        cli_json_open(&json, NULL, '[');
        cli_json_text(&json, NULL, "underfoot");
        for (size_t i = 0; i < count; i++)
            cli_json_text(&json, NULL, arguments[i]);
        cli_json_close(&json, ']');
        cli_json_end(&json);
        return;
    }
    fputs("underfoot", stdout);
    for (size_t i = 0; i < count; i++) {
        putchar(' ');
        put_argument(arguments[i]);
    }
    putchar('\n');
}

static void print_json(const UfTourTotals *totals, const UfReport *report)
{
    CliJson json = cli_json_start(stdout);
    json.flat = true;
    cli_json_open(&json, NULL, '{');
    cli_json_text(&json, "event", "end");
    cli_json_whole(&json, "panoramas", (long long)totals->panoramas);
    cli_json_whole(&json, "done", (long long)totals->done);
    cli_json_whole(&json, "warned", (long long)totals->warned);
    cli_json_whole(&json, "failed", (long long)totals->failed);
    cli_json_whole(&json, "skipped", (long long)totals->skipped);
    cli_json_whole(&json, "made", (long long)totals->made);
    cli_json_whole(&json, "there", (long long)totals->there);
    cli_json_whole(&json, "bytes", (long long)totals->bytes);
    cli_json_number(&json, "time_s", totals->time_s);
    if (totals->summary_path != NULL)
        cli_json_file(&json, "summary", totals->summary_path);
    cli_json_warnings(&json, report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static void print_plain(const CliLine *line, const UfTourTotals *totals)
{
    printf("%zu panorama%s: %zu done, %zu with warnings, %zu failed, %zu skipped\n", totals->panoramas,
           totals->panoramas == 1 ? "" : "s", totals->done, totals->warned, totals->failed, totals->skipped);
    printf("  %zu result%s made, %zu already there, in %.1f s\n", totals->made, totals->made == 1 ? "" : "s",
           totals->there, totals->time_s);
    if (totals->summary_path != NULL) {
        fputs("  summary  ", stdout);
        cli_put_text(stdout, totals->summary_path);
        putchar('\n');
    }
    if (totals->summary_path != NULL && line->values[TOUR_REVIEW].given) {
        fputs("  review   ", stdout);
        cli_put_text(stdout, line->values[TOUR_REVIEW].text);
        putchar('\n');
    }
}

/* All failed: the run did. Some failed, or there are warnings: done, with warnings. */
static int status_of(const CliLine *line, const UfTourTotals *totals, const UfReport *report)
{
    int status = cli_warnings(line, report);
    if (totals->failed > 0 && totals->done + totals->warned == 0)
        return CLI_FAILED;
    return totals->failed + totals->warned > 0 ? CLI_WARNED : status;
}

static int list_tour(const CliLine *line, TourHost *host, UfTour *tour, UfReport *report)
{
    Listing listing = {.is_json = line->values[CLI_JSON].given};
    UfStatus status = uf_tour_list(tour, print_line, &listing, report);
    tour_clear_line(host);
    if (status != UF_OK)
        return cli_failed("%s", uf_report_error(report));
    if (listing.lines == 0 && !line->values[CLI_QUIET].given)
        fputs("underfoot: nothing would be made: what can be made is there, and up to date\n", stderr);
    return CLI_DONE;
}

static int run_tour(const CliLine *line, TourHost *host, const UfTourRequest *request, UfTour *tour,
                    UfReport *report)
{
    UfTourTotals totals = {0};
    if (line->values[TOUR_DRY_RUN].given)
        return list_tour(line, host, tour, report);
    UfStatus status = uf_tour_run(tour, &totals, report);
    tour_clear_line(host);
    if (status != UF_OK)
        return cli_failed("%s", uf_report_error(report));
    if (line->values[CLI_JSON].given)
        print_json(&totals, report);
    else if (!line->values[CLI_QUIET].given)
        print_plain(line, &totals);
    (void)request;
    return status_of(line, &totals, report);
}

static int run(const CliLine *line)
{
    UfTourRequest request;
    UfTourSetting setting;
    int status = check_usage(line);
    if (status == CLI_DONE)
        status = read_request(line, &request, &setting);
    if (status != CLI_DONE)
        return status;
    TourHost host;
    UfTourHost lent = tour_host_start(&host, line);
    UfTour *tour = NULL;
    UfReport *report = uf_report_create();
    if (report == NULL)
        status = cli_failed("not enough memory");
    else if (uf_tour_plan(&request, &lent, &tour, report) != UF_OK)
        status = cli_failed("%s", uf_report_error(report));
    else
        status = run_tour(line, &host, &request, tour, report);
    uf_tour_free(&tour);
    uf_report_free(&report);
    tour_host_end(&host);
    return status;
}

const CliCommand cli_command_tour = {
    .name = "tour",
    .summary = "a whole folder overnight, by a job sheet; resumable",
    .example = "underfoot tour tour.ini --review morning.html",
    .operands = "SHEET.ini | FOLDER -o OUT --rig RIG.ini | --cap DEG",
    .least_operands = 0,
    .most_operands = 1,
    .about = "Runs turn, patch, tag, faces, view, planet and deliver over a folder as a sheet\n"
             "says (docs/tour.md). It can be killed at any instant: the same line continues it\n"
             "and makes only what is missing, or whose panorama, options, rig or logo changed.\n"
             "Originals are only read. A broken panorama is reported, and the rest goes on.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

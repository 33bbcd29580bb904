/* `underfoot faces`: the cube faces of a panorama, each in a file of its own, or all on one sheet. */
#include <errno.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/arriving.h"
#include "cli/extract.h"
#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum { FACES_ONLY = CLI_COMMON_COUNT, FACES_SIZE, FACES_FORMAT, FACES_SHEET };

static const CliOption options[] = {{.name = "only",
                                     .kind = CLI_TEXT,
                                     .argument = "LIST",
                                     .help = "some of front,right,back,left,up,down (default: all)"},
                                    {.name = "size",
                                     .kind = CLI_COUNT,
                                     .argument = "N",
                                     .range = {1, UF_PICTURE_MAX_SIDE_PX, false, false},
                                     .help = "pixels a side (default: the panorama's width / pi)"},
                                    {.name = "format",
                                     .kind = CLI_WORD,
                                     .argument = "NAME",
                                     .words = {"png", "tiff", "jpeg"},
                                     .help = "png, tiff or jpeg (default: png; tiff for float)"},
                                    {.name = "sheet",
                                     .kind = CLI_WORD,
                                     .argument = "SHAPE",
                                     .words = {"strip", "cross"},
                                     .help = "one file: strip (6 x 1) or cross (4 x 3)"},
                                    {0}};

typedef struct Face {
    UfFace face;
    char *path;    /* owned */
    bool made_now; /* this run wrote it, and nothing was there before */
} Face;

typedef struct Work {
    const CliLine *line;
    UfReport *report;
    UfPictureInfo info;
    UfFormat format;
    UfHome home;        /* of each face in turn, or of the sheet */
    UfReadOptions read; /* the rows that all faces together look at */
    Face faces[UF_FACE_COUNT];
    size_t count;
    size_t order[UF_FACE_COUNT]; /* in which they are made: first the one whose rows are there first */
    bool makes_folder;
} Work;

static const UfFormat formats[] = {UF_FORMAT_PNG, UF_FORMAT_TIFF, UF_FORMAT_JPEG};

static const char *extension_of(UfFormat format)
{
    return format == UF_FORMAT_PNG ? ".png" : format == UF_FORMAT_TIFF ? ".tif" : ".jpg";
}

/* One name of the list: `length` bytes. */
static int take_name(Work *work, bool wanted[UF_FACE_COUNT], const char *text, size_t length)
{
    char name[16];
    UfFace face = UF_FACE_FRONT;
    bool known = false;
    if (length < sizeof name) {
        memcpy(name, text, length);
        name[length] = '\0';
        known = uf_face_from_name(name, &face);
    }
    if (!known)
        return cli_wrong_usage(work->line->command,
                               "--only: there is no face '%.*s'; there are front, right, back, left, up and "
                               "down, separated by commas",
                               (int)length, text);
    wanted[face] = true;
    return CLI_DONE;
}

static int choose_faces(Work *work)
{
    const CliValue *only = &work->line->values[FACES_ONLY];
    bool wanted[UF_FACE_COUNT] = {false};
    int status = CLI_DONE;
    for (const char *at = only->text; only->given && at != NULL && status == CLI_DONE;) {
        const char *comma = strchr(at, ',');
        status = take_name(work, wanted, at, comma == NULL ? strlen(at) : (size_t)(comma - at));
        at = comma == NULL ? NULL : comma + 1;
    }
    for (unsigned face = 0; face < UF_FACE_COUNT; face++)
        if (!only->given || wanted[face])
            work->faces[work->count++].face = (UfFace)face;
    return status;
}

static int check_usage(const CliLine *line)
{
    const CliValue *values = line->values;
    if (!values[CLI_OUT].given)
        return cli_wrong_usage(line->command, "no output is given; add -o and the name of a folder%s",
                               values[FACES_SHEET].given ? ", or of the sheet" : "");
    if (values[FACES_SHEET].given && values[FACES_ONLY].given)
        return cli_wrong_usage(line->command, "a sheet holds all six faces; leave --only or --sheet out");
    if (values[FACES_SHEET].given && values[FACES_FORMAT].given)
        return cli_wrong_usage(line->command,
                               "the format of a sheet is told by its name, such as sheet.tif; leave --format "
                               "out");
    if (!values[FACES_SHEET].given && uf_format_from_name(values[CLI_OUT].text) != UF_FORMAT_UNKNOWN)
        return cli_wrong_usage(line->command,
                               "-o '%s' is the name of a picture; faces go into a folder, such as -o faces, "
                               "or all into one picture with --sheet strip",
                               values[CLI_OUT].text);
    return CLI_DONE;
}

static int choose_format(Work *work)
{
    const CliLine *line = work->line;
    const CliValue *values = line->values;
    bool keeps_float = work->info.sample == UF_SAMPLE_F32 && !values[CLI_DEPTH].given;
    work->format = keeps_float ? UF_FORMAT_TIFF : UF_FORMAT_PNG;
    if (values[FACES_FORMAT].given)
        work->format = formats[values[FACES_FORMAT].word];
    if (values[CLI_QUALITY].given && work->format != UF_FORMAT_JPEG)
        return cli_wrong_usage(line->command, "--quality is for JPEG; add --format jpeg, or leave it out");
    if (values[CLI_DEPTH].given && values[CLI_DEPTH].word == 1 && work->format == UF_FORMAT_JPEG)
        return cli_wrong_usage(line->command,
                               "--depth 16 does not go with JPEG; leave it or --format jpeg out");
    return CLI_DONE;
}

/* What needs no panorama. */
static int check_line(const CliLine *line)
{
    Work work = {.line = line};
    int status = check_usage(line);
    if (status == CLI_DONE && !line->values[FACES_SHEET].given)
        status = choose_faces(&work);
    if (status == CLI_DONE && !line->values[FACES_SHEET].given)
        status = choose_format(&work);
    return status;
}

static char *path_of(const char *folder, const char *name, const char *extension)
{
    size_t length = strlen(folder);
    bool ended = length > 0 && folder[length - 1] == '/';
    size_t size = length + strlen(name) + strlen(extension) + 2;
    char *path = malloc(size);
    if (path != NULL)
        (void)snprintf(path, size, "%s%s%s%s", folder, ended ? "" : "/", name, extension);
    return path;
}

/* The folder is there and can be written to, or can be made. */
static int check_folder(Work *work)
{
    const char *folder = work->line->values[CLI_OUT].text;
    struct stat facts;
    if (stat(folder, &facts) == 0) {
        if (!S_ISDIR(facts.st_mode))
            return cli_failed("%s: is there already and is no folder; give another name", folder);
        if (access(folder, W_OK | X_OK) != 0)
            return cli_failed("%s: nothing can be written to this folder: %s", folder, strerror(errno));
        return CLI_DONE;
    }
    if (errno != ENOENT)
        return cli_failed("%s: cannot be used: %s", folder, strerror(errno));
    work->makes_folder = true;
    char *plain = strdup(folder);
    if (plain == NULL)
        return cli_failed("not enough memory");
    for (size_t length = strlen(plain); length > 1 && plain[length - 1] == '/'; length--)
        plain[length - 1] = '\0';
    int status = cli_check_place(work->line, plain); /* can a name be made there? */
    free(plain);
    return status;
}

static int check_face(Work *work, Face *face)
{
    const CliLine *line = work->line;
    face->path = path_of(line->values[CLI_OUT].text, uf_face_name(face->face), extension_of(work->format));
    if (face->path == NULL)
        return cli_failed("not enough memory");
    if (work->makes_folder)
        return CLI_DONE;
    if (cli_same_file(face->path, line->operands[0]))
        return cli_failed("%s: is the panorama itself; give another folder", face->path);
    face->made_now = access(face->path, F_OK) != 0;
    int status = cli_check_place(line, face->path);
    return status == CLI_DONE ? cli_check_sidecar(line, face->path) : status;
}

/* The face that comes first is made first. */
static void choose_order(Work *work, size_t first)
{
    size_t made = 0;
    work->order[made++] = first;
    for (size_t i = 0; i < work->count; i++)
        if (i != first)
            work->order[made++] = i;
}

/* The rows between the first and the last one that any of the faces looks at. */
static int choose_rows(Work *work)
{
    size_t first_made = 0, first_end_px = SIZE_MAX;
    work->read = cli_read_options(work->line);
    work->read.first_row_px = work->info.height_px;
    for (size_t i = 0; i < work->count; i++) {
        size_t first, end;
        work->home.face = work->faces[i].face;
        UfStatus status = uf_home_check(&work->home, work->report);
        if (status == UF_OK)
            status = uf_home_rows(&work->home, &first, &end, work->report);
        if (status != UF_OK)
            return cli_failed_report(work->line, work->faces[i].path, status, work->report);
        if (first < work->read.first_row_px)
            work->read.first_row_px = first;
        if (end > work->read.end_row_px)
            work->read.end_row_px = end;
        if (end < first_end_px) {
            first_end_px = end;
            first_made = i;
        }
    }
    choose_order(work, first_made);
    return CLI_DONE;
}

static int prepare(Work *work)
{
    const CliLine *line = work->line;
    int status = check_usage(line);
    if (status == CLI_DONE)
        status = choose_faces(work);
    if (status == CLI_DONE)
        status = cli_probe_panorama(line, &work->info, work->report);
    if (status == CLI_DONE)
        status = choose_format(work);
    if (status == CLI_DONE)
        status = check_folder(work);
    for (size_t i = 0; i < work->count && status == CLI_DONE; i++)
        status = check_face(work, &work->faces[i]);
    size_t side_px = line->values[FACES_SIZE].given ? (size_t)line->values[FACES_SIZE].number
                                                    : uf_face_full_size_px(work->info.width_px);
    work->home = (UfHome){.kind = UF_HOME_FACE,
                          .width_px = side_px,
                          .height_px = side_px,
                          .sampling = cli_sampling(line, UF_SAMPLING_SHARP),
                          .panorama_width_px = work->info.width_px};
    if (status == CLI_DONE)
        status = cli_check_holds(line, &work->info, work->format, side_px, side_px);
    if (status == CLI_DONE)
        status = choose_rows(work);
    if (status == CLI_DONE)
        status = cli_check_memory(line, &work->info, &work->read, side_px, side_px);
    return status;
}

/* After a failure: what this run wrote where nothing was before. */
static void take_back(const Work *work, size_t written)
{
    for (size_t i = 0; i < written; i++) {
        const Face *face = &work->faces[work->order[i]];
        char *sidecar = uf_home_sidecar_name(face->path);
        if (!face->made_now && !work->makes_folder) {
            free(sidecar);
            continue;
        }
        (void)unlink(face->path);
        if (sidecar != NULL)
            (void)unlink(sidecar);
        free(sidecar);
    }
    if (work->makes_folder)
        (void)rmdir(work->line->values[CLI_OUT].text);
}

static UfStatus take_face(const Work *work, size_t number, bool leaves, CliArriving *arriving, CliTaken *out)
{
    const Face *face = &work->faces[work->order[number]];
    *out = (CliTaken){
        .home = work->home, .arriving = arriving, .path = face->path, .report = uf_report_create()};
    out->home.face = face->face;
    return cli_take(work->line, leaves, out);
}

/* What was said about a face, in the faces' order. */
static void add_report(const Work *work, CliTaken *taken)
{
    uf_report_add(work->report, taken->report);
    uf_report_free(&taken->report);
}

static void drop_face(const Work *work, CliTaken *taken)
{
    cli_taken_drop(taken);
    add_report(work, taken);
}

/* Each face is coded and written while it and the next one are made; the first one is made. */
static UfStatus write_and_take(const Work *work, CliTaken taken[2], size_t *written)
{
    for (;;) {
        CliTaken *now = &taken[*written % 2], *next = &taken[(*written + 1) % 2];
        const bool last = *written + 1 == work->count;
        UfStatus made = UF_OK;
        cli_leaving_go(&now->leaving, now->picture);
        if (!last)
            made = take_face(work, *written + 1, true, now->arriving, next);
        UfStatus status = cli_taken_wait(now);
        add_report(work, now);
        *written += status == UF_OK;
        if (status == UF_OK && made == UF_OK && !last)
            continue;
        if (!last)
            drop_face(work, next);
        return status == UF_OK ? made : status;
    }
}

static int write_faces(Work *work, CliTaken taken[2])
{
    const CliLine *line = work->line;
    const char *folder = line->values[CLI_OUT].text;
    size_t written = 0;
    if (work->makes_folder && mkdir(folder, 0777) != 0) {
        drop_face(work, &taken[0]);
        return cli_failed("%s: this folder cannot be made: %s", folder, strerror(errno));
    }
    UfStatus status = write_and_take(work, taken, &written);
    if (status == UF_OK)
        return CLI_DONE;
    take_back(work, written);
    return cli_failed_report(line, work->faces[work->order[written]].path, status, work->report);
}

/* The first face is made as its rows arrive, but nothing is written before all are there. */
static int make_faces(Work *work)
{
    const char *path = work->line->operands[0];
    CliArriving arriving;
    CliTaken taken[2];
    int result;
    cli_progress(work->line, "reading", path);
    cli_arriving_start(&arriving, path, &work->read);
    UfStatus made = take_face(work, 0, false, &arriving, &taken[0]);
    UfStatus status = cli_arriving_finish(&arriving, work->report);
    if (status != UF_OK) {
        cli_taken_drop(&taken[0]);
        uf_report_free(&taken[0].report);
        result = cli_failed_report(work->line, path, status, work->report);
    } else if (made != UF_OK) {
        drop_face(work, &taken[0]);
        result = cli_failed_report(work->line, work->faces[work->order[0]].path, made, work->report);
    } else {
        result = write_faces(work, taken);
    }
    cli_progress_end(work->line);
    cli_arriving_clear(&arriving);
    return result;
}

static int make_sheet(Work *work)
{
    const CliLine *line = work->line;
    int status = check_usage(line);
    if (status == CLI_DONE)
        status = cli_check_output(line, &work->format);
    if (status == CLI_DONE)
        status = cli_probe_panorama(line, &work->info, work->report);
    if (status != CLI_DONE)
        return status;
    size_t side_px = line->values[FACES_SIZE].given ? (size_t)line->values[FACES_SIZE].number
                                                    : uf_face_full_size_px(work->info.width_px);
    size_t across;
    size_t down;
    work->home.kind = line->values[FACES_SHEET].word == 0 ? UF_HOME_STRIP : UF_HOME_CROSS;
    uf_home_sheet_size(work->home.kind, &across, &down);
    work->home.width_px = across * side_px;
    work->home.height_px = down * side_px;
    work->home.sampling = cli_sampling(line, UF_SAMPLING_SHARP);
    if (work->home.kind == UF_HOME_CROSS && work->format == UF_FORMAT_JPEG)
        return cli_wrong_usage(line->command,
                               "a cross is transparent beside its arms, and JPEG cannot be; write .png or "
                               ".tif, or use --sheet strip");
    return cli_extract_one(line, &work->home, &work->info, work->format, work->report);
}

static void print_plain(const Work *work)
{
    const CliLine *line = work->line;
    if (work->count == 0) {
        cli_put_text(stdout, line->values[CLI_OUT].text);
        printf("\n  six faces as a %s, %zu x %zu pixels\n", uf_home_kind_name(work->home.kind),
               work->home.width_px, work->home.height_px);
        return;
    }
    for (size_t i = 0; i < work->count; i++) {
        cli_put_text(stdout, work->faces[i].path);
        fputc('\n', stdout);
    }
    printf("  %zu x %zu pixels each\n", work->home.width_px, work->home.height_px);
}

static void print_json(const Work *work)
{
    const CliLine *line = work->line;
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", line->operands[0]);
    cli_json_file(&json, "out", line->values[CLI_OUT].text);
    if (work->count == 0)
        cli_json_text(&json, "sheet", uf_home_kind_name(work->home.kind));
    cli_json_whole(&json, "width_px", (long long)work->home.width_px);
    cli_json_whole(&json, "height_px", (long long)work->home.height_px);
    cli_json_open(&json, "faces", '[');
    for (size_t i = 0; i < work->count; i++) {
        cli_json_open(&json, NULL, '{');
        cli_json_text(&json, "face", uf_face_name(work->faces[i].face));
        cli_json_file(&json, "out", work->faces[i].path);
        cli_json_close(&json, '}');
    }
    cli_json_close(&json, ']');
    cli_json_warnings(&json, work->report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static int run(const CliLine *line)
{
    Work work = {.line = line, .report = uf_report_create()};
    int status = CLI_DONE;
    if (work.report == NULL) {
        status = cli_failed("not enough memory");
    } else if (line->values[FACES_SHEET].given) {
        status = make_sheet(&work);
    } else {
        status = prepare(&work);
        if (status == CLI_DONE)
            status = make_faces(&work);
    }
    if (status == CLI_DONE) {
        if (line->values[CLI_JSON].given)
            print_json(&work);
        else
            print_plain(&work);
        status = cli_warnings(line, work.report);
    }
    for (size_t i = 0; i < UF_FACE_COUNT; i++)
        free(work.faces[i].path);
    uf_report_free(&work.report);
    return status;
}

const CliCommand cli_command_faces = {
    .name = "faces",
    .summary = "cube faces out of a panorama, to work on them in an editor",
    .example = "underfoot faces hall.tif -o hall-faces --only down,front",
    .operands = "PANO -o FOLDER",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Writes front, right, back, left, up and down as files of these names into FOLDER\n"
             "(made when it is not there), or all six into one picture with --sheet:\n"
             "  strip   front right back left up down, side by side\n"
             "  cross   left front right back in the middle row, up above front, down below\n"
             "Faces meet at their edges without a seam. Depth, profile and EXIF are those of\n"
             "the panorama. Where a face came from is written into its XMP and into a small\n"
             "file NAME" UF_HOME_SUFFIX " beside it: keep it there, so that the face finds its way\n"
             "home when the editor drops metadata. Sampling is sharp unless told otherwise.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_SAMPLING) |
              CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .check = check_line,
    .run = run,
};

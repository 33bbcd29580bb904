/* `underfoot wrap`: faces, a sheet of faces, a little planet or a view back to equirectangular. */
#include <errno.h>
#include <math.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/extract.h"
#include "cli/files.h"
#include "cli/json.h"
#include "cli/message.h"
#include "cli/options.h"

enum { WRAP_WIDTH = CLI_COMMON_COUNT, WRAP_AS, WRAP_FOV, WRAP_HEADING, WRAP_SKY };

static const CliOption options[] = {
    {.name = "width",
     .kind = CLI_COUNT,
     .argument = "W",
     .range = {2, UF_PICTURE_MAX_SIDE_PX, false, false},
     .help = "pixels across, even (default: as sharp as the faces)"},
    {.name = "as",
     .kind = CLI_WORD,
     .argument = "WHAT",
     .words = {"strip", "cross", "planet"},
     .help = "strip, cross or planet, if the picture does not say it"},
    {.name = "fov",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {0, 360, true, true},
     .help = "of a planet: the full angle across its width"},
    {.name = "heading",
     .kind = CLI_ANGLE,
     .argument = "DEG",
     .range = {-3600, 3600, false, false},
     .help = "of a planet: yaw at the top; --sky-centre: bottom"},
    {.name = "sky-centre", .help = "of a planet: the zenith is in the middle"},
    {0}};

/* The same order as the words of --as. */
static const UfHomeKind kinds[] = {UF_HOME_STRIP, UF_HOME_CROSS, UF_HOME_PLANET};

typedef struct Work {
    const CliLine *line;
    UfReport *report;
    UfFormat format;
    UfPicture *faces[UF_FACE_COUNT]; /* from a folder, or cut from a sheet */
    UfPicture *picture;              /* a planet, a view or a sheet */
    UfPicture *panorama;
    UfHome home; /* of the picture, or of the first face that has one */
    bool has_home;
    size_t width_px;
    double unseen_percent;
} Work;

static int failed(const Work *work, const char *path, UfStatus status)
{
    return cli_failed_report(work->line, path, status, work->report);
}

static int no_address(const Work *work, const char *path)
{
    return cli_failed("%s: its home address cannot be used (%s); put the right one back, or remove it", path,
                      uf_report_error(work->report));
}

static char *face_path(const char *folder, UfFace face, const char *extension)
{
    size_t length = strlen(folder);
    size_t size = length + strlen(uf_face_name(face)) + strlen(extension) + 2;
    char *path = malloc(size);
    if (path != NULL)
        (void)snprintf(path, size, "%s%s%s%s", folder, length > 0 && folder[length - 1] == '/' ? "" : "/",
                       uf_face_name(face), extension);
    return path;
}

/* The file of that face in the folder; *out stays NULL when there is none. */
static int find_face(const char *folder, UfFace face, char **out)
{
    static const char *const extensions[] = {".png", ".tif", ".tiff", ".jpg", ".jpeg",
                                             ".PNG", ".TIF", ".TIFF", ".JPG", ".JPEG"};
    int status = CLI_DONE;
    for (size_t i = 0; i < sizeof extensions / sizeof extensions[0] && status == CLI_DONE; i++) {
        char *path = face_path(folder, face, extensions[i]);
        if (path == NULL)
            return cli_failed("not enough memory");
        bool is_there = access(path, F_OK) == 0;
        if (is_there && *out != NULL && !cli_same_file(path, *out))
            status = cli_failed("%s: %s is there, too; keep the one that is meant", *out, path);
        else if (is_there && *out == NULL) {
            *out = path;
            path = NULL;
        }
        free(path);
    }
    return status;
}

typedef struct Folder {
    char *paths[UF_FACE_COUNT];
    UfHome homes[UF_FACE_COUNT];
    bool known[UF_FACE_COUNT];
} Folder;

static int find_faces(Work *work, Folder *folder)
{
    const char *name = work->line->operands[0];
    bool any = false;
    bool all = true;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        int status = find_face(name, (UfFace)f, &folder->paths[f]);
        if (status == CLI_DONE && folder->paths[f] != NULL)
            status = cli_check_not_output(work->line, folder->paths[f]);
        if (status != CLI_DONE)
            return status;
        any = any || folder->paths[f] != NULL;
        all = all && folder->paths[f] != NULL;
    }
    if (!any)
        return cli_failed(
            "%s: there are no faces in this folder; they are called front, right, back, left, up "
            "and down, with .png, .tif or .jpg behind",
            name);
    if (!all && work->format == UF_FORMAT_JPEG)
        return cli_failed("%s: some faces are missing, and what they would show is left transparent, which "
                          "JPEG cannot be; write .png or .tif",
                          name);
    return CLI_DONE;
}

/* From its header, before any pixel is read: square, and of one size with the others. */
static int probe_faces(Work *work, const Folder *folder)
{
    size_t first_px = 0;
    const char *first = NULL;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        const char *path = folder->paths[f];
        UfPictureInfo info;
        if (path == NULL)
            continue;
        UfStatus status = uf_picture_probe(path, &info, work->report);
        if (status != UF_OK)
            return failed(work, path, status);
        if (info.width_px != info.height_px)
            return cli_failed("%s: is %zu x %zu pixels; a cube face is square", path, info.width_px,
                              info.height_px);
        if (first != NULL && info.width_px != first_px)
            return cli_failed("%s: is %zu pixels wide, and %s %zu; all faces must have one size", path,
                              info.width_px, first, first_px);
        first_px = info.width_px;
        first = path;
    }
    return CLI_DONE;
}

static int read_faces(Work *work, Folder *folder)
{
    UfReadOptions read = cli_read_options(work->line);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        const char *path = folder->paths[f];
        if (path == NULL)
            continue;
        cli_progress(work->line, "reading", path);
        UfStatus status = uf_picture_read(path, &read, &work->faces[f], work->report);
        if (status != UF_OK)
            return failed(work, path, status);
        status = uf_home_find(work->faces[f], path, &folder->homes[f], &folder->known[f], work->report);
        if (status != UF_OK)
            return no_address(work, path);
        if (folder->known[f] && !work->has_home) {
            work->home = folder->homes[f];
            work->has_home = true;
        }
    }
    UfStatus status = uf_wrap_check_homes(folder->homes, folder->known, work->report);
    return status == UF_OK ? CLI_DONE : failed(work, work->line->operands[0], status);
}

static int load_folder(Work *work)
{
    Folder folder = {0};
    if (work->line->values[WRAP_AS].given)
        return cli_wrong_usage(
            work->line->command,
            "--as says what a single picture is, and '%s' is a folder of faces; leave it out",
            work->line->operands[0]);
    int status = find_faces(work, &folder);
    if (status == CLI_DONE)
        status = probe_faces(work, &folder);
    if (status == CLI_DONE)
        status = read_faces(work, &folder);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        free(folder.paths[f]);
    return status;
}

/* What the options say, over what the picture says, over what its shape says. */
static int decide_kind(Work *work)
{
    const CliValue *values = work->line->values;
    const char *path = work->line->operands[0];
    size_t width_px = uf_picture_width_px(work->picture);
    size_t height_px = uf_picture_height_px(work->picture);
    bool about_planet = values[WRAP_FOV].given || values[WRAP_HEADING].given || values[WRAP_SKY].given;
    if (!values[WRAP_AS].given && !about_planet && work->has_home)
        return CLI_DONE;
    work->has_home = false;
    work->home = (UfHome){.width_px = width_px, .height_px = height_px};
    if (values[WRAP_AS].given)
        work->home.kind = kinds[values[WRAP_AS].word];
    else if (about_planet || width_px == height_px)
        work->home.kind = UF_HOME_PLANET;
    else if (width_px == 6 * height_px)
        work->home.kind = UF_HOME_STRIP;
    else if (3 * width_px == 4 * height_px)
        work->home.kind = UF_HOME_CROSS;
    else
        return cli_failed("%s: is %zu x %zu pixels and does not say where it came from: it has no home "
                          "address, and is no strip (6:1), cross (4:3) or planet (1:1)",
                          path, width_px, height_px);
    if (work->home.kind == UF_HOME_PLANET && !values[WRAP_FOV].given)
        return cli_failed(
            "%s: how wide is this planet? It has no home address; give --fov DEG, the full angle "
            "across its width",
            path);
    if (work->home.kind == UF_HOME_PLANET && width_px != height_px)
        return cli_failed("%s: is %zu x %zu pixels; a planet is square", path, width_px, height_px);
    work->home.yaw_deg = values[WRAP_HEADING].number;
    work->home.fov_deg = values[WRAP_FOV].number;
    work->home.sky_centre = values[WRAP_SKY].given;
    return CLI_DONE;
}

static bool is_sheet(const Work *work)
{
    return work->home.kind == UF_HOME_STRIP || work->home.kind == UF_HOME_CROSS;
}

static int cut_sheet(Work *work)
{
    UfStatus status = UF_OK;
    for (unsigned f = 0; f < UF_FACE_COUNT && status == UF_OK; f++)
        status = uf_wrap_cut(work->picture, work->home.kind, (UfFace)f, &work->faces[f], work->report);
    return status == UF_OK ? CLI_DONE : failed(work, work->line->operands[0], status);
}

static int load_picture(Work *work)
{
    const char *path = work->line->operands[0];
    UfReadOptions read = cli_read_options(work->line);
    int refused = cli_check_not_output(work->line, path);
    if (refused != CLI_DONE)
        return refused;
    cli_progress(work->line, "reading", path);
    UfStatus status = uf_picture_read(path, &read, &work->picture, work->report);
    if (status != UF_OK)
        return failed(work, path, status);
    status = uf_home_find(work->picture, path, &work->home, &work->has_home, work->report);
    if (status != UF_OK)
        return no_address(work, path);
    int decided = decide_kind(work);
    if (decided != CLI_DONE)
        return decided;
    if (is_sheet(work))
        return cut_sheet(work);
    if (work->format == UF_FORMAT_JPEG)
        return cli_failed(
            "%s: a %s shows part of the sphere; the rest is left transparent, which JPEG cannot "
            "be; write .png or .tif",
            path, uf_home_kind_name(work->home.kind));
    return CLI_DONE;
}

static size_t even(double width)
{
    return (size_t)fmax(2, 2 * round(width / 2));
}

/*
 * The panorama's own width where the address says that nothing was scaled. Otherwise what the faces hold, and
 * of a planet or view the sharpness that it has in the middle, for a planet that shows the horizon the
 * sharpness there (twice as much).
 */
static size_t default_width(const Work *work, const UfPicture *any)
{
    size_t side_px = uf_picture_width_px(any);
    size_t full_px = work->has_home ? work->home.panorama_width_px : 0;
    if (work->picture == NULL || is_sheet(work))
        return full_px > 0 && side_px == uf_face_full_size_px(full_px) ? full_px : uf_wrap_width_px(side_px);
    double half_rad = work->home.fov_deg * UF_PI / 360;
    if (work->home.kind == UF_HOME_FACE)
        half_rad = UF_PI / 4;
    double half_px = (double)uf_picture_width_px(work->picture) / 2;
    double scale_px = half_px / tan(half_rad);
    if (work->home.kind == UF_HOME_PLANET)
        scale_px = half_px / (2 * tan(half_rad / 2)) * (half_rad >= UF_PI / 2 ? 2 : 1);
    double width = fmin(2 * UF_PI * scale_px, UF_PICTURE_MAX_SIDE_PX);
    return full_px > 0 && (double)full_px < width ? full_px : even(width);
}

static int choose_width(Work *work, const UfPicture *any)
{
    const CliValue *width = &work->line->values[WRAP_WIDTH];
    work->width_px = width->given ? (size_t)width->number : default_width(work, any);
    if (work->width_px % 2 != 0)
        return cli_wrong_usage(work->line->command,
                               "--width %zu is odd; a panorama is twice as wide as it is high, so give %zu",
                               work->width_px, work->width_px + 1);
    if (work->format == UF_FORMAT_JPEG && work->width_px > 65500)
        return cli_wrong_usage(work->line->command, "a JPEG can be 65500 pixels wide at most; write .tif");
    double pixels = 1.35 * (double)work->width_px * (double)(work->width_px / 2);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        if (work->faces[f] != NULL)
            pixels += 2.2 * (double)uf_picture_width_px(any) * (double)uf_picture_width_px(any);
    double bytes = pixels * (double)(uf_picture_channels(any) + uf_picture_channels(any) % 2) *
                   (double)uf_picture_sample(any);
    double limit = (double)cli_memory_limit(work->line);
    if (bytes > limit)
        return cli_failed(
            "%s: a panorama %zu pixels wide needs about %.1f MB with what it is made from, more "
            "than the limit of %.1f MB; give a smaller --width or a larger --max-memory",
            work->line->operands[0], work->width_px, bytes / 1e6, limit / 1e6);
    return CLI_DONE;
}

static UfStatus make_panorama(Work *work)
{
    UfRemapOptions remap = {.sampling = cli_sampling(work->line, UF_SAMPLING_SHARP),
                            .threads = cli_threads(work->line)};
    if (work->picture == NULL || is_sheet(work))
        return uf_wrap_faces((const UfPicture *const *)work->faces, work->width_px, &remap, &work->panorama,
                             work->report);
    UfView view;
    work->home.panorama_width_px = work->has_home ? work->home.panorama_width_px : work->width_px;
    UfStatus status = uf_home_view_at(&work->home, uf_picture_width_px(work->picture),
                                      uf_picture_height_px(work->picture), &view, work->report);
    if (status == UF_OK)
        status = uf_wrap_view(work->picture, &view, work->width_px, &remap, &work->panorama, work->report);
    return status;
}

static int wrap(Work *work)
{
    const char *path = work->line->operands[0];
    const char *out = work->line->values[CLI_OUT].text;
    const UfPicture *any = work->picture;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        any = work->faces[f] != NULL ? work->faces[f] : any;
    int refused = choose_width(work, any);
    if (refused != CLI_DONE)
        return refused;
    UfWriteOptions write = cli_write_options(work->line);
    cli_progress(work->line, "wrapping", path);
    UfStatus status = make_panorama(work);
    if (status == UF_OK)
        status = uf_wrap_dress(work->panorama, any, work->report);
    cli_progress(work->line, "writing", out);
    if (status == UF_OK)
        status = uf_picture_write(work->panorama, out, &write, work->report);
    if (status != UF_OK)
        return failed(work, path, status);
    work->unseen_percent = uf_wrap_unseen_percent(work->panorama);
    return CLI_DONE;
}

static const char *made_from(const Work *work)
{
    return work->picture == NULL ? "faces" : uf_home_kind_name(work->home.kind);
}

static void print_plain(const Work *work)
{
    cli_put_text(stdout, work->line->values[CLI_OUT].text);
    printf("\n  %zu x %zu pixels, from %s%s", work->width_px, work->width_px / 2,
           work->picture == NULL ? "" : "a ", made_from(work));
    if (work->unseen_percent > 0)
        printf(", %.3g %% of the sphere transparent", work->unseen_percent);
    fputc('\n', stdout);
}

static void print_json(const Work *work)
{
    CliJson json = cli_json_start(stdout);
    cli_json_open(&json, NULL, '{');
    cli_json_file(&json, "file", work->line->operands[0]);
    cli_json_file(&json, "out", work->line->values[CLI_OUT].text);
    cli_json_text(&json, "from", made_from(work));
    cli_json_whole(&json, "width_px", (long long)work->width_px);
    cli_json_whole(&json, "height_px", (long long)(work->width_px / 2));
    cli_json_number(&json, "transparent_percent", work->unseen_percent);
    cli_json_warnings(&json, work->report);
    cli_json_close(&json, '}');
    cli_json_end(&json);
}

static int load(Work *work)
{
    struct stat facts;
    bool is_folder = stat(work->line->operands[0], &facts) == 0 && S_ISDIR(facts.st_mode);
    return is_folder ? load_folder(work) : load_picture(work);
}

static int run(const CliLine *line)
{
    Work work = {.line = line, .report = uf_report_create()};
    int status = work.report == NULL ? cli_failed("not enough memory") : cli_check_output(line, &work.format);
    if (status == CLI_DONE)
        status = load(&work);
    if (status == CLI_DONE)
        status = wrap(&work);
    cli_progress_end(line);
    if (status == CLI_DONE) {
        if (line->values[CLI_JSON].given)
            print_json(&work);
        else
            print_plain(&work);
        status = cli_warnings(line, work.report);
    }
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        uf_picture_free(&work.faces[f]);
    uf_picture_free(&work.picture);
    uf_picture_free(&work.panorama);
    uf_report_free(&work.report);
    return status;
}

const CliCommand cli_command_wrap = {
    .name = "wrap",
    .summary = "faces or a little planet back to a panorama",
    .example = "underfoot wrap hall-faces -o hall-new.tif",
    .operands = "FACES|PLANET -o OUT",
    .least_operands = 1,
    .most_operands = 1,
    .about = "Puts a panorama together again from a folder of faces (front, right, back, left,\n"
             "up, down with .png, .tif or .jpg), a strip or cross of them, or from a little\n"
             "planet. A picture that was taken out by this program says itself what it is; of\n"
             "others the shape is taken: 6:1 strip, 4:3 cross, 1:1 planet (with --fov).\n"
             "What nothing shows is left transparent, and said (exit status 2).\n"
             "To bring single retouched faces home use putback: wrap samples everything anew,\n"
             "sharply unless told otherwise.\n",
    .common = CLI_TAKES(CLI_OUT) | CLI_TAKES(CLI_OVERWRITE) | CLI_TAKES(CLI_SAMPLING) |
              CLI_TAKES(CLI_QUALITY) | CLI_TAKES(CLI_DEPTH) | CLI_TAKES(CLI_THREADS) |
              CLI_TAKES(CLI_MAX_MEMORY) | CLI_TAKES(CLI_JSON) | CLI_TAKES(CLI_QUIET),
    .own = options,
    .run = run,
};

/* Early refusals, and what the common options mean to the library. */
#include "cli/files.h"

#include <errno.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/message.h"

bool cli_same_file(const char *a, const char *b)
{
    struct stat facts_a;
    struct stat facts_b;
    return stat(a, &facts_a) == 0 && stat(b, &facts_b) == 0 && facts_a.st_dev == facts_b.st_dev &&
           facts_a.st_ino == facts_b.st_ino;
}

/* The folder that a new file of that name would be in; free it. */
static char *folder_of(const char *path)
{
    char *folder = strdup(path);
    char *slash = folder == NULL ? NULL : strrchr(folder, '/');
    if (folder == NULL)
        return NULL;
    if (slash == NULL) {
        free(folder);
        return strdup(".");
    }
    slash[slash == folder ? 1 : 0] = '\0';
    return folder;
}

static int check_folder(const char *path)
{
    char *folder = folder_of(path);
    struct stat facts;
    int status = CLI_DONE;
    if (folder == NULL)
        return cli_failed("not enough memory");
    if (stat(folder, &facts) != 0 && errno == ENOENT)
        status = cli_failed("%s: there is no folder '%s'; make it first", path, folder);
    else if (stat(folder, &facts) != 0)
        status = cli_failed("%s: its folder '%s' cannot be used: %s", path, folder, strerror(errno));
    else if (!S_ISDIR(facts.st_mode))
        status = cli_failed("%s: '%s' is not a folder", path, folder);
    else if (access(folder, W_OK | X_OK) != 0)
        status =
            cli_failed("%s: nothing can be written to its folder '%s': %s", path, folder, strerror(errno));
    free(folder);
    return status;
}

static const char *kind_of_output(mode_t mode)
{
    return S_ISDIR(mode) ? "a folder" : S_ISFIFO(mode) ? "a pipe" : S_ISSOCK(mode) ? "a socket" : "a device";
}

int cli_check_place(const CliLine *line, const char *path)
{
    struct stat facts;
    if (stat(path, &facts) != 0) {
        if (errno == ENOENT)
            return lstat(path, &facts) != 0
                       ? check_folder(path)
                       : cli_failed("%s: is a link that leads nowhere; give another name", path);
        return cli_failed("%s: cannot be written: %s", path, strerror(errno));
    }
    if (!S_ISREG(facts.st_mode))
        return cli_failed("%s: is %s; give the name of a file to write", path, kind_of_output(facts.st_mode));
    if (line->values[CLI_OVERWRITE].given)
        return CLI_DONE;
    for (size_t i = 0; i < line->operand_count; i++)
        if (cli_same_file(path, line->operands[i]))
            return cli_failed(
                "%s: is the picture itself; add --overwrite to replace it, or give another name", path);
    return cli_failed("%s: is there already; add --overwrite to replace it, or give another name", path);
}

int cli_check_format(const CliLine *line, UfFormat *format)
{
    const CliValue *out = &line->values[CLI_OUT];
    UfFormat found = uf_format_from_name(out->text);
    if (found == UF_FORMAT_UNKNOWN)
        return cli_wrong_usage(
            line->command,
            "-o '%s': the name must end in .jpg, .jpeg, .png, .tif or .tiff, which is how the "
            "format is chosen",
            out->text);
    if (line->values[CLI_QUALITY].given && found != UF_FORMAT_JPEG)
        return cli_wrong_usage(line->command, "--quality is for JPEG, and '%s' is not; leave it out",
                               out->text);
    if (line->values[CLI_DEPTH].word == 1 && found == UF_FORMAT_JPEG)
        return cli_wrong_usage(line->command,
                               "--depth 16 does not go with JPEG; write .png or .tif, or leave it out");
    *format = found;
    return CLI_DONE;
}

int cli_check_output(const CliLine *line, UfFormat *format)
{
    if (!line->values[CLI_OUT].given)
        return cli_wrong_usage(line->command, "no output is given; add -o and the name of the file to write");
    int status = cli_check_place(line, line->values[CLI_OUT].text);
    return status == CLI_DONE ? cli_check_format(line, format) : status;
}

int cli_check_not_output(const CliLine *line, const char *input)
{
    if (cli_same_file(input, line->values[CLI_OUT].text))
        return cli_failed("%s: would be replaced by the output; give another name", input);
    return CLI_DONE;
}

UfWriteOptions cli_write_options(const CliLine *line)
{
    const CliValue *depth = &line->values[CLI_DEPTH];
    return (UfWriteOptions){.overwrite = line->values[CLI_OVERWRITE].given,
                            .quality = (int)line->values[CLI_QUALITY].number,
                            .threads = cli_threads(line),
                            .depth_bits = !depth->given      ? 0
                                          : depth->word == 0 ? 8
                                                             : 16};
}

size_t cli_memory_limit(const CliLine *line)
{
    const CliValue *limit = &line->values[CLI_MAX_MEMORY];
    if (limit->given)
        return (size_t)limit->number;
    long pages = sysconf(_SC_PHYS_PAGES);
    long page_bytes = sysconf(_SC_PAGESIZE);
    if (pages <= 0 || page_bytes <= 0)
        return SIZE_MAX / 4;
    return (size_t)pages / 4 * 3 * (size_t)page_bytes;
}

UfReadOptions cli_read_options(const CliLine *line)
{
    return (UfReadOptions){.max_memory_bytes = cli_memory_limit(line), .threads = cli_threads(line)};
}

UfSampling cli_sampling(const CliLine *line, UfSampling usual)
{
    /* in the order of the option's words */
    static const UfSampling samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR, UF_SAMPLING_SHARP};
    const CliValue *value = &line->values[CLI_SAMPLING];
    return value->given ? samplings[value->word] : usual;
}

int cli_threads(const CliLine *line)
{
    return (int)line->values[CLI_THREADS].number;
}

int cli_probe_panorama(const CliLine *line, UfPictureInfo *info, UfReport *report)
{
    const char *path = line->operands[0];
    UfStatus status = uf_picture_probe(path, info, report);
    if (status != UF_OK)
        return cli_failed_report(line, path, status, report);
    if (info->width_px != 2 * info->height_px)
        return cli_failed("%s: is %zu x %zu pixels; a full panorama is twice as wide as it is high%s", path,
                          info->width_px, info->height_px,
                          line->operand_count > 1 ? "; the panorama comes first" : "");
    return CLI_DONE;
}

UfStatus cli_read_panorama(const CliLine *line, UfPicture **out, UfReport *report)
{
    UfReadOptions read = cli_read_options(line);
    cli_progress(line, "reading", line->operands[0]);
    return uf_picture_read(line->operands[0], &read, out, report);
}

UfStatus cli_write_output(const CliLine *line, const UfPicture *picture, UfReport *report)
{
    UfWriteOptions write = cli_write_options(line);
    cli_progress(line, "writing", line->values[CLI_OUT].text);
    return uf_picture_write(picture, line->values[CLI_OUT].text, &write, report);
}

int cli_make_output(const CliLine *line, CliMake *make)
{
    UfFormat format = UF_FORMAT_UNKNOWN;
    int status = line->command->check != NULL ? line->command->check(line) : CLI_DONE;
    if (status == CLI_DONE)
        status = cli_check_output(line, &format);
    if (status != CLI_DONE)
        return status;
    UfReport *report = uf_report_create();
    status = report == NULL ? cli_failed("not enough memory") : make(line, format, report);
    uf_report_free(&report);
    return status;
}

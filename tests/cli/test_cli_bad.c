/*
 * Bad files through every command: a clear message that names the file, status 1, no output, nothing left
 * over, and the input as it was. That no sanitizer reports anything is seen to by run_program.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/bad_files.h"
#include "support/files.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(cli_bad, .init = folder_enter, .fini = folder_leave);

/* Regular files only: the others have no contents to compare. */
static bool is_file(const char *name)
{
    struct stat facts;
    return stat(name, &facts) == 0 && S_ISREG(facts.st_mode);
}

/* An output of the same format, so that tag takes it. */
static const char *output_for(const char *name)
{
    return strstr(name, ".png") != NULL ? "out.png" : strstr(name, ".tif") != NULL ? "out.tif" : "out.jpg";
}

static void assert_failed(const BadFile *bad, const char *command, const Run *run)
{
    cr_expect_eq(run->status, 1, "%s %s: status %d, signal %d: %s%s", command, bad->name, run->status,
                 run->signal, run->out, run->err);
    cr_expect_eq(strncmp(run->err, "underfoot: ", 11), 0, "%s %s: %s", command, bad->name, run->err);
    cr_expect_not_null(strstr(run->err, bad->name), "%s: the file is not named: %s", bad->name, run->err);
    cr_expect_not_null(strstr(run->err, bad->message), "%s: '%s' is not in: %s", bad->name, bad->message,
                       run->err);
    /* what is damaged has to be made again */
    bool damaged = strstr(run->err, "damaged") != NULL || strstr(run->err, "neither") != NULL;
    cr_expect(!damaged || strstr(run->err, "export it again") != NULL, "%s: nothing to do: %s", bad->name,
              run->err);
    cr_expect_eq(strchr(run->err, '\n'), run->err + run->err_bytes - 1, "%s: more than a line: %s", bad->name,
                 run->err);
    cr_expect_str_eq(run->out, "", "%s", bad->name);
}

static void assert_read(const BadFile *bad, const Run *run)
{
    int wanted = bad->outcome == BAD_WARNS ? 2 : 0;
    cr_expect_eq(run->status, wanted, "%s: status %d: %s", bad->name, run->status, run->err);
    if (bad->outcome == BAD_READS)
        cr_expect_str_eq(run->err, "", "%s: %s", bad->name, run->err);
    else
        cr_expect_eq(strncmp(run->err, "underfoot: warning: ", 20), 0, "%s: %s", bad->name, run->err);
    if (bad->outcome == BAD_WARNS)
        cr_expect_not_null(strstr(run->err, bad->message), "%s: '%s' is not in: %s", bad->name, bad->message,
                           run->err);
}

static void try_patch(const BadFile *bad)
{
    const char *out = output_for(bad->name);
    char *left = folder_list();
    Run run = RUN_UNDERFOOT("patch", bad->name, "-o", out, "--cap", "20", "--fill", "smooth");
    if (bad->outcome == BAD_FAILS)
        assert_failed(bad, "patch", &run);
    else
        assert_read(bad, &run);
    cr_expect_eq(file_exists(out), bad->outcome != BAD_FAILS, "%s", bad->name);
    remove(out);
    char *now = folder_list();
    cr_expect_str_eq(now, left, "%s: left over: %s", bad->name, now);
    free(left);
    free(now);
    run_free(&run);
}

static void try_check(const BadFile *bad)
{
    Run run = RUN_UNDERFOOT("check", bad->name);
    if (bad->outcome == BAD_FAILS)
        assert_failed(bad, "check", &run);
    else
        cr_expect(run.status == 0 || run.status == 2, "%s: status %d: %s", bad->name, run.status, run.err);
    run_free(&run);
}

/* tag does not decode: what it cannot see it copies. Either way there is an output only when it says so. */
static void try_tag(const BadFile *bad)
{
    const char *out = output_for(bad->name);
    char *left = folder_list();
    Run run = RUN_UNDERFOOT("tag", bad->name, "-o", out, "--heading", "10");
    cr_expect(run.status >= 0 && run.status <= 2, "%s: status %d, signal %d", bad->name, run.status,
              run.signal);
    cr_expect_eq(file_exists(out), run.status != 1, "%s: status %d: %s", bad->name, run.status, run.err);
    if (run.status == 1)
        cr_expect_not_null(strstr(run.err, bad->name), "%s: the file is not named: %s", bad->name, run.err);
    remove(out);
    char *now = folder_list();
    cr_expect_str_eq(now, left, "%s: left over: %s", bad->name, now);
    free(left);
    free(now);
    run_free(&run);
}

static void try_all(const BadFile *files, void (*const tries[])(const BadFile *))
{
    for (const BadFile *bad = files; bad->name != NULL; bad++) {
        bad->make(bad);
        bool regular = is_file(bad->name);
        for (size_t i = 0; tries[i] != NULL; i++) {
            FileState before = {0};
            if (regular)
                before = file_state(bad->name);
            tries[i](bad);
            cr_expect(!regular || file_unchanged(bad->name, &before), "%s: the input changed", bad->name);
        }
        remove(bad->name);
    }
}

static void (*const every_command[])(const BadFile *) = {try_patch, try_check, try_tag, NULL};

Test(cli_bad, jpegs)
{
    try_all(bad_jpegs, every_command);
}

Test(cli_bad, pngs)
{
    try_all(bad_pngs, every_command);
}

Test(cli_bad, tiffs)
{
    try_all(bad_tiffs, every_command);
}

Test(cli_bad, others)
{
    try_all(bad_others, every_command);
}

/* check reads them and says so; the others refuse before they read a pixel. */
Test(cli_bad, shapes)
{
    static void (*const commands[])(const BadFile *) = {try_patch, try_tag, NULL};
    try_all(bad_shapes, commands);
    for (const BadFile *bad = bad_shapes; bad->name != NULL; bad++) {
        bad->make(bad);
        Run check = RUN_UNDERFOOT("check", bad->name);
        cr_expect_eq(check.status, 2, "%s: status %d", bad->name, check.status);
        Run view = RUN_UNDERFOOT("view", bad->name, "-o", "out.png");
        assert_failed(bad, "view", &view);
        cr_expect_not(file_exists("out.png"));
        run_free(&check);
        run_free(&view);
    }
}

/* A logo that cannot be read stops the work as early. */
Test(cli_bad, logos)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("in.png", &panorama, NULL);
    file_write("text.png", "no picture", 10);
    static const char *const logos[] = {"text.png", "missing.png", "."};
    for (size_t i = 0; i < 3; i++) {
        Run run = RUN_UNDERFOOT("patch", "in.png", "-o", "out.png", "--cap", "20", "--logo", logos[i]);
        cr_expect_eq(run.status, 1);
        cr_expect_not_null(strstr(run.err, logos[i]), "%s", run.err);
        cr_expect_not(file_exists("out.png"));
        run_free(&run);
    }
    pixels_free(&panorama);
}

/* root may read everything, so somebody else has to try */
Test(cli_bad, unreadable)
{
    if (geteuid() != 0)
        cr_skip_test("only root can become somebody else");
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("closed.png", &panorama, NULL);
    cr_assert_eq(chmod("closed.png", 0600), 0);
    Run run = RUN_UNDERFOOT_AS_NOBODY("patch", "closed.png", "-o", "out.png", "--cap", "20");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "closed.png: cannot be opened: Permission denied"), "%s", run.err);
    cr_expect_not(file_exists("out.png"));
    pixels_free(&panorama);
    run_free(&run);
}

Test(cli_bad, the_memory_limit_refuses_before_anything_is_read)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 4096, .height = 2048});
    png_write("large.png", &panorama, NULL);
    jpeg_write("large.jpg", &panorama, NULL);
    tiff_write("large.tif", &panorama, &(TiffOptions){.compression = 5});
    pixels_free(&panorama);
    static const char *const names[] = {"large.png", "large.jpg", "large.tif"};
    for (size_t i = 0; i < 3; i++) {
        Run patch = RUN_UNDERFOOT("patch", names[i], "-o", "out.png", "--cap", "20", "--max-memory", "10M");
        Run check = RUN_UNDERFOOT("check", names[i], "--max-memory", "10M");
        Run view = RUN_UNDERFOOT("view", names[i], "-o", "out.png", "--max-memory=10M", "--size", "100x100");
        const Run *runs[] = {&patch, &check, &view};
        for (size_t k = 0; k < 3; k++) {
            cr_expect_eq(runs[k]->status, 1, "%s: status %d", names[i], runs[k]->status);
            cr_expect_not_null(strstr(runs[k]->err, names[i]), "%s", runs[k]->err);
            cr_expect_not_null(strstr(runs[k]->err, "--max-memory"), "%s", runs[k]->err);
        }
        run_free(&patch);
        run_free(&check);
        run_free(&view);
    }
    cr_expect_not(file_exists("out.png"));
}

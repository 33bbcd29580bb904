/*
 * The program when memory, disk or file system let it down, at every such call in turn: it ends with status 1
 * and a message, or finishes as if nothing had been; it leaves no output and no temporary file after a
 * failure. UF_EVERY is the stride: 41, or 1 for every call. Plain build only: the faults come from a preloaded
 * library.
 *
 * Two libraries go their own way without memory, and nobody can ask them not to: lcms2 initialises a mutex
 * that it could not allocate, Exempi's C interface lets xmp_new_empty throw or swallows bad_alloc with a word
 * on stderr and goes on. Those deaths and swallowed failures are counted, and bounded. With status 2 the
 * person has been told what is missing.
 */
#include <criterion/criterion.h>

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/photographs.h"
#include "support/program.h"

TestSuite(faults, .init = folder_enter, .fini = folder_leave, .timeout = 3000);

/*
 * Libraries that do not look at what malloc gives end the program: libtiff 4.5 in reading a directory, lcms2, Exempi. With
 * every allocation failing in turn 119 of 2300 were theirs in making a planet of a TIFF, the most of any command. One in
 * fifteen may be theirs, and of few tries this many.
 */
#define LIBRARY_FAULTS 6
#define LIBRARY_SHARE  15
#define SILENT         1000 /* so many for one that nothing was said about: never */

static char preload[PATH_MAX];

/* Small pictures of every format; the JPEG carries EXIF, XMP and a profile. */
static void make_inputs(void)
{
    char scene[1024];
    snprintf(preload, sizeof preload, "%s", underfoot_path());
    strcpy(strrchr(preload, '/'), "/preload.so");
    setenv("OMP_NUM_THREADS", "1", 1);
    file_copy(scene_path("ticket-hall.jpg", scene), "scene.jpg");
    static const char *const lines[] = {"deliver scene.jpg -o in.jpg --width 128",
                                        "deliver scene.jpg -o in.png --width 128",
                                        "deliver scene.jpg -o in.tif --width 128"};
    for (size_t i = 0; i < 3; i++) {
        char line[2 * PATH_MAX];
        snprintf(line, sizeof line, "%s %s", underfoot_path(), lines[i]);
        Run run = RUN_PROGRAM("sh", "-c", line);
        cr_assert(run.status == 0 || run.status == 2, "%s", run.err);
        run_free(&run);
    }
    Run run = RUN_UNDERFOOT("view", "in.png", "-o", "edit.png", "--size", "40x40", "--pitch", "-60");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

static long every(void)
{
    const char *text = getenv("UF_EVERY");
    return text != NULL ? atol(text) : 41;
}

static Run start(const char *fault, long at, const char *words)
{
    char line[3 * PATH_MAX];
    snprintf(line, sizeof line, "UF_FAULT=%s UF_FAULT_AT=%ld UF_FAULT_COUNT=%s LD_PRELOAD='%s' exec '%s' %s",
             fault, at, at == 0 ? "count" : "", preload, underfoot_path(), words);
    return RUN_PROGRAM("sh", "-c", line);
}

static long count_calls(const char *fault, const char *words)
{
    Run run = start(fault, 0, words);
    cr_assert(run.status == 0 || run.status == 2, "%s: %d %s", words, run.status, run.err);
    run_free(&run);
    Bytes bytes = file_read("count");
    long count = atol((const char *)bytes.data);
    bytes_free(&bytes);
    return count;
}

/* The temporary files in a list of names, one a line. */
static void remove_unfinished(char *names)
{
    char *rest = NULL;
    for (char *name = strtok_r(names, "\n", &rest); name != NULL; name = strtok_r(NULL, "\n", &rest))
        if (strstr(name, ".uf-") != NULL)
            remove(name);
}

/* What a run under a fault may do: `out` is what the undisturbed run wrote. */
static void check_run(const Run *run, const char *what, const char *out, int *library)
{
    const bool died = run->signal != 0 || run->status >= 128;
    char *left = folder_list();
    if (died)
        remove_unfinished(left); /* nobody was there to do it */
    else
        cr_expect_null(strstr(left, ".uf-"), "%s: left behind: %s", what, left);
    free(left);
    *library += died;
    if (run->status == 0 && !file_same(out, "whole"))
        *library += run->err_bytes > 0 ? 1 : SILENT;
    else if (run->status == 2)
        cr_expect(file_same(out, "whole") || strstr(run->err, "warning: ") != NULL, "%s: %s", what, run->err);
    else if (run->status == 0)
        cr_expect(file_exists(out));
    else
        cr_expect(!file_exists(out), "%s: status %d, but an output", what, run->status);
    cr_expect(run->status != 1 || run->err_bytes > 10, "%s: failed without a word", what);
}

static void sweep(const char *fault, const char *words, const char *out, long stride)
{
    char what[400];
    long calls = count_calls(fault, words);
    int library = 0, failures = 0;
    rename(out, "whole");
    remove("out.jpg.home.ini");
    for (long at = 1; at <= calls; at += stride) {
        Run run = start(fault, at, words);
        snprintf(what, sizeof what, "%s, %s %ld of %ld", words, fault, at, calls);
        check_run(&run, what, out, &library);
        failures += run.status == 1;
        remove(out);
        remove("out.jpg.home.ini");
        run_free(&run);
    }
    remove("whole");
    long share = calls / stride / LIBRARY_SHARE, bound = share > LIBRARY_FAULTS ? share : LIBRARY_FAULTS;
    cr_expect_leq(library, strcmp(fault, "memory") == 0 ? bound : 0, "%s: %d faults of libraries",
                  words, library);
    /* a refused link is renamed instead, a refused copy read and written: that is no failure */
    bool has_other_way = strcmp(fault, "rename") == 0 || strcmp(fault, "copy") == 0;
    cr_expect(calls == 0 || has_other_way || failures > 0, "%s, %s: %ld calls and no failure", words, fault,
              calls);
}

static const char *const work[][2] = {
    {"patch in.jpg -o out.jpg --cap 20 --fill smooth", "out.jpg"},
    {"patch in.tif -o out.tif --cap 20 --fill floor", "out.tif"},
    {"patch in.png -o out.png --cap 20 --fill '#405060'", "out.png"},
    {"turn in.png -o out.tif --yaw 20 --pitch 5", "out.tif"},
    {"turn in.jpg -o out.jpg --yaw 45", "out.jpg"},
    {"putback in.png edit.png -o out.png --pitch -60 --fov 90 --tolerance 0", "out.png"},
    {"planet in.tif -o out.jpg --size 40", "out.jpg"},
    {"tag in.jpg -o out.jpg --heading 20", "out.jpg"},
    {"deliver in.tif -o out.jpg --width 64 --srgb", "out.jpg"},
};

Test(faults, no_memory_at_any_moment)
{
    make_inputs();
    for (size_t i = 0; i < sizeof work / sizeof work[0]; i++)
        sweep("memory", work[i][0], work[i][1], every());
}

/* Every allocation of the part in which EXIF, XMP and profile are read: what is lost is told. */
Test(faults, reading_a_tiff_without_memory_loses_nothing_in_silence)
{
    const char *words = "deliver in.tif -o out.jpg --width 64", *out = "out.jpg";
    make_inputs();
    long calls = count_calls("memory", words);
    int library = 0;
    rename(out, "whole");
    cr_assert_gt(calls, 200);
    for (long at = 60; at < 200; at++) {
        char what[100];
        Run run = start("memory", at, words);
        snprintf(what, sizeof what, "%s, %ld", words, at);
        check_run(&run, what, out, &library);
        cr_expect_lt(library, SILENT, "%s: other than it should be, without a word", what);
        library %= SILENT;
        remove(out);
        run_free(&run);
    }
}

Test(faults, disk_and_file_system_say_no)
{
    static const char *const kinds[] = {"open", "fsync", "rename", "copy"};
    make_inputs();
    for (size_t k = 0; k < 4; k++)
        for (size_t i = 0; i < sizeof work / sizeof work[0]; i++)
            sweep(kinds[k], work[i][0], work[i][1], 1);
}

/* The disk is full after so many blocks of 512 bytes: what does not fit is a failure (POSIX: EFBIG). */
Test(faults, no_room_at_any_byte)
{
    make_inputs();
    for (size_t i = 0; i < sizeof work / sizeof work[0]; i++) {
        char line[3 * PATH_MAX], what[400];
        int library = 0;
        snprintf(line, sizeof line, "'%s' %s", underfoot_path(), work[i][0]);
        Run run = RUN_PROGRAM("sh", "-c", line);
        cr_assert(run.status == 0 || run.status == 2, "%s: %s", line, run.err);
        run_free(&run);
        rename(work[i][1], "whole");
        Bytes whole = file_read("whole");
        for (size_t block = 1; /* the message has to fit, too */ block * 512 < whole.size;
             block += 1 + whole.size / 512 / (size_t)(1000 / every())) {
            snprintf(line, sizeof line, "trap '' XFSZ; ulimit -f %zu; exec '%s' %s", block, underfoot_path(),
                     work[i][0]);
            run = RUN_PROGRAM("sh", "-c", line);
            snprintf(what, sizeof what, "%s, %zu blocks", work[i][0], block);
            cr_expect_eq(run.status, 1, "%s: status %d", what, run.status);
            check_run(&run, what, work[i][1], &library);
            run_free(&run);
        }
        cr_expect_eq(library, 0);
        bytes_free(&whole);
        remove("whole");
    }
}

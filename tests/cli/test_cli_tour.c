/*
 * `underfoot tour`: a folder from end to end, and what becomes of it when runs are killed, disks are full,
 * files broken or changed. Pictures are small and the steps cheap: a plain cap, and a smaller copy.
 */
#include <criterion/criterion.h>

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

#define SHEET                                                                                                \
    "[tour]\ninput = in\nout = out\njobs = 2\n[patch]\ncap = 25\nfill = #ff0000\nfeather = 0\n[deliver "     \
    "small]\nwidth = 64\n"

static void write_text(const char *path, const char *text)
{
    file_write(path, text, strlen(text));
}

static void make_pictures(void)
{
    folder_enter();
    cr_assert_eq(mkdir("in", 0777), 0);
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 256, .height = 128});
    jpeg_write("in/a.jpg", &panorama, NULL);
    png_write("in/b.png", &panorama, NULL);
    tiff_write("in/c.tif", &panorama, NULL);
    write_text("in/notes.txt", "not a picture");
    write_text("tour.ini", SHEET);
    pixels_free(&panorama);
}

TestSuite(cli_tour, .init = make_pictures, .fini = folder_leave, .timeout = 300);

static const char *const results[] = {"out/a.jpg",       "out/b.png",       "out/c.tif",
                                      "out/small/a.jpg", "out/small/b.png", "out/small/c.tif"};
#define RESULTS (sizeof results / sizeof results[0])

/* Runs the sheet, expects an exit status, and gives what it printed. */
static char *run_tour(int status, const char *option, const char *value)
{
    Run run = option == NULL  ? RUN_UNDERFOOT("tour", "tour.ini", "--quiet", "--json")
              : value == NULL ? RUN_UNDERFOOT("tour", "tour.ini", "--quiet", "--json", option)
                              : RUN_UNDERFOOT("tour", "tour.ini", "--quiet", "--json", option, value);
    cr_assert_eq(run.status, status, "status %d, not %d\n%s%s", run.status, status, run.out, run.err);
    char *text = NULL;
    cr_assert_geq(asprintf(&text, "%s%s", run.out, run.err), 0);
    run_free(&run);
    return text;
}

static void expect_text(char *text, const char *part)
{
    cr_expect_not_null(strstr(text, part), "no '%s' in:\n%s", part, text);
    free(text);
}

static void expect_made(const char *option, const char *made)
{
    expect_text(run_tour(0, option, NULL), made);
}

/* Tells a file from one that has taken its place: a number of a file that has gone is given out again, a
 * moment is not. */
static ino_t inode(const char *path)
{
    struct stat facts;
    cr_assert_eq(stat(path, &facts), 0, "%s is not there", path);
    return facts.st_ino ^ ((ino_t)facts.st_mtim.tv_sec * 1000000007u + (ino_t)facts.st_mtim.tv_nsec);
}

/* Which of the results are other files than before, as a text of 0 and 1; takes the new ones down. */
static void expect_renewed(ino_t before[RESULTS], const char *expected)
{
    char renewed[RESULTS + 1] = "";
    for (size_t i = 0; i < RESULTS; i++) {
        ino_t now = inode(results[i]);
        renewed[i] = now == before[i] ? '0' : '1';
        before[i] = now;
    }
    cr_expect_str_eq(renewed, expected);
}

/* Nothing unfinished anywhere in the output folder. */
static void expect_tidy(void)
{
    Run run = RUN_PROGRAM("find", "out", "(", "-name", ".*.uf-*", "-o", "-name", "work*", ")");
    cr_expect_str_eq(run.out, "");
    run_free(&run);
}

Test(cli_tour, makes_a_folder_from_end_to_end_and_nothing_twice)
{
    ino_t inodes[RESULTS];
    FileState original = file_state("in/a.jpg");
    Run run = RUN_UNDERFOOT("tour", "tour.ini");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_not_null(strstr(run.out, "3 panoramas: 3 done, 0 with warnings, 0 failed"), "%s", run.out);
    cr_expect_not_null(strstr(run.err, "[6/6]"), "%s", run.err);
    run_free(&run);
    for (size_t i = 0; i < RESULTS; i++)
        inodes[i] = inode(results[i]);
    Pixels patched = picture_decode("out/c.tif");
    Pixels small = picture_decode("out/small/c.tif");
    cr_expect_eq(patched.codes[3 * 256 * 127], 255); /* the cap's red, at the nadir */
    cr_expect_eq(patched.codes[3 * 256 * 127 + 1], 0);
    cr_expect_eq(small.width, 64);
    cr_expect_eq(small.codes[3 * 64 * 31 + 1], 0); /* of the patched one, not of the original */
    Bytes summary = file_read("out/summary.csv");
    cr_expect_not_null(strstr((char *)summary.data, "\r\nb.png,done,in/b.png,b.png,256,128,25.0000,sheet,"),
                       "%s", summary.data);
    cr_expect_null(strstr((char *)summary.data, "notes"));
    Run home = RUN_UNDERFOOT("patch", "in/c.tif", "-o", "alone.tif", "--cap", "25", "--fill", "#ff0000",
                             "--feather", "0");
    cr_expect(file_same("alone.tif", "out/c.tif"));
    expect_made(NULL, "\"made\": 0, \"there\": 6");
    expect_renewed(inodes, "000000");
    Bytes again = file_read("out/summary.csv");
    cr_expect(again.size == summary.size && memcmp(again.data, summary.data, again.size) == 0);
    cr_expect(file_unchanged("in/a.jpg", &original));
    expect_tidy();
    bytes_free(&summary);
    bytes_free(&again);
    pixels_free(&patched);
    pixels_free(&small);
    run_free(&home);
}

Test(cli_tour, makes_again_only_what_a_change_touches)
{
    ino_t inodes[RESULTS];
    Pixels other = panorama_make(&(PanoramaOptions){.width = 256, .height = 128, .dark = true});
    Pixels logo = panorama_make(&(PanoramaOptions){.width = 32, .height = 32});
    png_write("logo.png", &logo, NULL);
    write_text("tour.ini", SHEET "[panorama c.*]\npatch.logo = logo.png\npatch.logo-cap = 10\n");
    free(run_tour(0, NULL, NULL));
    for (size_t i = 0; i < RESULTS; i++)
        inodes[i] = inode(results[i]);
    file_copy("out/small/c.tif", "before.tif");
    /* a file that an option names */
    png_write("logo.png", &logo, &(PngOptions){.interlaced = true});
    free(run_tour(0, NULL, NULL));
    expect_renewed(inodes, "001000"); /* the same pixels: the smaller copy stays */
    cr_expect(file_same("before.tif", "out/small/c.tif"));
    /* a panorama */
    png_write("in/b.png", &other, NULL);
    free(run_tour(0, NULL, NULL));
    expect_renewed(inodes, "010010");
    /* an option of what is derived, and one of a single panorama; an order of lines means nothing */
    write_text("tour.ini", "[deliver small]\nwidth = 32\n[patch]\nfill = #ff0000\ncap = 25\nfeather = 0\n"
                           "[tour]\nout = out\ninput = in\n"
                           "[panorama *]\nskip = yes\n[panorama ?.*]\nskip = no\n[panorama "
                           "c.*]\npatch.logo-cap = 10\npatch.logo = logo.png\n");
    free(run_tour(0, NULL, NULL));
    expect_renewed(inodes, "000111");
    /* results that are gone */
    cr_assert(unlink("out/a.jpg") == 0 && unlink("out/small/b.png") == 0);
    Run list = RUN_UNDERFOOT("tour", "tour.ini", "--dry-run");
    cr_expect_str_eq(list.out,
                     "underfoot patch '--fill=#ff0000' --cap=25 --feather=0 --json -o out/a.jpg -- in/a.jpg\n"
                     "underfoot deliver --width=32 --json -o out/small/a.jpg -- out/a.jpg\n"
                     "underfoot deliver --width=32 --json -o out/small/b.png -- out/b.png\n");
    run_free(&list);
    free(run_tour(0, NULL, NULL));
    expect_renewed(inodes, "100010");
    Run nothing = RUN_UNDERFOOT("tour", "tour.ini", "--dry-run");
    cr_expect(nothing.status == 0 && nothing.out[0] == '\0');
    cr_expect_str_eq(nothing.err,
                     "underfoot: nothing would be made: what can be made is there, and up to date\n");
    run_free(&nothing);
    pixels_free(&other);
    pixels_free(&logo);
}

Test(cli_tour, reports_a_broken_panorama_and_goes_on)
{
    file_copy("in/b.png", "whole.png");
    file_cut("whole.png", "in/b.png", -300);
    Pixels square = panorama_make(&(PanoramaOptions){.width = 64, .height = 64});
    png_write("in/d.png", &square, NULL);
    write_text("tour.ini", SHEET "[panorama c.tif]\nskip = yes\n");
    char *text = run_tour(2, NULL, NULL);
    cr_expect_not_null(strstr(text, "\"done\": 1, \"warned\": 0, \"failed\": 2, \"skipped\": 1"), "%s", text);
    cr_expect_not_null(strstr(text, "underfoot: b.png: patch: in/b.png"), "%s", text);
    cr_expect_not_null(strstr(text, "d.png: patch: is 64 x 64 pixels"), "%s", text);
    cr_expect_null(strstr(text, "taken from"), "one misfortune, one message:\n%s", text);
    free(text);
    Bytes summary = file_read("out/summary.csv");
    cr_expect_not_null(strstr((char *)summary.data, "\r\nb.png,failed,in/b.png,,256,128,"), "%s",
                       summary.data);
    cr_expect_not_null(strstr((char *)summary.data, "\r\nc.tif,skipped,"), "%s", summary.data);
    cr_expect(file_exists("out/a.jpg") && !file_exists("out/b.png") && !file_exists("out/small/b.png"));
    expect_tidy();
    /* mended, it is made, and nothing else */
    file_copy("whole.png", "in/b.png");
    expect_text(run_tour(2, NULL, NULL), "\"made\": 2, \"there\": 2");
    bytes_free(&summary);
    pixels_free(&square);
}

/* Waits until a file is there, or the program has ended. */
static void wait_for(const char *path)
{
    for (int i = 0; i < 30000 && !file_exists(path); i++)
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
    cr_assert(file_exists(path), "%s never came", path);
}

/* Starts the tour, ends it by a signal once a file is there, and returns how it ended. */
static Run kill_tour(const char *when, int number)
{
    Started *started = run_start(
        (const char *const[]){underfoot_path(), "tour", "tour.ini", "--threads", "1", "--quiet", NULL}, NULL);
    wait_for(when);
    cr_assert_eq(kill(run_process_id(started), number), 0);
    return run_wait(started);
}

Test(cli_tour, goes_on_after_being_killed_as_if_nothing_had_happened)
{
    free(run_tour(0, "-o", "alone"));
    const char *const instants[] = {"out/.underfoot/work", "out/a.jpg", "out/b.png"};
    for (size_t i = 0; i < sizeof instants / sizeof instants[0]; i++) {
        Run run = kill_tour(instants[i], SIGKILL);
        cr_expect_eq(run.signal, SIGKILL, "it ended by itself: %s", run.err);
        run_free(&run);
    }
    char *text = run_tour(0, NULL, NULL);
    cr_expect_null(strstr(text, "\"there\": 6"), "nothing was left to do: no kill came in time\n%s", text);
    free(text);
    Run same = RUN_PROGRAM("diff", "-r", "-x", ".underfoot", "alone", "out");
    cr_expect_eq(same.status, 0, "%s", same.out);
    expect_tidy();
    run_free(&same);
}

Test(cli_tour, ends_in_order_when_it_is_interrupted)
{
    Run run = kill_tour("out/a.jpg", SIGINT);
    cr_expect_eq(run.signal, SIGINT);
    cr_expect_not_null(strstr(run.err, "Run the same line again to go on"), "%s", run.err);
    expect_tidy();
    run_free(&run);
    free(run_tour(0, NULL, NULL));
}

Test(cli_tour, ends_in_order_when_it_is_told_to)
{
    Run run = kill_tour("out/.underfoot/work", SIGTERM);
    cr_expect_eq(run.signal, SIGTERM);
    expect_tidy();
    run_free(&run);
    free(run_tour(0, NULL, NULL));
}

/* Whoever read its messages has gone away. */
Test(cli_tour, ends_in_order_when_nobody_listens)
{
    Run run = run_program(
        (const char *const[]){"sh", "-c", "exec \"$0\" tour tour.ini 2>&1", underfoot_path(), NULL},
        &(RunOptions){.stdout_unread = true});
    cr_expect_eq(run.signal, SIGPIPE, "status %d", run.status);
    expect_tidy();
    run_free(&run);
    free(run_tour(0, NULL, NULL));
}

/* Names that a shell, a sheet, JSON, CSV or HTML may stumble over, in a folder that is a link. */
Test(cli_tour, takes_names_of_every_sort)
{
    static const char *const names[] = {"with space.jpg", "new\nline.jpg",         "quote\"and\\.jpg",
                                        "-o.jpg",         "\xc3\xa9t\xc3\xa9.jpg", "tab\t.jpg",
                                        "=cmd(),.jpg",    "\xff\xfe.jpg",          "<script>.jpg"};
    char path[100];
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        snprintf(path, sizeof path, "in/%s", names[i]);
        file_copy("in/a.jpg", path);
    }
    cr_assert(mkdir("store", 0777) == 0 && symlink("store", "out") == 0);
    expect_text(run_tour(0, "--review", "page.html"), "\"panoramas\": 12, \"done\": 12");
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        snprintf(path, sizeof path, "store/%s", names[i]);
        cr_expect(file_exists(path), "%s", path);
        snprintf(path, sizeof path, "store/small/%s", names[i]);
        cr_expect(file_exists(path), "%s", path);
    }
    expect_made(NULL, "\"made\": 0");
    expect_tidy();
}

/* What was on its way when the power went: a torn record, and results that no record knows any more. */
Test(cli_tour, takes_a_torn_journal_for_what_it_still_says)
{
    free(run_tour(0, NULL, NULL));
    Bytes journal = file_read("out/.underfoot/journal.txt");
    size_t lines = 0, at = 0;
    for (; at < journal.size && lines < 5; at++)
        lines += journal.data[at] == '\n';
    file_write("out/.underfoot/journal.txt", journal.data,
               at + 40); /* a heading, four records, a piece of one */
    bytes_free(&journal);
    char *text = run_tour(2, NULL, NULL);
    cr_expect_not_null(strstr(text, "is there already and was not made by this tour"), "%s", text);
    free(text);
    expect_text(run_tour(0, "--overwrite", NULL), "\"made\": 2, \"there\": 4");
    expect_made(NULL, "\"made\": 0, \"there\": 6");
}

Test(cli_tour, keeps_what_somebody_else_changed)
{
    free(run_tour(0, NULL, NULL));
    file_copy("out/b.png", "made.png");
    Pixels retouched = panorama_make(&(PanoramaOptions){.width = 256, .height = 128, .dark = true});
    png_write("out/b.png", &retouched, NULL);
    FileState mine = file_state("out/b.png");
    Bytes copy = file_read("out/small/b.png");
    Run run = RUN_UNDERFOOT("tour", "tour.ini");
    cr_expect_eq(run.status, 2, "%s", run.err);
    cr_expect_not_null(strstr(run.err, "b.png was changed by somebody else since it was made"), "%s",
                       run.err);
    cr_expect(file_unchanged("out/b.png", &mine));
    Bytes follows = file_read("out/small/b.png");
    cr_expect(copy.size != follows.size || memcmp(copy.data, follows.data, copy.size) != 0,
              "the smaller copy is to be that of the retouched panorama");
    free(run_tour(0, "--overwrite", NULL));
    cr_expect(file_same("made.png", "out/b.png"));
    /* a place that was taken before the tour came */
    write_text("tour.ini", SHEET "[deliver tiny]\nwidth = 32\n");
    cr_assert_eq(mkdir("out/tiny", 0777), 0);
    write_text("out/tiny/a.jpg", "mine");
    expect_text(run_tour(2, NULL, NULL), "out/tiny/a.jpg is there already and was not made by this tour");
    Bytes kept = file_read("out/tiny/a.jpg");
    cr_expect_str_eq((char *)kept.data, "mine");
    cr_expect(file_exists("out/tiny/b.png"));
    pixels_free(&retouched);
    bytes_free(&copy);
    bytes_free(&follows);
    bytes_free(&kept);
    run_free(&run);
}

Test(cli_tour, is_alone_in_its_folder)
{
    cr_assert(mkdir("out", 0777) == 0 && mkdir("out/.underfoot", 0777) == 0);
    int lock = open("out/.underfoot/lock", O_CREAT | O_RDWR | O_CLOEXEC, 0666);
    cr_assert_eq(flock(lock, LOCK_EX), 0);
    expect_text(run_tour(1, NULL, NULL), "another run is at work in this folder");
    expect_text(run_tour(1, "--part", "1/2"), "another run is at work in this folder");
    cr_assert_eq(flock(lock, LOCK_SH), 0); /* as another part's run holds it */
    free(run_tour(0, "--part", "1/2"));
    int other = open("out/.underfoot/lock-of-3", O_CREAT | O_RDWR | O_CLOEXEC, 0666);
    cr_assert_eq(flock(other, LOCK_SH), 0);
    expect_text(run_tour(1, "--part", "1/2"), "another run is at work in this folder");
    close(lock);
    close(other);
}

Test(cli_tour, divides_into_parts_that_merge_to_the_same_as_the_whole)
{
    free(run_tour(0, "-o", "alone"));
    free(run_tour(0, "--part", "1/2"));
    cr_expect(file_exists("out/a.jpg") && !file_exists("out/b.png") && file_exists("out/c.tif"));
    cr_expect_not(file_exists("out/summary.csv"));
    expect_text(run_tour(2, "--merge", NULL), "b.png: patch: is not made yet; run its part");
    cr_expect_not(file_exists("out/b.png"));
    free(run_tour(0, "--part", "2/2"));
    expect_text(run_tour(0, "--merge", NULL), "\"made\": 0, \"there\": 6");
    Run same = RUN_PROGRAM("diff", "-r", "-x", ".underfoot", "alone", "out");
    cr_expect_eq(same.status, 0, "%s", same.out);
    cr_expect_not(file_exists("out/.underfoot/journal-1-of-2.txt"));
    cr_expect_not(file_exists("out/.underfoot/journal-2-of-2.txt"));
    expect_made(NULL, "\"made\": 0, \"there\": 6");
    run_free(&same);
}

/* Processes side by side, started by GNU parallel. */
Test(cli_tour, runs_its_parts_side_by_side)
{
    Run run = RUN_PROGRAM("parallel", "-j3", underfoot_path(), "tour", "tour.ini", "--quiet", "--part",
                          "{}/3", ":::", "1", "2", "3");
    cr_assert_eq(run.status, 0, "%s%s", run.out, run.err);
    expect_text(run_tour(0, "--merge", NULL), "\"panoramas\": 3, \"done\": 3");
    for (size_t i = 0; i < RESULTS; i++)
        cr_expect(file_exists(results[i]), "%s", results[i]);
    run_free(&run);
}

Test(cli_tour, says_clearly_that_nothing_can_be_written)
{
    cr_assert_eq(mkdir("locked", 0555), 0);
    Run run = RUN_UNDERFOOT_AS_NOBODY("tour", "tour.ini", "-o", "locked/out");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "locked/out: this folder cannot be made: Permission denied"), "%s",
                       run.err);
    Run there = RUN_UNDERFOOT_AS_NOBODY("tour", "tour.ini", "-o", "locked");
    cr_expect_eq(there.status, 1);
    cr_expect_not_null(strstr(there.err, "locked/.underfoot: this folder cannot be made: Permission denied"),
                       "%s", there.err);
    run_free(&run);
    run_free(&there);
}

/* Where this process may not mount, the largest file that it may write stands in for a full disk. */
Test(cli_tour, loses_nothing_when_the_disk_is_full)
{
    free(run_tour(0, "-o", "alone"));
    cr_assert_eq(mkdir("out", 0777), 0);
    bool mounted = mount("none", "out", "tmpfs", 0, "size=120k") == 0;
    Run run = mounted ? RUN_UNDERFOOT("tour", "tour.ini")
                      : RUN_PROGRAM("sh", "-c", "ulimit -f 60; exec \"$0\" tour tour.ini", underfoot_path());
    cr_expect_eq(run.status, mounted ? 1 : 2, "%s", run.err);
    cr_expect_not_null(strstr(run.err, mounted
                                           ? "No space left on device; make room and run the same line again"
                                           : "File size limit exceeded"),
                       "%s", run.err);
    cr_expect_not_null(strstr(run.err, "/6] out/a.jpg"), "%s", run.err);
    expect_tidy();
    if (mounted)
        cr_assert_eq(mount("none", "out", "tmpfs", MS_REMOUNT, "size=8m"), 0);
    char *text = run_tour(0, NULL, NULL);
    cr_expect_null(strstr(text, "\"there\": 0"), "what was finished is to stay:\n%s", text);
    Run same = RUN_PROGRAM("diff", "-r", "-x", ".underfoot", "alone", "out");
    cr_expect_eq(same.status, 0, "%s", same.out);
    if (mounted)
        cr_expect_eq(umount("out"), 0);
    free(text);
    run_free(&run);
    run_free(&same);
}

Test(cli_tour, lists_lines_that_a_shell_or_a_program_can_take)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 64, .height = 32});
    cr_assert_eq(mkdir("odd", 0777), 0);
    jpeg_write("odd/it's $HOME.jpg", &panorama, NULL);
    pixels_free(&panorama);
    Run list = RUN_UNDERFOOT("tour", "odd", "-o", "out", "--cap", "20", "--dry-run");
    cr_expect_str_eq(
        list.out,
        "underfoot patch --cap=20 --json -o 'out/it'\\''s $HOME.jpg' -- 'odd/it'\\''s $HOME.jpg'\n");
    Run json = RUN_UNDERFOOT("tour", "odd", "-o", "out", "--cap", "20", "--dry-run", "--json");
    cr_expect_str_eq(json.out,
                     "[\"underfoot\", \"patch\", \"--cap=20\", \"--json\", \"-o\", \"out/it's $HOME.jpg\", "
                     "\"--\", \"odd/it's $HOME.jpg\"]\n");
    cr_expect_not(file_exists("out"));
    run_free(&list);
    run_free(&json);
}

Test(cli_tour, refuses_options_that_do_not_go_together)
{
    static const char *const lines[][7] = {{"in", "-o", "out", "--rig=r.ini", "--cap=20", "give one of them"},
                                           {"in", "--cap=20", "no output is given"},
                                           {"tour.ini", "--cap=20", "--rig and --cap go with a folder"},
                                           {"tour.ini", "--merge", "--part=1/2", "leave --part out"},
                                           {"tour.ini", "--merge", "--dry-run", "leave --dry-run out"}};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        const char *arguments[9] = {underfoot_path(), "tour"};
        size_t count = 0;
        for (; lines[i][count + 1] != NULL; count++)
            arguments[2 + count] = lines[i][count];
        Run run = run_program(arguments, NULL);
        cr_expect_eq(run.status, 64, "%s", lines[i][count]);
        cr_expect_not_null(strstr(run.err, lines[i][count]), "%s", run.err);
        run_free(&run);
    }
    cr_expect_not(file_exists("out"));
}

/* `script` gives the program a terminal. */
Test(cli_tour, tells_a_terminal_what_goes_on)
{
    char command[512];
    snprintf(command, sizeof command, "'%s' tour tour.ini", underfoot_path());
    Run run = RUN_PROGRAM("script", "-qec", command, "/dev/null");
    cr_expect_eq(run.status, 0, "%s%s", run.out, run.err);
    cr_expect_not_null(strstr(run.out, " of 6 results, "), "%s", run.out);
    cr_expect_not_null(strstr(run.out, "\r\033[K"), "%s", run.out);
    run_free(&run);
}

Test(cli_tour, needs_no_sheet_for_a_folder)
{
    write_text("rig.ini",
               "[camera]\nsensor = full-frame\npixels = 6000 x 4000\n[lens]\nfocal = 12\nmapping = "
               "rectilinear\n[stand]\nheight = 1500\n[row level]\ntilt = 0\noverlap = 30\n");
    cr_assert_eq(unlink("in/c.tif"), 0);
    Run run =
        RUN_UNDERFOOT("tour", "in", "-o", "out", "--cap", "20", "--quiet", "--threads", "2", "--jobs", "1");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_str_eq(run.out, "");
    cr_expect(file_exists("out/a.jpg") && file_exists("out/b.png"));
    Run list = RUN_UNDERFOOT("tour", "in", "-o", "out", "--rig", "rig.ini", "--dry-run");
    cr_expect_eq(list.status, 0, "%s", list.err);
    cr_expect_str_eq(list.out, "underfoot patch --rig=rig.ini --json -o out/a.jpg -- in/a.jpg\n"
                               "underfoot patch --rig=rig.ini --json -o out/b.png -- in/b.png\n");
    Run none = RUN_UNDERFOOT("tour", "in", "-o", "other");
    cr_expect_eq(none.status, 64);
    cr_expect_not_null(strstr(none.err, "a folder needs --rig RIG.ini or --cap DEG"), "%s", none.err);
    Run part = RUN_UNDERFOOT("tour", "in", "-o", "other", "--cap", "20", "--part", "3/2");
    cr_expect_eq(part.status, 64);
    Run here = RUN_UNDERFOOT("tour", "in", "-o", "in", "--cap", "20");
    cr_expect_eq(here.status, 1);
    cr_expect_not_null(strstr(here.err, "is the folder of the originals, too"), "%s", here.err);
    cr_expect_not(file_exists("other") || file_exists("in/.underfoot"));
    Run large = RUN_UNDERFOOT("tour", "in", "-o", "out", "--cap", "21", "--max-memory", "20M");
    cr_expect_eq(large.status, 1);
    cr_expect_not_null(strstr(large.err, "and --max-memory allows 21 MB; give at least"), "%s", large.err);
    run_free(&run);
    run_free(&list);
    run_free(&none);
    run_free(&part);
    run_free(&here);
    run_free(&large);
}

/* The tour's own results are no panoramas of it, wherever they lie. */
Test(cli_tour, does_not_take_its_results_for_originals)
{
    write_text("tour.ini", "[tour]\ninput = */*.jpg\nout = out\n[patch]\ncap = 25\nfill = #808080\n");
    free(run_tour(0, NULL, NULL));
    expect_text(run_tour(0, NULL, NULL), "\"panoramas\": 1, \"done\": 1");
    write_text("tour.ini", "[tour]\ninput = in/*.jpg\nout = in\n[patch]\ncap = 25\n");
    expect_text(run_tour(1, NULL, NULL), "in/: is the folder of the originals, too");
    /* only derived pictures: they have folders of their own */
    write_text("tour.ini", "[tour]\ninput = in/*.jpg\nout = in\n[deliver web]\nwidth = 64\n");
    free(run_tour(0, NULL, NULL));
    cr_expect(file_exists("in/web/a.jpg"));
    write_text("tour.ini",
               "[tour]\ninput = in\nout = in\n[deliver web]\nwidth = 64\n[panorama b.png]\nskip=yes\n"
               "[panorama c.tif]\nskip=yes\n");
    expect_text(run_tour(0, NULL, NULL), "\"made\": 0, \"there\": 1");
}

Test(cli_tour, makes_the_review_page_with_its_pieces)
{
    cr_assert(unlink("in/b.png") == 0 && unlink("in/c.tif") == 0);
    expect_text(run_tour(0, "--review", "page.html"), "\"made\": 7");
    Bytes page = file_read("page.html");
    cr_expect_not_null(strstr((char *)page.data, "a.jpg"));
    Pixels before = picture_decode("out/.underfoot/review/a.jpg/before.jpg");
    Pixels after = picture_decode("out/.underfoot/review/a.jpg/after.jpg");
    cr_expect(before.width == 640 && before.height == 640 && after.width == 640);
    size_t centre = 3 * (320 * 640 + 320);
    cr_expect(after.codes[centre] > 240 && after.codes[centre + 1] < 20, "the cap's red, straight down");
    cr_expect(before.codes[centre + 1] > 20, "the original's colour there");
    Pixels around = picture_decode("out/.underfoot/review/a.jpg/around.jpg");
    cr_expect_eq(around.width, 256);
    bytes_free(&page);
    pixels_free(&before);
    pixels_free(&after);
    pixels_free(&around);
}

Test(cli_tour, does_not_write_its_page_over_anything_else)
{
    FileState original = file_state("in/a.jpg");
    expect_text(run_tour(1, "--review", "in/a.jpg"),
                "in/a.jpg: the name of the review page must end in .html");
    expect_text(run_tour(1, "--review", "nowhere/page.html"), "nowhere/: the review page cannot be written");
    cr_expect_not(file_exists("out"));
    cr_expect(file_unchanged("in/a.jpg", &original));
}

/* Each sheet has one mistake; what is said names file and line, and nothing is made. */
static void expect_refusal(const char *sheet, const char *text)
{
    write_text("tour.ini", sheet);
    Run run = RUN_UNDERFOOT("tour", "tour.ini");
    cr_expect_eq(run.status, 1, "%s", sheet);
    cr_expect_not_null(strstr(run.err, text), "no '%s' in: %s", text, run.err);
    cr_expect_not(file_exists("out"));
    run_free(&run);
}

#define TOP "[tour]\ninput = in\nout = out\n"

Test(cli_tour, refuses_bad_sheets_with_their_lines)
{
    expect_refusal(
        TOP "[patch]\ncup = 25\n",
        "tour.ini:5: [patch] has no option 'cup'; did you mean 'cap'; 'underfoot help patch' lists");
    expect_refusal(TOP "[tag]\nfill = smooth\n",
                   "tour.ini:5: [tag] has no option 'fill'; it belongs under [patch];");
    expect_refusal(TOP "[patch]\nyaw = 3\n", "has no option 'yaw'; it belongs under [turn] or [view];");
    expect_refusal(TOP "cap = 3\n[patch]\n", "tour.ini:4: [tour] has no 'cap'; it belongs under [patch];");
    expect_refusal(TOP "[patch]\ncap = 20 # wide\n",
                   "tour.ini:5: cap = 20 # wide: it must be an angle in degrees");
    expect_refusal(TOP "[patch]\ncap = 20 # wide\n", "; comments begin with ;");
    expect_refusal("[tour]\nout = out\ninput = \"in\"\n[patch]\ncap = 20\n", "; leave the quotes out");
    expect_refusal("[tour]\nout = out\ninput = ~/in\n[patch]\ncap = 20\n", "; write the folder out");
    expect_refusal(TOP "[camera]\n", "tour.ini:4: [camera] belongs into a rig file");
    expect_refusal(TOP "[patch]\ncap = 250\n",
                   "tour.ini:5: cap = 250: it must be more than 0 and at most 75");
    expect_refusal(TOP "[patch]\ncap = 25\ncap = 26\n", "tour.ini:6: 'cap' is given twice");
    expect_refusal(TOP "[patch]\ncap = 25\n[patch]\ncap = 26\n",
                   "tour.ini:6: [patch] is there already, in line 4");
    expect_refusal(TOP "[view a]\n[planet a]\n", "tour.ini:5: there are two sections of the name 'a'");
    expect_refusal(TOP "[view ../a]\n", "tour.ini:4: [view ../a]: a name is made of letters");
    expect_refusal(TOP "[tag]\n[tag too]\n", "tour.ini:5: a panorama is tagged once");
    expect_refusal(TOP "[polish]\n", "tour.ini:4: there is no section [polish]");
    expect_refusal(TOP "[patch]\ncap = 25\nthreads = 2\n",
                   "tour.ini:6: 'threads' is seen to by the tour itself");
    expect_refusal(TOP "[patch]\ncap = 25\nfill = none\n",
                   "tour.ini:6: patch of a.jpg: --fill none without --logo leaves the picture as it is");
    expect_refusal(TOP "[patch]\ncap = 25\n[panorama b*]\npatch.rig = r.ini\n", "tour.ini:7: rig = r.ini: ");
    expect_refusal(TOP "[patch]\ncap = 25\n[panorama x-*.jpg]\nskip = yes\n",
                   "tour.ini:6: [panorama x-*.jpg] fits no panorama in ");
    expect_refusal(TOP "[patch]\ncap = 25\n[panorama a.jpg]\nheading = 3\n",
                   "tour.ini:7: 'heading' is neither skip nor SECTION.option; write it as patch.heading");
    expect_refusal(TOP "[patch]\ncap = 25\n[panorama a.jpg]\nlogo.heading = 3\n",
                   "tour.ini:7: the sheet has no section 'logo'");
    expect_refusal(TOP "[turn]\nlevel = maybe\n", "tour.ini:5: level = maybe: it must be yes or no");
    expect_refusal(TOP "[deliver a]\nwidth = 64\nquality = 80\n",
                   "tour.ini:6: a of b.png: --quality is for JPEG, and 'out/a/b.png' is not");
    expect_refusal(TOP "[deliver a]\nwidth = 63\n",
                   "tour.ini:5: a of a.jpg: --width 63: a panorama is twice");
    expect_refusal(TOP "[faces a]\nonly = left,floor\n",
                   "tour.ini:5: a of a.jpg: --only: there is no face 'floor'");
    expect_refusal(TOP "[view a]\nformat = gif\n", "tour.ini:5: format = gif: it must be png, tiff or jpeg");
    expect_refusal(TOP "jobs = none\n[tag]\n", "tour.ini:4: jobs = none: it must be a whole number");
    expect_refusal(TOP "max-memory = 2X\n[tag]\n", "tour.ini:4: max-memory = 2X: it must be a size");
    expect_refusal(TOP "outt = x\n[tag]\n", "tour.ini:4: [tour] has no 'outt'");
    expect_refusal("[tour]\ninput = nowhere/*.jpg\nout = out\n[tag]\n",
                   "tour.ini:2: nowhere/*.jpg: fits no file");
    expect_refusal("[tour]\ninput = in\n[tag]\n", "tour.ini: does not say where results go");
    expect_refusal(TOP, "tour.ini: says nothing about what to make");
}

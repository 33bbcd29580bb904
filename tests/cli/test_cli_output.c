/* Where results go: names of every sort, links, folders, what is there already, a disk that is full, a
 * signal. */
#include <criterion/criterion.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <tiffio.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

static void make_picture(void)
{
    folder_enter();
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("in.png", &panorama, NULL);
    pixels_free(&panorama);
}

TestSuite(cli_output, .init = make_picture, .fini = folder_leave);

static Run patch_to(const char *out, const char *more)
{
    return RUN_UNDERFOOT("patch", "in.png", "--cap", "20", "--fill", "smooth", "-o", out, more);
}

static void assert_left(const char *wanted)
{
    char *left = folder_list();
    cr_expect_str_eq(left, wanted);
    free(left);
}

/* Refused: status 1, the message names the output, and the folder is as it was. */
static void assert_refused(const char *out, const char *message)
{
    FileState before = file_state("in.png");
    char *left = folder_list();
    Run run = patch_to(out, "--quiet");
    cr_expect_eq(run.status, 1, "%s: status %d", out, run.status);
    cr_expect_str_eq(run.out, "");
    cr_expect_not_null(strstr(run.err, out), "%s", run.err);
    cr_expect_not_null(strstr(run.err, message), "'%s' is not in: %s", message, run.err);
    cr_expect(file_unchanged("in.png", &before));
    assert_left(left);
    free(left);
    run_free(&run);
}

Test(cli_output, refuses_what_is_there_and_leaves_it_alone)
{
    file_write("out.png", "mine", 4);
    FileState before = file_state("out.png");
    assert_refused("out.png", "is there already; add --overwrite to replace it, or give another name");
    cr_expect(file_unchanged("out.png", &before));
}

Test(cli_output, refuses_what_is_no_file)
{
    mkdir("folder.png", 0755);
    mkfifo("pipe.png", 0644);
    struct sockaddr_un address = {.sun_family = AF_UNIX, .sun_path = "socket.png"};
    int handle = socket(AF_UNIX, SOCK_STREAM, 0);
    cr_assert(handle >= 0 && bind(handle, (struct sockaddr *)&address, sizeof address) == 0);
    assert_refused("folder.png", "is a folder; give the name of a file to write");
    assert_refused("pipe.png", "is a pipe; give the name of a file to write");
    assert_refused("socket.png", "is a socket; give the name of a file to write");
    assert_refused("/dev/full", "is a device; give the name of a file to write");
    assert_refused("/dev/null", "is a device; give the name of a file to write");
    close(handle);
    Run run = patch_to("folder.png", "--overwrite");
    cr_expect_eq(run.status, 1, "--overwrite does not replace a folder");
    run_free(&run);
}

Test(cli_output, refuses_a_folder_that_cannot_be_used)
{
    assert_refused("missing/out.png", "there is no folder 'missing'; make it first");
    assert_refused("in.png/out.png", "Not a directory");
    char name[300];
    memset(name, 'n', sizeof name);
    memcpy(name + sizeof name - 5, ".png", 5);
    assert_refused(name, "File name too long");
    cr_assert_eq(symlink("loop.png", "loop.png"), 0);
    assert_refused("loop.png", "Too many levels of symbolic links");
}

/* root may write anywhere, so somebody else has to try */
Test(cli_output, refuses_a_folder_without_permission)
{
    if (geteuid() != 0)
        cr_skip_test("only root can become somebody else");
    mkdir("closed", 0755);
    Run run = RUN_UNDERFOOT_AS_NOBODY("patch", "in.png", "--cap", "20", "-o", "closed/out.png");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "nothing can be written to its folder 'closed': Permission denied"),
                       "%s", run.err);
    run_free(&run);
}

Test(cli_output, overwrite_replaces_and_keeps_the_permissions)
{
    file_write("out.png", "old", 3);
    cr_assert_eq(chmod("out.png", 0640), 0);
    Run run = patch_to("out.png", "--overwrite");
    cr_expect_eq(run.status, 0, "%s", run.err);
    struct stat facts;
    cr_assert_eq(stat("out.png", &facts), 0);
    cr_expect_eq(facts.st_mode & 0777, 0640);
    cr_expect(facts.st_size > 1000);
    assert_left("in.png\nout.png\n");
    run_free(&run);
}

Test(cli_output, in_place_is_the_same_as_beside)
{
    Run beside = patch_to("out.png", "--quiet");
    Run refused = patch_to("./in.png", "--quiet");
    cr_expect_eq(refused.status, 1);
    cr_expect_not_null(strstr(refused.err, "is the picture itself; add --overwrite"), "%s", refused.err);
    Run in_place = patch_to("in.png", "--overwrite");
    cr_expect_eq(beside.status, 0, "%s", beside.err);
    cr_expect_eq(in_place.status, 0, "%s", in_place.err);
    cr_expect(file_same("in.png", "out.png"));
    assert_left("in.png\nout.png\n");
    run_free(&beside);
    run_free(&refused);
    run_free(&in_place);
}

/* A link is followed: its target is replaced, the link stays a link. */
Test(cli_output, follows_symbolic_links)
{
    mkdir("store", 0755);
    cr_assert_eq(rename("in.png", "store/real.png"), 0);
    cr_assert_eq(symlink("store/real.png", "in.png"), 0);
    Run refused = patch_to("store/real.png", "--quiet");
    cr_expect_eq(refused.status, 1);
    cr_expect_not_null(strstr(refused.err, "is the picture itself"), "%s", refused.err);
    FileState before = file_state("store/real.png");
    Run run = patch_to("in.png", "--overwrite");
    cr_expect_eq(run.status, 0, "%s", run.err);
    struct stat facts;
    cr_expect(lstat("in.png", &facts) == 0 && S_ISLNK(facts.st_mode), "the link is gone");
    cr_expect_not(file_unchanged("store/real.png", &before));
    cr_assert_eq(symlink("nowhere.png", "hanging.png"), 0);
    Run hanging = patch_to("hanging.png", "--overwrite");
    cr_expect_eq(hanging.status, 1);
    cr_expect_not_null(strstr(hanging.err, "hanging.png: is a link that leads nowhere"), "%s", hanging.err);
    cr_expect_not(file_exists("nowhere.png"));
    run_free(&refused);
    run_free(&run);
    run_free(&hanging);
}

/* Another name of the same file keeps the old contents: the output is a new file. */
Test(cli_output, a_hard_link_to_the_input_leaves_the_input_alone)
{
    cr_assert_eq(link("in.png", "other.png"), 0);
    FileState before = file_state("in.png");
    Run refused = patch_to("other.png", "--quiet");
    cr_expect_eq(refused.status, 1);
    Run run = patch_to("other.png", "--overwrite");
    cr_expect_eq(run.status, 0, "%s", run.err);
    cr_expect(file_unchanged("in.png", &before));
    cr_expect_not(file_same("in.png", "other.png"));
    run_free(&refused);
    run_free(&run);
}

Test(cli_output, a_logo_is_never_replaced)
{
    file_copy("in.png", "logo.png");
    FileState before = file_state("logo.png");
    Run run = RUN_UNDERFOOT("patch", "in.png", "--cap", "20", "--logo", "logo.png", "-o", "logo.png",
                            "--overwrite");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "logo.png: would be replaced by the output"), "%s", run.err);
    cr_expect(file_unchanged("logo.png", &before));
    run_free(&run);
}

Test(cli_output, takes_names_of_every_sort)
{
    static const char *const names[] = {
        "with space.png",        "new\nline.png", "quote\"and\\.png", "\xff\xfe.png",
        "\xc3\xa9t\xc3\xa9.png", "tab\t.png",     "-o.png",           "--cap.PNG"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char out[64];
        snprintf(out, sizeof out, "--out=%s", names[i]);
        Run made = RUN_UNDERFOOT("patch", "in.png", "--cap", "20", "--fill", "smooth", out, "--json");
        cr_assert_eq(made.status, 0, "%s", made.err);
        cr_expect(file_exists(names[i]));
        Run read = RUN_UNDERFOOT("check", "--json", "--", names[i]);
        cr_expect_neq(read.status, 1, "%s", read.err);
        char *name = json_at(made.out, "out");
        char *hex = json_at(made.out, "out_hex");
        if (names[i][0] == '\xff') {
            cr_expect_str_eq(name, "\xEF\xBF\xBD\xEF\xBF\xBD.png"); /* U+FFFD twice */
            cr_expect_str_eq(hex, "fffe2e706e67");
        } else {
            cr_expect_str_eq(name, names[i]);
            cr_expect_str_eq(hex, "(none)");
        }
        free(name);
        free(hex);
        run_free(&made);
        run_free(&read);
    }
}

/* RLIMIT_FSIZE stands in for a disk that fills up; with SIGXFSZ ignored, write fails with EFBIG. */
Test(cli_output, a_disk_that_fills_up_leaves_nothing)
{
    char command[512];
    snprintf(command, sizeof command,
             "trap '' XFSZ; ulimit -f 4; exec '%s' view in.png -o out.tif --size 400x400", underfoot_path());
    Run run = RUN_PROGRAM("sh", "-c", command);
    cr_expect_eq(run.status, 1, "status %d, signal %d: %s", run.status, run.signal, run.err);
    cr_expect_not_null(strstr(run.err, "out.tif"), "%s", run.err);
    assert_left("in.png\n");
    run_free(&run);
}

/* The same while the picture is still being made. */
Test(cli_output, a_disk_that_fills_up_ends_what_is_being_made)
{
    static const char *const commands[] = {"turn in.png --pitch 10 -o out.png --threads 2",
                                           "planet in.png --size 900 -o out.tif --threads 2",
                                           "faces in.png --size 500 -o out --threads 2"};
    for (size_t i = 0; i < 3; i++) {
        char command[512];
        snprintf(command, sizeof command, "trap '' XFSZ; ulimit -f 4; exec '%s' %s", underfoot_path(),
                 commands[i]);
        Run run = RUN_PROGRAM("sh", "-c", command);
        cr_expect_eq(run.status, 1, "%s: status %d, signal %d: %s", commands[i], run.status, run.signal,
                     run.err);
        cr_expect_not_null(strstr(run.err, "cannot be written: File too large"), "%s", run.err);
        cr_expect_null(strstr(run.err, "was not"), "%s", run.err);
        assert_left("in.png\n");
        run_free(&run);
    }
}

/* Damage below rows that were remapped, and written, already: the message is the reader's, and nothing is
 * left. */
Test(cli_output, damage_far_down_leaves_nothing_of_what_was_made_above)
{
    static const char *const commands[] = {"turn %s --yaw 30 --pitch 20 --sampling bicubic -o out.png",
                                           "turn %s --yaw 45 -o out.tif",
                                           "planet %s -o out.jpg",
                                           "view %s --pitch -50 -o out.png",
                                           "faces %s -o out",
                                           "faces %s -o out --only up,down",
                                           "faces %s --sheet strip -o out.png"};
    static const char *const names[] = {"bad.jpg", "bad.png", "bad.tif"};
    static const char *const marks[] = {"\xFF\xD6", "IDAT", "\x78\x9C"};
    static const size_t offsets[] = {1, 100, 0};
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 1024, .height = 512});
    jpeg_write("bad.jpg", &panorama, &(JpegOptions){.restart_rows = 1});
    png_write("bad.png", &panorama, NULL);
    tiff_write("bad.tif", &panorama, &(TiffOptions){.compression = COMPRESSION_ADOBE_DEFLATE});
    pixels_free(&panorama);
    for (size_t i = 0; i < 3; i++) {
        Bytes bytes = file_read(names[i]);
        size_t at = 0;
        for (size_t next = 0; next != SIZE_MAX; next = bytes_find(bytes, at + 1, marks[i], 2 + 2 * (i == 1)))
            at = next; /* the last one */
        cr_assert(at > bytes.size / 2, "%s: %zu of %zu", names[i], at, bytes.size);
        bytes.data[at + offsets[i]] ^= 0x0C;
        file_write(names[i], bytes.data, bytes.size);
        bytes_free(&bytes);
    }
    for (size_t i = 0; i < 21; i++) {
        char form[512], command[600];
        snprintf(form, sizeof form, commands[i / 3], names[i % 3]); /* one %s each */
        snprintf(command, sizeof command, "exec '%s' %s --threads 2", underfoot_path(), form);
        Run run = RUN_PROGRAM("sh", "-c", command);
        cr_expect_eq(run.status, 1, "%s: status %d, signal %d: %s", form, run.status, run.signal, run.err);
        cr_expect_not_null(strstr(run.err, names[i % 3]), "%s: %s", form, run.err);
        cr_expect_null(strstr(run.err, "was not"), "%s: %s", form, run.err);
        assert_left("bad.jpg\nbad.png\nbad.tif\nin.png\n");
        run_free(&run);
    }
}

static bool has_ended(int process)
{
    siginfo_t info = {0};
    return waitid(P_PID, (id_t)process, &info, WEXITED | WNOHANG | WNOWAIT) == 0 && info.si_pid == process;
}

/* A temporary file of an output begins with a dot. */
static bool is_writing(void)
{
    char *left = folder_list();
    bool writing = left[0] == '.';
    free(left);
    return writing;
}

/* A view large enough that its PNG takes a while to deflate; the signal comes when the temporary file is
 * there. */
static void assert_dies_clean(int number, const char *const *arguments)
{
    FileState before = file_state("in.png");
    Started *started = run_start(arguments, NULL);
    int process = run_process_id(started);
    while (!is_writing() && !has_ended(process))
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
    cr_assert_eq(kill(process, number), 0);
    Run run = run_wait(started);
    cr_expect_eq(run.signal, number, "status %d, signal %d: %s", run.status, run.signal, run.err);
    assert_left("in.png\n");
    cr_expect(file_unchanged("in.png", &before));
    run_free(&run);
}

#define VIEW                                                                                                 \
    ((const char *const[]){underfoot_path(), "view", "in.png", "-o", "out.png", "--size", "6000x4000",       \
                           "--sampling", "bilinear", NULL})

Test(cli_output, dies_by_sigterm_and_leaves_nothing)
{
    assert_dies_clean(SIGTERM, VIEW);
}

Test(cli_output, dies_by_sigint_and_leaves_nothing)
{
    assert_dies_clean(SIGINT, VIEW);
}

/* Patching in place: the picture stays what it was. */
Test(cli_output, a_patch_that_is_ended_leaves_its_picture_alone)
{
    static const int numbers[] = {SIGINT, SIGTERM, SIGPIPE};
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 4096, .height = 2048});
    png_write("in.png", &panorama, NULL);
    pixels_free(&panorama);
    for (size_t i = 0; i < 3; i++)
        assert_dies_clean(numbers[i],
                          (const char *const[]){underfoot_path(), "patch", "in.png", "-o", "in.png",
                                                "--overwrite", "--cap", "20", "--fill", "smooth", NULL});
}

/* What nohup asks for stays so. */
Test(cli_output, an_ignored_signal_stays_ignored)
{
    char command[512];
    snprintf(command, sizeof command,
             "trap '' HUP; '%s' view in.png -o out.png --size 2000x2000 & sleep 0.1; kill -HUP $!; wait $!",
             underfoot_path());
    Run run = RUN_PROGRAM("sh", "-c", command);
    cr_expect_eq(run.status, 0, "status %d: %s", run.status, run.err);
    cr_expect(file_exists("out.png"));
    run_free(&run);
}

/* The reader has gone away: death by SIGPIPE, as any filter. */
Test(cli_output, dies_by_sigpipe)
{
    const RunOptions unread = {.stdout_unread = true};
    Run run = RUN_UNDERFOOT_WITH(&unread, "check", "--json", "in.png");
    cr_expect_eq(run.signal, SIGPIPE, "status %d: %s", run.status, run.err);
    run_free(&run);
}

Test(cli_output, quiet_keeps_errors_and_status)
{
    Pixels square = panorama_make(&(PanoramaOptions){.width = 64, .height = 64});
    png_write("square.png", &square, NULL);
    Run failed = RUN_UNDERFOOT("patch", "--quiet", "square.png", "--cap", "20", "-o", "out.png");
    cr_expect_eq(failed.status, 1);
    cr_expect_not_null(strstr(failed.err, "square.png: is 64 x 64 pixels"), "%s", failed.err);
    pixels_free(&square);
    run_free(&failed);
}

Test(cli_output, quiet_hides_the_text_of_warnings_but_not_their_status)
{
    uint8_t profile[600] = {0};
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    jpeg_write("in.jpg", &panorama, &(JpegOptions){.icc = profile, .icc_bytes = sizeof profile});
    Run loud = RUN_UNDERFOOT("patch", "in.jpg", "--cap", "20", "--fill=smooth", "-o", "a.jpg");
    Run quiet =
        RUN_UNDERFOOT("patch", "in.jpg", "--cap", "20", "--fill=smooth", "-o", "b.jpg", "--quiet", "--json");
    cr_expect_eq(loud.status, 2);
    cr_expect_not_null(strstr(loud.err, "underfoot: warning: the colour profile"), "%s", loud.err);
    cr_expect_eq(quiet.status, 2);
    cr_expect_str_eq(quiet.err, "");
    char *warning = json_at(quiet.out, "warnings.0");
    cr_expect_not_null(strstr(warning, "the colour profile"), "%s", warning);
    cr_expect(file_same("a.jpg", "b.jpg"));
    free(warning);
    pixels_free(&panorama);
    run_free(&loud);
    run_free(&quiet);
}

/* `script` gives the program a terminal; everywhere else stderr holds messages only. */
Test(cli_output, progress_is_for_terminals)
{
    char command[512];
    snprintf(command, sizeof command, "'%s' view in.png -o out.png --overwrite --size 90x60",
             underfoot_path());
    Run shown = RUN_PROGRAM("script", "-qec", command, "/dev/null");
    cr_expect_eq(shown.status, 0, "%s%s", shown.out, shown.err);
    cr_expect_not_null(strstr(shown.out, "\r\033[Kreading in.png"), "%s", shown.out);
    cr_expect_not_null(strstr(shown.out, "\r\033[Kwriting out.png"), "%s", shown.out);
    Run plain = RUN_UNDERFOOT("view", "in.png", "-o", "out.png", "--overwrite", "--size", "90x60");
    cr_expect_str_eq(plain.err, "");
    snprintf(command, sizeof command, "'%s' view in.png -o out.png --overwrite --size 90x60 --quiet",
             underfoot_path());
    Run quiet = RUN_PROGRAM("script", "-qec", command, "/dev/null");
    cr_expect_eq(quiet.status, 0);
    cr_expect_null(strstr(quiet.out, "reading"), "%s", quiet.out);
    run_free(&shown);
    run_free(&plain);
    run_free(&quiet);
}

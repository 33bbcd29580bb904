/* The command line: what is taken, what is refused and how, --help, exit status. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#include "support/files.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(cli_usage, .init = folder_enter, .fini = folder_leave);

/* Wrong usage: status 64, nothing on stdout, the message and where to read on on stderr. */
static void assert_wrong_usage(const char *const *arguments, const char *message)
{
    const char *all[16] = {underfoot_path()};
    for (size_t i = 0; arguments[i] != NULL; i++)
        all[i + 1] = arguments[i];
    Run run = run_program(all, NULL);
    cr_expect_eq(run.status, 64, "'%s': status %d", message, run.status);
    cr_expect_str_eq(run.out, "");
    cr_expect_not_null(strstr(run.err, message), "'%s' is not in: %s", message, run.err);
    cr_expect_not_null(strstr(run.err, "see underfoot "), "no hint where to read on: %s", run.err);
    run_free(&run);
}

#define WRONG(message, ...) assert_wrong_usage((const char *const[]){__VA_ARGS__, NULL}, message)

Test(cli_usage, without_a_command_lists_the_commands)
{
    Run run = RUN_PROGRAM(underfoot_path());
    cr_expect_eq(run.status, 64);
    cr_expect_str_eq(run.out, "");
    cr_expect_not_null(strstr(run.err, "  patch "));
    run_free(&run);
}

Test(cli_usage, names_the_nearest_command)
{
    WRONG("there is no command 'pathc'; did you mean 'patch'?", "pathc");
    WRONG("did you mean 'check'?", "chek", "a.jpg");
    WRONG("did you mean 'help'?", "halp");
    WRONG("there is no command 'xylophone'; there are plan, check, patch, ", "xylophone");
    WRONG(", view, ", "xylophone");
    WRONG(" and help", "xylophone");
    WRONG("did you mean 'view'?", "help", "veiw");
    WRONG("there is no option '--bogus'", "--bogus");
    WRONG("one command", "help", "patch", "view");
    WRONG("there is no command 'PATCH'; did you mean 'patch'?", "PATCH");
    WRONG("there is no option '-h'; did you mean --help?", "-h");
    WRONG("there is no option '-V'; did you mean --version?", "-V");
}

Test(cli_usage, the_command_comes_before_the_picture)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("hall.png", &panorama, NULL);
    pixels_free(&panorama);
    WRONG("'hall.png' is a file; the command comes first, such as underfoot check hall.png", "hall.png", "-o",
          "b.png");
}

/* One letter wrong, another case, no ending, another folder. */
Test(cli_usage, names_the_file_that_may_have_been_meant)
{
    static const char *const missing[][2] = {{"hal.png", "; did you mean 'hall.png'?"},
                                             {"HALL.PNG", "; did you mean 'hall.png'?"},
                                             {"./hall", "; did you mean './hall.png'?"},
                                             {"nowhere/hall.png", "; there is no folder 'nowhere/' either"},
                                             {"something-else.tif", "; look at its spelling"}};
    Pixels panorama = panorama_make(&(PanoramaOptions){0});
    png_write("hall.png", &panorama, NULL);
    pixels_free(&panorama);
    for (size_t i = 0; i < sizeof missing / sizeof missing[0]; i++) {
        Run run = RUN_UNDERFOOT("check", missing[i][0]);
        cr_expect_eq(run.status, 1);
        cr_expect_not_null(strstr(run.err, missing[i][1]), "%s", run.err);
        run_free(&run);
    }
}

Test(cli_usage, names_the_nearest_option)
{
    WRONG("there is no option --fil; did you mean --fill?", "patch", "a.jpg", "--fil", "floor");
    WRONG("did you mean --feather?", "patch", "--faether=2", "a.jpg");
    WRONG("did you mean --max-memory?", "check", "--maxmemory", "1G", "a.jpg");
    WRONG("there is no option --qwertyuiop\n", "patch", "--qwertyuiop");
    WRONG("there is no option --over; did you mean --overwrite?", "patch", "--over");
    WRONG("there is no option -x", "patch", "-x");
    WRONG("there is no option --cap", "check", "--cap", "3", "a.jpg");
}

/* One dash, or one letter: -o is the only letter there is. */
Test(cli_usage, names_options_that_begin_with_the_letter)
{
    WRONG("there is no option -q; did you mean --quiet?", "check", "a.jpg", "-q");
    WRONG("there is no option -q; did you mean --quiet or --quality?", "patch", "a.jpg", "-q");
    WRONG("there is no option -h; did you mean --help, --height or --heading?", "patch", "-h");
    WRONG("there is no option -c18; did you mean --cap?", "patch", "a.jpg", "-c18");
    WRONG("there is no option -fov; did you mean --fov?", "view", "a.jpg", "-fov", "90");
    WRONG("there is no option -out; did you mean --out?", "patch", "a.jpg", "-out", "b.jpg");
    WRONG("there is no option -overwrite; did you mean --overwrite?", "tag", "a.jpg", "-overwrite");
}

Test(cli_usage, says_which_command_has_the_option)
{
    WRONG("there is no option --yaw here; it is one of view, putback and turn", "patch", "a.jpg", "--yaw=3");
    WRONG("there is no option --cap here; it is one of patch and tour", "plan", "hall.ini", "--cap", "3");
    WRONG("there is no option -o here; check writes no file", "check", "a.jpg", "-o", "b.txt");
    WRONG("there is no option --out here; the drawing is written by --map OUT.png", "plan", "hall.ini",
          "--out", "b.png");
}

Test(cli_usage, says_that_a_tours_options_stand_in_its_sheet)
{
    WRONG("--fill is no option of the tour itself; it belongs into the job sheet, as a line 'fill = WHAT' "
          "under "
          "[patch]\n",
          "tour", "tour.ini", "--fill", "smooth");
    WRONG("a line 'srgb = yes' under [deliver]\n", "tour", "tour.ini", "--srgb");
    WRONG("a line 'yaw = DEG' under [view] or [turn]\n", "tour", "tour.ini", "--yaw=4");
    WRONG("there is no option --revue; did you mean --review?", "tour", "tour.ini", "--revue", "a.html");
}

Test(cli_usage, refuses_an_option_given_twice)
{
    WRONG("--cap is given twice", "patch", "a.jpg", "-o", "b.jpg", "--cap", "10", "--cap", "10");
    WRONG("--out is given twice", "patch", "a.jpg", "-o", "b.jpg", "--out=c.jpg", "--cap", "10");
    WRONG("--quiet is given twice", "check", "--quiet", "--quiet", "a.jpg");
}

Test(cli_usage, refuses_missing_and_superfluous_values)
{
    WRONG("--cap needs a value: --cap DEG|auto; it must be an angle", "patch", "a.jpg", "-o", "b.jpg",
          "--cap");
    WRONG("such as #808080, in quotes", "patch", "a.jpg", "--fill");
    WRONG("--rig needs a value: --rig RIG.ini\n", "patch", "a.jpg", "--rig");
    WRONG("--out needs a value, but --overwrite follows", "patch", "a.jpg", "-o", "--overwrite");
    WRONG("--heading needs a value, but --quiet follows", "tag", "a.jpg", "--heading", "--quiet");
    WRONG("--overwrite takes no value", "tag", "a.jpg", "-o", "b.jpg", "--overwrite=yes");
    WRONG("--out '': the name is empty", "tag", "a.jpg", "--out=");
    WRONG("write -o FILE or --out=FILE, not -o=b.jpg", "tag", "a.jpg", "-o=b.jpg");
}

Test(cli_usage, refuses_missing_and_superfluous_operands)
{
    WRONG("no picture is given", "check");
    WRONG("only one picture is given", "putback", "a.jpg", "-o", "b.jpg");
    WRONG("no job sheet and no folder is given", "tour");
    WRONG("no picture is given", "patch", "--cap", "10", "-o", "b.jpg");
    WRONG("'two.jpg' is given as well; a name with blanks in it goes into quotes", "patch", "one.jpg",
          "two.jpg", "--cap", "10", "-o", "b.jpg");
    WRONG("'two.jpg' is given as well; what is to be written comes behind -o", "patch", "one.jpg", "two.jpg");
    WRONG("no output is given", "patch", "one.jpg", "--cap", "10");
    WRONG("no output is given", "tag", "one.jpg");
    WRONG("no output is given", "view", "one.jpg");
    WRONG("the name of a picture is empty", "check", "");
    WRONG("'-' is no file", "check", "-");
    WRONG("'-' is no file", "patch", "a.jpg", "--cap", "10", "-o", "-");
    WRONG("'-o' is given as well; behind -- everything is the name of a file", "patch", "--", "a.jpg", "-o",
          "b.jpg");
    file_write("-a.jpg", "", 0);
    WRONG("-a.jpg is no option; the file of that name is written ./-a.jpg", "check", "-a.jpg");
}

/* Every angle that is not one, in full. */
Test(cli_usage, reads_angles_in_full)
{
    static const char *const bad[] = {"",      " 12",    "12 ",   "12.5x", "12.5 deg", "12.5degs", "deg",
                                      "nan",   "inf",    "-inf",  "0x10",  "1e999",    "12,5",     "--",
                                      "1.2.3", "twelve", "12rad", "+",     "12.5\n",   "12.5DEG"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        char option[64];
        snprintf(option, sizeof option, "--cap=%s", bad[i]);
        WRONG("it must be an angle in degrees", "patch", "a.jpg", "-o", "b.jpg", option);
    }
    WRONG("--cap '12,5': it must be an angle in degrees, with a point: 12.5", "patch", "a.jpg", "--cap",
          "12,5");
    WRONG("--height '1,65': it must be a number, with a point: 1.65", "patch", "a.jpg", "--height", "1,65");
    WRONG("--cap '0': it must be more than 0 and at most 75", "patch", "a.jpg", "-o", "b.jpg", "--cap", "0");
    WRONG("--cap '-3': it must be more than 0", "patch", "a.jpg", "-o", "b.jpg", "--cap", "-3");
    WRONG("at most 75", "patch", "a.jpg", "-o", "b.jpg", "--cap", "75.0001deg");
    WRONG("--pitch '90.5': it must be at least -90 and at most 90", "tag", "a.jpg", "-o", "b.jpg", "--pitch",
          "90.5");
    WRONG("--roll '-180': it must be more than -180", "tag", "a.jpg", "-o", "b.jpg", "--roll", "-180");
    WRONG("--fov '0'", "view", "a.jpg", "-o", "b.jpg", "--fov", "0");
    WRONG("--fov '180'", "view", "a.jpg", "-o", "b.jpg", "--fov", "180");
    WRONG("--feather '-1'", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--feather", "-1");
}

Test(cli_usage, reads_other_values_in_full)
{
    WRONG("it must be a whole number", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--threads", "1.5");
    WRONG("at least 1 and at most 1024", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--threads", "0");
    WRONG("at least 1 and at most 100", "view", "a.jpg", "-o", "b.jpg", "--quality", "101");
    WRONG("at least 0 and at most 4294967295", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--seed",
          "4294967296");
    WRONG("it must be a whole number", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--seed", "-1");
    WRONG("it must be a whole number", "patch", "a.jpg", "--seed", "99999999999999999999999");
    WRONG("it must be 8 or 16", "view", "a.jpg", "-o", "b.png", "--depth", "12");
    WRONG("it must be bicubic, bilinear or sharp", "view", "a.jpg", "-o", "b.png", "--sampling", "soft");
    WRONG("it must be nadir or zenith", "patch", "a.jpg", "--at", "up");
    WRONG("such as 500M or 8G", "check", "--max-memory", "12Q", "a.jpg");
    WRONG("such as 500M or 8G", "check", "--max-memory", "12GB", "a.jpg");
    WRONG("--max-memory '0'", "check", "--max-memory", "0", "a.jpg");
    WRONG("--max-memory '-8G'", "check", "--max-memory", "-8G", "a.jpg");
    WRONG("floor, smooth, none or a colour such as #808080", "patch", "a.jpg", "--fill", "#12345");
    WRONG("floor, smooth, none or a colour", "patch", "a.jpg", "--fill", "#12345g");
    WRONG("floor, smooth, none or a colour", "patch", "a.jpg", "--fill", "red");
}

Test(cli_usage, reads_sizes_in_full)
{
    static const char *const bad[] = {"100",
                                      "100x",
                                      "x100",
                                      "0x100",
                                      "100x0",
                                      "-1x100",
                                      "100X50",
                                      "1x1x1",
                                      "1e3x100",
                                      "1000001x1",
                                      "1x99999999999999999999",
                                      "10 x 10",
                                      "10x10 "};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        char option[64];
        snprintf(option, sizeof option, "--size=%s", bad[i]);
        WRONG("it must be width x height in pixels", "view", "a.jpg", "-o", "b.jpg", option);
    }
}

Test(cli_usage, refuses_options_that_do_not_go_together)
{
    WRONG("give --cap DEG", "patch", "a.jpg", "-o", "b.jpg");
    WRONG("give --cap DEG", "patch", "a.jpg", "-o", "b.jpg", "--logo", "l.png");
    WRONG("add --logo FILE", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--logo-cap", "4");
    WRONG("add --logo FILE", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--heading", "4");
    WRONG("--fill none without --logo", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--fill", "none");
    WRONG("give --logo-cap DEG", "patch", "a.jpg", "-o", "b.jpg", "--logo", "l.png", "--fill", "none");
    WRONG("--seed is for --fill floor", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--fill=#808080",
          "--seed=1");
    WRONG("--logo-cap 12 is larger than --cap 9", "patch", "a.jpg", "-o", "b.jpg", "--cap", "9", "--logo",
          "l.png", "--logo-cap", "12");
    WRONG("--quality is for JPEG", "view", "a.jpg", "-o", "b.png", "--quality", "80");
    WRONG("--depth 16 does not go with JPEG", "view", "a.jpg", "-o", "b.jpg", "--depth", "16");
    WRONG("the name must end in .jpg, .jpeg, .png, .tif or .tiff", "view", "a.jpg", "-o", "b.gif");
    WRONG("the name must end in", "tag", "a.jpg", "-o", "b");
}

static const char *const commands[] = {"plan", "check",  "patch",   "faces", "view", "putback",
                                       "wrap", "planet", "deliver", "turn",  "tag",  "tour"};
#define COMMANDS (sizeof commands / sizeof commands[0])

/* An example first, 80 columns; the number of lines. */
static size_t assert_page(const Run *run, const char *command)
{
    char example[64];
    snprintf(example, sizeof example, "    underfoot %s ", command);
    cr_expect_eq(run->status, 0);
    cr_expect_eq(strncmp(run->out, example, strlen(example)), 0, "%s", run->out);
    cr_expect_str_eq(run->err, "");
    size_t lines = 0;
    for (char *line = run->out, *end; (end = strchr(line, '\n')) != NULL; line = end + 1, lines++)
        cr_expect(end - line <= 80, "%s: %td columns: %.*s", command, end - line, (int)(end - line), line);
    return lines;
}

/* A terminal of 24 lines of 80 columns, where the prompt takes one. */
Test(cli_usage, help_fits_a_screen_and_begins_with_an_example)
{
    for (size_t i = 0; i < COMMANDS; i++) {
        Run run = RUN_UNDERFOOT(commands[i], "--help");
        size_t lines = assert_page(&run, commands[i]);
        cr_expect(lines <= 23, "%s: %zu lines", commands[i], lines);
        run_free(&run);
    }
    Run all = RUN_UNDERFOOT("--help");
    size_t lines = 0;
    for (const char *at = all.out; *at != '\0'; at++)
        lines += *at == '\n';
    cr_expect(lines <= 23, "%zu lines", lines);
    run_free(&all);
}

/* What the screen has no room to explain it still names. */
Test(cli_usage, help_of_a_command_explains_every_option)
{
    for (size_t i = 0; i < COMMANDS; i++) {
        Run whole = RUN_UNDERFOOT("help", commands[i]);
        Run screen = RUN_UNDERFOOT(commands[i], "--help");
        assert_page(&whole, commands[i]);
        size_t options = 0;
        for (const char *at = whole.out; (at = strstr(at, "\n  -")) != NULL; at += 2, options++) {
            char name[40];
            const char *dashes = strstr(at, "--");
            cr_assert_not_null(dashes);
            snprintf(name, sizeof name, "%.*s", (int)strcspn(dashes, " \n"), dashes);
            bool named = strstr(screen.out, name) != NULL || strcmp(name, "--out") == 0;
            cr_expect(named, "%s --help does not name %s", commands[i], name);
            cr_expect(strlen(at) > 30 && at[25] != ' ', "%s: %s is not explained", commands[i], name);
        }
        cr_expect(options >= 3, "%s: %zu options", commands[i], options);
        run_free(&whole);
        run_free(&screen);
    }
}

Test(cli_usage, help_wins_over_everything_else_on_the_line)
{
    Run run = RUN_UNDERFOOT("patch", "--bogus", "--cap", "--help");
    cr_expect_eq(run.status, 0);
    cr_expect_not_null(strstr(run.out, "--feather DEG"));
    run_free(&run);
}

Test(cli_usage, two_dashes_end_the_options)
{
    Run run = RUN_UNDERFOOT("check", "--", "--help");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "--help: cannot be opened: No such file or directory"), "%s", run.err);
    run_free(&run);
}

Test(cli_usage, lists_commands_and_version)
{
    Run help = RUN_UNDERFOOT("help");
    cr_expect_eq(help.status, 0);
    static const char *const listed[] = {"\n  check ", "\n  patch ", "\n  view ", "\n  tag ", "\n  help "};
    for (size_t i = 0; i < sizeof listed / sizeof listed[0]; i++)
        cr_expect_not_null(strstr(help.out, listed[i]), "%s", listed[i]);
    Run same = RUN_UNDERFOOT("--help");
    cr_expect_str_eq(same.out, help.out);
    Run version = RUN_UNDERFOOT("--version");
    cr_expect_eq(version.status, 0);
    cr_expect_eq(strncmp(version.out, "underfoot 0.", 12), 0, "%s", version.out);
    Run of_command = RUN_UNDERFOOT("patch", "--version");
    cr_expect_str_eq(of_command.out, version.out);
    run_free(&of_command);
    run_free(&help);
    run_free(&same);
    run_free(&version);
}

Test(cli_usage, a_full_disk_behind_stdout_is_a_failure)
{
    const RunOptions full = {.stdout_path = "/dev/full"};
    Run run = RUN_UNDERFOOT_WITH(&full, "--version");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "standard output: No space left on device"), "%s", run.err);
    run_free(&run);
}

/* A name must not command the terminal that the message appears on. */
Test(cli_usage, shows_control_characters_of_names)
{
    Run run = RUN_UNDERFOOT("check", "a\033[2Jb\nc.jpg");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "a\\x1b[2Jb\\nc.jpg: "), "%s", run.err);
    run_free(&run);
}

/*
 * The guide, followed to the letter: every line of every ```sh block of README.md and docs/ is run, page by
 * page, in a fresh copy of the sample tour. A line must succeed; "# status 2" at its end says that another
 * status is meant. A block with a file's name after its language is saved under that name. ```console is for
 * what cannot run here.
 */
#include <criterion/criterion.h>
#include <criterion/parameterized.h>

#include <glob.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "support/files.h"
#include "support/program.h"

typedef struct Page {
    char path[PATH_MAX];
} Page;

typedef enum Kind { PROSE, COMMANDS, FILE_TO_SAVE, SHOWN } Kind;

static const char *top(void)
{
    static char path[PATH_MAX];
    snprintf(path, sizeof path, "%s", underfoot_path());
    for (int level = 0; level < 3; level++)
        *strrchr(path, '/') = '\0';
    return path;
}

/* README.md first; the caller frees them. */
static Page *pages(size_t *count)
{
    char pattern[PATH_MAX + 16];
    glob_t found;
    snprintf(pattern, sizeof pattern, "%s/README.md", top());
    cr_assert_eq(glob(pattern, 0, NULL, &found), 0, "%s", pattern);
    snprintf(pattern, sizeof pattern, "%s/docs/*.md", top());
    cr_assert_eq(glob(pattern, GLOB_APPEND, NULL, &found), 0, "%s", pattern);
    Page *all = malloc(found.gl_pathc * sizeof *all);
    cr_assert_not_null(all);
    *count = found.gl_pathc;
    for (size_t i = 0; i < *count; i++)
        snprintf(all[i].path, sizeof all[i].path, "%s", found.gl_pathv[i]);
    globfree(&found);
    return all;
}

static struct criterion_test_params page_parameters(void)
{
    size_t count;
    Page *all = pages(&count);
    Page *parameters = cr_malloc(count * sizeof *parameters); /* memory that the tests' processes see */
    memcpy(parameters, all, count * sizeof *parameters);
    free(all);
    return cr_make_param_array(Page, parameters, count, NULL);
}

/* What a fence opens, and the file's name where it has one. */
static Kind kind_of(const char *fence, char name[static 64])
{
    char language[16] = "";
    name[0] = '\0';
    sscanf(fence, "```%15s %63s", language, name);
    return strcmp(language, "sh") == 0 ? COMMANDS : name[0] != '\0' ? FILE_TO_SAVE : SHOWN;
}

static int status_meant(const char *line)
{
    const char *mark = strstr(line, "# status ");
    return mark != NULL ? atoi(mark + strlen("# status ")) : 0;
}

/* A page's blocks as a script that ends at the first line that did not do what it should; `first_only` for
 * the block that makes the folder that the guide works in. Returns how many lines it will run. */
static size_t write_script(FILE *script, const char *path, bool first_only)
{
    char line[4096], name[64];
    Kind kind = PROSE;
    size_t commands = 0;
    FILE *page = fopen(path, "r");
    cr_assert_not_null(page, "%s", path);
    for (int number = 1; fgets(line, sizeof line, page) != NULL; number++) {
        const char *text = line + strspn(line, " ");
        if (strncmp(text, "```", 3) == 0) {
            if (kind == FILE_TO_SAVE)
                fputs("END_OF_FILE\n", script);
            if (kind == COMMANDS && first_only)
                break;
            kind = kind == PROSE ? kind_of(text, name) : PROSE;
            if (kind == FILE_TO_SAVE)
                fprintf(script, "cat >%s <<'END_OF_FILE'\n", name);
        } else if (kind == FILE_TO_SAVE && !first_only) {
            fputs(line, script);
        } else if (kind == COMMANDS && *text != '\n' && *text != '#') {
            fputs(line, script);
            if (strstr(line, "\\\n") != NULL)
                continue;
            fprintf(script,
                    "status=$?; [ $status -eq %d ] || { echo '%s, line %d: status' $status >&2; exit 1; }\n",
                    status_meant(line), strrchr(path, '/') + 1, number);
            commands++;
        }
    }
    fclose(page);
    return commands;
}

/* As a clone looks after `make demo`, but small; smaller still what floors are rebuilt in. The workshop keeps
 * the size that its floor photograph fits. */
static void lay_out(void)
{
    cr_assert_eq(setenv("TOP", top(), 1), 0);
    Run run =
        RUN_PROGRAM("sh", "-c",
                    "mkdir -p samples/out/as-shot && cp \"$TOP\"/samples/*.ini samples && "
                    "cp \"$TOP\"/.build/scenes/*.* samples/out/as-shot && cd samples/out/as-shot && "
                    "for shot in ticket-hall.jpg ticket-hall-truth.jpg ticket-hall-hole.png yard.jpg; do "
                    "underfoot deliver \"$TOP\"/.build/scenes/$shot -o $shot --width 512 --overwrite --quiet "
                    ">/dev/null || exit 1; "
                    "done");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

ParameterizedTestParameters(docs, every_command_line_does_what_the_page_says)
{
    return page_parameters();
}

static void put_program_first(void)
{
    char path[2 * PATH_MAX];
    snprintf(path, sizeof path, "%s", underfoot_path());
    char *slash = strrchr(path, '/');
    snprintf(slash, sizeof path - (size_t)(slash - path), ":%s", getenv("PATH"));
    cr_assert_eq(setenv("PATH", path, 1), 0);
}

ParameterizedTest(Page *page, docs, every_command_line_does_what_the_page_says, .fini = folder_leave,
                  .timeout = 300)
{
    char guide[PATH_MAX + 16];
    snprintf(guide, sizeof guide, "%s/docs/README.md", top());
    put_program_first();
    folder_enter();
    FILE *script = fopen("page.sh", "w");
    cr_assert_not_null(script);
    if (strcmp(page->path, guide) != 0)
        cr_expect_gt(write_script(script, guide, true), 0, "docs/README.md makes no folder to work in");
    size_t commands = write_script(script, page->path, false);
    cr_assert_eq(fclose(script), 0);
    if (commands == 0)
        return;
    lay_out();
    Run run = RUN_PROGRAM("sh", "page.sh");
    cr_expect_eq(run.status, 0, "%s\n%s", run.out, run.err);
    run_free(&run);
}

/* Command lines stand in blocks that are run, or in ```console, never in indented or other ones. */
ParameterizedTestParameters(docs, no_command_line_hides_from_the_test)
{
    return page_parameters();
}

ParameterizedTest(Page *page, docs, no_command_line_hides_from_the_test)
{
    char line[4096], fence[64] = "";
    FILE *text = fopen(page->path, "r");
    cr_assert_not_null(text);
    for (int number = 1; fgets(line, sizeof line, text) != NULL; number++) {
        const char *start = line + strspn(line, " ");
        if (strncmp(start, "```", 3) == 0) {
            snprintf(fence, sizeof fence, "%.*s", fence[0] == '\0' ? (int)strcspn(start, "\n") : 0, start);
            continue;
        }
        bool shown = fence[0] != '\0' || start - line >= 4;
        bool allowed = strcmp(fence, "```sh") == 0 || strcmp(fence, "```console") == 0;
        cr_expect(!shown || allowed || strncmp(start, "underfoot ", 10) != 0, "%s, line %d: %s", page->path,
                  number, line);
    }
    fclose(text);
}

/* Every page can be reached from the guide's list, and no link leads nowhere. */
Test(docs, links_lead_to_files_and_the_guide_lists_every_page)
{
    char path[2 * PATH_MAX], entry[PATH_MAX];
    size_t count;
    Page *all = pages(&count);
    snprintf(path, sizeof path, "%s/docs/README.md", top());
    Bytes list = file_read(path);
    for (size_t i = 0; i < count; i++) {
        const char *name = strrchr(all[i].path, '/') + 1;
        snprintf(entry, sizeof entry, "](%s)", name);
        cr_expect(strcmp(name, "README.md") == 0 || strstr((char *)list.data, entry) != NULL,
                  "%s is not listed", name);
        Bytes page = file_read(all[i].path);
        for (const char *link = (char *)page.data; (link = strstr(link, "](")) != NULL;) {
            link += 2;
            int length = (int)strcspn(link, "#)");
            if (length == 0 || strncmp(link, "http", 4) == 0)
                continue;
            snprintf(path, sizeof path, "%.*s/%.*s", (int)(name - 1 - all[i].path), all[i].path, length,
                     link);
            cr_expect(file_exists(path), "%s: %.*s", name, length, link);
        }
        bytes_free(&page);
    }
    bytes_free(&list);
    free(all);
}

/* The outputs of a page's command lines, a line each: "NAME PAGE". */
static void write_outputs(FILE *list, const char *path)
{
    char line[4096], fence[64], output[256];
    Kind kind = PROSE;
    FILE *page = fopen(path, "r");
    cr_assert_not_null(page, "%s", path);
    while (fgets(line, sizeof line, page) != NULL) {
        if (strncmp(line, "```", 3) == 0)
            kind = kind == PROSE ? kind_of(line, fence) : PROSE;
        const char *out =
            kind == COMMANDS && strstr(line, "# status 1") == NULL ? strstr(line, " -o ") : NULL;
        if (out != NULL && sscanf(out, " -o %255s", output) == 1)
            fprintf(list, "%s %s\n", output, strrchr(path, '/') + 1);
    }
    fclose(page);
}

/* Who follows the guide page by page works in one folder, where nothing is replaced unasked. */
Test(docs, no_two_lines_of_the_guide_write_the_same_file)
{
    size_t count;
    Page *all = pages(&count);
    folder_enter();
    FILE *list = fopen("outputs", "w");
    for (size_t i = 0; i < count; i++)
        write_outputs(list, all[i].path);
    fclose(list);
    Run lines = RUN_PROGRAM("wc", "-l", "outputs");
    cr_expect_geq(atoi(lines.out), 30, "%s", lines.out);
    Run twice =
        RUN_PROGRAM("sh", "-c", "cut -d' ' -f1 outputs | sort | uniq -d | xargs -I{} grep '^{} ' outputs");
    cr_expect_str_eq(twice.out, "");
    run_free(&lines);
    run_free(&twice);
    folder_leave();
    free(all);
}

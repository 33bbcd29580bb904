/* The tour's engine where no process is needed: journal, schedule, locks, what steps say. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#define XXH_INLINE_ALL
#include <xxhash.h>

#include "support/files.h"
#include "support/program.h"
#include "tour/journal.h"
#include "tour/lock.h"
#include "tour/place.h"
#include "tour/schedule.h"
#include "tour/step_text.h"

TestSuite(tour, .init = folder_enter, .fini = folder_leave);

static UfJournalRecord record_of(const char *target, UfJournalFile *files, size_t count)
{
    return (UfJournalRecord){.target = target,
                             .order = uf_digest_bytes(target, strlen(target)),
                             .time_s = 1.5,
                             .peak_bytes = 123456789012,
                             .files = files,
                             .file_count = count,
                             .results = "{\n  \"out\": \"a\\tb\"\n}\n",
                             .messages = "one\ntwo\twith a tab, a \\ and \\n\n"};
}

static void write_three(const char *path)
{
    UfJournalWriter writer;
    UfJournalFile files[] = {{"b/one two.jpg", 7, uf_digest_bytes("1", 1)},
                             {"b/\t\n\\", 9, uf_digest_bytes("2", 1)}};
    cr_assert_eq(uf_journal_open(path, &writer, NULL), UF_OK);
    UfJournalRecord first = record_of("b", files, 2), second = record_of("a", files, 1),
                    third = record_of("b", files, 0);
    third.failed = true;
    cr_assert_eq(uf_journal_append(&writer, &first, NULL), UF_OK);
    cr_assert_eq(uf_journal_append(&writer, &second, NULL), UF_OK);
    cr_assert_eq(uf_journal_append(&writer, &third, NULL), UF_OK);
    uf_journal_close(&writer);
}

static UfJournal read_journal(const char *path, size_t warnings)
{
    UfJournal journal = {0};
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_journal_read(path, &journal, report), UF_OK, "%s", uf_report_error(report));
    cr_expect_eq(uf_report_warning_count(report), warnings);
    uf_report_free(&report);
    uf_journal_sort(&journal);
    return journal;
}

Test(tour, the_journal_gives_back_what_was_written)
{
    write_three("journal.txt");
    UfJournal journal = read_journal("journal.txt", 0);
    size_t count;
    const UfJournalRecord *found = uf_journal_find(&journal, "b", &count);
    cr_assert_eq(count, 2);
    UfDigest order = uf_digest_bytes("b", 1), second = uf_digest_bytes("2", 1);
    cr_expect(uf_digest_same(&found[0].order, &order));
    cr_expect_eq(found[0].time_s, 1.5);
    cr_expect_eq(found[0].peak_bytes, 123456789012);
    cr_assert_eq(found[0].file_count, 2);
    cr_expect_str_eq(found[0].files[1].path, "b/\t\n\\");
    cr_expect_eq(found[0].files[1].size_bytes, 9);
    cr_expect(uf_digest_same(&found[0].files[1].digest, &second));
    cr_expect_str_eq(found[0].results, "{\n  \"out\": \"a\\tb\"\n}\n");
    cr_expect_str_eq(found[0].messages, "one\ntwo\twith a tab, a \\ and \\n\n");
    cr_expect(!found[0].failed && found[1].failed, "records of one target keep their order");
    cr_expect_null(uf_journal_find(&journal, "c", &count));
    cr_expect_eq(count, 0);
    uf_journal_clear(&journal);
}

/* Cut anywhere in its last line, the journal holds the lines before, and goes on behind them. */
Test(tour, a_torn_journal_line_is_no_record_and_harms_no_other)
{
    write_three("whole.txt");
    Bytes whole = file_read("whole.txt");
    size_t last = whole.size - 1;
    while (whole.data[last - 1] != '\n')
        last--;
    for (size_t cut = last + 1; cut < whole.size; cut += 7) {
        file_write("torn.txt", whole.data, cut);
        UfJournal torn = read_journal("torn.txt", 0);
        cr_expect_eq(torn.count, 2, "cut at %zu", cut);
        uf_journal_clear(&torn);
        write_three("torn.txt");
        UfJournal mended = read_journal("torn.txt", 0);
        cr_expect_eq(mended.count, 5, "cut at %zu", cut);
        uf_journal_clear(&mended);
    }
    /* a bit that toppled over in the middle */
    whole.data[last / 2] ^= 4;
    file_write("torn.txt", whole.data, whole.size);
    UfJournal damaged = read_journal("torn.txt", 1);
    cr_expect_eq(damaged.count, 2);
    uf_journal_clear(&damaged);
    bytes_free(&whole);
}

Test(tour, a_journal_that_is_not_there_is_empty)
{
    UfJournal journal = read_journal("none.txt", 0);
    cr_expect_eq(journal.count, 0);
    uf_journal_clear(&journal);
}

Test(tour, a_journal_of_another_version_is_refused)
{
    const char *text = "underfoot tour journal\t2";
    char line[100];
    snprintf(line, sizeof line, "%016llx\t%s\n", (unsigned long long)XXH3_64bits(text, strlen(text)), text);
    file_write("next.txt", line, strlen(line));
    UfJournal journal = {0};
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_journal_read("next.txt", &journal, report), UF_ERROR_UNSUPPORTED);
    cr_expect_not_null(strstr(uf_report_error(report), "next.txt:1: was written by a newer version"));
    uf_report_free(&report);
    uf_journal_clear(&journal);
}

/* Files that a record names are removed when something else takes their place. */
Test(tour, a_journal_that_names_files_outside_the_folder_is_refused)
{
    static const struct {
        const char *path;
        UfStatus status;
    } files[] = {{"../a", UF_ERROR_UNSUPPORTED},   {"b/../../a", UF_ERROR_UNSUPPORTED},
                 {"/tmp/a", UF_ERROR_UNSUPPORTED}, {"b/..", UF_ERROR_UNSUPPORTED},
                 {"", UF_ERROR_UNSUPPORTED},       {"..b/a..", UF_OK}};
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        UfJournalWriter writer;
        UfJournalFile file = {files[i].path, 1, uf_digest_bytes("1", 1)};
        UfJournalRecord record = record_of("b", &file, 1);
        UfJournal journal = {0};
        cr_assert_eq(uf_journal_open("elsewhere.txt", &writer, NULL), UF_OK);
        cr_assert_eq(uf_journal_append(&writer, &record, NULL), UF_OK);
        uf_journal_close(&writer);
        cr_expect_eq(uf_journal_read("elsewhere.txt", &journal, NULL), files[i].status, "'%s'",
                     files[i].path);
        uf_journal_clear(&journal);
        remove("elsewhere.txt");
    }
}

Test(tour, files_run_side_by_side_and_share_cores_when_few_are_left)
{
    UfSchedule schedule = {.jobs_max = 4, .threads_max = 8, .memory_max = 100};
    size_t threads = 0;
    cr_assert(uf_schedule_start(&schedule, 10, 100, &threads));
    cr_expect_eq(threads, 2, "many wait: the cores over the slots");
    cr_assert(uf_schedule_start(&schedule, 10, 1, &threads));
    cr_expect_eq(threads, 6, "the last one gets what is left");
    cr_assert(uf_schedule_start(&schedule, 10, 1, &threads));
    cr_expect_eq(threads, 1, "never none");
    cr_expect_not(uf_schedule_start(&schedule, 71, 5, &threads), "memory is short");
    cr_assert(uf_schedule_start(&schedule, 70, 5, &threads));
    cr_expect_not(uf_schedule_start(&schedule, 0, 5, &threads), "no slot is free");
    cr_expect_eq(schedule.peak_bytes, 100);
    uf_schedule_end(&schedule, 70, 1);
    uf_schedule_end(&schedule, 10, 2);
    uf_schedule_end(&schedule, 10, 6);
    uf_schedule_end(&schedule, 10, 1);
    cr_expect(schedule.memory_bytes == 0 && schedule.threads == 0 && schedule.running == 0);
    cr_expect(uf_schedule_start(&schedule, 500, 1, &threads), "alone, anything may start");
}

Test(tour, locks_of_parts_and_of_the_whole_exclude_each_other)
{
    UfLock whole = UF_LOCK_NONE, first = UF_LOCK_NONE, second = UF_LOCK_NONE, other = UF_LOCK_NONE;
    cr_assert_eq(uf_lock_take(".", 1, 2, &first, NULL), UF_OK);
    cr_assert_eq(uf_lock_take(".", 2, 2, &second, NULL), UF_OK);
    cr_expect_eq(uf_lock_take(".", 0, 0, &whole, NULL), UF_ERROR_EXISTS);
    cr_expect_eq(uf_lock_take(".", 3, 3, &other, NULL), UF_ERROR_EXISTS);
    uf_lock_drop(&first);
    uf_lock_drop(&second);
    cr_expect_eq(uf_lock_take(".", 3, 3, &other, NULL), UF_OK);
    uf_lock_drop(&other);
    cr_expect_eq(uf_lock_take(".", 0, 0, &whole, NULL), UF_OK);
    uf_lock_drop(&whole);
}

Test(tour, removing_a_tree_leaves_what_links_lead_to)
{
    cr_assert(mkdir("tree", 0777) == 0 && mkdir("tree/sub", 0777) == 0 && mkdir("kept", 0777) == 0);
    file_write("kept/file", "x", 1);
    file_write("tree/sub/file", "x", 1);
    cr_assert(symlink("../kept", "tree/link") == 0);
    cr_expect_eq(uf_place_remove("tree", NULL), UF_OK);
    cr_expect_eq(uf_place_remove("tree", NULL), UF_OK, "nothing there is fine");
    cr_expect(!file_exists("tree") && file_exists("kept/file"));
    /* temporary files of processes that live no more go, those of living ones stay */
    char own[80];
    snprintf(own, sizeof own, ".page.html.uf-%ld-0", (long)getpid());
    file_write(".page.html.uf-999999999-0", "x", 1);
    file_write(".page.html.uf-notes", "x", 1);
    file_write(own, "x", 1);
    uf_place_sweep("page.html");
    cr_expect(!file_exists(".page.html.uf-999999999-0") && file_exists(own) &&
              file_exists(".page.html.uf-notes"));
}

Test(tour, finds_what_a_step_said)
{
    UfArena arena = {0};
    const char *messages =
        "underfoot: warning: first\nunderfoot: warning: second: more\nunderfoot: a.jpg: is no "
        "picture\nsee underfoot patch --help\n";
    cr_expect_str_eq(uf_step_warnings(&arena, messages), "first\nsecond: more\n");
    cr_expect_str_eq(uf_step_reason(&arena, messages), "a.jpg: is no picture");
    cr_expect_str_eq(uf_step_reason(&arena, "underfoot patch: --cap 3: too small"), "--cap 3: too small");
    cr_expect_str_eq(uf_step_reason(&arena, "no name before it"), "no name before it");
    cr_expect_str_eq(uf_step_reason(&arena, "underfoot: warning: only\n"), "");
    cr_expect_str_eq(uf_step_replace(&arena, "a/b c a/a/b", "a/", "x"), "xb c xxb");
    double number = 0;
    cr_expect(uf_step_number("{\n  \"in\": {\n    \"cap_deg\": 1\n  },\n  \"cap_deg\": 18.25,\n", "cap_deg",
                             &number));
    cr_expect_eq(number, 18.25);
    cr_expect_not(uf_step_number("{\n  \"cap_deg\": null\n}", "cap_deg", &number));
    cr_expect_not(uf_step_number("{\n  \"cap\": 1\n}", "cap_deg", &number));
    uf_arena_clear(&arena);
}

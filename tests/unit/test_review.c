/* The review page without a browser: what is written for any bytes, what is embedded, what is refused. */
#include <criterion/criterion.h>
#include <ctype.h>
#include <fnmatch.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/ini.h"
#include "support/base64.h"
#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"
#include "tour/page_text.h"
#include "tour/review.h"

TestSuite(review, .init = folder_enter, .fini = folder_leave);

/* What one of the put functions writes; free it. */
static char *written(void (*put)(FILE *, const char *), const char *text)
{
    char *result = NULL;
    size_t bytes = 0;
    FILE *stream = open_memstream(&result, &bytes);
    cr_assert_not_null(stream);
    put(stream, text);
    fclose(stream);
    return result;
}

static char *base64_of(const void *data, size_t size)
{
    char *result = NULL;
    size_t bytes = 0;
    FILE *stream = open_memstream(&result, &bytes);
    cr_assert_not_null(stream);
    uf_page_put_base64(stream, data, size);
    fclose(stream);
    return result;
}

Test(review, base64_is_that_of_rfc_4648)
{
    /* section 10 */
    static const char *const vectors[][2] = {{"", ""},
                                             {"f", "Zg=="},
                                             {"fo", "Zm8="},
                                             {"foo", "Zm9v"},
                                             {"foob", "Zm9vYg=="},
                                             {"fooba", "Zm9vYmE="},
                                             {"foobar", "Zm9vYmFy"}};
    for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
        char *text = base64_of(vectors[i][0], strlen(vectors[i][0]));
        cr_assert_str_eq(text, vectors[i][1]);
        free(text);
    }
    /* every byte, and lengths about the length of the buffer that it is written through */
    uint8_t data[6200];
    for (size_t i = 0; i < sizeof data; i++)
        data[i] = (uint8_t)(i * 151 + i / 256);
    for (size_t size = 3060; size <= sizeof data; size = size < 3080 ? size + 1 : size + 3121) {
        char *text = base64_of(data, size);
        Bytes back = base64_decode(text, strlen(text));
        cr_assert_eq(back.size, size);
        cr_assert_eq(memcmp(back.data, data, size), 0, "%zu bytes", size);
        bytes_free(&back);
        free(text);
    }
}

/* Text, and what a reader of UTF-8 makes of it. */
static const char *const texts[][2] = {
    {"plain.jpg", "plain.jpg"},
    {"</script><!-- \" ' \\ & > .jpg", "</script><!-- \" ' \\ & > .jpg"},
    {"tab\tline\nend\x7f", "tab\tline\nend\x7f"},
    {"\xC3\xA9\xE2\x82\xAC\xF0\x9F\x93\xB7", "\xC3\xA9\xE2\x82\xAC\xF0\x9F\x93\xB7"},
    {"line\xE2\x80\xA8separators\xE2\x80\xA9", "line\xE2\x80\xA8separators\xE2\x80\xA9"},
    /* Latin-1, a sequence cut short, a surrogate, one beyond U+10FFFF: U+FFFD for each byte */
    {"caf\xE9", "caf\xEF\xBF\xBD"},
    {"\xE2\x82", "\xEF\xBF\xBD\xEF\xBF\xBD"},
    {"\xED\xA0\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"},
    {"\xF4\x90\x80\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"},
};

/* All texts in one array: a parser is started for each look at it. */
Test(review, json_strings_are_read_back_by_a_parser_and_end_no_script)
{
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        char *json = written(uf_page_put_json, texts[i][0]);
        cr_assert_null(strpbrk(json, "<>&\n\x7f"), "%s", json);
        cr_assert_null(strstr(json, "\xE2\x80\xA8"));
        char *array = NULL;
        cr_assert_geq(asprintf(&array, "[%s]", json), 0);
        char *back = json_at(array, "0");
        cr_assert_str_eq(back, texts[i][1], "%s", json);
        free(back);
        free(array);
        free(json);
    }
    char *json = written(uf_page_put_json, NULL);
    cr_assert_str_eq(json, "null");
    free(json);
}

Test(review, html_text_opens_no_element_and_ends_no_attribute)
{
    char *html = written(uf_page_put_html, "<b a=\"1\" c='2'>&amp;\x01\xFF\xC3\xA9");
    cr_assert_str_eq(html, "&lt;b a=&quot;1&quot; c=&#39;2&#39;&gt;&amp;amp;&#xfffd;&#xfffd;\xC3\xA9");
    free(html);
}

Test(review, keys_are_ascii_and_tell_all_bytes_apart)
{
    char all[256];
    for (size_t i = 0; i < 255; i++)
        all[i] = (char)(i + 1);
    all[255] = '\0';
    char *key = written(uf_page_put_key, all);
    size_t at = 1;
    for (size_t i = 0; i < 255; i++) {
        unsigned byte = (unsigned char)key[at];
        if (byte == '%') {
            cr_assert_eq(sscanf(key + at + 1, "%2X", &byte), 1);
            at += 3;
        } else {
            /* RFC 3986, 2.3: unreserved */
            cr_assert(isalnum((int)byte) || strchr("-._~", (int)byte) != NULL, "%u", byte);
            at++;
        }
        cr_assert_eq(byte, (unsigned char)all[i]);
    }
    cr_assert_str_eq(key + at, "\"");
    free(key);
    key = written(uf_page_put_key, "hall 1.jpg");
    cr_assert_str_eq(key, "\"hall%201.jpg\"");
    free(key);
}

Test(review, sections_hold_patterns_that_fit_their_file)
{
    static const char *const names[] = {
        "hall.jpg",          "two  words.jpg",  "a]b[c;d.jpg",   " blanks at the ends ", "back\\slash.jpg",
        "caf\xE9 latin.jpg", "caf\xC3\xA9.jpg", "tab\there.jpg", "quote\"'.jpg",         "#x ;y.jpg"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char *json = written(uf_page_put_section, names[i]);
        char *array = NULL;
        cr_assert_geq(asprintf(&array, "[%s]", json), 0);
        char *pattern = json_at(array, "0");
        cr_assert_eq(fnmatch(pattern, names[i], 0), 0, "%s", pattern);
        char sheet[512];
        snprintf(sheet, sizeof sheet, "[panorama %s]\n", pattern);
        file_write("sheet.ini", sheet, strlen(sheet));
        UfIni ini;
        cr_assert_eq(uf_ini_read("sheet.ini", &ini, NULL), UF_OK, "%s", sheet);
        cr_assert_eq(ini.count, 1u);
        cr_assert_str_eq(ini.sections[0].name, pattern);
        uf_ini_clear(&ini);
        free(pattern);
        free(array);
        free(json);
    }
    /* a name that is as long as names can be: its beginning */
    char longest[256];
    memset(longest, 'n', 255);
    longest[255] = '\0';
    char *json = written(uf_page_put_section, longest);
    cr_assert_lt(strlen(json), 180u);
    json[strlen(json) - 1] = '\0';
    cr_assert_eq(fnmatch(json + 1, longest, 0), 0, "%s", json);
    free(json);
}

static void write_jpeg(const char *path, size_t width)
{
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = width, .height = width / 2});
    jpeg_write(path, &pixels, &(JpegOptions){0});
    pixels_free(&pixels);
}

static const UfReviewInfo info = {.title = "Night & day", .tour_key = "k", .made = "today", .time_s = 61.5};

static Bytes page_of(const UfTourRecord *records, size_t count, UfReport *report)
{
    remove("page.html");
    UfStatus status = uf_review_write("page.html", records, count, &info, report);
    cr_assert_eq(status, UF_OK, "%s", uf_report_error(report));
    return file_read("page.html");
}

/* What stands between an element's opening tag and the next closing tag; free it. */
static char *element_text(Bytes page, const char *opening, const char *closing)
{
    size_t start = bytes_find(page, 0, opening, strlen(opening));
    cr_assert_neq(start, SIZE_MAX, "no %s", opening);
    start += strlen(opening);
    size_t end = bytes_find(page, start, closing, strlen(closing));
    cr_assert_neq(end, SIZE_MAX);
    return strndup((const char *)page.data + start, end - start);
}

static void assert_index(const char *index, const char *path, const char *expected)
{
    char *value = json_at(index, path);
    cr_assert_str_eq(value, expected, "%s is %s", path, value);
    free(value);
}

Test(review, holds_every_piece_as_it_is_and_says_what_is_missing)
{
    write_jpeg("nadir.jpg", 64);
    write_jpeg("around.jpg", 256);
    file_write("text.jpg", "no picture", 10);
    const char *const warnings[] = {"first", "second \"one\""};
    const UfTourRecord records[] = {
        {.name = "fine.jpg",
         .input_path = "fine.jpg",
         .output_path = "out/fine.jpg",
         .cap_deg = 25.5,
         .cap_origin = "sheet",
         .width_px = 200,
         .height_px = 100,
         .input_bytes = 5000000000u,
         .time_s = 1.25,
         .pieces = {[UF_TOUR_NADIR_BEFORE] = "nadir.jpg", [UF_TOUR_AROUND] = "around.jpg"}},
        {.name = "skip.jpg", .input_path = "skip.jpg", .outcome = UF_TOUR_SKIPPED},
        {.name = "warned.jpg",
         .input_path = "warned.jpg",
         .outcome = UF_TOUR_WARNED,
         .warnings = warnings,
         .warning_count = 2,
         .pieces = {[UF_TOUR_SEAM] = "not-there.jpg",
                    [UF_TOUR_ZENITH] = "text.jpg",
                    [UF_TOUR_AROUND] = "around.jpg"}},
        {.name = "failed.jpg",
         .input_path = "failed.jpg",
         .outcome = UF_TOUR_FAILED,
         .error = "is cut off",
         .pieces = {[UF_TOUR_NADIR_BEFORE] = "nadir.jpg"}},
    };
    UfReport *report = uf_report_create();
    Bytes page = page_of(records, 4, report);
    cr_assert_eq(uf_report_warning_count(report), 2u);
    cr_assert_not_null(strstr(uf_report_warning(report, 0), "not-there.jpg"));
    cr_assert_not_null(strstr(uf_report_warning(report, 1), "text.jpg: is no JPEG"));

    char *index = element_text(page, "id=\"index\">", "</script>");
    assert_index(index, "ms", "61500");
    assert_index(index, "panoramas", "[4]");
    assert_index(index, "panoramas.0.name", "failed.jpg");
    assert_index(index, "panoramas.0.error", "is cut off");
    assert_index(index, "panoramas.0.output", "null");
    assert_index(index, "panoramas.0.pieces", "[1]");
    assert_index(index, "panoramas.1.name", "warned.jpg");
    assert_index(index, "panoramas.1.warnings.1", "second \"one\"");
    assert_index(index, "panoramas.1.pieces", "[1]");
    assert_index(index, "panoramas.2.cap", "25500");
    assert_index(index, "panoramas.2.inputBytes", "5000000000");
    assert_index(index, "panoramas.2.heading", "null");
    assert_index(index, "panoramas.3.outcome", "skipped");
    free(index);

    char *base64 = element_text(page, "id=\"p2-around\">", "</script>");
    Bytes piece = base64_decode(base64, strlen(base64));
    file_write("back.jpg", piece.data, piece.size);
    cr_assert(file_same("back.jpg", "around.jpg"));
    bytes_free(&piece);
    free(base64);
    bytes_free(&page);
    uf_report_free(&report);
}

Test(review, asks_no_network_for_anything)
{
    Bytes page = page_of(NULL, 0, NULL);
    char *title = element_text(page, "<title>", "</title>");
    cr_assert_str_eq(title, "Night &amp; day \xC2\xB7 review");
    free(title);
    cr_assert_neq(bytes_find(page, 0, "default-src 'none'", 18), SIZE_MAX);
    /* the only address is the name of the SVG namespace */
    static const char name[] = "http://www.w3.org/2000/svg";
    size_t seen = 0;
    for (size_t at = 0; (at = bytes_find(page, at, "://", 3)) != SIZE_MAX; at += 3, seen++)
        cr_assert(at >= 4 && memcmp(page.data + at - 4, name, sizeof name - 1) == 0, "%.40s",
                  (char *)page.data + at - 4);
    cr_assert_gt(seen, 0u);
    cr_assert_eq(bytes_find(page, 0, "{{", 2), SIZE_MAX, "a part of the template was left out");
    bytes_free(&page);
}

Test(review, lists_a_thousand_in_their_order_and_always_the_same)
{
    write_jpeg("piece.jpg", 128);
    enum { COUNT = 1000 };
    UfTourRecord *records = calloc(COUNT, sizeof *records);
    char(*names)[16] = calloc(COUNT, sizeof *names);
    cr_assert(records != NULL && names != NULL);
    for (size_t i = 0; i < COUNT; i++) {
        snprintf(names[i], sizeof names[i], "%04zu.jpg", i);
        records[i] = (UfTourRecord){.name = names[i],
                                    .input_path = names[i],
                                    .output_path = names[i],
                                    .outcome = i % 100 == 99 ? UF_TOUR_WARNED : UF_TOUR_DONE,
                                    .pieces = {[UF_TOUR_NADIR_AFTER] = "piece.jpg"}};
    }
    Bytes page = page_of(records, COUNT, NULL);
    char *index = element_text(page, "id=\"index\">", "</script>");
    assert_index(index, "panoramas.1.name", "0199.jpg");
    assert_index(index, "panoramas.10.name", "0000.jpg");
    assert_index(index, "panoramas.999.name", "0998.jpg");
    free(index);
    Bytes again = page_of(records, COUNT, NULL);
    cr_assert(page.size == again.size && memcmp(page.data, again.data, page.size) == 0);
    bytes_free(&again);
    bytes_free(&page);
    free(names);
    free(records);
}

Test(review, leaves_nothing_behind_when_it_cannot_write)
{
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_review_write("no-such-folder/page.html", NULL, 0, NULL, report), UF_ERROR_IO);
    cr_assert_not_null(strstr(uf_report_error(report), "no-such-folder/page.html"), "%s",
                       uf_report_error(report));
    cr_assert_eq(uf_review_write(".", NULL, 0, NULL, report), UF_ERROR_IO);
    file_write("mine.html", "mine", 4);
    FileState state = file_state("mine.html");
    cr_assert_eq(uf_review_write("mine.html", NULL, 0, NULL, report), UF_ERROR_EXISTS);
    cr_assert(file_unchanged("mine.html", &state));
    char *list = folder_list();
    cr_assert_str_eq(list, "mine.html\n");
    free(list);
    /* and with leave it is replaced */
    cr_assert_eq(uf_review_write("mine.html", NULL, 0, &(UfReviewInfo){.overwrite = true}, report), UF_OK);
    Bytes page = file_read("mine.html");
    cr_assert_eq(memcmp(page.data, "<!DOCTYPE html>", 15), 0);
    bytes_free(&page);
    uf_report_free(&report);
}

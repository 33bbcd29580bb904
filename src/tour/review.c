/*
 * The review page: the template of src/tour/page/ with the tour in it.
 *
 *     head, style, empty page     what is seen at once
 *     index                       JSON: everything but the pictures
 *     script                      builds the page from the index
 *     pieces                      a picture each, base64 in a script element that is no script, in the cards'
 * order
 *
 * The pictures stand last, so that the page is there while they are still being read from the disk.
 */
#include "tour/review.h"

#include <math.h>

#define XXH_INLINE_ALL /* see src/home/fingerprint.c */
#include <xxhash.h>

#include "base/file.h"
#include "base/memory.h"
#include "tour/page_parts.h"
#include "tour/page_text.h"

#define PIECE_MAX_BYTES (64u << 20)

static const char *const piece_names[UF_TOUR_PIECE_COUNT] = {[UF_TOUR_NADIR_BEFORE] = "nadir-before",
                                                             [UF_TOUR_NADIR_AFTER] = "nadir-after",
                                                             [UF_TOUR_SEAM] = "seam",
                                                             [UF_TOUR_ZENITH] = "zenith",
                                                             [UF_TOUR_AROUND] = "around"};

static const char *const outcome_names[UF_TOUR_OUTCOME_COUNT] = {[UF_TOUR_DONE] = "done",
                                                                 [UF_TOUR_WARNED] = "warned",
                                                                 [UF_TOUR_FAILED] = "failed",
                                                                 [UF_TOUR_SKIPPED] = "skipped"};

/* A record in its place on the page. */
typedef struct Card {
    const UfTourRecord *record;
    bool has_piece[UF_TOUR_PIECE_COUNT];
    uint64_t mark; /* of the pictures: another one when the result has been made anew */
} Card;

typedef struct Page {
    Card *cards;
    size_t count;
    UfReviewInfo info;
    FILE *stream;
    UfReport *report;
} Page;

/* Reads a piece whole; the caller frees *data. False, with a warning, when it is no JPEG that can be read. */
static bool read_piece(const char *path, uint8_t **data, size_t *size_bytes, UfReport *report)
{
    UfReport *reason = uf_report_create();
    UfInput input = {0};
    *data = NULL;
    UfStatus status = uf_input_open(path, &input, reason);
    if (status == UF_OK && input.size_bytes > PIECE_MAX_BYTES)
        status = uf_fail(reason, UF_ERROR_FORMAT, "%s: is too large for a page", path);
    if (status == UF_OK)
        status = uf_input_read_all(&input, data, size_bytes, reason);
    if (status == UF_OK && (*size_bytes < 3 || memcmp(*data, "\xFF\xD8\xFF", 3) != 0))
        status = uf_fail(reason, UF_ERROR_FORMAT, "%s: is no JPEG", path);
    uf_input_close(&input);
    if (status != UF_OK) {
        uf_warn(report, "%s; the review page goes without this picture", uf_report_error(reason));
        free(*data);
        *data = NULL;
    }
    uf_report_free(&reason);
    return status == UF_OK;
}

/* Which pieces are there, and what they are. */
static void look_at_pieces(Card *card, UfReport *report)
{
    for (size_t piece = 0; piece < UF_TOUR_PIECE_COUNT; piece++) {
        const char *path = card->record->pieces[piece];
        uint8_t *data = NULL;
        size_t size = 0;
        card->has_piece[piece] = path != NULL && read_piece(path, &data, &size, report);
        if (card->has_piece[piece])
            card->mark = XXH3_64bits_withSeed(data, size, card->mark + piece);
        free(data);
    }
}

static int rank(UfTourOutcome outcome)
{
    static const int ranks[UF_TOUR_OUTCOME_COUNT] = {
        [UF_TOUR_FAILED] = 0, [UF_TOUR_WARNED] = 1, [UF_TOUR_DONE] = 2, [UF_TOUR_SKIPPED] = 3};
    return ranks[outcome];
}

/* Failures, warnings, the rest, what was skipped; within each the given order. */
static UfStatus lay_out(Page *page, const UfTourRecord *records, size_t count)
{
    page->cards = uf_alloc_zero(count > 0 ? count : 1, sizeof *page->cards);
    if (page->cards == NULL)
        return uf_fail_memory(page->report);
    for (int wanted = 0; wanted < UF_TOUR_OUTCOME_COUNT; wanted++)
        for (size_t i = 0; i < count; i++)
            if (rank(records[i].outcome) == wanted)
                page->cards[page->count++].record = &records[i];
    for (size_t i = 0; i < page->count; i++)
        look_at_pieces(&page->cards[i], page->report);
    return UF_OK;
}

static void put_text(const Page *page, const char *key, const char *text)
{
    (void)fprintf(page->stream, ",\"%s\":", key);
    uf_page_put_json(page->stream, text);
}

static void put_whole(const Page *page, const char *key, uint64_t number)
{
    (void)fprintf(page->stream, ",\"%s\":%llu", key, (unsigned long long)number);
}

/* In thousandths: whole numbers look the same in every locale. */
static void put_thousandths(const Page *page, const char *key, double number)
{
    bool fits = isfinite(number) && number > 0 && number < 1e12;
    put_whole(page, key, fits ? (uint64_t)llround(number * 1000) : 0);
}

static void put_pieces_list(const Page *page, const Card *card)
{
    const char *comma = "";
    (void)fputs(",\"pieces\":[", page->stream);
    for (size_t piece = 0; piece < UF_TOUR_PIECE_COUNT; piece++)
        if (card->has_piece[piece]) {
            (void)fprintf(page->stream, "%s\"%s\"", comma, piece_names[piece]);
            comma = ",";
        }
    (void)fputc(']', page->stream);
}

static void put_warnings(const Page *page, const UfTourRecord *record)
{
    (void)fputs(",\"warnings\":[", page->stream);
    for (size_t i = 0; i < record->warning_count; i++) {
        (void)fputs(i > 0 ? "," : "", page->stream);
        uf_page_put_json(page->stream, record->warnings[i]);
    }
    (void)fputc(']', page->stream);
}

static void put_card(const Page *page, size_t at)
{
    const Card *card = &page->cards[at];
    const UfTourRecord *record = card->record;
    (void)fprintf(page->stream, "%s\n{\"at\":%zu,\"key\":", at > 0 ? "," : "", at);
    uf_page_put_key(page->stream, record->name);
    put_text(page, "name", record->name);
    (void)fputs(",\"section\":", page->stream);
    uf_page_put_section(page->stream, record->name);
    put_text(page, "outcome", outcome_names[record->outcome]);
    put_text(page, "error", record->error);
    put_warnings(page, record);
    put_text(page, "input", record->input_path);
    put_text(page, "output", record->output_path);
    put_thousandths(page, "cap", record->cap_deg);
    put_text(page, "capFrom", record->cap_origin);
    put_whole(page, "width", record->width_px);
    put_whole(page, "height", record->height_px);
    put_whole(page, "inputBytes", record->input_bytes);
    put_whole(page, "outputBytes", record->output_bytes);
    put_thousandths(page, "ms", record->time_s);
    if (record->has_heading)
        put_thousandths(page, "heading", record->heading_deg);
    else
        put_text(page, "heading", NULL);
    (void)fprintf(page->stream, ",\"mark\":\"%016llx\"", (unsigned long long)card->mark);
    put_text(page, "steps", record->steps_json);
    put_pieces_list(page, card);
    (void)fputc('}', page->stream);
}

static const char *title_of(const Page *page)
{
    return page->info.title != NULL ? page->info.title : "Tour";
}

static UfStatus put_index(const Page *page)
{
    (void)fputs("{\"key\":", page->stream);
    uf_page_put_key(page->stream, page->info.tour_key != NULL ? page->info.tour_key : title_of(page));
    put_text(page, "made", page->info.made);
    put_text(page, "sheet", page->info.sheet);
    put_thousandths(page, "ms", page->info.time_s);
    (void)fputs(",\"panoramas\":[", page->stream);
    for (size_t i = 0; i < page->count; i++)
        put_card(page, i);
    (void)fputs("]}", page->stream);
    return UF_OK;
}

/* A piece that has gone since it was looked at fails the page: its index promises it. */
static UfStatus put_pieces(const Page *page)
{
    for (size_t i = 0; i < page->count; i++)
        for (size_t piece = 0; piece < UF_TOUR_PIECE_COUNT; piece++) {
            if (!page->cards[i].has_piece[piece])
                continue;
            const char *path = page->cards[i].record->pieces[piece];
            uint8_t *data = NULL;
            size_t size = 0;
            if (!read_piece(path, &data, &size, NULL))
                return uf_fail(page->report, UF_ERROR_IO,
                               "%s: changed while the review page was written; write it again", path);
            (void)fprintf(page->stream, "<script type=\"text/plain\" id=\"p%zu-%s\">", i, piece_names[piece]);
            uf_page_put_base64(page->stream, data, size);
            (void)fputs("</script>\n", page->stream);
            free(data);
        }
    return UF_OK;
}

static UfStatus put_title(const Page *page)
{
    uf_page_put_html(page->stream, title_of(page));
    return UF_OK;
}

static UfStatus put_style(const Page *page)
{
    (void)fwrite(uf_page_style, 1, uf_page_style_bytes, page->stream);
    return UF_OK;
}

static UfStatus put_script(const Page *page)
{
    (void)fwrite(uf_page_script, 1, uf_page_script_bytes, page->stream);
    return UF_OK;
}

static UfStatus put_style_hash(const Page *page)
{
    (void)fputs(uf_page_style_hash, page->stream);
    return UF_OK;
}

static UfStatus put_script_hash(const Page *page)
{
    (void)fputs(uf_page_script_hash, page->stream);
    return UF_OK;
}

/* What the template's {{name}} stand for. */
static const struct {
    const char *mark;
    UfStatus (*put)(const Page *page);
} parts[] = {
    {"{{title}}", put_title},   {"{{style-hash}}", put_style_hash}, {"{{script-hash}}", put_script_hash},
    {"{{style}}", put_style},   {"{{index}}", put_index},           {"{{script}}", put_script},
    {"{{pieces}}", put_pieces},
};

/* The part whose mark begins here; NULL for none. */
static UfStatus (*part_at(const char *at, size_t left, size_t *mark_bytes))(const Page *)
{
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        *mark_bytes = strlen(parts[i].mark);
        if (*mark_bytes <= left && memcmp(at, parts[i].mark, *mark_bytes) == 0)
            return parts[i].put;
    }
    return NULL;
}

static UfStatus put_page(const Page *page)
{
    const char *html = (const char *)uf_page_html;
    UfStatus status = UF_OK;
    for (size_t at = 0; at < uf_page_html_bytes && status == UF_OK;) {
        size_t mark_bytes = 0;
        UfStatus (*put)(const Page *) = part_at(html + at, uf_page_html_bytes - at, &mark_bytes);
        if (put == NULL)
            (void)fputc(html[at++], page->stream);
        else {
            status = put(page);
            at += mark_bytes;
        }
    }
    return status;
}

UfStatus uf_review_write(const char *path, const UfTourRecord *records, size_t count,
                         const UfReviewInfo *info, UfReport *report)
{
    Page page = {.info = info != NULL ? *info : (UfReviewInfo){0}, .report = report};
    UfOutput output = {0};
    UfStatus status = uf_output_open(path, page.info.overwrite, &output, report);
    if (status != UF_OK)
        goto cleanup;
    page.stream = output.stream;
    status = lay_out(&page, records, count);
    if (status == UF_OK)
        status = put_page(&page);
    if (status == UF_OK)
        status = uf_output_commit(&output, report);
cleanup:
    uf_output_discard(&output);
    free(page.cards);
    return status;
}

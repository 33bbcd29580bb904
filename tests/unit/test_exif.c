/*
 * EXIF corrected in place. The blobs are made by ExifTool; libexif and ExifTool read the results.
 * Tags and types: CIPA DC-008 (EXIF 2.32), 4.6; TIFF 6.0, section 2.
 */
#include <criterion/criterion.h>
#include <libexif/exif-data.h>
#include <string.h>

#include "base/memory.h"
#include "picture/metadata.h"
#include "support/files.h"
#include "support/pictures.h"
#include "support/program.h"
#include "unit/test_exif_blobs.h"

TestSuite(exif, .init = folder_enter, .fini = folder_leave);

#define LARGE 70000u /* more than a SHORT can hold */

static long libexif_value(UfBlob blob, ExifIfd ifd, ExifTag tag)
{
    uint8_t *segment = uf_alloc(blob.size_bytes + 6, 1);
    memcpy(segment, "Exif\0", 6);
    memcpy(segment + 6, blob.data, blob.size_bytes);
    ExifData *data = exif_data_new();
    exif_data_unset_option(data, EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
    exif_data_load_data(data, segment, (unsigned)(blob.size_bytes + 6));
    ExifEntry *entry = exif_content_get_entry(data->ifd[ifd], tag);
    long value = -1;
    if (entry != NULL && entry->format == EXIF_FORMAT_SHORT)
        value = exif_get_short(entry->data, exif_data_get_byte_order(data));
    if (entry != NULL && entry->format == EXIF_FORMAT_LONG)
        value = (long)exif_get_long(entry->data, exif_data_get_byte_order(data));
    exif_data_unref(data);
    free(segment);
    return value;
}

static size_t bytes_that_differ(UfBlob a, UfBlob b)
{
    size_t count = 0;
    cr_assert_eq(a.size_bytes, b.size_bytes);
    for (size_t i = 0; i < a.size_bytes; i++)
        count += a.data[i] != b.data[i];
    return count;
}

static void check_reads(const char *order)
{
    UfBlob blob = exif_blob_make(order);
    size_t width = 0, height = 0;
    uf_exif_size(blob, &width, &height);
    cr_expect_eq(width, 64);
    cr_expect_eq(height, 32);
    cr_expect_eq(uf_exif_orientation(blob), 6);
    cr_expect(uf_exif_has_thumbnail(blob));
    cr_expect_eq(libexif_value(blob, EXIF_IFD_0, EXIF_TAG_ORIENTATION), 6);
    uf_blob_clear(&blob);
}

Test(exif, reads_both_byte_orders)
{
    check_reads("II");
    check_reads("MM");
}

static void check_corrects(const char *order)
{
    const char *changed =
        "--IFD0:Orientation --IFD0:ImageWidth --ExifIFD:ExifImageWidth --ExifIFD:ExifImageHeight";
    UfBlob blob = exif_blob_make(order), before = {0};
    uf_blob_set(&before, blob.data, blob.size_bytes, NULL);
    UfReport *report = uf_report_create();
    uf_exif_correct(&blob, 200, 100, 1, report);
    cr_expect_eq(uf_report_warning_count(report), 0, "%s", uf_report_warning(report, 0));
    cr_expect_eq(libexif_value(blob, EXIF_IFD_0, EXIF_TAG_ORIENTATION), 1);
    cr_expect_eq(libexif_value(blob, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_X_DIMENSION), 200);
    cr_expect_eq(libexif_value(blob, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_Y_DIMENSION), 100);
    cr_expect_leq(bytes_that_differ(blob, before), 4, "one byte a value");
    char *old_text = exif_blob_list(before, changed), *new_text = exif_blob_list(blob, changed);
    cr_expect_str_eq(new_text, old_text);
    cr_expect_not_null(strstr(new_text, "Lantern Works"));
    cr_expect_not_null(strstr(new_text, "opaque maker bytes"));
    free(old_text);
    free(new_text);
    uf_blob_clear(&blob);
    uf_blob_clear(&before);
    uf_report_free(&report);
}

Test(exif, corrects_in_place_and_leaves_the_rest)
{
    check_corrects("II");
    check_corrects("MM");
}

static void check_large(const char *order)
{
    UfBlob blob = exif_blob_make(order);
    uf_exif_correct(&blob, LARGE, LARGE / 2, 1, NULL);
    cr_expect_eq(libexif_value(blob, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_X_DIMENSION), LARGE);
    cr_expect_eq(libexif_value(blob, EXIF_IFD_EXIF, EXIF_TAG_PIXEL_Y_DIMENSION), LARGE / 2);
    uf_blob_clear(&blob);
}

Test(exif, widens_a_short_that_cannot_hold_the_value)
{
    check_large("II");
    check_large("MM");
}

static void check_thumbnail(const char *order)
{
    UfBlob blob = exif_blob_make(order);
    size_t before = blob.size_bytes;
    char *old_text = exif_blob_list(blob, "--IFD1:all");
    uf_exif_drop_thumbnail(&blob, NULL);
    cr_expect_not(uf_exif_has_thumbnail(blob));
    cr_expect_lt(blob.size_bytes, before);
    char *new_text = exif_blob_list(blob, "");
    cr_expect_str_eq(new_text, old_text);
    free(old_text);
    free(new_text);
    for (size_t i = 0; i + 1 < blob.size_bytes; i++)
        cr_assert_not(blob.data[i] == 0xFF && blob.data[i + 1] == 0xD8, "a JPEG stream is left at %zu", i);
    uf_blob_clear(&blob);
}

Test(exif, drops_the_thumbnail_and_nothing_else)
{
    check_thumbnail("II");
    check_thumbnail("MM");
}

/* IFD1 before the EXIF IFD: the offsets of what comes after it must stay good. */
Test(exif, zeroes_a_thumbnail_in_the_middle)
{
    static const uint8_t bytes[] = {
        'I',  'I',  42,   0,    8,   0,   0,   0,   1, 0, 0x12, 0x01, 3, 0, 1, 0,
        0,    0,    3,    0,    0,   0,   26,  0,   0, 0, /* IFD0 at 8: Orientation; next: 26 */
        2,    0,    0x01, 0x02, 4,   0,   1,   0,   0, 0, 56,   0,    0, 0, /* IFD1 at 26: thumbnail at 56 */
        0x02, 0x02, 4,    0,    1,   0,   0,   0,   4, 0, 0,    0,    0, 0, 0, 0, /* ... of 4 bytes */
        0xFF, 0xD8, 0xFF, 0xD9, 'k', 'e', 'p', 't',
    };
    UfBlob blob = {0};
    uf_blob_set(&blob, bytes, sizeof bytes, NULL);
    uf_exif_drop_thumbnail(&blob, NULL);
    cr_assert_eq(blob.size_bytes, sizeof bytes);
    cr_expect_eq(memcmp(blob.data, bytes, 22), 0);
    for (size_t i = 22; i < 60; i++)
        cr_expect_eq(blob.data[i], 0, "byte %zu", i);
    cr_expect_eq(memcmp(blob.data + 60, "kept", 4), 0);
    cr_expect_eq(uf_exif_orientation(blob), 3);
    uf_blob_clear(&blob);
}

/* An IFD1 that points at IFD0's own bytes must not take them along. */
Test(exif, a_loop_costs_nothing)
{
    static const uint8_t bytes[] = {'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0,
                                    3,   0,   0, 0,  1, 0, 8, 0, 0, 0, 0,    0,    8};
    UfBlob blob = {0};
    uf_blob_set(&blob, bytes, sizeof bytes, NULL);
    uf_exif_drop_thumbnail(&blob, NULL);
    cr_expect_eq(uf_exif_orientation(blob), 8);
    cr_expect_eq(blob.size_bytes, sizeof bytes);
    cr_expect_not(uf_exif_has_thumbnail(blob));
    uf_blob_clear(&blob);
}

static void use_everything(UfBlob *blob)
{
    UfReport *report = uf_report_create();
    size_t width, height;
    uf_exif_size(*blob, &width, &height);
    int orientation = uf_exif_orientation(*blob);
    cr_assert(orientation >= 1 && orientation <= 8);
    size_t before = blob->size_bytes;
    uf_exif_correct(blob, LARGE, LARGE / 2, 1, report);
    cr_assert_eq(blob->size_bytes, before);
    uf_exif_drop_thumbnail(blob, report);
    cr_assert_leq(blob->size_bytes, before);
    cr_assert_not(uf_exif_has_thumbnail(*blob));
    uf_report_free(&report);
}

static void survive(UfBlob whole, size_t bytes, size_t at, uint8_t value)
{
    UfBlob part = {0};
    uf_blob_set(&part, whole.data, bytes, NULL);
    if (at < bytes)
        part.data[at] = value;
    use_everything(&part);
    uf_blob_clear(&part);
}

/* Blobs of their exact size on the heap: the sanitizer sees every byte read or written past the end. */
Test(exif, survives_damage_at_every_offset)
{
    static const uint8_t values[] = {0x00, 0x01, 0x7F, 0x80, 0xFF};
    const char *orders[] = {"II", "MM"};
    for (size_t k = 0; k < 2; k++) {
        UfBlob blob = exif_blob_make(orders[k]);
        for (size_t i = 0; i < blob.size_bytes; i++) {
            survive(blob, i, SIZE_MAX, 0);
            for (size_t v = 0; v < sizeof values; v++)
                survive(blob, blob.size_bytes, i, values[v]);
        }
        uf_blob_clear(&blob);
    }
}

Test(exif, says_that_damaged_data_stay)
{
    UfBlob blob = {0};
    UfReport *report = uf_report_create();
    uf_blob_set(&blob, "not a TIFF structure", 20, NULL);
    uf_exif_correct(&blob, 200, 100, 1, report);
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect_not_null(strstr(uf_report_warning(report, 0), "EXIF"));
    cr_expect_eq(memcmp(blob.data, "not a TIFF structure", 20), 0);
    uf_blob_clear(&blob);
    uf_report_free(&report);
}

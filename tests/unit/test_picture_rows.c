/* Pictures that are looked at while they are read, and written while they are made. */
#include "test_picture_support.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>

#include "support/files.h"
#include "support/program.h"

TestSuite(picture_rows, .init = folder_enter, .fini = folder_leave);

typedef struct Told {
    Pixels expected;
    size_t profile_bytes, calls, end_px, wrong;
    bool is_gone;
} Told;

/* All rows that are new since the last call, as they are now. */
static void note_rows(void *data, UfPicture *picture, size_t end_px)
{
    Told *told = data;
    told->calls++;
    told->is_gone = picture == NULL;
    if (picture == NULL)
        return;
    const size_t samples = told->expected.width * told->expected.channels;
    told->wrong += end_px <= told->end_px;
    for (; told->end_px < end_px; told->end_px++) {
        const void *row = uf_picture_row_const(picture, told->end_px);
        for (size_t i = 0; i < samples; i++) {
            const size_t at = told->end_px * samples + i;
            if (told->expected.bits == 32)
                told->wrong += memcmp((const float *)row + i, told->expected.values + at, sizeof(float)) != 0;
            else
                told->wrong +=
                    (told->expected.bits == 16 ? ((const uint16_t *)row)[i] : ((const uint8_t *)row)[i]) !=
                    told->expected.codes[at];
        }
    }
    told->wrong += uf_picture_icc(picture).size_bytes != told->profile_bytes;
}

/* Rows are whole, and so are the metadata, when one is told of them; and one is told that they will go. */
static void expect_telling(const char *path, const char *damaged, size_t profile_bytes)
{
    Told told = {.expected = picture_decode(path), .profile_bytes = profile_bytes}, other = told;
    UfReadOptions options = {.rows_read = note_rows, .rows_read_data = &told};
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_read(path, &options, &picture, NULL), UF_OK);
    cr_expect_eq(uf_picture_icc(picture).size_bytes, profile_bytes);
    assert_samples(picture, &told.expected, 0, path);
    uf_picture_free(&picture);
    cr_expect(told.calls > 2 && told.end_px > 300, "%s: %zu calls, to row %zu", path, told.calls,
              told.end_px);
    cr_expect_eq(told.wrong, 0, "%s", path);
    cr_expect_not(told.is_gone);
    options.rows_read_data = &other;
    cr_expect_neq(uf_picture_read(damaged, &options, &picture, NULL), UF_OK, "%s", damaged);
    cr_expect(other.calls > 2 && other.end_px > 100, "%s: %zu calls, to row %zu", damaged, other.calls,
              other.end_px);
    cr_expect_eq(other.wrong, 0, "%s", damaged);
    cr_expect(other.is_gone);
    pixels_free(&told.expected);
}

Test(picture_rows, a_jpeg_is_told_of_as_it_comes)
{
    size_t profile_bytes;
    uint8_t *profile = profile_make(&profile_bytes);
    Pixels pixels = noise_make(256, 400, 3, 8, 2);
    UfPicture *picture = picture_of(&pixels);
    cr_assert_eq(uf_picture_set_icc(picture, profile, profile_bytes, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(picture, "a.jpg", NULL, NULL), UF_OK);
    uf_picture_free(&picture);
    file_cut("a.jpg", "b.jpg", -20000);
    expect_telling("a.jpg", "b.jpg", profile_bytes);
    pixels_free(&pixels);
    free(profile);
}

/* Far down, the byte that comes `offset` behind the first place of `what`. */
static void damage(const char *from, const char *to, const char *what, size_t offset)
{
    Bytes bytes = file_read(from);
    const size_t at = bytes_find(bytes, bytes.size * 9 / 10, what, strlen(what));
    cr_assert_neq(at, SIZE_MAX);
    bytes.data[at + offset] ^= 0xFF;
    file_write(to, bytes.data, bytes.size);
    bytes_free(&bytes);
}

Test(picture_rows, a_png_is_told_of_as_it_comes)
{
    size_t profile_bytes;
    uint8_t *profile = profile_make(&profile_bytes);
    for (unsigned bits = 8; bits <= 16; bits += 8) {
        Pixels pixels = noise_make(200, 400, bits == 8 ? 3 : 4, bits, 2);
        png_write("a.png", &pixels, &(PngOptions){.icc = profile, .icc_bytes = profile_bytes});
        damage("a.png", "b.png", "IDAT", 100); /* its checksum is wrong */
        expect_telling("a.png", "b.png", profile_bytes);
        pixels_free(&pixels);
    }
    free(profile);
}

Test(picture_rows, a_tiff_is_told_of_as_it_comes)
{
    static const TiffOptions kinds[] = {{.rows_per_strip = 7}, {.tile_side = 64}, {.planar = true}};
    size_t profile_bytes;
    uint8_t *profile = profile_make(&profile_bytes);
    for (size_t i = 0; i < 9; i++) {
        const unsigned bits = 8u << (i / 3);
        TiffOptions options = kinds[i % 3];
        options.compression = COMPRESSION_ADOBE_DEFLATE;
        options.icc = profile;
        options.icc_bytes = profile_bytes;
        Pixels pixels = noise_make(200, 400, i % 2 == 0 ? 3 : 4, bits, 2);
        tiff_write("a.tif", &pixels, &options);
        damage("a.tif", "b.tif", "\x78\x9C", 0); /* RFC 1950's header is none */
        expect_telling("a.tif", "b.tif", profile_bytes);
        pixels_free(&pixels);
    }
    free(profile);
}

/* The chunk before IEND: a comment. */
static void add_late_chunk(const char *path)
{
    static const uint8_t chunk[] = {0,   0,   0,   9,   't', 'E', 'X',  't',  'C',  'o', 'm',
                                    'm', 'e', 'n', 't', 0,   'x', 0xD7, 0xF4, 0x74, 0x08};
    Bytes bytes = file_read(path);
    FILE *stream = fopen(path, "wb");
    cr_assert_not_null(stream);
    fwrite(bytes.data, 1, bytes.size - 12, stream);
    fwrite(chunk, 1, sizeof chunk, stream);
    fwrite(bytes.data + bytes.size - 12, 1, 12, stream);
    cr_assert_eq(fclose(stream), 0);
    bytes_free(&bytes);
}

/* Rows that are not final, and metadata that stand behind them. */
Test(picture_rows, what_does_not_come_from_the_top_down_is_not_told_of)
{
    Pixels pixels = noise_make(200, 400, 3, 8, 2);
    uint8_t exif[EXIF_BYTES];
    exif_make(3, exif);
    png_write("a.png", &pixels, &(PngOptions){.interlaced = true});
    png_write("b.png", &pixels, NULL);
    add_late_chunk("b.png");
    jpeg_write("c.jpg", &pixels, &(JpegOptions){.exif = exif, .exif_bytes = sizeof exif});
    static const char *const names[] = {"a.png", "b.png", "c.jpg"};
    for (size_t i = 0; i < 3; i++) {
        Told told = {0};
        UfReadOptions options = {.rows_read = note_rows, .rows_read_data = &told};
        UfPicture *picture = NULL;
        cr_assert_eq(uf_picture_read(names[i], &options, &picture, NULL), UF_OK, "%s", names[i]);
        cr_expect_eq(told.calls, 0, "%s", names[i]);
        uf_picture_free(&picture);
    }
    pixels_free(&pixels);
}

/* A picture whose rows come when they are asked for. */
typedef struct Coming {
    const UfPicture *whole;
    UfPicture *picture;
    size_t there_px, last_px, calls;
} Coming;

static size_t await(void *data, size_t end_px)
{
    Coming *coming = data;
    coming->calls++;
    if (end_px > coming->last_px)
        return 0;
    for (; coming->there_px < end_px; coming->there_px++)
        memcpy(uf_picture_row(coming->picture, coming->there_px),
               uf_picture_row_const(coming->whole, coming->there_px), uf_picture_stride_bytes(coming->whole));
    return end_px;
}

/* The same file, and none where the rows do not come to an end. */
static void expect_awaiting(const UfPicture *whole, const char *extension)
{
    char name[16], other[16];
    UfReport *report = uf_report_create();
    snprintf(name, sizeof name, "a%s", extension);
    snprintf(other, sizeof other, "b%s", extension);
    Coming coming = {.whole = whole, .last_px = SIZE_MAX}, ended = {.whole = whole, .last_px = 300};
    UfWriteOptions options = {.threads = 2};
    cr_assert_eq(uf_picture_write(whole, name, &options, NULL), UF_OK);
    options.rows = await;
    for (int i = 0; i < 2; i++) {
        Coming *now = i == 0 ? &coming : &ended;
        cr_assert_eq(uf_picture_create(uf_picture_width_px(whole), uf_picture_height_px(whole),
                                       uf_picture_channels(whole), uf_picture_sample(whole), &now->picture,
                                       NULL),
                     UF_OK);
        options.rows_data = now;
        UfStatus status = uf_picture_write(now->picture, other, &options, report);
        cr_expect_eq(status, i == 0 ? UF_OK : UF_ERROR_ARGUMENT, "%s", other);
        cr_expect_eq(file_exists(other), i == 0, "%s", other);
        cr_expect(i == 1 || file_same(name, other), "%s", other);
        cr_expect(now->calls > (i == 0), "%s: asked %zu times", other, now->calls);
        remove(other);
        uf_picture_free(&now->picture);
    }
    cr_expect_not_null(strstr(uf_report_error(report), "was not made"));
    remove(name);
    char *left = folder_list();
    cr_expect_str_eq(left, "");
    free(left);
    uf_report_free(&report);
}

Test(picture_rows, no_row_is_written_before_it_is_made)
{
    for (unsigned bits = 8; bits <= 32; bits *= 2) {
        Pixels pixels = noise_make(2000, 1500, 3, bits, 2);
        UfPicture *picture = picture_of(&pixels);
        expect_awaiting(picture, ".jpg");
        expect_awaiting(picture, ".png");
        expect_awaiting(picture, ".tif");
        uf_picture_free(&picture);
        pixels_free(&pixels);
    }
}

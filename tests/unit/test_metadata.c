/* Blobs, and EXIF into and out of TIFF files. ExifTool says whether the values are the same. */
#include <criterion/criterion.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>

#include "picture/metadata.h"
#include "picture/tiff_exif.h"
#include "support/files.h"
#include "support/program.h"
#include "unit/test_exif_blobs.h"

static void quiet(const char *module, const char *format, va_list arguments)
{
    (void)module, (void)format, (void)arguments;
}

TestSuite(metadata, .init = folder_enter, .fini = folder_leave);

Test(metadata, copies_are_deep_and_complete)
{
    UfMetadata a = {.has_gain_map = true}, b = {0};
    cr_assert_eq(uf_blob_set(&a.exif, "II*", 4, NULL), UF_OK);
    cr_assert_eq(uf_blob_set(&a.xmp_extended, "xxxx", 4, NULL), UF_OK);
    cr_assert_eq(uf_metadata_add_extra(&a, UF_FORMAT_JPEG, 0xFE, "a comment", 9, NULL), UF_OK);
    cr_assert_eq(uf_metadata_add_extra(&a, UF_FORMAT_PNG, 0x74455874, NULL, 0, NULL), UF_OK);
    cr_assert_eq(uf_blob_set(&b.icc, "gone", 4, NULL), UF_OK);
    cr_assert_eq(uf_metadata_copy(&a, &b, NULL), UF_OK);
    a.exif.data[0] = a.extras[0].content.data[0] = '?';
    cr_expect_eq(memcmp(b.exif.data, "II*", 4), 0);
    cr_expect_null(b.icc.data);
    cr_expect_eq(b.xmp_extended.size_bytes, 4);
    cr_expect(b.has_gain_map && !b.has_multi_picture);
    cr_assert_eq(b.extra_count, 2);
    cr_expect_eq(b.extras[0].kind, 0xFE);
    cr_expect_eq(memcmp(b.extras[0].content.data, "a comment", 9), 0);
    cr_expect_eq(b.extras[1].format, UF_FORMAT_PNG);
    uf_metadata_clear(&a);
    uf_metadata_clear(&b);
    cr_expect_eq(b.extra_count, 0);
    cr_expect_null(b.extras);
}

Test(metadata, a_blob_may_be_set_from_itself)
{
    UfBlob blob = {0};
    cr_assert_eq(uf_blob_set(&blob, "abcdef", 6, NULL), UF_OK);
    cr_assert_eq(uf_blob_set(&blob, blob.data + 2, 3, NULL), UF_OK);
    cr_expect_eq(blob.size_bytes, 3);
    cr_expect_eq(memcmp(blob.data, "cde", 3), 0);
    cr_assert_eq(uf_blob_set(&blob, NULL, 0, NULL), UF_OK);
    cr_expect_null(blob.data);
}

/* A TIFF of 16 x 8 pixels with the blob, in the order of calls that tiff_exif.h gives. */
static void write_tiff(const char *path, const char *mode, UfBlob exif, size_t warnings)
{
    uint8_t row[16 * 3] = {1, 2, 3};
    UfReport *report = uf_report_create();
    TIFF *tiff = TIFFOpen(path, mode);
    cr_assert_not_null(tiff);
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, 16u);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, 8u);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 3);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, COMPRESSION_LZW);
    TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, 2);
    cr_assert_eq(uf_tiff_write_exif(tiff, exif, report), UF_OK, "%s", uf_report_error(report));
    cr_expect_eq(uf_report_warning_count(report), warnings, "%s", uf_report_warning(report, 0));
    for (uint32_t y = 0; y < 8; y++) {
        row[0] = (uint8_t)y;
        cr_assert_eq(TIFFWriteScanline(tiff, row, y, 0), 1);
    }
    TIFFClose(tiff);
    uf_report_free(&report);
}

static UfBlob read_tiff(const char *path)
{
    UfBlob blob = {0};
    TIFF *tiff = TIFFOpen(path, "r");
    cr_assert_not_null(tiff);
    uint8_t row[16 * 3];
    for (uint32_t y = 0; y < 8; y++) {
        cr_assert_eq(TIFFReadScanline(tiff, row, y, 0), 1);
        cr_expect_eq(row[0], y, "the pixels are whole");
    }
    cr_assert_eq(uf_tiff_read_exif(tiff, &blob, NULL), UF_OK);
    TIFFClose(tiff);
    return blob;
}

#define DIRECTORIES                                                                                          \
    "-a", "-s", "-n", "-u", "-ExifIFD:all", "-GPS:all", "-InteropIFD:all", "-MakerNotes:all", "-IFD0:Make",  \
        "-IFD0:Model", "-IFD0:Orientation", "-IFD0:XResolution", "-IFD0:ResolutionUnit", "-IFD0:Artist",     \
        "-IFD0:XPTitle", "-IFD0:Copyright"

/* What ExifTool reads from the TIFF is what it reads from the blob. */
static void check_exiftool(UfBlob blob, const char *what)
{
    Run tiff = RUN_PROGRAM("exiftool", "-G1", DIRECTORIES, "way.tif");
    cr_assert_eq(tiff.status, 0, "%s", tiff.err);
    file_write("way.exif", blob.data, blob.size_bytes);
    Run plain = RUN_PROGRAM("exiftool", "-G1", DIRECTORIES, "way.exif");
    cr_expect_str_eq(tiff.out, plain.out, "%s\n%s\nTIFF\n%s", what, plain.out, tiff.out);
    cr_expect_not_null(strstr(tiff.out, "opaque maker bytes"));
    cr_expect_not_null(strstr(tiff.out, "52.5"));
    run_free(&tiff);
    run_free(&plain);
}

/* ExifTool 12.57 does not tell the EXIF and GPS directories of a BigTIFF apart: libtiff reads them. */
static void check_libtiff(void)
{
    uint64_t exif_offset = 0, gps_offset = 0;
    float exposure_s = 0;
    const char *lens = NULL;
    uint32_t count = 0;
    const void *maker = NULL;
    double *latitude = NULL;
    TIFF *tiff = TIFFOpen("way.tif", "r");
    TIFFSetWarningHandler(quiet);
    cr_assert_eq(TIFFGetField(tiff, TIFFTAG_EXIFIFD, &exif_offset), 1);
    cr_assert_eq(TIFFGetField(tiff, TIFFTAG_GPSIFD, &gps_offset), 1);
    cr_assert_eq(TIFFReadEXIFDirectory(tiff, exif_offset), 1);
    cr_expect(TIFFGetField(tiff, EXIFTAG_EXPOSURETIME, &exposure_s) == 1 && exposure_s == 0.008f);
    cr_expect(TIFFGetField(tiff, EXIFTAG_LENSMODEL, &lens) == 1 && strcmp(lens, "Fisheye 8 mm") == 0);
    cr_expect(TIFFGetField(tiff, EXIFTAG_MAKERNOTE, &count, &maker) == 1 && count == 18 &&
              memcmp(maker, "opaque maker bytes", 18) == 0);
    cr_assert_eq(TIFFReadGPSDirectory(tiff, gps_offset), 1);
    cr_expect(TIFFGetField(tiff, GPSTAG_LATITUDE, &latitude) == 1 && latitude[0] == 52 && latitude[1] == 30);
    TIFFClose(tiff);
}

/* Through the file and back: what ExifTool reads from the TIFF is what it reads from the blob. */
static void check_way(const char *order, const char *mode)
{
    UfBlob blob = exif_blob_make(order);
    uf_exif_drop_thumbnail(&blob, NULL);
    write_tiff("way.tif", mode, blob, 0);
    UfBlob back = read_tiff("way.tif");
    const char *pixels = "--IFD0:ImageWidth --IFD0:ImageHeight --IFD0:YCbCrPositioning";
    char *before = exif_blob_list(blob, pixels), *after = exif_blob_list(back, pixels);
    cr_expect_str_eq(after, before, "%s %s\n%s\nAFTER\n%s", order, mode, before, after);
    free(before);
    free(after);
    if (mode[1] == '8')
        check_libtiff();
    else
        check_exiftool(blob, mode);
    uf_blob_clear(&blob);
    uf_blob_clear(&back);
}

Test(metadata, exif_travels_through_tiff)
{
    check_way("II", "wl");
    check_way("MM", "wl");
    check_way("II", "wb");
}

Test(metadata, exif_travels_through_big_tiff)
{
    check_way("MM", "w8l");
    check_way("II", "w8b");
}

/* Tags that libtiff does not know come through the EXIF directory; unknown ones of IFD0 are named. */
Test(metadata, unknown_tags)
{
    static const uint8_t bytes[] = {
        'I', 'I',  42,   0, 8, 0, 0,  0, 2, 0,  0x99, 0xFD, 3, 0, 1,   0,   0,   0,   7,   0,    0,
        0,   0x69, 0x87, 4, 0, 1, 0,  0, 0, 38, 0,    0,    0, 0, 0,   0,   0,   1,   0,   0x77, 0xFE,
        7,   0,    6,    0, 0, 0, 56, 0, 0, 0,  0,    0,    0, 0, 's', 'e', 'c', 'r', 'e', 't',
    };
    UfBlob blob = {0};
    uf_blob_set(&blob, bytes, sizeof bytes, NULL);
    write_tiff("unknown.tif", "wl", blob, 1);
    Bytes file = file_read("unknown.tif");
    cr_expect_neq(bytes_find(file, 0, "secret", 6), SIZE_MAX);
    bytes_free(&file);
    UfBlob back = read_tiff("unknown.tif");
    cr_expect_not_null(memmem(back.data, back.size_bytes, "secret", 6));
    uf_blob_clear(&back);
    uf_blob_clear(&blob);
}

Test(metadata, a_tiff_without_exif_gives_an_empty_blob)
{
    write_tiff("plain.tif", "wl", (UfBlob){0}, 0);
    UfBlob blob = read_tiff("plain.tif");
    cr_expect_null(blob.data);
    uf_blob_clear(&blob);
}

/* Every byte of the file in turn, and every length. */
Test(metadata, survives_damaged_tiff_directories)
{
    static const uint8_t values[] = {0, 0x7F, 0xFF};
    TIFFSetErrorHandler(quiet);
    TIFFSetWarningHandler(quiet);
    UfBlob blob = exif_blob_make("II");
    write_tiff("whole.tif", "wl", blob, 0);
    Bytes file = file_read("whole.tif");
    size_t opened = 0;
    for (size_t i = 0; i < file.size * 4; i++) {
        size_t at = i / 4;
        uint8_t old = file.data[at];
        if (i % 4 < sizeof values)
            file.data[at] = values[i % 4];
        file_write("bad.tif", file.data, i % 4 < sizeof values ? file.size : at);
        file.data[at] = old;
        TIFF *tiff = TIFFOpen("bad.tif", "r");
        if (tiff == NULL)
            continue;
        opened++;
        UfBlob found = {0};
        (void)uf_tiff_read_exif(tiff, &found, NULL);
        (void)uf_exif_orientation(found);
        uf_blob_clear(&found);
        TIFFClose(tiff);
    }
    cr_expect_gt(opened, file.size);
    bytes_free(&file);
    uf_blob_clear(&blob);
}

/* Damaged blobs into a TIFF file: it stays a file that can be read. */
Test(metadata, writes_what_is_left_of_damaged_exif)
{
    UfBlob blob = exif_blob_make("MM");
    for (size_t i = 0; i < blob.size_bytes && i < 500; i++) {
        uint8_t old = blob.data[i];
        blob.data[i] = 0xFF;
        TIFFSetErrorHandler(quiet);
        TIFF *tiff = TIFFOpen("bad.tif", "wl");
        UfReport *report = uf_report_create();
        TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, 16u);
        TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, 8u);
        TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8);
        cr_assert_eq(uf_tiff_write_exif(tiff, blob, report), UF_OK, "%s", uf_report_error(report));
        TIFFClose(tiff);
        uf_report_free(&report);
        blob.data[i] = old;
    }
    uf_blob_clear(&blob);
}

/* JPEG reading, writing, marker segments, and the copy that exchanges XMP. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include "picture/picture_internal.h"
#include "support/files.h"
#include "support/program.h"
#include "test_picture_support.h"

TestSuite(jpeg, .init = folder_enter, .fini = folder_leave);

/* 4:4:4 and grey have no upsampling in which decoders could differ. */
Test(jpeg, reads_what_libjpeg_reads)
{
    for (size_t channels = 1; channels <= 3; channels += 2)
        for (int i = 0; i < 4; i++) {
            Pixels pixels = noise_make(67, 41, channels, 8, 2);
            jpeg_write("a.jpg", &pixels,
                       &(JpegOptions){.horizontal = 1,
                                      .vertical = 1,
                                      .progressive = i % 2 == 1,
                                      .restart_rows = i / 2 == 1 ? 1 : 0,
                                      .colour_space = channels == 3 && i == 3 ? JCS_RGB : 0});
            Pixels expected = picture_decode("a.jpg");
            UfPicture *picture = picture_read("a.jpg");
            assert_samples(picture, &expected, 0, "a.jpg");
            uf_picture_free(&picture);
            pixels_free(&pixels);
            pixels_free(&expected);
        }
}

Test(jpeg, reads_arithmetic_coding)
{
    Pixels pixels = noise_make(67, 41, 3, 8, 2);
    jpeg_write("a.jpg", &pixels, &(JpegOptions){.horizontal = 1, .vertical = 1});
    Run run = RUN_PROGRAM("jpegtran", "-arithmetic", "-outfile", "b.jpg", "a.jpg");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    Pixels expected = picture_decode("a.jpg");
    UfPicture *picture = picture_read("b.jpg");
    assert_samples(picture, &expected, 0, "b.jpg");
    uf_picture_free(&picture);
    pixels_free(&pixels);
    pixels_free(&expected);
}

static void expect_failure(const char *path, UfStatus expected, const char *word)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_picture_read(path, NULL, &picture, report), expected, "%s", uf_report_error(report));
    cr_expect_null(picture);
    cr_expect_not_null(strstr(uf_report_error(report), word), "%s", uf_report_error(report));
    uf_report_free(&report);
}

Test(jpeg, kinds_that_are_not_handled_are_refused_with_advice)
{
    Pixels pixels = noise_make(32, 16, 4, 8, 2), plain = noise_make(32, 16, 3, 8, 2);
    jpeg_write("cmyk.jpg", &pixels, &(JpegOptions){.colour_space = JCS_CMYK});
    expect_failure("cmyk.jpg", UF_ERROR_UNSUPPORTED, "CMYK");
    jpeg_write("ycck.jpg", &pixels, &(JpegOptions){.colour_space = JCS_YCCK});
    expect_failure("ycck.jpg", UF_ERROR_UNSUPPORTED, "RGB");
    jpeg_write("a.jpg", &plain, NULL);
    Bytes bytes = file_read("a.jpg");
    size_t frame = bytes_find(bytes, 0, "\xFF\xC0", 2);
    cr_assert_neq(frame, SIZE_MAX);
    file_poke("a.jpg", frame + 1, "\xC3", 1); /* lossless, T.81 table B.1 */
    expect_failure("a.jpg", UF_ERROR_UNSUPPORTED, "lossless");
    file_poke("a.jpg", frame + 1, "\xC1\x00\x11\x0C", 4); /* extended, 12 bits */
    expect_failure("a.jpg", UF_ERROR_UNSUPPORTED, "8 bits");
    file_poke("a.jpg", frame + 1, "\xC0\x00\x11\x08\xFF\xFF\xFF\xFF", 8);
    expect_failure("a.jpg", UF_ERROR_UNSUPPORTED, "65500");
    bytes_free(&bytes);
    pixels_free(&pixels);
    pixels_free(&plain);
}

/* Found by fuzzing: libjpeg reads it, and divides by it when blocks are coded anew (T.81, B.2.4.1: 1 or
 * more). */
Test(jpeg, a_zero_in_a_quantisation_table_is_refused)
{
    for (int progressive = 0; progressive < 2; progressive++) {
        Pixels pixels = noise_make(64, 32, 3, 8, 2);
        jpeg_write("a.jpg", &pixels, &(JpegOptions){.progressive = progressive == 1});
        UfPicture *picture = picture_read("a.jpg");
        Bytes bytes = file_read("a.jpg");
        size_t table = bytes_find(bytes, 0, "\xFF\xDB", 2);
        cr_assert_neq(table, SIZE_MAX);
        file_poke("a.jpg", table + 9, "\0", 1);
        expect_failure("a.jpg", UF_ERROR_FORMAT, "quantisation");
        /* changed behind the reader's back */
        UfTouched *touched = NULL;
        cr_assert_eq(uf_touched_create(64, 32, &touched, NULL), UF_OK);
        uf_touched_add(touched, 0, 0, 8, 8);
        cr_expect_eq(uf_picture_rewrite(picture, "a.jpg", touched, "b.jpg", NULL, NULL), UF_ERROR_FORMAT);
        cr_expect(!file_exists("b.jpg"));
        uf_touched_free(&touched);
        uf_picture_free(&picture);
        bytes_free(&bytes);
        pixels_free(&pixels);
    }
}

/* A hole in the coded data would otherwise come out grey. */
Test(jpeg, damage_in_the_coded_data_is_a_failure)
{
    Pixels pixels = noise_make(128, 64, 3, 8, 2);
    jpeg_write("a.jpg", &pixels, &(JpegOptions){.restart_rows = 1});
    Bytes bytes = file_read("a.jpg");
    size_t restart = bytes_find(bytes, 0, "\xFF\xD1", 2);
    cr_assert_neq(restart, SIZE_MAX);
    bytes.data[restart + 1] = 0xD5;
    file_write("b.jpg", bytes.data, bytes.size);
    expect_failure("b.jpg", UF_ERROR_FORMAT, "damaged");
    bytes.data[restart + 1] = 0xD1;
    memmove(bytes.data + restart - 40, bytes.data + restart, bytes.size - restart);
    file_write("c.jpg", bytes.data, bytes.size - 40);
    expect_failure("c.jpg", UF_ERROR_FORMAT, "damaged");
    bytes_free(&bytes);
    pixels_free(&pixels);
}

/* Each scan of a progressive file costs a pass over the picture, however short it is. */
Test(jpeg, endless_scans_are_refused)
{
    Pixels pixels = noise_make(16, 16, 1, 8, 2);
    jpeg_write("a.jpg", &pixels, &(JpegOptions){.progressive = true});
    Bytes bytes = file_read("a.jpg");
    size_t start =
        bytes_find(bytes, 0, "\xFF\xDA", 2); /* the scan of the DC coefficients may be said again */
    size_t end = bytes_find(bytes, start, "\xFF\xC4", 2);
    cr_assert(start != SIZE_MAX && end != SIZE_MAX);
    FILE *stream = fopen("b.jpg", "wb");
    cr_assert_not_null(stream);
    fwrite(bytes.data, 1, bytes.size - 2, stream);
    for (int i = 0; i < 3000; i++)
        fwrite(bytes.data + start, 1, end - start, stream);
    fwrite("\xFF\xD9", 1, 2, stream);
    cr_assert_eq(fclose(stream), 0);
    expect_failure("b.jpg", UF_ERROR_FORMAT, "scans");
    bytes_free(&bytes);
    pixels_free(&pixels);
}

/* Quality is the file's tables: libjpeg's own for the same number; colour is whole from 90 on. */
Test(jpeg, quality_decides_tables_and_sampling)
{
    static const struct {
        int quality, tables_of;
        const char *encoding;
    } cases[] = {{0, 92, "baseline 4:4:4"},
                 {90, 90, "baseline 4:4:4"},
                 {89, 89, "baseline 4:2:0"},
                 {1, 1, "baseline 4:2:0"}};
    Pixels pixels = noise_make(40, 24, 3, 8, 2);
    UfPicture *picture = picture_of(&pixels);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        UfPictureInfo info;
        UfWriteOptions options = {.overwrite = true, .quality = cases[i].quality};
        cr_assert_eq(uf_picture_write(picture, "a.jpg", &options, NULL), UF_OK);
        cr_assert_eq(uf_picture_probe("a.jpg", &info, NULL), UF_OK);
        cr_expect_str_eq(info.encoding, cases[i].encoding);
        jpeg_write("b.jpg", &pixels, &(JpegOptions){.quality = cases[i].tables_of});
        Bytes a = file_read("a.jpg"), b = file_read("b.jpg");
        size_t at = bytes_find(a, 0, "\xFF\xDB", 2), bt = bytes_find(b, 0, "\xFF\xDB", 2);
        cr_assert(at != SIZE_MAX && bt != SIZE_MAX);
        cr_expect_arr_eq(a.data + at, b.data + bt, 69 * 2, "quality %d", cases[i].quality);
        bytes_free(&a);
        bytes_free(&b);
    }
    uf_picture_free(&picture);
    pixels_free(&pixels);
}

Test(jpeg, written_pixels_are_close)
{
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = 128, .height = 64, .bits = 16});
    UfPicture *picture = picture_of(&pixels);
    cr_assert_eq(uf_picture_write(picture, "a.jpg", NULL, NULL), UF_OK);
    Pixels back = picture_decode("a.jpg");
    cr_assert_eq(back.channels, 3);
    for (size_t i = 0; i < 128 * 64 * 3; i++)
        cr_assert(abs((int)back.codes[i] - (pixels.codes[i] + 128) / 257) <= 4, "sample %zu", i);
    uf_picture_free(&picture);
    pixels_free(&pixels);
    pixels_free(&back);
}

/* A segment behind JFIF of the file: FF marker length payload. */
static void insert_segments(const char *path, const uint8_t *segments, size_t size)
{
    Bytes bytes = file_read(path);
    FILE *stream = fopen(path, "wb");
    cr_assert_not_null(stream);
    fwrite(bytes.data, 1, 20, stream); /* SOI and JFIF */
    fwrite(segments, 1, size, stream);
    fwrite(bytes.data + 20, 1, bytes.size - 20, stream);
    cr_assert_eq(fclose(stream), 0);
    bytes_free(&bytes);
}

#define GUID "0123456789ABCDEF0123456789ABCDEF"

/* One segment of extended XMP (XMP Specification Part 3, 1.1.3.1). */
static size_t extended_segment(uint8_t *out, const char *guid, const char *packet, size_t full, size_t offset,
                               size_t size)
{
    size_t length = 2 + 35 + 32 + 8 + size;
    out[0] = 0xFF;
    out[1] = 0xE1;
    out[2] = (uint8_t)(length >> 8);
    out[3] = (uint8_t)length;
    memcpy(out + 4, "http://ns.adobe.com/xmp/extension/", 35);
    memcpy(out + 39, guid, 32);
    for (int i = 0; i < 4; i++) {
        out[71 + i] = (uint8_t)(full >> (24 - 8 * i));
        out[75 + i] = (uint8_t)(offset >> (24 - 8 * i));
    }
    memcpy(out + 79, packet + offset, size);
    return 79 + size;
}

static const char main_packet[] =
    "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>"
    "<rdf:Description rdf:about='' xmlns:xmpNote='http://ns.adobe.com/xmp/note/' "
    "xmpNote:HasExtendedXMP='" GUID "'/>"
    "</rdf:RDF></x:xmpmeta>";
static const char extended_packet[] =
    "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>"
    "<rdf:Description rdf:about='' xmlns:dc='http://purl.org/dc/elements/1.1/' dc:source='the long part'/>"
    "</rdf:RDF></x:xmpmeta>";
#define EXTENDED_BYTES (sizeof extended_packet - 1)

static void write_with_xmp(const char *path)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    jpeg_write(path, &pixels, &(JpegOptions){.xmp = main_packet});
    pixels_free(&pixels);
}

Test(jpeg, extended_xmp_is_put_together_from_chunks_in_any_order)
{
    uint8_t segments[2000];
    size_t size = 0;
    write_with_xmp("a.jpg");
    size +=
        extended_segment(segments + size, GUID, extended_packet, EXTENDED_BYTES, 150, EXTENDED_BYTES - 150);
    size += extended_segment(segments + size, "FFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF", extended_packet,
                             EXTENDED_BYTES, 0, 100);
    size += extended_segment(segments + size, GUID, extended_packet, EXTENDED_BYTES, 0, 100);
    size += extended_segment(segments + size, GUID, extended_packet, EXTENDED_BYTES, 100, 50);
    insert_segments("a.jpg", segments, size);
    UfPicture *picture = picture_read("a.jpg");
    cr_assert_eq(picture->metadata.xmp_extended.size_bytes, EXTENDED_BYTES);
    cr_expect_arr_eq(picture->metadata.xmp_extended.data, extended_packet, EXTENDED_BYTES);
    /* and comes out again in every format */
    static const char *const names[] = {"o.jpg", "o.png", "o.tif"};
    for (size_t i = 0; i < 3; i++) {
        cr_assert_eq(uf_picture_write(picture, names[i], NULL, NULL), UF_OK);
        Run run = RUN_PROGRAM("exiftool", "-s3", "-XMP-dc:Source", names[i]);
        cr_expect_str_eq(run.out, "the long part\n", "%s: %s", names[i], run.out);
        run_free(&run);
    }
    uf_picture_free(&picture);
}

/* Missing, overlapping, and announced larger than the file: left out, with a warning; the picture is read. */
Test(jpeg, extended_xmp_with_holes_is_left_out)
{
    static const size_t cases[][3] = {
        {EXTENDED_BYTES, 100, 0}, {EXTENDED_BYTES, 99, 101}, {0xFFFFFFFF, 100, 100}};
    for (size_t i = 0; i < 3; i++) {
        uint8_t segments[2000];
        UfPicture *picture = NULL;
        UfReport *report = uf_report_create();
        write_with_xmp("a.jpg");
        size_t size = extended_segment(segments, GUID, extended_packet, cases[i][0], 0, cases[i][1]);
        if (cases[i][2] > 0)
            size += extended_segment(segments + size, GUID, extended_packet, cases[i][0], cases[i][2],
                                     EXTENDED_BYTES - cases[i][2]);
        insert_segments("a.jpg", segments, size);
        cr_assert_eq(uf_picture_read("a.jpg", NULL, &picture, report), UF_OK);
        cr_expect_eq(picture->metadata.xmp_extended.size_bytes, 0, "case %zu", i);
        cr_expect_eq(uf_report_warning_count(report), 1);
        cr_expect_not_null(strstr(uf_report_warning(report, 0), "extended XMP"));
        uf_picture_free(&picture);
        uf_report_free(&report);
    }
}

/* ICC.1 Annex B: chunks are numbered and may come in any order; one that is missing makes the profile
 * useless. */
Test(jpeg, profiles_of_several_segments)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    uint8_t *icc = malloc(150000);
    cr_assert_not_null(icc);
    for (size_t i = 0; i < 150000; i++)
        icc[i] = (uint8_t)(i * i >> 3);
    jpeg_write("a.jpg", &pixels, &(JpegOptions){.icc = icc, .icc_bytes = 150000});
    UfPicture *picture = picture_read("a.jpg");
    cr_assert_eq(uf_picture_icc(picture).size_bytes, 150000);
    cr_expect_arr_eq(uf_picture_icc(picture).data, icc, 150000);
    cr_assert_eq(uf_picture_write(picture, "b.jpg", NULL, NULL), UF_OK);
    uf_picture_free(&picture);
    picture = picture_read("b.jpg");
    cr_expect_eq(uf_picture_icc(picture).size_bytes, 150000);
    cr_expect_arr_eq(uf_picture_icc(picture).data, icc, 150000);
    uf_picture_free(&picture);
    /* chunk 3 of 3 becomes an unknown segment */
    Bytes bytes = file_read("a.jpg");
    size_t third = bytes_find(bytes, 0, "ICC_PROFILE\0\3\3", 14);
    cr_assert_neq(third, SIZE_MAX);
    file_poke("a.jpg", third, "X", 1);
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_read("a.jpg", NULL, &picture, report), UF_OK);
    cr_expect_eq(uf_picture_icc(picture).size_bytes, 0);
    cr_expect_eq(uf_report_warning_count(report), 1);
    uf_picture_free(&picture);
    uf_report_free(&report);
    bytes_free(&bytes);
    free(icc);
    pixels_free(&pixels);
}

Test(jpeg, exif_too_large_for_a_segment_is_left_out_with_a_warning)
{
    Pixels pixels = noise_make(32, 16, 3, 8, 2);
    UfPicture *picture = picture_of(&pixels);
    UfReport *report = uf_report_create();
    uint8_t exif[65528] = {'M', 'M', 0, 42, 0, 0, 0, 8};
    cr_assert_eq(uf_blob_set(&picture->metadata.exif, exif, 65528, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(picture, "a.jpg", NULL, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect_not_null(strstr(uf_report_warning(report, 0), "65527"));
    uf_report_clear(report);
    cr_assert_eq(uf_blob_set(&picture->metadata.exif, exif, 65527, NULL), UF_OK);
    cr_assert_eq(uf_picture_write(picture, "b.jpg", NULL, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 0, "%s", uf_report_warning(report, 0));
    UfPicture *back = picture_read("b.jpg");
    cr_expect_eq(uf_picture_exif(back).size_bytes, 65527);
    uf_picture_free(&back);
    uf_picture_free(&picture);
    uf_report_free(&report);
    pixels_free(&pixels);
}

/*
 * A file of two pictures (CIPA DC-007): APP2 "MPF", a TIFF structure with the MP entries (tag B002), the
 * second picture behind EOI. `front`: bytes of an APP1 segment to stand before the index.
 */
static void write_multi_picture(const char *path, bool xmp_first)
{
    Pixels pixels = noise_make(48, 24, 3, 8, 2), second = noise_make(16, 8, 1, 8, 3);
    jpeg_write("one.jpg", &pixels, &(JpegOptions){.xmp = xmp_first ? main_packet : NULL});
    jpeg_write("two.jpg", &second, NULL);
    Bytes one = file_read("one.jpg"), two = file_read("two.jpg");
    uint8_t mpf[] = {0xFF, 0xE2, 0, 88, 'M', 'P', 'F', 0,                                  /* */
                     'M',  'M',  0, 42, 0,   0,   0,   8,  0,   3,                         /* 3 entries */
                     0xB0, 0,    0, 7,  0,   0,   0,   4,  '0', '1', '0', '0',             /* version */
                     0xB0, 1,    0, 4,  0,   0,   0,   1,  0,   0,   0,   2,               /* two pictures */
                     0xB0, 2,    0, 7,  0,   0,   0,   32, 0,   0,   0,   50,  0, 0, 0, 0, /* their entries */
                     0x20, 3,    0, 0,  0,   0,   0,   0,  0,   0,   0,   0,   0, 0, 0, 0, /* the main one */
                     0,    0,    0, 0,  0,   0,   0,   0,  0,   0,   0,   0,   0, 0, 0, 0};
    size_t at = xmp_first ? bytes_find(one, 0, "http://ns.adobe.com/xap", 23) + 28 + sizeof main_packet : 20;
    size_t main_size = one.size + sizeof mpf, place = main_size - (at + 8);
    for (int i = 0; i < 4; i++) {
        mpf[8 + 50 + 4 + i] = (uint8_t)(main_size >> (24 - 8 * i));
        mpf[8 + 66 + 4 + i] = (uint8_t)(two.size >> (24 - 8 * i));
        mpf[8 + 66 + 8 + i] = (uint8_t)(place >> (24 - 8 * i));
    }
    FILE *stream = fopen(path, "wb");
    cr_assert_not_null(stream);
    fwrite(one.data, 1, at, stream);
    fwrite(mpf, 1, sizeof mpf, stream);
    fwrite(one.data + at, 1, one.size - at, stream);
    fwrite(two.data, 1, two.size, stream);
    cr_assert_eq(fclose(stream), 0);
    bytes_free(&one);
    bytes_free(&two);
    pixels_free(&pixels);
    pixels_free(&second);
}

static void expect_second_picture(const char *path)
{
    Run run = run_program((const char *const[]){"exiftool", "-b", "-MPImage2", path, NULL},
                          &(RunOptions){.stdout_path = "found.jpg"});
    cr_expect_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    cr_expect(file_same("found.jpg", "two.jpg"), "%s", path);
}

/* ExifTool finds the second picture by the index, so the index must have been corrected. */
Test(jpeg, tagging_keeps_a_multi_picture_index_true)
{
    for (int i = 0; i < 2; i++) {
        write_multi_picture("multi.jpg", i == 1);
        expect_second_picture("multi.jpg");
        UfPhotoSphere pose = {.has_heading = true, .heading_deg = 90};
        UfReport *report = uf_report_create();
        cr_assert_eq(
            uf_picture_tag("multi.jpg", "tagged.jpg", &pose, &(UfWriteOptions){.overwrite = true}, report),
            UF_OK, "%s", uf_report_error(report));
        expect_second_picture("tagged.jpg");
        Run run = RUN_PROGRAM("exiftool", "-s3", "-n", "-MPImageLength", "-a", "-ProjectionType",
                              "-PoseHeadingDegrees", "tagged.jpg");
        Bytes tagged = file_read("tagged.jpg"), two = file_read("two.jpg");
        cr_expect_not_null(strstr(run.out, "equirectangular\n90\n"), "%s", run.out);
        /* the size of the first picture */
        size_t index = bytes_find(tagged, 0, "MPF\0MM", 6) + 4 + 50 + 4;
        size_t size = (size_t)tagged.data[index] << 24 | (size_t)tagged.data[index + 1] << 16 |
                      (size_t)tagged.data[index + 2] << 8 | tagged.data[index + 3];
        cr_expect_eq(size, tagged.size - two.size);
        bytes_free(&tagged);
        bytes_free(&two);
        run_free(&run);
        uf_report_free(&report);
    }
}

/* From SOS to the end, and all tables, byte for byte. */
Test(jpeg, tagging_leaves_the_picture_byte_for_byte)
{
    Pixels pixels = noise_make(64, 32, 3, 8, 2);
    jpeg_write("a.jpg", &pixels, &(JpegOptions){.progressive = true});
    Bytes before = file_read("a.jpg");
    cr_assert_eq(uf_picture_tag("a.jpg", "b.jpg", &(UfPhotoSphere){0}, NULL, NULL), UF_OK);
    Bytes after = file_read("b.jpg");
    size_t start = bytes_find(before, 0, "\xFF\xDB", 2), moved = bytes_find(after, 0, "\xFF\xDB", 2);
    cr_assert_eq(before.size - start, after.size - moved);
    cr_expect_arr_eq(before.data + start, after.data + moved, before.size - start);
    cr_expect_arr_eq(before.data, after.data, start);
    bytes_free(&before);
    bytes_free(&after);
    pixels_free(&pixels);
}

/* Changed pixels make the index and what it points at untrue. */
Test(jpeg, changed_pixels_drop_the_multi_picture_index_with_a_warning)
{
    write_multi_picture("multi.jpg", false);
    UfPicture *picture = picture_read("multi.jpg");
    UfTouched *touched = touched_of(picture);
    UfReport *report = uf_report_create();
    picture_change(picture, touched, 0, 0, 16, 16);
    cr_assert_eq(uf_picture_rewrite(picture, "multi.jpg", touched, "out.jpg", NULL, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect_not_null(strstr(uf_report_warning(report, 0), "further pictures"));
    Bytes out = file_read("out.jpg");
    cr_expect_eq(bytes_find(out, 0, "MPF", 4), SIZE_MAX);
    cr_expect_eq(bytes_find(out, 0, "\xFF\xD9", 2), out.size - 2);
    bytes_free(&out);
    uf_report_free(&report);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

/* The gain map's segment (ISO 21496-1) and its XMP go together with the index. */
Test(jpeg, changed_pixels_drop_the_gain_map_with_a_warning)
{
    static const char packet[] =
        "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF "
        "xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>"
        "<rdf:Description rdf:about='' xmlns:hdrgm='http://ns.adobe.com/hdr-gain-map/1.0/' "
        "hdrgm:Version='1.0'"
        " xmlns:dc='http://purl.org/dc/elements/1.1/' dc:source='kept'/></rdf:RDF></x:xmpmeta>";
    static const uint8_t segment[] = "\xFF\xE2\x00\x22urn:iso:std:iso:ts:21496:-1\0\0\0\0";
    Pixels pixels = noise_make(48, 24, 3, 8, 2);
    jpeg_write("a.jpg", &pixels, &(JpegOptions){.xmp = packet});
    insert_segments("a.jpg", segment, 36);
    UfPicture *picture = picture_read("a.jpg");
    UfTouched *touched = touched_of(picture);
    UfReport *report = uf_report_create();
    cr_expect(picture->metadata.has_gain_map);
    picture_change(picture, touched, 0, 0, 16, 16);
    static const char *const names[] = {"out.jpg", "out.png"};
    for (int i = 0; i < 2; i++) {
        uf_report_clear(report);
        cr_assert_eq(uf_picture_rewrite(picture, "a.jpg", touched, names[i], NULL, report), UF_OK);
        cr_expect_eq(uf_report_warning_count(report), 1);
        cr_expect_not_null(strstr(uf_report_warning(report, 0), "gain map"));
        Bytes out = file_read(names[i]);
        cr_expect_eq(bytes_find(out, 0, "21496", 5), SIZE_MAX);
        cr_expect_eq(bytes_find(out, 0, "hdrgm", 5), SIZE_MAX);
        cr_expect_neq(bytes_find(out, 0, "kept", 4), SIZE_MAX);
        bytes_free(&out);
    }
    uf_report_free(&report);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    pixels_free(&pixels);
}

/*
 * XMP: Photo Sphere fields, corrections, gain maps, extended packets.
 * Sources: Google, Photo Sphere XMP Metadata (names, ranges); XMP Specification Part 1 and Part 3, 1.1.3.1;
 * RFC 1321, A.5 (MD5 test suite). ExifTool reads the packets back.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "picture/metadata.h"
#include "picture/xmp_internal.h"
#include "support/files.h"
#include "support/program.h"

TestSuite(xmp, .init = folder_enter, .fini = folder_leave);

#define HEAD                                                                                                 \
    "<?xpacket begin='' id='W5M0MpCehiHzreSzNTczkc9d'?>\n"                                                   \
    "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF "                                                          \
    "xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>\n"
#define TAIL    "</rdf:RDF></x:xmpmeta>\n<?xpacket end='w'?>"
#define GPANO   "xmlns:GPano='http://ns.google.com/photos/1.0/panorama/'"
#define DC      "xmlns:dc='http://purl.org/dc/elements/1.1/'"
#define EXAMPLE "xmlns:ex='http://museum.example/ns/1.0/'"

static UfBlob packet(const char *text)
{
    UfBlob blob = {0};
    cr_assert_eq(uf_blob_set(&blob, text, strlen(text), NULL), UF_OK);
    return blob;
}

static bool holds(UfBlob blob, const char *text)
{
    return blob.size_bytes > 0 && memmem(blob.data, blob.size_bytes, text, strlen(text)) != NULL;
}

/* What ExifTool says a packet holds, one "[group] Tag: value" a line; groups by namespace. */
static char *read_back(UfBlob blob)
{
    file_write("read.xmp", blob.data, blob.size_bytes);
    Run run = RUN_PROGRAM("exiftool", "-G1", "-a", "-S", "-XMP:all", "read.xmp");
    cr_assert_eq(run.status, 0, "%s", run.err);
    char *text = strdup(run.out);
    run_free(&run);
    return text;
}

static UfPhotoSphere sphere_of(const char *text, size_t *warnings)
{
    UfBlob blob = packet(text);
    UfPhotoSphere sphere;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_xmp_photo_sphere(blob, &sphere, report), UF_OK);
    *warnings = uf_report_warning_count(report);
    uf_report_free(&report);
    uf_blob_clear(&blob);
    return sphere;
}

static void check_read(const char *text)
{
    size_t warnings;
    UfPhotoSphere s = sphere_of(text, &warnings);
    cr_expect_eq(warnings, 0);
    cr_expect(s.present && s.has_full && s.has_cropped && s.has_heading && s.has_pitch && s.has_roll);
    cr_expect_str_eq(s.projection, "equirectangular");
    cr_expect_eq(s.full_width_px, 4096);
    cr_expect_eq(s.full_height_px, 2048);
    cr_expect_eq(s.cropped_width_px, 4000);
    cr_expect_eq(s.cropped_height_px, 1800);
    cr_expect_eq(s.cropped_left_px, 48);
    cr_expect_eq(s.cropped_top_px, 100);
    cr_expect_float_eq(s.heading_deg, 123.4, 1e-9);
    cr_expect_float_eq(s.pitch_deg, -1.5, 1e-9);
    cr_expect_float_eq(s.roll_deg, 2.4, 1e-9);
}

Test(xmp, reads_attributes)
{
    check_read(HEAD "<rdf:Description rdf:about='' " GPANO " GPano:ProjectionType='equirectangular'"
                    " GPano:FullPanoWidthPixels='4096' GPano:FullPanoHeightPixels='2048'"
                    " GPano:CroppedAreaImageWidthPixels='4000' GPano:CroppedAreaImageHeightPixels='1800'"
                    " GPano:CroppedAreaLeftPixels='48' GPano:CroppedAreaTopPixels='100'"
                    " GPano:PoseHeadingDegrees='123.4' GPano:PosePitchDegrees='-1.5'"
                    " GPano:PoseRollDegrees='12/5'/>" TAIL);
}

Test(xmp, reads_elements_under_any_prefix)
{
    check_read(HEAD "<rdf:Description rdf:about='' xmlns:q='http://ns.google.com/photos/1.0/panorama/'>"
                    "<q:ProjectionType>equirectangular</q:ProjectionType>"
                    "<q:FullPanoWidthPixels>4096</q:FullPanoWidthPixels>"
                    "<q:FullPanoHeightPixels> 2048 </q:FullPanoHeightPixels>"
                    "<q:CroppedAreaImageWidthPixels>4000.0</q:CroppedAreaImageWidthPixels>"
                    "<q:CroppedAreaImageHeightPixels>1800</q:CroppedAreaImageHeightPixels>"
                    "<q:CroppedAreaLeftPixels>48</q:CroppedAreaLeftPixels>"
                    "<q:CroppedAreaTopPixels>100</q:CroppedAreaTopPixels>"
                    "<q:PoseHeadingDegrees>-236.6</q:PoseHeadingDegrees>"
                    "<q:PosePitchDegrees>-1.5</q:PosePitchDegrees>"
                    "<q:PoseRollDegrees>+2.4</q:PoseRollDegrees></rdf:Description>" TAIL);
}

Test(xmp, ignores_values_that_make_no_sense)
{
    static const char *const values[] = {
        "100.5", "wide", "", "-5", "0", "1e9999", "4096 px", "1/0", "99999999999999999999999999999999999999"};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++) {
        char text[1024];
        snprintf(text, sizeof text,
                 HEAD "<rdf:Description rdf:about='' " GPANO " GPano:FullPanoWidthPixels='%s'"
                      " GPano:FullPanoHeightPixels='2048' GPano:PosePitchDegrees='91'/>" TAIL,
                 values[i]);
        size_t warnings;
        UfPhotoSphere s = sphere_of(text, &warnings);
        cr_expect_not(s.has_full || s.has_pitch, "'%s'", values[i]);
        cr_expect_eq(warnings, 2, "'%s': one for the width, one for the pitch", values[i]);
    }
}

Test(xmp, an_empty_or_strange_packet_says_nothing)
{
    size_t warnings;
    UfPhotoSphere s = sphere_of("", &warnings);
    cr_expect_not(s.present || s.has_full || s.has_cropped || s.has_heading);
    cr_expect_eq(warnings, 0);
    s = sphere_of(HEAD "<rdf:Description rdf:about='' " GPANO, &warnings);
    cr_expect_not(s.present);
    cr_expect_eq(warnings, 1);
}

static const UfPhotoSphere full = {.present = true,
                                   .projection = "equirectangular",
                                   .has_full = true,
                                   .has_cropped = true,
                                   .has_heading = true,
                                   .has_pitch = true,
                                   .has_roll = true,
                                   .full_width_px = 4096,
                                   .full_height_px = 2048,
                                   .cropped_width_px = 4096,
                                   .cropped_height_px = 2048,
                                   .heading_deg = 123.4,
                                   .pitch_deg = -1.5,
                                   .roll_deg = 0.25};

Test(xmp, writes_what_exiftool_reads)
{
    UfBlob blob = {0};
    cr_assert_eq(uf_xmp_set_photo_sphere(&blob, &full, NULL), UF_OK);
    char *text = read_back(blob);
    static const char *const lines[] = {
        "[XMP-GPano] ProjectionType: equirectangular",
        "[XMP-GPano] UsePanoramaViewer: True",
        "[XMP-GPano] FullPanoWidthPixels: 4096",
        "[XMP-GPano] FullPanoHeightPixels: 2048",
        "[XMP-GPano] CroppedAreaImageWidthPixels: 4096",
        "[XMP-GPano] CroppedAreaImageHeightPixels: 2048",
        "[XMP-GPano] CroppedAreaLeftPixels: 0",
        "[XMP-GPano] CroppedAreaTopPixels: 0",
        "[XMP-GPano] PoseHeadingDegrees: 123.4",
        "[XMP-GPano] PosePitchDegrees: -1.5",
        "[XMP-GPano] PoseRollDegrees: 0.25",
    };
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        cr_expect_not_null(strstr(text, lines[i]), "'%s' is not in:\n%s", lines[i], text);
    free(text);
    UfPhotoSphere again;
    cr_assert_eq(uf_xmp_photo_sphere(blob, &again, NULL), UF_OK);
    cr_expect_eq(again.full_width_px, 4096);
    cr_expect_float_eq(again.roll_deg, 0.25, 1e-12);
    uf_blob_clear(&blob);
}

Test(xmp, keeps_every_other_property)
{
    UfBlob blob = packet(
        HEAD "<rdf:Description rdf:about='' " GPANO " " DC " " EXAMPLE
             " GPano:UsePanoramaViewer='False' GPano:InitialViewHeadingDegrees='77'"
             " GPano:FullPanoWidthPixels='10' ex:Room='ticket hall'>"
             "<dc:subject><rdf:Bag><rdf:li>museum</rdf:li><rdf:li>floor</rdf:li></rdf:Bag></dc:subject>"
             "<dc:title><rdf:Alt><rdf:li xml:lang='x-default'>Ticket hall</rdf:li>"
             "<rdf:li xml:lang='de'>Kassenhalle</rdf:li></rdf:Alt></dc:title>"
             "<ex:Lamp rdf:parseType='Resource'><ex:Watt>60</ex:Watt></ex:Lamp>"
             "</rdf:Description>" TAIL);
    cr_assert_eq(uf_xmp_set_photo_sphere(&blob, &full, NULL), UF_OK);
    char *text = read_back(blob);
    static const char *const lines[] = {
        "UsePanoramaViewer: False",  "InitialViewHeadingDegrees: 77",
        "FullPanoWidthPixels: 4096", "Room: ticket hall",
        "Subject: museum, floor",    "Title: Ticket hall",
        "Title-de: Kassenhalle",     "LampWatt: 60",
    };
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        cr_expect_not_null(strstr(text, lines[i]), "'%s' is not in:\n%s", lines[i], text);
    free(text);
    uf_blob_clear(&blob);
}

static void check_refused(UfPhotoSphere sphere, const char *message)
{
    UfBlob blob = {0};
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_xmp_set_photo_sphere(&blob, &sphere, report), UF_ERROR_ARGUMENT, "%s", message);
    cr_expect_not_null(strstr(uf_report_error(report), message), "'%s' is not in: %s", message,
                       uf_report_error(report));
    cr_expect_null(blob.data);
    uf_report_free(&report);
}

Test(xmp, refuses_values_out_of_range)
{
    check_refused((UfPhotoSphere){.has_heading = true, .heading_deg = 360}, "heading is 360");
    check_refused((UfPhotoSphere){.has_heading = true, .heading_deg = -0.5}, "heading is -0.5");
    check_refused((UfPhotoSphere){.has_pitch = true, .pitch_deg = 90.5}, "pitch is 90.5");
    check_refused((UfPhotoSphere){.has_roll = true, .roll_deg = -180}, "roll is -180");
    check_refused((UfPhotoSphere){.has_roll = true, .roll_deg = strtod("nan", NULL)}, "roll is");
    check_refused((UfPhotoSphere){.has_full = true, .full_width_px = 0, .full_height_px = 5},
                  "full size of 0 x 5");
    check_refused((UfPhotoSphere){.has_full = true,
                                  .has_cropped = true,
                                  .full_width_px = 100,
                                  .full_height_px = 50,
                                  .cropped_width_px = 90,
                                  .cropped_height_px = 50,
                                  .cropped_left_px = 20},
                  "not inside the full 100 x 50");
    check_refused((UfPhotoSphere){.present = true, .projection = "two words"}, "one word");
}

Test(xmp, rounding_never_leaves_the_range)
{
    UfBlob blob = {0};
    UfPhotoSphere sphere = {.has_heading = true, .heading_deg = 359.9999999}, again;
    cr_assert_eq(uf_xmp_set_photo_sphere(&blob, &sphere, NULL), UF_OK);
    cr_assert_eq(uf_xmp_photo_sphere(blob, &again, NULL), UF_OK);
    cr_expect(again.has_heading && again.heading_deg == 0);
    uf_blob_clear(&blob);
}

/* A document type has no place in XMP: nothing may be expanded or fetched. */
static const char *const hostile[] = {
    "<?xml version='1.0'?><!DOCTYPE x [<!ENTITY a 'ha'><!ENTITY b '&a;&a;'>]><x>&b;</x>",
    HEAD "<!DOCTYPE r SYSTEM 'file:///etc/passwd'><rdf:Description rdf:about=''/>" TAIL,
    HEAD "<!ENTITY a 'b'><rdf:Description rdf:about=''/>" TAIL,
    HEAD "<rdf:Description rdf:about='' <broken></rdf:Description>" TAIL,
    "<",
    "<?",
    "<!--",
    "<![CDATA[",
    "\xff\xfe<\x01",
    "</a></a></a>",
};

Test(xmp, a_packet_that_cannot_be_read_stays)
{
    for (size_t i = 0; i < sizeof hostile / sizeof *hostile; i++) {
        UfBlob blob = packet(hostile[i]);
        UfReport *report = uf_report_create();
        UfPhotoSphere sphere;
        cr_expect_eq(uf_xmp_photo_sphere(blob, &sphere, report), UF_OK);
        cr_expect_eq(uf_report_warning_count(report), 1, "packet %zu", i);
        cr_expect_eq(uf_xmp_correct(&blob, 10, 5, 20, 10, 1, true, report), UF_OK);
        cr_expect_eq(uf_xmp_set_photo_sphere(&blob, &full, report), UF_ERROR_FORMAT, "packet %zu", i);
        cr_expect_not_null(strstr(uf_report_error(report), "XMP packet cannot be read"));
        cr_expect_eq(blob.size_bytes, strlen(hostile[i]));
        cr_expect_eq(memcmp(blob.data, hostile[i], blob.size_bytes), 0);
        cr_expect_not(uf_xmp_has_gain_map(blob));
        uf_report_free(&report);
        uf_blob_clear(&blob);
    }
}

Test(xmp, refuses_very_deep_nesting)
{
    size_t depth = 200000;
    char *text = uf_alloc_zero(depth * 3 + 1, 1);
    for (size_t i = 0; i < depth; i++)
        memcpy(text + 3 * i, "<a>", 3);
    size_t warnings;
    UfPhotoSphere s = sphere_of(text, &warnings);
    cr_expect_not(s.present);
    cr_expect_eq(warnings, 1);
    free(text);
}

Test(xmp, survives_truncation_and_damage)
{
    const char *text = HEAD "<rdf:Description rdf:about='' " GPANO " GPano:FullPanoWidthPixels='4096'>"
                            "<GPano:ProjectionType>a &amp; b</GPano:ProjectionType></rdf:Description>" TAIL;
    static const char values[] = {'<', '>', '\'', '&', ':', '\0', '\x80'};
    size_t length = strlen(text), read = 0;
    for (size_t i = 0; i < length; i++)
        for (size_t v = 0; v <= sizeof values; v++) {
            UfBlob blob = {0};
            uf_blob_set(&blob, text, v == sizeof values ? i : length, NULL);
            if (v < sizeof values)
                blob.data[i] = (uint8_t)values[v];
            UfPhotoSphere sphere;
            cr_assert_eq(uf_xmp_photo_sphere(blob, &sphere, NULL), UF_OK);
            read += sphere.present;
            (void)uf_xmp_correct(&blob, 10, 5, 20, 10, 1, true, NULL);
            uf_blob_clear(&blob);
        }
    cr_expect_gt(read, 0);
}

#define SIZED                                                                                                \
    HEAD "<rdf:Description rdf:about='' " GPANO " xmlns:tiff='http://ns.adobe.com/tiff/1.0/'"                \
         " xmlns:exif='http://ns.adobe.com/exif/1.0/' tiff:ImageWidth='100' tiff:ImageLength='50'"           \
         " tiff:Orientation='%s' exif:PixelXDimension='100' exif:PixelYDimension='50' "                      \
         "GPano:FullPanoWidthPixels='100'"                                                                   \
         " GPano:FullPanoHeightPixels='50' GPano:CroppedAreaImageWidthPixels='80'"                           \
         " GPano:CroppedAreaLeftPixels='10' GPano:LargestValidInteriorRectHeight='25'/>" TAIL

Test(xmp, corrects_sizes)
{
    char text[2048];
    snprintf(text, sizeof text, SIZED, "6");
    UfBlob blob = packet(text);
    cr_assert_eq(uf_xmp_correct(&blob, 100, 50, 200, 100, 1, false, NULL), UF_OK);
    char *found = read_back(blob);
    static const char *const lines[] = {
        "ImageWidth: 200",
        "ImageHeight: 100",
        "Orientation: Horizontal (normal)",
        "ExifImageWidth: 200",
        "ExifImageHeight: 100",
        "FullPanoWidthPixels: 200",
        "FullPanoHeightPixels: 100",
        "CroppedAreaImageWidthPixels: 160",
        "CroppedAreaLeftPixels: 20",
        "LargestValidInteriorRectHeight: 50",
    };
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        cr_expect_not_null(strstr(found, lines[i]), "'%s' is not in:\n%s", lines[i], found);
    free(found);
    uf_blob_clear(&blob);
}

Test(xmp, leaves_a_right_packet_byte_for_byte)
{
    char text[2048];
    snprintf(text, sizeof text, SIZED, "1");
    UfBlob blob = packet(text);
    cr_assert_eq(uf_xmp_correct(&blob, 100, 50, 100, 50, 1, true, NULL), UF_OK);
    cr_expect_eq(blob.size_bytes, strlen(text));
    cr_expect_eq(memcmp(blob.data, text, blob.size_bytes), 0);
    uf_blob_clear(&blob);
}

#define GAIN_MAP                                                                                             \
    HEAD "<rdf:Description rdf:about='' xmlns:hdrgm='http://ns.adobe.com/hdr-gain-map/1.0/' " DC             \
         " xmlns:Container='http://ns.google.com/photos/1.0/container/'"                                     \
         " xmlns:Item='http://ns.google.com/photos/1.0/container/item/' hdrgm:Version='1.0' "                \
         "dc:format='image/jpeg'>"                                                                           \
         "<Container:Directory><rdf:Seq><rdf:li rdf:parseType='Resource'><Container:Item "                   \
         "Item:Semantic='Primary'"                                                                           \
         " Item:Mime='image/jpeg'/></rdf:li><rdf:li rdf:parseType='Resource'><Container:Item "               \
         "Item:Semantic='GainMap'"                                                                           \
         " Item:Mime='image/jpeg' "                                                                          \
         "Item:Length='1234'/></rdf:li></rdf:Seq></Container:Directory></rdf:Description>" TAIL

Test(xmp, finds_and_drops_a_gain_map)
{
    UfBlob blob = packet(GAIN_MAP);
    cr_expect(uf_xmp_has_gain_map(blob));
    cr_assert_eq(uf_xmp_correct(&blob, 100, 50, 100, 50, 1, false, NULL), UF_OK);
    cr_expect(uf_xmp_has_gain_map(blob), "stays when not asked for");
    cr_assert_eq(uf_xmp_correct(&blob, 100, 50, 100, 50, 1, true, NULL), UF_OK);
    cr_expect_not(uf_xmp_has_gain_map(blob));
    cr_expect_not(holds(blob, "Item:") || holds(blob, "hdrgm") || holds(blob, "1234"));
    cr_expect(holds(blob, "image/jpeg"), "dc:format stays");
    uf_blob_clear(&blob);
    blob =
        packet(HEAD "<rdf:Description rdf:about='' " GPANO " GPano:ProjectionType='equirectangular'/>" TAIL);
    cr_expect_not(uf_xmp_has_gain_map(blob));
    uf_blob_clear(&blob);
}

Test(xmp, drops_thumbnails)
{
    UfBlob blob =
        packet(HEAD "<rdf:Description rdf:about='' xmlns:xmp='http://ns.adobe.com/xap/1.0/'"
                    " xmlns:g='http://ns.adobe.com/xap/1.0/g/img/' xmp:Rating='4'><xmp:Thumbnails><rdf:Alt>"
                    "<rdf:li rdf:parseType='Resource'><g:width>16</g:width><g:image>AAAA</g:image></rdf:li>"
                    "</rdf:Alt></xmp:Thumbnails></rdf:Description>" TAIL);
    cr_assert_eq(uf_xmp_correct(&blob, 100, 50, 100, 50, 1, false, NULL), UF_OK);
    cr_expect_not(holds(blob, "Thumbnails") || holds(blob, "AAAA"));
    char *text = read_back(blob);
    cr_expect_not_null(strstr(text, "Rating: 4"));
    free(text);
    uf_blob_clear(&blob);
}

static void check_md5(const char *text, const char *expected)
{
    char hex[33];
    uf_md5_hex((const uint8_t *)text, strlen(text), hex);
    cr_expect_str_eq(hex, expected);
}

/* RFC 1321, A.5 */
Test(xmp, md5)
{
    check_md5("", "D41D8CD98F00B204E9800998ECF8427E");
    check_md5("a", "0CC175B9C0F1B6A831C399E269772661");
    check_md5("abc", "900150983CD24FB0D6963F7D28E17F72");
    check_md5("message digest", "F96B697D7CB7938D525A2F31AAF161D0");
    check_md5("abcdefghijklmnopqrstuvwxyz", "C3FCD3D76192E4007DFB496CCA67E13B");
    check_md5("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789",
              "D174AB98D277D9F5A5611C2C9F419D9F");
    check_md5("12345678901234567890123456789012345678901234567890123456789012345678901234567890",
              "57EDF4A22BE3C955AC49DA2E2107B67A");
}

/* A packet with a property of `bytes` characters beside ordinary ones of every form. */
static UfBlob large_packet(size_t bytes)
{
    const char *head =
        HEAD "<rdf:Description rdf:about='' " GPANO " " DC " " EXAMPLE
             " GPano:ProjectionType='equirectangular' GPano:PoseHeadingDegrees='12' ex:Room='yard'>"
             "<dc:subject><rdf:Bag><rdf:li>museum</rdf:li><rdf:li>yard</rdf:li></rdf:Bag></dc:subject>"
             "<dc:title><rdf:Alt><rdf:li xml:lang='x-default'>Yard</rdf:li>"
             "<rdf:li xml:lang='de'>Hof</rdf:li></rdf:Alt></dc:title>"
             "<ex:Lamps><rdf:Seq><rdf:li rdf:parseType='Resource'><ex:Watt>60</ex:Watt></rdf:li>"
             "<rdf:li rdf:parseType='Resource'><ex:Watt>40</ex:Watt><ex:Text>";
    const char *tail = "</ex:Text></rdf:li></rdf:Seq></ex:Lamps></rdf:Description>" TAIL;
    UfBlob blob = {.size_bytes = strlen(head) + bytes + strlen(tail)};
    blob.data = uf_alloc(blob.size_bytes, 1);
    memcpy(blob.data, head, strlen(head));
    memset(blob.data + strlen(head), 'x', bytes);
    memcpy(blob.data + strlen(head) + bytes, tail, strlen(tail));
    return blob;
}

Test(xmp, splits_what_jpeg_cannot_hold_and_merges_it_again)
{
    UfMetadata metadata = {.xmp = large_packet(100000)};
    char *before = read_back(metadata.xmp);
    cr_assert_eq(uf_xmp_split_extended(&metadata, NULL), UF_OK);
    cr_expect_leq(metadata.xmp.size_bytes, UF_XMP_JPEG_LIMIT_BYTES);
    cr_expect_gt(metadata.xmp_extended.size_bytes, 100000);
    char guid[33];
    uf_md5_hex(metadata.xmp_extended.data, metadata.xmp_extended.size_bytes, guid);
    cr_expect(holds(metadata.xmp, guid));
    cr_expect(holds(metadata.xmp, "HasExtendedXMP"));
    cr_expect(holds(metadata.xmp, "equirectangular"), "Photo Sphere fields stay in the main packet");
    cr_expect_not(holds(metadata.xmp_extended, "xpacket"));
    cr_assert_eq(uf_xmp_merge_extended(&metadata, NULL), UF_OK);
    cr_expect_null(metadata.xmp_extended.data);
    cr_expect_not(holds(metadata.xmp, "HasExtendedXMP"));
    char *after = read_back(metadata.xmp);
    for (char *rest = before, *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n"))
        cr_expect_not_null(strstr(after, line), "'%s' is not in:\n%s", line, after);
    cr_expect_not_null(strstr(after, "LampsWatt: 40"));
    free(before);
    free(after);
    uf_metadata_clear(&metadata);
}

Test(xmp, tightens_before_it_splits)
{
    UfMetadata metadata = {.xmp = large_packet(60000)};
    cr_assert_eq(uf_xmp_set_photo_sphere(&metadata.xmp, &full, NULL), UF_OK);
    UfBlob padded = {.size_bytes = metadata.xmp.size_bytes + 8000};
    padded.data = uf_alloc(padded.size_bytes, 1);
    memset(padded.data, ' ', padded.size_bytes);
    memcpy(padded.data + 8000, metadata.xmp.data, metadata.xmp.size_bytes);
    uf_blob_clear(&metadata.xmp);
    metadata.xmp = padded;
    cr_assert_eq(uf_xmp_split_extended(&metadata, NULL), UF_OK);
    cr_expect_leq(metadata.xmp.size_bytes, UF_XMP_JPEG_LIMIT_BYTES);
    cr_expect_null(metadata.xmp_extended.data);
    uf_metadata_clear(&metadata);
}

Test(xmp, small_packets_are_not_touched)
{
    UfMetadata metadata = {.xmp = large_packet(100)}, before = {0};
    uf_metadata_copy(&metadata, &before, NULL);
    cr_assert_eq(uf_xmp_split_extended(&metadata, NULL), UF_OK);
    cr_assert_eq(uf_xmp_merge_extended(&metadata, NULL), UF_OK);
    cr_expect_eq(metadata.xmp.size_bytes, before.xmp.size_bytes);
    cr_expect_eq(memcmp(metadata.xmp.data, before.xmp.data, before.xmp.size_bytes), 0);
    uf_metadata_clear(&metadata);
    uf_metadata_clear(&before);
}

Test(xmp, the_note_follows_the_extended_packet)
{
    UfMetadata metadata = {.xmp = large_packet(100000)};
    cr_assert_eq(uf_xmp_split_extended(&metadata, NULL), UF_OK);
    metadata.xmp_extended.data[metadata.xmp_extended.size_bytes / 2] = 'y';
    cr_assert_eq(uf_xmp_split_extended(&metadata, NULL), UF_OK);
    char guid[33];
    uf_md5_hex(metadata.xmp_extended.data, metadata.xmp_extended.size_bytes, guid);
    cr_expect(holds(metadata.xmp, guid));
    uf_blob_clear(&metadata.xmp_extended);
    cr_assert_eq(uf_xmp_split_extended(&metadata, NULL), UF_OK);
    cr_expect_not(holds(metadata.xmp, "HasExtendedXMP"));
    uf_metadata_clear(&metadata);
}

Test(xmp, too_much_photo_sphere_is_refused)
{
    UfMetadata metadata = {0};
    char *text = uf_alloc_zero(80000, 1);
    int length =
        snprintf(text, 80000, HEAD "<rdf:Description rdf:about='' " GPANO " GPano:CaptureSoftware='");
    memset(text + length, 'x', 70000);
    snprintf(text + length + 70000, (size_t)(80000 - length - 70000), "'/>" TAIL);
    metadata.xmp = packet(text);
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_xmp_split_extended(&metadata, report), UF_ERROR_UNSUPPORTED);
    cr_expect_not_null(strstr(uf_report_error(report), "65502"));
    uf_report_free(&report);
    uf_metadata_clear(&metadata);
    free(text);
}

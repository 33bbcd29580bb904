/*
 * Metadata through whole files: tagging leaves everything else as it is, and all three formats carry the same
 * values. ExifTool makes the files and reads the results.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <underfoot/picture.h>

#include "support/files.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(tag, .init = folder_enter, .fini = folder_leave);

static const char *const names[] = {"in.jpg", "in.png", "in.tif"};

/* Three files with the same camera data, GPS, text and XMP; `width` x `height` as stored. */
static void make_files(size_t width, size_t height, int orientation)
{
    char turned[32];
    snprintf(turned, sizeof turned, "-Orientation#=%d", orientation);
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = width, .height = height});
    jpeg_write("in.jpg", &pixels, &(JpegOptions){0});
    png_write("in.png", &pixels, &(PngOptions){0});
    tiff_write("in.tif", &pixels, &(TiffOptions){0});
    jpeg_write("thumb.jpg", &pixels, &(JpegOptions){0});
    pixels_free(&pixels);
    Run run = RUN_PROGRAM(
        "exiftool", "-q", "-overwrite_original", turned, "-Make=Lantern Works", "-Model=Wide Eye 2",
        "-GPSLatitude=52.5", "-GPSLatitudeRef=N", "-MakerNoteUnknownText=opaque maker bytes",
        "-ExposureTime=1/125", "-LensModel=Fisheye 8 mm", "-EXIF:Artist=A. Keeper",
        "-DateTimeOriginal=2026:05:04 03:02:01", "-XMP-dc:Subject=museum", "-XMP-dc:Subject=floor",
        "-XMP-dc:Title=Ticket hall", "-XMP-dc:Title-de=Kassenhalle", "-XMP-GPano:PosePitchDegrees=2.5",
        "-XMP-GPano:InitialViewHeadingDegrees=77", "in.jpg", "in.png", "in.tif");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

static char *read_tags(const char *path, const char *const *options)
{
    const char *arguments[32] = {"exiftool", "-G1", "-a", "-s", "-n"};
    size_t count = 5;
    while (*options != NULL)
        arguments[count++] = *options++;
    arguments[count] = path;
    Run run = run_program(arguments, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    char *text = strdup(run.out);
    run_free(&run);
    return text;
}

#define TAGS(path, ...) read_tags(path, (const char *const[]){__VA_ARGS__, NULL})

static void expect_line(const char *text, const char *name, const char *value)
{
    char *copy = strdup(text), *rest = copy;
    bool found = false;
    for (char *line = strsep(&rest, "\n"); line != NULL && !found; line = strsep(&rest, "\n")) {
        const char *colon = strstr(line, ": ");
        found = colon != NULL && strstr(line, name) != NULL && strcmp(colon + 2, value) == 0;
    }
    cr_expect(found, "'%s: %s' is not in:\n%s", name, value, text);
    free(copy);
}

static void expect_same_bytes(const char *a, const char *b, const char *option)
{
    Run one = RUN_PROGRAM("exiftool", "-b", option, a), two = RUN_PROGRAM("exiftool", "-b", option, b);
    cr_expect_gt(one.out_bytes, 0);
    cr_expect(one.out_bytes == two.out_bytes && memcmp(one.out, two.out, one.out_bytes) == 0, "%s of %s",
              option, b);
    run_free(&one);
    run_free(&two);
}

Test(tag, leaves_everything_else)
{
    static const char *const outputs[] = {"out.jpg", "out.png", "out.tif"};
    const UfPhotoSphere pose = {.has_heading = true, .heading_deg = 215.5};
    make_files(64, 32, 1);
    for (size_t i = 0; i < 3; i++) {
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_picture_tag(names[i], outputs[i], &pose, NULL, report), UF_OK, "%s",
                     uf_report_error(report));
        cr_expect_eq(uf_report_warning_count(report), 0, "%s: %s", names[i], uf_report_warning(report, 0));
        uf_report_free(&report);
        char *before = TAGS(names[i], "-all", "--System:all", "--XMP-GPano:all", "--XMP-x:all",
                            "--ExifTool:all", "--IFD0:StripOffsets");
        char *after = TAGS(outputs[i], "-all", "--System:all", "--XMP-GPano:all", "--XMP-x:all",
                           "--ExifTool:all", "--IFD0:StripOffsets");
        cr_expect_str_eq(after, before, "%s\n%s\nAFTER\n%s", names[i], before, after);
        free(before);
        free(after);
        char *sphere = TAGS(outputs[i], "-XMP-GPano:all");
        expect_line(sphere, "PoseHeadingDegrees", "215.5");
        expect_line(sphere, "PosePitchDegrees", "2.5");
        expect_line(sphere, "InitialViewHeadingDegrees", "77");
        expect_line(sphere, "FullPanoWidthPixels", "64");
        expect_line(sphere, "CroppedAreaImageHeightPixels", "32");
        free(sphere);
        if (i < 2)
            expect_same_bytes(names[i], outputs[i], "-Exif");
    }
}

/* Stored upright or on its side: the fields are those of the picture as it is seen. */
Test(tag, sizes_are_those_of_the_upright_picture)
{
    make_files(32, 64, 6);
    for (size_t i = 0; i < 3; i++) {
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_picture_tag(names[i], names[i], NULL, &(UfWriteOptions){.overwrite = true}, report),
                     UF_OK, "%s", uf_report_error(report));
        uf_report_free(&report);
        char *text = TAGS(names[i], "-XMP-GPano:all", "-IFD0:Orientation");
        expect_line(text, "FullPanoWidthPixels", "64");
        expect_line(text, "FullPanoHeightPixels", "32");
        expect_line(text, "[IFD0]          Orientation", "6");
        free(text);
    }
}

static void check_refused(const char *in, const UfPhotoSphere *pose, UfStatus status, const char *message)
{
    UfReport *report = uf_report_create();
    FileState state = file_state(in);
    cr_expect_eq(uf_picture_tag(in, "refused", pose, NULL, report), status, "%s", uf_report_error(report));
    cr_expect_not_null(strstr(uf_report_error(report), message), "%s", uf_report_error(report));
    cr_expect_not(file_exists("refused"));
    cr_expect(file_unchanged(in, &state));
    uf_report_free(&report);
}

Test(tag, refuses_what_is_no_full_sphere)
{
    make_files(48, 48, 1);
    for (size_t i = 0; i < 3; i++)
        check_refused(names[i], NULL, UF_ERROR_ARGUMENT, "48 x 48 pixels is not 2:1");
}

Test(tag, refuses_wrong_poses_and_broken_packets)
{
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = 64, .height = 32});
    jpeg_write("sound.jpg", &pixels, &(JpegOptions){0});
    jpeg_write("broken.jpg", &pixels, &(JpegOptions){.xmp = "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf"});
    png_write("bomb.png", &pixels, &(PngOptions){.xmp = "<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>"});
    pixels_free(&pixels);
    check_refused("sound.jpg", &(UfPhotoSphere){.has_heading = true, .heading_deg = 400}, UF_ERROR_ARGUMENT,
                  "heading is 400");
    check_refused("broken.jpg", NULL, UF_ERROR_FORMAT, "XMP packet cannot be read");
    check_refused("bomb.png", NULL, UF_ERROR_FORMAT, "document type");
}

static void convert(const char *from, const char *to)
{
    UfPicture *picture = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_read(from, NULL, &picture, report), UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(uf_picture_write(picture, to, NULL, report), UF_OK, "%s", uf_report_error(report));
    cr_expect_eq(uf_report_warning_count(report), 0, "%s to %s: %s", from, to, uf_report_warning(report, 0));
    uf_picture_free(&picture);
    uf_report_free(&report);
}

/* From each format to each: the same values, with orientation and sizes as the pixels now are. */
Test(tag, all_formats_carry_the_same_values)
{
    static const char *const outputs[] = {"out.jpg", "out.png", "out.tif"};
    make_files(32, 64, 6);
    char *wanted = NULL;
    for (size_t from = 0; from < 3; from++)
        for (size_t to = 0; to < 3; to++) {
            convert(names[from], outputs[to]);
            char *text = TAGS(outputs[to], "-IFD0:Make", "-IFD0:Model", "-IFD0:Artist",
                              "-ExifIFD:ExposureTime", "-LensModel", "-DateTimeOriginal", "-GPS:all",
                              "-MakerNoteUnknownText", "-IFD0:Orientation", "-XMP-dc:all",
                              "-XMP-GPano:PosePitchDegrees", "-XMP-GPano:InitialViewHeadingDegrees");
            if (wanted == NULL) {
                wanted = text;
                expect_line(text, "Make", "Lantern Works");
                expect_line(text, "Orientation", "1");
                expect_line(text, "ExposureTime", "0.008");
                expect_line(text, "GPSLatitude ", "52.5");
                expect_line(text, "MakerNoteUnknownText", "opaque maker bytes");
                expect_line(text, "Subject", "museum, floor");
                expect_line(text, "Title-de", "Kassenhalle");
            } else {
                cr_expect_str_eq(text, wanted, "%s to %s\n%s\nWANTED\n%s", names[from], outputs[to], text,
                                 wanted);
                free(text);
            }
            char *size = TAGS(outputs[to], "-File:ImageWidth", "-ExifIFD:ExifImageWidth", "-IFD1:all",
                              "-PNG:ImageWidth", "-IFD0:ImageWidth");
            expect_line(size, "ImageWidth", "64");
            cr_expect_null(strstr(size, "[IFD1]"));
            cr_expect_null(strstr(size, ": 32"), "%s: an old width\n%s", outputs[to], size);
            free(size);
            cr_assert_eq(remove(outputs[to]), 0);
        }
    free(wanted);
}

/* A packet beyond one JPEG segment travels as extended XMP and comes home again. */
Test(tag, large_xmp_travels)
{
    size_t size = 150000;
    char *packet = calloc(size + 1000, 1);
    int head = snprintf(packet, 500,
                        "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf="
                        "'http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description rdf:about=''"
                        " xmlns:dc='http://purl.org/dc/elements/1.1/' dc:source='museum' dc:relation='");
    for (size_t i = 0; i < size; i++)
        packet[(size_t)head + i] = (char)('a' + i % 23);
    snprintf(packet + head + size, 200, "'/></rdf:RDF></x:xmpmeta>");
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = 64, .height = 32});
    png_write("large.png", &pixels, &(PngOptions){.xmp = packet});
    pixels_free(&pixels);
    convert("large.png", "large.jpg");
    convert("large.jpg", "large.tif");
    cr_assert_eq(uf_picture_tag("large.jpg", "tagged.jpg", NULL, NULL, NULL), UF_OK);
    convert("tagged.jpg", "back.png");
    static const char *const files[] = {"large.jpg", "large.tif", "tagged.jpg", "back.png"};
    for (size_t i = 0; i < 4; i++) {
        Run run = RUN_PROGRAM("exiftool", "-b", "-XMP-dc:Relation", files[i]);
        cr_expect(run.out_bytes == size && memcmp(run.out, packet + head, size) == 0, "%s: %zu bytes",
                  files[i], run.out_bytes);
        run_free(&run);
        char *text = TAGS(files[i], "-XMP-dc:Source", "-warning");
        expect_line(text, "Source", "museum");
        cr_expect_null(strstr(text, "Warning"), "%s", text);
        free(text);
    }
    free(packet);
}

/* Where nothing is to be corrected, the EXIF comes out byte for byte. */
Test(tag, exif_bytes)
{
    static const char *const outputs[] = {"out.jpg", "out.png"};
    make_files(64, 32, 1);
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_read("in.jpg", NULL, &picture, NULL), UF_OK);
    UfBlob exif = uf_picture_exif(picture);
    Run run = RUN_PROGRAM("exiftool", "-b", "-Exif", "in.jpg");
    cr_expect(run.out_bytes == exif.size_bytes && memcmp(run.out, exif.data, exif.size_bytes) == 0);
    run_free(&run);
    for (size_t i = 0; i < 2; i++) {
        cr_assert_eq(uf_picture_write(picture, outputs[i], NULL, NULL), UF_OK);
        expect_same_bytes("in.jpg", outputs[i], "-Exif");
    }
    uf_picture_free(&picture);
}

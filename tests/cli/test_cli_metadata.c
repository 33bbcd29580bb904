/*
 * What the program's results say about themselves: `underfoot patch` on pictures with camera data, GPS, a
 * MakerNote, a thumbnail, a colour profile and XMP. ExifTool makes the inputs and reads the results.
 */
#include <criterion/criterion.h>
#include <lcms2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/pictures.h"
#include "support/program.h"

static const char *const inputs[] = {"in.jpg", "in.png", "in.tif"};
static const char *const outputs[] = {"out.jpg", "out.png", "out.tif"};

static Bytes make_profile(void)
{
    cmsHPROFILE profile = cmsCreate_sRGBProfile();
    cmsUInt32Number size = 0;
    cr_assert(cmsSaveProfileToMem(profile, NULL, &size));
    Bytes bytes = {calloc(size + 1, 1), size};
    cr_assert(cmsSaveProfileToMem(profile, bytes.data, &size));
    cmsCloseProfile(profile);
    return bytes;
}

static void make_pictures(void)
{
    folder_enter();
    Bytes profile = make_profile();
    file_write("profile.icc", profile.data, profile.size);
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 256, .height = 128});
    jpeg_write("in.jpg", &panorama, &(JpegOptions){.icc = profile.data, .icc_bytes = profile.size});
    png_write("in.png", &panorama, &(PngOptions){.icc = profile.data, .icc_bytes = profile.size});
    tiff_write("in.tif", &panorama, &(TiffOptions){.icc = profile.data, .icc_bytes = profile.size});
    Pixels small = panorama_make(&(PanoramaOptions){.width = 32, .height = 16});
    jpeg_write("thumb.jpg", &small, NULL);
    pixels_free(&small);
    pixels_free(&panorama);
    bytes_free(&profile);
    Run run =
        RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-Orientation#=1", "-IFD0:Make=Lantern Works",
                    "-IFD0:Model=Wide Eye 2", "-GPSLatitude=52.5", "-GPSLatitudeRef=N",
                    "-MakerNoteUnknownText=opaque maker bytes", "-ExposureTime=1/125", "-ISO=200",
                    "-LensModel=Fisheye 8 mm", "-EXIF:Artist=A. Keeper", "-EXIF:Copyright=Lantern Museum",
                    "-DateTimeOriginal=2026:05:04 03:02:01", "-ExifImageWidth=4096", "-ExifImageHeight=2048",
                    "-XMP-dc:Subject=museum", "-XMP-dc:Title=Ticket hall", "-XMP-dc:Title-de=Kassenhalle",
                    "-XMP-tiff:ImageWidth=4096", "-XMP-GPano:PosePitchDegrees=2.5",
                    "-XMP-GPano:ProjectionType=equirectangular", "in.jpg", "in.png", "in.tif");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    Run thumbnail =
        RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-ThumbnailImage<=thumb.jpg", "in.jpg");
    cr_assert_eq(thumbnail.status, 0, "%s", thumbnail.err);
    run_free(&thumbnail);
}

TestSuite(cli_metadata, .init = make_pictures, .fini = folder_leave);

static char *read_tags(const char *path)
{
    Run run = RUN_PROGRAM(
        "exiftool", "-G1", "-a", "-s", "-n", "-IFD0:Make", "-IFD0:Model", "-IFD0:Orientation", "-IFD0:Artist",
        "-IFD0:Copyright", "-ExifIFD:ExposureTime", "-ExifIFD:ISO", "-ExifIFD:LensModel",
        "-ExifIFD:DateTimeOriginal", "-ExifIFD:ExifImageWidth", "-ExifIFD:ExifImageHeight",
        "-ExifIFD:MakerNoteUnknownText", "-GPS:all", "-XMP-dc:all", "-XMP-tiff:all", "-XMP-GPano:all", path);
    cr_assert_eq(run.status, 0, "%s", run.err);
    char *text = strdup(run.out);
    run_free(&run);
    return text;
}

static void expect_tag(const char *text, const char *tag, const char *value)
{
    char line[160];
    const char *at = strstr(text, tag);
    cr_assert_not_null(at, "%s is not in:\n%s", tag, text);
    snprintf(line, sizeof line, ": %s\n", value);
    const char *colon = strchr(at, ':');
    cr_expect(colon != NULL && strncmp(colon, line, strlen(line)) == 0, "%s is not %s in:\n%s", tag, value,
              text);
}

static void expect_profile(const char *path)
{
    Bytes profile = file_read("profile.icc");
    Run run = RUN_PROGRAM("exiftool", "-b", "-icc_profile", path);
    cr_expect(run.out_bytes == profile.size && memcmp(run.out, profile.data, profile.size) == 0,
              "%s: the profile changed", path);
    run_free(&run);
    bytes_free(&profile);
}

/* From each format to each: every value that ExifTool put in, the sizes put right, the profile byte for byte.
 */
Test(cli_metadata, travels_between_all_formats)
{
    char *first = NULL;
    for (size_t from = 0; from < 3; from++)
        for (size_t to = 0; to < 3; to++) {
            Run run = RUN_UNDERFOOT("patch", inputs[from], "-o", outputs[to], "--cap", "20", "--fill",
                                    "#808080", "--overwrite");
            cr_assert_eq(run.status, 0, "%s to %s: %s", inputs[from], outputs[to], run.err);
            run_free(&run);
            char *text = read_tags(outputs[to]);
            expect_profile(outputs[to]);
            if (first == NULL) {
                first = text;
                continue;
            }
            cr_expect_str_eq(text, first, "%s to %s:\n%s\nbut JPEG to JPEG:\n%s", inputs[from], outputs[to],
                             text, first);
            free(text);
        }
    expect_tag(first, "Make ", "Lantern Works");
    expect_tag(first, "Copyright ", "Lantern Museum");
    expect_tag(first, "ExposureTime ", "0.008");
    expect_tag(first, "LensModel ", "Fisheye 8 mm");
    expect_tag(first, "MakerNoteUnknownText ", "opaque maker bytes");
    expect_tag(first, "GPSLatitude ", "52.5");
    expect_tag(first, "ExifImageWidth ", "256");
    expect_tag(first, "ExifImageHeight ", "128");
    expect_tag(first, "ImageWidth ", "256");
    expect_tag(first, "Title-de ", "Kassenhalle");
    expect_tag(first, "PosePitchDegrees ", "2.5");
    free(first);
}

/* The thumbnail still showed the tripod. */
Test(cli_metadata, a_stale_thumbnail_goes)
{
    Run before = RUN_PROGRAM("exiftool", "-b", "-ThumbnailImage", "in.jpg");
    cr_expect_gt(before.out_bytes, 100);
    run_free(&before);
    Run run = RUN_UNDERFOOT("patch", "in.jpg", "-o", "out.jpg", "--cap", "20", "--fill", "smooth");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    Run after = RUN_PROGRAM("exiftool", "-s", "-s", "-s", "-b", "-ThumbnailImage", "-IFD1:all", "out.jpg");
    cr_expect_eq(after.out_bytes, 0);
    run_free(&after);
    Run validated = RUN_PROGRAM("exiftool", "-validate", "-error", "-a", "out.jpg");
    cr_expect_null(strstr(validated.out, "Error"), "%s", validated.out);
    run_free(&validated);
}

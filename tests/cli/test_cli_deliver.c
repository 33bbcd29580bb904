/*
 * `underfoot deliver`: smaller copies. Brightness by the sRGB curve itself (IEC 61966-2-1), geometry by the
 * known colour of every direction, colours by lcms2 with its precise transform, metadata as ExifTool reads
 * them.
 */
#include <criterion/criterion.h>
#include <lcms2.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

TestSuite(cli_deliver, .init = folder_enter, .fini = folder_leave);

static const double PI = 3.14159265358979323846;

/* Adobe RGB (1998), sections 4.3.1 and 4.3.4: primaries, D65, gamma 2.19921875. */
static cmsHPROFILE wide_profile(void)
{
    const cmsCIExyY white = {0.3127, 0.3290, 1};
    const cmsCIExyYTRIPLE primaries = {{0.64, 0.33, 1}, {0.21, 0.71, 1}, {0.15, 0.06, 1}};
    cmsToneCurve *curve = cmsBuildGamma(NULL, 2.19921875);
    cmsToneCurve *curves[3] = {curve, curve, curve};
    cmsHPROFILE profile = cmsCreateRGBProfile(&white, &primaries, curves);
    cmsFreeToneCurve(curve);
    cr_assert_not_null(profile);
    return profile;
}

static Pixels wide_panorama(const char *path)
{
    cmsHPROFILE profile = wide_profile();
    cmsUInt32Number bytes = 0;
    cr_assert(cmsSaveProfileToMem(profile, NULL, &bytes));
    uint8_t *icc = calloc(bytes, 1);
    cr_assert(cmsSaveProfileToMem(profile, icc, &bytes));
    cmsCloseProfile(profile);
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 256, .height = 128, .bits = 16});
    png_write(path, &panorama, &(PngOptions){.icc = icc, .icc_bytes = bytes});
    free(icc);
    return panorama;
}

/* Black and white columns in turn: half the light, which sRGB writes as 188 (0.5 -> 0.7354), not 128. */
Test(cli_deliver, averages_light_not_codes)
{
    Pixels stripes = panorama_make(&(PanoramaOptions){.width = 256, .height = 128});
    for (size_t i = 0; i < 256 * 128; i++)
        for (size_t c = 0; c < 3; c++)
            stripes.codes[3 * i + c] = i % 2 ? 255 : 0;
    png_write("in.png", &stripes, NULL);
    Run run = RUN_UNDERFOOT("deliver", "in.png", "-o", "out.png", "--width", "64");
    cr_assert_eq(run.status, 0, "%s", run.err);
    Pixels out = picture_decode("out.png");
    cr_assert(out.width == 64 && out.height == 32);
    double grey = round(255 * (1.055 * pow(0.5, 1 / 2.4) - 0.055));
    for (size_t i = 0; i < 64 * 32 * 3; i++)
        cr_assert_float_eq(out.codes[i], grey, 0.5, "sample %zu is %d", i, out.codes[i]);
    pixels_free(&stripes);
    pixels_free(&out);
    run_free(&run);
}

Test(cli_deliver, keeps_every_direction_and_scales_what_the_metadata_say)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 512, .height = 256});
    jpeg_write("in.jpg", &panorama, &(JpegOptions){.quality = 98});
    Run tagged = RUN_PROGRAM(
        "exiftool", "-q", "-overwrite_original", "-XMP-GPano:ProjectionType=equirectangular",
        "-XMP-GPano:FullPanoWidthPixels=512", "-XMP-GPano:FullPanoHeightPixels=256",
        "-XMP-GPano:CroppedAreaImageWidthPixels=512", "-XMP-GPano:CroppedAreaImageHeightPixels=256",
        "-XMP-GPano:CroppedAreaLeftPixels=0", "-XMP-GPano:CroppedAreaTopPixels=0",
        "-XMP-GPano:PoseHeadingDegrees=41.5", "-EXIF:Artist=Mara Lindqvist", "-EXIF:ColorSpace#=65535",
        "-ExifImageWidth=512", "-ExifImageHeight=256", "in.jpg");
    cr_assert_eq(tagged.status, 0, "%s", tagged.err);
    Run run = RUN_UNDERFOOT("deliver", "in.jpg", "-o", "out.jpg", "--width", "128", "--quality", "97",
                            "--srgb", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_eq(json_number_at(run.out, "height_px"), 64);
    Run said = RUN_PROGRAM("exiftool", "-n", "-s3", "-f", "-XMP-GPano:FullPanoWidthPixels",
                           "-XMP-GPano:FullPanoHeightPixels", "-XMP-GPano:CroppedAreaImageWidthPixels",
                           "-XMP-GPano:CroppedAreaImageHeightPixels", "-XMP-GPano:PoseHeadingDegrees",
                           "-EXIF:Artist", "-EXIF:ColorSpace", "-ExifImageWidth", "-ExifImageHeight",
                           "-ICC_Profile:ProfileDescription", "out.jpg");
    cr_expect_str_eq(said.out, "128\n64\n128\n64\n41.5\nMara Lindqvist\n1\n128\n64\nsRGB built-in\n");
    Pixels out = picture_decode("out.jpg");
    for (size_t y = 2; y < 62; y += 3)
        for (size_t x = 0; x < 128; x += 3)
            for (size_t c = 0; c < 3; c++)
                cr_expect_float_eq(pixels_at(&out, x, y, c),
                                   panorama_colour(((double)x + 0.5) / 64 * PI - PI,
                                                   PI / 2 - ((double)y + 0.5) / 64 * PI, c),
                                   0.012, "pixel %zu, %zu, channel %zu", x, y, c);
    pixels_free(&panorama);
    pixels_free(&out);
    run_free(&tagged);
    run_free(&run);
    run_free(&said);
}

Test(cli_deliver, converts_to_srgb_as_lcms2_does)
{
    Pixels in = wide_panorama("in.png");
    Run run = RUN_UNDERFOOT("deliver", "in.png", "-o", "out.png", "--width", "256", "--srgb");
    Run kept = RUN_UNDERFOOT("deliver", "in.png", "-o", "kept.png", "--width", "256");
    cr_assert(run.status == 0 && kept.status == 0, "%s%s", run.err, kept.err);
    cmsHPROFILE wide = wide_profile();
    cmsHPROFILE srgb = cmsCreate_sRGBProfile();
    cmsHTRANSFORM exact =
        cmsCreateTransform(wide, TYPE_RGB_16, srgb, TYPE_RGB_DBL, INTENT_RELATIVE_COLORIMETRIC,
                           cmsFLAGS_BLACKPOINTCOMPENSATION | cmsFLAGS_NOOPTIMIZE);
    Pixels out = picture_decode("out.png");
    Pixels same = picture_decode("kept.png");
    cr_assert_eq(out.bits, 16);
    double moved = 0;
    for (size_t i = 0; i < 256 * 128; i += 37) {
        double expected[3];
        cmsDoTransform(exact, &in.codes[3 * i], expected, 1);
        for (size_t c = 0; c < 3; c++) {
            double value = expected[c] < 0 ? 0 : expected[c] > 1 ? 1 : expected[c];
            cr_expect_float_eq(out.codes[3 * i + c] / 65535.0, value, 1.0 / 2048, "pixel %zu: %.6f, not %.6f",
                               i, out.codes[3 * i + c] / 65535.0, value);
            cr_expect_eq(same.codes[3 * i + c], in.codes[3 * i + c]);
            moved = fmax(moved, fabs(value - in.codes[3 * i + c] / 65535.0));
        }
    }
    cr_expect_gt(moved, 0.05); /* the two spaces do differ here */
    cmsDeleteTransform(exact);
    cmsCloseProfile(wide);
    cmsCloseProfile(srgb);
    pixels_free(&in);
    pixels_free(&out);
    pixels_free(&same);
    run_free(&run);
    run_free(&kept);
}

Test(cli_deliver, gives_the_same_bytes_with_any_number_of_threads)
{
    Pixels in = wide_panorama("in.png");
    Run one =
        RUN_UNDERFOOT("deliver", "in.png", "-o", "one.jpg", "--width", "100", "--srgb", "--threads", "1");
    Run three =
        RUN_UNDERFOOT("deliver", "in.png", "-o", "three.jpg", "--width", "100", "--srgb", "--threads", "3");
    cr_assert(one.status == 0 && three.status == 0, "%s%s", one.err, three.err);
    cr_expect(file_same("one.jpg", "three.jpg"));
    pixels_free(&in);
    run_free(&one);
    run_free(&three);
}

static void expect_refusal(const char *width, const char *out, int status, const char *text)
{
    Run run = RUN_UNDERFOOT("deliver", "in.png", "-o", out, "--width", width);
    cr_expect_eq(run.status, status, "%s", run.err);
    cr_expect_not_null(strstr(run.err, text), "%s", run.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&run);
}

Test(cli_deliver, refuses_what_makes_no_sense)
{
    Pixels in = panorama_make(&(PanoramaOptions){.width = 64, .height = 32, .channels = 4});
    png_write("in.png", &in, NULL);
    expect_refusal("66", "out.png", 1, "is 64 pixels wide");
    expect_refusal("33", "out.png", 64, "give an even number");
    expect_refusal("0", "out.png", 64, "at least 2");
    expect_refusal("32", "out.jpg", 1, "has transparency");
    Run none = RUN_UNDERFOOT("deliver", "in.png", "-o", "out.png");
    cr_expect_eq(none.status, 64);
    cr_expect_not_null(strstr(none.err, "add --width"), "%s", none.err);
    Run small = RUN_UNDERFOOT("deliver", "in.png", "-o", "out.png", "--width", "32", "--max-memory", "4K");
    cr_expect_eq(small.status, 1);
    pixels_free(&in);
    run_free(&none);
    run_free(&small);
}

/* `underfoot wrap`: what it takes, what it says of what is missing, what travels, and what is refused. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

static void run_well(Run run)
{
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
}

static void make_pictures(void)
{
    folder_enter();
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 256});
    png_write("in.png", &panorama, NULL);
    pixels_free(&panorama);
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "faces"));
}

TestSuite(cli_wrap, .init = make_pictures, .fini = folder_leave);

/* Largest difference from the panorama's colours, of full scale, where there is something. */
static double largest_error(const char *path, double *unseen_part)
{
    Pixels pixels = picture_decode(path);
    double worst = 0;
    size_t unseen = 0;
    size_t colours = pixels.channels == 4 ? 3 : pixels.channels;
    for (size_t y = 0; y < pixels.height; y++)
        for (size_t x = 0; x < pixels.width; x++) {
            double lon = (((double)x + 0.5) / (double)pixels.width - 0.5) * 2 * 3.14159265358979323846;
            double lat = (0.5 - ((double)y + 0.5) / (double)pixels.height) * 3.14159265358979323846;
            if (pixels.channels == 4 && pixels_at(&pixels, x, y, 3) == 0) {
                unseen++;
                continue;
            }
            for (size_t c = 0; c < colours; c++) {
                double error = pixels_at(&pixels, x, y, c) - panorama_colour(lon, lat, c);
                worst = error > worst ? error : -error > worst ? -error : worst;
            }
        }
    *unseen_part = (double)unseen / (double)(pixels.width * pixels.height);
    pixels_free(&pixels);
    return worst;
}

Test(cli_wrap, brings_faces_home_with_their_metadata_as_a_panorama)
{
    double unseen;
    run_well(RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-EXIF:Artist=Mara Lindqvist",
                         "faces/front.png", "faces/down.png"));
    Run run = RUN_UNDERFOOT("wrap", "faces", "-o", "out.png", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    /* 81 pi = 254.5, but the address says 256 */
    cr_expect_eq(json_number_at(run.out, "width_px"), 256);
    cr_expect_eq(json_number_at(run.out, "transparent_percent"), 0);
    cr_expect_lt(largest_error("out.png", &unseen), 2.5 / 255);
    cr_expect_eq(unseen, 0);
    Run said = RUN_PROGRAM("exiftool", "-s3", "-EXIF:Artist", "-XMP-GPano:ProjectionType",
                           "-XMP-GPano:FullPanoWidthPixels", "-XMP-GPano:CroppedAreaImageHeightPixels",
                           "-XMP:Kind", "-XMP:Face", "out.png");
    cr_expect_str_eq(said.out, "Mara Lindqvist\nequirectangular\n256\n128\n", "%s", said.out);
    cr_expect_not(file_exists("out.png.home.ini"));
    run_free(&said);
    run_free(&run);
}

Test(cli_wrap, leaves_missing_faces_transparent_and_says_it)
{
    double unseen;
    run_well(RUN_PROGRAM("rm", "faces/up.png", "faces/left.png"));
    Run run = RUN_UNDERFOOT("wrap", "faces", "-o", "out.tif");
    cr_expect_eq(run.status, 2);
    cr_expect_not_null(strstr(run.err, "faces are missing: left, up"), "%s", run.err);
    cr_expect_not_null(strstr(run.out, "33"), "%s", run.out);
    cr_expect_lt(largest_error("out.tif", &unseen), 4.0 / 255);
    cr_expect_gt(unseen, 0.3);
    Run jpeg = RUN_UNDERFOOT("wrap", "faces", "-o", "out.jpg");
    cr_expect_eq(jpeg.status, 1);
    cr_expect_not_null(strstr(jpeg.err, "write .png or .tif"), "%s", jpeg.err);
    cr_expect_not(file_exists("out.jpg"));
    run_free(&jpeg);
    run_free(&run);
}

Test(cli_wrap, tells_sheets_by_their_shape)
{
    double unseen;
    static const char *const shapes[2] = {"strip", "cross"};
    for (int i = 0; i < 2; i++) {
        run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "sheet.png", "--sheet", shapes[i], "--overwrite"));
        run_well(RUN_PROGRAM("sh", "-c",
                             "rm sheet.png.home.ini; exiftool -q -overwrite_original -all= sheet.png"));
        Run run =
            RUN_UNDERFOOT("wrap", "sheet.png", "-o", "out.png", "--overwrite", "--width", "256", "--json");
        cr_assert_eq(run.status, 0, "%s", run.err);
        char *from = json_at(run.out, "from");
        cr_expect_str_eq(from, shapes[i]);
        cr_expect_lt(largest_error("out.png", &unseen), 2.5 / 255);
        cr_expect_eq(unseen, 0);
        free(from);
        run_free(&run);
    }
}

/* An editor that keeps nothing but the pixels, saves as JPEG and leaves the sidecar where it was. */
Test(cli_wrap, finds_the_address_of_a_planet_in_the_sidecar)
{
    double unseen;
    run_well(RUN_UNDERFOOT("planet", "in.png", "-o", "planet.png", "--size", "300", "--fov", "280",
                           "--heading", "77"));
    Pixels planet = picture_decode("planet.png");
    jpeg_write("planet.jpg", &planet, &(JpegOptions){.quality = 97, .horizontal = 1, .vertical = 1});
    Run run = RUN_UNDERFOOT("wrap", "planet.jpg", "-o", "out.png");
    cr_expect_eq(run.status, 2, "%s", run.err);
    cr_expect_not_null(strstr(run.err, "of the sphere is not in the picture"), "%s", run.err);
    cr_expect_lt(largest_error("out.png", &unseen), 8.0 / 255);
    cr_expect(unseen > 0.01 && unseen < 0.3);
    pixels_free(&planet);
    run_free(&run);
}

Test(cli_wrap, takes_faces_as_an_editor_may_leave_them)
{
    double unseen;
    Pixels face = picture_decode("faces/back.png");
    jpeg_write("faces/back.jpg", &face, &(JpegOptions){.quality = 98, .horizontal = 1, .vertical = 1});
    run_well(RUN_PROGRAM("rm", "faces/back.png"));
    run_well(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png"));
    cr_expect_lt(largest_error("out.png", &unseen), 6.0 / 255);
    cr_expect_eq(unseen, 0);
    pixels_free(&face);
}

static void refused(Run run, int status, const char *words)
{
    cr_expect_eq(run.status, status, "%s", run.err);
    cr_expect_not_null(strstr(run.err, words), "'%s' is not in: %s", words, run.err);
    cr_expect_not(file_exists("out.png"));
    run_free(&run);
}

static void write_picture(const char *path, size_t width, size_t height)
{
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = width, .height = height});
    png_write(path, &pixels, NULL);
    pixels_free(&pixels);
}

Test(cli_wrap, refuses_what_does_not_fit)
{
    write_picture("five.png", 200, 40);
    write_picture("square.png", 80, 80);
    refused(RUN_UNDERFOOT("wrap", "five.png", "-o", "out.png"), 1,
            "is no strip (6:1), cross (4:3) or planet (1:1)");
    refused(RUN_UNDERFOOT("wrap", "five.png", "-o", "out.png", "--as", "strip"), 1,
            "200 x 40 pixels are no strip: that is 6 square faces wide and 1 high");
    refused(RUN_UNDERFOOT("wrap", "five.png", "-o", "out.png", "--fov", "200"), 1, "a planet is square");
    refused(RUN_UNDERFOOT("wrap", "square.png", "-o", "out.png"), 1, "give --fov DEG");
    refused(RUN_UNDERFOOT("wrap", "square.png", "-o", "out.png", "--as", "planet"), 1, "give --fov DEG");
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png", "--width", "255"), 64, "give 256");
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png", "--as", "cross"), 64, "is a folder of faces");
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png", "--width", "900000"), 1, "smaller --width");
    refused(RUN_UNDERFOOT("wrap", "nothing", "-o", "out.png"), 1, "nothing");
    run_well(RUN_PROGRAM("mkdir", "empty"));
    refused(RUN_UNDERFOOT("wrap", "empty", "-o", "out.png"), 1, "there are no faces in this folder");
}

Test(cli_wrap, refuses_faces_that_do_not_fit)
{
    run_well(RUN_PROGRAM("mv", "faces/up.png", "kept.png"));
    write_picture("faces/up.png", 81, 80);
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png"), 1,
            "faces/up.png: is 81 x 80 pixels; a cube face is square");
    write_picture("faces/up.png", 80, 80);
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png"), 1, "all faces must have one size");
    file_copy("faces/down.png", "faces/up.png");
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png"), 1, "is by its home address the down face");
    file_copy("kept.png", "faces/up.png");
    file_copy("kept.png", "faces/up.tif");
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png"), 1, "faces/up.tif is there, too");
    run_well(RUN_PROGRAM("rm", "faces/up.tif"));
    run_well(RUN_PROGRAM("rm", "faces/up.png.home.ini"));
    run_well(RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-all=", "faces/up.png"));
    file_write("faces/up.png.home.ini", "[home]\nkind = face\nface = roof\n", 29);
    refused(RUN_UNDERFOOT("wrap", "faces", "-o", "out.png"), 1, "faces/up.png.home.ini");
}

Test(cli_wrap, says_when_faces_come_from_different_panoramas)
{
    Pixels other = panorama_make(&(PanoramaOptions){.dark = true});
    png_write("other.png", &other, NULL);
    run_well(RUN_UNDERFOOT("faces", "other.png", "-o", "faces", "--only", "up", "--overwrite"));
    Run run = RUN_UNDERFOOT("wrap", "faces", "-o", "out.png");
    cr_expect_eq(run.status, 2);
    cr_expect_not_null(strstr(run.err, "different panoramas (in.png, other.png)"), "%s", run.err);
    run_free(&run);
    pixels_free(&other);
}

Test(cli_wrap, never_replaces_its_faces)
{
    FileState before = file_state("faces/front.png");
    Run run = RUN_UNDERFOOT("wrap", "faces", "-o", "faces/front.png", "--overwrite");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "would be replaced by the output"), "%s", run.err);
    cr_expect(file_unchanged("faces/front.png", &before));
    run_free(&run);
}

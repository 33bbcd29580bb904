/*
 * `underfoot faces`: files and sheets, what travels with them, and what is refused before anything is
 * written. Where every direction lies is held against formulas in tests/truth.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

static void make_pictures(void)
{
    folder_enter();
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 256});
    png_write("in.png", &panorama, NULL);
    pixels_free(&panorama);
}

TestSuite(cli_faces, .init = make_pictures, .fini = folder_leave);

static const char *const names[6] = {"front", "right", "back", "left", "up", "down"};

/* Runs well, and says nothing but what it should. */
static void run_well(Run run)
{
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_str_eq(run.err, "");
    run_free(&run);
}

/* Refused with that status and words, and nothing new in the folder. */
static void refused(Run run, int status, const char *words, const char *before)
{
    char *after = folder_list();
    cr_expect_eq(run.status, status, "%s", run.err);
    cr_expect_not_null(strstr(run.err, words), "'%s' is not in: %s", words, run.err);
    cr_expect_str_eq(after, before);
    free(after);
    run_free(&run);
}

#define REFUSED(status, words, ...)                                                                          \
    do {                                                                                                     \
        char *before = folder_list();                                                                        \
        refused(RUN_UNDERFOOT(__VA_ARGS__), status, words, before);                                          \
        free(before);                                                                                        \
    } while (0)

Test(cli_faces, writes_six_files_and_their_sidecars)
{
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "out"));
    for (int f = 0; f < 6; f++) {
        char path[64];
        snprintf(path, sizeof path, "out/%s.png", names[f]);
        Pixels face = picture_decode(path);
        /* 256 / pi = 81.5 */
        cr_expect(face.width == 81 && face.height == 81 && face.channels == 3 && face.bits == 8);
        pixels_free(&face);
        snprintf(path, sizeof path, "out/%s.png.home.ini", names[f]);
        Bytes text = file_read(path);
        char line[32];
        snprintf(line, sizeof line, "\nface = %s\n", names[f]);
        cr_expect_not_null(strstr((const char *)text.data, line));
        cr_expect_not_null(strstr((const char *)text.data, "\nsource = in.png\n"));
        bytes_free(&text);
    }
}

Test(cli_faces, writes_some_of_them_into_a_folder_that_is_there)
{
    run_well(RUN_PROGRAM("mkdir", "out"));
    Run run =
        RUN_UNDERFOOT("faces", "in.png", "-o", "out/", "--only", "down,front", "--size", "30", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    char *first = json_at(run.out, "faces.0.out");
    char *second = json_at(run.out, "faces.1.face");
    cr_expect_str_eq(first, "out/front.png");
    cr_expect_str_eq(second, "down");
    cr_expect_eq(json_number_at(run.out, "width_px"), 30);
    cr_expect(file_exists("out/front.png") && file_exists("out/down.png"));
    cr_expect_not(file_exists("out/up.png"));
    free(first);
    free(second);
    run_free(&run);
}

/* The address as another program reads it, from each format. */
Test(cli_faces, carry_their_address_in_the_xmp_of_every_format)
{
    static const char *const formats[3][2] = {{"png", "png"}, {"tiff", "tif"}, {"jpeg", "jpg"}};
    for (int i = 0; i < 3; i++) {
        char path[32];
        snprintf(path, sizeof path, "%s/up.%s", formats[i][0], formats[i][1]);
        run_well(
            RUN_UNDERFOOT("faces", "in.png", "-o", formats[i][0], "--only", "up", "--format", formats[i][0]));
        Run said = RUN_PROGRAM("exiftool", "-s3", "-XMP:Kind", "-XMP:Face", "-XMP:PanoramaWidthPixels",
                               "-XMP:Source", path);
        cr_expect_str_eq(said.out, "face\nup\n256\nin.png\n");
        run_free(&said);
    }
}

Test(cli_faces, keep_depth_alpha_profile_and_exif_and_are_no_panoramas)
{
    size_t icc_bytes;
    uint8_t *icc = profile_make(&icc_bytes);
    Pixels deep = panorama_make(&(PanoramaOptions){.channels = 4, .bits = 16});
    png_write("deep.png", &deep, &(PngOptions){.icc = icc, .icc_bytes = icc_bytes});
    run_well(RUN_PROGRAM("exiftool", "-q", "-overwrite_original", "-EXIF:Artist=Mara Lindqvist",
                         "-XMP-GPano:ProjectionType=equirectangular", "-XMP-GPano:FullPanoWidthPixels=256",
                         "-EXIF:ExifImageWidth=256", "-EXIF:ExifImageHeight=128", "deep.png"));
    run_well(RUN_UNDERFOOT("faces", "deep.png", "-o", "out", "--only", "left"));
    Pixels face = picture_decode("out/left.png");
    cr_expect(face.bits == 16 && face.channels == 4);
    Run said = RUN_PROGRAM("exiftool", "-s3", "-EXIF:Artist", "-EXIF:ExifImageWidth", "-EXIF:ExifImageHeight",
                           "-XMP-GPano:all", "out/left.png");
    cr_expect_str_eq(said.out, "Mara Lindqvist\n81\n81\n");
    Run kept = RUN_PROGRAM("sh", "-c",
                           "exiftool -b -ICC_Profile deep.png >a; exiftool -b -ICC_Profile out/left.png >b");
    cr_expect(file_same("a", "b"));
    Bytes profile = file_read("b");
    cr_expect_eq(profile.size, icc_bytes);
    bytes_free(&profile);
    run_free(&kept);
    run_free(&said);
    pixels_free(&face);
    pixels_free(&deep);
    free(icc);
}

Test(cli_faces, of_float_pictures_are_float_tiffs)
{
    Pixels wide = panorama_make(&(PanoramaOptions){.bits = 32});
    tiff_write("wide.tif", &wide, NULL);
    run_well(RUN_UNDERFOOT("faces", "wide.tif", "-o", "out", "--only", "down"));
    Pixels face = picture_decode("out/down.tif");
    cr_expect_eq(face.bits, 32);
    /* the whole face lies about the nadir, whose colour is one value */
    cr_expect_float_eq(pixels_at(&face, 40, 40, 0), panorama_colour(0, -1.5707963, 0), 0.01);
    run_well(RUN_UNDERFOOT("faces", "wide.tif", "-o", "eight", "--only", "down", "--depth", "8"));
    Pixels eight = picture_decode("eight/down.png");
    cr_expect_eq(eight.bits, 8);
    pixels_free(&eight);
    pixels_free(&face);
    pixels_free(&wide);
}

Test(cli_faces, fit_on_one_sheet)
{
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "out", "--size", "40"));
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "strip.png", "--sheet", "strip", "--size", "40"));
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "cross.png", "--sheet", "cross", "--size", "40"));
    Pixels strip = picture_decode("strip.png");
    Pixels cross = picture_decode("cross.png");
    cr_assert(strip.width == 240 && strip.height == 40 && strip.channels == 3);
    cr_assert(cross.width == 160 && cross.height == 120 && cross.channels == 4);
    /* columns and rows of the cross: left front right back in the middle row, up above front, down below it
     */
    static const size_t places[6][2] = {{1, 1}, {2, 1}, {3, 1}, {0, 1}, {1, 0}, {1, 2}};
    for (size_t f = 0; f < 6; f++) {
        char path[32];
        snprintf(path, sizeof path, "out/%s.png", names[f]);
        Pixels face = picture_decode(path);
        for (size_t y = 0; y < 40; y += 13)
            for (size_t x = 0; x < 40; x += 13) {
                double truth = pixels_at(&face, x, y, 1);
                cr_expect_eq(pixels_at(&strip, 40 * f + x, y, 1), truth);
                cr_expect_eq(pixels_at(&cross, 40 * places[f][0] + x, 40 * places[f][1] + y, 1), truth);
                cr_expect_eq(pixels_at(&cross, 40 * places[f][0] + x, 40 * places[f][1] + y, 3), 1);
            }
        pixels_free(&face);
    }
    cr_expect_eq(pixels_at(&cross, 0, 0, 3), 0);
    pixels_free(&strip);
    pixels_free(&cross);
}

Test(cli_faces, replace_others_only_when_told)
{
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "out", "--only", "up"));
    FileState before = file_state("out/up.png");
    Run again = RUN_UNDERFOOT("faces", "in.png", "-o", "out", "--size", "20");
    cr_expect_eq(again.status, 1);
    cr_expect_not_null(strstr(again.err, "out/up.png: is there already"), "%s", again.err);
    cr_expect(file_unchanged("out/up.png", &before));
    cr_expect_not(file_exists("out/front.png"));
    run_well(RUN_UNDERFOOT("faces", "in.png", "-o", "out", "--size", "20", "--overwrite"));
    Pixels face = picture_decode("out/up.png");
    cr_expect_eq(face.width, 20);
    pixels_free(&face);
    run_free(&again);
}

/* A sidecar that would be replaced counts as an output. */
Test(cli_faces, do_not_replace_a_sidecar_either)
{
    run_well(RUN_PROGRAM("mkdir", "out"));
    file_write("out/down.png.home.ini", "mine", 4);
    Run run = RUN_UNDERFOOT("faces", "in.png", "-o", "out");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "out/down.png.home.ini: is there already"), "%s", run.err);
    cr_expect_not(file_exists("out/front.png"));
    run_free(&run);
}

/*
 * A limit that the plain face up keeps and the noisy front one does not: the face that was written goes, too,
 * and the folder with it; in a folder of somebody else's, what was there before stays.
 */
Test(cli_faces, leave_nothing_behind_after_a_failure)
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 256});
    unsigned state = 1;
    for (size_t i = 0; i < panorama.width * panorama.height * 3; i++) {
        size_t row = i / 3 / panorama.width;
        state = state * 1664525u + 1013904223u;
        panorama.codes[i] = row < panorama.height / 2 ? 128 : (uint16_t)(state >> 24);
    }
    png_write("half.png", &panorama, NULL);
    char *before = folder_list();
    const char *limited = "ulimit -f 8; trap '' XFSZ; exec \"$0\" \"$@\"";
    Run up =
        RUN_PROGRAM("sh", "-c", limited, underfoot_path(), "faces", "half.png", "-o", "out", "--only", "up");
    cr_expect_eq(up.status, 0, "%s", up.err);
    run_well(RUN_PROGRAM("rm", "-r", "out"));
    Run both = RUN_PROGRAM("sh", "-c", limited, underfoot_path(), "faces", "half.png", "-o", "out");
    cr_expect_eq(both.status, 1);
    cr_expect_not_null(strstr(both.err, "out/front.png: "), "%s", both.err);
    char *after = folder_list();
    cr_expect_str_eq(after, before);
    run_well(RUN_PROGRAM("sh", "-c", "mkdir out && echo mine > out/notes.txt"));
    Run again = RUN_PROGRAM("sh", "-c", limited, underfoot_path(), "faces", "half.png", "-o", "out");
    cr_expect_eq(again.status, 1);
    Run list = RUN_PROGRAM("ls", "-A", "out");
    cr_expect_str_eq(list.out, "notes.txt\n");
    run_free(&list);
    run_free(&again);
    run_free(&both);
    run_free(&up);
    free(before);
    free(after);
    pixels_free(&panorama);
}

/* The face up is made while rows are still read, and nobody finds it when the lower ones are damaged. */
Test(cli_faces, of_a_file_whose_end_is_damaged_are_not_written)
{
    static uint8_t noise[64];
    memset(noise, 0xA5, sizeof noise);
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 1024, .height = 512});
    jpeg_write("a.jpg", &panorama, &(JpegOptions){.restart_rows = 4});
    pixels_free(&panorama);
    run_well(RUN_UNDERFOOT("faces", "a.jpg", "-o", "faces"));
    Bytes file = file_read("a.jpg"), old = file_read("faces/up.png");
    file_poke("a.jpg", file.size * 9 / 10, noise, sizeof noise);
    for (int threads = 1; threads <= 3; threads++) {
        char text[2] = {(char)('0' + threads)};
        REFUSED(1, "damaged", "faces", "a.jpg", "-o", "out", "--threads", text);
        REFUSED(1, "damaged", "faces", "a.jpg", "-o", "faces", "--overwrite", "--threads", text);
        Bytes now = file_read("faces/up.png");
        cr_expect(now.size == old.size && memcmp(now.data, old.data, old.size) == 0);
        bytes_free(&now);
    }
    bytes_free(&old);
    bytes_free(&file);
}

Test(cli_faces, refuse_what_cannot_be)
{
    Pixels square = panorama_make(&(PanoramaOptions){.width = 100, .height = 60});
    png_write("odd.png", &square, NULL);
    Pixels clear = panorama_make(&(PanoramaOptions){.channels = 4});
    png_write("clear.png", &clear, NULL);
    REFUSED(64, "there is no face 'top'", "faces", "in.png", "-o", "out", "--only", "front,top");
    REFUSED(64, "there is no face ''", "faces", "in.png", "-o", "out", "--only", "front,");
    REFUSED(64, "no output is given", "faces", "in.png");
    REFUSED(64, "faces go into a folder", "faces", "in.png", "-o", "out.png");
    REFUSED(64, "leave --only or --sheet out", "faces", "in.png", "-o", "a.png", "--only", "up", "--sheet",
            "strip");
    REFUSED(64, "told by its name", "faces", "in.png", "-o", "a.png", "--format", "png", "--sheet", "strip");
    REFUSED(64, "JPEG cannot be", "faces", "in.png", "-o", "a.jpg", "--sheet", "cross");
    REFUSED(64, "--quality is for JPEG", "faces", "in.png", "-o", "out", "--quality", "80");
    REFUSED(64, "--depth 16 does not go with JPEG", "faces", "in.png", "-o", "out", "--format", "jpeg",
            "--depth", "16");
    REFUSED(64, "--size", "faces", "in.png", "-o", "out", "--size", "0");
    REFUSED(1, "twice as wide", "faces", "odd.png", "-o", "out");
    REFUSED(1, "transparency", "faces", "clear.png", "-o", "out", "--format", "jpeg");
    REFUSED(1, "larger --max-memory", "faces", "in.png", "-o", "out", "--size", "900000");
    REFUSED(1, "odd.png/: cannot be used", "faces", "in.png", "-o", "odd.png/", "--overwrite");
    file_write("plain", "x", 1);
    REFUSED(1, "plain: is there already and is no folder", "faces", "in.png", "-o", "plain");
    REFUSED(1, "there is no folder 'nowhere'; make it first", "faces", "in.png", "-o", "nowhere/out");
    pixels_free(&square);
    pixels_free(&clear);
}

/* A panorama that lies among the faces, by that very name, is never replaced. */
Test(cli_faces, never_replace_their_panorama)
{
    run_well(RUN_PROGRAM("sh", "-c", "mkdir out && mv in.png out/front.png"));
    FileState before = file_state("out/front.png");
    Run run = RUN_UNDERFOOT("faces", "out/front.png", "-o", "out", "--overwrite");
    cr_expect_eq(run.status, 1);
    cr_expect_not_null(strstr(run.err, "is the panorama itself"), "%s", run.err);
    cr_expect(file_unchanged("out/front.png", &before));
    cr_expect_not(file_exists("out/back.png"));
    run_free(&run);
}

/* A JPEG in two samplings, a TIFF in packed strips and one in tiles. */
static size_t write_sources(const char *const paths[4])
{
    Pixels panorama = panorama_make(&(PanoramaOptions){.width = 1024, .height = 512});
    unsigned state = 1;
    for (size_t i = 0; i < panorama.width * panorama.height * 3; i++) {
        state = state * 1664525u + 1013904223u;
        panorama.codes[i] = (uint16_t)(panorama.codes[i] * 3 / 4 + (state >> 27));
    }
    jpeg_write(paths[0], &panorama, NULL);
    jpeg_write(paths[1], &panorama, &(JpegOptions){.horizontal = 1, .vertical = 1, .restart_rows = 3});
    tiff_write(paths[2], &panorama, &(TiffOptions){.compression = 8});
    tiff_write(paths[3], &panorama, &(TiffOptions){.compression = 8, .tile_side = 64});
    pixels_free(&panorama);
    return 4;
}

static const char *const sources[4] = {"a.jpg", "b.jpg", "c.tif", "d.tif"};

/* Pixels, metadata and address do not depend on what else was taken out, nor on how much was read for it. */
Test(cli_faces, are_the_same_whichever_are_taken)
{
    char one[64], all[64], face[16];
    for (size_t i = 0; i < write_sources(sources); i++) {
        run_well(RUN_UNDERFOOT("faces", sources[i], "-o", "all", "--overwrite"));
        for (int f = 0; f < 6; f++) {
            snprintf(face, sizeof face, "%s", names[f]);
            run_well(RUN_UNDERFOOT("faces", sources[i], "-o", "one", "--only", face, "--overwrite"));
            for (int sidecar = 0; sidecar < 2; sidecar++) {
                snprintf(one, sizeof one, "one/%s.png%s", names[f], sidecar ? ".home.ini" : "");
                snprintf(all, sizeof all, "all/%s.png%s", names[f], sidecar ? ".home.ini" : "");
                cr_expect(file_same(one, all), "%s of %s", one, sources[i]);
            }
        }
        Bytes text = file_read("all/down.png.home.ini");
        cr_expect_not_null(strstr((const char *)text.data, "\nversion = 2\n"));
        cr_expect_not_null(strstr((const char *)text.data, "-512\n"), "%s", (const char *)text.data);
        bytes_free(&text);
    }
}

/*
 * What a picture does not show cannot spoil it, and is not gone through: damage there is found by what looks
 * at it. A file that was cut off is refused whatever is asked of it, where that shows without unpacking
 * anything.
 */
Test(cli_faces, are_not_kept_back_by_damage_elsewhere)
{
    static uint8_t noise[60000]; /* more than a strip */
    memset(noise, 0xA5, sizeof noise);
    for (size_t i = 0; i < write_sources(sources); i++) {
        run_well(RUN_UNDERFOOT("faces", sources[i], "-o", "whole", "--overwrite"));
        Bytes file = file_read(sources[i]);
        /* strips and tiles come before the directory; the last quarter of the rows in every one of the files
         */
        file_poke(sources[i], file.size * 9 / 10, noise, i < 2 ? 64 : sizeof noise);
        REFUSED(1, "damaged", "faces", sources[i], "-o", "out");
        REFUSED(1, "damaged", "faces", sources[i], "-o", "out", "--only", "down");
        REFUSED(1, "damaged", "view", sources[i], "-o", "out.png", "--pitch", "-60", "--size", "40x40");
        run_well(RUN_UNDERFOOT("faces", sources[i], "-o", "up", "--only", "up", "--overwrite"));
        cr_expect(file_same("up/up.png", "whole/up.png"), "%s", sources[i]);
        run_well(
            RUN_UNDERFOOT("view", sources[i], "-o", "v.png", "--pitch", "50", "--fov", "40", "--overwrite"));
        run_well(
            RUN_UNDERFOOT("planet", sources[i], "-o", "p.png", "--sky-centre", "--fov", "60", "--overwrite"));
        file_cut(sources[i], i < 2 ? "cut.jpg" : "cut.tif", -200);
        REFUSED(1, "", "faces", i < 2 ? "cut.jpg" : "cut.tif", "-o", "out", "--only", "up");
        run_well(RUN_PROGRAM("rm", "-f", "cut.jpg", "cut.tif"));
        bytes_free(&file);
    }
}

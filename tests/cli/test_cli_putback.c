/*
 * `underfoot putback`: faces out, through an "editor" (the tests paint in the files themselves, with libjpeg,
 * libpng and libtiff directly), and home.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/json.h"
#include "support/pictures.h"
#include "support/program.h"

#define WIDTH  1024u
#define HEIGHT 512u

static const char photo_sphere[] =
    "<?xpacket begin=\"\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?><x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF "
    "xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><rdf:Description rdf:about=\"\" "
    "xmlns:GPano=\"http://ns.google.com/photos/1.0/panorama/\" GPano:ProjectionType=\"equirectangular\" "
    "GPano:FullPanoWidthPixels=\"1024\" GPano:PoseHeadingDegrees=\"42.5\"/></rdf:RDF></x:xmpmeta>"
    "<?xpacket end=\"w\"?>";

/* Detail of four to five pixels over the smooth colours, so that blocks and samples all differ. */
static Pixels hall(unsigned bits)
{
    Pixels pixels = panorama_make(&(PanoramaOptions){.width = WIDTH, .height = HEIGHT, .bits = bits});
    double most = bits == 8 ? 255 : 65535;
    for (size_t y = 0; y < HEIGHT; y++)
        for (size_t x = 0; x < WIDTH; x++)
            for (size_t c = 0; c < 3; c++) {
                double wave = 0.06 * most * sin((double)x * 1.3) * cos((double)y * 1.45);
                uint16_t *code = &pixels.codes[(y * WIDTH + x) * 3 + c];
                *code = (uint16_t)lround(*code + wave);
            }
    return pixels;
}

static void make_pictures(void)
{
    folder_enter();
    Pixels pixels = hall(8), deep = hall(16);
    jpeg_write("hall.jpg", &pixels, &(JpegOptions){.quality = 90, .xmp = photo_sphere});
    png_write("hall.png", &pixels, &(PngOptions){.xmp = photo_sphere});
    tiff_write("deep.tif", &deep, NULL);
    pixels_free(&pixels);
    pixels_free(&deep);
}

TestSuite(cli_putback, .init = make_pictures, .fini = folder_leave);

static void run_well(int status, Run run)
{
    cr_assert_eq(run.status, status, "status %d: %s", run.status, run.err);
    run_free(&run);
}

static void take_faces(const char *panorama, const char *format)
{
    run_well(0, RUN_UNDERFOOT("faces", panorama, "-o", "faces", "--format", format));
}

/* A brush of 50 pixels across, red, at (x, y); the file is written anew without any metadata. */
#define BRUSH_PX 25

static Pixels brushed(const char *path, size_t x, size_t y)
{
    Pixels pixels = picture_decode(path);
    size_t colours = pixels.channels - (pixels.channels % 2 == 0);
    for (size_t v = 0; v < pixels.height; v++)
        for (size_t u = 0; u < pixels.width; u++) {
            double away = hypot((double)u - (double)x, (double)v - (double)y);
            for (size_t c = 0; away <= BRUSH_PX && c < colours; c++)
                pixels.codes[(v * pixels.width + u) * pixels.channels + c] =
                    c == 0 ? (pixels.bits == 8 ? 255 : 65535) : 0;
        }
    return pixels;
}

static void brush_png(const char *from, const char *to, size_t x, size_t y)
{
    Pixels pixels = brushed(from, x, y);
    png_write(to, &pixels, NULL);
    pixels_free(&pixels);
}

/*
 * The panorama's columns and rows in which a brush at the middle of the right face (it looks at x = 3/4 W, y
 * = H/2) may change anything: there a face's pixel is a pixel of the panorama. 3 pixels of soft edge, 2 of
 * the kernel.
 */
#define REACH_PX (BRUSH_PX + 5)
#define MIDDLE_X (WIDTH * 3 / 4)
#define MIDDLE_Y (HEIGHT / 2)

/* `grid`: changes are whole blocks of that many pixels. */
static size_t count_changes(const char *before, const char *after, size_t grid)
{
    Pixels a = picture_decode(before), b = picture_decode(after);
    size_t inside = 0, x0 = (MIDDLE_X - REACH_PX) / grid * grid, y0 = (MIDDLE_Y - REACH_PX) / grid * grid;
    size_t x1 = (MIDDLE_X + REACH_PX + grid) / grid * grid, y1 = (MIDDLE_Y + REACH_PX + grid) / grid * grid;
    cr_assert(a.width == b.width && a.height == b.height && a.channels == b.channels && a.bits == b.bits);
    for (size_t y = 0; y < a.height; y++)
        for (size_t x = 0; x < a.width; x++) {
            size_t at = (y * a.width + x) * a.channels;
            if (memcmp(a.codes + at, b.codes + at, a.channels * sizeof *a.codes) == 0)
                continue;
            bool is_inside = x >= x0 && x < x1 && y >= y0 && y < y1;
            cr_expect(is_inside, "%s: pixel %zu, %zu changed", after, x, y);
            if (!is_inside) {
                pixels_free(&a);
                pixels_free(&b);
                return 0;
            }
            inside++;
        }
    pixels_free(&a);
    pixels_free(&b);
    return inside;
}

Test(cli_putback, copies_the_panorama_when_nothing_changed)
{
    const char *const panoramas[][2] = {
        {"hall.jpg", "out.jpg"}, {"hall.png", "out.png"}, {"deep.tif", "out.tif"}};
    for (size_t i = 0; i < 3; i++) {
        run_well(0, RUN_UNDERFOOT("faces", panoramas[i][0], "-o", "faces", "--overwrite"));
        Run run = RUN_UNDERFOOT("putback", panoramas[i][0], "faces/front.png", "faces/down.png",
                                "faces/left.png", "-o", panoramas[i][1]);
        cr_expect_eq(run.status, 2, "%s", run.err);
        cr_expect(strstr(run.err, "no change found") != NULL, "%s", run.err);
        cr_expect(strstr(run.out, "no change") != NULL, "%s", run.out);
        cr_expect(file_same(panoramas[i][0], panoramas[i][1]), "%s", panoramas[i][1]);
        run_free(&run);
    }
}

Test(cli_putback, brings_a_brush_stroke_home_and_nothing_else)
{
    take_faces("hall.png", "png");
    brush_png("faces/right.png", "faces/right.png", 163, 163);
    Run run = RUN_UNDERFOOT("putback", "hall.png", "faces/right.png", "-o", "out.png", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    size_t changed = count_changes("hall.png", "out.png", 1);
    /* a disc of radius 25 has 1963 pixels */
    cr_expect(changed > 1900 && changed < 2600, "%zu pixels", changed);
    cr_expect_eq(json_number_at(run.out, "changed_px"), (double)changed);
    cr_expect_eq(json_number_at(run.out, "edits.0.changed_px"), 1961); /* lattice points of that disc */
    cr_expect_float_eq(json_number_at(run.out, "edits.0.lon_deg"), 90, 0.3);
    cr_expect_float_eq(json_number_at(run.out, "edits.0.lat_deg"), 0, 0.3);
    Pixels pixels = picture_decode("out.png");
    cr_expect_float_eq(pixels_at(&pixels, MIDDLE_X, MIDDLE_Y, 0), 1, 1.0 / 255);
    cr_expect_float_eq(pixels_at(&pixels, MIDDLE_X, MIDDLE_Y, 1), 0, 1.0 / 255);
    pixels_free(&pixels);
    run_free(&run);
}

/* The tests' decoder takes each MCU by itself, so an MCU whose coefficients are the same decodes the same. */
Test(cli_putback, keeps_every_other_block_of_a_jpeg)
{
    take_faces("hall.jpg", "png");
    brush_png("faces/right.png", "faces/right.png", 163, 163);
    run_well(0, RUN_UNDERFOOT("putback", "hall.jpg", "faces/right.png", "-o", "out.jpg"));
    size_t changed = count_changes("hall.jpg", "out.jpg", 16);
    cr_expect(changed > 1900 && changed < 96 * 96, "%zu pixels", changed);
    cr_expect(jpeg_same_blocks("hall.jpg", "out.jpg", (MIDDLE_Y - REACH_PX) / 16 * 16));
}

Test(cli_putback, keeps_photo_sphere_metadata)
{
    const char *const names[][2] = {{"hall.jpg", "out.jpg"}, {"hall.png", "out.png"}};
    for (size_t i = 0; i < 2; i++) {
        run_well(0, RUN_UNDERFOOT("faces", names[i][0], "-o", "faces", "--overwrite"));
        brush_png("faces/right.png", "faces/right.png", 100, 200);
        run_well(0, RUN_UNDERFOOT("putback", names[i][0], "faces/right.png", "-o", names[i][1]));
        Run run = RUN_PROGRAM("exiftool", "-n", "-json", "-XMP-GPano:all", names[i][1]);
        cr_assert_eq(run.status, 0, "%s", run.err);
        cr_expect_float_eq(json_number_at(run.out, "0.PoseHeadingDegrees"), 42.5, 1e-9);
        cr_expect_eq(json_number_at(run.out, "0.FullPanoWidthPixels"), 1024);
        run_free(&run);
    }
}

Test(cli_putback, takes_an_edit_saved_as_jpeg_and_finds_the_sidecar_of_the_png)
{
    take_faces("hall.png", "png");
    Pixels pixels = brushed("faces/right.png", 163, 163), plain = picture_decode("faces/left.png");
    jpeg_write("faces/right.jpg", &pixels, &(JpegOptions){.quality = 90});
    jpeg_write("faces/left.jpg", &plain, &(JpegOptions){.quality = 90});
    pixels_free(&pixels);
    pixels_free(&plain);
    Run run =
        RUN_UNDERFOOT("putback", "hall.png", "faces/right.jpg", "faces/left.jpg", "-o", "out.png", "--json");
    cr_assert_eq(run.status, 0, "%s", run.err);
    cr_expect_eq(json_number_at(run.out, "edits.1.changed_px"), 0);
    cr_expect_eq(json_number_at(run.out, "edits.0.exact"), 0);
    size_t changed = count_changes("hall.png", "out.png", 32);
    cr_expect(changed > 1900 && changed < 5000, "%zu pixels", changed);
    run_free(&run);
}

Test(cli_putback, needs_an_address_and_takes_it_by_hand)
{
    take_faces("hall.png", "png");
    brush_png("faces/right.png", "lost.png", 163, 163);
    Run lost = RUN_UNDERFOOT("putback", "hall.png", "lost.png", "-o", "out.png");
    cr_expect_eq(lost.status, 1);
    cr_expect(strstr(lost.err, "--as") != NULL && strstr(lost.err, "lost.png.home.ini") != NULL, "%s",
              lost.err);
    cr_expect(!file_exists("out.png"));
    run_free(&lost);
    run_well(0, RUN_UNDERFOOT("putback", "hall.png", "lost.png", "-o", "out.png", "--as", "right"));
    cr_expect_gt(count_changes("hall.png", "out.png", 1), 1900);
    Run wrong = RUN_UNDERFOOT("putback", "hall.png", "lost.png", "-o", "wrong.png", "--as", "left");
    cr_expect_eq(wrong.status, 1);
    cr_expect(strstr(wrong.err, "is it that face") != NULL, "%s", wrong.err);
    cr_expect(!file_exists("wrong.png"));
    run_free(&wrong);
    run_well(0, RUN_UNDERFOOT("view", "hall.png", "-o", "view.png", "--yaw", "90", "--fov", "60", "--size",
                              "240x160"));
    Pixels view = picture_decode("view.png");
    png_write("plain.png", &view, NULL);
    pixels_free(&view);
    run_well(2, RUN_UNDERFOOT("putback", "hall.png", "plain.png", "-o", "same.png", "--yaw", "450", "--fov",
                              "60"));
    cr_expect(file_same("hall.png", "same.png"));
}

/* A face that was read for alone knows its own panorama, that one changed elsewhere, and no other. */
Test(cli_putback, knows_the_panorama_by_what_the_face_looked_at)
{
    run_well(0, RUN_UNDERFOOT("faces", "hall.jpg", "-o", "faces", "--only", "up"));
    brush_png("faces/up.png", "up.png", 163, 163);
    Run sidecar = RUN_PROGRAM("mv", "faces/up.png.home.ini", "up.png.home.ini");
    run_well(0, sidecar);
    run_well(0, RUN_UNDERFOOT("patch", "hall.jpg", "-o", "patched.jpg", "--cap", "20", "--fill", "smooth"));
    run_well(0, RUN_UNDERFOOT("tag", "patched.jpg", "-o", "tagged.jpg", "--heading", "10"));
    run_well(0, RUN_UNDERFOOT("putback", "tagged.jpg", "up.png", "-o", "out.jpg"));
    Pixels other = hall(8);
    for (size_t i = 0; i < other.width * other.height * other.channels; i++)
        other.codes[i] = (uint16_t)(255 - other.codes[i]);
    jpeg_write("other.jpg", &other, NULL);
    pixels_free(&other);
    Run wrong = RUN_UNDERFOOT("putback", "other.jpg", "up.png", "-o", "wrong.jpg");
    cr_expect_eq(wrong.status, 1);
    cr_expect(strstr(wrong.err, "belongs to another panorama, hall.jpg") != NULL, "%s", wrong.err);
    cr_expect(!file_exists("wrong.jpg"));
    run_free(&wrong);
}

Test(cli_putback, says_when_the_options_contradict_the_address)
{
    take_faces("hall.png", "png");
    Pixels right = picture_decode("faces/right.png");
    png_write("faces/left.png", &right, NULL); /* the right face beside the left one's sidecar */
    pixels_free(&right);
    Run run = RUN_UNDERFOOT("putback", "hall.png", "faces/left.png", "-o", "out.png", "--as", "right");
    cr_expect_eq(run.status, 2);
    cr_expect(strstr(run.err, "left face") != NULL && strstr(run.err, "right face") != NULL, "%s", run.err);
    cr_expect(file_same("hall.png", "out.png"));
    run_free(&run);
}

Test(cli_putback, brings_sheets_home)
{
    const char *const shapes[] = {"strip", "cross"};
    const size_t places[][2] = {{326 + 163, 163}, {652 + 163, 326 + 163}}; /* the right face's middle */
    for (size_t i = 0; i < 2; i++) {
        run_well(0,
                 RUN_UNDERFOOT("faces", "hall.png", "-o", "sheet.png", "--sheet", shapes[i], "--overwrite"));
        run_well(2, RUN_UNDERFOOT("putback", "hall.png", "sheet.png", "-o", "same.png", "--overwrite"));
        brush_png("sheet.png", "sheet.png", places[i][0], places[i][1]);
        run_well(0, RUN_UNDERFOOT("putback", "hall.png", "sheet.png", "-o", "out.png", "--overwrite"));
        cr_expect_gt(count_changes("hall.png", "out.png", 1), 1900, "%s", shapes[i]);
    }
}

Test(cli_putback, replaces_the_panorama_only_when_told_to)
{
    take_faces("hall.jpg", "png");
    brush_png("faces/right.png", "faces/right.png", 163, 163);
    FileState state = file_state("hall.jpg");
    Run run = RUN_UNDERFOOT("putback", "hall.jpg", "faces/right.png", "-o", "hall.jpg");
    cr_expect_eq(run.status, 1);
    cr_expect(strstr(run.err, "--overwrite") != NULL, "%s", run.err);
    cr_expect(file_unchanged("hall.jpg", &state));
    run_free(&run);
    file_copy("hall.jpg", "before.jpg");
    run_well(0, RUN_UNDERFOOT("putback", "hall.jpg", "faces/right.png", "-o", "hall.jpg", "--overwrite"));
    cr_expect_gt(count_changes("before.jpg", "hall.jpg", 16), 1900);
}

static void expect_nothing(int status, const char *words, Run run)
{
    cr_expect_eq(run.status, status, "%d: %s", run.status, run.err);
    cr_expect(strstr(run.err, words) != NULL, "'%s' is not in: %s", words, run.err);
    cr_expect(!file_exists("out.png"));
    cr_expect_eq(run.out_bytes, 0);
    run_free(&run);
}

Test(cli_putback, refuses_what_makes_no_sense)
{
    take_faces("hall.png", "png");
    FileState state = file_state("hall.png");
    Pixels other = panorama_make(&(PanoramaOptions){.width = WIDTH, .height = HEIGHT, .dark = true});
    png_write("other.png", &other, NULL);
    pixels_free(&other);
    Pixels face = picture_decode("faces/right.png");
    face.height = 200;
    png_write("faces/up.png", &face, NULL); /* beside the up face's sidecar */
    pixels_free(&face);
    file_cut("faces/down.png", "faces/back.png", 3000);
    file_write("noise.png", "no picture", 10);
#define PUTBACK(...) RUN_UNDERFOOT("putback", __VA_ARGS__, "-o", "out.png")
    expect_nothing(1, "another panorama, hall.png", PUTBACK("other.png", "faces/right.png"));
    expect_nothing(1, "a face is square", PUTBACK("hall.png", "faces/up.png"));
    expect_nothing(1, "faces/back.png", PUTBACK("hall.png", "faces/back.png"));
    expect_nothing(1, "noise.png", PUTBACK("hall.png", "noise.png"));
    expect_nothing(1, "nowhere.png", PUTBACK("hall.png", "nowhere.png"));
    expect_nothing(1, "the panorama itself", PUTBACK("hall.png", "hall.png"));
    expect_nothing(1, "twice as wide", PUTBACK("faces/right.png", "faces/left.png"));
    expect_nothing(64, "no such face", PUTBACK("hall.png", "faces/right.png", "--as", "top"));
    expect_nothing(64, "one or the other",
                   PUTBACK("hall.png", "faces/right.png", "--as", "right", "--yaw", "3"));
    expect_nothing(64, "one picture",
                   PUTBACK("hall.png", "faces/right.png", "faces/left.png", "--as", "right"));
    expect_nothing(64, "tolerance", PUTBACK("hall.png", "faces/right.png", "--tolerance", "256"));
    expect_nothing(64, "EDITED", PUTBACK("hall.png"));
    cr_expect(file_unchanged("hall.png", &state));
}

/* The home address: text and back, XMP, sidecar, the view that it is, and what is refused. */
#include <underfoot/home.h>

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/files.h"
#include "support/program.h"

TestSuite(home, .init = folder_enter, .fini = folder_leave);

/* A panorama of noise, so that every pixel counts. */
static UfPicture *noise_panorama(size_t width_px, UfSample sample)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width_px, width_px / 2, 3, sample, &picture, NULL), UF_OK);
    unsigned state = 7;
    for (size_t y = 0; y < width_px / 2; y++) {
        uint8_t *row = uf_picture_row(picture, y);
        for (size_t i = 0; i < width_px * 3 * (size_t)sample; i++) {
            state = state * 1664525u + 1013904223u;
            row[i] = (uint8_t)(state >> 24);
        }
    }
    return picture;
}

static UfHome view_home(void)
{
    return (UfHome){.kind = UF_HOME_VIEW,
                    .yaw_deg = -33.1234567891234,
                    .pitch_deg = 1.0 / 3,
                    .roll_deg = -0.000000001,
                    .fov_deg = 97.3,
                    .width_px = 60,
                    .height_px = 45,
                    .panorama_width_px = 256,
                    .first_row_px = 7,
                    .end_row_px = 128,
                    .fingerprint = {{0, 1, 2, 0xff, 0x80}},
                    .source = " 100% hall; \"a\"\n\xC3\xA4\xFF "};
}

static UfHome planet_home(void)
{
    return (UfHome){.kind = UF_HOME_PLANET,
                    .yaw_deg = 359.999999999,
                    .fov_deg = 300,
                    .sky_centre = true,
                    .width_px = 64,
                    .height_px = 64,
                    .sampling = UF_SAMPLING_BILINEAR,
                    .panorama_width_px = 256};
}

static UfHome face_home(UfFace face)
{
    return (UfHome){.kind = UF_HOME_FACE,
                    .face = face,
                    .width_px = 80,
                    .height_px = 80,
                    .panorama_width_px = 256,
                    .source = "hall.tif"};
}

static void assert_same_home(const UfHome *a, const UfHome *b)
{
    cr_assert_eq(a->kind, b->kind);
    cr_assert_eq(a->face, b->face);
    cr_assert_float_eq(a->yaw_deg, b->yaw_deg, 0.6e-9);
    cr_assert_float_eq(a->pitch_deg, b->pitch_deg, 0.6e-9);
    cr_assert_float_eq(a->roll_deg, b->roll_deg, 0.6e-9);
    cr_assert_float_eq(a->fov_deg, b->fov_deg, 0.6e-9);
    cr_assert_eq(a->sky_centre, b->sky_centre);
    cr_assert_eq(a->width_px, b->width_px);
    cr_assert_eq(a->height_px, b->height_px);
    cr_assert_eq(a->sampling, b->sampling);
    cr_assert_eq(a->panorama_width_px, b->panorama_width_px);
    cr_assert_eq(a->first_row_px, b->first_row_px);
    cr_assert_eq(a->end_row_px, b->end_row_px);
    cr_assert(uf_fingerprint_same(&a->fingerprint, &b->fingerprint));
    cr_assert_str_eq(a->source, b->source);
}

static UfPicture *extract(const UfHome *home, const UfPicture *panorama, int threads)
{
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_home_extract(home, panorama, threads, NULL, &out, report), UF_OK, "%s",
                 uf_report_error(report));
    uf_report_free(&report);
    return out;
}

static void assert_same_pixels(const UfPicture *a, const UfPicture *b)
{
    UfFingerprint of_a = uf_picture_fingerprint(a, 0, 0);
    UfFingerprint of_b = uf_picture_fingerprint(b, 0, 0);
    cr_assert(uf_fingerprint_same(&of_a, &of_b));
}

/* Written into a file of each format, read from it, and found to make the same samples again. */
static void go_and_come(const UfHome *home, const char *path)
{
    UfReport *report = uf_report_create();
    UfPicture *panorama = noise_panorama(256, UF_SAMPLE_U8);
    UfPicture *out = extract(home, panorama, 1);
    UfPicture *back = NULL;
    UfHome found = {0};
    bool is_found = false;
    cr_assert_eq(uf_home_dress(home, panorama, out, report), UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(uf_picture_write(out, path, NULL, report), UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(uf_picture_read(path, NULL, &back, report), UF_OK);
    cr_assert_eq(uf_home_find(back, path, &found, &is_found, report), UF_OK, "%s", uf_report_error(report));
    cr_assert(is_found);
    cr_assert_eq(uf_report_warning_count(report), 0);
    assert_same_home(home, &found);
    UfPicture *again = extract(&found, panorama, 3);
    assert_same_pixels(out, again);
    uf_picture_free(&again);
    uf_picture_free(&back);
    uf_picture_free(&out);
    uf_picture_free(&panorama);
    uf_report_free(&report);
}

Test(home, travels_in_the_xmp_of_every_format)
{
    UfHome view = view_home();
    UfHome planet = planet_home();
    UfHome face = face_home(UF_FACE_UP);
    go_and_come(&view, "view.png");
    go_and_come(&planet, "planet.jpg");
    go_and_come(&face, "up.tif");
}

Test(home, travels_in_the_sidecar_when_the_picture_says_nothing)
{
    UfPicture *plain = noise_panorama(64, UF_SAMPLE_U8);
    UfHome homes[] = {view_home(), planet_home(), face_home(UF_FACE_LEFT)};
    for (size_t i = 0; i < sizeof homes / sizeof homes[0]; i++) {
        UfHome found = {0};
        bool is_found = false;
        cr_assert_eq(uf_home_write_sidecar(&homes[i], "a.png", true, NULL), UF_OK);
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_home_find(plain, "a.png", &found, &is_found, report), UF_OK, "%s",
                     uf_report_error(report));
        uf_report_free(&report);
        cr_assert(is_found);
        assert_same_home(&homes[i], &found);
    }
    cr_assert(file_exists("a.png.home.ini"));
    uf_picture_free(&plain);
}

Test(home, is_not_found_where_there_is_none)
{
    UfPicture *plain = noise_panorama(64, UF_SAMPLE_U8);
    UfHome found = {.width_px = 77};
    bool is_found = true;
    cr_assert_eq(uf_home_find(plain, "a.png", &found, &is_found, NULL), UF_OK);
    cr_assert_not(is_found);
    cr_assert_eq(found.width_px, 77);
    uf_picture_free(&plain);
}

Test(home, sidecar_of_another_format_serves_unless_two_disagree)
{
    UfHome face = face_home(UF_FACE_FRONT);
    UfHome found = {0};
    bool is_found = false;
    cr_assert_eq(uf_home_write_sidecar(&face, "front.tif", false, NULL), UF_OK);
    cr_assert_eq(uf_home_read_sidecar("front.jpg", &found, &is_found, NULL), UF_OK);
    cr_assert(is_found);
    assert_same_home(&face, &found);
    cr_assert_eq(uf_home_read_sidecar("frond.jpg", &found, &is_found, NULL), UF_OK);
    cr_assert_not(is_found);
    cr_assert_eq(uf_home_write_sidecar(&face, "front.png", false, NULL), UF_OK);
    cr_assert_eq(uf_home_read_sidecar("front.jpg", &found, &is_found, NULL), UF_OK);
    face.face = UF_FACE_BACK;
    cr_assert_eq(uf_home_write_sidecar(&face, "front.png", true, NULL), UF_OK);
    cr_assert_eq(uf_home_read_sidecar("front.jpg", &found, &is_found, NULL), UF_ERROR_UNCLEAR);
    /* its own is not asked about the others */
    cr_assert_eq(uf_home_read_sidecar("front.png", &found, &is_found, NULL), UF_OK);
    cr_assert_eq(found.face, UF_FACE_BACK);
}

Test(home, xmp_wins_over_a_sidecar_that_says_something_else)
{
    UfPicture *picture = noise_panorama(64, UF_SAMPLE_U8);
    UfReport *report = uf_report_create();
    UfHome inside = face_home(UF_FACE_UP);
    UfHome beside = face_home(UF_FACE_DOWN);
    UfHome found = {0};
    bool is_found = false;
    cr_assert_eq(uf_home_set(picture, &inside, report), UF_OK);
    cr_assert_eq(uf_home_write_sidecar(&inside, "a.png", false, report), UF_OK);
    cr_assert_eq(uf_home_find(picture, "a.png", &found, &is_found, report), UF_OK);
    cr_assert_eq(uf_report_warning_count(report), 0);
    cr_assert_eq(uf_home_write_sidecar(&beside, "a.png", true, report), UF_OK);
    cr_assert_eq(uf_home_find(picture, "a.png", &found, &is_found, report), UF_OK);
    cr_assert_eq(found.face, UF_FACE_UP);
    cr_assert_eq(uf_report_warning_count(report), 1);
    file_write("a.png.home.ini", "nonsense\n", 9);
    cr_assert_eq(uf_home_find(picture, "a.png", &found, &is_found, report), UF_OK);
    cr_assert_eq(found.face, UF_FACE_UP);
    cr_assert_eq(uf_report_warning_count(report), 2);
    cr_assert_eq(uf_home_drop(picture, report), UF_OK);
    cr_assert_eq(uf_home_get(picture, &found, &is_found, report), UF_OK);
    cr_assert_not(is_found);
    uf_report_free(&report);
    uf_picture_free(&picture);
}

/* The rest of the XMP stays. */
Test(home, leaves_the_other_properties_alone)
{
    UfPicture *picture = noise_panorama(64, UF_SAMPLE_U8);
    UfPhotoSphere sphere = {.has_heading = true, .heading_deg = 12.5};
    UfHome home = face_home(UF_FACE_UP);
    cr_assert_eq(uf_picture_set_photo_sphere(picture, &sphere, NULL), UF_OK);
    cr_assert_eq(uf_home_set(picture, &home, NULL), UF_OK);
    cr_assert_eq(uf_home_drop(picture, NULL), UF_OK);
    UfPhotoSphere found = {0};
    cr_assert_eq(uf_picture_photo_sphere(picture, &found, NULL), UF_OK);
    cr_assert(found.has_heading);
    cr_assert_float_eq(found.heading_deg, 12.5, 1e-9);
    uf_picture_free(&picture);
}

Test(home, sheets_hold_the_faces_at_their_places)
{
    UfPicture *panorama = noise_panorama(256, UF_SAMPLE_U16);
    UfHome strip = face_home(UF_FACE_FRONT);
    strip.kind = UF_HOME_STRIP;
    strip.width_px = 240;
    strip.height_px = 40;
    UfHome cross = strip;
    cross.kind = UF_HOME_CROSS;
    cross.width_px = 160;
    cross.height_px = 120;
    UfPicture *strip_picture = extract(&strip, panorama, 1);
    UfPicture *cross_picture = extract(&cross, panorama, 1);
    cr_assert_eq(uf_picture_channels(strip_picture), 3);
    cr_assert_eq(uf_picture_channels(cross_picture), 4);
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        UfHome home = face_home((UfFace)f);
        home.width_px = home.height_px = 40;
        UfPicture *face = extract(&home, panorama, 1);
        size_t x;
        size_t y;
        uf_home_sheet_place(UF_HOME_CROSS, (UfFace)f, 40, &x, &y);
        for (size_t j = 0; j < 40; j++) {
            const uint16_t *row = uf_picture_row_const(face, j);
            const uint16_t *in_strip = (const uint16_t *)uf_picture_row_const(strip_picture, j) + 3 * 40 * f;
            const uint16_t *in_cross = (const uint16_t *)uf_picture_row_const(cross_picture, y + j) + 4 * x;
            cr_assert_arr_eq(row, in_strip, 40 * 3 * sizeof *row);
            for (size_t i = 0; i < 40; i++) {
                cr_assert_arr_eq(row + 3 * i, in_cross + 4 * i, 3 * sizeof *row);
                cr_assert_eq(in_cross[4 * i + 3], 65535);
            }
        }
        uf_picture_free(&face);
    }
    const uint16_t *corner = uf_picture_row_const(cross_picture, 0);
    cr_assert_eq(corner[3], 0);
    uf_picture_free(&strip_picture);
    uf_picture_free(&cross_picture);
    uf_picture_free(&panorama);
}

/* The layout on the page: up above front, down below it, left to its left. */
Test(home, cross_joins_the_faces_that_meet)
{
    size_t x;
    size_t y;
    uf_home_sheet_place(UF_HOME_CROSS, UF_FACE_UP, 1, &x, &y);
    cr_assert(x == 1 && y == 0);
    uf_home_sheet_place(UF_HOME_CROSS, UF_FACE_FRONT, 1, &x, &y);
    cr_assert(x == 1 && y == 1);
    uf_home_sheet_place(UF_HOME_CROSS, UF_FACE_LEFT, 1, &x, &y);
    cr_assert(x == 0 && y == 1);
    uf_home_sheet_place(UF_HOME_CROSS, UF_FACE_DOWN, 1, &x, &y);
    cr_assert(x == 1 && y == 2);
}

Test(home, knows_its_panorama_by_its_pixels)
{
    UfReport *report = uf_report_create();
    UfPicture *panorama = noise_panorama(256, UF_SAMPLE_U16);
    UfHome home = face_home(UF_FACE_FRONT);
    home.sampling = UF_SAMPLING_BICUBIC;
    cr_assert_eq(uf_home_set_panorama(&home, panorama, "tour/hall.tif", report), UF_OK);
    cr_assert_str_eq(home.source, "hall.tif");
    cr_assert_eq(uf_home_check_panorama(&home, panorama, report), UF_OK);
    uint16_t *row = uf_picture_row(panorama, 100);
    row[5] ^= 1;
    cr_assert_eq(uf_home_check_panorama(&home, panorama, report), UF_ERROR_ARGUMENT);
    cr_assert(strstr(uf_report_error(report), "hall.tif") != NULL);
    row[5] ^= 1;
    cr_assert_eq(uf_home_check_panorama(&home, panorama, report), UF_OK);
    UfPicture *other = noise_panorama(128, UF_SAMPLE_U16);
    cr_assert_eq(uf_home_check_panorama(&home, other, report), UF_ERROR_ARGUMENT);
    cr_assert(strstr(uf_report_error(report), "256 x 128") != NULL);
    uf_picture_free(&other);
    uf_picture_free(&panorama);
    uf_report_free(&report);
}

/* What a picture does not look at says nothing about where it belongs; what it looks at does, to the first
 * and the last row. A sheet looks at everything. */
Test(home, knows_its_panorama_by_the_rows_that_it_looks_at)
{
    UfPicture *panorama = noise_panorama(512, UF_SAMPLE_U8);
    UfHome down = face_home(UF_FACE_DOWN), strip = face_home(UF_FACE_FRONT);
    down.sampling = UF_SAMPLING_BICUBIC;
    strip.kind = UF_HOME_STRIP;
    strip.width_px *= 6;
    down.panorama_width_px = strip.panorama_width_px = 512;
    cr_assert_eq(uf_home_set_panorama(&down, panorama, NULL, NULL), UF_OK);
    cr_assert_eq(uf_home_set_panorama(&strip, panorama, NULL, NULL), UF_OK);
    cr_assert(down.first_row_px > 100 && down.first_row_px < 180, "%zu", down.first_row_px);
    cr_assert_eq(down.end_row_px, 256);
    cr_assert(strip.first_row_px == 0 && strip.end_row_px == 0);
    for (size_t y = 0; y < 256; y++) {
        uint8_t *row = uf_picture_row(panorama, y);
        row[3 * y] ^= 1;
        cr_expect_eq(uf_home_is_of(&down, panorama), y < down.first_row_px, "row %zu", y);
        cr_expect_not(uf_home_is_of(&strip, panorama), "row %zu", y);
        row[3 * y] ^= 1;
    }
    UfPicture *before = extract(&down, panorama, 1);
    for (size_t y = 0; y < down.first_row_px; y++)
        memset(uf_picture_row(panorama, y), 0, uf_picture_stride_bytes(panorama));
    UfPicture *after = extract(&down, panorama, 1);
    assert_same_pixels(before, after);
    uf_picture_free(&before);
    uf_picture_free(&after);
    uf_picture_free(&panorama);
}

/* Width, height, channels and bytes a sample, then all rows: 4 x 2 grey pixels of 8 bits, 1 to 8. The value
 * is that of XXH3_128bits, libxxhash's own function, over these 40 bytes at once. */
Test(home, understands_addresses_from_before_there_were_rows)
{
    static const char text[] =
        "[home]\nversion = 1\nkind = face\nface = down\nsize = 2x2\nsampling = bicubic\n"
        "panorama-width = 4\nfingerprint = xxh3-128:0a0e7d90a569dce5cabf34ce9183f97d\n";
    UfPicture *panorama = NULL;
    UfHome found;
    bool is_found = false;
    file_write("a.png.home.ini", text, strlen(text));
    cr_assert_eq(uf_home_read_sidecar("a.png", &found, &is_found, NULL), UF_OK);
    cr_assert(is_found && found.first_row_px == 0 && found.end_row_px == 0);
    cr_assert_eq(uf_picture_create(4, 2, 1, UF_SAMPLE_U8, &panorama, NULL), UF_OK);
    for (size_t i = 0; i < 8; i++)
        ((uint8_t *)uf_picture_row(panorama, i / 4))[i % 4] = (uint8_t)(i + 1);
    cr_expect(uf_home_is_of(&found, panorama));
    *(uint8_t *)uf_picture_row(panorama, 0) = 0;
    cr_expect_not(uf_home_is_of(&found, panorama));
    uf_picture_free(&panorama);
}

/* XXH3's published check value for no bytes would not show the order of ours; so: what is different differs.
 */
Test(home, fingerprint_tells_shape_and_kind_apart)
{
    UfPicture *a = NULL;
    UfPicture *b = NULL;
    UfPicture *c = NULL;
    cr_assert_eq(uf_picture_create(8, 4, 1, UF_SAMPLE_U8, &a, NULL), UF_OK);
    cr_assert_eq(uf_picture_create(4, 8, 1, UF_SAMPLE_U8, &b, NULL), UF_OK);
    cr_assert_eq(uf_picture_create(4, 4, 1, UF_SAMPLE_U16, &c, NULL), UF_OK);
    UfFingerprint of_a = uf_picture_fingerprint(a, 0, 0);
    UfFingerprint of_b = uf_picture_fingerprint(b, 0, 0);
    UfFingerprint of_c = uf_picture_fingerprint(c, 0, 0);
    cr_assert_not(uf_fingerprint_same(&of_a, &of_b));
    cr_assert_not(uf_fingerprint_same(&of_a, &of_c));
    cr_assert_not(uf_fingerprint_same(&of_b, &of_c));
    uf_picture_free(&a);
    uf_picture_free(&b);
    uf_picture_free(&c);
}

Test(home, resized_views_keep_their_field)
{
    UfHome home = view_home();
    UfView whole;
    UfView half;
    cr_assert_eq(uf_home_view(&home, &whole, NULL), UF_OK);
    cr_assert_eq(uf_home_view_at(&home, 30, 23, &half, NULL), UF_OK);
    cr_assert_float_eq(half.scale_px, whole.scale_px / 2, 1e-12);
    cr_assert_float_eq(half.centre_y_px, 11.5, 1e-12);
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_home_view_at(&home, 30, 30, &half, report), UF_ERROR_ARGUMENT);
    cr_assert(strstr(uf_report_error(report), "60 x 45") != NULL, "%s", uf_report_error(report));
    uf_report_free(&report);
}

Test(home, refuses_what_makes_no_sense)
{
    UfHome bad[16];
    size_t count = 0;
    for (size_t i = 0; i < 12; i++)
        bad[i] = i < 6 ? view_home() : i < 9 ? planet_home() : face_home(UF_FACE_UP);
    bad[count++].fov_deg = 170.1;
    bad[count++].fov_deg = 0;
    bad[count++].yaw_deg = NAN;
    bad[count++].pitch_deg = 90.1;
    bad[count++].width_px = 0;
    bad[count++].panorama_width_px = 255;
    bad[count++].fov_deg = 359.9999999999;
    bad[count++].height_px = 63;
    bad[count++].sampling = (UfSampling)99;
    bad[count++].height_px = 81;
    bad[count++].face = UF_FACE_COUNT;
    bad[count++].kind = UF_HOME_STRIP;
    for (size_t i = 0; i < count; i++) {
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_home_check(&bad[i], report), UF_ERROR_ARGUMENT, "number %zu", i);
        cr_assert_str_neq(uf_report_error(report), "");
        cr_assert_neq(uf_home_write_sidecar(&bad[i], "bad.png", false, NULL), UF_OK);
        uf_report_free(&report);
    }
    cr_assert_not(file_exists("bad.png.home.ini"));
}

#define GOOD                                                                                                 \
    "[home]\nversion = 1\nkind = face\nface = up\nsize = 80x80\nsampling = bicubic\n"                        \
    "panorama-width = 256\nfingerprint = xxh3-128:00112233445566778899aabbccddeeff\n"

#define GOOD_ROWS                                                                                            \
    "[home]\nversion = 2\nkind = face\nface = up\nsize = 80x80\nsampling = bicubic\n"                        \
    "panorama-width = 256\nfingerprint = xxh3-128:00112233445566778899aabbccddeeff\nrows = "

static void assert_refused(const char *text, const char *word)
{
    UfHome found = {.width_px = 77};
    bool is_found = false;
    UfReport *report = uf_report_create();
    file_write("a.png.home.ini", text, strlen(text));
    cr_assert_neq(uf_home_read_sidecar("a.png", &found, &is_found, report), UF_OK, "%s", text);
    cr_assert(strstr(uf_report_error(report), "a.png.home.ini") != NULL, "%s", uf_report_error(report));
    cr_assert(strstr(uf_report_error(report), word) != NULL, "'%s' is not in: %s", word,
              uf_report_error(report));
    cr_assert_eq(found.width_px, 77);
    uf_report_free(&report);
}

Test(home, hostile_sidecars_are_refused_with_their_name)
{
    UfHome found;
    bool is_found = false;
    file_write("a.png.home.ini", GOOD, strlen(GOOD));
    cr_assert_eq(uf_home_read_sidecar("a.png", &found, &is_found, NULL), UF_OK);
    cr_assert_eq(found.fingerprint.bytes[15], 0xff);
    file_write("a.png.home.ini", GOOD_ROWS "5-128\n", strlen(GOOD_ROWS "5-128\n"));
    cr_assert_eq(uf_home_read_sidecar("a.png", &found, &is_found, NULL), UF_OK);
    cr_assert(found.first_row_px == 5 && found.end_row_px == 128);
    assert_refused("[home]\nkind = face\n", "lacks");
    assert_refused("[home]\nkind = doodle\n", "doodle");
    assert_refused("[home]\nversion = 3\nkind = face\n", "version 3");
    assert_refused("[home]\nversion = 2\nkind = face\n", "needs rows");
    assert_refused(GOOD "rows = 5-9\n", "has no rows");
    assert_refused(GOOD_ROWS "9-5\n", "rows 9 to 5");
    assert_refused(GOOD_ROWS "5-129\n", "rows 5 to 129");
    assert_refused(GOOD_ROWS "0-0\n", "rows");
    assert_refused(GOOD_ROWS "5\n", "rows");
    assert_refused(GOOD "colour = red\n", "colour");
    assert_refused(GOOD "[more]\n", "section");
    assert_refused(GOOD "face = down\n", "twice");
    assert_refused("[home]\nkind = face\nface = sideways\n", "sideways");
    assert_refused("[home]\nkind = face\nsize = 99999999999x1\n", "size");
    assert_refused("[home]\nkind = face\nsize = 8x8x8\n", "size");
    assert_refused("[home]\nkind = view\nyaw = 1e5\n", "yaw");
    assert_refused("[home]\nkind = view\nyaw = nan\n", "yaw");
    assert_refused("[home]\nkind = view\nyaw = 0.1234567891\n", "yaw");
    assert_refused("[home]\nkind = face\nfingerprint = xxh3-128:0011\n", "fingerprint");
    assert_refused("[home]\nkind = face\nsource = a%00b\n", "source");
    assert_refused("[home]\nkind = face\nsource = a%4\n", "source");
    assert_refused(GOOD "pitch\n", "key = value");
    assert_refused("[home]\nversion = 1\nkind = face\nface = up\nsize = 80x81\nsampling = bicubic\n"
                   "panorama-width = 256\nfingerprint = xxh3-128:00112233445566778899aabbccddeeff\n",
                   "square");
    char *large = malloc((2u << 20) + 1);
    cr_assert_not_null(large);
    memset(large, '\n', 2u << 20);
    large[2u << 20] = '\0';
    assert_refused(large, "million");
    free(large);
}

/* A sidecar that is a folder or a pipe must neither hang nor be taken for none. */
Test(home, sidecar_must_be_a_file)
{
    Run run = RUN_PROGRAM("mkfifo", "a.png.home.ini");
    cr_assert_eq(run.status, 0, "%s", run.err);
    run_free(&run);
    UfHome found;
    bool is_found;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_home_read_sidecar("a.png", &found, &is_found, report), UF_ERROR_IO);
    cr_assert(strstr(uf_report_error(report), "a pipe") != NULL, "%s", uf_report_error(report));
    uf_report_free(&report);
}

/* Spoiled at random: every byte may be anything. What is taken must make sense, what is not must be said. */
Test(home, sidecars_spoiled_at_random_are_taken_whole_or_refused)
{
    unsigned state = 11;
    size_t taken = 0;
    for (int turn = 0; turn < 1500; turn++) {
        char text[] = GOOD;
        state = state * 1664525u + 1013904223u;
        for (unsigned spoils = 1 + (state >> 30); spoils > 0; spoils--) {
            state = state * 1664525u + 1013904223u;
            size_t at = (state >> 8) % (sizeof text - 1);
            state = state * 1664525u + 1013904223u;
            text[at] = (char)(state >> 24);
        }
        UfHome found = {0};
        bool is_found = false;
        UfReport *report = uf_report_create();
        file_write("a.png.home.ini", text, sizeof text - 1);
        UfStatus status = uf_home_read_sidecar("a.png", &found, &is_found, report);
        if (status == UF_OK) {
            cr_assert(is_found);
            cr_assert_eq(uf_home_check(&found, report), UF_OK, "%s", text);
            taken++;
        } else {
            cr_assert_str_neq(uf_report_error(report), "");
        }
        uf_report_free(&report);
    }
    cr_expect(taken > 0 && taken < 1500, "%zu taken", taken);
}

/*
 * The check of whole files: a sound panorama has no finding, and each fault has its own, and only that. Files
 * are written by the library and made stale by ExifTool.
 */
#include <criterion/criterion.h>

#include <stdlib.h>
#include <string.h>

#include "support/pictures.h"
#include "support/program.h"
#include "unit/test_hole_world.h"

TestSuite(check, .init = folder_enter, .fini = folder_leave);

/* What a check said. */
typedef struct Checked {
    UfCheck check;
    UfReport *report;
} Checked;

static Checked check_file(const char *path)
{
    Checked checked = {.report = uf_report_create()};
    cr_assert_not_null(checked.report);
    cr_assert_eq(uf_check(path, NULL, &checked.check, checked.report), UF_OK, "%s: %s", path,
                 uf_report_error(checked.report));
    cr_expect_eq(checked.check.finding_count, uf_report_warning_count(checked.report));
    return checked;
}

/* Exactly these findings, each known by some of its words. */
static void expect_findings(Checked *checked, size_t count, const char *const *words)
{
    size_t found = uf_report_warning_count(checked->report);
    cr_expect_eq(found, count, "%zu findings instead of %zu, the first: %s", found, count,
                 uf_report_warning(checked->report, 0));
    for (size_t i = 0; i < count; i++) {
        bool is_there = false;
        for (size_t k = 0; k < found; k++)
            is_there = is_there || strstr(uf_report_warning(checked->report, k), words[i]) != NULL;
        cr_expect(is_there, "no finding with '%s', the first: %s", words[i],
                  uf_report_warning(checked->report, 0));
    }
    uf_report_free(&checked->report);
}

static void expect_sound(const char *path)
{
    Checked checked = check_file(path);
    expect_findings(&checked, 0, NULL);
}

static void expect_finding(const char *path, const char *words)
{
    Checked checked = check_file(path);
    expect_findings(&checked, 1, &words);
}

/* Gives the picture what a finished panorama has: a profile and Photo Sphere fields. */
static void finish(UfPicture *picture)
{
    size_t bytes;
    uint8_t *profile = profile_make(&bytes);
    long width = (long)uf_picture_width_px(picture), height = (long)uf_picture_height_px(picture);
    UfPhotoSphere sphere = {.present = true,
                            .projection = "equirectangular",
                            .has_full = true,
                            .has_cropped = true,
                            .full_width_px = width,
                            .full_height_px = height,
                            .cropped_width_px = width,
                            .cropped_height_px = height};
    cr_assert_eq(uf_picture_set_icc(picture, profile, bytes, NULL), UF_OK);
    cr_assert_eq(uf_picture_set_photo_sphere(picture, &sphere, NULL), UF_OK);
    free(profile);
}

static void save(const UfPicture *picture, const char *path)
{
    UfReport *report = uf_report_create();
    UfWriteOptions options = {.overwrite = true};
    cr_assert_eq(uf_picture_write(picture, path, &options, report), UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
}

/* Frees the picture. */
static void finish_and_save(UfPicture *picture, const char *path)
{
    finish(picture);
    save(picture, path);
    uf_picture_free(&picture);
}

static void save_sound(const char *path)
{
    finish_and_save(world_make(512, 3, UF_SAMPLE_U8), path);
}

#define EXIFTOOL(...)                                                                                        \
    do {                                                                                                     \
        Run run_ = RUN_PROGRAM("exiftool", "-q", "-overwrite_original", __VA_ARGS__);                        \
        cr_assert_eq(run_.status, 0, "%s", run_.err);                                                        \
        run_free(&run_);                                                                                     \
    } while (0)

Test(check, sound_in_every_format)
{
    static const struct {
        const char *path;
        size_t channels;
        UfSample sample;
    } files[] = {{"a.jpg", 3, UF_SAMPLE_U8},  {"g.jpg", 1, UF_SAMPLE_U8},  {"a.png", 4, UF_SAMPLE_U8},
                 {"b.png", 3, UF_SAMPLE_U16}, {"a.tif", 3, UF_SAMPLE_U16}, {"b.tif", 3, UF_SAMPLE_F32}};
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        UfPicture *picture = world_make(512, files[i].channels, files[i].sample);
        /* Grey pictures would need a grey profile: theirs is missing, which is the one finding. */
        finish(picture);
        if (files[i].channels < 3)
            cr_assert_eq(uf_picture_set_icc(picture, NULL, 0, NULL), UF_OK);
        save(picture, files[i].path);
        uf_picture_free(&picture);
        if (files[i].channels < 3)
            expect_finding(files[i].path, "no colour profile");
        else
            expect_sound(files[i].path);
    }
}

Test(check, says_what_the_file_is)
{
    save_sound("a.jpg");
    Checked checked = check_file("a.jpg");
    const UfCheck *check = &checked.check;
    cr_expect(check->info.width_px == 512 && check->info.height_px == 256 && check->info.channels == 3);
    cr_expect_eq(check->info.format, UF_FORMAT_JPEG);
    cr_expect(check->is_two_to_one && check->has_icc && check->has_xmp && !check->has_exif);
    cr_expect(check->sphere.present && check->sphere.full_width_px == 512);
    cr_expect_gt(strlen(check->profile), 3u);
    cr_expect_str_neq(check->profile, "no profile");
    cr_expect(check->seam_ratio > 0.5 && check->seam_ratio < 1.6, "ratio %.2f", check->seam_ratio);
    cr_expect(check->zenith_spread < 4 && check->nadir_spread < 4, "spreads %.2f, %.2f", check->zenith_spread,
              check->nadir_spread);
    cr_expect_eq(check->hole_count, 0u);
    expect_findings(&checked, 0, NULL);
}

Test(check, not_two_to_one)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(300, 160, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    finish_and_save(picture, "a.png");
    Checked checked = check_file("a.png");
    cr_expect_not(checked.check.is_two_to_one);
    cr_expect_eq(checked.check.hole_count, 0u,
                 "a black picture of another shape has no sphere to measure holes on");
    expect_findings(&checked, 1, (const char *const[]){"not 2:1: 300 x 160"});
}

/* A photograph needs no Photo Sphere metadata, and tag would refuse it. */
Test(check, a_photograph_is_not_sent_to_tag)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(300, 160, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    save(picture, "a.jpg");
    uf_picture_free(&picture);
    Checked checked = check_file("a.jpg");
    cr_expect_not(checked.check.sphere.present);
    expect_findings(&checked, 2, (const char *const[]){"not 2:1: 300 x 160", "no colour profile"});
}

/* Ten degrees are missing: the ends do not meet. One column missing of 512 is seen, too. */
Test(check, broken_seam)
{
    finish_and_save(world_make_part(512, 3, UF_SAMPLE_U8, (WorldField){350, 180}), "a.png");
    Checked checked = check_file("a.png");
    cr_expect_gt(checked.check.seam_ratio, 2.5);
    cr_expect_gt(checked.check.seam_difference, 4);
    expect_findings(&checked, 1, (const char *const[]){"broken seam"});
    /* The same picture turned has it in the middle, where it is not the seam's. */
    UfPicture *picture = world_make_part(512, 3, UF_SAMPLE_U8, (WorldField){350, 180});
    world_turn(picture, 256);
    finish_and_save(picture, "b.png");
    expect_sound("b.png");
}

/* Only the lower half is torn: the bands of latitude find it. */
Test(check, seam_broken_in_part)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
    for (size_t y = 140; y < 180; y++)
        for (size_t x = 496; x < 512; x++)
            for (size_t k = 0; k < 3; k++)
                world_set(picture, x, y, k, 255 - world_get(picture, x, y, k));
    finish_and_save(picture, "a.png");
    expect_finding("a.png", "broken seam");
}

/* An edge of the scene that runs along the seam is no tear: it is as sharp as the lens makes it. */
Test(check, edge_along_the_seam_is_sound)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
    static const double share[6] = {0.05, 0.25, 0.5, 0.5, 0.25, 0.05};
    for (size_t y = 60; y < 200; y++)
        for (size_t i = 0; i < 6; i++)
            for (size_t k = 0; k < 3; k++) {
                size_t x = (512 - 3 + i) % 512;
                world_set(picture, x, y, k, world_get(picture, x, y, k) * (1 - share[i]));
            }
    finish_and_save(picture, "a.png");
    expect_sound("a.png");
}

Test(check, torn_poles)
{
    finish_and_save(world_make_part(512, 3, UF_SAMPLE_U8, (WorldField){360, 80}), "a.png");
    Checked checked = check_file("a.png");
    cr_expect_gt(checked.check.zenith_spread, 10);
    cr_expect_gt(checked.check.nadir_spread, 10);
    expect_findings(
        &checked, 2,
        (const char *const[]){"the zenith row is not one point", "the nadir row is not one point"});
}

/* Four tiles that meet exactly in the nadir: their colours differ as much in the last row as further in. */
Test(check, tiles_that_meet_in_the_nadir_are_sound)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
    for (size_t y = 230; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            for (size_t k = 0; k < 3; k++)
                world_set(picture, x, y, k, ((x + 40) / 128 % 2 ? 60 : 180) + (double)((x * 7 + y * 5) % 5));
    finish_and_save(picture, "a.png");
    expect_sound("a.png");
}

Test(check, holes_are_told_with_place_and_size)
{
    UfPicture *picture = world_make(512, 4, UF_SAMPLE_U8);
    world_paint(picture, 0, -90, 20, 0);
    world_cut(picture, 40, 10, 12, 0);
    finish_and_save(picture, "a.png");
    Checked checked = check_file("a.png");
    cr_assert_eq(checked.check.hole_count, 2u);
    cr_expect_eq(checked.check.holes[0].kind, UF_HOLE_BLACK);
    cr_expect_float_eq(checked.check.holes[0].lat_deg, -90, 0.5);
    cr_expect_float_eq(checked.check.holes[0].radius_deg, 20, 1);
    cr_expect_eq(checked.check.holes[1].kind, UF_HOLE_TRANSPARENT);
    cr_expect_float_eq(checked.check.holes[1].lon_deg, 40, 0.5);
    expect_findings(
        &checked, 2,
        (const char *const[]){"black hole about the nadir", "transparent hole at yaw 40.0, pitch 10.0"});
}

Test(check, missing_metadata)
{
    UfPicture *picture = world_make(512, 3, UF_SAMPLE_U8);
    save(picture, "a.jpg");
    uf_picture_free(&picture);
    Checked checked = check_file("a.jpg");
    cr_expect_not(checked.check.has_icc || checked.check.has_xmp || checked.check.sphere.present);
    cr_expect_str_eq(checked.check.profile, "no profile");
    expect_findings(&checked, 2, (const char *const[]){"no Photo Sphere metadata", "no colour profile"});
}

Test(check, stale_photo_sphere)
{
    save_sound("size.jpg");
    EXIFTOOL("-XMP-GPano:CroppedAreaImageWidthPixels=1024", "size.jpg");
    expect_finding("size.jpg",
                   "stale Photo Sphere metadata: they give 1024 x 256 pixels, the picture has 512 x 256");
    save_sound("part.jpg");
    EXIFTOOL("-XMP-GPano:FullPanoWidthPixels=1024", "-XMP-GPano:FullPanoHeightPixels=512",
             "-XMP-GPano:CroppedAreaLeftPixels=256", "part.jpg");
    expect_finding("part.jpg", "this is a part, at 256, 0, of a panorama of 1024 x 512");
    save_sound("less.jpg");
    EXIFTOOL("-XMP-GPano:FullPanoWidthPixels=", "less.jpg");
    expect_finding("less.jpg", "incomplete");
    save_sound("other.jpg");
    EXIFTOOL("-XMP-GPano:ProjectionType=cylindrical", "other.jpg");
    expect_finding("other.jpg", "'cylindrical'");
}

Test(check, stale_exif_size)
{
    save_sound("a.jpg");
    EXIFTOOL("-n", "-ExifIFD:ExifImageWidth=512", "-ExifIFD:ExifImageHeight=256", "a.jpg");
    Checked checked = check_file("a.jpg");
    cr_expect(checked.check.has_exif);
    expect_findings(&checked, 0, NULL);
    EXIFTOOL("-n", "-ExifIFD:ExifImageWidth=600", "a.jpg");
    expect_finding("a.jpg", "stale EXIF: it gives 600 x 256 pixels");
}

/*
 * Stored mirrored (orientation 2) it is the same size; stored on its side (6) the stored pixels are 1:2,
 * which is what the EXIF's dimensions count.
 */
Test(check, orientation)
{
    save_sound("a.jpg");
    EXIFTOOL("-n", "-IFD0:Orientation=2", "a.jpg");
    expect_finding("a.jpg", "EXIF orientation 2");
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(64, 128, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    for (size_t y = 0; y < 128; y++)
        for (size_t x = 0; x < 64; x++)
            for (size_t k = 0; k < 3; k++)
                world_set(picture, x, y, k, 100);
    finish_and_save(picture, "b.jpg");
    EXIFTOOL("-n", "-IFD0:Orientation=6", "-ExifIFD:ExifImageWidth=64", "-ExifIFD:ExifImageHeight=128",
             "-XMP-GPano:FullPanoWidthPixels=128", "-XMP-GPano:FullPanoHeightPixels=64",
             "-XMP-GPano:CroppedAreaImageWidthPixels=128", "-XMP-GPano:CroppedAreaImageHeightPixels=64",
             "b.jpg");
    Checked checked = check_file("b.jpg");
    cr_expect(checked.check.is_two_to_one);
    cr_expect_eq(checked.check.info.orientation, 6);
    expect_findings(&checked, 1, (const char *const[]){"EXIF orientation 6"});
}

static void save_thumbnail(size_t width, size_t height, const char *path)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width, height, 3, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    save(picture, path);
    uf_picture_free(&picture);
}

Test(check, thumbnail_of_another_shape)
{
    save_sound("a.jpg");
    save_thumbnail(160, 80, "small.jpg");
    save_thumbnail(160, 120, "other.jpg");
    EXIFTOOL("-ThumbnailImage<=small.jpg", "a.jpg");
    expect_sound("a.jpg");
    EXIFTOOL("-ThumbnailImage<=other.jpg", "a.jpg");
    expect_finding("a.jpg", "stale thumbnail: it is 160 x 120");
}

/* Debian's xplanet-images: real 2:1 pictures without metadata, and otherwise sound. */
Test(check, real_pictures)
{
    static const char *const paths[] = {"/usr/share/xplanet/images/earth.jpg",
                                        "/usr/share/xplanet/images/night.jpg",
                                        "/usr/share/xplanet/images/sun.jpg"};
    for (size_t i = 0; i < 3; i++) {
        Checked checked = check_file(paths[i]);
        expect_findings(&checked, 2, (const char *const[]){"no Photo Sphere metadata", "no colour profile"});
    }
}

/* The Earth without its first 40 columns, and without its northern 25 degrees, both stretched to 2:1 again.
 */
Test(check, real_picture_that_was_cropped)
{
    UfPicture *earth = NULL, *cropped = NULL, *stretched = NULL;
    cr_assert_eq(uf_picture_read("/usr/share/xplanet/images/earth.jpg", NULL, &earth, NULL), UF_OK);
    cr_assert_eq(uf_picture_create(2008, 1024, 3, UF_SAMPLE_U8, &cropped, NULL), UF_OK);
    for (size_t y = 0; y < 1024; y++)
        memcpy(uf_picture_row(cropped, y), (const uint8_t *)uf_picture_row_const(earth, y) + 40 * 3,
               2008 * 3);
    cr_assert_eq(uf_resize(cropped, 2048, 1024, false, NULL, &stretched, NULL), UF_OK);
    finish_and_save(stretched, "narrow.png");
    uf_picture_free(&cropped);
    expect_finding("narrow.png", "broken seam");
    cr_assert_eq(uf_picture_create(2048, 880, 3, UF_SAMPLE_U8, &cropped, NULL), UF_OK);
    for (size_t y = 0; y < 880; y++)
        memcpy(uf_picture_row(cropped, y), uf_picture_row_const(earth, y + 144), 2048 * 3);
    cr_assert_eq(uf_resize(cropped, 2048, 1024, true, NULL, &stretched, NULL), UF_OK);
    finish_and_save(stretched, "low.png");
    uf_picture_free(&cropped);
    uf_picture_free(&earth);
    expect_finding("low.png", "the zenith row is not one point");
}

Test(check, unreadable_files_fail)
{
    UfCheck check = {.hole_count = 77};
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_check("nothing.jpg", NULL, &check, report), UF_ERROR_IO);
    cr_expect_gt(strlen(uf_report_error(report)), 0u);
    cr_expect_eq(check.hole_count, 77u, "the result is untouched");
    uf_report_free(&report);
}

/* Without a report findings are still counted. */
Test(check, report_is_optional)
{
    UfPicture *picture = world_make(256, 3, UF_SAMPLE_U8);
    save(picture, "a.png");
    uf_picture_free(&picture);
    UfCheck check;
    cr_assert_eq(uf_check("a.png", NULL, &check, NULL), UF_OK);
    cr_expect_eq(check.finding_count, 2u);
}

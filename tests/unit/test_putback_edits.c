/* What editors do to a picture besides painting: fewer bits, JPEG, another size, another profile,
 * transparency. */
#include "unit/test_putback_support.h"

#include <criterion/criterion.h>
#include <lcms2.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/remap.h>

#include "picture/colour.h"
#include "picture/samples.h"
#include "support/program.h"

TestSuite(putback_edits, .init = folder_enter, .fini = folder_leave);

#define PIXEL_DEG (360.0 / PUTBACK_WIDTH_PX)

static const Paint paint = {.lon_deg = 97,
                            .lat_deg = 12,
                            .radius_deg = 7,
                            .edge_deg = 2 * PIXEL_DEG,
                            .opacity = 1,
                            .colour = {0.95, 0.1, 0.05}};

/* An editor: turns the face that it is given into what it saves. */
typedef UfPicture *Editor(const UfPicture *face);

/* Unpainted: nothing may change. Painted: only what is near the paint, and that must be right but for `rms`.
 */
static void check_editor(UfPicture *panorama, Editor *editor, double reach_deg, double rms, const char *what)
{
    UfPicture *copy = NULL, *truth = NULL;
    UfEdit edit = {.name = what};
    UfPutbackChange change;
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    cr_assert_eq(uf_picture_copy(panorama, &copy, NULL), UF_OK);
    cr_assert_eq(uf_picture_copy(panorama, &truth, NULL), UF_OK);
    UfPicture *face = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home);
    UfPicture *saved = editor(face);
    edit.picture = saved;
    (void)bring(copy, &edit, 1, NULL, NULL, &change);
    cr_expect(!change.changed, "%s: %zu pixels were taken for changes", what, change.changed_px);
    cr_expect(same_pixels(copy, panorama), "%s: an unpainted picture changed something", what);
    uf_picture_free(&saved);
    paint_extraction(face, &edit.home, &paint);
    paint_on(truth, &sphere, &paint);
    edit.picture = saved = editor(face);
    (void)bring(copy, &edit, 1, NULL, NULL, &change);
    assert_only_near(panorama, copy, &paint, paint.radius_deg + paint.edge_deg / 2 + reach_deg, what);
    Error error = error_of(copy, truth, &paint, reach_deg);
    cr_expect_leq(error.rms, rms, "%s: rms error %.2f of 255", what, error.rms);
    uf_picture_free(&saved);
    uf_picture_free(&face);
    uf_picture_free(&copy);
    uf_picture_free(&truth);
}

static UfPicture *through_file(const UfPicture *picture, const char *name, int quality)
{
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    const UfWriteOptions write = {.overwrite = true, .quality = quality};
    cr_assert_eq(uf_picture_write(picture, name, &write, report), UF_OK, "%s", uf_report_error(report));
    cr_assert_eq(uf_picture_read(name, NULL, &out, report), UF_OK, "%s", uf_report_error(report));
    uf_report_free(&report);
    return out;
}

static UfPicture *save_tiff(const UfPicture *face)
{
    return through_file(face, "edit.tif", 0);
}

static UfPicture *save_jpeg_90(const UfPicture *face)
{
    return through_file(face, "edit.jpg", 90);
}

static UfPicture *save_jpeg_75(const UfPicture *face)
{
    return through_file(face, "edit.jpg", 75);
}

/* JPEG twice: taken out as one, saved as one. */
static UfPicture *save_jpeg_twice(const UfPicture *face)
{
    UfPicture *once = through_file(face, "once.jpg", 92), *twice = through_file(once, "twice.jpg", 85);
    uf_picture_free(&once);
    return twice;
}

static UfPicture *resized(const UfPicture *face, double factor)
{
    UfPicture *out = NULL;
    size_t side = (size_t)lround((double)uf_picture_width_px(face) * factor);
    cr_assert_eq(uf_resize(face, side, side, false, NULL, &out, NULL), UF_OK);
    return out;
}

static UfPicture *twice_as_large(const UfPicture *face)
{
    return resized(face, 2);
}

/* With a JPEG behind it, so that the samples are not just those that the library makes itself. */
static UfPicture *larger_by_137(const UfPicture *face)
{
    UfPicture *large = resized(face, 1.37), *saved = through_file(large, "large.jpg", 95);
    uf_picture_free(&large);
    return saved;
}

static UfPicture *half_as_large(const UfPicture *face)
{
    return resized(face, 0.5);
}

Test(putback_edits, through_tiff_is_exact)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *deep = texture_make(3, UF_SAMPLE_U16);
    check_editor(panorama, save_tiff, 6 * PIXEL_DEG, 1.5, "TIFF");
    check_editor(deep, save_tiff, 6 * PIXEL_DEG, 1.5, "16-bit TIFF");
    uf_picture_free(&panorama);
    uf_picture_free(&deep);
}

/* JPEG halves the resolution of colour and spreads an edge over its blocks of 16 pixels: reach and error are
 * more. */
Test(putback_edits, through_jpeg_only_the_stroke_comes_home)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *grey = texture_make(1, UF_SAMPLE_U8);
    check_editor(panorama, save_jpeg_90, 18 * PIXEL_DEG, 5, "JPEG 90");
    check_editor(panorama, save_jpeg_75, 18 * PIXEL_DEG, 7, "JPEG 75");
    check_editor(panorama, save_jpeg_twice, 18 * PIXEL_DEG, 6, "JPEG twice");
    check_editor(grey, save_jpeg_90, 12 * PIXEL_DEG, 4, "grey JPEG 90");
    uf_picture_free(&panorama);
    uf_picture_free(&grey);
}

Test(putback_edits, comes_home_from_another_size)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8);
    check_editor(panorama, twice_as_large, 8 * PIXEL_DEG, 3, "twice as large");
    check_editor(panorama, larger_by_137, 16 * PIXEL_DEG, 5, "1.37 times as large");
    check_editor(panorama, half_as_large, 12 * PIXEL_DEG, 9, "half as large");
    uf_picture_free(&panorama);
}

/* An RGB profile unlike sRGB: gamma 1.8 and other primaries. */
static void attach_profile(UfPicture *picture, double gamma)
{
    const cmsCIExyY white = {0.3127, 0.3290, 1};
    const cmsCIExyYTRIPLE primaries = {{0.68, 0.31, 1}, {0.25, 0.68, 1}, {0.15, 0.06, 1}};
    cmsToneCurve *curve = cmsBuildGamma(NULL, gamma);
    cmsToneCurve *curves[3] = {curve, curve, curve};
    cmsHPROFILE profile = cmsCreateRGBProfile(&white, &primaries, curves);
    cmsUInt32Number bytes = 0;
    cr_assert(cmsSaveProfileToMem(profile, NULL, &bytes));
    uint8_t *data = malloc(bytes);
    cr_assert(cmsSaveProfileToMem(profile, data, &bytes));
    cr_assert_eq(uf_picture_set_icc(picture, data, bytes, NULL), UF_OK);
    free(data);
    cmsCloseProfile(profile);
    cmsFreeToneCurve(curve);
}

static UfPicture *convert_profile(const UfPicture *face)
{
    UfPicture *like = NULL, *out = NULL;
    cr_assert_eq(uf_picture_create(1, 1, 3, uf_picture_sample(face), &like, NULL), UF_OK);
    attach_profile(like, 1.8);
    cr_assert_eq(uf_colour_convert(face, like, &out, NULL), UF_OK);
    uf_picture_free(&like);
    return out;
}

/* The numbers stay, only what they are said to mean is another thing. */
static UfPicture *assign_profile(const UfPicture *face)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_copy(face, &out, NULL), UF_OK);
    attach_profile(out, 2.0);
    return out;
}

static UfPicture *strip_profile(const UfPicture *face)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_copy(face, &out, NULL), UF_OK);
    cr_assert_eq(uf_picture_set_icc(out, NULL, 0, NULL), UF_OK);
    return out;
}

Test(putback_edits, comes_home_from_another_profile)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *tagged = texture_make(3, UF_SAMPLE_U8);
    attach_profile(tagged, 2.2);
    check_editor(panorama, convert_profile, 8 * PIXEL_DEG, 1.8, "converted");
    check_editor(tagged, convert_profile, 8 * PIXEL_DEG, 1.8, "converted from one profile to another");
    check_editor(tagged, assign_profile, 6 * PIXEL_DEG, 1.5, "assigned");
    check_editor(tagged, strip_profile, 6 * PIXEL_DEG, 1.5, "stripped");
    uf_picture_free(&panorama);
    uf_picture_free(&tagged);
}

static UfPicture *as_8_bit(const UfPicture *face)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_as(face, UF_SAMPLE_U8, &out, NULL), UF_OK);
    return out;
}

static UfPicture *as_16_bit(const UfPicture *face)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_as(face, UF_SAMPLE_U16, &out, NULL), UF_OK);
    return out;
}

Test(putback_edits, comes_home_from_another_depth)
{
    UfPicture *deep = texture_make(3, UF_SAMPLE_U16), *shallow = texture_make(3, UF_SAMPLE_U8);
    UfPicture *linear = texture_make(3, UF_SAMPLE_F32);
    check_editor(deep, as_8_bit, 6 * PIXEL_DEG, 1.5, "8 bits of 16");
    check_editor(shallow, as_16_bit, 6 * PIXEL_DEG, 1.5, "16 bits of 8");
    check_editor(linear, as_16_bit, 6 * PIXEL_DEG, 1.5, "16 bits of float");
    uf_picture_free(&deep);
    uf_picture_free(&shallow);
    uf_picture_free(&linear);
}

/*
 * A 16-bit sky so smooth that 8 bits would show bands, lightened in an 8-bit editor: the low bits stay under
 * the stroke, too. Steps of 8 bits are 257 codes; the result is within one of them of what was added, and its
 * own steps are those of the sky.
 */
Test(putback_edits, keeps_the_low_bits_of_16_under_an_8_bit_stroke)
{
    UfPicture *panorama = NULL, *before = NULL;
    UfEdit edit = {.name = "edit"};
    UfPutbackChange change;
    const Paint light = {.lon_deg = 90,
                         .radius_deg = 20,
                         .edge_deg = 0.5,
                         .opacity = 1,
                         .colour = {20 / 255.0, 20 / 255.0, 20 / 255.0},
                         .lightens = true};
    cr_assert_eq(uf_picture_create(PUTBACK_WIDTH_PX, PUTBACK_WIDTH_PX / 2, 3, UF_SAMPLE_U16, &panorama, NULL),
                 UF_OK);
    for (size_t y = 0; y < PUTBACK_WIDTH_PX / 2; y++)
        for (size_t x = 0; x < PUTBACK_WIDTH_PX; x++)
            for (size_t c = 0; c < 3; c++)
                sample_set(panorama, x, y, c, 0.4 + 0.05 * sin((double)y / 120) + 0.002 * (double)c);
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    UfPicture *face = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home), *shallow = as_8_bit(face);
    paint_extraction(shallow, &edit.home, &light);
    edit.picture = shallow;
    (void)bring(panorama, &edit, 1, NULL, NULL, &change);
    cr_expect(change.exact);
    assert_only_near(before, panorama, &light, 21 + 6 * PIXEL_DEG, "8-bit stroke");
    size_t x = PUTBACK_WIDTH_PX * 3 / 4, low_bits = 0;
    for (size_t y = PUTBACK_WIDTH_PX / 4 - 20; y < PUTBACK_WIDTH_PX / 4 + 20; y++) {
        const uint16_t *now = uf_picture_row_const(panorama, y), *old = uf_picture_row_const(before, y);
        for (size_t i = 3 * x; i < 3 * x + 3; i++) {
            cr_expect_eq(now[i] - old[i], 20 * 257, "row %zu: %d codes were added", y, now[i] - old[i]);
            low_bits += now[i] % 257 != 0;
        }
    }
    cr_expect_gt(low_bits, 100);
    uf_picture_free(&face);
    uf_picture_free(&shallow);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

/* A whole face lightened by 6 steps comes home whole, from PNG and from JPEG. */
Test(putback_edits, brings_a_change_of_the_whole_picture)
{
    for (int jpeg = 0; jpeg < 2; jpeg++) {
        UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL;
        UfEdit edit = {.name = "edit"};
        UfPutbackChange change;
        const Paint all = {.lon_deg = 90,
                           .radius_deg = 100,
                           .edge_deg = 1,
                           .opacity = 1,
                           .colour = {6 / 255.0, 6 / 255.0, 6 / 255.0},
                           .lightens = true};
        cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
        UfPicture *face = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home), *saved = NULL;
        paint_extraction(face, &edit.home, &all);
        saved = jpeg ? save_jpeg_90(face) : save_tiff(face);
        edit.picture = saved;
        (void)bring(panorama, &edit, 1, NULL, NULL, &change);
        cr_expect_gt(change.changed_percent, 95);
        /* 30 x 30 pixels about the face's middle */
        double sum = 0;
        for (size_t y = 113; y < 143; y++)
            for (size_t x = 369; x < 399; x++)
                sum += sample_at(panorama, x, y, 1) - sample_at(before, x, y, 1);
        cr_expect_float_eq(255 * sum / 900, 6, 0.5, "%.2f", 255 * sum / 900);
        uf_picture_free(&saved);
        uf_picture_free(&face);
        uf_picture_free(&panorama);
        uf_picture_free(&before);
    }
}

static void punch(UfPicture *picture, const UfView *view, double lon_deg, double lat_deg, double radius_deg)
{
    const Paint hole = {.lon_deg = lon_deg, .lat_deg = lat_deg, .radius_deg = radius_deg};
    size_t channels = uf_picture_channels(picture);
    for (size_t y = 0; y < view->height_px; y++)
        for (size_t x = 0; x < view->width_px; x++) {
            UfDirection d;
            if (!uf_view_direction(view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d) ||
                paint_distance_deg(&hole, d) > radius_deg)
                continue;
            for (size_t c = 0; c < channels; c++)
                sample_set(picture, x, y, c, 0);
        }
}

static UfPicture *with_alpha(const UfPicture *picture)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_create(uf_picture_width_px(picture), uf_picture_height_px(picture), 4,
                                   uf_picture_sample(picture), &out, NULL),
                 UF_OK);
    for (size_t y = 0; y < uf_picture_height_px(picture); y++)
        for (size_t x = 0; x < uf_picture_width_px(picture); x++)
            for (size_t c = 0; c < 4; c++)
                sample_set(out, x, y, c, c < 3 ? sample_at(picture, x, y, c) : 1);
    return out;
}

Test(putback_edits, takes_what_was_erased_for_no_change)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL;
    UfEdit edit = {.name = "edit"};
    UfPutbackChange change;
    UfView view;
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    UfPicture *face = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home), *layered = with_alpha(face);
    cr_assert_eq(uf_home_view(&edit.home, &view, NULL), UF_OK);
    punch(layered, &view, 70, -20, 10);
    edit.picture = layered;
    (void)bring(panorama, &edit, 1, NULL, NULL, &change);
    cr_expect(!change.changed && same_pixels(panorama, before), "erased only");
    paint_extraction(layered, &edit.home, &paint);
    (void)bring(panorama, &edit, 1, NULL, NULL, &change);
    cr_expect(change.changed);
    assert_only_near(before, panorama, &paint, paint.radius_deg + 7 * PIXEL_DEG, "erased and painted");
    uf_picture_free(&face);
    uf_picture_free(&layered);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

Test(putback_edits, fills_a_hole_that_was_painted_over)
{
    UfPicture *panorama = texture_make(4, UF_SAMPLE_U8), *before = NULL;
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    UfEdit edit = {.name = "edit"};
    punch(panorama, &sphere, 0, -90, 12);
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    UfPicture *face = take_face(panorama, UF_FACE_DOWN, 0, &edit.home);
    for (size_t y = 0; y < uf_picture_height_px(face); y++)
        for (size_t x = 0; x < uf_picture_width_px(face); x++)
            for (size_t c = 0; sample_at(face, x, y, 3) < 1 && c < 4; c++)
                sample_set(face, x, y, c, c == 3 ? 1 : 0.25);
    edit.picture = face;
    (void)bring(panorama, &edit, 1, NULL, NULL, NULL);
    const Paint hole = {.lat_deg = -90, .radius_deg = 12};
    assert_only_near(before, panorama, &hole, 12 + 6 * PIXEL_DEG, "hole");
    for (size_t y = PUTBACK_WIDTH_PX / 2 - 12; y < PUTBACK_WIDTH_PX / 2;
         y++) /* up to 8.4 degrees from the pole */
        for (size_t x = 0; x < PUTBACK_WIDTH_PX; x++) {
            cr_expect_eq(sample_at(panorama, x, y, 3), 1, "at %zu, %zu", x, y);
            cr_expect_float_eq(sample_at(panorama, x, y, 0), 0.25, 1.5 / 255, "at %zu, %zu", x, y);
        }
    uf_picture_free(&face);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

/* An edit that lost its transparency says nothing about the hole, and nothing comes into it. */
Test(putback_edits, leaves_a_hole_alone_when_the_edit_has_no_transparency)
{
    UfPicture *panorama = texture_make(4, UF_SAMPLE_U8), *before = NULL, *flat = NULL;
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    UfEdit edit = {.name = "edit"};
    UfPutbackChange change;
    punch(panorama, &sphere, 0, -90, 12);
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    UfPicture *face = take_face(panorama, UF_FACE_DOWN, 0, &edit.home);
    size_t side = uf_picture_width_px(face);
    cr_assert_eq(uf_picture_create(side, side, 3, UF_SAMPLE_U8, &flat, NULL), UF_OK);
    for (size_t y = 0; y < side; y++)
        for (size_t x = 0; x < side; x++)
            for (size_t c = 0; c < 3; c++)
                sample_set(flat, x, y, c, sample_at(face, x, y, c));
    edit.picture = flat;
    (void)bring(panorama, &edit, 1, NULL, NULL, &change);
    cr_expect(!change.changed && same_pixels(panorama, before));
    uf_picture_free(&face);
    uf_picture_free(&flat);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

/* --tolerance and --feather. */
Test(putback_edits, leaves_out_what_lies_below_the_tolerance)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL;
    UfEdit edit = {.name = "edit"};
    UfPutbackChange change;
    Paint faint = paint;
    faint.lightens = true;
    faint.colour[0] = faint.colour[1] = faint.colour[2] = 5 / 255.0;
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    UfPicture *face = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home);
    paint_extraction(face, &edit.home, &faint);
    edit.picture = face;
    const UfPutbackOptions tolerant = {.feather_px = 0, .tolerance = 5},
                           strict = {.feather_px = 0, .tolerance = 4};
    (void)bring(panorama, &edit, 1, &tolerant, NULL, &change);
    cr_expect(!change.changed && same_pixels(panorama, before));
    (void)bring(panorama, &edit, 1, &strict, NULL, &change);
    cr_expect(change.changed && change.tolerance == 4);
    uf_picture_free(&face);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

/*
 * What comes home, and that nothing else does. Degrees to pixels: the panorama has 512 columns, so a pixel is
 * 0.7 degrees at the equator.
 */
#include "unit/test_putback_support.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

TestSuite(putback);

#define PIXEL_DEG (360.0 / PUTBACK_WIDTH_PX)
/* The mask's soft edge (2 pixels and one behind it) and the kernel's reach (2), all in the edit, and a pixel.
 */
#define REACH_DEG (6 * PIXEL_DEG)

static const Paint middle_paint = {.lon_deg = 97,
                                   .lat_deg = 12,
                                   .radius_deg = 6,
                                   .edge_deg = 2 * PIXEL_DEG,
                                   .opacity = 1,
                                   .colour = {0.8, 0.3, 0.1}};

Test(putback, changes_nothing_without_a_change)
{
    const struct {
        size_t channels;
        UfSample sample;
    } kinds[] = {{3, UF_SAMPLE_U8}, {1, UF_SAMPLE_U8},  {4, UF_SAMPLE_U8},
                 {2, UF_SAMPLE_U8}, {3, UF_SAMPLE_U16}, {3, UF_SAMPLE_F32}};
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        UfPicture *panorama = texture_make(kinds[k].channels, kinds[k].sample), *before = NULL, *pictures[7];
        UfEdit edits[7] = {{0}};
        UfPutbackChange changes[7];
        cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
        for (int i = 0; i < 6; i++)
            pictures[i] = take_face(panorama, (UfFace)i, 0, &edits[i].home);
        pictures[6] = take_view(panorama, 170, -70, 33, 75, 130, 90, &edits[6].home);
        for (int i = 0; i < 7; i++) {
            edits[i].picture = pictures[i];
            edits[i].name = "edit";
        }
        UfPutbackResult result = bring(panorama, edits, 7, NULL, NULL, changes);
        cr_expect_eq(result.changed_px, 0);
        for (int i = 0; i < 7; i++) {
            cr_expect(!changes[i].changed && changes[i].exact && changes[i].changed_px == 0, "edit %d", i);
            uf_picture_free(&pictures[i]);
        }
        cr_expect(same_pixels(panorama, before), "channels %zu, sample %d", kinds[k].channels,
                  (int)kinds[k].sample);
        uf_picture_free(&panorama);
        uf_picture_free(&before);
    }
}

/* Takes a face, paints, puts back; the truth is the same paint on the panorama itself. */
static void check_paint(UfFace face, const Paint *paint, double rms, double most, const char *what)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL, *truth = NULL;
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    UfEdit edit = {.name = what};
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    cr_assert_eq(uf_picture_copy(panorama, &truth, NULL), UF_OK);
    paint_on(truth, &sphere, paint);
    UfPicture *picture = take_face(panorama, face, 0, &edit.home);
    paint_extraction(picture, &edit.home, paint);
    edit.picture = picture;
    (void)bring(panorama, &edit, 1, NULL, NULL, NULL);
    assert_only_near(before, panorama, paint, paint->radius_deg + paint->edge_deg / 2 + REACH_DEG, what);
    Error error = error_of(panorama, truth, paint, REACH_DEG);
    cr_expect_leq(error.rms, rms, "%s: rms error %.3f of 255", what, error.rms);
    cr_expect_leq(error.most, most, "%s: largest error %.1f of 255", what, error.most);
    uf_picture_free(&picture);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
    uf_picture_free(&truth);
}

/*
 * The error of a returned stroke in steps of 1/255, root mean square over the paint and six pixels round it,
 * and at most; the paint is the mean over each pixel's square, its edge two pixels wide and some 100 steps
 * high. Measured: 1.5 and 9 on a face's middle, 1.9 and 14 on the seam, 1.3 and 12 over the nadir, 0.6 and 4
 * in a corner (a face has more pixels there), 0.4 and 1 for a soft brush. Nearly all of it lies in the edge.
 */
Test(putback, brings_paint_home_as_if_it_were_painted_there)
{
    Paint paint = middle_paint;
    check_paint(UF_FACE_RIGHT, &paint, 1.7, 11, "opaque");
    paint.opacity = 0.5;
    check_paint(UF_FACE_RIGHT, &paint, 1.0, 6, "half opaque");
    paint = (Paint){.lon_deg = 97,
                    .lat_deg = 12,
                    .radius_deg = 8,
                    .edge_deg = 10,
                    .opacity = 1,
                    .colour = {0.1, 0.1, 0.1},
                    .lightens = true};
    check_paint(UF_FACE_RIGHT, &paint, 0.5, 2, "lightened");
    paint = middle_paint;
    paint.lon_deg = -179.5;
    check_paint(UF_FACE_BACK, &paint, 2.1, 16, "across the seam");
    paint.lon_deg = 33;
    paint.lat_deg = -88;
    check_paint(UF_FACE_DOWN, &paint, 1.5, 14, "over the nadir");
    paint.lat_deg = 90;
    check_paint(UF_FACE_UP, &paint, 1.5, 14, "over the zenith");
    paint.lon_deg = 36;
    paint.lat_deg = 26;
    paint.radius_deg = 4;
    check_paint(UF_FACE_FRONT, &paint, 0.8, 6, "in a face's corner");
}

/*
 * New paint covers what was there: the panorama is sharper than the face that was taken out of it, and what
 * it has more must not shine through. Measured, in steps of 1/255: 0.2 rms and 2 at most; 2.0 and 6 when the
 * difference is simply added.
 */
Test(putback, leaves_no_ghost_of_what_was_painted_over)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *truth = NULL;
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    UfEdit edit = {.name = "edit"};
    cr_assert_eq(uf_picture_copy(panorama, &truth, NULL), UF_OK);
    paint_on(truth, &sphere, &middle_paint);
    UfPicture *picture = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home);
    paint_extraction(picture, &edit.home, &middle_paint);
    edit.picture = picture;
    (void)bring(panorama, &edit, 1, NULL, NULL, NULL);
    Error inside = error_of(panorama, truth, &middle_paint, -4 * PIXEL_DEG);
    cr_expect_leq(inside.rms, 0.3, "%.2f steps of a ghost", inside.rms);
    cr_expect_leq(inside.most, 2.01, "%.0f steps of a ghost at most", inside.most);
    uf_picture_free(&picture);
    uf_picture_free(&panorama);
    uf_picture_free(&truth);
}

Test(putback, marks_only_the_cells_that_changed)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL;
    UfTouched *touched = NULL;
    UfEdit edit = {.name = "edit"};
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    cr_assert_eq(uf_touched_create(PUTBACK_WIDTH_PX, PUTBACK_WIDTH_PX / 2, &touched, NULL), UF_OK);
    UfPicture *picture = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home);
    paint_extraction(picture, &edit.home, &middle_paint);
    edit.picture = picture;
    UfPutbackChange change;
    UfPutbackResult result = bring(panorama, &edit, 1, NULL, touched, &change);
    size_t changed = 0, marked = 0;
    for (size_t y = 0; y < PUTBACK_WIDTH_PX / 2; y += 8)
        for (size_t x = 0; x < PUTBACK_WIDTH_PX; x += 8) {
            size_t here = 0;
            for (size_t v = y; v < y + 8; v++)
                for (size_t u = x; u < x + 8; u++)
                    here += memcmp((const uint8_t *)uf_picture_row_const(panorama, v) + 3 * u,
                                   (const uint8_t *)uf_picture_row_const(before, v) + 3 * u, 3) != 0;
            changed += here;
            marked += uf_touched_any(touched, x, y, x + 8, y + 8);
            cr_expect_eq(uf_touched_any(touched, x, y, x + 8, y + 8), here > 0, "cell at %zu, %zu", x, y);
        }
    cr_expect_eq(result.changed_px, changed);
    cr_expect(marked > 4 && marked < 20, "%zu cells", marked);
    /* a disc of half-angle 6 degrees has (1 - cos 6 deg)/2 = 0.274 % of the sphere; its edge adds a degree */
    cr_expect(change.sphere_percent > 0.27 && change.sphere_percent < 0.40, "%.3f", change.sphere_percent);
    cr_expect_float_eq(change.lon_deg, 97, 0.3);
    cr_expect_float_eq(change.lat_deg, 12, 0.3);
    cr_expect_float_eq(change.radius_deg, 6 + PIXEL_DEG, 0.8);
    uf_touched_free(&touched);
    uf_picture_free(&picture);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

/* Where a stroke crosses from one face to the next, both bring their part, and no seam is left between them.
 */
Test(putback, joins_a_stroke_across_two_faces)
{
    Paint paint = middle_paint;
    paint.lon_deg = 45;
    paint.lat_deg = -5;
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL, *truth = NULL, *pictures[2];
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    UfEdit edits[2] = {{.name = "front"}, {.name = "right"}};
    const UfFace faces[2] = {UF_FACE_FRONT, UF_FACE_RIGHT};
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    cr_assert_eq(uf_picture_copy(panorama, &truth, NULL), UF_OK);
    paint_on(truth, &sphere, &paint);
    for (int i = 0; i < 2; i++) {
        pictures[i] = take_face(panorama, faces[i], 0, &edits[i].home);
        paint_extraction(pictures[i], &edits[i].home, &paint);
        edits[i].picture = pictures[i];
    }
    (void)bring(panorama, edits, 2, NULL, NULL, NULL);
    assert_only_near(before, panorama, &paint, 6 + PIXEL_DEG + REACH_DEG, "two faces");
    Error error = error_of(panorama, truth, &paint, REACH_DEG);
    cr_expect_leq(error.rms, 1.0, "rms error %.3f of 255", error.rms);
    cr_expect_leq(error.most, 9, "largest error %.1f of 255", error.most);
    for (int i = 0; i < 2; i++)
        uf_picture_free(&pictures[i]);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
    uf_picture_free(&truth);
}

Test(putback, lets_a_change_win_over_none_and_a_later_one_over_an_earlier)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *before = NULL, *pictures[3];
    UfEdit edits[3] = {{.name = "first"}, {.name = "second"}, {.name = "third"}};
    Paint other = middle_paint;
    other.colour[0] = 0.1;
    other.colour[1] = 0.9;
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    pictures[0] = take_face(panorama, UF_FACE_RIGHT, 0, &edits[0].home);
    pictures[1] = take_view(panorama, 90, 10, 20, 60, 150, 120, &edits[1].home);
    pictures[2] = take_view(panorama, 100, 0, 0, 70, 150, 150, &edits[2].home);
    paint_extraction(pictures[0], &edits[0].home, &other);
    paint_extraction(pictures[1], &edits[1].home, &middle_paint);
    for (int i = 0; i < 3; i++)
        edits[i].picture = pictures[i];
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_putback(panorama, edits, 3, NULL, NULL, NULL, NULL, report), UF_OK, "%s",
                 uf_report_error(report));
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect(strstr(uf_report_warning(report, 0), "different ways") != NULL, "%s",
              uf_report_warning(report, 0));
    /* the pixel in the disc's middle */
    size_t x = (size_t)((97.0 / 360 + 0.5) * PUTBACK_WIDTH_PX),
           y = (size_t)((0.5 - 12.0 / 180) * PUTBACK_WIDTH_PX / 2);
    for (size_t c = 0; c < 3; c++)
        cr_expect_float_eq(sample_at(panorama, x, y, c), middle_paint.colour[c], 2.0 / 255);
    uf_report_free(&report);
    for (int i = 0; i < 3; i++)
        uf_picture_free(&pictures[i]);
    uf_picture_free(&panorama);
    uf_picture_free(&before);
}

/* A step up or down, as a lossy file leaves it, all over. */
static void spread_noise(UfPicture *picture)
{
    uint32_t state = 1;
    for (size_t y = 0; y < uf_picture_height_px(picture); y++) {
        uint8_t *row = uf_picture_row(picture, y);
        for (size_t i = 0; i < 3 * uf_picture_width_px(picture); i++) {
            state = state * 1664525u + 1013904223u;
            row[i] = (uint8_t)(row[i] < 2 ? 2 : row[i] > 253 ? 253 : row[i] + (int)(state >> 30) - 1);
        }
    }
}

static UfPicture *brought_by(int threads, bool noisy, UfPutbackChange *change)
{
    UfEdit edit = {.name = "edit"};
    const UfPutbackOptions options = {.feather_px = -1, .tolerance = -1, .threads = threads};
    UfPicture *panorama = texture_make(3, noisy ? UF_SAMPLE_U8 : UF_SAMPLE_U16);
    UfPicture *picture = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home);
    paint_extraction(picture, &edit.home, &middle_paint);
    if (noisy)
        spread_noise(picture);
    edit.picture = picture;
    (void)bring(panorama, &edit, 1, &options, NULL, change);
    uf_picture_free(&picture);
    return panorama;
}

/* Of a lossless file, and of one whose noise is measured first. */
Test(putback, gives_the_same_on_any_number_of_threads)
{
    for (int noisy = 0; noisy < 2; noisy++) {
        UfPutbackChange one = {0}, five = {0};
        UfPicture *by_one = brought_by(1, noisy != 0, &one), *by_five = brought_by(5, noisy != 0, &five);
        cr_expect(same_pixels(by_one, by_five), "noisy %d", noisy);
        cr_expect(one.changed && one.exact == (noisy == 0), "noisy %d", noisy);
        cr_expect_eq(one.changed_px, five.changed_px);
        cr_expect_eq(one.tolerance, five.tolerance);
        uf_picture_free(&by_one);
        uf_picture_free(&by_five);
    }
}

static void expect_refused(UfPicture *panorama, const UfEdit *edit, const char *words)
{
    UfPicture *before = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_picture_copy(panorama, &before, NULL), UF_OK);
    cr_expect_eq(uf_putback(panorama, edit, 1, NULL, NULL, NULL, NULL, report), UF_ERROR_ARGUMENT);
    cr_expect(strstr(uf_report_error(report), words) != NULL, "'%s' is not in: %s", words,
              uf_report_error(report));
    cr_expect(strncmp(uf_report_error(report), edit->name, strlen(edit->name)) == 0, "%s",
              uf_report_error(report));
    cr_expect(same_pixels(panorama, before));
    uf_report_free(&report);
    uf_picture_free(&before);
}

static UfPicture *cropped(const UfPicture *picture, size_t width_px, size_t height_px)
{
    UfPicture *out = NULL;
    cr_assert_eq(uf_picture_create(width_px, height_px, 3, uf_picture_sample(picture), &out, NULL), UF_OK);
    for (size_t y = 0; y < height_px; y++)
        memcpy(uf_picture_row(out, y), uf_picture_row_const(picture, y), uf_picture_stride_bytes(out));
    return out;
}

Test(putback, refuses_what_cannot_come_home)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *other = texture_make(3, UF_SAMPLE_U8);
    Paint everywhere = middle_paint;
    everywhere.radius_deg = 170;
    everywhere.opacity = 0.7;
    UfView sphere = uf_view_equirectangular(PUTBACK_WIDTH_PX);
    paint_on(other, &sphere, &everywhere);
    UfEdit edit = {.name = "right.png"};
    UfPicture *picture = take_face(panorama, UF_FACE_RIGHT, 0, &edit.home);
    edit.picture = picture;
    expect_refused(other, &edit, "another panorama, hall.png");
    UfPicture *crop = cropped(picture, 163, 100);
    edit.picture = crop;
    expect_refused(panorama, &edit, "a face is square");
    edit.picture = picture;
    edit.home.panorama_width_px = 1024;
    expect_refused(panorama, &edit, "1024");
    edit.home.kind = UF_HOME_PLANET;
    expect_refused(panorama, &edit, "planet");
    UfEdit by_hand = {.name = "right.png", .picture = picture, .by_hand = true};
    by_hand.home = (UfHome){.kind = UF_HOME_FACE, .face = UF_FACE_LEFT};
    expect_refused(panorama, &by_hand, "is it that face");
    UfEdit view = {.name = "view.png"};
    UfPicture *plain = take_view(panorama, 0, 0, 0, 60, 120, 80, &view.home),
              *narrow = cropped(plain, 100, 80);
    view.picture = narrow;
    expect_refused(panorama, &view, "100 x 80");
    uf_picture_free(&plain);
    uf_picture_free(&narrow);
    uf_picture_free(&crop);
    uf_picture_free(&picture);
    uf_picture_free(&panorama);
    uf_picture_free(&other);
}

/* Three faces taken out together and brought home one after the other. The second looks at rows that the
 * first has changed, and meets another state of the panorama; the third looks elsewhere, and it is the same
 * panorama to it. */
Test(putback, knows_a_panorama_again_that_faces_came_home_to)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8), *pictures[3];
    UfEdit edits[3] = {{.name = "right"}, {.name = "left"}, {.name = "down"}};
    const UfFace faces[3] = {UF_FACE_RIGHT, UF_FACE_LEFT, UF_FACE_DOWN};
    Paint paints[3] = {middle_paint, middle_paint, middle_paint};
    paints[1].lon_deg += 180;
    paints[2].lat_deg = -80;
    for (int i = 0; i < 3; i++) {
        pictures[i] = take_face(panorama, faces[i], 0, &edits[i].home);
        paint_extraction(pictures[i], &edits[i].home, &paints[i]);
        edits[i].picture = pictures[i];
    }
    for (int i = 0; i < 3; i++) {
        UfPicture *between = NULL;
        UfPutbackChange change;
        UfReport *report = uf_report_create();
        cr_assert_eq(uf_picture_copy(panorama, &between, NULL), UF_OK);
        cr_assert_eq(uf_putback(panorama, &edits[i], 1, NULL, NULL, &change, NULL, report), UF_OK, "%s",
                     uf_report_error(report));
        cr_expect(change.changed);
        cr_expect_eq(change.other_panorama, i == 1, "%s", edits[i].name);
        cr_assert_eq(uf_report_warning_count(report), i == 1, "%s", edits[i].name);
        cr_expect(i != 1 || strstr(uf_report_warning(report, 0), "another state") != NULL);
        assert_only_near(between, panorama, &paints[i], 6 + PIXEL_DEG + REACH_DEG, edits[i].name);
        uf_report_free(&report);
        uf_picture_free(&between);
        uf_picture_free(&pictures[i]);
    }
    uf_picture_free(&panorama);
}

Test(putback, takes_an_address_given_by_hand)
{
    UfPicture *panorama = texture_make(3, UF_SAMPLE_U8);
    UfHome home;
    const size_t sizes[] = {0, 200}; /* the full size, and one chosen freely */
    for (size_t i = 0; i < 2; i++) {
        UfPicture *copy = NULL, *picture = take_face(panorama, UF_FACE_RIGHT, sizes[i], &home);
        cr_assert_eq(uf_picture_copy(panorama, &copy, NULL), UF_OK);
        UfEdit edit = {.name = "edit", .picture = picture, .by_hand = true};
        edit.home = (UfHome){.kind = UF_HOME_FACE, .face = UF_FACE_RIGHT};
        UfPutbackChange change;
        (void)bring(copy, &edit, 1, NULL, NULL, &change);
        cr_expect(!change.changed && change.exact, "size %zu", sizes[i]);
        paint_extraction(picture, &home, &middle_paint);
        (void)bring(copy, &edit, 1, NULL, NULL, &change);
        cr_expect(change.changed && change.exact);
        assert_only_near(panorama, copy, &middle_paint, 6 + PIXEL_DEG + REACH_DEG, "by hand");
        uf_picture_free(&picture);
        uf_picture_free(&copy);
    }
    uf_picture_free(&panorama);
}

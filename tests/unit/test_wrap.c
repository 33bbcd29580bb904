/* Six faces back to a panorama: seams, what is missing, faces that differ, and sheets. */
#include "test_remap_support.h"

#include <underfoot/home.h>
#include <underfoot/wrap.h>

#include <stdio.h>

#define SIDE_PX  40u
#define WIDTH_PX 128u

/* A smooth function of the direction, from 0 to 1. */
static double colour_of(UfDirection d, size_t c)
{
    return 0.5 + 0.2 * sin(3 * d.x + (double)c) + 0.2 * cos(4 * d.y - d.z * (double)(c + 1));
}

static UfPicture *face_of(UfFace face, size_t side_px, size_t channels, UfSample sample)
{
    UfPicture *picture = make_picture(side_px, side_px, channels, sample);
    UfView view = uf_view_face(face, side_px);
    double max = sample_max(sample);
    for (size_t y = 0; y < side_px; y++)
        for (size_t x = 0; x < side_px; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            for (size_t c = 0; c < channels; c++) {
                double value = channels % 2 == 0 && c == channels - 1 ? 1 : colour_of(d, c);
                set(picture, x, y, c, sample == UF_SAMPLE_F32 ? value : floor(value * max + 0.5));
            }
        }
    return picture;
}

typedef struct Faces {
    UfPicture *of[UF_FACE_COUNT];
} Faces;

static Faces all_faces(size_t channels, UfSample sample)
{
    Faces faces;
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        faces.of[f] = face_of((UfFace)f, SIDE_PX, channels, sample);
    return faces;
}

static void faces_free(Faces *faces)
{
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        uf_picture_free(&faces->of[f]);
}

static UfPicture *wrap(const Faces *faces, size_t width_px, const UfRemapOptions *options)
{
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_wrap_faces((const UfPicture *const *)faces->of, width_px, options, &out, report), UF_OK,
                 "%s", uf_report_error(report));
    uf_report_free(&report);
    return out;
}

/* Largest error as a part of full scale; missing directions, told by alpha 0, are left out and counted. */
static double largest_error(const UfPicture *panorama, size_t *missing)
{
    UfView view = uf_view_equirectangular(uf_picture_width_px(panorama));
    size_t channels = uf_picture_channels(panorama);
    size_t colours = channels % 2 == 0 ? channels - 1 : channels;
    double max = sample_max(uf_picture_sample(panorama));
    double worst = 0;
    *missing = 0;
    for (size_t y = 0; y < view.height_px; y++)
        for (size_t x = 0; x < view.width_px; x++) {
            UfDirection d;
            cr_assert(uf_view_direction(&view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &d));
            if (colours < channels && get(panorama, x, y, colours) == 0) {
                ++*missing;
                continue;
            }
            for (size_t c = 0; c < colours; c++)
                worst = fmax(worst, fabs(get(panorama, x, y, c) / max - colour_of(d, c)));
        }
    return worst;
}

/*
 * The kernels' own error on this picture is far below a tenth of a percent. At an edge where interpolation
 * stopped it would be half a pixel's slope, 1 % and more.
 */
Test(wrap, has_no_seam_at_any_edge_of_the_cube)
{
    const UfSampling samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_SHARP};
    for (size_t s = 0; s < 2; s++)
        for (size_t width_px = 62; width_px <= 400; width_px += 166) {
            Faces faces = all_faces(3, UF_SAMPLE_U16);
            UfPicture *out = wrap(&faces, width_px, &(UfRemapOptions){.sampling = samplings[s]});
            size_t missing;
            cr_expect_lt(largest_error(out, &missing), width_px < WIDTH_PX ? 4e-3 : 1e-3,
                         "%zu wide, sampling %zu", width_px, s);
            cr_expect_eq(missing, 0);
            cr_expect_eq(uf_picture_channels(out), 3);
            uf_picture_free(&out);
            faces_free(&faces);
        }
}

/*
 * A single bright pixel beside an edge of the cube, seen finely from both sides of it: 1/4 pixel from its
 * centre on its own face, 3/4 pixel on the neighbour, whose border it is. Weights: R. G. Keys, IEEE Trans.
 * ASSP 29(6), 1153-1160 (1981), a = -1/2: 0.8671875 and 0.2265625.
 */
Test(wrap, takes_taps_from_the_neighbouring_face)
{
    Faces faces = {{NULL}};
    const double dark[3] = {100, 100, 100};
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        faces.of[f] = make_picture(SIDE_PX, SIDE_PX, 3, UF_SAMPLE_U8);
        fill(faces.of[f], dark);
    }
    for (size_t c = 0; c < 3; c++)
        set(faces.of[UF_FACE_RIGHT], 0, SIDE_PX / 2, c, 220);
    UfPicture *out = wrap(&faces, 4 * WIDTH_PX, NULL);
    size_t edge = 4 * WIDTH_PX / 2 + 4 * WIDTH_PX / 8; /* at 45 degrees */
    cr_expect_float_eq(get(out, edge - 1, WIDTH_PX + 1, 0), 100 + 120 * 0.2265625, 4);
    cr_expect_float_eq(get(out, edge, WIDTH_PX + 1, 0), 100 + 120 * 0.8671875, 4);
    uf_picture_free(&out);
    faces_free(&faces);
}

Test(wrap, leaves_missing_faces_transparent_and_says_so)
{
    Faces faces = all_faces(3, UF_SAMPLE_U8);
    uf_picture_free(&faces.of[UF_FACE_UP]);
    uf_picture_free(&faces.of[UF_FACE_LEFT]);
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_wrap_faces((const UfPicture *const *)faces.of, WIDTH_PX, NULL, &out, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 1);
    cr_expect(strstr(uf_report_warning(report, 0), "left, up") != NULL, "%s", uf_report_warning(report, 0));
    cr_assert_eq(uf_picture_channels(out), 4);
    size_t missing;
    /* beside a missing face the edge is drawn out: half a pixel's slope */
    cr_expect_lt(largest_error(out, &missing), 2.5e-2);
    /* two of six equal parts of the sphere */
    cr_expect_float_eq(uf_wrap_unseen_percent(out), 100.0 / 3, 0.5);
    uf_report_free(&report);
    uf_picture_free(&out);
    faces_free(&faces);
}

Test(wrap, makes_faces_of_different_depth_and_alpha_alike)
{
    Faces faces = all_faces(3, UF_SAMPLE_U16);
    uf_picture_free(&faces.of[UF_FACE_FRONT]);
    faces.of[UF_FACE_FRONT] = face_of(UF_FACE_FRONT, SIDE_PX, 3, UF_SAMPLE_U8);
    uf_picture_free(&faces.of[UF_FACE_DOWN]);
    faces.of[UF_FACE_DOWN] = face_of(UF_FACE_DOWN, SIDE_PX, 4, UF_SAMPLE_U16);
    UfPicture *out = wrap(&faces, WIDTH_PX, NULL);
    size_t missing;
    cr_expect_eq(uf_picture_sample(out), UF_SAMPLE_U16);
    cr_expect_eq(uf_picture_channels(out), 4);
    cr_expect_lt(largest_error(out, &missing), 5e-3);
    cr_expect_eq(missing, 0);
    uf_picture_free(&out);
    faces_free(&faces);
}

Test(wrap, keeps_every_kind_of_sample)
{
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++) {
            Faces faces = all_faces(channels, all_samples[s]);
            UfPicture *out = wrap(&faces, WIDTH_PX, NULL);
            size_t missing;
            cr_expect_eq(uf_picture_sample(out), all_samples[s]);
            cr_expect_eq(uf_picture_channels(out), channels);
            cr_expect_lt(largest_error(out, &missing), 8e-3);
            uf_picture_free(&out);
            faces_free(&faces);
        }
}

Test(wrap, threads_do_not_change_it)
{
    Faces faces = all_faces(3, UF_SAMPLE_U8);
    UfPicture *one = wrap(&faces, WIDTH_PX, &(UfRemapOptions){.threads = 1, .sampling = UF_SAMPLING_SHARP});
    UfPicture *three = wrap(&faces, WIDTH_PX, &(UfRemapOptions){.threads = 3, .sampling = UF_SAMPLING_SHARP});
    cr_expect(same_bytes(one, three));
    uf_picture_free(&one);
    uf_picture_free(&three);
    faces_free(&faces);
}

Test(wrap, finds_its_width)
{
    cr_expect_eq(uf_wrap_width_px(652), 2048);
    cr_expect_eq(uf_wrap_width_px(326), 1024);
    cr_expect_eq(uf_wrap_width_px(1), 4);
}

static void assert_refused(const Faces *faces, size_t width_px, const char *word)
{
    UfPicture *out = NULL;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_wrap_faces((const UfPicture *const *)faces->of, width_px, NULL, &out, report),
                 UF_ERROR_ARGUMENT);
    cr_expect(strstr(uf_report_error(report), word) != NULL, "'%s' is not in: %s", word,
              uf_report_error(report));
    cr_expect_null(out);
    uf_report_free(&report);
}

Test(wrap, refuses_faces_that_do_not_fit)
{
    Faces none = {{NULL}};
    assert_refused(&none, WIDTH_PX, "no face at all");
    Faces faces = all_faces(3, UF_SAMPLE_U8);
    assert_refused(&faces, 127, "even");
    uf_picture_free(&faces.of[UF_FACE_BACK]);
    faces.of[UF_FACE_BACK] = make_picture(SIDE_PX, SIDE_PX + 1, 3, UF_SAMPLE_U8);
    assert_refused(&faces, WIDTH_PX, "the back face is 40 x 41");
    uf_picture_free(&faces.of[UF_FACE_BACK]);
    faces.of[UF_FACE_BACK] = make_picture(SIDE_PX + 1, SIDE_PX + 1, 3, UF_SAMPLE_U8);
    assert_refused(&faces, WIDTH_PX, "one size");
    faces_free(&faces);
}

Test(wrap, cuts_sheets_where_the_faces_were_put)
{
    UfPicture *sheet = make_picture(4 * SIDE_PX, 3 * SIDE_PX, 4, UF_SAMPLE_U8);
    UfPicture *cut = NULL;
    UfReport *report = uf_report_create();
    /* each cell holds its number, and only the arms are opaque */
    for (size_t y = 0; y < 3 * SIDE_PX; y++)
        for (size_t x = 0; x < 4 * SIDE_PX; x++) {
            size_t cell = y / SIDE_PX * 4 + x / SIDE_PX;
            set(sheet, x, y, 0, (double)cell);
            set(sheet, x, y, 3, cell == 1 || (cell >= 4 && cell < 8) || cell == 9 ? 255 : 0);
        }
    const double cells[UF_FACE_COUNT] = {5, 6, 7, 4, 1, 9};
    for (unsigned f = 0; f < UF_FACE_COUNT; f++) {
        cr_assert_eq(uf_wrap_cut(sheet, UF_HOME_CROSS, (UfFace)f, &cut, report), UF_OK);
        cr_expect_eq(uf_picture_width_px(cut), SIDE_PX);
        cr_expect_eq(uf_picture_channels(cut), 3);
        cr_expect_eq(get(cut, 0, 0, 0), cells[f]);
        cr_expect_eq(get(cut, SIDE_PX - 1, SIDE_PX - 1, 0), cells[f]);
        uf_picture_free(&cut);
    }
    cr_expect_eq(uf_wrap_cut(sheet, UF_HOME_STRIP, UF_FACE_UP, &cut, report), UF_ERROR_ARGUMENT);
    cr_expect(strstr(uf_report_error(report), "160 x 120 pixels are no strip") != NULL, "%s",
              uf_report_error(report));
    uf_report_free(&report);
    uf_picture_free(&sheet);
}

Test(wrap, tells_faces_in_wrong_places_and_of_other_panoramas)
{
    UfHome homes[UF_FACE_COUNT];
    bool known[UF_FACE_COUNT] = {true, true, false, false, false, false};
    UfReport *report = uf_report_create();
    for (unsigned f = 0; f < UF_FACE_COUNT; f++)
        homes[f] = (UfHome){
            .kind = UF_HOME_FACE, .face = (UfFace)f, .width_px = 8, .height_px = 8, .panorama_width_px = 256};
    cr_expect_eq(uf_wrap_check_homes(homes, known, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 0);
    homes[1].fingerprint.bytes[3] = 9;
    cr_expect_eq(uf_wrap_check_homes(homes, known, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 1);
    for (unsigned f = 0; f < 2; f++) /* of other rows: told by the name */
        (void)snprintf(homes[f].source, sizeof homes[f].source, "hall.tif");
    homes[1].end_row_px = 80;
    cr_expect_eq(uf_wrap_check_homes(homes, known, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 1);
    homes[1].source[0] = 'm';
    cr_expect_eq(uf_wrap_check_homes(homes, known, report), UF_OK);
    cr_expect_eq(uf_report_warning_count(report), 2);
    homes[1].face = UF_FACE_DOWN;
    cr_expect_eq(uf_wrap_check_homes(homes, known, report), UF_ERROR_ARGUMENT);
    cr_expect(strstr(uf_report_error(report), "down") != NULL, "%s", uf_report_error(report));
    uf_report_free(&report);
}

/* Sources whose rows are still coming, and targets that are looked at while they are made. */
#include "test_remap_support.h"

#include <underfoot/turn.h>

/* Rows come when they are asked for, and no earlier; before, they hold what no row of the picture does. */
typedef struct Coming {
    const UfPicture *whole;
    UfPicture *picture;
    size_t there_px, last_px; /* from this row on none comes */
    size_t calls;
} Coming;

static void coming_start(Coming *out, const UfPicture *whole, size_t last_px)
{
    *out = (Coming){.whole = whole, .last_px = last_px};
    out->picture = make_picture(uf_picture_width_px(whole), uf_picture_height_px(whole),
                                uf_picture_channels(whole), uf_picture_sample(whole));
    fill_noise(out->picture, 77);
}

static size_t await(void *data, size_t end_px)
{
    Coming *coming = data;
    coming->calls++;
    cr_assert(end_px > coming->there_px && end_px <= uf_picture_height_px(coming->whole), "asked for %zu",
              end_px);
    if (end_px > coming->last_px)
        return 0;
    for (; coming->there_px < end_px; coming->there_px++)
        memcpy(uf_picture_row(coming->picture, coming->there_px),
               uf_picture_row_const(coming->whole, coming->there_px), uf_picture_stride_bytes(coming->whole));
    return coming->there_px;
}

/* Looks at the rows that are new since the last call, as they are then. */
typedef struct Told {
    const UfPicture *expected;
    size_t calls, end_px, wrong;
    bool is_gone;
} Told;

static void tell(void *data, UfPicture *picture, size_t end_px)
{
    Told *told = data;
    told->calls++;
    told->wrong += told->is_gone;
    told->is_gone = picture == NULL;
    if (picture == NULL)
        return;
    told->wrong += end_px <= told->end_px;
    for (; told->end_px < end_px; told->end_px++)
        told->wrong +=
            memcmp(uf_picture_row_const(picture, told->end_px),
                   uf_picture_row_const(told->expected, told->end_px), uf_picture_stride_bytes(picture)) != 0;
}

#define VIEWS 6

/* Coarser and finer than the source, up, down, ahead and turned. */
static UfView view_of(size_t index, size_t width_px)
{
    UfView view = uf_view_planet(index == 0 ? 300 : 900, uf_radians(300), uf_radians(40), index == 1);
    if (index == 2)
        view = uf_view_face(UF_FACE_UP, 160);
    if (index == 3)
        view = uf_view_face(UF_FACE_RIGHT, 600);
    if (index >= 4)
        view = uf_view_equirectangular(index == 4 ? width_px : width_px / 2);
    if (index >= 4)
        view.rotation = uf_rotation_from_angles(uf_radians(30), uf_radians(20), uf_radians(5));
    return view;
}

/* The same picture as from a source that is all there, and its rows are final when one is told of them. */
static size_t fill_as_they_come(const UfPicture *whole, const UfView *view, UfSampling sampling, int threads)
{
    const UfView sphere = uf_view_equirectangular(uf_picture_width_px(whole));
    UfRemapOptions options = {.sampling = sampling, .threads = threads};
    UfPicture *expected = remap(whole, &sphere, view, &options);
    Coming coming;
    Told told = {.expected = expected};
    coming_start(&coming, whole, SIZE_MAX);
    const UfRemapRows rows = {.source = await, .source_data = &coming, .target = tell, .target_data = &told};
    options.rows = &rows;
    UfPicture *got = remap(coming.picture, &sphere, view, &options);
    cr_assert(same_bytes(expected, got), "%zu x %zu, sampling %d, %d threads", view->width_px,
              view->height_px, (int)sampling, threads);
    cr_assert_eq(told.wrong, 0);
    cr_assert_not(told.is_gone);
    cr_assert_eq(told.end_px, view->height_px);
    cr_assert(told.calls <= (view->height_px + 15) / 16, "told %zu times", told.calls);
    uf_picture_free(&coming.picture);
    uf_picture_free(&expected);
    uf_picture_free(&got);
    return coming.calls;
}

Test(remap_rows, no_row_is_looked_at_before_it_comes)
{
    static const UfSampling samplings[] = {UF_SAMPLING_SHARP, UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR,
                                           UF_SAMPLING_NEAREST};
    static const struct {
        UfSample sample;
        size_t channels;
    } kinds[] = {{UF_SAMPLE_U8, 3}, {UF_SAMPLE_U16, 1}, {UF_SAMPLE_F32, 4}};
    size_t in_parts = 0;
    for (size_t kind = 0; kind < sizeof kinds / sizeof kinds[0]; kind++) {
        UfPicture *whole = make_picture(1024, 512, kinds[kind].channels, kinds[kind].sample);
        fill_noise(whole, (uint32_t)kind + 5);
        for (size_t i = 0; i < VIEWS * 4; i++) {
            const UfView view = view_of(i / 4, 1024);
            in_parts += fill_as_they_come(whole, &view, samplings[i % 4], kind == 0 ? 3 : 1) > 3;
        }
        uf_picture_free(&whole);
    }
    cr_expect(in_parts >= 36, "only %zu of %d were filled in parts", in_parts, 3 * VIEWS * 4);
}

/* Bands of coefficients: a source that is wide enough for several of them. */
Test(remap_rows, bands_wait_for_their_own_rows)
{
    UfPicture *whole = make_picture(4096, 2048, 3, UF_SAMPLE_F32);
    fill_noise(whole, 9);
    UfView view = uf_view_equirectangular(1024);
    view.rotation = uf_rotation_from_angles(0.3, 0.2, 0.1);
    const size_t calls = fill_as_they_come(whole, &view, UF_SAMPLING_SHARP, 2);
    cr_expect(calls > 2, "%zu calls", calls);
    uf_picture_free(&whole);
}

/* The rest of the source does not come: a failure, and one is told that the target goes. */
Test(remap_rows, a_source_that_ends_is_a_failure)
{
    UfPicture *whole = make_picture(1024, 512, 3, UF_SAMPLE_U8), *out = NULL;
    const UfView sphere = uf_view_equirectangular(1024);
    size_t told_of = 0;
    fill_noise(whole, 3);
    for (size_t i = 0; i < VIEWS * 2; i++) {
        const UfView view = view_of(i / 2, 1024);
        UfRemapOptions options = {.sampling = i % 2 == 0 ? UF_SAMPLING_BICUBIC : UF_SAMPLING_SHARP,
                                  .threads = 2};
        UfPicture *expected = remap(whole, &sphere, &view, &options);
        UfReport *report = uf_report_create();
        Told told = {.expected = expected};
        Coming coming;
        size_t first, end;
        uf_remap_rows(&sphere, &view, options.sampling, &first, &end);
        coming_start(&coming, whole, first + (end - first) / 2);
        const UfRemapRows rows = {
            .source = await, .source_data = &coming, .target = tell, .target_data = &told};
        options.rows = &rows;
        cr_expect_eq(uf_remap(coming.picture, &sphere, &view, &options, &out, report), UF_ERROR_ARGUMENT);
        cr_expect_null(out);
        cr_expect_not_null(strstr(uf_report_error(report), "was not read"));
        cr_expect_eq(told.wrong, 0);
        cr_expect_eq(told.is_gone, told.calls > 0);
        told_of += told.calls > 1;
        uf_picture_free(&coming.picture);
        uf_picture_free(&expected);
        uf_report_free(&report);
    }
    cr_expect(told_of > 1, "told of rows before the failure %zu times", told_of);
    uf_picture_free(&whole);
}

/* Metadata are there before the first row, which moved columns are as well as computed ones. */
typedef struct Dressed {
    Told told;
    size_t bare;
} Dressed;

static void tell_dressed(void *data, UfPicture *picture, size_t end_px)
{
    Dressed *dressed = data;
    dressed->bare += picture != NULL && uf_picture_icc(picture).size_bytes != 300;
    tell(&dressed->told, picture, end_px);
}

Test(remap_rows, turned_panoramas_come_row_by_row)
{
    static const uint8_t profile[300] = {1, 2, 3};
    static const double yaws_deg[] = {45, 12.3};
    UfPicture *whole = make_picture(1024, 512, 3, UF_SAMPLE_U8);
    fill_noise(whole, 4);
    cr_assert_eq(uf_picture_set_icc(whole, profile, sizeof profile, NULL), UF_OK);
    for (size_t i = 0; i < 4; i++) {
        const UfRotation turn = uf_rotation_from_angles(uf_radians(yaws_deg[i % 2]), 0, 0);
        UfRemapOptions options = {.sampling = UF_SAMPLING_BICUBIC};
        UfPicture *expected = NULL, *got = NULL;
        Coming coming;
        cr_assert_eq(uf_turn(whole, &turn, false, &options, &expected, NULL), UF_OK);
        Dressed dressed = {.told.expected = expected};
        coming_start(&coming, whole, i < 2 ? SIZE_MAX : 300);
        cr_assert_eq(uf_picture_copy_metadata(whole, coming.picture, NULL), UF_OK);
        const UfRemapRows rows = {
            .source = await, .source_data = &coming, .target = tell_dressed, .target_data = &dressed};
        options.rows = &rows;
        UfStatus status = uf_turn(coming.picture, &turn, false, &options, &got, NULL);
        cr_expect_eq(status, i < 2 ? UF_OK : UF_ERROR_ARGUMENT);
        cr_expect(i >= 2 || same_bytes(expected, got));
        cr_expect_eq(got == NULL, i >= 2);
        cr_expect_eq(dressed.told.is_gone, i >= 2);
        cr_expect_eq(dressed.told.wrong, 0);
        cr_expect_eq(dressed.bare, 0);
        cr_expect(dressed.told.end_px > 128 && coming.calls > 2, "%zu rows told of, %zu times asked",
                  dressed.told.end_px, coming.calls);
        uf_picture_free(&coming.picture);
        uf_picture_free(&expected);
        uf_picture_free(&got);
    }
    uf_picture_free(&whole);
}

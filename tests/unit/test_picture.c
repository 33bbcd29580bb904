/* The picture in memory, touched cells, the orientation of stored pixels. */
#include <criterion/criterion.h>
#include <string.h>

#include "picture/picture_internal.h"
#include "test_picture_support.h"

TestSuite(picture);

Test(picture, starts_as_zeros_of_the_wanted_shape)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(5, 3, 4, UF_SAMPLE_U16, &picture, NULL), UF_OK);
    cr_expect_eq(uf_picture_stride_bytes(picture), 5 * 4 * 2);
    cr_expect(uf_picture_has_alpha(picture));
    cr_expect_eq(uf_picture_format(picture), UF_FORMAT_UNKNOWN);
    cr_expect_eq(uf_picture_xmp(picture).size_bytes, 0);
    for (size_t y = 0; y < 3; y++)
        for (size_t i = 0; i < 20; i++)
            cr_expect_eq(((const uint16_t *)uf_picture_row_const(picture, y))[i], 0);
    uf_picture_free(&picture);
    cr_expect_null(picture);
    uf_picture_free(&picture);
    uf_picture_free(NULL);
}

Test(picture, refuses_shapes_that_make_no_sense)
{
    static const struct {
        size_t width, height, channels;
        int sample;
    } bad[] = {{0, 1, 3, 1}, {1, 0, 3, 1}, {1000001, 1, 3, 1}, {1, 1000001, 3, 1},
               {1, 1, 0, 1}, {1, 1, 5, 1}, {1, 1, 3, 3},       {1, 1, 3, 8}};
    UfReport *report = uf_report_create();
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        UfPicture *picture = NULL;
        uf_report_clear(report);
        UfStatus status = uf_picture_create(bad[i].width, bad[i].height, bad[i].channels,
                                            (UfSample)bad[i].sample, &picture, report);
        cr_expect_eq(status, UF_ERROR_ARGUMENT, "case %zu", i);
        cr_expect_null(picture, "case %zu", i);
        cr_expect_neq(uf_report_error(report)[0], '\0', "case %zu", i);
    }
    uf_report_free(&report);
}

Test(picture, a_size_is_checked_against_the_limit_without_overflow)
{
    UfReport *report = uf_report_create();
    cr_expect_eq(uf_check_size(100, 50, 3, UF_SAMPLE_U8, 0, 15000, report), UF_OK);
    cr_expect_eq(uf_check_size(100, 50, 3, UF_SAMPLE_U8, 0, 14999, report), UF_ERROR_MEMORY);
    cr_expect_eq(uf_check_size(100, 50, 3, UF_SAMPLE_U8, 1, 15000, report), UF_ERROR_MEMORY);
    cr_expect_eq(uf_check_size(100, 50, 3, UF_SAMPLE_U8, SIZE_MAX, 15000, report), UF_ERROR_MEMORY);
    cr_expect_eq(uf_check_size(1000000, 1000000, 4, UF_SAMPLE_F32, 0, 0, report), UF_ERROR_MEMORY);
    cr_expect_eq(uf_check_size(1000001, 1, 1, UF_SAMPLE_U8, 0, 0, report), UF_ERROR_UNSUPPORTED);
    cr_expect_eq(uf_check_size(0, 1, 1, UF_SAMPLE_U8, 0, 0, report), UF_ERROR_FORMAT);
    uf_report_free(&report);
}

Test(picture, a_copy_owns_its_pixels_and_metadata)
{
    Pixels pixels = noise_make(7, 5, 3, 8, 1);
    UfPicture *picture = picture_of(&pixels), *copy = NULL;
    cr_assert_eq(uf_blob_set(&picture->metadata.icc, "profile", 7, NULL), UF_OK);
    cr_assert_eq(uf_picture_copy(picture, &copy, NULL), UF_OK);
    memset(uf_picture_row(picture, 0), 0, uf_picture_stride_bytes(picture));
    picture->metadata.icc.data[0] = 'x';
    assert_samples(copy, &pixels, 0, "copy");
    cr_expect_eq(uf_picture_icc(copy).size_bytes, 7);
    cr_expect_arr_eq(uf_picture_icc(copy).data, "profile", 7);
    uf_picture_free(&picture);
    uf_picture_free(&copy);
    pixels_free(&pixels);
}

/* A cell is found by every rectangle that overlaps it, and by no other. */
Test(picture, touched_cells_are_found_by_overlap)
{
    UfTouched *touched = NULL;
    cr_assert_eq(uf_touched_create(50, 30, &touched, NULL), UF_OK);
    cr_expect_not(uf_touched_any(touched, 0, 0, 50, 30));
    uf_touched_add(touched, 17, 9, 18, 10);
    for (size_t y = 0; y < 30; y++)
        for (size_t x = 0; x < 50; x++)
            cr_expect_eq(uf_touched_any(touched, x, y, x + 1, y + 1), x / 8 == 2 && y / 8 == 1, "%zu %zu", x,
                         y);
    cr_expect(uf_touched_any(touched, 0, 0, 17, 9));
    cr_expect_not(uf_touched_any(touched, 0, 0, 16, 30));
    cr_expect_not(uf_touched_any(touched, 24, 0, SIZE_MAX, SIZE_MAX));
    uf_touched_free(&touched);
    cr_expect_null(touched);
}

Test(picture, touched_parts_outside_the_picture_are_ignored)
{
    UfTouched *touched = NULL;
    cr_assert_eq(uf_touched_create(50, 30, &touched, NULL), UF_OK);
    uf_touched_add(touched, 50, 0, 99, 30);
    uf_touched_add(touched, 5, 5, 5, 9);
    uf_touched_add(touched, 9, 9, 5, 5);
    cr_expect_not(uf_touched_any(touched, 0, 0, SIZE_MAX, SIZE_MAX));
    uf_touched_add(touched, 45, 25, SIZE_MAX, SIZE_MAX);
    cr_expect(uf_touched_any(touched, 49, 29, 50, 30));
    cr_expect_not(uf_touched_any(touched, 0, 0, 40, 24));
    uf_touched_free(&touched);
    cr_expect_eq(uf_touched_create(0, 5, &touched, NULL), UF_ERROR_ARGUMENT);
}

/* Stored pixels of every orientation, placed by the table of EXIF 2.32, come upright. */
Test(picture, orientation_brings_stored_pixels_upright)
{
    Pixels upright = noise_make(75, 37, 3, 16, 2);
    for (int orientation = 1; orientation <= 8; orientation++) {
        bool turned = orientation >= 5;
        Pixels stored = noise_make(turned ? 37 : 75, turned ? 75 : 37, 3, 16, 3);
        for (size_t y = 0; y < upright.height; y++)
            for (size_t x = 0; x < upright.width; x++) {
                size_t sx, sy;
                stored_place(orientation, upright.width, upright.height, x, y, &sx, &sy);
                memcpy(stored.codes + 3 * (sy * stored.width + sx),
                       upright.codes + 3 * (y * upright.width + x), 6);
            }
        UfPicture *picture = picture_of(&stored);
        cr_assert_eq(uf_orient_upright(picture, orientation, NULL), UF_OK);
        assert_samples(picture, &upright, 0, "upright");
        /* and back again, a rectangle at a time */
        uint16_t part[3 * 20 * 11];
        uf_orient_stored_rect(picture, orientation, 9, 13, 20, 11, (uint8_t *)part, 3 * 20 * 2);
        for (size_t j = 0; j < 11; j++)
            cr_expect_arr_eq(part + 60 * j, stored.codes + 3 * ((13 + j) * stored.width + 9), 120,
                             "orientation %d", orientation);
        uf_picture_free(&picture);
        pixels_free(&stored);
    }
    pixels_free(&upright);
}

/* A stored pixel counts as touched exactly when its upright cell is. */
Test(picture, touched_cells_follow_the_orientation)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(75, 37, 1, UF_SAMPLE_U8, &picture, NULL), UF_OK);
    UfTouched *touched = touched_of(picture);
    uf_touched_add(touched, 17, 9, 30, 20);
    for (int orientation = 1; orientation <= 8; orientation++)
        for (size_t y = 0; y < 37; y++)
            for (size_t x = 0; x < 75; x++) {
                size_t sx, sy;
                stored_place(orientation, 75, 37, x, y, &sx, &sy);
                cr_assert_eq(uf_touched_any_stored(touched, picture, orientation, sx, sy, sx + 1, sy + 1),
                             uf_touched_any(touched, x, y, x + 1, y + 1), "orientation %d, %zu %zu",
                             orientation, x, y);
                size_t next = uf_orient_next_cell(picture, orientation, false, sx);
                cr_assert(next > sx && next <= sx + 8);
            }
    uf_touched_free(&touched);
    uf_picture_free(&picture);
}

/* IEC 61966-2-1: linear 0.2140 is encoded 0.5; NaN and what is outside is clipped. */
Test(picture, float_without_profile_is_linear_light_on_its_way_to_integers)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(6, 1, 1, UF_SAMPLE_F32, &picture, NULL), UF_OK);
    const float values[6] = {0.0f, 0.21404114f, 1.0f, 7.5f, -1.0f, 0.0f / 0.0f};
    memcpy(uf_picture_row(picture, 0), values, sizeof values);
    uint8_t codes[6];
    uf_row_as(picture, 0, UF_SAMPLE_U8, codes);
    const uint8_t expected[6] = {0, 128, 255, 255, 0, 0};
    cr_expect_arr_eq(codes, expected, 6);
    uf_picture_free(&picture);
}

Test(picture, depths_are_rounded_to_the_nearest_code)
{
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(5, 1, 1, UF_SAMPLE_U16, &picture, NULL), UF_OK);
    const uint16_t values[5] = {0, 128, 129, 65535 - 129, 65535};
    memcpy(uf_picture_row(picture, 0), values, sizeof values);
    uint8_t codes[5];
    uf_row_as(picture, 0, UF_SAMPLE_U8, codes);
    const uint8_t expected[5] = {0, 0, 1, 254, 255};
    cr_expect_arr_eq(codes, expected, 5);
    uf_picture_free(&picture);
}

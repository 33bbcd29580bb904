/* Coefficients only where a target looks: no pixel looks elsewhere, and there they are as ever. */
#include "test_remap_support.h"

#include "picture/picture_internal.h"
#include "remap/bands.h"
#include "remap/lobe.h"
#include "remap/seen.h"
#include "remap/spline.h"

static UfView view_at(double field, size_t width_px, size_t height_px, double yaw, double pitch, double roll)
{
    UfView view = uf_view_face(UF_FACE_FRONT, 16);
    view.width_px = width_px;
    view.height_px = height_px;
    view.centre_x_px = (double)width_px / 2;
    view.centre_y_px = (double)height_px / 2;
    view.scale_px = (double)width_px / 2 / tan(uf_radians(field) / 2);
    view.rotation = uf_rotation_from_angles(uf_radians(yaw), uf_radians(pitch), uf_radians(roll));
    return view;
}

/* The taps of one place. */
static bool holds(const UfSeen *seen, const UfView *sphere, double u_px, double v_px)
{
    const ptrdiff_t width = (ptrdiff_t)sphere->width_px, height = (ptrdiff_t)sphere->height_px;
    const ptrdiff_t x = (ptrdiff_t)floor(u_px - 0.5), y = (ptrdiff_t)floor(v_px - 0.5);
    bool held = true;
    for (ptrdiff_t k = -2; k <= 3; k++) {
        held = held && seen->columns[((x + k) % width + width) % width];
        held = held && (y + k < 0 || y + k >= height || (y + k >= seen->first_row && y + k < seen->end_row));
    }
    return held;
}

static UfSeen see(const UfMap *map)
{
    UfSeen seen = {.first_row = (ptrdiff_t)map->source.height_px,
                   .columns = calloc(map->source.width_px, sizeof *seen.columns)};
    cr_assert_not_null(seen.columns);
    uf_seen_add(map, 0, 0, map->target.width_px, map->target.height_px, &seen);
    return seen;
}

/* Every pixel, its corners, and as far around it as a stretched footprint reaches. */
Test(remap_seen, no_pixel_looks_elsewhere)
{
    const UfView sphere = uf_view_equirectangular(600);
    UfSource source = {.width_px = 600, .height_px = 300};
    uf_source_set_edges(&source, &sphere);
    size_t missed = 0, part = 0;
    for (int i = 0; i < 60; i++) {
        UfView view = view_at(8 + i * 37 % 130, (size_t)(3 + i * 29 % 90), (size_t)(3 + i * 53 % 70), i * 47,
                              i * 31 % 181 - 90, i * 17);
        UfMap map = uf_map_create(&view, &sphere, &source);
        UfSeen seen = see(&map);
        for (double y = -UF_LOBES; y <= (double)view.height_px + UF_LOBES; y += 0.5)
            for (double x = -UF_LOBES; x <= (double)view.width_px + UF_LOBES; x += 0.5) {
                bool outside = x < 0 || y < 0 || x > (double)view.width_px || y > (double)view.height_px;
                double off_x = fmax(0, fmax(-x, x - (double)view.width_px));
                double off_y = fmax(0, fmax(-y, y - (double)view.height_px));
                double u, v;
                if (outside && hypot(off_x, off_y) > UF_LOBES)
                    continue;
                missed += uf_map_point(&map, x, y, &u, &v) && !holds(&seen, &sphere, u, v);
            }
        part += seen.first_row > 0 && seen.end_row < 300;
        uf_seen_free(&seen);
    }
    cr_expect_eq(missed, 0, "%zu places", missed);
    cr_expect(part > 10, "only %zu views see part of the sphere", part);
}

static size_t differences(const UfSpline *part, const UfSpline *whole, const UfSeen *seen, size_t pixel_bytes)
{
    size_t count = 0;
    const size_t stride = whole->coefficients.stride_bytes;
    for (ptrdiff_t y = seen->first_row; y < seen->end_row; y++)
        for (size_t x = 0; x < (size_t)whole->coefficients.width_px; x++)
            count +=
                seen->columns[x] &&
                memcmp(part->coefficients.data + (size_t)y * stride + x * pixel_bytes,
                       whole->coefficients.data + (size_t)y * stride + x * pixel_bytes, pixel_bytes) != 0;
    return count;
}

/* Ahead, over the seam, up, down: the same bits, for every type. */
Test(remap_seen, coefficients_are_those_of_the_whole)
{
    static const double at[4][2] = {{0, 0}, {180, 0}, {20, 90}, {20, -90}};
    const UfView sphere = uf_view_equirectangular(512);
    for (size_t i = 0; i < 12; i++) {
        UfSample sample = all_samples[i % 3];
        const size_t channels = 1 + i % 4;
        UfPicture *picture = make_picture(512, 256, channels, sample);
        fill_noise(picture, (uint32_t)i + 1);
        UfSource source = uf_source_of_picture(picture, NULL);
        uf_source_set_edges(&source, &sphere);
        UfView view = view_at(40, 64, 64, at[i / 3][0], at[i / 3][1], 0);
        UfMap map = uf_map_create(&view, &sphere, &source);
        UfSeen seen = see(&map);
        UfSpline part = {0}, whole = {0};
        UfView other_view = view_at(60, 64, 64, at[(i / 3 + 1) % 4][0], at[(i / 3 + 1) % 4][1], 0);
        UfMap other_map = uf_map_create(&other_view, &sphere, &source);
        UfSeen other = see(&other_map);
        /* what was made for other rows before leaves no trace */
        cr_assert_eq(uf_spline_create(&source, sample, channels, &other, 2, &part, NULL), UF_OK);
        cr_assert_eq(uf_spline_create(&source, sample, channels, &seen, 2, &part, NULL), UF_OK);
        cr_assert_eq(uf_spline_create(&source, sample, channels, NULL, 1, &whole, NULL), UF_OK);
        const size_t pixel_bytes = channels * (size_t)uf_spline_sample(sample, channels);
        cr_expect(seen.end_row - seen.first_row < 200, "view %zu sees everything", i);
        cr_expect_eq(differences(&part, &whole, &seen, pixel_bytes), 0, "view %zu", i);
        uf_spline_free(&part);
        uf_spline_free(&whole);
        uf_seen_free(&other);
        uf_seen_free(&seen);
        uf_picture_free(&picture);
    }
}

/* Rows are whole pages, so that a look beyond the rows that are there ends the test. */
static const struct {
    UfSample sample;
    size_t channels, width_px;
} paged[] = {
    {UF_SAMPLE_U8, 4, 1024}, {UF_SAMPLE_U16, 2, 1024}, {UF_SAMPLE_F32, 1, 1024}, {UF_SAMPLE_F32, 4, 256}};

static UfPicture *part_of(const UfPicture *whole, size_t first, size_t end)
{
    UfPicture *part = NULL;
    cr_assert_eq(uf_picture_create_part(uf_picture_width_px(whole), uf_picture_height_px(whole),
                                        uf_picture_channels(whole), uf_picture_sample(whole), first, end,
                                        &part, NULL),
                 UF_OK);
    for (size_t y = first; y < end; y++)
        memcpy(uf_picture_row(part, y), uf_picture_row_const(whole, y), uf_picture_stride_bytes(whole));
    return part;
}

/* Larger and smaller than the source, ahead and about the poles: the same picture from the rows that it needs
 * alone. */
static size_t fill_from_rows(const UfPicture *whole, const UfView *view, UfSampling sampling)
{
    const UfView sphere = uf_view_equirectangular(uf_picture_width_px(whole));
    const UfRemapOptions options = {.sampling = sampling, .threads = 2};
    UfPicture *expected = NULL, *got = NULL;
    size_t first, end;
    uf_remap_rows(&sphere, view, sampling, &first, &end);
    cr_assert(first < end && end <= uf_picture_height_px(whole));
    UfPicture *part = part_of(whole, first, end);
    cr_assert_eq(uf_remap(whole, &sphere, view, &options, &expected, NULL), UF_OK);
    cr_assert_eq(uf_remap(part, &sphere, view, &options, &got, NULL), UF_OK);
    for (size_t y = 0; y < view->height_px; y++)
        cr_assert(memcmp(uf_picture_row(expected, y), uf_picture_row(got, y), uf_picture_stride_bytes(got)) ==
                      0,
                  "row %zu of %zu x %zu, sampling %d", y, view->width_px, view->height_px, (int)sampling);
    uf_picture_free(&part);
    uf_picture_free(&expected);
    uf_picture_free(&got);
    return end - first;
}

Test(remap_seen, no_row_elsewhere_is_looked_at)
{
    static const UfSampling samplings[] = {UF_SAMPLING_SHARP, UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR,
                                           UF_SAMPLING_NEAREST};
    size_t parts = 0;
    for (size_t kind = 0; kind < sizeof paged / sizeof paged[0]; kind++) {
        UfPicture *whole = make_picture(paged[kind].width_px, paged[kind].width_px / 2, paged[kind].channels,
                                        paged[kind].sample);
        fill_noise(whole, (uint32_t)kind + 5);
        for (int i = (int)kind; i < 36; i += 4) {
            const size_t size = (size_t)(5 + i * 61 % 120);
            UfView view =
                view_at(8 + i * 37 % 130, size, 5 + size * 2 / 3, i * 47, i * 31 % 181 - 90, i * 17);
            if (i % 3 == 0)
                view = uf_view_planet(size, uf_radians(20 + i * 9), uf_radians(i * 47), i % 2 == 0);
            for (size_t k = 0; k < 4; k++)
                parts += fill_from_rows(whole, &view, samplings[k]) < paged[kind].width_px / 2;
        }
        uf_picture_free(&whole);
    }
    cr_expect(parts > 50 && parts < 144, "%zu of 144 needed less than everything", parts);
}

/* Up and down end at atan(1/sqrt 2) = 35.26 degrees of latitude, the others at 45: that is 0.30 and 0.50 of
 * the rows.
 */
Test(remap_seen, faces_need_little_more_than_their_rows)
{
    const UfView sphere = uf_view_equirectangular(8192);
    for (unsigned face = 0; face < UF_FACE_COUNT; face++) {
        const UfView view = uf_view_face((UfFace)face, uf_face_full_size_px(8192));
        size_t first, end;
        uf_remap_rows(&sphere, &view, UF_SAMPLING_SHARP, &first, &end);
        const double part = (double)(end - first) / 4096;
        const bool is_pole = face == UF_FACE_UP || face == UF_FACE_DOWN;
        cr_expect(part > (is_pole ? 0.304 : 0.5) && part < (is_pole ? 0.33 : 0.55), "face %u: %g", face,
                  part);
        cr_expect(face != UF_FACE_UP || first == 0);
        cr_expect(face != UF_FACE_DOWN || end == 4096);
    }
}

/* Rows of coefficients so long that only some fit: every block is in one band, which sees what the block
 * looks at and has no more rows than fit, or than blocks that begin within so few rows look at. */
Test(remap_seen, bands_hold_every_block_once)
{
    const UfView sphere = uf_view_equirectangular(2048);
    const UfView targets[3] = {uf_view_equirectangular(1500), uf_view_face(UF_FACE_DOWN, 700),
                               uf_view_planet(900, uf_radians(290), 0, false)};
    UfSource source = {.width_px = 2048, .height_px = 1024};
    uf_source_set_edges(&source, &sphere);
    for (size_t t = 0; t < 3; t++) {
        UfView view = targets[t];
        const UfRotation turn = uf_rotation_from_angles(0.3, t == 0 ? 0.7 : 0, t == 0 ? -0.4 : 0);
        view.rotation = uf_rotation_product(&turn, &view.rotation);
        const UfMap map = uf_map_create(&view, &sphere, &source);
        UfBands bands = {0};
        size_t count = 0, at = 0, pixels = 0;
        cr_assert_eq(uf_bands_create(&map, 64, UF_BAND_BYTES / 400, 2, &bands, NULL), UF_OK);
        for (size_t end = 0; at < bands.count; at = end, count++) {
            UfSeen seen = {0};
            cr_assert_eq(uf_bands_next(&bands, &map, at, &end, &seen, NULL), UF_OK);
            cr_assert(end > at && end <= bands.count);
            ptrdiff_t longest = 0;
            for (size_t i = at; i < end; i++) {
                const UfBandBlock *block = &bands.blocks[i];
                double u, v;
                cr_assert(uf_map_point(&map, (double)block->x_px + 0.5, (double)block->y_px + 0.5, &u, &v));
                cr_expect(holds(&seen, &sphere, u, v), "block %zu of target %zu", i, t);
                cr_expect(block->first_row >= seen.first_row && block->end_row <= seen.end_row);
                longest =
                    block->end_row - block->first_row > longest ? block->end_row - block->first_row : longest;
                pixels += (view.width_px - block->x_px < 64 ? view.width_px - block->x_px : 64) *
                          (view.height_px - block->y_px < 64 ? view.height_px - block->y_px : 64);
            }
            cr_expect_leq(seen.end_row - seen.first_row, UF_BAND_LEAST_ROWS + longest);
            uf_seen_free(&seen);
        }
        cr_expect_eq(pixels, view.width_px * view.height_px, "target %zu", t);
        cr_expect(count > 1 || t == 1, "target %zu has one band", t);
        uf_bands_free(&bands);
        cr_assert_eq(uf_bands_create(&map, 64, 1, 2, &bands, NULL), UF_OK);
        UfSeen seen = {0};
        size_t end;
        cr_assert_eq(uf_bands_next(&bands, &map, 0, &end, &seen, NULL), UF_OK);
        cr_expect_eq(end, bands.count);
        uf_seen_free(&seen);
        uf_bands_free(&bands);
    }
}

/* Coefficients only where a target looks: no pixel looks elsewhere, and there they are as ever. */
#include "test_remap_support.h"

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
        UfSeen seen = {0};
        cr_assert_eq(uf_seen_find(&map, &seen, NULL), UF_OK);
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
            count += seen->columns[x] &&
                     memcmp(part->data + (size_t)y * stride + x * pixel_bytes,
                            whole->data + (size_t)y * stride + x * pixel_bytes, pixel_bytes) != 0;
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
        UfSeen seen = {0};
        UfSpline part = {0}, whole = {0};
        cr_assert_eq(uf_seen_find(&map, &seen, NULL), UF_OK);
        cr_assert_eq(uf_spline_create(&source, sample, channels, &seen, 2, &part, NULL), UF_OK);
        cr_assert_eq(uf_spline_create(&source, sample, channels, NULL, 1, &whole, NULL), UF_OK);
        const size_t pixel_bytes = channels * (size_t)uf_spline_sample(sample, channels);
        cr_expect(seen.end_row - seen.first_row < 200, "view %zu sees everything", i);
        cr_expect_eq(differences(&part, &whole, &seen, pixel_bytes), 0, "view %zu", i);
        uf_spline_free(&part);
        uf_spline_free(&whole);
        uf_seen_free(&seen);
        uf_picture_free(&picture);
    }
}

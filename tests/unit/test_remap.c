/* uf_remap: what must come out exactly, and what must be refused. */
#include "picture/picture_internal.h"
#include "unit/test_remap_support.h"

static const UfSampling all_samplings[] = {UF_SAMPLING_BICUBIC, UF_SAMPLING_BILINEAR, UF_SAMPLING_NEAREST,
                                           UF_SAMPLING_SHARP};

Test(remap, identity_is_exact_at_every_depth)
{
    UfView view = uf_view_equirectangular(64);
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (size_t m = 0; m < 3; m++) {
                UfPicture *source = make_picture(64, 32, channels, all_samples[s]);
                fill_noise(source, 7);
                UfPicture *out = remap(source, &view, &view, &(UfRemapOptions){.sampling = all_samplings[m]});
                cr_expect(same_bytes(source, out), "sample type %d, %zu channels, sampling %d",
                          all_samples[s], channels, all_samplings[m]);
                uf_picture_free(&source);
                uf_picture_free(&out);
            }
}

Test(remap, identity_of_flat_views_is_exact_to_the_border)
{
    const UfView views[] = {
        uf_view_rectilinear(40, 30, 1.2, uf_rotation_from_angles(0.4, -0.3, 0.2)),
        uf_view_planet(33, 4.5, 0.3, false),
        uf_view_window(&(UfView){UF_PROJECTION_EQUIDISTANT, uf_rotation_identity(), 20, 30, 30, 60, 60}, 10,
                       12, 31, 29),
        uf_view_window(&(UfView){UF_PROJECTION_EQUIRECTANGULAR, uf_rotation_identity(), 64 / (2 * UF_PI), 32,
                                 16, 64, 32},
                       40, 3, 20, 11),
    };
    for (size_t v = 0; v < sizeof views / sizeof *views; v++)
        for (size_t channels = 1; channels <= 4; channels++) {
            UfPicture *source = make_picture(views[v].width_px, views[v].height_px, channels, UF_SAMPLE_U16);
            fill_noise(source, 3);
            UfPicture *out = remap(source, &views[v], &views[v], NULL);
            cr_expect(same_bytes(source, out), "view %zu, %zu channels", v, channels);
            uf_picture_free(&source);
            uf_picture_free(&out);
        }
}

Test(remap, yaw_by_whole_pixels_is_an_exact_shift)
{
    const size_t width = 60, height = 30, by = 17;
    UfView view = uf_view_equirectangular(width), turned = view;
    turned.rotation = uf_rotation_from_angles(2 * UF_PI * (double)by / (double)width, 0, 0);
    for (size_t s = 0; s < 3; s++) {
        UfPicture *source = make_picture(width, height, 3, all_samples[s]);
        fill_noise(source, 11);
        /* the poles' rows are averaged only when the target is coarser there, which it is not */
        UfPicture *out = remap(source, &view, &turned, NULL);
        for (size_t y = 0; y < height; y++)
            for (size_t x = 0; x < width; x++)
                for (size_t c = 0; c < 3; c++)
                    cr_assert_eq(get(out, x, y, c), get(source, (x + by) % width, y, c),
                                 "pixel %zu %zu, sample type %d", x, y, all_samples[s]);
        uf_picture_free(&source);
        uf_picture_free(&out);
    }
}

/* Half a turn of roll swaps top and bottom and mirrors: out(i, j) = in(W - 1 - i, H - 1 - j). */
Test(remap, half_a_roll_is_an_exact_turn_over)
{
    const size_t width = 48, height = 24;
    UfView view = uf_view_equirectangular(width), turned = view;
    turned.rotation = uf_rotation_from_angles(0, 0, UF_PI);
    UfPicture *source = make_picture(width, height, 1, UF_SAMPLE_U16);
    fill_noise(source, 5);
    UfPicture *out = remap(source, &view, &turned, NULL);
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++)
            cr_assert_eq(get(out, x, y, 0), get(source, width - 1 - x, height - 1 - y, 0));
    uf_picture_free(&source);
    uf_picture_free(&out);
}

/* The seam is nothing special: a picture, and the same with the seam elsewhere, show the same. */
Test(remap, seam_is_invisible)
{
    const size_t width = 128, height = 64;
    UfView view = uf_view_equirectangular(width), moved = view;
    moved.rotation = uf_rotation_from_angles(UF_PI, 0, 0);
    UfPicture *source = make_picture(width, height, 3, UF_SAMPLE_U16);
    UfPicture *half = make_picture(width, height, 3, UF_SAMPLE_U16);
    fill_noise(source, 21);
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++)
            for (size_t c = 0; c < 3; c++)
                set(half, x, y, c, get(source, (x + width / 2) % width, y, c));
    for (unsigned face = 0; face < UF_FACE_COUNT; face++)
        for (size_t size = 16; size <= 96; size += 40) {
            UfView target = uf_view_face((UfFace)face, size);
            UfPicture *a = remap(source, &view, &target, NULL), *b = remap(half, &moved, &target, NULL);
            cr_expect_leq(largest_difference(a, b), 1, "face %u of %zu pixels: %g", face, size,
                          largest_difference(a, b));
            uf_picture_free(&a);
            uf_picture_free(&b);
        }
    uf_picture_free(&source);
    uf_picture_free(&half);
}

Test(remap, constant_pictures_stay_constant)
{
    const UfView sphere = uf_view_equirectangular(96);
    UfView turned = sphere;
    turned.rotation = uf_rotation_from_angles(1, 0.7, -0.4);
    UfView small = uf_view_equirectangular(10);
    small.rotation = turned.rotation;
    const UfView targets[] = {uf_view_face(UF_FACE_UP, 40),
                              uf_view_face(UF_FACE_DOWN, 9),
                              turned,
                              small,
                              uf_view_planet(31, 5.5, 1, false),
                              uf_view_planet(8, 4, 0, true),
                              uf_view_rectilinear(50, 20, 2.6, uf_rotation_from_angles(3, -1.5, 0))};
    for (size_t s = 0; s < 3; s++)
        for (size_t channels = 1; channels <= 4; channels++)
            for (size_t m = 0; m < 3; m++)
                for (size_t t = 0; t < sizeof targets / sizeof *targets; t++) {
                    double max = sample_max(all_samples[s]);
                    double pixel[4] = {floor(max * 0.37), floor(max * 0.81), floor(max * 0.04),
                                       floor(max * 0.6)};
                    if (all_samples[s] == UF_SAMPLE_F32)
                        pixel[0] = 0.37, pixel[1] = 0.81, pixel[2] = 1.7, pixel[3] = 0.6;
                    UfPicture *source = make_picture(96, 48, channels, all_samples[s]);
                    fill(source, pixel);
                    UfPicture *out =
                        remap(source, &sphere, &targets[t], &(UfRemapOptions){.sampling = all_samplings[m]});
                    UfPicture *expected =
                        make_picture(targets[t].width_px, targets[t].height_px, channels, all_samples[s]);
                    fill(expected, pixel);
                    /* plain tiles are weighed in single precision: three units in the last place of 1.7 */
                    double limit = all_samples[s] == UF_SAMPLE_F32 ? 3 * 0x1p-23 : 0;
                    cr_expect_leq(largest_difference(out, expected), limit,
                                  "type %d, %zu channels, sampling %d, target %zu: %g", all_samples[s],
                                  channels, all_samplings[m], t, largest_difference(out, expected));
                    uf_picture_free(&source);
                    uf_picture_free(&out);
                    uf_picture_free(&expected);
                }
}

/* T. Porter and T. Duff, SIGGRAPH '84: colours are weighted by alpha, so a transparent pixel lends none. */
Test(remap, transparent_pixels_lend_no_colour)
{
    for (size_t s = 0; s < 3; s++) {
        double max = sample_max(all_samples[s]);
        const double red[4] = {max, 0, 0, max}, green[4] = {0, max, 0, 0};
        UfPicture *source = make_picture(64, 32, 4, all_samples[s]);
        for (size_t y = 0; y < 32; y++)
            for (size_t x = 0; x < 64; x++)
                for (size_t c = 0; c < 4; c++)
                    set(source, x, y, c, (x / 3 + y / 2) % 2 == 0 ? red[c] : green[c]);
        const UfView sphere = uf_view_equirectangular(64);
        const UfView targets[] = {uf_view_face(UF_FACE_RIGHT, 50), uf_view_face(UF_FACE_DOWN, 24),
                                  uf_view_planet(12, 5, 0, false)};
        for (size_t m = 0; m < 2; m++)
            for (size_t t = 0; t < 3; t++) {
                UfPicture *out =
                    remap(source, &sphere, &targets[t], &(UfRemapOptions){.sampling = all_samplings[m]});
                size_t partly = 0;
                for (size_t y = 0; y < targets[t].height_px; y++)
                    for (size_t x = 0; x < targets[t].width_px; x++) {
                        double alpha = get(out, x, y, 3);
                        partly += alpha > 0 && alpha < max;
                        if (alpha == 0)
                            continue;
                        cr_assert_float_eq(get(out, x, y, 0), max, max * 2e-6);
                        cr_assert_eq(get(out, x, y, 1), 0);
                        cr_assert_eq(get(out, x, y, 2), 0);
                    }
                cr_expect_gt(partly, 0);
                uf_picture_free(&out);
            }
        uf_picture_free(&source);
    }
}

Test(remap, fully_transparent_areas_are_zero)
{
    UfPicture *source = make_picture(32, 16, 2, UF_SAMPLE_U8);
    fill(source, (const double[]){200, 0});
    const UfView sphere = uf_view_equirectangular(32), target = uf_view_planet(20, 5, 0, true);
    UfPicture *out = remap(source, &sphere, &target, NULL), *zeros = make_picture(20, 20, 2, UF_SAMPLE_U8);
    cr_expect(same_bytes(out, zeros));
    uf_picture_free(&source);
    uf_picture_free(&out);
    uf_picture_free(&zeros);
}

/* A view put back on the sphere: opaque inside, 0 outside, fading over the last half pixel. */
Test(remap, with_alpha_marks_what_is_seen)
{
    const UfView view = uf_view_rectilinear(40, 40, UF_PI / 3, uf_rotation_identity());
    const UfView sphere = uf_view_equirectangular(512);
    UfPicture *source = make_picture(40, 40, 3, UF_SAMPLE_U8);
    fill(source, (const double[]){90, 120, 150});
    UfPicture *out = remap(source, &view, &sphere, &(UfRemapOptions){.with_alpha = true});
    cr_assert_eq(uf_picture_channels(out), 4);
    size_t partly = 0;
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++) {
            UfDirection direction;
            UfPixelPoint at = {-9, -9};
            cr_assert(
                uf_view_direction(&sphere, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction));
            bool there = uf_view_pixel(&view, direction, &at);
            double inside = there ? fmin(fmin(at.x_px, 40 - at.x_px), fmin(at.y_px, 40 - at.y_px)) : -1;
            double alpha = get(out, x, y, 3);
            double expected = 255 * fmin(fmax(2 * inside, 0), 1);
            cr_assert_float_eq(alpha, expected, 1, "%zu %zu: %g instead of %g", x, y, alpha, expected);
            partly += alpha > 0 && alpha < 255;
            const double colours[3] = {90, 120, 150};
            for (size_t c = 0; c < 3; c++)
                cr_assert_eq(get(out, x, y, c), inside > 0 ? colours[c] : 0);
        }
    cr_expect_gt(partly, 20);
    uf_picture_free(&source);
    uf_picture_free(&out);
}

Test(remap, pixels_without_a_direction_are_zero)
{
    const UfView sphere = uf_view_equirectangular(64);
    const UfView fisheye = {UF_PROJECTION_ORTHOGRAPHIC, uf_rotation_identity(), 20, 25, 25, 50, 50};
    for (size_t channels = 1; channels <= 4; channels++) {
        UfPicture *source = make_picture(64, 32, channels, UF_SAMPLE_U8);
        fill(source, (const double[]){100, 200, 100, 200});
        UfPicture *out = remap(source, &sphere, &fisheye, NULL);
        for (size_t y = 0; y < 50; y++)
            for (size_t x = 0; x < 50; x++) {
                double radius = hypot((double)x + 0.5 - 25, (double)y + 0.5 - 25);
                if (radius > 21)
                    cr_assert_eq(get(out, x, y, channels - 1), 0);
                if (radius < 19)
                    cr_assert_gt(get(out, x, y, channels - 1), 0);
            }
        uf_picture_free(&source);
        uf_picture_free(&out);
    }
}

Test(remap, threads_never_change_the_result)
{
    const UfView sphere = uf_view_equirectangular(300), target = uf_view_planet(333, 5, 0.2, false);
    UfPicture *source = make_picture(300, 150, 4, UF_SAMPLE_U8);
    fill_noise(source, 99);
    UfPicture *one = remap(source, &sphere, &target, &(UfRemapOptions){.threads = 1});
    const int counts[] = {2, 7, 0};
    for (size_t i = 0; i < 3; i++) {
        UfPicture *more = remap(source, &sphere, &target, &(UfRemapOptions){.threads = counts[i]});
        cr_expect(same_bytes(one, more), "%d threads", counts[i]);
        uf_picture_free(&more);
    }
    uf_picture_free(&one);
    uf_picture_free(&source);
}

/* Smallest and odd sizes: every pixel stays between the source's extremes when sampled bilinearly. */
Test(remap, small_and_odd_sizes)
{
    const size_t widths[] = {2, 3, 4, 5, 7, 10, 13};
    for (size_t i = 0; i < sizeof widths / sizeof *widths; i++)
        for (size_t channels = 1; channels <= 4; channels++) {
            const UfView sphere = uf_view_equirectangular(widths[i]);
            UfPicture *source = make_picture(sphere.width_px, sphere.height_px, channels, UF_SAMPLE_U8);
            fill_noise(source, (uint32_t)widths[i]);
            for (size_t y = 0; y < sphere.height_px; y++)
                for (size_t x = 0; x < sphere.width_px; x++)
                    set(source, x, y, channels - 1, 40 + (double)(x * 13 + y * 7) / 10);
            const UfView targets[] = {uf_view_face(UF_FACE_UP, 1),    uf_view_face(UF_FACE_FRONT, 9),
                                      uf_view_planet(1, 5, 0, false), uf_view_planet(5, 6, 0, false),
                                      uf_view_equirectangular(2),     uf_view_equirectangular(14)};
            for (size_t m = 0; m < 3; m++)
                for (size_t t = 0; t < sizeof targets / sizeof *targets; t++) {
                    UfPicture *out =
                        remap(source, &sphere, &targets[t], &(UfRemapOptions){.sampling = all_samplings[m]});
                    for (size_t y = 0; y < targets[t].height_px; y++)
                        for (size_t x = 0; x < targets[t].width_px; x++) {
                            double value = get(out, x, y, channels - 1);
                            cr_assert(value >= 35 && value <= 75, "width %zu, target %zu: %g", widths[i], t,
                                      value);
                        }
                    uf_picture_free(&out);
                }
            uf_picture_free(&source);
        }
}

Test(remap, nonsense_is_refused_and_leaves_out_alone)
{
    const UfView sphere = uf_view_equirectangular(16), other = uf_view_equirectangular(18);
    UfView flat = sphere, wild = sphere, unknown = sphere, turned = sphere, huge = sphere;
    flat.scale_px = 0;
    wild.centre_x_px = NAN;
    unknown.projection = (UfProjection)77;
    turned.rotation.m[1][1] = INFINITY;
    huge.width_px = (size_t)1 << 40;
    UfPicture *source = make_picture(16, 8, 3, UF_SAMPLE_U8), *out = NULL;
    UfReport *report = uf_report_create();
    const UfView *targets[] = {&flat, &wild, &unknown, &turned, &huge, NULL};
    for (size_t i = 0; i < sizeof targets / sizeof *targets; i++) {
        uf_report_clear(report);
        cr_expect_neq(uf_remap(source, &sphere, targets[i], NULL, &out, report), UF_OK, "target %zu", i);
        cr_expect_gt(strlen(uf_report_error(report)), 10, "target %zu", i);
    }
    cr_expect_eq(uf_remap(source, &other, &sphere, NULL, &out, report), UF_ERROR_ARGUMENT);
    cr_expect_eq(uf_remap(NULL, &sphere, &sphere, NULL, &out, report), UF_ERROR_ARGUMENT);
    cr_expect_eq(uf_remap(source, &sphere, &sphere, &(UfRemapOptions){.threads = -1}, &out, report),
                 UF_ERROR_ARGUMENT);
    cr_expect_eq(uf_remap(source, &sphere, &sphere, &(UfRemapOptions){.sampling = (UfSampling)9}, &out, NULL),
                 UF_ERROR_ARGUMENT);
    cr_expect_null(out);
    uf_report_free(&report);
    uf_picture_free(&source);
}

/* The profile says what the samples mean; EXIF and XMP speak of the picture they came with. */
Test(remap, only_the_profile_comes_along)
{
    const UfView sphere = uf_view_equirectangular(16), face = uf_view_face(UF_FACE_FRONT, 4);
    UfPicture *source = make_picture(16, 8, 1, UF_SAMPLE_U8), *small = NULL;
    cr_assert_eq(uf_blob_set(&source->metadata.icc, "a profile", 9, NULL), UF_OK);
    cr_assert_eq(uf_blob_set(&source->metadata.xmp, "a packet", 8, NULL), UF_OK);
    UfPicture *out = remap(source, &sphere, &face, NULL);
    cr_assert_eq(uf_resize(source, 8, 4, true, NULL, &small, NULL), UF_OK);
    const UfPicture *made[2] = {out, small};
    for (int i = 0; i < 2; i++) {
        UfBlob profile = uf_picture_icc(made[i]);
        cr_assert_eq(profile.size_bytes, 9);
        cr_expect_arr_eq(profile.data, "a profile", 9);
        cr_expect_eq(uf_picture_xmp(made[i]).size_bytes, 0);
    }
    uf_picture_free(&source);
    uf_picture_free(&out);
    uf_picture_free(&small);
}

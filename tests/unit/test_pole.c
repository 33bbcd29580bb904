/*
 * Between the panorama and the plane that looks at the pole, against a smooth function of the direction that
 * both sample: every pixel of the one must be the function where the other's geometry, computed pixel by
 * pixel in double precision, says that it lies.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include <underfoot/picture.h>
#include <underfoot/sphere.h>

#include "patch/pole.h"

/* Smooth, without symmetry, between 0.2 and 0.8. */
static float colour_at(UfDirection d, size_t channel)
{
    double phase = (double)channel;
    return (float)(0.5 + 0.15 * sin(2 * d.x + phase) + 0.15 * cos(3 * d.z + d.x - phase));
}

static UfDirection direction_of(const UfView *view, size_t x, size_t y)
{
    UfDirection direction;
    cr_assert(uf_view_direction(view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction));
    return direction;
}

/* A pixel of a view, in the panorama's pixels. */
static UfPixelPoint in_panorama(const UfView *view, size_t x, size_t y, size_t width)
{
    UfView whole = uf_view_equirectangular(width);
    UfPixelPoint at;
    cr_assert(uf_view_pixel(&whole, direction_of(view, x, y), &at));
    return at;
}

static UfPicture *panorama(size_t width, UfSample sample, size_t channels)
{
    UfPicture *picture = NULL;
    UfView whole = uf_view_equirectangular(width);
    cr_assert_eq(uf_picture_create(width, width / 2, channels, sample, &picture, NULL), UF_OK);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++)
            for (size_t c = 0; c < channels; c++) {
                UfDirection d = direction_of(&whole, x, y);
                float v = channels % 2 == 0 && c == channels - 1 ? 1 : colour_at(d, c);
                void *row = uf_picture_row(picture, y);
                if (sample == UF_SAMPLE_U8)
                    ((uint8_t *)row)[x * channels + c] = (uint8_t)lrintf(v * 255);
                else if (sample == UF_SAMPLE_U16)
                    ((uint16_t *)row)[x * channels + c] = (uint16_t)lrintf(v * 65535);
                else
                    ((float *)row)[x * channels + c] = v;
            }
    return picture;
}

static UfCap cap_of(size_t width, bool at_zenith, int threads)
{
    return (UfCap){.width_px = width,
                   .height_px = width / 2,
                   .at_zenith = at_zenith,
                   .cap_rad = 0.4,
                   .threads = threads};
}

static UfPoleRead read_of(const UfCap *cap, size_t side, double scale_px)
{
    return (UfPoleRead){.view = {.projection = UF_PROJECTION_RECTILINEAR,
                                 .rotation = uf_cap_rotation(cap, 0),
                                 .scale_px = scale_px,
                                 .centre_x_px = (double)side / 2,
                                 .centre_y_px = (double)side / 2,
                                 .width_px = side,
                                 .height_px = side},
                        .farthest_px = INFINITY,
                        .threads = cap->threads};
}

static UfCanvas read_plane(const UfPicture *picture, const UfPoleRead *read)
{
    UfCanvas canvas = {0};
    cr_assert_eq(uf_canvas_create(read->view.width_px, read->view.height_px, &canvas, NULL), UF_OK);
    cr_assert_eq(uf_pole_read(picture, read, &canvas, NULL), UF_OK);
    return canvas;
}

/*
 * The largest difference between the canvas and the function. Within four pixels of the pole a pixel's mean
 * is taken along an arc that bends, which may shift it by a quarter of a pixel; `code` is what the samples'
 * codes cost.
 */
static double worst_of(const UfCanvas *canvas, const UfPoleRead *read, size_t channels, bool is_root,
                       double code)
{
    double worst = 0;
    for (size_t y = 0; y < canvas->height; y++)
        for (size_t x = 0; x < canvas->width; x++)
            for (size_t c = 0; c < channels; c++) {
                UfDirection d = direction_of(&read->view, x, y);
                float want = is_root ? sqrtf(colour_at(d, c)) : colour_at(d, c);
                double off = fabs((double)(canvas->value[4 * (y * canvas->width + x) + c] - want));
                double u = (double)x + 0.5 - read->view.centre_x_px,
                       v = (double)y + 0.5 - read->view.centre_y_px;
                if (hypot(u, v) > 4)
                    worst = fmax(worst, off);
                else
                    cr_expect_lt(off, 0.25 * 0.6 / read->view.scale_px + code, "%zu %zu: %g", x, y, off);
            }
    return worst;
}

Test(pole, the_plane_is_what_its_geometry_says)
{
    for (int at_zenith = 0; at_zenith < 2; at_zenith++)
        for (size_t k = 0; k < 3; k++) {
            /* interpolated places and computed ones near the middle; plane finer, as fine, and coarser */
            static const double scale[] = {500, 1024 / (2 * UF_PI), 60};
            UfCap cap = cap_of(1024, at_zenith != 0, 2);
            UfPicture *picture = panorama(1024, UF_SAMPLE_U16, 3);
            UfPoleRead read = read_of(&cap, (size_t)(2.2 * scale[k]), scale[k]);
            UfCanvas canvas = read_plane(picture, &read);
            double worst = worst_of(&canvas, &read, 3, false, 0);
            /* what averaging takes off the function itself where the plane is coarse */
            cr_expect_lt(worst, k == 2 ? 2e-4 : 5e-5, "scale %g, zenith %d: %g", scale[k], at_zenith, worst);
            uf_canvas_clear(&canvas);
            uf_picture_free(&picture);
        }
}

Test(pole, places_between_nodes_are_right_to_a_hundredth_of_a_pixel)
{
    /* a ramp in longitude: an error of a pixel shows as 1 / 4096 of it */
    const size_t width = 4096;
    UfCap cap = cap_of(width, false, 2);
    UfPicture *picture = NULL;
    cr_assert_eq(uf_picture_create(width, width / 2, 1, UF_SAMPLE_F32, &picture, NULL), UF_OK);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++)
            ((float *)uf_picture_row(picture, y))[x] = (float)x + 0.5F;
    UfPoleRead read = read_of(&cap, 1400, (double)width / (2 * UF_PI));
    UfCanvas canvas = read_plane(picture, &read);
    double worst = 0;
    for (size_t y = 0; y < canvas.height; y++)
        for (size_t x = 0; x < canvas.width; x++) {
            double u = in_panorama(&read.view, x, y, width).x_px;
            double r = hypot((double)x + 0.5 - 700, (double)y + 0.5 - 700);
            /* not where the mean reaches across the seam, nor where squares bend the ramp */
            if (r > 150 && u > 300 && u < (double)width - 300)
                worst = fmax(worst, fabs((double)canvas.value[4 * (y * canvas.width + x)] - u));
        }
    cr_expect_lt(worst, 0.02, "%g px", worst);
    uf_canvas_clear(&canvas);
    uf_picture_free(&picture);
}

Test(pole, depths_greys_and_alpha_read_alike)
{
    static const struct {
        UfSample sample;
        size_t channels;
        double bound;
    } kinds[] = {{UF_SAMPLE_U8, 3, 0.0031}, {UF_SAMPLE_U8, 4, 0.0031}, {UF_SAMPLE_U16, 1, 5e-5},
                 {UF_SAMPLE_U16, 2, 5e-5},  {UF_SAMPLE_F32, 3, 5e-5},  {UF_SAMPLE_F32, 4, 5e-5}};
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
        for (int is_root = 0; is_root < 2; is_root++) {
            UfCap cap = cap_of(512, false, 1);
            UfPicture *picture = panorama(512, kinds[k].sample, kinds[k].channels);
            UfPoleRead read = read_of(&cap, 200, 100);
            read.is_root = is_root != 0;
            UfCanvas canvas = read_plane(picture, &read);
            double worst =
                worst_of(&canvas, &read, kinds[k].channels >= 3 ? 3 : 1, read.is_root, kinds[k].bound);
            cr_expect_lt(worst, kinds[k].bound, "kind %zu, root %d: %g", k, is_root, worst);
            for (size_t i = 0; i < canvas.width * canvas.height; i++)
                cr_assert_eq(canvas.cell[i], UF_CELL_SOURCE);
            uf_canvas_clear(&canvas);
            uf_picture_free(&picture);
        }
}

Test(pole, what_is_transparent_or_no_number_is_never_copied)
{
    UfCap cap = cap_of(512, false, 1);
    UfPicture *picture = panorama(512, UF_SAMPLE_F32, 4);
    float *row = uf_picture_row(picture, 200);
    row[4 * 100] = NAN;
    row[4 * 300 + 3] = 0;
    UfPoleRead read = read_of(&cap, 300, 512 / (2 * UF_PI));
    UfCanvas canvas = read_plane(picture, &read);
    size_t idle = 0;
    for (size_t y = 0; y < canvas.height; y++)
        for (size_t x = 0; x < canvas.width; x++) {
            UfPixelPoint at = in_panorama(&read.view, x, y, 512);
            bool is_near =
                fabs(at.y_px - 200.5) < 0.9 && (fabs(at.x_px - 100.5) < 0.9 || fabs(at.x_px - 300.5) < 0.9);
            bool is_idle = canvas.cell[y * canvas.width + x] == UF_CELL_IDLE;
            cr_expect(!is_near || is_idle, "%zu %zu", x, y);
            for (size_t c = 0; c < 4; c++)
                cr_expect(isfinite(canvas.value[4 * (y * canvas.width + x) + c]));
            idle += is_idle;
        }
    cr_expect(idle > 0 && idle < 100, "%zu", idle);
    uf_canvas_clear(&canvas);
    uf_picture_free(&picture);
}

/* The canvas filled with the function; its rows must be the function's. */
static double rows_worst(UfProjection projection, double scale_px, bool at_zenith, bool is_root)
{
    const size_t width = 1024, count = 60;
    UfCap cap = cap_of(width, at_zenith, 2);
    size_t side = 2 * (size_t)ceil(0.5 * scale_px) + 8;
    UfPoleRead read = read_of(&cap, side, scale_px);
    UfCanvas canvas = {0};
    read.view.projection = projection;
    cr_assert_eq(uf_canvas_create(side, side, &canvas, NULL), UF_OK);
    for (size_t y = 0; y < side; y++)
        for (size_t x = 0; x < side; x++)
            for (size_t c = 0; c < 3; c++) {
                float v = colour_at(direction_of(&read.view, x, y), c);
                canvas.value[4 * (y * side + x) + c] = is_root ? sqrtf(v) : v;
            }
    size_t y0 = at_zenith ? 0 : width / 2 - count;
    float *rows = malloc(count * width * 3 * sizeof *rows);
    cr_assert_not_null(rows);
    float *columns = uf_pole_columns(&cap);
    cr_assert_eq(uf_pole_rows(&canvas, &read.view, is_root, &cap, columns, y0, count, 3, rows, NULL), UF_OK);
    free(columns);
    UfView whole = uf_view_equirectangular(width);
    double worst = 0;
    for (size_t i = 0; i < count * width * 3; i++) {
        UfDirection d = direction_of(&whole, i / 3 % width, y0 + i / 3 / width);
        worst = fmax(worst, fabs((double)rows[i] - (double)colour_at(d, i % 3)));
    }
    free(rows);
    uf_canvas_clear(&canvas);
    return worst;
}

Test(pole, the_rows_are_what_the_plane_shows)
{
    for (int k = 0; k < 4; k++) {
        bool at_zenith = (k & 1) != 0, is_root = (k & 2) != 0;
        /* finer than the panorama, as fine, coarser; and the plane of a smooth fill */
        double fine = rows_worst(UF_PROJECTION_RECTILINEAR, 700, at_zenith, is_root);
        double even = rows_worst(UF_PROJECTION_RECTILINEAR, 1024 / (2 * UF_PI), at_zenith, is_root);
        double coarse = rows_worst(UF_PROJECTION_RECTILINEAR, 80, at_zenith, is_root);
        double other = rows_worst(UF_PROJECTION_STEREOGRAPHIC, 150, at_zenith, is_root);
        cr_expect_lt(fine, 5e-5, "zenith %d, root %d: %g", at_zenith, is_root, fine);
        cr_expect_lt(even, 5e-5, "zenith %d, root %d: %g", at_zenith, is_root, even);
        cr_expect_lt(coarse, 5e-5, "zenith %d, root %d: %g", at_zenith, is_root, coarse);
        cr_expect_lt(other, 5e-5, "zenith %d, root %d: %g", at_zenith, is_root, other);
    }
}

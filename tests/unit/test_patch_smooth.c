/* The membrane: harmonic, right at the pole and the seam, unmoved by single odd pixels. */
#include "test_patch_support.h"

#include "patch/membrane.h"
#include "patch/membrane_nodes.h"

/* A picture whose value about the nadir is a + b (tan(theta/2)/tan(theta0/2))^k cos(k lambda - phase). */
static UfPicture *harmonic(size_t width, int k, double phase, double edge_rad, UfSample sample)
{
    UfPicture *picture = make_picture(width, width / 2, 1, sample);
    for (size_t y = 0; y < width / 2; y++) {
        double angle = ((double)(width / 2 - y) - 0.5) * UF_PI / (double)(width / 2);
        double radial = pow(fmin(tan(angle / 2) / tan(edge_rad / 2), 1.8), k);
        for (size_t x = 0; x < width; x++) {
            double lon = (((double)x + 0.5) / (double)width - 0.5) * 2 * UF_PI;
            set(picture, x, y, 0, 0.5 + 0.25 * radial * cos(k * lon - phase));
        }
    }
    return picture;
}

/*
 * Poisson's integral on the disc of the stereographic plane (Snyder, USGS PP 1395, section 21, for
 * conformality): a harmonic picture is its own continuation, at every cap.
 */
Test(patch_smooth, continues_harmonic_pictures_exactly)
{
    const double caps[] = {5, 15, 25, 45, 60, 70};
    for (size_t i = 0; i < 6; i++)
        for (int k = 0; k <= 4; k++) {
            double edge = uf_radians(caps[i] + 2);
            UfPicture *truth = harmonic(1024, k, 0.7 * k, edge, UF_SAMPLE_F32);
            UfPicture *picture = copy_picture(truth);
            UfPatchOptions options = options_of(UF_FILL_SMOOTH, caps[i], 2);
            size_t hole = (size_t)(caps[i] / 180 * 512);
            for (size_t y = 512 - hole; y < 512; y++)
                memset(uf_picture_row(picture, y), 0, uf_picture_stride_bytes(picture));
            patch(picture, &options);
            cr_assert(largest_difference(picture, truth) < 0.004, "cap %g, k %d: %g", caps[i], k,
                      largest_difference(picture, truth));
            uf_picture_free(&truth);
            uf_picture_free(&picture);
        }
}

/* Rows at `angles`, one behind the other, in pieces that end nowhere in particular. */
static void rows_of(UfMembrane *membrane, const double *angles, size_t rows, size_t width, size_t channels,
                    float *out)
{
    const size_t piece = 100;
    for (size_t done = 0, ready; done < rows; done += ready) {
        ready = uf_membrane_ready(membrane, angles + done, rows - done);
        cr_assert(ready >= 1 && ready <= rows - done);
        for (size_t r = done; r < done + ready; r++)
            for (size_t x = 0; x < width; x += piece)
                uf_membrane_run(membrane, r - done, x, width - x < piece ? width - x : piece,
                                out + (r * width + x) * channels);
    }
}

/* Straight from a ring, without the picture's robust mean: to the last digit that float holds. */
Test(patch_smooth, membrane_of_a_ring_is_the_fourier_solution)
{
    enum { N = 360 };
    double ring[2 * N];
    for (size_t i = 0; i < N; i++) {
        double lon = ((double)i + 0.5) / N * 2 * UF_PI - UF_PI;
        ring[2 * i] = 0.3 + 0.2 * cos(5 * lon) - 0.1 * sin(2 * lon);
        ring[2 * i + 1] = 0.6 * sin(lon);
    }
    UfMembrane *membrane = NULL;
    double edge = uf_radians(40);
    cr_assert_eq(uf_membrane_from_ring(ring, N, 2, edge, 2, &membrane, NULL), UF_OK);
    const double angles[] = {0, uf_radians(1), uf_radians(20), uf_radians(39.5), edge};
    float rows[5 * 2 * N];
    rows_of(membrane, angles, 5, N, 2, rows);
    for (size_t r = 0; r < 5; r++)
        for (size_t i = 0; i < N; i++) {
            double lon = ((double)i + 0.5) / N * 2 * UF_PI - UF_PI;
            double q = tan(angles[r] / 2) / tan(edge / 2);
            double first = 0.3 + 0.2 * pow(q, 5) * cos(5 * lon) - 0.1 * q * q * sin(2 * lon);
            cr_assert_float_eq(rows[(r * N + i) * 2], first, 1e-6);
            cr_assert_float_eq(rows[(r * N + i) * 2 + 1], 0.6 * q * sin(lon), 1e-6);
        }
    uf_membrane_free(&membrane);
}

enum { TURN = 1024, ORDERS = 48, RINGS = 71 }; /* 71 of 512 rows: 25 degrees less a half row */
static const double edge_of_rings_rad = 25 * UF_PI / 180;

/* Amplitudes that fall with the order, as a picture's do, and phases without any order. */
static double series(double ratio, double lon_rad)
{
    double sum = 0.5, power = 1;
    for (int k = 1; k < ORDERS; k++) {
        power *= ratio;
        sum += 0.2 / k * power * cos(k * lon_rad + 2.3 * k * k);
    }
    return sum;
}

static double lon_of(size_t x)
{
    return ((double)x + 0.5) / TURN * 2 * UF_PI - UF_PI;
}

static UfMembrane *membrane_of_series(int threads)
{
    double ring[TURN];
    UfMembrane *membrane = NULL;
    for (size_t x = 0; x < TURN; x++)
        ring[x] = series(1, lon_of(x));
    cr_assert_eq(uf_membrane_from_ring(ring, TURN, 1, edge_of_rings_rad, threads, &membrane, NULL), UF_OK);
    return membrane;
}

static void angles_of_rings(double angles[RINGS])
{
    for (size_t r = 0; r < RINGS; r++)
        angles[r] = ((double)r + 0.5) * 2 * UF_PI / TURN;
}

/* The series summed term by term. Rows between nodes may be off by an eighth of a 16-bit step, float's own
 * digits apart. */
Test(patch_smooth, rows_between_nodes_are_the_series_too)
{
    double angles[RINGS], furthest = 0;
    float rows[RINGS * TURN];
    UfMembrane *membrane = membrane_of_series(1);
    angles_of_rings(angles);
    rows_of(membrane, angles, RINGS, TURN, 1, rows);
    for (size_t r = 0; r < RINGS; r++)
        for (size_t x = 0; x < TURN; x++) {
            double truth = series(tan(angles[r] / 2) / tan(edge_of_rings_rad / 2), lon_of(x));
            furthest = fmax(furthest, fabs((double)rows[r * TURN + x] - truth));
        }
    cr_assert_leq(furthest, 1.0 / 8 / 65535 + 2e-7, "%g", furthest);
    uf_membrane_free(&membrane);
}

/* Whatever else was asked for, whichever way round, by however many threads: to the bit. */
Test(patch_smooth, a_row_does_not_depend_on_the_others)
{
    double angles[RINGS];
    float together[RINGS * TURN], row[TURN];
    UfMembrane *membrane = membrane_of_series(1), *other = membrane_of_series(3);
    angles_of_rings(angles);
    rows_of(membrane, angles, RINGS, TURN, 1, together);
    for (size_t r = RINGS; r-- > 0;) {
        rows_of(other, angles + r, 1, TURN, 1, row);
        cr_assert_arr_eq(row, together + r * TURN, sizeof row, "ring %zu", r);
    }
    uf_membrane_free(&membrane);
    uf_membrane_free(&other);
}

/*
 * r^n has the fourth derivative n (n - 1) (n - 2) (n - 3) r^(n - 4): the cubic stays within what was asked
 * for, and is used. A function that bends nowhere needs no more than the widest step.
 */
Test(patch_smooth, nodes_lie_as_near_as_they_must)
{
    const double tolerance = 1e-6;
    for (size_t n = 4; n < 40; n += 5) {
        double bend[40] = {0}, order = (double)n, furthest = 0;
        size_t placed = 0;
        bend[n - 4] = order * (order - 1) * (order - 2) * (order - 3);
        UfNodes nodes = uf_nodes_plan(bend, 40, 1e-3, tolerance);
        for (size_t i = 0; i < 1000; i++) {
            UfNodePlace place;
            double ratio = (double)i / 1000, sum = 0;
            if (!uf_nodes_place(&nodes, ratio, &place))
                continue;
            placed++;
            cr_assert(place.ratio[1] <= ratio && ratio < place.ratio[2] && place.ratio[3] <= 1);
            for (size_t k = 0; k < 4; k++)
                sum += (double)place.weight[k] * pow(place.ratio[k], order);
            furthest = fmax(furthest, fabs(sum - pow(ratio, order)));
        }
        cr_assert_leq(furthest, tolerance + 1.5e-7, "r^%zu: %g", n, furthest);
        cr_assert_geq(placed, 800, "r^%zu: %zu", n, placed);
    }
    UfNodePlace place;
    UfNodes straight = uf_nodes_plan(&(double){0}, 1, 1e-3, tolerance),
            hopeless = uf_nodes_plan(&(double){NAN}, 1, 1e-3, tolerance);
    cr_assert(uf_nodes_place(&straight, 0.4, &place));
    cr_assert_float_eq(place.ratio[3] - place.ratio[0], 1.5, 0);
    cr_assert_not(uf_nodes_place(&hopeless, 0.4, &place));
}

/* Maximum principle: nothing inside is brighter or darker than the ring. */
Test(patch_smooth, stays_within_the_ring_and_is_uniform_at_the_pole)
{
    const char *paths[] = {EARTH, SUN};
    const double caps[] = {5, 25, 60};
    for (size_t p = 0; p < 2; p++)
        for (size_t k = 0; k < 3; k++) {
            UfPicture *picture = read_picture(paths[p]);
            size_t width = uf_picture_width_px(picture), height = uf_picture_height_px(picture);
            UfPatchOptions options = options_of(UF_FILL_SMOOTH, caps[k], 1);
            UfPatchResult result = patch(picture, &options);
            for (size_t c = 0; c < 3; c++) {
                double low = 1, high = 0;
                for (size_t y = result.first_row_px - 4; y < result.first_row_px; y++)
                    for (size_t x = 0; x < width; x++) {
                        low = fmin(low, get(picture, x, y, c));
                        high = fmax(high, get(picture, x, y, c));
                    }
                double pole_low = 1, pole_high = 0;
                for (size_t x = 0; x < width; x++) {
                    double v = get(picture, x, height - 3, c);
                    cr_assert(v >= low - 2 / 255.0 && v <= high + 2 / 255.0);
                    pole_low = fmin(pole_low, get(picture, x, height - 1, c));
                    pole_high = fmax(pole_high, get(picture, x, height - 1, c));
                }
                cr_assert(pole_high - pole_low <= 3.01 / 255, "the pole is one point: %g",
                          pole_high - pole_low);
            }
            uf_picture_free(&picture);
        }
}

/* Across the seam the fill changes as little as between other neighbours; from the ring it goes on without a
 * step. */
Test(patch_smooth, has_no_seam_and_no_edge)
{
    UfPicture *picture = read_picture(EARTH);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 30, 4);
    patch(picture, &options);
    for (size_t y = 1024 - 168; y < 1024; y++)
        for (size_t c = 0; c < 3; c++) {
            double largest = 0;
            for (size_t x = 1; x < 2048; x++)
                largest = fmax(largest, fabs(get(picture, x, y, c) - get(picture, x - 1, y, c)));
            cr_assert(fabs(get(picture, 0, y, c) - get(picture, 2047, y, c)) <= largest + 1e-9);
        }
    /* 34 degrees is row 830.6: two rows on either side */
    double step = 0, inside = 0;
    for (size_t x = 0; x < 2048; x++) {
        step += fabs(get(picture, x, 831, 1) - get(picture, x, 830, 1));
        inside += fabs(get(picture, x, 828, 1) - get(picture, x, 827, 1));
    }
    cr_assert(step <= 1.3 * inside + 2048 * 0.002, "step %g beside %g", step / 2048, inside / 2048);
    uf_picture_free(&picture);
}

Test(patch_smooth, commutes_with_half_a_turn)
{
    UfPicture *picture = read_picture(EARTH);
    UfPicture *turned = shifted(picture, 1024);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 25, 3);
    patch(picture, &options);
    patch(turned, &options);
    UfPicture *back = shifted(turned, 1024);
    cr_assert(largest_difference(picture, back) < 1.01 / 255);
    uf_picture_free(&picture);
    uf_picture_free(&turned);
    uf_picture_free(&back);
}

Test(patch_smooth, one_dark_pixel_leaves_no_ray)
{
    UfPicture *picture = make_picture(1024, 512, 1, UF_SAMPLE_U8);
    for (size_t y = 0; y < 512; y++)
        memset(uf_picture_row(picture, y), 150, 1024);
    /* the first row outside 25 + 0 degrees: ring 71 (71.1 rows to 25 degrees) */
    ((uint8_t *)uf_picture_row(picture, 511 - 71))[300] = 0;
    ((uint8_t *)uf_picture_row(picture, 511 - 72))[700] = 255;
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 25, 0);
    patch(picture, &options);
    for (size_t y = 512 - 70; y < 512; y++)
        for (size_t x = 0; x < 1024; x++)
            cr_assert(fabs(get(picture, x, y, 0) * 255 - 150) <= 2, "row %zu column %zu: %g", y, x,
                      get(picture, x, y, 0) * 255);
    uf_picture_free(&picture);
}

Test(patch_smooth, transparent_and_broken_ring_pixels_weigh_nothing)
{
    UfPicture *picture = make_picture(512, 256, 4, UF_SAMPLE_F32);
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++) {
            bool is_gone = x >= 100 && x < 260;
            for (size_t c = 0; c < 4; c++)
                set(picture, x, y, c, c == 3 ? !is_gone : is_gone ? 9 : 0.25);
        }
    set(picture, 20, 200, 0, NAN);
    set(picture, 21, 199, 1, INFINITY);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 38, 1);
    patch(picture, &options);
    for (size_t y = 256 - 50; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            for (size_t c = 0; c < 3; c++)
                cr_assert_float_eq(get(picture, x, y, c), 0.25, 1e-4);
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            set(picture, x, y, 3, 0);
    cr_assert_eq(refused(picture, &options), UF_ERROR_UNCLEAR, "a ring without picture");
    uf_picture_free(&picture);
}

Test(patch_smooth, threads_do_not_change_it)
{
    UfPicture *one = read_picture(EARTH);
    UfPicture *two = copy_picture(one);
    UfPatchOptions options = options_of(UF_FILL_SMOOTH, 33, 3);
    options.threads = 1;
    patch(one, &options);
    options.threads = 2;
    patch(two, &options);
    cr_assert_eq(largest_difference(one, two), 0);
    uf_picture_free(&one);
    uf_picture_free(&two);
}

/* The floor fill on floors whose truth is known: pattern, detail, tone, edge, and the same picture every
 * time. */
#include "test_patch_support.h"

#include "patch/gridcut.h"
#include "patch/levels.h"
#include "patch/repeats.h"
#include "patch/shading.h"

#define WIDTH 2048

static double noise(long x, long y, unsigned salt)
{
    uint32_t h = (uint32_t)x * 374761393u + (uint32_t)y * 668265263u + salt * 2246822519u;
    h = (h ^ (h >> 13)) * 1274126177u;
    h ^= h >> 16;
    return h / 4294967296.0;
}

/* Value noise of a given grain. */
static double grain(double x, double y, unsigned salt)
{
    long i = (long)floor(x), j = (long)floor(y);
    double u = x - (double)i, v = y - (double)j;
    return (noise(i, j, salt) * (1 - u) + noise(i + 1, j, salt) * u) * (1 - v) +
           (noise(i, j + 1, salt) * (1 - u) + noise(i + 1, j + 1, salt) * u) * v;
}

/* Square tiles turned by 0.29 rad; sides in camera heights; dark joints; each tile of another tone. */
#define TILE  0.2
#define JOINT 0.012
static double tiles(double x, double y)
{
    double u = x * cos(0.29) + y * sin(0.29), v = -x * sin(0.29) + y * cos(0.29);
    double fu = u / TILE - floor(u / TILE), fv = v / TILE - floor(v / TILE);
    if (fu * TILE < JOINT || fv * TILE < JOINT)
        return 0.2;
    return 0.5 + 0.06 * noise((long)floor(u / TILE), (long)floor(v / TILE), 1) +
           0.08 * grain(u * 90, v * 90, 2);
}

static double gravel(double x, double y)
{
    return 0.25 + 0.3 * grain(x * 30, y * 30, 3) + 0.2 * grain(x * 80, y * 80, 4);
}

typedef double Floor(double x, double y);

/* Light falls off from one side to the other by about a third. */
static double light(double x)
{
    return 0.9 + 0.15 * fmax(-2, fmin(2, x));
}

/* The floor below a wall; four samples a pixel. */
static UfPicture *wide_room(size_t width, Floor *floor_of, size_t channels, UfSample sample)
{
    UfPicture *picture = make_picture(width, width / 2, channels, sample);
    for (size_t y = 0; y < width / 2; y++)
        for (size_t x = 0; x < width; x++) {
            double sum = 0;
            for (int k = 0; k < 4; k++) {
                double lon = (((double)x + 0.25 + 0.5 * (k & 1)) / (double)width - 0.5) * 2 * UF_PI;
                double angle = UF_PI - ((double)y + 0.25 + 0.5 * (k >> 1)) / (double)width * 2 * UF_PI;
                double r = angle < 1.35 ? tan(angle) : 0;
                sum += angle < 1.35 ? floor_of(r * sin(lon), r * cos(lon)) * light(r * sin(lon)) : 0.6;
            }
            for (size_t c = 0; c < channels; c++)
                set(picture, x, y, c, sum / 4 * (c == 1 ? 0.9 : c == 2 ? 0.8 : 1));
        }
    return picture;
}

static UfPicture *room(Floor *floor_of, size_t channels, UfSample sample)
{
    return wide_room(WIDTH, floor_of, channels, sample);
}

/* The same with a black disc at the nadir. */
static UfPicture *with_tripod(const UfPicture *truth, double disc_deg)
{
    UfPicture *picture = copy_picture(truth);
    size_t height = uf_picture_height_px(truth);
    for (size_t y = height - (size_t)(disc_deg / 180 * (double)height); y < height; y++)
        memset(uf_picture_row(picture, y), 0, uf_picture_stride_bytes(picture));
    return picture;
}

/* Mean square of the five-point Laplacian between two radii of a straight-down view, radii as shares of its
 * side. */
static double detail(const UfPicture *view, double from, double to)
{
    size_t side = uf_picture_width_px(view);
    double sum = 0, count = 0;
    for (size_t y = 1; y + 1 < side; y++)
        for (size_t x = 1; x + 1 < side; x++) {
            double r =
                hypot((double)x + 0.5 - (double)side / 2, (double)y + 0.5 - (double)side / 2) / (double)side;
            if (r < from || r >= to)
                continue;
            double l = 4 * get(view, x, y, 0) - get(view, x - 1, y, 0) - get(view, x + 1, y, 0) -
                       get(view, x, y - 1, 0) - get(view, x, y + 1, 0);
            sum += l * l;
            count++;
        }
    return sum / count;
}

static double mean(const UfPicture *view, double to)
{
    size_t side = uf_picture_width_px(view);
    double sum = 0, count = 0;
    for (size_t y = 0; y < side; y++)
        for (size_t x = 0; x < side; x++)
            if (hypot((double)x + 0.5 - (double)side / 2, (double)y + 0.5 - (double)side / 2) <
                to * (double)side) {
                sum += get(view, x, y, 0);
                count++;
            }
    return sum / count;
}

/* Share of the cap where joint and tile are told the same way as in truth. */
static double joints_agree(const UfPicture *view, const UfPicture *truth, double to)
{
    size_t side = uf_picture_width_px(view);
    double same = 0, joints = 0;
    for (size_t y = 1; y + 1 < side; y++)
        for (size_t x = 1; x + 1 < side; x++) {
            if (hypot((double)x + 0.5 - (double)side / 2, (double)y + 0.5 - (double)side / 2) >=
                    to * (double)side ||
                get(truth, x, y, 0) > 0.28)
                continue;
            double darkest = 1; /* within one pixel */
            for (size_t k = 0; k < 9; k++)
                darkest = fmin(darkest, get(view, x + k % 3 - 1, y + k / 3 - 1, 0));
            joints++;
            same += darkest < 0.33;
        }
    cr_assert(joints > 500);
    return same / joints;
}

/* Cap 22 degrees seen in a view of 60 degrees: its radius is tan 22/tan 30/2 = 0.35 of the side. */
Test(fill_floor, continues_tiles)
{
    UfPicture *truth = room(tiles, 3, UF_SAMPLE_U8), *picture = with_tripod(truth, 21.8);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 22, 2);
    UfPatchResult result = patch(picture, &options);
    cr_assert_eq(result.fill_used, UF_FILL_FLOOR);
    UfPicture *view = look(picture, false, 0, 60, 380), *wanted = look(truth, false, 0, 60, 380);
    cr_assert(joints_agree(view, wanted, 0.35) > 0.95, "joints: %g", joints_agree(view, wanted, 0.35));
    cr_assert(fabs(mean(view, 0.35) - mean(wanted, 0.35)) < 6 / 255.0);
    double ratio = sqrt(detail(view, 0, 0.34) / detail(view, 0.37, 0.48));
    cr_assert(ratio > 0.8 && ratio < 1.25, "detail: %g", ratio);
    uf_picture_free(&view);
    uf_picture_free(&wanted);
    uf_picture_free(&truth);
    uf_picture_free(&picture);
}

Test(fill_floor, continues_gravel)
{
    UfPicture *truth = room(gravel, 1, UF_SAMPLE_U16), *picture = with_tripod(truth, 21.8);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 22, 2);
    cr_assert_eq(patch(picture, &options).fill_used, UF_FILL_FLOOR);
    UfPicture *view = look(picture, false, 0, 60, 380), *wanted = look(truth, false, 0, 60, 380);
    cr_assert(fabs(mean(view, 0.35) - mean(wanted, 0.35)) < 6 / 255.0, "tone");
    double ratio = sqrt(detail(view, 0, 0.34) / detail(view, 0.37, 0.48));
    cr_assert(ratio > 0.8 && ratio < 1.25, "detail: %g", ratio);
    /* no edge: the detail in a narrow ring about the cap's border is like that beside it */
    double edge = sqrt(detail(view, 0.34, 0.365) / detail(view, 0.37, 0.42));
    cr_assert(edge < 1.25, "edge: %g", edge);
    uf_picture_free(&view);
    uf_picture_free(&wanted);
    uf_picture_free(&truth);
    uf_picture_free(&picture);
}

/* The shadow's strip reaches far out, where the floor is a smear; the cap is not filled with that. */
Test(fill_floor, a_cap_with_its_shadow_is_as_sharp_as_without)
{
    UfPicture *truth = room(gravel, 1, UF_SAMPLE_U8), *picture = with_tripod(truth, 21.8);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 22, 2);
    options.has_sun = true;
    options.sun = (UfLonLat){uf_radians(40), uf_radians(35)};
    cr_assert_eq(patch(picture, &options).fill_used, UF_FILL_FLOOR);
    UfPicture *view = look(picture, false, 0, 60, 380), *wanted = look(truth, false, 0, 60, 380);
    double ratio = sqrt(detail(view, 0, 0.34) / detail(wanted, 0, 0.34));
    cr_assert(ratio > 0.9 && ratio < 1.25, "detail: %g", ratio);
    uf_picture_free(&view);
    uf_picture_free(&wanted);
    uf_picture_free(&truth);
    uf_picture_free(&picture);
}

Test(fill_floor, same_seed_same_floor_whatever_the_threads)
{
    UfPicture *truth = wide_room(WIDTH / 2, gravel, 1, UF_SAMPLE_U8);
    UfPicture *first = with_tripod(truth, 12), *again = copy_picture(first), *other = copy_picture(first);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 12.2, 1);
    options.threads = 1;
    patch(first, &options);
    options.threads = 3;
    patch(again, &options);
    cr_assert_eq(largest_difference(first, again), 0);
    options.seed = 99;
    patch(other, &options);
    cr_assert_neq(largest_difference(first, other), 0, "another seed, another floor");
    uf_picture_free(&truth);
    uf_picture_free(&first);
    uf_picture_free(&again);
    uf_picture_free(&other);
}

Test(fill_floor, falls_back_with_a_warning_where_no_ring_is_left)
{
    UfPicture *picture = read_picture(SUN);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 70, 2);
    UfPatchResult result;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_patch(picture, &options, NULL, &result, report), UF_OK);
    cr_assert_eq(result.fill_used, UF_FILL_SMOOTH);
    cr_assert_eq(uf_report_warning_count(report), 1);
    cr_assert(strstr(uf_report_warning(report, 0), "smooth") != NULL);
    uf_report_free(&report);
    uf_picture_free(&picture);
}

/* Root mean square of the second difference across the rows within an angle of the nadir, and their mean. */
static double across_rows(const UfPicture *picture, double within_deg, double *mean_out)
{
    size_t width = uf_picture_width_px(picture), height = uf_picture_height_px(picture);
    size_t y0 = height - (size_t)(within_deg / 180 * (double)height);
    double sum = 0, square = 0, count = (double)((height - 1 - y0) * width);
    for (size_t y = y0; y + 1 < height; y++)
        for (size_t x = 0; x < width; x++) {
            double d = get(picture, x, y - 1, 0) - 2 * get(picture, x, y, 0) + get(picture, x, y + 1, 0);
            square += d * d;
            sum += get(picture, x, y, 0);
        }
    *mean_out = sum / count;
    return sqrt(square / count);
}

/* Any cap in any kind of picture: the rows beyond are left alone, alpha is whole, detail and tone are sane.
 */
static void sweep(size_t width, double cap_deg, size_t channels, UfSample sample)
{
    UfPicture *truth = wide_room(width, gravel, channels, sample), *picture;
    size_t height = width / 2, alpha = channels % 2 == 0 ? channels - 1 : channels;
    for (size_t i = 0; alpha < channels && i < width * height; i++)
        set(truth, i % width, i / width, alpha, 1);
    picture = with_tripod(truth, cap_deg - 0.5);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, cap_deg, 1);
    UfPatchResult result = patch(picture, &options);
    cr_assert_eq(result.fill_used, UF_FILL_FLOOR);
    for (size_t y = 0; y < result.first_row_px; y++)
        cr_assert(same_row(picture, truth, y), "row %zu", y);
    cr_assert_geq(result.first_row_px, height - (size_t)ceil((cap_deg + 1) / 180 * (double)height) - 1);
    for (size_t i = 0; alpha < channels && i < width * height; i++)
        cr_assert_eq(get(picture, i % width, i / width, alpha), 1);
    double wanted_mean, found_mean, wanted = across_rows(truth, cap_deg, &wanted_mean);
    double found = across_rows(picture, cap_deg, &found_mean);
    cr_expect(found > 0.3 * wanted && found < 1.5 * wanted, "%zu, cap %g, %zu channels: detail %g", width,
              cap_deg, channels, found / wanted);
    cr_expect(fabs(found_mean - wanted_mean) < 10 / 255.0, "%zu, cap %g, %zu channels: tone %g", width,
              cap_deg, channels, found_mean - wanted_mean);
    uf_picture_free(&truth);
    uf_picture_free(&picture);
}

Test(fill_floor, any_cap_in_any_picture)
{
    const double caps[] = {5, 12, 25, 40, 60};
    const struct {
        size_t channels;
        UfSample sample;
    } kinds[] = {
        {1, UF_SAMPLE_U8}, {2, UF_SAMPLE_U8}, {3, UF_SAMPLE_U16}, {4, UF_SAMPLE_U16}, {3, UF_SAMPLE_F32}};
    for (size_t i = 0; i < 5; i++) /* each cap and each kind once */
        sweep(512, caps[i], kinds[i].channels, kinds[i].sample);
    sweep(2048, 5, 4, UF_SAMPLE_U8);
}

static void falls_back(UfPicture *picture, double cap_deg, const char *because)
{
    UfPatchOptions options = options_of(UF_FILL_FLOOR, cap_deg, 1);
    UfPatchResult result;
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_patch(picture, &options, NULL, &result, report), UF_OK);
    cr_assert_eq(result.fill_used, UF_FILL_SMOOTH);
    cr_assert_eq(uf_report_warning_count(report), 1);
    cr_assert(strstr(uf_report_warning(report, 0), because) != NULL, "%s", uf_report_warning(report, 0));
    uf_report_free(&report);
    uf_picture_free(&picture);
}

static double plain(double x, double y)
{
    (void)x;
    (void)y;
    return 0.5;
}

/* A wall stands all around, just beyond the cap: transparent, so that no floor is left. */
/* The sun's glow in the ring, and noise of half a code and less. */
static double sky(double x, double y)
{
    return 0.3 + 0.5 * exp(-((x - 0.6) * (x - 0.6) + y * y) / 0.1) +
           0.002 * noise((long)(x * 300), (long)(y * 300), 5);
}

static UfPicture *island(void)
{
    UfPicture *picture = wide_room(512, gravel, 4, UF_SAMPLE_U8);
    for (size_t i = 0; i < 512 * 256; i++)
        set(picture, i % 512, i / 512, 3, i / 512 > 256 - 40 ? 1 : 0);
    return picture;
}

Test(fill_floor, falls_back_with_a_warning_where_it_has_nothing_to_copy)
{
    falls_back(wide_room(512, plain, 3, UF_SAMPLE_U8), 20, "too uniform");
    falls_back(wide_room(1024, sky, 3, UF_SAMPLE_U8), 20, "only changes smoothly");
    falls_back(wide_room(512, sky, 1, UF_SAMPLE_U16), 10, "only changes smoothly");
    falls_back(wide_room(512, gravel, 1, UF_SAMPLE_U8), 3, "too few pixels");
    falls_back(wide_room(512, gravel, 1, UF_SAMPLE_U8), 65, "too little floor");
    falls_back(island(), 26, "too little of the floor");
}

/* A soft edge that reaches beyond the ring shows floor, not the emptiness beyond the plane. */
Test(fill_floor, wide_soft_edges_do_not_darken)
{
    const double caps[][2] = {{5, 14}, {60, 14}};
    UfPicture *truth = wide_room(1024, gravel, 1, UF_SAMPLE_U8);
    for (size_t i = 0; i < 2; i++) {
        UfPicture *picture = copy_picture(truth);
        UfPatchOptions options = options_of(UF_FILL_FLOOR, caps[i][0], caps[i][1]);
        cr_assert_eq(patch(picture, &options).fill_used, UF_FILL_FLOOR);
        double from = caps[i][0] + 0.7 * caps[i][1], to = caps[i][0] + caps[i][1];
        for (double angle = from; angle < to; angle += 0.5) {
            size_t y = 512 - 1 - (size_t)(angle / 180 * 512);
            double sum = 0, wanted = 0;
            for (size_t x = 0; x < 1024; x++) {
                sum += get(picture, x, y, 0);
                wanted += get(truth, x, y, 0);
            }
            cr_assert(fabs(sum - wanted) < 0.02 * wanted, "%g degrees: %g instead of %g", angle, sum / 1024,
                      wanted / 1024);
        }
        uf_picture_free(&picture);
    }
    uf_picture_free(&truth);
}

/* The pole is one point in any fill; and the whole row band joins at the seam. */
Test(fill_floor, pole_and_seam_are_right_on_real_pictures)
{
    const char *paths[] = {EARTH, SUN};
    for (size_t p = 0; p < 2; p++) {
        UfPicture *picture = read_picture(paths[p]);
        size_t width = uf_picture_width_px(picture), height = uf_picture_height_px(picture);
        UfPatchOptions options = options_of(UF_FILL_FLOOR, 15, 2);
        patch(picture, &options);
        double spread = 0, seam = 0, beside = 0;
        for (size_t x = 0; x < width; x++)
            spread = fmax(
                spread, fabs(get(picture, x, height - 1, 1) - get(picture, (x + 1) % width, height - 1, 1)));
        cr_assert(spread <= 3.0 / 255, "neighbours in the pole's row: %g", spread * 255);
        for (size_t y = height - height / 12; y < height; y++) {
            seam += fabs(get(picture, 0, y, 1) - get(picture, width - 1, y, 1));
            for (size_t x = 1; x < width; x++)
                beside += fabs(get(picture, x, y, 1) - get(picture, x - 1, y, 1)) / (double)(width - 1);
        }
        cr_assert(seam < 3 * beside + 0.5, "seam %g beside %g", seam, beside);
        uf_picture_free(&picture);
    }
}

/* Whatever stands in the cap, the floor is the same: only the ring counts. */
Test(fill_floor, does_not_look_at_what_it_covers)
{
    UfPicture *truth = room(gravel, 1, UF_SAMPLE_U8);
    UfPicture *first = with_tripod(truth, 11), *second = copy_picture(truth);
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 12, 1);
    patch(first, &options);
    patch(second, &options);
    cr_assert_eq(largest_difference(first, second), 0);
    uf_picture_free(&truth);
    uf_picture_free(&first);
    uf_picture_free(&second);
}

/* A dark leg beyond the cap is neither continued into it nor copied. */
Test(fill_floor, does_not_grow_a_leg_that_sticks_out)
{
    UfPicture *truth = room(gravel, 1, UF_SAMPLE_U8), *picture = with_tripod(truth, 16);
    for (size_t y = 0; y < WIDTH / 2; y++)
        for (size_t x = 0; x < WIDTH; x++) {
            double lon = (((double)x + 0.5) / WIDTH - 0.5) * 2 * UF_PI;
            double angle = UF_PI - ((double)y + 0.5) / (WIDTH / 2) * UF_PI;
            if (angle < uf_radians(24) && fabs(lon - 0.5) < 1 && fabs(tan(angle) * sin(lon - 0.5)) < 0.025)
                set(picture, x, y, 0, 0.02);
        }
    UfPatchOptions options = options_of(UF_FILL_FLOOR, 18, 0);
    patch(picture, &options);
    size_t dark = 0;
    for (size_t y = WIDTH / 2 - 96; y < WIDTH / 2; y++) /* within 17 degrees */
        for (size_t x = 0; x < WIDTH; x++)
            dark += get(picture, x, y, 0) < 0.12;
    cr_assert(dark < WIDTH / 4, "%zu dark pixels", dark);
    uf_picture_free(&truth);
    uf_picture_free(&picture);
}

/* The parts. */

Test(fill_parts, cut_finds_the_cheapest_line)
{
    /* 3 x 1: source - 5 - 2 - 7 - sink */
    UfGridCut *cut = NULL;
    cr_assert_eq(uf_gridcut_create(3, 1, &cut, NULL), UF_OK);
    UfGridNode *row = uf_gridcut_row(cut, 0);
    uf_gridcut_add_node(row, 0, 100);
    uf_gridcut_add_node(row + 2, 100, 0);
    uf_gridcut_add_edge(row, UF_GRID_RIGHT, 5);
    uf_gridcut_add_edge(row + 1, UF_GRID_RIGHT, 2);
    uf_gridcut_solve(cut);
    cr_assert_not(uf_gridcut_is_sink(cut, 0, 0));
    cr_assert_not(uf_gridcut_is_sink(cut, 1, 0));
    cr_assert(uf_gridcut_is_sink(cut, 2, 0));
    uf_gridcut_free(&cut);
}

/* All 2^12 labellings of small random grids: the cut is as cheap as the best of them. */
Test(fill_parts, cut_is_optimal_on_every_small_grid)
{
    enum { W = 4, H = 3, N = W * H };
    for (unsigned trial = 0; trial < 200; trial++) {
        int source[N], sink[N], edge[N][UF_GRID_DIRECTIONS] = {{0}};
        UfGridCut *cut = NULL;
        /* as it is created, or larger and made smaller when it was in use */
        cr_assert_eq(uf_gridcut_create(W + trial % 3, H + trial % 2, &cut, NULL), UF_OK);
        if (trial % 3 != 0 || trial % 2 != 0) {
            uf_gridcut_add_node(uf_gridcut_row(cut, 0), 0, 9);
            uf_gridcut_solve(cut);
            uf_gridcut_reset(cut, W, H);
        }
        for (int i = 0; i < N; i++) {
            source[i] = (int)(noise(i, trial, 11) * 20);
            sink[i] = (int)(noise(i, trial, 12) * 20);
            uf_gridcut_add_node(uf_gridcut_row(cut, (size_t)i / W) + i % W, source[i], sink[i]);
            for (int d = 0; d < UF_GRID_DIRECTIONS; d++) {
                bool leads_out = (d == UF_GRID_RIGHT && i % W == W - 1) ||
                                 (d == UF_GRID_LEFT && i % W == 0) || (d == UF_GRID_DOWN && i / W == H - 1) ||
                                 (d == UF_GRID_UP && i / W == 0);
                if (!leads_out)
                    edge[i][d] = (int)(noise(4 * i + d, trial, 13) * 12);
                uf_gridcut_add_edge(uf_gridcut_row(cut, (size_t)i / W) + i % W, d, edge[i][d]);
            }
        }
        uf_gridcut_solve(cut);
        const int step[UF_GRID_DIRECTIONS] = {1, -1, W, -W};
        int best = INT32_MAX, found = 0;
        for (unsigned labels = 0; labels <= 1u << N; labels++) {
            unsigned is_sink = labels;
            if (labels == 1u << N) { /* the cut's own */
                is_sink = 0;
                for (int i = 0; i < N; i++)
                    is_sink |= (unsigned)uf_gridcut_is_sink(cut, (size_t)i % W, (size_t)i / W) << i;
            }
            int cost = 0;
            for (int i = 0; i < N; i++) {
                cost += (is_sink >> i & 1) ? sink[i] : source[i];
                for (int d = 0; d < UF_GRID_DIRECTIONS; d++)
                    if (edge[i][d] > 0 && !(is_sink >> i & 1) && (is_sink >> (i + step[d]) & 1))
                        cost += edge[i][d];
            }
            if (labels < 1u << N)
                best = cost < best ? cost : best;
            else
                found = cost;
        }
        cr_assert_eq(found, best, "trial %u: %d instead of %d", trial, found, best);
        uf_gridcut_free(&cut);
    }
}

static UfCanvas canvas_of(size_t side, double hole_radius)
{
    UfCanvas canvas;
    cr_assert_eq(uf_canvas_create(side, side, &canvas, NULL), UF_OK);
    for (size_t y = 0; y < side; y++)
        for (size_t x = 0; x < side; x++)
            if (hypot((double)x + 0.5 - (double)side / 2, (double)y + 0.5 - (double)side / 2) < hole_radius)
                canvas.cell[y * side + x] = UF_CELL_HOLE;
    return canvas;
}

/* What a level must hold at a pixel: of the level before it. */
static void assert_halved(const UfCanvas *from, const UfCanvas *half, size_t x, size_t y)
{
    size_t holes = 0, sources = 0;
    double sum = 0;
    for (size_t k = 0; k < 4; k++) {
        size_t i = 2 * x + k % 2 < from->width ? 2 * x + k % 2 : 2 * x;
        size_t j = 2 * y + k / 2 < from->height ? 2 * y + k / 2 : 2 * y;
        holes += from->cell[j * from->width + i] == UF_CELL_HOLE;
        sources += from->cell[j * from->width + i] == UF_CELL_SOURCE;
        sum += from->value[4 * (j * from->width + i) + 1];
    }
    UfCell cell = holes > 0 ? UF_CELL_HOLE : sources == 4 ? UF_CELL_SOURCE : UF_CELL_IDLE;
    cr_assert_eq(half->cell[y * half->width + x], cell, "%zu, %zu", x, y);
    cr_assert_float_eq(half->value[4 * (y * half->width + x) + 1], sum / 4, 1e-6, "%zu, %zu", x, y);
}

static void assert_levels(const UfLevels *levels)
{
    for (size_t l = 1; l < levels->count; l++) {
        const UfCanvas *from = &levels->canvas[l - 1], *half = from + 1;
        cr_assert_eq(half->width, (from->width + 1) / 2);
        cr_assert_eq(half->height, (from->height + 1) / 2);
        for (size_t y = 0; y < half->height; y++)
            for (size_t x = 0; x < half->width; x++)
                assert_halved(from, half, x, y);
    }
}

/* Each row once, before it is halved. */
static void double_row(void *data, UfCanvas *canvas, size_t y)
{
    (void)data;
    for (size_t i = 4 * y * canvas->width; i < 4 * (y + 1) * canvas->width; i++)
        canvas->value[i] *= 2;
}

/* Means of 2 x 2 down to a small canvas, odd sides and all; and their cells again after some have changed. */
Test(fill_parts, levels_are_halves_of_each_other)
{
    UfCanvas canvas;
    UfLevels levels = {0};
    cr_assert_eq(uf_canvas_create(523, 262, &canvas, NULL), UF_OK);
    for (size_t i = 0; i < canvas.width * canvas.height; i++) {
        canvas.cell[i] = noise((long)i, 0, 21) < 0.9 ? UF_CELL_SOURCE : (uint8_t)(1 + i % 2);
        canvas.value[4 * i + 1] = (float)noise((long)i, 1, 22);
    }
    float first = canvas.value[1];
    cr_assert_eq(uf_levels_build(&canvas, double_row, NULL, 3, &levels, NULL), UF_OK);
    cr_assert_float_eq(canvas.value[1], 2 * first, 1e-6);
    cr_assert_eq(levels.count, 4);
    cr_assert_leq(levels.canvas[3].width, UF_LEVELS_SIDE_PX);
    assert_levels(&levels);
    for (size_t i = 0; i < canvas.width * canvas.height; i++)
        canvas.cell[i] = noise((long)i, 0, 23) < 0.95 ? UF_CELL_SOURCE : (uint8_t)(1 + i % 2);
    uf_levels_mark(&levels, 3);
    assert_levels(&levels);
    uf_levels_clear(&levels);
    uf_canvas_clear(&canvas);
}

/* A lattice with periods (17, 5) and (-5, 17): the best repeats are its vectors. */
Test(fill_parts, repeats_are_the_lattice)
{
    UfCanvas canvas = canvas_of(240, 60);
    for (size_t y = 0; y < 240; y++)
        for (size_t x = 0; x < 240; x++) {
            double a = (17.0 * (double)x + 5.0 * (double)y) / (17 * 17 + 5 * 5);
            double b = (-5.0 * (double)x + 17.0 * (double)y) / (17 * 17 + 5 * 5);
            float v = (float)(0.5 + 0.2 * cos(2 * UF_PI * a) + 0.2 * cos(2 * UF_PI * b) +
                              0.02 * noise((long)x, (long)y, 5));
            for (size_t c = 0; c < 3; c++)
                canvas.value[4 * (y * 240 + x) + c] = v;
        }
    UfRepeats repeats;
    cr_assert_eq(uf_repeats_find(&canvas, 2, &repeats, NULL), UF_OK);
    cr_assert_gt(repeats.count, 20);
    for (size_t i = 0; i < 10; i++) {
        double a = (17.0 * repeats.shift[i].dx + 5.0 * repeats.shift[i].dy) / 314;
        double b = (-5.0 * repeats.shift[i].dx + 17.0 * repeats.shift[i].dy) / 314;
        cr_assert(fabs(a - round(a)) < 0.05 && fabs(b - round(b)) < 0.05, "%d, %d is no period",
                  repeats.shift[i].dx, repeats.shift[i].dy);
        cr_assert_lt(repeats.score[i], 0.1);
    }
    uf_canvas_clear(&canvas);
}

/* A quadratic light over a texture is found, in spite of black spots. */
Test(fill_parts, shading_is_found_and_goes_both_ways)
{
    UfCanvas canvas = canvas_of(300, 70);
    for (size_t y = 0; y < 300; y++)
        for (size_t x = 0; x < 300; x++) {
            double u = ((double)x + 0.5) / 150 - 1, v = ((double)y + 0.5) / 150 - 1;
            double texture = noise((long)x, (long)y, 7) < 0.03 ? 0 : 0.4 + 0.1 * noise((long)x, (long)y, 8);
            for (size_t c = 0; c < 3; c++)
                canvas.value[4 * (y * 300 + x) + c] =
                    (float)((texture + 0.02) * exp(0.3 * u - 0.2 * v + 0.15 * u * u - 0.1 * u * v) - 0.02);
        }
    UfShading shading;
    cr_assert_eq(uf_shading_fit(&canvas, 2, &shading, NULL), UF_OK);
    const double expected[UF_SHADING_TERMS] = {0, 0.3, -0.2, 0.15, -0.1, 0};
    for (size_t c = 0; c < 3; c++)
        for (size_t i = 1; i < UF_SHADING_TERMS; i++)
            cr_assert_float_eq(shading.term[c][i], expected[i], 0.02);
    float before = canvas.value[4 * 1234 + 1];
    for (size_t y = 0; y < canvas.height; y++)
        uf_shading_remove(&shading, (UfBox){0, 0, canvas.width, canvas.height}, y, &canvas);
    cr_assert(fabsf(canvas.value[4 * 1234 + 1] - before) > 0.01F);
    uf_shading_restore(&shading, (UfBox){0, 0, canvas.width, canvas.height}, 1, &canvas);
    cr_assert_float_eq(canvas.value[4 * 1234 + 1], before, 1e-6);
    uf_canvas_clear(&canvas);
}

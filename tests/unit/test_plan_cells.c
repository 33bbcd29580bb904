/* What the plan's cells are made of: points of the square, areas of cells that touch, the sensor's edge. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan/lens.h"
#include "plan/square.h"
#include "plan/touching.h"

static uint32_t draw(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

/* Four directions at once are the same as one by one, to the last bit, on the folds, too. */
Test(plan_cells, four_directions_are_those_of_each)
{
    const unsigned side = 64;
    for (unsigned i = 0; i <= side; i++)
        for (unsigned j = 0; j <= side; j++) {
            double u[4], v[4];
            UfDirection four[4];
            for (unsigned k = 0; k < 4; k++) {
                u[k] = (i + k / 7.0 * (i < side)) / side;
                v[k] = (j + k / 9.0 * (j < side)) / side;
            }
            uf_square_four(u, v, four);
            for (unsigned k = 0; k < 4; k++) {
                UfDirection one = uf_square_direction(u[k], v[k]);
                cr_assert(memcmp(&one, &four[k], sizeof one) == 0, "%g, %g", u[k], v[k]);
                cr_assert_float_eq(one.x * one.x + one.y * one.y + one.z * one.z, 1, 4e-15);
            }
        }
}

/* --- areas --- */

#define LEVEL 5
#define SIDE  (1 << LEVEL)
#define MOST  (SIDE * SIDE)

typedef struct Scatter {
    UfCell cells[MOST];
    size_t count;
    int owner[SIDE][SIDE]; /* by row, column; -1 where there is no cell */
    uint32_t state, percent;
} Scatter;

/* Cells of many sizes, in the order of the curve. */
static void scatter(Scatter *out, unsigned x, unsigned y, unsigned side, uint64_t code)
{
    if (side > SIDE / 4 || (side > 1 && draw(&out->state) % 100 < 60)) {
        const unsigned half = side / 2;
        for (unsigned i = 0; i < 4; i++)
            scatter(out, x + (i & 1) * half, y + (i >> 1) * half, half, code + i * (uint64_t)half * half);
        return;
    }
    const bool is_there = draw(&out->state) % 100 < out->percent;
    for (unsigned j = 0; j < side * side; j++)
        out->owner[y + j / side][x + j % side] = is_there ? (int)out->count : -1;
    if (is_there)
        out->cells[out->count++] =
            (UfCell){.code = code, .x = (uint16_t)x, .y = (uint16_t)y, .side = (uint16_t)side};
}

/* Beyond a side lies the same side, turned about its middle. */
static int owner_at(const Scatter *scattered, int x, int y)
{
    if (x < 0 || x >= SIDE) {
        x = x < 0 ? -1 - x : 2 * SIDE - 1 - x;
        y = SIDE - 1 - y;
    }
    if (y < 0 || y >= SIDE) {
        y = y < 0 ? -1 - y : 2 * SIDE - 1 - y;
        x = SIDE - 1 - x;
    }
    return scattered->owner[y][x];
}

/* Each cell's area by its first cell: the lowest number spreads until nothing changes. */
static void spread_lowest(const Scatter *scattered, size_t lowest[MOST])
{
    for (size_t i = 0; i < scattered->count; i++)
        lowest[i] = i;
    for (bool changed = true; changed;) {
        changed = false;
        for (int i = 0; i < MOST * 9; i++) {
            const int x = i / 9 % SIDE, y = i / 9 / SIDE;
            const int own = scattered->owner[y][x];
            const int other = owner_at(scattered, x + i % 3 - 1, y + i / 3 % 3 - 1);
            if (own >= 0 && other >= 0 && lowest[other] < lowest[own]) {
                lowest[own] = lowest[other];
                changed = true;
            }
        }
    }
}

static void check_areas(uint32_t seed, uint32_t percent)
{
    Scatter *scattered = calloc(1, sizeof *scattered);
    size_t *lowest = calloc(MOST, sizeof *lowest), count = 0, expected = 0;
    uint32_t *areas = calloc(MOST, sizeof *areas);
    cr_assert(scattered != NULL && lowest != NULL && areas != NULL);
    scattered->state = seed;
    scattered->percent = percent;
    scatter(scattered, 0, 0, SIDE, 0);
    const UfCells cells = {
        .cells = scattered->cells, .count = scattered->count, .first_level = LEVEL, .level = LEVEL};
    spread_lowest(scattered, lowest);
    UfReport *report = uf_report_create();
    cr_assert_eq(uf_number_areas(&cells, areas, &count, report), UF_OK);
    for (size_t i = 0; i < cells.count; i++) {
        expected += lowest[i] == i ? 1 : 0;
        cr_assert_eq(areas[i], areas[lowest[i]], "seed %u: cell %zu is not with its first", seed, i);
        cr_assert(areas[i] < count);
    }
    cr_assert_eq(count, expected, "seed %u, %u percent: %zu areas, not %zu", seed, percent, count, expected);
    uf_report_free(&report);
    free(areas);
    free(lowest);
    free(scattered);
}

/* Against the plainest way: across sides, corners, sizes and the square's own folds. */
Test(plan_cells, areas_are_cells_that_touch)
{
    for (uint32_t seed = 0; seed < 60; seed++)
        check_areas(seed, 2 + 8 * (seed % 10));
}

/* All four corners of the square are one place, whichever two of them have a cell. */
Test(plan_cells, the_corners_of_the_square_touch)
{
    UfReport *report = uf_report_create();
    for (int pair = 0; pair < 6; pair++) {
        static const int pairs[6][2] = {{0, 1}, {0, 2}, {0, 3}, {1, 2}, {1, 3}, {2, 3}};
        UfCell two[2];
        for (int i = 0; i < 2; i++) {
            const int corner = pairs[pair][i];
            two[i] = (UfCell){.code = (uint64_t)corner * (MOST / 4) + (uint64_t)corner * (MOST / 4 - 1) / 3,
                              .x = (uint16_t)((corner & 1) * (SIDE - 1)),
                              .y = (uint16_t)((corner >> 1) * (SIDE - 1)),
                              .side = 1};
        }
        const UfCells cells = {.cells = two, .count = 2, .first_level = LEVEL, .level = LEVEL};
        uint32_t areas[2];
        size_t count = 0;
        cr_assert_eq(uf_number_areas(&cells, areas, &count, report), UF_OK);
        cr_expect_eq(count, 1, "corners %d and %d", pairs[pair][0], pairs[pair][1]);
    }
    uf_report_free(&report);
}

/* --- the sensor's edge --- */

/* Whether the lens images it onto the sensor, by its public formula. */
static bool is_on_sensor(const UfCamera *camera, double angle_rad, double azimuth_rad)
{
    double radius_mm = 0;
    return uf_lens_radius_mm(&camera->lens, angle_rad, &radius_mm) &&
           fabs(radius_mm * cos(azimuth_rad)) <= camera->sensor_long_mm / 2 &&
           fabs(radius_mm * sin(azimuth_rad)) <= camera->sensor_short_mm / 2;
}

/* The angle at which the sensor, or what the lens images, ends. */
static double edge_angle(const UfCamera *camera, double azimuth_rad)
{
    double low = 0, high = UF_PI;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        *(is_on_sensor(camera, middle, azimuth_rad) ? &low : &high) = middle;
    }
    return low;
}

/* On both sides of the edge, from very near to a few degrees away. */
static void check_edge(const UfCamera *camera)
{
    static const double steps_rad[] = {1e-9, 1e-7, 1e-6, 1e-5, 3e-5, 1e-4, 3e-4, 1e-3, 1e-2, 0.1};
    const UfWindow window = uf_window_of_camera(camera);
    for (int i = 0; i < 2000; i++) {
        const double azimuth = 2 * UF_PI * (i + 0.37) / 2000, edge = edge_angle(camera, azimuth);
        for (size_t k = 0; k < 2 * sizeof steps_rad / sizeof *steps_rad; k++) {
            const double angle = edge + (k % 2 == 0 ? 1 : -1) * steps_rad[k / 2];
            if (angle < 0 || angle > UF_PI)
                continue;
            const UfDirection at = {sin(angle) * cos(azimuth), sin(angle) * sin(azimuth), cos(angle)};
            cr_assert_eq(uf_window_holds(&window, at), k % 2 == 1,
                         "%s, azimuth %.6f, %.9f from the edge at %g", uf_mapping_name(camera->lens.mapping),
                         azimuth, angle - edge, edge);
        }
    }
}

Test(plan_cells, the_edge_of_the_sensor_is_where_the_image_ends)
{
    static const UfLens lenses[] = {
        {.mapping = UF_MAPPING_RECTILINEAR, .focal_mm = 14},
        {.mapping = UF_MAPPING_EQUIDISTANT, .focal_mm = 8},
        {.mapping = UF_MAPPING_EQUIDISTANT, .focal_mm = 8, .reach_rad = 1.3}, /* cuts the corners */
        {.mapping = UF_MAPPING_EQUISOLID, .focal_mm = 10.5},
        {.mapping = UF_MAPPING_STEREOGRAPHIC, .focal_mm = 5.6, .reach_rad = 1.45},
        {.mapping = UF_MAPPING_ORTHOGRAPHIC, .focal_mm = 15},
        {.mapping = UF_MAPPING_ORTHOGRAPHIC, .focal_mm = 10, .reach_rad = 1.5}, /* ends within the sensor */
        {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 8, .k = {0.1, -0.02, 0.003, 0.0005}},
        {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 12, .k = {-0.05, 0, 0, 0}},
        {.mapping = UF_MAPPING_POLYNOMIAL, .focal_mm = 9, .k = {-0.3, 0.2, -0.05, 0.004}, .reach_rad = 1.2},
    };
    for (size_t i = 0; i < sizeof lenses / sizeof *lenses; i++)
        check_edge(&(UfCamera){.sensor_long_mm = 23.5, .sensor_short_mm = 15.6, .lens = lenses[i]});
}

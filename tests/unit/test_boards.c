/* Floors of boards: found at any angle, not found where there are none, and filled board by board. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "patch/boards.h"
#include "patch/boards_joints.h"

enum { SIDE = 360, RADIUS = 90, BOARD = 24, LONGEST = 150 };

static double hash_unit(long a, long b, unsigned seed)
{
    uint32_t h = (uint32_t)a * 0x9E3779B9U ^ (uint32_t)b * 0x85EBCA6BU ^ seed * 0xC2B2AE35U;
    h = (h ^ (h >> 16)) * 0x7FEB352DU;
    h = (h ^ (h >> 15)) * 0x846CA68BU;
    return (double)(h ^ (h >> 16)) / 4294967296.0;
}

static long floor_of(double v)
{
    return (long)floor(v);
}

/* Tones of a floor at (x, y), 0 .. 1; kinds that are no boards beside them. */
typedef double Texture(double x, double y);

static double fibre(double x, double y)
{
    return 0.02 * (hash_unit(floor_of(x / 9), floor_of(y), 3) - 0.5) +
           0.01 * (hash_unit(floor_of(x), floor_of(y), 4) - 0.5);
}

/* Where the boards end. */
static unsigned floor_number = 12;

static double boards(double x, double y)
{
    long row = floor_of(y / BOARD);
    double along = x + LONGEST * hash_unit(row, 0, floor_number), across = y - (double)row * BOARD;
    long board = floor_of(along / LONGEST);
    bool is_joint = across < 2 || along - (double)board * LONGEST < 2;
    return is_joint ? 0.1 : 0.35 + 0.3 * hash_unit(row, board, 2) + fibre(x, y);
}

static double stripes(double x, double y)
{
    long row = floor_of(y / BOARD);
    return y - (double)row * BOARD < 2 ? 0.1 : 0.5 + fibre(x, y);
}

static double tiles(double x, double y)
{
    double u = x - 30 * floor(x / 30), v = y - 30 * floor(y / 30);
    return u < 2 || v < 2 ? 0.1 : 0.4 + 0.2 * hash_unit(floor_of(x / 30), floor_of(y / 30), 5) + fibre(x, y);
}

static double bricks(double x, double y)
{
    long row = floor_of(y / 16);
    double along = x + (row & 1 ? 20 : 0);
    return y - (double)row * 16 < 2 || along - 40 * floor(along / 40) < 2
               ? 0.8
               : 0.4 + 0.15 * hash_unit(row, floor_of(along / 40), 6) + fibre(x, y);
}

static double gravel(double x, double y)
{
    return 0.3 + 0.4 * hash_unit(floor_of(x / 3), floor_of(y / 3), 7);
}

static double plain(double x, double y)
{
    return 0.4 + 0.0004 * x + 0.0002 * y;
}

/* Its middle at the canvas's, turned by `angle_rad`, the hole a disc; four samples a pixel. */
static UfCanvas paint(Texture *texture, double angle_rad)
{
    UfCanvas canvas = {0};
    cr_assert_eq(uf_canvas_create(SIDE, SIDE, &canvas, NULL), UF_OK);
    for (size_t y = 0; y < SIDE; y++)
        for (size_t x = 0; x < SIDE; x++) {
            double u = (double)x + 0.5 - SIDE / 2, v = (double)y + 0.5 - SIDE / 2, sum = 0;
            for (int k = 0; k < 4; k++) {
                double a = u + 0.5 * (k & 1) - 0.25, b = v + 0.5 * (k >> 1) - 0.25;
                sum += texture(a * cos(angle_rad) + b * sin(angle_rad),
                               b * cos(angle_rad) - a * sin(angle_rad)) /
                       4;
            }
            size_t i = y * SIDE + x;
            bool is_hole = hypot(u, v) < RADIUS;
            canvas.cell[i] = is_hole ? UF_CELL_HOLE : UF_CELL_SOURCE;
            for (size_t c = 0; c < 3; c++)
                canvas.value[4 * i + c] = is_hole ? 0 : (float)(sum * (1 - 0.1 * (double)c));
            canvas.value[4 * i + 3] = 0;
        }
    return canvas;
}

static float value_at(const UfCanvas *canvas, size_t x, size_t y)
{
    return canvas->value[4 * (y * SIDE + x)];
}

Test(boards, found_at_any_angle)
{
    const double degrees[] = {0, 3.7, 23, 45, 71.2, 90, -12, -66};
    for (size_t i = 0; i < sizeof degrees / sizeof *degrees; i++) {
        UfCanvas canvas = paint(boards, degrees[i] * M_PI / 180);
        bool found = false;
        double angle = 0;
        cr_assert_eq(uf_boards_find(&canvas, 2, &found, &angle, NULL), UF_OK);
        cr_assert(found, "no boards at %g degrees", degrees[i]);
        double off = remainder(angle * 180 / M_PI - degrees[i], 180);
        cr_expect_lt(fabs(off), 0.1, "boards at %g degrees found at %g", degrees[i], angle * 180 / M_PI);
        uf_canvas_clear(&canvas);
    }
}

Test(boards, found_nowhere_else)
{
    Texture *const texture[] = {tiles, bricks, gravel, plain};
    const char *const name[] = {"tiles", "bricks", "gravel", "plain"};
    for (size_t i = 0; i < 4; i++)
        for (double angle = 0; angle < 1.5; angle += 0.4) {
            UfCanvas canvas = paint(texture[i], angle);
            bool found = true;
            double at = 7;
            cr_assert_eq(uf_boards_find(&canvas, 2, &found, &at, NULL), UF_OK);
            cr_expect_not(found, "%s turned by %g are taken for boards", name[i], angle);
            cr_expect_eq(at, 7, "the angle is touched");
            uf_canvas_clear(&canvas);
        }
}

Test(boards, joints_are_where_they_are)
{
    UfCanvas canvas = paint(boards, 0);
    UfJoints joints = {0};
    cr_assert_eq(uf_boards_joints(&canvas, 2, &joints, NULL), UF_OK);
    cr_assert_geq(joints.count, 8);
    cr_expect_lt(joints.strength, 0, "the joints are dark");
    for (size_t i = 0; i < joints.count; i++) {
        double joint = (double)joints.row[i] - SIDE / 2, nearest = BOARD * rint(joint / BOARD);
        cr_expect(joint >= nearest - 1 && joint <= nearest + 2, "joint %zu at %g, wanted %g", i, joint,
                  nearest);
        if (i > 0)
            cr_expect_leq(joints.row[i] - joints.row[i - 1], BOARD + 1, "a joint is missed");
    }
    uf_joints_clear(&joints);
    uf_canvas_clear(&canvas);
}

static UfCanvas filled(Texture *texture, unsigned seed, int threads)
{
    UfCanvas canvas = paint(texture, 0);
    bool is_filled = false;
    cr_assert_eq(uf_boards_fill(&canvas, seed, threads, &is_filled, NULL), UF_OK);
    cr_assert(is_filled);
    return canvas;
}

/* Share of a board's rows, its edges left out, that are dark in a column or `about` it. */
static double dark_share(const UfCanvas *canvas, long row, size_t x, size_t about)
{
    double dark = 0, count = 0;
    for (long y = row * BOARD + 4; y < row * BOARD + BOARD - 2; y++) {
        float darkest = 1;
        for (size_t k = x - about; k <= x + about; k++)
            darkest = fminf(darkest, value_at(canvas, k, (size_t)(y + SIDE / 2)));
        dark += darkest < 0.27F;
        count++;
    }
    return dark / count;
}

static double column_mean(const UfCanvas *canvas, long row, size_t x)
{
    double sum = 0, count = 0;
    for (long y = row * BOARD + 4; y < row * BOARD + BOARD - 2; y++) {
        sum += (double)value_at(canvas, x, (size_t)(y + SIDE / 2));
        count++;
    }
    return sum / count;
}

/*
 * The fault that sets boards apart: a tone that changes where no end joint is. Along each board the means of
 * columns some way apart are compared; between or beside them must be a column that is dark from joint to
 * joint.
 */
static size_t count_breaks(const UfCanvas *canvas)
{
    size_t breaks = 0;
    const size_t step = 12;
    for (long row = -SIDE / 2 / BOARD + 1; row < SIDE / 2 / BOARD - 1; row++)
        for (size_t x = 4; x + step < SIDE - 4; x++) {
            double darkest = 0;
            for (size_t k = x - 2; k <= x + step + 2; k++)
                darkest = fmax(darkest, dark_share(canvas, row, k, 0));
            double off = fabs(column_mean(canvas, row, x) - column_mean(canvas, row, x + step));
            breaks += darkest < 0.5 && off > 0.08;
        }
    return breaks;
}

Test(boards, no_board_changes_its_tone_without_an_end)
{
    for (floor_number = 12; floor_number < 18; floor_number++)
        for (unsigned seed = 1; seed <= 3; seed++) {
            UfCanvas canvas = filled(boards, seed, 2);
            cr_expect_eq(count_breaks(&canvas), 0, "floor %u, seed %u: tones change without a joint",
                         floor_number, seed);
            uf_canvas_clear(&canvas);
        }
}

Test(boards, ends_go_from_joint_to_joint)
{
    UfCanvas canvas = filled(boards, 1, 2);
    size_t ends = 0;
    for (long row = -RADIUS / BOARD; row < RADIUS / BOARD; row++) {
        double most = 0;
        for (size_t x = SIDE / 2 - RADIUS; x < SIDE / 2 + RADIUS; x++) {
            if (dark_share(&canvas, row, x, 0) > 0.3)
                most = fmax(most, dark_share(&canvas, row, x, 1));
        }
        cr_expect(most == 0 || most > 0.9, "an end in row %ld stops half way: %.2f", row, most);
        ends += most > 0.9;
    }
    cr_expect_geq(ends, 4, "only %zu ends in the hole", ends);
    uf_canvas_clear(&canvas);
}

Test(boards, joints_go_through)
{
    UfCanvas canvas = filled(boards, 1, 2);
    for (long row = -RADIUS / BOARD + 1; row < RADIUS / BOARD; row++)
        for (size_t x = SIDE / 2 - RADIUS; x < SIDE / 2 + RADIUS; x++) {
            size_t y = (size_t)(row * BOARD + SIDE / 2);
            float darkest = fminf(value_at(&canvas, x, y), value_at(&canvas, x, y + 1));
            cr_expect_lt(darkest, 0.2F, "the joint at %ld is broken at %zu: %g", row, x, (double)darkest);
        }
    uf_canvas_clear(&canvas);
}

/* The end joints that the disc cuts, known in some rows of their board and hole in others, are dark in all.
 */
static size_t check_cut_ends(const UfCanvas *before, const UfCanvas *after)
{
    size_t cut = 0;
    for (long row = -RADIUS / BOARD - 1; row <= RADIUS / BOARD; row++)
        for (size_t x = SIDE / 2 - RADIUS; x < SIDE / 2 + RADIUS; x++) {
            size_t known = 0, hole = 0, dark = 0;
            for (long y = row * BOARD + 4; y < row * BOARD + BOARD - 2; y++) {
                size_t i = (size_t)(y + SIDE / 2) * SIDE + x;
                bool is_known = before->cell[i] == UF_CELL_SOURCE;
                known += is_known;
                hole += !is_known;
                dark += is_known && before->value[4 * i] < 0.2F;
            }
            if (known < 5 || dark != known || hole < 3)
                continue;
            cut++;
            cr_expect_gt(dark_share(after, row, x, 1), 0.9,
                         "floor %u: the joint of row %ld at %zu does not go on", floor_number, row, x);
        }
    return cut;
}

Test(boards, an_end_that_is_half_covered_goes_on)
{
    size_t cut = 0;
    for (floor_number = 12; floor_number < 22; floor_number++) {
        UfCanvas before = paint(boards, 0), after = filled(boards, 1, 2);
        cut += check_cut_ends(&before, &after);
        uf_canvas_clear(&before);
        uf_canvas_clear(&after);
    }
    cr_expect_gt(cut, 10, "hardly a joint is cut: the test shows nothing");
}

Test(boards, no_ends_where_none_are_seen)
{
    UfCanvas canvas = filled(stripes, 1, 2);
    for (long row = -RADIUS / BOARD; row < RADIUS / BOARD; row++)
        for (size_t x = SIDE / 2 - RADIUS; x < SIDE / 2 + RADIUS; x++)
            cr_assert_eq(dark_share(&canvas, row, x, 0), 0, "an end was made at row %ld, column %zu", row, x);
    uf_canvas_clear(&canvas);
}

Test(boards, what_is_known_stays)
{
    UfCanvas before = paint(boards, 0), after = filled(boards, 1, 2);
    for (size_t i = 0; i < (size_t)SIDE * SIDE; i++) {
        if (before.cell[i] == UF_CELL_SOURCE)
            cr_assert_eq(memcmp(before.value + 4 * i, after.value + 4 * i, 4 * sizeof(float)), 0);
        else
            cr_assert_gt(after.value[4 * i], 0.02F, "pixel %zu was not filled", i);
    }
    uf_canvas_clear(&before);
    uf_canvas_clear(&after);
}

Test(boards, threads_change_nothing_and_seeds_do)
{
    UfCanvas one = filled(boards, 1, 1), four = filled(boards, 1, 4), other = filled(boards, 2, 1);
    size_t bytes = (size_t)SIDE * SIDE * 4 * sizeof(float);
    cr_expect_eq(memcmp(one.value, four.value, bytes), 0);
    cr_expect_neq(memcmp(one.value, other.value, bytes), 0);
    uf_canvas_clear(&one);
    uf_canvas_clear(&four);
    uf_canvas_clear(&other);
}

Test(boards, left_alone_where_there_are_none)
{
    UfCanvas canvas = paint(plain, 0), before = paint(plain, 0);
    bool is_filled = true;
    cr_assert_eq(uf_boards_fill(&canvas, 1, 2, &is_filled, NULL), UF_OK);
    cr_expect_not(is_filled);
    cr_expect_eq(memcmp(canvas.value, before.value, (size_t)SIDE * SIDE * 4 * sizeof(float)), 0);
    uf_canvas_clear(&canvas);
    uf_canvas_clear(&before);
}

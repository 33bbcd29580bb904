/* Where the joints between boards are that lie along the rows. */
#include <math.h>

#include "base/memory.h"
#include "base/robust.h"
#include "base/smaller.h"
#include "patch/boards_joints.h"

/* A joint is looked for at a scale at which the canvas has at most so many pixels a side. */
#define SMALL_SIDE_PX 640u
/* A joint is at least this share as clear as the second clearest, a missed one half way between two this. */
#define LEAST_CLEAR  0.4
#define LEAST_MISSED 0.15
/* In usual widths of a board: nearer joints are one, farther ones have one between them. */
#define NEAREST  0.4
#define FARTHEST 1.6
/* A row's mean is one of so many pixels. */
#define LEAST_PIXELS 16.0
#define LEAST_JOINTS 3u

typedef struct Profile {
    size_t count, narrow, around;
    double *mean[2]; /* of a row's sources, left and right of the hole's middle; NAN for too few */
    double *clear;   /* how far the row stands out on both sides, >= 0 */
    double sign;     /* -1 where joints are dark */
} Profile;

static void profile_clear(Profile *p)
{
    free(p->mean[0]);
    free(p->mean[1]);
    free(p->clear);
}

unsigned uf_boards_halvings(const UfCanvas *canvas)
{
    unsigned halvings = 0;
    while (uf_larger(canvas->width, canvas->height) >> halvings > SMALL_SIDE_PX)
        halvings++;
    return halvings;
}

static UfStatus profile_create(const UfCanvas *canvas, Profile *p, UfReport *report)
{
    size_t scale = (size_t)1 << uf_boards_halvings(canvas);
    *p = (Profile){.count = canvas->height, .narrow = scale, .around = UF_JOINT_AROUND_PX * scale};
    p->mean[0] = uf_alloc(p->count, sizeof(double));
    p->mean[1] = uf_alloc(p->count, sizeof(double));
    p->clear = uf_alloc_zero(p->count, sizeof(double));
    return p->mean[0] == NULL || p->mean[1] == NULL || p->clear == NULL ? uf_fail_memory(report) : UF_OK;
}

static void row_means(const UfCanvas *canvas, size_t middle, int threads, Profile *p)
{
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t y = 0; y < canvas->height; y++)
        for (int half = 0; half < 2; half++) {
            double sum = 0, count = 0;
            for (size_t x = half == 0 ? 0 : middle; x < (half == 0 ? middle : canvas->width); x++) {
                size_t i = y * canvas->width + x;
                if (canvas->cell[i] != UF_CELL_SOURCE)
                    continue;
                sum += (double)uf_canvas_grey(canvas, i);
                count++;
            }
            p->mean[half][y] = count >= LEAST_PIXELS ? sum / count : NAN;
        }
}

static double mean_of(const double *value, size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += value[i];
    return sum / (double)(to - from);
}

/* How far a row stands out on one side; NAN where that is not known. */
static double line_at(const Profile *p, int half, size_t y)
{
    size_t before = (p->narrow - 1) / 2;
    if (y < p->around || y + p->around >= p->count)
        return NAN;
    return mean_of(p->mean[half], y - before, y - before + p->narrow) -
           mean_of(p->mean[half], y - p->around, y + p->around + 1);
}

static void find_clear(Profile *p)
{
    double sum = 0;
    for (size_t y = 0; y < p->count; y++) {
        double a = line_at(p, 0, y), b = line_at(p, 1, y);
        sum += a * b > 0 ? a * b * (a + b) : 0;
    }
    p->sign = sum < 0 ? -1 : 1;
    for (size_t y = 0; y < p->count; y++) {
        double least = fmin(p->sign * line_at(p, 0, y), p->sign * line_at(p, 1, y));
        p->clear[y] = least > 0 ? least : 0; /* 0 for NAN, too */
    }
}

/* The clearest row of a range that is no less clear than its neighbours; false when there is none. */
static bool clearest(const Profile *p, size_t from, size_t to, size_t *out)
{
    double most = 0;
    for (size_t y = uf_larger(from, 1); y < to && y + 1 < p->count; y++)
        if (p->clear[y] > most && p->clear[y] >= p->clear[y - 1] && p->clear[y] >= p->clear[y + 1]) {
            most = p->clear[y];
            *out = y;
        }
    return most > 0;
}

/* The second largest of all clear rows that are clearest about themselves. */
static double usual_clearness(const Profile *p)
{
    double first = 0, second = 0;
    size_t at = 0;
    for (size_t y = 0; y < p->count; y += p->around)
        if (clearest(p, y, y + p->around, &at)) {
            double value = p->clear[at];
            second = value > first ? first : fmax(second, value);
            first = fmax(first, value);
        }
    return second;
}

static void put(UfJoints *joints, size_t at, size_t row)
{
    memmove(joints->row + at + 1, joints->row + at, (joints->count - at) * sizeof *joints->row);
    joints->row[at] = row;
    joints->count++;
}

static void drop(UfJoints *joints, size_t at)
{
    joints->count--;
    memmove(joints->row + at, joints->row + at + 1, (joints->count - at) * sizeof *joints->row);
}

/* The median of the boards' widths; 0 when there is no board, or no memory. */
static double usual_width(const UfJoints *joints)
{
    size_t boards = joints->count > 0 ? joints->count - 1 : 0;
    double *width = uf_alloc(boards, sizeof *width);
    for (size_t i = 0; width != NULL && i < boards; i++)
        width[i] = (double)(joints->row[i + 1] - joints->row[i]);
    double usual = uf_median(width, width != NULL ? boards : 0);
    free(width);
    return usual;
}

/* Of two that are too near the clearer one stays; between two too far apart another is looked for. */
static void tidy(const Profile *p, double least, UfJoints *joints)
{
    double width = usual_width(joints);
    for (size_t i = 0; i + 1 < joints->count;) {
        size_t *row = joints->row + i;
        if ((double)(row[1] - row[0]) < NEAREST * width)
            drop(joints, p->clear[row[1]] > p->clear[row[0]] ? i : i + 1);
        else
            i++;
    }
    for (size_t i = 0; i + 1 < joints->count; i++) {
        double gap = (double)(joints->row[i + 1] - joints->row[i]);
        size_t middle = (joints->row[i] + joints->row[i + 1]) / 2, quarter = (size_t)(0.25 * width),
               at = middle;
        if (gap > FARTHEST * width && gap < 2.5 * width &&
            clearest(p, middle - quarter, middle + quarter, &at) && p->clear[at] > least)
            put(joints, i + 1, at);
    }
}

static void collect(const Profile *p, UfJoints *joints)
{
    double usual = usual_clearness(p);
    for (size_t y = p->around; y + p->around < p->count; y++) {
        size_t at = y;
        if (p->clear[y] > LEAST_CLEAR * usual && clearest(p, y - p->around, y + p->around + 1, &at) &&
            at == y)
            put(joints, joints->count, y);
    }
    tidy(p, LEAST_MISSED * usual, joints);
    for (size_t i = 0; i < joints->count; i++)
        joints->strength += p->sign * p->clear[joints->row[i]] / (double)joints->count;
}

void uf_joints_clear(UfJoints *joints)
{
    free(joints->row);
    *joints = (UfJoints){0};
}

UfStatus uf_boards_joints(const UfCanvas *canvas, int threads, UfJoints *out, UfReport *report)
{
    Profile p = {0};
    UfBox hole = {0};
    UfJoints joints = {.row = uf_alloc(canvas->height + 1, sizeof *joints.row)};
    UfStatus status = joints.row == NULL ? uf_fail_memory(report) : profile_create(canvas, &p, report);
    if (status != UF_OK)
        goto cleanup;
    uf_canvas_hole_box(canvas, 0, &hole);
    row_means(canvas, (hole.x0 + hole.x1) / 2, threads, &p);
    find_clear(&p);
    collect(&p, &joints);
    joints.around_px = p.around;
    joints.narrow_px = p.narrow;
    if (joints.count < LEAST_JOINTS)
        joints.count = 0;
    *out = joints;
    joints.row = NULL;
cleanup:
    free(joints.row);
    profile_clear(&p);
    return status;
}

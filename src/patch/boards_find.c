/*
 * Boards make lines that run through the whole ring one way and no such lines the other way. The ring is
 * projected along a direction, either side of the hole for itself: what stands out in both profiles at the
 * same place is a line that goes on behind the hole.
 */
#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "patch/boards.h"
#include "patch/boards_joints.h"
#include "patch/grey.h"

/* Share of the gradients that must point one way before a closer look is taken. */
#define LEAST_ONE_WAY 0.2
/* Lines along the boards must be this much alike on both sides of the hole, those across this much less. */
#define LEAST_ALONG 0.5
#define MOST_ACROSS 0.3
/* And so far from what is beside them, of the full range. */
#define LEAST_CONTRAST 0.002
/* A place of a profile counts when so many pixels lie on its line. */
#define LEAST_PIXELS 12.0

typedef struct Profiles {
    size_t count;
    double *sum[2], *weight[2]; /* of the halves before and behind the hole's middle */
    double *line[2];            /* what stands out; NAN where too little is seen */
} Profiles;

static void profiles_clear(Profiles *p)
{
    for (int half = 0; half < 2; half++) {
        free(p->sum[half]);
        free(p->weight[half]);
        free(p->line[half]);
    }
}

static bool profiles_create(size_t count, Profiles *p)
{
    bool good = true;
    p->count = count;
    for (int half = 0; half < 2; half++) {
        good = (p->sum[half] = uf_alloc_zero(count, sizeof(double))) != NULL && good;
        good = (p->weight[half] = uf_alloc_zero(count, sizeof(double))) != NULL && good;
        good = (p->line[half] = uf_alloc_zero(count, sizeof(double))) != NULL && good;
    }
    return good;
}

/* What the ring shows of the hole's middle, and how far the hole reaches from it. */
typedef struct Ring {
    const UfGrey *grey;
    double x, y, radius;
} Ring;

static void project(const Ring *ring, double angle, Profiles *p)
{
    double c = cos(angle), s = sin(angle), middle = (double)p->count / 2;
    for (int half = 0; half < 2; half++) {
        memset(p->sum[half], 0, p->count * sizeof(double));
        memset(p->weight[half], 0, p->count * sizeof(double));
    }
    for (size_t y = 0; y < ring->grey->height; y++)
        for (size_t x = 0; x < ring->grey->width; x++) {
            size_t i = y * ring->grey->width + x;
            double u = (double)x + 0.5 - ring->x, v = (double)y + 0.5 - ring->y;
            double across = v * c - u * s + middle, along = u * c + v * s;
            if (!ring->grey->known[i] || !(across >= 0 && across < (double)p->count - 1))
                continue;
            size_t at = (size_t)across;
            double part = across - (double)at, value = (double)ring->grey->value[i];
            int half = along < 0 ? 0 : 1;
            p->sum[half][at] += (1 - part) * value;
            p->sum[half][at + 1] += part * value;
            p->weight[half][at] += 1 - part;
            p->weight[half][at + 1] += part;
        }
}

/* What stands out of a profile of means against its surroundings. */
static void find_lines(Profiles *p, int half)
{
    for (size_t i = 0; i < p->count; i++) {
        double sum = 0, count = 0;
        p->line[half][i] = NAN;
        if (i < UF_JOINT_AROUND_PX || i + UF_JOINT_AROUND_PX >= p->count)
            continue;
        for (size_t k = i - UF_JOINT_AROUND_PX; k <= i + UF_JOINT_AROUND_PX; k++)
            if (p->weight[half][k] >= LEAST_PIXELS) {
                sum += p->sum[half][k] / p->weight[half][k];
                count++;
            }
        if (count == 2.0 * UF_JOINT_AROUND_PX + 1)
            p->line[half][i] = p->sum[half][i] / p->weight[half][i] - sum / count;
    }
}

/* How strong the lines are that both halves have, and how much alike the halves are, over the hole's width.
 */
typedef struct Likeness {
    double strength, correlation;
} Likeness;

static Likeness compare(const Ring *ring, double angle, Profiles *p)
{
    double both = 0, one[2] = {0}, count = 0, middle = (double)p->count / 2;
    project(ring, angle, p);
    find_lines(p, 0);
    find_lines(p, 1);
    for (size_t i = 0; i < p->count; i++) {
        double a = p->line[0][i], b = p->line[1][i];
        if (fabs((double)i - middle) > ring->radius || isnan(a) || isnan(b))
            continue;
        both += a * b;
        one[0] += a * a;
        one[1] += b * b;
        count++;
    }
    Likeness none = {0, 0};
    return one[0] > 0 && one[1] > 0 ? (Likeness){both / count, both / sqrt(one[0] * one[1])} : none;
}

/* The direction most edges run in; how many of them, as a share. */
static double edge_direction(const UfGrey *grey, double *share)
{
    double mean = 0, count = 0, c2 = 0, s2 = 0, all = 0;
    for (int pass = 0; pass < 2; pass++)
        for (size_t y = 1; y + 1 < grey->height; y++)
            for (size_t x = 1; x + 1 < grey->width; x++) {
                size_t i = y * grey->width + x, w = grey->width;
                if (!(grey->known[i] & grey->known[i - 1] & grey->known[i + 1] & grey->known[i - w] &
                      grey->known[i + w]))
                    continue;
                double u = (double)(grey->value[i + 1] - grey->value[i - 1]);
                double v = (double)(grey->value[i + w] - grey->value[i - w]), g = hypot(u, v);
                if (pass == 0) {
                    mean += g;
                    count++;
                } else if (g > 0) { /* an edge counts no more than thrice the usual one */
                    double weight = fmin(g, 3 * mean / count);
                    c2 += weight * (u * u - v * v) / (g * g);
                    s2 += weight * 2 * u * v / (g * g);
                    all += weight;
                }
            }
    *share = all > 0 ? hypot(c2, s2) / all : 0;
    double along = atan2(s2, c2) / 2 + M_PI / 2;
    return along > M_PI / 2 ? along - M_PI : along;
}

/* Profiles for each thread. */
typedef struct Desks {
    int threads;
    Profiles *profiles;
} Desks;

static void desks_clear(Desks *d)
{
    for (int i = 0; d->profiles != NULL && i < d->threads; i++)
        profiles_clear(&d->profiles[i]);
    free(d->profiles);
}

static bool desks_create(int threads, size_t count, Desks *d)
{
    *d = (Desks){threads, uf_alloc_zero((size_t)threads, sizeof *d->profiles)};
    bool good = d->profiles != NULL;
    for (int i = 0; good && i < threads; i++)
        good = profiles_create(count, &d->profiles[i]);
    return good;
}

/* Angles on each side of one that are tried at a time, at most. */
#define MOST_STEPS 24

/* The angle about `angle` at which the lines are strongest. */
static double refine(const Ring *ring, double angle, double step, int steps, const Desks *desks)
{
    double strength[2 * MOST_STEPS + 1] = {0}, most = -INFINITY, best = angle;
#pragma omp parallel for schedule(dynamic, 1) num_threads(desks->threads)
    for (int k = -steps; k <= steps; k++)
        strength[k + steps] =
            compare(ring, angle + k * step, &desks->profiles[omp_get_thread_num()]).strength;
    for (int k = -steps; k <= steps; k++)
        if (strength[k + steps] > most) {
            most = strength[k + steps];
            best = angle + k * step;
        }
    return best;
}

static UfStatus look(const Ring *ring, int threads, bool *found, double *angle_rad, UfReport *report)
{
    double share, angle = edge_direction(ring->grey, &share);
    if (share < LEAST_ONE_WAY)
        return UF_OK;
    Desks desks;
    UfStatus status = UF_OK;
    if (!desks_create(threads, (size_t)hypot((double)ring->grey->width, (double)ring->grey->height) + 4,
                      &desks)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    angle = refine(ring, angle, M_PI / 180 / 4, MOST_STEPS, &desks);
    angle = refine(ring, angle, M_PI / 180 / 40, 10, &desks);
    Likeness along = compare(ring, angle, desks.profiles),
             across = compare(ring, angle + M_PI / 2, desks.profiles);
    if (along.correlation >= LEAST_ALONG && along.strength >= LEAST_CONTRAST * LEAST_CONTRAST &&
        across.correlation < MOST_ACROSS) {
        *found = true;
        *angle_rad = angle;
    }
cleanup:
    desks_clear(&desks);
    return status;
}

/* A small copy of the canvas in grey, and what is known of it. */
static UfStatus shrink(const UfCanvas *canvas, int threads, UfGrey *grey, Ring *ring, UfReport *report)
{
    UfCanvas small = {0};
    UfBox box = {0};
    UfStatus status = uf_canvas_reduce(canvas, uf_boards_halvings(canvas), threads, &small, report);
    if (status != UF_OK)
        return status;
    uf_canvas_hole_box(&small, 0, &box);
    for (size_t i = 0; i < small.width * small.height; i++)
        small.cell[i] = small.cell[i] == UF_CELL_SOURCE;
    status = uf_grey_of_colour(small.width, small.height, small.value, small.cell, 3, grey, report);
    uf_canvas_clear(&small);
    double width = (double)(box.x1 - box.x0), height = (double)(box.y1 - box.y0);
    *ring = (Ring){grey, (double)box.x0 + width / 2, (double)box.y0 + height / 2, fmin(width, height) / 2};
    return status;
}

UfStatus uf_boards_find(const UfCanvas *canvas, int threads, bool *found, double *angle_rad, UfReport *report)
{
    UfGrey grey = {0};
    Ring ring;
    *found = false;
    UfStatus status = shrink(canvas, threads, &grey, &ring, report);
    if (status == UF_OK && ring.radius > 0)
        status = look(&ring, threads, found, angle_rad, report);
    uf_grey_clear(&grey);
    return status;
}

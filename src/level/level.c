/*
 * The zenith from upright edges: the direction z with N.z = 0 for the normals N of the great circles that
 * upright edges lie on.
 *
 * Every pair of the longest edges proposes N1 x N2; the proposal that most edges (by length) lead to, to
 * within a degree, wins (M. A. Fischler, R. C. Bolles, Random Sample Consensus, CACM 24(6), 381-395, 1981,
 * with all pairs in place of random ones, so that the same picture always gives the same answer). It is
 * refined by weighted least squares, the weights falling to nothing beyond 3 times the scatter (J. W. Tukey's
 * biweight).
 */
#include <underfoot/level.h>

#include <math.h>
#include <stdlib.h>

#include "base/report.h"
#include "base/robust.h"
#include "level/segments.h"

#define REACH_DEG 60.0
/* Pairs are made of this many of the longest edges. */
#define PROPOSERS 250u
/* An edge that misses by more than 3 times its doubt does not lead there. */
#define WIDTH 3.0

static double dot(UfDirection a, UfDirection b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static int longer_first(const void *a, const void *b)
{
    double left = ((const UfSegment *)a)->length_rad, right = ((const UfSegment *)b)->length_rad;
    return (left < right) - (left > right);
}

/* Tukey's biweight: how much an edge counts, by how far it misses z. */
static double belief(const UfSegment *segment, double miss)
{
    return uf_tukey_weight(miss / (WIDTH * segment->doubt_rad));
}

/* The length of edges that lead to z. */
static double support(const UfSegments *segments, UfDirection z)
{
    double sum = 0;
    for (size_t i = 0; i < segments->count; i++)
        sum += segments->items[i].length_rad * belief(&segments->items[i], dot(segments->items[i].normal, z));
    return sum;
}

/* N1 x N2, upwards; false where it is not near enough to up, or the two edges are nearly the same circle. */
static bool propose(const UfSegment *a, const UfSegment *b, UfDirection *out)
{
    const UfDirection m = a->normal, n = b->normal;
    UfDirection z = {m.y * n.z - m.z * n.y, m.z * n.x - m.x * n.z, m.x * n.y - m.y * n.x};
    double length = sqrt(dot(z, z));
    if (length < sin(uf_radians(10)))
        return false;
    double scale = (z.y < 0 ? -1 : 1) / length;
    *out = (UfDirection){z.x * scale, z.y * scale, z.z * scale};
    return out->y >= cos(uf_radians(UF_LEVEL_MAX_DEG));
}

/* The best supported proposal that is at least `away_rad` from `other` (NULL: any); its support, 0 for none.
 */
static double find_best(const UfSegments *segments, const UfDirection *other, double away_rad,
                        UfDirection *best)
{
    size_t count = segments->count < PROPOSERS ? segments->count : PROPOSERS;
    double most = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < i; k++) {
            UfDirection z;
            if (!propose(&segments->items[i], &segments->items[k], &z) ||
                (other != NULL && dot(z, *other) > cos(away_rad)))
                continue;
            double sum = support(segments, z);
            if (sum > most) {
                most = sum;
                *best = z;
            }
        }
    return most;
}

/* What the edges say about one zenith. */
typedef struct Fit {
    UfDirection zenith;
    double upright_rad; /* length of the edges that lead there */
    double chance_rad;  /* what would, if those within UF_LEVEL_MAX_DEG led anywhere in between */
    double spread;      /* 0: all stand in one direction; 1/2: evenly around */
    double rival_rad;   /* length of the edges that lead to the next best zenith, RIVAL_DEG away or further */
    double circles;     /* how many great circles they lie on, as if all were equally well seen */
    double residual_rad;
    size_t count;
} Fit;

/* Rivals nearer than this are the same zenith, found a little less well. */
#define RIVAL_DEG 3.0
/* Great circles are told apart by the azimuth of their normals; what is seen of one counts up to CIRCLE_DEG.
 */
#define CIRCLES    60
#define CIRCLE_DEG 30.0

static size_t circle_of(UfDirection normal)
{
    double turn = atan2(normal.z, normal.x) / UF_PI + 1; /* 0 .. 2, half of it for each sign of the normal */
    return (size_t)(turn * CIRCLES) % CIRCLES;
}

/* (sum w)^2 / sum w^2: n for n equal weights, and little more for many small ones besides. */
static double count_circles(const UfSegments *segments, UfDirection z)
{
    double seen[CIRCLES] = {0}, sum = 0, squares = 0;
    for (size_t i = 0; i < segments->count; i++) {
        const UfSegment *segment = &segments->items[i];
        seen[circle_of(segment->normal)] += segment->length_rad * belief(segment, dot(segment->normal, z));
    }
    for (size_t i = 0; i < CIRCLES; i++) {
        double weight = fmin(seen[i], uf_radians(CIRCLE_DEG));
        sum += weight;
        squares += weight * weight;
    }
    return squares > 0 ? sum * sum / squares : 0;
}

/* Weighted least squares: the least axis of sum w N N', w = belief / doubt^2. */
static Fit refine_once(const UfSegments *segments, UfDirection z)
{
    const double mean_belief = 8.0 / 15; /* of the biweight, over its width */
    Fit fit = {0};
    double sum[3][3] = {{0}}, weights = 0, missed = 0, values[3];
    for (size_t i = 0; i < segments->count; i++) {
        const UfSegment *segment = &segments->items[i];
        const double n[3] = {segment->normal.x, segment->normal.y, segment->normal.z};
        double miss = asin(fmin(1, fabs(dot(segment->normal, z))));
        if (miss < uf_radians(UF_LEVEL_MAX_DEG))
            fit.chance_rad +=
                segment->length_rad * mean_belief * WIDTH * segment->doubt_rad / uf_radians(UF_LEVEL_MAX_DEG);
        double believed = belief(segment, miss),
               weight = believed / (segment->doubt_rad * segment->doubt_rad);
        for (int r = 0; r < 3; r++)
            for (int c = 0; c < 3; c++)
                sum[r][c] += weight * n[r] * n[c];
        fit.upright_rad += segment->length_rad * believed;
        weights += weight;
        missed += weight * miss * miss;
        fit.count += believed > 0;
    }
    UfDirection axis = uf_least_axis(sum, values);
    double sign = axis.y < 0 ? -1 : 1;
    fit.zenith = (UfDirection){axis.x * sign, axis.y * sign, axis.z * sign};
    fit.spread = weights > 0 ? values[1] / weights : 0;
    fit.residual_rad = weights > 0 ? sqrt(missed / weights) : 0;
    return fit;
}

static Fit refine(const UfSegments *segments, UfDirection z)
{
    Fit fit = {.zenith = z};
    for (int round = 0; round < 15; round++)
        fit = refine_once(segments, fit.zenith);
    fit.circles = count_circles(segments, fit.zenith);
    UfDirection rival;
    fit.rival_rad = find_best(segments, &fit.zenith, uf_radians(RIVAL_DEG), &rival);
    return fit;
}

static double ramp(double value, double from, double to)
{
    return fmin(1, fmax(0, (value - from) / (to - from)));
}

/*
 * The product of five doubts, each 0..1: are there enough upright edges (60 degrees of them, all lengths
 * taken together)? Are they far more than chance would have brought together, had the edges within
 * UF_LEVEL_MAX_DEG led anywhere in between (5 times; twice is no sign)? Do they stand all around? And do they
 * lie on enough great circles: any two meet somewhere, only further ones say that it is the zenith.
 */
static double confidence_of(const Fit *fit)
{
    if (fit->count < 4)
        return 0;
    double amount = ramp(uf_degrees(fit->upright_rad), 10, 60);
    double excess = ramp(fit->upright_rad / fit->chance_rad, 2, 5);
    double around = ramp(fit->spread, 0.02, 0.12);
    double circles = ramp(fit->circles, 2.5, 4);
    double alone = ramp(fit->upright_rad / fmax(fit->rival_rad, 1e-9), 1.3, 2);
    return amount * excess * around * circles * alone;
}

static UfStatus conclude(const UfSegments *segments, UfLevel *out, UfReport *report)
{
    static const char advice[] =
        "give the lean by hand with pitch and roll, as it shows on the horizon or an "
        "upright edge";
    UfDirection z;
    if (segments->count < 2 || find_best(segments, NULL, 0, &z) <= 0)
        return uf_fail(report, UF_ERROR_UNCLEAR,
                       "shows no upright lines, so how far it leans cannot be told; %s", advice);
    Fit fit = refine(segments, z);
    double confidence = confidence_of(&fit);
    if (confidence < UF_LEVEL_CONFIDENCE)
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "does not show clearly how far it leans (confidence %.2f, %.2f is needed): too few of its "
            "lines stand upright, or not all around; %s",
            confidence, UF_LEVEL_CONFIDENCE, advice);
    *out = (UfLevel){.pitch_rad = asin(fmax(-1, fmin(1, fit.zenith.z))),
                     .roll_rad = atan2(-fit.zenith.x, fit.zenith.y),
                     .confidence = confidence,
                     .residual_rad = fit.residual_rad,
                     .edge_count = fit.count};
    return UF_OK;
}

UfStatus uf_find_level(const UfPicture *panorama, UfLevel *out, UfReport *report)
{
    UfSegments segments = {0};
    size_t width = uf_picture_width_px(panorama), height = uf_picture_height_px(panorama);
    if (width != 2 * height || width < 64)
        return uf_fail(
            report, UF_ERROR_ARGUMENT,
            "is %zu x %zu pixels; what is levelled must be a full panorama, twice as wide as high and at "
            "least 64 wide",
            width, height);
    UfStatus status = uf_find_segments(panorama, uf_radians(2 * UF_LEVEL_MAX_DEG), uf_radians(REACH_DEG),
                                       &segments, report);
    if (status != UF_OK)
        return status;
    if (segments.count > 0)
        qsort(segments.items, segments.count, sizeof *segments.items, longer_first);
    status = conclude(&segments, out, report);
    free(segments.items);
    return status;
}

UfRotation uf_level_turn(const UfLevel *level)
{
    UfRotation pose = uf_rotation_from_angles(0, level->pitch_rad, level->roll_rad);
    return uf_rotation_inverse(&pose);
}

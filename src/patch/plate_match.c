/*
 * Each feature of the floor is paired with the photo's features that look most like it: one where it is
 * clearly the best (Lowe's ratio), up to three where a floor repeats itself. A single pair with its scales
 * and directions already says roughly how the photo lies; the pairs that agree with it (Lowe 2004,
 * section 7.3) elect the homographies of four of them (M. Fischler, R. Bolles, Random Sample Consensus, CACM
 * 24(6), 1981), and the winner is fitted to all that agree.
 */
#include "patch/plate_match.h"

#include <math.h>

#include "base/memory.h"

#define PI            3.14159265358979323846
#define ALIKE         3    /* pairs a feature may have */
#define RATIO         0.85 /* of distances, for the next one to count as clearly worse */
#define WORST         0.9F /* squared distance of two descriptions; 2 is no likeness at all */
#define SEEDS         24
#define DRAWS         400
#define NEAR_PX       3.0 /* agreement, in the floor's pixels */
#define MOST_TURN     (35 * PI / 180)
#define MOST_STEP     1.7 /* of scale */
#define LEAST_INLIERS 6

typedef struct Pair {
    UfSpot floor, photo;
    double scale, turn; /* photo over floor */
    double c, s;        /* scale times cosine and sine of the turn */
    size_t feature;     /* of the floor */
    bool is_clear;
} Pair;

typedef struct Pairs {
    Pair *items;
    size_t count;
    UfSpot *from, *to; /* room for fitting */
    size_t *chosen;
} Pairs;

static float distance(const float *a, const float *b)
{
    float dot = 0;
    for (size_t i = 0; i < UF_FEATURE_NUMBERS; i++)
        dot += a[i] * b[i];
    return 2 - 2 * dot;
}

/* The ALIKE + 1 nearest, nearest first. */
static void nearest(const UfFeature *of, const UfFeature *among, size_t count, size_t index[ALIKE + 1],
                    float away[ALIKE + 1])
{
    for (size_t k = 0; k <= ALIKE; k++)
        away[k] = INFINITY;
    for (size_t i = 0; i < count; i++) {
        float d = distance(of->numbers, among[i].numbers);
        size_t k = ALIKE + 1;
        while (k > 0 && d < away[k - 1])
            k--;
        if (k > ALIKE)
            continue;
        for (size_t j = ALIKE; j > k; j--) {
            away[j] = away[j - 1];
            index[j] = index[j - 1];
        }
        away[k] = d;
        index[k] = i;
    }
}

/* The next that is not the same place again with another direction. */
static float rival_distance(const UfFeature *among, const size_t index[ALIKE + 1],
                            const float away[ALIKE + 1])
{
    const UfFeature *best = &among[index[0]];
    for (size_t k = 1; k <= ALIKE && isfinite(away[k]); k++) {
        const UfFeature *next = &among[index[k]];
        if (hypot(next->at.x - best->at.x, next->at.y - best->at.y) > 2 * best->scale)
            return away[k];
    }
    return 2;
}

static double turned(double angle)
{
    return angle - 2 * PI * floor(angle / (2 * PI) + 0.5);
}

static Pair pair_of(const UfFeature *floor, size_t feature, const UfFeature *photo, bool is_clear)
{
    double scale = photo->scale / floor->scale, turn = turned(photo->angle_rad - floor->angle_rad);
    return (Pair){.floor = floor->at,
                  .photo = photo->at,
                  .scale = scale,
                  .turn = turn,
                  .c = scale * cos(turn),
                  .s = scale * sin(turn),
                  .feature = feature,
                  .is_clear = is_clear};
}

static UfStatus pair_up(const UfFeature *floor, size_t floor_count, const UfFeature *photo,
                        size_t photo_count, int threads, Pairs *out, UfReport *report)
{
    Pair *all = uf_alloc_zero(floor_count * ALIKE, sizeof *all);
    unsigned char *kept = uf_alloc_zero(floor_count * ALIKE, 1);
    if (all == NULL || kept == NULL) {
        free(all);
        free(kept);
        return uf_fail_memory(report);
    }
#pragma omp parallel for num_threads(threads) schedule(dynamic, 8)
    for (size_t i = 0; i < floor_count; i++) {
        size_t index[ALIKE + 1] = {0};
        float away[ALIKE + 1];
        nearest(&floor[i], photo, photo_count, index, away);
        float rival = rival_distance(photo, index, away);
        bool is_clear = (double)away[0] < RATIO * RATIO * (double)rival;
        for (size_t k = 0; k < (is_clear ? 1 : ALIKE); k++)
            if (away[k] < WORST) {
                all[i * ALIKE + k] = pair_of(&floor[i], i, &photo[index[k]], is_clear);
                kept[i * ALIKE + k] = 1;
            }
    }
    size_t count = 0;
    for (size_t i = 0; i < floor_count * ALIKE; i++)
        if (kept[i])
            all[count++] = all[i];
    free(kept);
    out->items = all;
    out->count = count;
    out->from = uf_alloc(count + 1, sizeof *out->from);
    out->to = uf_alloc(count + 1, sizeof *out->to);
    out->chosen = uf_alloc(count + 1, sizeof *out->chosen);
    return out->from == NULL || out->to == NULL || out->chosen == NULL ? uf_fail_memory(report) : UF_OK;
}

static void pairs_clear(Pairs *pairs)
{
    free(pairs->items);
    free(pairs->from);
    free(pairs->to);
    free(pairs->chosen);
}

/* Does pair `p` agree roughly with where the seed's similarity would have it? Perspective is allowed for. */
static bool agrees_roughly(const Pair *seed, const Pair *p)
{
    if (fabs(turned(p->turn - seed->turn)) > MOST_TURN || p->scale > seed->scale * MOST_STEP ||
        p->scale * MOST_STEP < seed->scale)
        return false;
    double dx = p->floor.x - seed->floor.x, dy = p->floor.y - seed->floor.y;
    double x = seed->photo.x + seed->c * dx - seed->s * dy - p->photo.x;
    double y = seed->photo.y + seed->s * dx + seed->c * dy - p->photo.y;
    double most = seed->scale * (4 + 0.35 * sqrt(dx * dx + dy * dy));
    return x * x + y * y < most * most;
}

/* Features of the floor that agree roughly: each counts once, a clear one three times. */
static size_t rough_votes(const Pairs *pairs, const Pair *seed)
{
    size_t votes = 0, last = SIZE_MAX;
    for (size_t i = 0; i < pairs->count; i++)
        if (pairs->items[i].feature != last && agrees_roughly(seed, &pairs->items[i])) {
            last = pairs->items[i].feature;
            votes += pairs->items[i].is_clear ? 3 : 1;
        }
    return votes;
}

/* How far apart in the floor's pixels; INFINITY where the homography has no image. */
static double miss(const UfHomography *h, const Pair *p)
{
    UfSpot at;
    if (!uf_homography_apply(h, p->floor, &at))
        return INFINITY;
    double area = uf_homography_area(h, p->floor);
    return area > 0 ? hypot(at.x - p->photo.x, at.y - p->photo.y) / sqrt(area) : INFINITY;
}

/* Pairs within `near_px`, one a feature: how many, and the sum of squares. */
static size_t inliers_of(const Pairs *pairs, const size_t *among, size_t count, const UfHomography *h,
                         double near_px, size_t *which, double *squares)
{
    size_t found = 0, last = SIZE_MAX;
    *squares = 0;
    for (size_t k = 0; k < count; k++) {
        const Pair *p = &pairs->items[among[k]];
        double off = p->feature != last ? miss(h, p) : INFINITY;
        if (off >= near_px)
            continue;
        last = p->feature;
        *squares += off * off;
        if (which != NULL)
            which[found] = among[k];
        found++;
    }
    return found;
}

static uint32_t draw(uint32_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 17;
    *state ^= *state << 5;
    return *state;
}

/* A homography that keeps its side of the plane and does not squeeze the floor more than a floor can be. */
static bool is_plausible(const UfHomography *h, const UfSpot *points, size_t count)
{
    double least = INFINITY, most = 0;
    for (size_t i = 0; i < count; i++) {
        UfSpot at;
        double area = uf_homography_apply(h, points[i], &at) ? uf_homography_area(h, points[i]) : 0;
        least = fmin(least, area);
        most = fmax(most, area);
    }
    return least > 1.0 / 100 && most < 100 && most < 64 * least;
}

static bool fit_pairs(Pairs *pairs, const size_t *which, size_t count, UfHomography *out)
{
    for (size_t i = 0; i < count; i++) {
        pairs->from[i] = pairs->items[which[i]].floor;
        pairs->to[i] = pairs->items[which[i]].photo;
    }
    return uf_homography_fit(pairs->from, pairs->to, count, out) && is_plausible(out, pairs->from, count);
}

/* Fits to all that agree, as long as more do. */
static void polish(Pairs *pairs, const size_t *among, size_t count, UfPlateGuess *guess)
{
    size_t *which = uf_alloc(count, sizeof *which);
    for (int pass = 0; which != NULL && pass < 6; pass++) {
        double squares, new_squares;
        UfHomography better;
        double near_px = pass < 3 ? NEAR_PX * 1.5 : NEAR_PX;
        size_t found = inliers_of(pairs, among, count, &guess->to_photo, near_px, which, &squares);
        if (found < 4 || !fit_pairs(pairs, which, found, &better))
            break;
        size_t now = inliers_of(pairs, among, count, &better, NEAR_PX, NULL, &new_squares);
        if (now < guess->inliers)
            continue;
        guess->to_photo = better;
        guess->inliers = now;
        guess->rms_px = sqrt(new_squares / (double)(now > 0 ? now : 1));
    }
    free(which);
}

/* The best homography among the pairs that agree with a seed. */
static bool elect(Pairs *pairs, const Pair *seed, UfPlateGuess *out)
{
    size_t *among = pairs->chosen, count = 0;
    uint32_t state = 2463534242u;
    UfPlateGuess best = {.matches = 0};
    for (size_t i = 0; i < pairs->count; i++)
        if (agrees_roughly(seed, &pairs->items[i]))
            among[count++] = i;
    for (int k = 0; k < DRAWS && count >= LEAST_INLIERS; k++) {
        size_t four[4];
        double squares;
        UfHomography h;
        for (size_t i = 0; i < 4; i++)
            four[i] = among[draw(&state) % count];
        if (!fit_pairs(pairs, four, 4, &h))
            continue;
        size_t found = inliers_of(pairs, among, count, &h, NEAR_PX, NULL, &squares);
        if (found > best.inliers)
            best = (UfPlateGuess){.to_photo = h, .inliers = found};
    }
    if (best.inliers < LEAST_INLIERS)
        return false;
    best.matches = count;
    polish(pairs, among, count, &best);
    *out = best;
    return true;
}

/* The same guess: they lay the corners of the floor's square `side` within a few pixels of each other. */
static bool is_same(const UfHomography *a, const UfHomography *b, const UfSpot *points, size_t count)
{
    double most = 0;
    for (size_t i = 0; i < count; i++) {
        UfSpot p, q;
        if (!uf_homography_apply(a, points[i], &p) || !uf_homography_apply(b, points[i], &q))
            continue;
        most = fmax(most, hypot(p.x - q.x, p.y - q.y) / sqrt(fabs(uf_homography_area(a, points[i]))));
    }
    return most < 4 * NEAR_PX;
}

static void insert(UfPlateGuess guesses[UF_PLATE_MOST_GUESSES], size_t *count, const UfPlateGuess *guess,
                   const UfSpot *points, size_t point_count)
{
    for (size_t i = 0; i < *count; i++)
        if (is_same(&guesses[i].to_photo, &guess->to_photo, points, point_count)) {
            if (guess->inliers > guesses[i].inliers)
                guesses[i] = *guess;
            return;
        }
    size_t at = *count;
    while (at > 0 && guesses[at - 1].inliers < guess->inliers)
        at--;
    if (at >= UF_PLATE_MOST_GUESSES)
        return;
    for (size_t i = *count < UF_PLATE_MOST_GUESSES ? *count : UF_PLATE_MOST_GUESSES - 1; i > at; i--)
        guesses[i] = guesses[i - 1];
    guesses[at] = *guess;
    *count = *count < UF_PLATE_MOST_GUESSES ? *count + 1 : *count;
}

/* The pair with most votes that no earlier seed has spoken for. */
static size_t next_seed(const Pairs *pairs, const size_t *votes, const unsigned char *is_spent)
{
    size_t best = SIZE_MAX;
    for (size_t i = 0; i < pairs->count; i++)
        if (!is_spent[i] && votes[i] >= LEAST_INLIERS && (best == SIZE_MAX || votes[i] > votes[best]))
            best = i;
    return best;
}

static UfStatus guess_all(Pairs *pairs, int threads, UfPlateGuess guesses[UF_PLATE_MOST_GUESSES],
                          size_t *count, UfReport *report)
{
    size_t *votes = uf_alloc_zero(pairs->count + 1, sizeof *votes);
    unsigned char *is_spent = uf_alloc_zero(pairs->count + 1, 1);
    UfStatus status = votes == NULL || is_spent == NULL ? uf_fail_memory(report) : UF_OK;
    if (status != UF_OK)
        goto cleanup;
#pragma omp parallel for num_threads(threads) schedule(dynamic, 16)
    for (size_t i = 0; i < pairs->count; i++)
        votes[i] = rough_votes(pairs, &pairs->items[i]);
    for (int k = 0; k < SEEDS; k++) {
        UfPlateGuess guess;
        size_t seed = next_seed(pairs, votes, is_spent);
        if (seed == SIZE_MAX)
            break;
        is_spent[seed] = 1;
        if (!elect(pairs, &pairs->items[seed], &guess))
            continue;
        size_t points = 0;
        for (size_t i = 0; i < pairs->count; i++)
            if (miss(&guess.to_photo, &pairs->items[i]) < NEAR_PX) {
                is_spent[i] = 1;
                pairs->from[points++] = pairs->items[i].floor;
            }
        insert(guesses, count, &guess, pairs->from, points);
    }
cleanup:
    free(votes);
    free(is_spent);
    return status;
}

UfStatus uf_plate_match(const UfFeature *floor, size_t floor_count, const UfFeature *photo,
                        size_t photo_count, int threads, UfPlateGuess guesses[UF_PLATE_MOST_GUESSES],
                        size_t *count, UfReport *report)
{
    Pairs pairs = {0};
    *count = 0;
    if (floor_count < LEAST_INLIERS || photo_count < LEAST_INLIERS)
        return UF_OK;
    UfStatus status = pair_up(floor, floor_count, photo, photo_count, threads, &pairs, report);
    if (status == UF_OK)
        status = guess_all(&pairs, threads, guesses, count, report);
    pairs_clear(&pairs);
    return status;
}

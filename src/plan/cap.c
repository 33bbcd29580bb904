/*
 * The cap's half-angle is the largest distance from the pole of anything that counts. The cells say where it
 * lies to within the size of a cell. From there it is refined: on a fan of meridians the farthest direction
 * that counts is found by scanning and halving; the fan closes in on the best meridian until it is as narrow
 * as rounding allows.
 */
#include "plan/cap.h"

#include <math.h>

#define CANDIDATES     12
#define FAN            8  /* meridians on each side of the middle one */
#define SCAN           32 /* steps along a meridian */
#define FIRST_FAN_RAD  0.004
#define LAST_FAN_RAD   1e-10
#define SEPARATION_RAD 0.02 /* candidates nearer than this are one */
#define CANDIDATE_RAD  0.006
#define MOST_ROUNDS    200

typedef struct Search {
    const UfRig *rig;
    UfCapKind kind;
    bool at_zenith;
    double zone_rad;
} Search;

typedef struct Place {
    double lon_rad, distance_rad; /* from the pole */
} Place;

static bool look_counts(UfCapKind kind, unsigned look)
{
    if (kind == UF_CAP_KIND_OPEN)
        return (look & UF_LOOK_CONTAINED) == 0;
    if (kind == UF_CAP_KIND_BLOCKED)
        return (look & UF_LOOK_BLOCKED) != 0;
    return (look & UF_LOOK_SEEN) == 0;
}

static UfDirection direction_at(const Search *search, Place at)
{
    double across = sin(at.distance_rad);
    double up = cos(at.distance_rad);
    return (UfDirection){across * sin(at.lon_rad), search->at_zenith ? up : -up, across * cos(at.lon_rad)};
}

static bool counts(const Search *search, Place at)
{
    if (at.distance_rad < 0 || at.distance_rad > search->zone_rad)
        return false;
    return look_counts(search->kind, uf_rig_look(search->rig, direction_at(search, at)));
}

/*
 * The farthest place on a meridian that counts, between middle - span and middle + span; -1 when it cannot be
 * farther than `best`. Halved down to `precision`.
 */
static double farthest_on_meridian(const Search *search, double lon_rad, double middle, double span,
                                   double best, double precision)
{
    double step = 2 * span / SCAN;
    double beyond = fmin(middle + span, search->zone_rad);
    if (counts(search, (Place){lon_rad, beyond}))
        return beyond;
    for (double at = beyond - step; at + step > fmax(best, middle - span); at -= step) {
        double low = fmax(at, 0);
        if (!counts(search, (Place){lon_rad, low}))
            continue;
        double high = at + step;
        while (high - low > precision) {
            double half = (low + high) / 2;
            if (counts(search, (Place){lon_rad, half}))
                low = half;
            else
                high = half;
        }
        return low;
    }
    return -1;
}

static Place refine(const Search *search, Place start)
{
    Place best = start;
    double fan_rad = FIRST_FAN_RAD;
    for (int round = 0; fan_rad > LAST_FAN_RAD && round < MOST_ROUNDS; round++) {
        Place middle = best;
        int at_best = 0;
        double across = fmax(sin(middle.distance_rad), fan_rad);
        for (int i = 0; i <= 2 * FAN; i++) {
            int place = i % 2 == 0 ? i / 2 : -(i + 1) / 2; /* 0, -1, 1, -2, 2, ... */
            double lon = middle.lon_rad + place * fan_rad / across;
            double found = farthest_on_meridian(search, lon, middle.distance_rad, 4 * FAN * fan_rad,
                                                best.distance_rad, fan_rad * 1e-3);
            if (found > best.distance_rad) {
                best = (Place){lon, found};
                at_best = place;
            }
        }
        bool is_inside = at_best > -FAN && at_best < FAN;
        bool is_bounded = best.distance_rad < middle.distance_rad + 3 * FAN * fan_rad;
        if (is_inside && is_bounded)
            fan_rad /= 3;
    }
    return best;
}

/* Cosine of a cell's distance from the pole; -2 when it does not count or lies outside the zone. */
static double counting_cosine(const Search *search, const UfCells *cells, size_t index)
{
    if (!look_counts(search->kind, cells->cells[index].look))
        return -2;
    double up = uf_cell_direction(cells, &cells->cells[index], 0.5, 0.5).y;
    double cosine = search->at_zenith ? up : -up;
    return cosine >= cos(search->zone_rad) ? cosine : -2;
}

/* Cells that may hold the farthest place, none near another. */
static size_t candidates(const Search *search, const UfCells *cells, Place out[CANDIDATES])
{
    double farthest_cosine = 2;
    size_t count = 0;
    for (size_t i = 0; i < cells->count; i++) {
        double cosine = counting_cosine(search, cells, i);
        if (cosine >= -1)
            farthest_cosine = fmin(farthest_cosine, cosine);
    }
    if (farthest_cosine > 1)
        return 0;
    double least_rad = acos(fmax(-1, farthest_cosine)) - CANDIDATE_RAD;
    double least_cosine = least_rad > 0 ? cos(least_rad) : 2;
    for (size_t i = 0; i < cells->count; i++) {
        double cosine = counting_cosine(search, cells, i);
        if (cosine < -1 || cosine > least_cosine)
            continue;
        UfDirection middle = uf_cell_direction(cells, &cells->cells[i], 0.5, 0.5);
        Place place = {atan2(middle.x, middle.z), acos(fmax(-1, fmin(1, cosine)))};
        size_t near = 0;
        while (near < count && uf_angle_between_rad(middle, direction_at(search, out[near])) > SEPARATION_RAD)
            near++;
        if (near < count && place.distance_rad > out[near].distance_rad)
            out[near] = place;
        else if (near == count && count < CANDIDATES)
            out[count++] = place;
    }
    return count;
}

double uf_cap_find(const UfRig *rig, const UfCells *cells, UfCapKind kind, bool at_zenith, UfDirection *edge)
{
    Search search = {rig, kind, at_zenith, uf_radians(UF_PLAN_POLE_ZONE_DEG)};
    Place starts[CANDIDATES];
    size_t count = candidates(&search, cells, starts);
    Place best = {0, -1};
    for (size_t i = 0; i < count; i++) {
        Place found = refine(&search, starts[i]);
        if (found.distance_rad > best.distance_rad)
            best = found;
    }
    if (best.distance_rad < 0)
        return 0;
    if (edge != NULL)
        *edge = direction_at(&search, best);
    return best.distance_rad;
}

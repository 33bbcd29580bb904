/*
 * The cap's half-angle is the largest distance from the pole of anything that counts. Branch and bound on the
 * square of square.h, what lies farther out first: a block in which nothing can count, or nothing farther out
 * than the best place known, is left. From a smallest block where something counts the search climbs: on a
 * fan of meridians the farthest direction that counts is found by halving; the fan closes in on
 * the best meridian until it is as narrow as rounding allows.
 */
#include "plan/cap.h"

#include <math.h>

#include "plan/cells.h"
#include "plan/near.h"
#include "plan/square.h"

#define TOP_LEVEL      3
#define LEVELS_BELOW   3 /* the first level of the plan's cells */
#define CANDIDATES     12
#define SEPARATION_RAD 0.02 /* candidates nearer than this are one */
#define FAN            6    /* meridians on each side of the middle one */
#define FIRST_FAN_RAD  5e-4 /* wider than one of the smallest blocks */
#define LAST_FAN_RAD   1e-10
#define MOST_ROUNDS    200
#define SAME_RAD       1e-12
#define COSINE_SLACK   1e-15 /* so that rounding leaves out no block */

typedef struct Place {
    double lon_rad, distance_rad; /* from the pole */
} Place;

/* A place that counts, near others that may be farther out. */
typedef struct Candidate {
    Place place;
    UfDirection at;
    double bound_rad;
} Candidate;

typedef struct Search {
    const UfRig *rig;
    UfCapKind kind;
    bool at_zenith;
    double limit_rad;
    int last_level;
    UfCone cones[UF_CELLS_MAX_LEVEL + 1];
    UfNearRoom room;
    UfNear sphere;
    Place best; /* distance -1 when nothing counts so far */
    /* Cosines of distances from the pole: for a level's blocks whose middles lie farther out than the first,
     * or farther in than the second, nothing is left to find. */
    double out_cos[UF_CELLS_MAX_LEVEL + 1], in_cos[UF_CELLS_MAX_LEVEL + 1];
    Candidate candidates[CANDIDATES];
    size_t candidate_count;
} Search;

/* A block of the square with its middle, and the cosine of how far that is from the pole. */
typedef struct Block {
    uint32_t x, y;
    UfDirection middle;
    double up;
} Block;

static bool look_counts(UfCapKind kind, unsigned look)
{
    if (kind == UF_CAP_KIND_OPEN)
        return (look & UF_LOOK_CONTAINED) == 0;
    if (kind == UF_CAP_KIND_BLOCKED)
        return (look & UF_LOOK_BLOCKED) != 0;
    return (look & UF_LOOK_SEEN) == 0;
}

static unsigned counting_looks(UfCapKind kind)
{
    if (kind == UF_CAP_KIND_OPEN)
        return UF_NEAR_SHUT | UF_NEAR_OPEN;
    return UF_NEAR_HIDDEN | UF_NEAR_SHUT | (kind == UF_CAP_KIND_UNSEEN ? UF_NEAR_OPEN : 0);
}

static UfDirection direction_at(const Search *search, Place at)
{
    double across = sin(at.distance_rad);
    double up = cos(at.distance_rad);
    return (UfDirection){across * sin(at.lon_rad), search->at_zenith ? up : -up, across * cos(at.lon_rad)};
}

static double up_of(const Search *search, UfDirection at)
{
    return search->at_zenith ? at.y : -at.y;
}

static double distance_of(const Search *search, UfDirection at)
{
    return atan2(sqrt(at.x * at.x + at.z * at.z), up_of(search, at));
}

static Place place_of(const Search *search, UfDirection at)
{
    return (Place){atan2(at.x, at.z), distance_of(search, at)};
}

static void set_best(Search *search, Place best)
{
    search->best = best;
    for (int level = 0; level <= UF_CELLS_MAX_LEVEL; level++) {
        double from = best.distance_rad - search->cones[level].radius_rad;
        search->in_cos[level] = from > 0 ? cos(from) + COSINE_SLACK : 2;
        if (best.distance_rad >= search->limit_rad)
            search->in_cos[level] = -2;
    }
}

static void set_limit(Search *search)
{
    for (int level = 0; level <= UF_CELLS_MAX_LEVEL; level++) {
        double to = search->limit_rad + search->cones[level].radius_rad;
        search->out_cos[level] = to < UF_PI ? cos(to) - COSINE_SLACK : -2;
    }
}

/* Where the search climbs: a meridian, and what matters about it. */
typedef struct Meridian {
    const Search *search;
    const UfNear *near;
    double sine, cosine; /* of its longitude */
} Meridian;

static bool counts(const Meridian *meridian, double distance_rad)
{
    const Search *search = meridian->search;
    if (distance_rad < 0 || distance_rad > search->limit_rad)
        return false;
    double across = sin(distance_rad), up = cos(distance_rad);
    UfDirection at = {across * meridian->sine, search->at_zenith ? up : -up, across * meridian->cosine};
    return look_counts(search->kind, uf_near_look(meridian->near, at));
}

/* --- climbing --- */

/* Between a place that counts and one farther out that does not: where it ends, down to `precision`. */
static double halve(const Meridian *meridian, double low, double high, double precision)
{
    while (high - low > precision) {
        double half = (low + high) / 2;
        if (counts(meridian, half))
            low = half;
        else
            high = half;
    }
    return low;
}

/*
 * The farthest place on a meridian that counts, from `best` on out over `span`; -1 when there is none. Gaps
 * need not be looked beyond: the blocks there are searched, too.
 */
static double follow(const Meridian *meridian, double best, double span, double precision)
{
    double low = -1, step = precision / 2;
    while (step < span && counts(meridian, best + step)) {
        low = best + step;
        step *= 4;
    }
    if (low < 0)
        return -1;
    return halve(meridian, low, best + fmin(step, span), precision);
}

static void look_along_fan(const Search *search, double fan_rad, Place *best, int *at_best)
{
    const double span = 4 * FAN * fan_rad, precision = fan_rad * 1e-3;
    UfNearRoom room = search->room;
    const Place middle = *best;
    const double across = fmax(sin(middle.distance_rad), fan_rad);
    UfNear near;
    uf_near_narrow(&search->sphere, uf_cone(direction_at(search, middle), fmin(1.2 * span, UF_PI / 2)), &room,
                   &near);
    *at_best = 0;
    for (int i = 0; i <= 2 * FAN; i++) {
        int place = i % 2 == 0 ? i / 2 : -(i + 1) / 2; /* 0, -1, 1, -2, 2, ... */
        double lon = middle.lon_rad + place * fan_rad / across;
        double left = middle.distance_rad + span - best->distance_rad;
        Meridian meridian = {search, &near, sin(lon), cos(lon)};
        double found = follow(&meridian, best->distance_rad, left, precision);
        if (found > best->distance_rad) {
            *best = (Place){lon, found};
            *at_best = place;
        }
    }
}

static void climb(Search *search, Place start)
{
    Place best = start;
    double fan_rad = FIRST_FAN_RAD;
    for (int round = 0; fan_rad > LAST_FAN_RAD && round < MOST_ROUNDS; round++) {
        double from = best.distance_rad;
        int at_best = 0;
        look_along_fan(search, fan_rad, &best, &at_best);
        bool is_inside = at_best > -FAN && at_best < FAN;
        if (is_inside && best.distance_rad < from + 3 * FAN * fan_rad)
            fan_rad /= 3;
    }
    if (best.distance_rad > search->best.distance_rad)
        set_best(search, best);
}

/* --- branch and bound --- */

/* A place that counts, in a block that reaches out to `bound_rad`. */
static void add_candidate(Search *search, UfDirection at, double bound_rad)
{
    Candidate candidate = {place_of(search, at), at, bound_rad};
    if (candidate.place.distance_rad > search->best.distance_rad) {
        climb(search, candidate.place);
        return;
    }
    for (size_t i = 0; i < search->candidate_count; i++) {
        Candidate *other = &search->candidates[i];
        if (uf_angle_between_rad(at, other->at) > SEPARATION_RAD)
            continue;
        candidate.bound_rad = fmax(bound_rad, other->bound_rad);
        if (candidate.place.distance_rad < other->place.distance_rad)
            candidate.place = other->place;
        candidate.at = other->at;
        *other = candidate;
        return;
    }
    if (search->candidate_count < CANDIDATES)
        search->candidates[search->candidate_count++] = candidate;
}

static void visit_smallest(Search *search, const UfNear *near, Block block, double bound_rad)
{
    const double side = 1.0 / (double)(1u << search->last_level);
    const double west = block.x * side, east = west + side, south = block.y * side, north = south + side;
    const double limit_cos = cos(search->limit_rad);
    UfDirection at[5] = {block.middle}, farthest = block.middle;
    double least_up = 2;
    uf_square_four((const double[4]){west, east, west, east}, (const double[4]){south, south, north, north},
                   at + 1);
    for (int i = 0; i < 5; i++) {
        double up = up_of(search, at[i]);
        if (up < least_up && up >= limit_cos && look_counts(search->kind, uf_near_look(near, at[i]))) {
            farthest = at[i];
            least_up = up;
        }
    }
    if (least_up < 2)
        add_candidate(search, farthest, bound_rad);
}

/* No part that may be in the way reaches farther from the pole. */
static double hardware_reach(const Search *search, const UfNear *near)
{
    double reach = 0;
    const UfSolid *solids = search->rig->solids;
    for (size_t i = 0; i < near->fixed_count; i++)
        reach = fmax(reach, solids[near->fixed[i].standing->part].outline.farthest_rad[search->at_zenith]);
    for (size_t i = 0; i < near->frame_count; i++)
        for (size_t k = 0; k < near->frames[i].count; k++)
            reach =
                fmax(reach,
                     solids[near->frames[i].parts[k].standing->part].outline.farthest_rad[search->at_zenith]);
    return reach;
}

static bool is_beaten(const Search *search, const UfNear *near, unsigned looks)
{
    bool by_hardware = (looks & counting_looks(search->kind) & UF_NEAR_OPEN) == 0 && !near->is_blocked;
    for (size_t i = 0; i < near->frame_count; i++)
        by_hardware = by_hardware && !near->frames[i].is_blocked;
    return by_hardware && search->kind != UF_CAP_KIND_OPEN &&
           hardware_reach(search, near) <= search->best.distance_rad + SAME_RAD;
}

static void visit(Search *search, const UfNear *near, int level, Block block);

/* The four quarters, what lies farther out first. */
static void visit_quarters(Search *search, const UfNear *near, int level, Block block)
{
    Block quarters[4] = {{0}};
    const double side = 0.5 / (double)(1u << level);
    const double west = (2 * block.x + 0.5) * side, east = west + side;
    const double south = (2 * block.y + 0.5) * side, north = south + side;
    UfDirection middles[4];
    uf_square_four((const double[4]){west, east, west, east}, (const double[4]){south, south, north, north},
                   middles);
    for (uint32_t i = 0; i < 4; i++) {
        Block quarter = {.x = 2 * block.x + (i & 1), .y = 2 * block.y + (i >> 1), .middle = middles[i]};
        quarter.up = up_of(search, quarter.middle);
        uint32_t at = i;
        for (; at > 0 && quarters[at - 1].up > quarter.up; at--)
            quarters[at] = quarters[at - 1];
        quarters[at] = quarter;
    }
    for (int i = 0; i < 4; i++)
        visit(search, near, level + 1, quarters[i]);
}

static void visit(Search *search, const UfNear *near, int level, Block block)
{
    UfCone cone = search->cones[level];
    cone.axis = block.middle;
    if (block.up < search->out_cos[level] || block.up > search->in_cos[level])
        return;
    if (level < TOP_LEVEL) {
        visit_quarters(search, near, level, block);
        return;
    }
    const UfNearRoom room = search->room;
    UfNear here;
    unsigned looks = uf_near_narrow(near, cone, &search->room, &here);
    unsigned counting = counting_looks(search->kind);
    if ((looks & counting) != 0 && !is_beaten(search, &here, looks)) {
        const bool is_whole = (looks & ~counting) == 0, is_last = level == search->last_level;
        if (is_whole || is_last) {
            const double bound_rad =
                fmin(distance_of(search, block.middle) + cone.radius_rad, search->limit_rad);
            if (bound_rad > search->best.distance_rad && is_whole)
                set_best(search, (Place){atan2(block.middle.x, block.middle.z), bound_rad});
            else if (bound_rad > search->best.distance_rad)
                visit_smallest(search, &here, block, bound_rad);
        } else {
            visit_quarters(search, &here, level, block);
        }
    }
    search->room.parts_used = room.parts_used;
    search->room.frames_used = room.frames_used;
}

UfStatus uf_cap_find(const UfRig *rig, UfCapKind kind, bool at_zenith, double limit_rad, UfCap *out,
                     UfReport *report)
{
    UfStatus status = UF_OK;
    Search search = {.rig = rig,
                     .kind = kind,
                     .at_zenith = at_zenith,
                     .limit_rad = limit_rad,
                     .last_level = uf_cells_first_level(rig) + LEVELS_BELOW};
    uf_cells_block_cones(search.cones);
    set_limit(&search);
    set_best(&search, (Place){0, -1});
    if (!uf_near_room(rig, (size_t)search.last_level + 1, &search.room)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    search.sphere = uf_near_sphere(rig, kind != UF_CAP_KIND_OPEN, &search.room);
    if (kind != UF_CAP_KIND_BLOCKED || rig->part_count > 0)
        visit_quarters(&search, &search.sphere, 0, (Block){0});
    for (size_t i = 0; i < search.candidate_count; i++)
        if (search.candidates[i].bound_rad > search.best.distance_rad)
            climb(&search, search.candidates[i].place);
    if (search.best.distance_rad < 0)
        search.best = (Place){0, 0};
    *out = (UfCap){search.best.distance_rad, direction_at(&search, search.best)};
cleanup:
    uf_near_room_clear(&search.room);
    return status;
}

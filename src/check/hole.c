/*
 * All holes of a panorama: the cores of each kind are flooded once to find the largest, and those are
 * examined.
 */
#include "check/hole.h"

#include "check/cut_out.h"

/* The largest cores of one kind, by a pixel of each. */
#define MOST_CANDIDATES ((size_t)4 * UF_CHECK_MAX_HOLES)

typedef struct Candidate {
    size_t x_px, y_px;
    double share;
} Candidate;

typedef struct Candidates {
    Candidate items[MOST_CANDIDATES];
    size_t count;
} Candidates;

static void keep_largest(Candidates *candidates, Candidate one)
{
    bool is_full = candidates->count == MOST_CANDIDATES;
    if (is_full && candidates->items[MOST_CANDIDATES - 1].share >= one.share)
        return;
    size_t at = is_full ? MOST_CANDIDATES - 1 : candidates->count++;
    for (; at > 0 && candidates->items[at - 1].share < one.share; at--)
        candidates->items[at] = candidates->items[at - 1];
    candidates->items[at] = one;
}

/* Floods every core once, into `seen`. */
static UfStatus collect_candidates(const UfSearch *search, UfMask *seen, Candidates *out, UfReport *report)
{
    const UfMask *core = search->core;
    for (size_t y = core->first_row_px; y < core->last_row_px; y++)
        for (size_t x = 0; x < core->width_px; x++) {
            if (x % 64 == 0 && core->bits[y * core->row_words + x / 64] == 0) {
                x += 63;
                continue;
            }
            if (!uf_mask_get(core, x, y) || uf_mask_get(seen, x, y))
                continue;
            UfAreaSum sum = {0};
            UfStatus status = uf_mask_flood(core, x, y, seen, &sum, report);
            if (status != UF_OK)
                return status;
            if (uf_search_is_large(search, &sum))
                keep_largest(out, (Candidate){x, y, sum.sphere_share});
        }
    return UF_OK;
}

static void keep_hole(UfHole *holes, size_t room, size_t *count, UfHole hole)
{
    bool is_full = *count == room;
    if (room == 0 || (is_full && holes[room - 1].sphere_percent >= hole.sphere_percent))
        return;
    size_t at = is_full ? room - 1 : (*count)++;
    for (; at > 0 && holes[at - 1].sphere_percent < hole.sphere_percent; at--)
        holes[at] = holes[at - 1];
    holes[at] = hole;
}

static UfHole hole_of(const UfSearch *search, const UfAreaShape *shape)
{
    UfLonLat centre = uf_lonlat_from_direction(shape->centre);
    return (UfHole){
        .kind = search->kind,
        .lon_deg = uf_degrees(centre.lon_rad),
        .lat_deg = uf_degrees(centre.lat_rad),
        .radius_deg = uf_degrees(shape->radius_rad),
        .sphere_percent = 100 * shape->sum.sphere_share,
    };
}

/* All holes of one kind, between two rows of the picture. */
static UfStatus find_kind(UfSearch search, UfMask *core, UfMask *area, UfHole *holes, size_t room,
                          size_t *count, UfReport *report)
{
    Candidates candidates = {.count = 0};
    uf_mask_clear(core);
    uf_mask_clear(area);
    uf_search_mark(&search, 0, search.pixels.height_px, core);
    search.core = core;
    UfStatus status = collect_candidates(&search, area, &candidates, report);
    for (size_t i = 0, found = 0; status == UF_OK && i < candidates.count && found < room; i++) {
        UfAreaShape shape;
        bool is_hole = false;
        status = uf_search_examine(&search, candidates.items[i].x_px, candidates.items[i].y_px, area, &shape,
                                   &is_hole, report);
        if (status == UF_OK && is_hole) {
            keep_hole(holes, room, count, hole_of(&search, &shape));
            found++;
        }
    }
    return status;
}

/* The flat hole about one pole. */
static UfStatus find_flat(UfSearch search, bool at_zenith, UfMask *core, UfMask *area, UfHole *holes,
                          size_t room, size_t *count, UfReport *report)
{
    search.kind = UF_HOLE_FLAT;
    search.fill = uf_pole_fill(&search.pixels, at_zenith);
    if (search.fill == NULL)
        return UF_OK;
    size_t height = search.pixels.height_px;
    size_t rows = height / 2, first = at_zenith ? 0 : height - rows;
    uf_mask_clear(core);
    uf_search_mark(&search, first, first + rows, core);
    search.core = core;
    UfAreaShape shape;
    bool is_hole = false;
    UfStatus status = UF_OK;
    for (size_t x = 0; x < search.pixels.width_px; x++)
        if (uf_mask_get(core, x, at_zenith ? 0 : height - 1)) {
            status =
                uf_search_examine(&search, x, at_zenith ? 0 : height - 1, area, &shape, &is_hole, report);
            break;
        }
    if (status == UF_OK && is_hole)
        keep_hole(holes, room, count, hole_of(&search, &shape));
    return status;
}

UfStatus uf_find_holes(const UfPicture *panorama, UfHole *holes, size_t room, size_t *count, UfReport *report)
{
    UfSearch search = {.pixels = uf_pixels_of(panorama)};
    UfMask core = {0}, area = {0};
    *count = 0;
    UfStatus status = uf_mask_create(search.pixels.width_px, search.pixels.height_px, &core, report);
    if (status == UF_OK)
        status = uf_mask_create(search.pixels.width_px, search.pixels.height_px, &area, report);
    if (status == UF_OK && search.pixels.has_alpha) {
        search.kind = UF_HOLE_TRANSPARENT;
        status = find_kind(search, &core, &area, holes, room, count, report);
    }
    if (status == UF_OK) {
        search.kind = UF_HOLE_BLACK;
        search.fill = uf_black_pixel;
        status = find_kind(search, &core, &area, holes, room, count, report);
    }
    for (int at_zenith = 0; status == UF_OK && at_zenith <= 1; at_zenith++)
        status = find_flat(search, at_zenith != 0, &core, &area, holes, room, count, report);
    uf_mask_free(&core);
    uf_mask_free(&area);
    return status;
}

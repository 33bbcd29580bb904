/*
 * Areas as one bit a pixel. Flooding goes by runs of pixels: linear in time, and its stack holds one entry a
 * run that is still to be looked at. Areas and centres of gravity are exact integrals over the pixels'
 * patches of the sphere.
 */
#include "check/mask.h"

#include <math.h>

#include "base/memory.h"

UfStatus uf_mask_create(size_t width_px, size_t height_px, UfMask *out, UfReport *report)
{
    UfMask mask = {.width_px = width_px, .height_px = height_px, .row_words = (width_px + 63) / 64};
    size_t words;
    if (!uf_product(mask.row_words, height_px, &words))
        return uf_fail_memory(report);
    mask.bits = uf_alloc_zero(words, sizeof *mask.bits);
    if (mask.bits == NULL)
        return uf_fail_memory(report);
    mask.first_row_px = height_px;
    *out = mask;
    return UF_OK;
}

void uf_mask_free(UfMask *mask)
{
    free(mask->bits);
    *mask = (UfMask){0};
}

void uf_mask_clear(UfMask *mask)
{
    if (mask->first_row_px < mask->last_row_px)
        memset(mask->bits + mask->first_row_px * mask->row_words, 0,
               (mask->last_row_px - mask->first_row_px) * mask->row_words * sizeof *mask->bits);
    mask->first_row_px = mask->height_px;
    mask->last_row_px = 0;
}

static double latitude_of_edge(const UfMask *mask, size_t y_px)
{
    return (0.5 - (double)y_px / (double)mask->height_px) * UF_PI;
}

static double longitude_of_edge(const UfMask *mask, size_t x_px)
{
    return ((double)x_px / (double)mask->width_px - 0.5) * 2 * UF_PI;
}

/*
 * The run [x, x + length) of row y; it may pass the seam. Integrals of the direction over its patch:
 * z, x: the longitude's integral of cos, sin times that of cos^2 phi; y: its width times that of sin phi cos
 * phi.
 */
static void add_run(UfAreaSum *sum, const UfMask *mask, size_t x_px, size_t length_px, size_t y_px)
{
    double top = latitude_of_edge(mask, y_px), bottom = latitude_of_edge(mask, y_px + 1);
    double left = longitude_of_edge(mask, x_px), right = longitude_of_edge(mask, x_px + length_px);
    double level = (top - bottom) / 2 + (sin(2 * top) - sin(2 * bottom)) / 4;
    sum->pixels += length_px;
    sum->sphere_share += (right - left) * (sin(top) - sin(bottom)) / (4 * UF_PI);
    sum->x += (cos(left) - cos(right)) * level;
    sum->z += (sin(right) - sin(left)) * level;
    sum->y += (right - left) * (sin(top) * sin(top) - sin(bottom) * sin(bottom)) / 2;
}

/* Pixels that are still to be flooded from. */
typedef struct Seed {
    size_t x_px, y_px;
} Seed;

typedef struct Seeds {
    Seed *items;
    size_t count, room;
} Seeds;

static bool push(Seeds *seeds, size_t x_px, size_t y_px)
{
    if (seeds->count == seeds->room) {
        size_t room = seeds->room == 0 ? 256 : seeds->room * 2;
        Seed *items = uf_realloc(seeds->items, room, sizeof *items);
        if (items == NULL)
            return false;
        seeds->items = items;
        seeds->room = room;
    }
    seeds->items[seeds->count++] = (Seed){x_px, y_px};
    return true;
}

static bool is_open(const UfMask *of, const UfMask *area, size_t x_px, size_t y_px)
{
    return uf_mask_get(of, x_px, y_px) && !uf_mask_get(area, x_px, y_px);
}

/* Pushes one seed for each open run that begins in [x, x + length) of row y, longitude going round. */
static bool push_runs(Seeds *seeds, const UfMask *of, const UfMask *area, size_t x_px, size_t length_px,
                      size_t y_px)
{
    bool inside = false;
    for (size_t i = 0; i < length_px; i++) {
        size_t x = (x_px + i) % of->width_px;
        bool open = is_open(of, area, x, y_px);
        if (open && !inside && !push(seeds, x, y_px))
            return false;
        inside = open;
    }
    return true;
}

/* One flood: what is open, where it goes, and whether a pole's row has been opened as a whole. */
typedef struct Flood {
    const UfMask *of;
    UfMask *area;
    Seeds seeds;
    bool zenith_done, nadir_done;
} Flood;

/* All pixels of a pole's row meet in the pole: the first one that is reached opens the row. */
static bool open_pole_row(Flood *flood, size_t y_px)
{
    bool *done = y_px == 0 ? &flood->zenith_done : &flood->nadir_done;
    if (*done)
        return true;
    *done = true;
    return push_runs(&flood->seeds, flood->of, flood->area, 0, flood->of->width_px, y_px);
}

/* The neighbours of a run: the rows above and below with a pixel more at both ends. */
static bool push_neighbours(Flood *flood, size_t x_px, size_t length_px, size_t y_px)
{
    size_t width = flood->of->width_px, last = flood->of->height_px - 1;
    size_t from = (x_px + width - 1) % width, reach = length_px + 2 < width ? length_px + 2 : width;
    if ((y_px == 0 || y_px == last) && !open_pole_row(flood, y_px))
        return false;
    if (y_px > 0 && !push_runs(&flood->seeds, flood->of, flood->area, from, reach, y_px - 1))
        return false;
    return y_px == last || push_runs(&flood->seeds, flood->of, flood->area, from, reach, y_px + 1);
}

/* Takes the whole open run about the seed into the area; its start and length, 0 when it is taken already. */
static size_t take_run(const UfMask *of, UfMask *area, Seed seed, size_t *start_px)
{
    size_t width = of->width_px, x = seed.x_px, length = 1;
    if (!is_open(of, area, x, seed.y_px))
        return 0;
    uf_mask_set(area, x, seed.y_px);
    for (size_t next = (x + 1) % width; length < width && is_open(of, area, next, seed.y_px);
         next = (next + 1) % width, length++)
        uf_mask_set_bit(area, next, seed.y_px);
    for (size_t previous = (x + width - 1) % width; length < width && is_open(of, area, previous, seed.y_px);
         previous = (previous + width - 1) % width, length++) {
        uf_mask_set_bit(area, previous, seed.y_px);
        x = previous;
    }
    *start_px = x;
    return length;
}

UfStatus uf_mask_flood(const UfMask *of, size_t x_px, size_t y_px, UfMask *area, UfAreaSum *sum,
                       UfReport *report)
{
    Flood flood = {.of = of, .area = area};
    bool fits = push(&flood.seeds, x_px, y_px);
    while (fits && flood.seeds.count > 0) {
        Seed seed = flood.seeds.items[--flood.seeds.count];
        size_t start = 0, length = take_run(of, area, seed, &start);
        if (length == 0)
            continue;
        add_run(sum, of, start, length, seed.y_px);
        fits = push_neighbours(&flood, start, length, seed.y_px);
    }
    free(flood.seeds.items);
    return fits ? UF_OK : uf_fail_memory(report);
}

/* The eight pixels about (x, y); over a pole it is the opposite meridian. */
static size_t neighbours(const UfMask *mask, size_t x_px, size_t y_px, Seed out[8])
{
    size_t width = mask->width_px, count = 0;
    for (int row = -1; row <= 1; row++)
        for (size_t column = 0; column < 3; column++) {
            if (row == 0 && column == 1)
                continue;
            bool over = (y_px == 0 && row < 0) || (y_px + 1 == mask->height_px && row > 0);
            size_t x = (x_px + width + column - 1 + (over ? width / 2 : 0)) % width;
            out[count++] = (Seed){x, over ? y_px : row < 0 ? y_px - 1 : row > 0 ? y_px + 1 : y_px};
        }
    return count;
}

/* Adds to the area, and to `ring`, the neighbours of one pixel that pass. */
static bool grow_from(UfMask *area, Seed from, UfPixelTest *passes, const void *context, Seeds *ring)
{
    Seed about[8];
    size_t count = neighbours(area, from.x_px, from.y_px, about);
    for (size_t i = 0; i < count; i++) {
        Seed at = about[i];
        if (uf_mask_get(area, at.x_px, at.y_px) || !passes(context, at.x_px, at.y_px))
            continue;
        uf_mask_set(area, at.x_px, at.y_px);
        if (!push(ring, at.x_px, at.y_px))
            return false;
    }
    return true;
}

static bool is_inner(const UfMask *area, size_t x_px, size_t y_px)
{
    Seed about[8];
    size_t count = neighbours(area, x_px, y_px, about);
    for (size_t i = 0; i < count; i++)
        if (!uf_mask_get(area, about[i].x_px, about[i].y_px))
            return false;
    return true;
}

static bool collect_border(const UfMask *area, Seeds *ring)
{
    for (size_t y = area->first_row_px; y < area->last_row_px; y++)
        for (size_t x = 0; x < area->width_px; x++)
            if (uf_mask_get(area, x, y) && !is_inner(area, x, y) && !push(ring, x, y))
                return false;
    return true;
}

UfStatus uf_mask_grow(UfMask *area, unsigned steps, UfPixelTest *passes, const void *context,
                      UfReport *report)
{
    Seeds ring = {0};
    bool fits = collect_border(area, &ring);
    for (unsigned step = 0; fits && step < steps && ring.count > 0; step++) {
        Seeds next = {0};
        for (size_t i = 0; fits && i < ring.count; i++)
            fits = grow_from(area, ring.items[i], passes, context, &next);
        free(ring.items);
        ring = next;
    }
    free(ring.items);
    return fits ? UF_OK : uf_fail_memory(report);
}

static void measure_sum(const UfMask *area, UfAreaSum *sum)
{
    *sum = (UfAreaSum){0};
    for (size_t y = area->first_row_px; y < area->last_row_px; y++)
        for (size_t x = 0; x < area->width_px; x++) {
            size_t start = x;
            while (x < area->width_px && uf_mask_get(area, x, y))
                x++;
            if (x > start)
                add_run(sum, area, start, x - start, y);
        }
}

/* The centre of gravity. A whole ring about a pole has its x and z from rounding alone: it lies at the pole.
 */
static UfDirection centre_of(const UfAreaSum *sum)
{
    double length = hypot(hypot(sum->x, sum->y), sum->z);
    if (length < 1e-9)
        return (UfDirection){0, 0, 1};
    UfDirection centre = {sum->x / length, sum->y / length, sum->z / length};
    if (hypot(centre.x, centre.z) < 1e-9)
        return (UfDirection){0, copysign(1, centre.y), 0};
    return centre;
}

typedef struct Border {
    UfPixelStep *step;
    double hard_step;
    const void *context;
    double length, hard;
} Border;

static void add_border(Border *border, const UfMask *area, size_t x_px, size_t y_px, double length)
{
    if (uf_mask_get(area, x_px, y_px))
        return;
    double step = border->step(border->context, x_px, y_px);
    border->length += length;
    if (step > border->hard_step)
        border->hard += length;
}

static void measure_border(const UfMask *area, Border *border)
{
    size_t width = area->width_px;
    double step_rad = UF_PI / (double)area->height_px, column_rad = 2 * UF_PI / (double)width;
    for (size_t y = area->first_row_px; y < area->last_row_px; y++) {
        double above = cos(latitude_of_edge(area, y)) * column_rad;
        double below = cos(latitude_of_edge(area, y + 1)) * column_rad;
        for (size_t x = 0; x < width; x++) {
            if (!uf_mask_get(area, x, y))
                continue;
            add_border(border, area, (x + 1) % width, y, step_rad);
            add_border(border, area, (x + width - 1) % width, y, step_rad);
            if (y > 0)
                add_border(border, area, x, y - 1, above);
            if (y + 1 < area->height_px)
                add_border(border, area, x, y + 1, below);
        }
    }
}

static double angle_to_corner(const UfMask *area, UfDirection centre, double lon_rad, size_t y_px)
{
    UfLonLat corner = {lon_rad, latitude_of_edge(area, y_px)};
    return uf_angle_between_rad(centre, uf_direction_from_lonlat(corner));
}

/*
 * The farthest corner of a run. Along a parallel the distance grows with the difference in longitude: it is
 * largest at an end of the run, or opposite the centre when the run has that meridian.
 */
static double farthest_of_run(const UfMask *area, UfDirection centre, size_t x_px, size_t end_px, size_t y_px)
{
    double left = longitude_of_edge(area, x_px), right = longitude_of_edge(area, end_px);
    double opposite = uf_lonlat_from_direction(centre).lon_rad;
    opposite += opposite > 0 ? -UF_PI : UF_PI;
    double farthest = 0;
    for (size_t edge = y_px; edge <= y_px + 1; edge++) {
        farthest = fmax(farthest, angle_to_corner(area, centre, left, edge));
        farthest = fmax(farthest, angle_to_corner(area, centre, right, edge));
        if (opposite >= left && opposite <= right)
            farthest = fmax(farthest, angle_to_corner(area, centre, opposite, edge));
    }
    return farthest;
}

static double measure_radius(const UfMask *area, UfDirection centre)
{
    double farthest = 0;
    for (size_t y = area->first_row_px; y < area->last_row_px; y++)
        for (size_t x = 0; x < area->width_px; x++) {
            size_t start = x;
            while (x < area->width_px && uf_mask_get(area, x, y))
                x++;
            if (x > start)
                farthest = fmax(farthest, farthest_of_run(area, centre, start, x, y));
        }
    return farthest;
}

void uf_mask_measure(const UfMask *area, UfPixelStep *step, double hard_step, const void *context,
                     UfAreaShape *out)
{
    UfAreaShape shape = {0};
    Border border = {.step = step, .hard_step = hard_step, .context = context};
    measure_sum(area, &shape.sum);
    measure_border(area, &border);
    shape.outline_rad = border.length;
    shape.hard_share = border.length > 0 ? border.hard / border.length : 0;
    shape.centre = centre_of(&shape.sum);
    shape.radius_rad = measure_radius(area, shape.centre);
    *out = shape;
}

double uf_area_roundness(const UfAreaShape *shape)
{
    double area = shape->sum.sphere_share * 4 * UF_PI;
    if (shape->outline_rad <= 0)
        return 0;
    return area * (4 * UF_PI - area) / (shape->outline_rad * shape->outline_rad);
}

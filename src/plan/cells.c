/*
 * Equal-area sampling, refined at borders: a quadtree on the square of square.h. Blocks of cells that are
 * seen in the same way all over, for sure, are taken as they are. Of the others every cell of the first level
 * is looked at in its centre and its corners; a cell where they differ is split in four, down to the last
 * level. A cell of the last level counts as its centre says. Because a split never depends on how far down it
 * goes, one pass gives the areas for every last level: their difference is how stable they are.
 */
#include "plan/cells.h"

#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "plan/square.h"

#define COARSE_LEVEL 9
#define FINE_LEVEL   11
/* Blocks go from 2^TOP_LEVEL a side down to BLOCK_CELLS first-level cells a side. */
#define TOP_LEVEL    4
#define BLOCK_LEVELS 3
#define BLOCK_CELLS  (1u << BLOCK_LEVELS)

typedef struct Corners {
    unsigned look[4]; /* (0,0), (1,0), (0,1), (1,1) */
} Corners;

typedef struct Walk {
    const UfRig *rig;
    UfCellsOptions options;
    UfCell *cells;
    size_t count, room;
    uint64_t unseen[UF_CELLS_MAX_LEVEL + 1],
        open[UF_CELLS_MAX_LEVEL + 1]; /* areas in eighths of smallest cells */
    bool no_memory;
} Walk;

static uint64_t spread(uint32_t bits)
{
    uint64_t x = bits;
    x = (x | (x << 16)) & 0x0000FFFF0000FFFFu;
    x = (x | (x << 8)) & 0x00FF00FF00FF00FFu;
    x = (x | (x << 4)) & 0x0F0F0F0F0F0F0F0Fu;
    x = (x | (x << 2)) & 0x3333333333333333u;
    return (x | (x << 1)) & 0x5555555555555555u;
}

static uint64_t z_order(uint32_t x, uint32_t y)
{
    return spread(x) | spread(y) << 1;
}

/* With room for two cells of the first level at the zone's border. */
static double zone_cos(const Walk *walk)
{
    return cos(uf_radians(UF_PLAN_POLE_ZONE_DEG) + 16.0 / (double)(1u << walk->options.first_level));
}

static bool in_zone(const Walk *walk, UfDirection direction)
{
    return !walk->options.nadir_only || -direction.y >= zone_cos(walk);
}

/* At a point given in half smallest cells, so that centres are whole numbers. */
static UfDirection point(const Walk *walk, uint32_t twice_x, uint32_t twice_y)
{
    double scale = 1.0 / (double)(2u << walk->options.last_level);
    return uf_square_direction(twice_x * scale, twice_y * scale);
}

static unsigned look_at(const Walk *walk, uint32_t twice_x, uint32_t twice_y)
{
    UfDirection direction = point(walk, twice_x, twice_y);
    return in_zone(walk, direction) ? uf_rig_look(walk->rig, direction) : UF_LOOK_CONTAINED | UF_LOOK_SEEN;
}

static void keep(Walk *walk, uint32_t x, uint32_t y, uint32_t side, unsigned look, bool is_whole)
{
    if (walk->count == walk->room) {
        size_t room = walk->room == 0 ? 1024 : 2 * walk->room;
        UfCell *grown = uf_realloc(walk->cells, room, sizeof *grown);
        if (grown == NULL) {
            walk->no_memory = true;
            return;
        }
        walk->cells = grown;
        walk->room = room;
    }
    walk->cells[walk->count++] = (UfCell){z_order(x, y), x, y, side, look, is_whole};
}

/* Eighths of a cell that lack a look: the centre stands for four, each corner for one. */
static uint64_t eighths(Corners corners, unsigned centre, unsigned look)
{
    uint64_t count = (centre & look) == 0 ? 4 : 0;
    for (int i = 0; i < 4; i++)
        count += (corners.look[i] & look) == 0 ? 1 : 0;
    return count;
}

static void count_area(Walk *walk, int first, int last, uint32_t side, Corners corners, unsigned centre)
{
    uint64_t area = (uint64_t)side * side;
    for (int level = first; level <= last; level++) {
        walk->unseen[level] += area * eighths(corners, centre, UF_LOOK_SEEN);
        walk->open[level] += area * eighths(corners, centre, UF_LOOK_CONTAINED);
    }
}

static void visit(Walk *walk, int level, uint32_t x, uint32_t y, Corners corners, unsigned centre)
{
    uint32_t side = 1u << (walk->options.last_level - level);
    bool is_whole = true;
    for (int i = 0; i < 4; i++)
        is_whole = is_whole && corners.look[i] == centre;
    bool is_leaf = is_whole || level == walk->options.last_level;
    count_area(walk, level, is_whole ? walk->options.last_level : level, side, corners, centre);
    if (is_leaf) {
        if ((centre & UF_LOOK_SEEN) == 0)
            keep(walk, x, y, side, centre, is_whole);
        return;
    }
    /* looks on a grid of 3 x 3: the corners, the middles of the sides, the centre */
    unsigned grid[3][3] = {
        {corners.look[0], look_at(walk, 2 * x + side, 2 * y), corners.look[1]},
        {look_at(walk, 2 * x, 2 * y + side), centre, look_at(walk, 2 * (x + side), 2 * y + side)},
        {corners.look[2], look_at(walk, 2 * x + side, 2 * (y + side)), corners.look[3]}};
    uint32_t half = side / 2;
    for (uint32_t i = 0; i < 4; i++) {
        uint32_t column = i & 1;
        uint32_t row = i >> 1;
        uint32_t child_x = x + column * half;
        uint32_t child_y = y + row * half;
        Corners child = {
            {grid[row][column], grid[row][column + 1], grid[row + 1][column], grid[row + 1][column + 1]}};
        visit(walk, level + 1, child_x, child_y, child,
              look_at(walk, 2 * child_x + half, 2 * child_y + half));
    }
}

/* The first-level cells of a block, whose corners are shared. */
static void visit_block(Walk *walk, uint32_t x, uint32_t y)
{
    uint32_t side = 1u << (walk->options.last_level - walk->options.first_level);
    unsigned looks[BLOCK_CELLS + 1][BLOCK_CELLS + 1];
    for (uint32_t row = 0; row <= BLOCK_CELLS; row++)
        for (uint32_t i = 0; i <= BLOCK_CELLS; i++)
            looks[row][i] = look_at(walk, 2 * (x + i * side), 2 * (y + row * side));
    for (uint32_t row = 0; row < BLOCK_CELLS; row++)
        for (uint32_t i = 0; i < BLOCK_CELLS; i++) {
            Corners corners = {{looks[row][i], looks[row][i + 1], looks[row + 1][i], looks[row + 1][i + 1]}};
            uint32_t cell_x = x + i * side, cell_y = y + row * side;
            visit(walk, walk->options.first_level, cell_x, cell_y, corners,
                  look_at(walk, 2 * cell_x + side, 2 * cell_y + side));
        }
}

/* All first-level cells of a block look the same: what `visit` would have found, one by one. */
static void fill_block(Walk *walk, uint32_t x, uint32_t y, uint32_t block_side, unsigned look)
{
    uint32_t side = 1u << (walk->options.last_level - walk->options.first_level);
    const Corners corners = {{look, look, look, look}};
    count_area(walk, walk->options.first_level, walk->options.last_level, block_side, corners, look);
    for (uint32_t j = 0; j < block_side && (look & UF_LOOK_SEEN) == 0; j += side)
        for (uint32_t i = 0; i < block_side; i += side)
            keep(walk, x + i, y + j, side, look, true);
}

double uf_cells_block_radius(double u, double v, double side)
{
    UfDirection middle = uf_square_direction(u + side / 2, v + side / 2);
    double most = 0;
    for (int i = 0; i < 9; i++)
        most = fmax(most, uf_angle_between_rad(
                              middle, uf_square_direction(u + side * (i % 3) / 2, v + side * (i / 3) / 2)));
    return 1.1 * most;
}

static bool look_around(const Walk *walk, uint32_t x, uint32_t y, uint32_t side, unsigned *look)
{
    const double smallest = 1.0 / (double)(1u << walk->options.last_level);
    double u = x * smallest, v = y * smallest;
    UfDirection middle = uf_square_direction(u + side * smallest / 2, v + side * smallest / 2);
    double radius_rad = uf_cells_block_radius(u, v, side * smallest);
    if (walk->options.nadir_only) { /* within half a block of the zone the points are asked */
        double from_nadir = acos(fmax(-1, fmin(1, -middle.y)));
        if (cos(fmax(0, from_nadir - radius_rad)) < zone_cos(walk) - 1e-9) {
            *look = UF_LOOK_CONTAINED | UF_LOOK_SEEN;
            return true;
        }
        if (from_nadir + radius_rad >= UF_PI || cos(from_nadir + radius_rad) < zone_cos(walk) + 1e-9)
            return false;
    }
    return uf_rig_look_around(walk->rig, middle, radius_rad, look);
}

static void visit_blocks(Walk *walk, int level, uint32_t x, uint32_t y)
{
    uint32_t side = 1u << (walk->options.last_level - level);
    unsigned look;
    if (look_around(walk, x, y, side, &look)) {
        fill_block(walk, x, y, side, look);
    } else if (level == walk->options.first_level - BLOCK_LEVELS) {
        visit_block(walk, x, y);
    } else {
        for (uint32_t i = 0; i < 4; i++)
            visit_blocks(walk, level + 1, x + (i & 1) * side / 2, y + (i >> 1) * side / 2);
    }
}

static int by_code(const void *a, const void *b)
{
    uint64_t code_a = ((const UfCell *)a)->code;
    uint64_t code_b = ((const UfCell *)b)->code;
    return (code_a > code_b) - (code_a < code_b);
}

/* Adds a thread's findings; areas are whole numbers, so that the order does not matter. */
static void gather(Walk *all, const Walk *one)
{
    if (one->no_memory)
        all->no_memory = true;
    for (size_t i = 0; i < one->count && !all->no_memory; i++)
        keep(all, one->cells[i].x, one->cells[i].y, one->cells[i].side, one->cells[i].look,
             one->cells[i].is_whole);
    for (int level = 0; level <= UF_CELLS_MAX_LEVEL; level++) {
        all->unseen[level] += one->unseen[level];
        all->open[level] += one->open[level];
    }
}

static void walk_blocks(Walk *all)
{
    int level = all->options.first_level - BLOCK_LEVELS;
    level = level < TOP_LEVEL ? level : TOP_LEVEL;
    int blocks = 1 << level;
    uint32_t side = 1u << (all->options.last_level - level);
#pragma omp parallel num_threads(all->options.threads)
    {
        Walk one = {.rig = all->rig, .options = all->options};
#pragma omp for schedule(dynamic, 1)
        for (int i = 0; i < blocks * blocks; i++)
            visit_blocks(&one, level, (uint32_t)(i % blocks) * side, (uint32_t)(i / blocks) * side);
#pragma omp critical(uf_cells_gather)
        gather(all, &one);
        free(one.cells);
    }
}

UfStatus uf_cells_make(const UfRig *rig, UfCellsOptions options, UfCells *out, UfReport *report)
{
    *out = (UfCells){.level = options.last_level};
    Walk all = {.rig = rig, .options = options};
    if (options.threads <= 0)
        all.options.threads = omp_get_max_threads();
    walk_blocks(&all);
    if (all.no_memory) {
        free(all.cells);
        return uf_fail_memory(report);
    }
    if (all.count > 0)
        qsort(all.cells, all.count, sizeof *all.cells, by_code);
    double whole = 8 * pow(4, options.last_level);
    for (int level = options.first_level; level <= options.last_level; level++) {
        out->unseen_share[level] = (double)all.unseen[level] / whole;
        out->open_share[level] = (double)all.open[level] / whole;
    }
    out->cells = all.cells;
    out->count = all.count;
    return UF_OK;
}

void uf_cells_clear(UfCells *cells)
{
    free(cells->cells);
    *cells = (UfCells){0};
}

double uf_cells_side(const UfCells *cells)
{
    return (double)(1u << cells->level);
}

UfDirection uf_cell_direction(const UfCells *cells, const UfCell *cell, double u, double v)
{
    double side = uf_cells_side(cells);
    return uf_square_direction((cell->x + u * cell->side) / side, (cell->y + v * cell->side) / side);
}

size_t uf_cells_find(const UfCells *cells, int64_t x, int64_t y)
{
    uf_square_fold((int64_t)1 << cells->level, &x, &y);
    uint64_t code = z_order((uint32_t)x, (uint32_t)y);
    size_t low = 0;
    size_t high = cells->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (cells->cells[middle].code <= code)
            low = middle + 1;
        else
            high = middle;
    }
    if (low == 0)
        return cells->count;
    const UfCell *cell = &cells->cells[low - 1];
    return code - cell->code < (uint64_t)cell->side * cell->side ? low - 1 : cells->count;
}

/* The narrowest side of a part over its farthest distance: it looks no thinner from the pupil, but edge on.
 */
static double thinnest_rad(const UfPart *part)
{
    double reach = 0;
    double width = part->radius_mm;
    for (size_t i = 0; i < 3; i++) {
        double far = fmax(fabs(part->from_mm[i]), fabs(part->to_mm[i]));
        reach += far * far;
        double side = fabs(part->to_mm[i] - part->from_mm[i]);
        if (part->shape == UF_PART_BOX)
            width = i == 0 ? side : fmin(width, side);
    }
    if (part->shape != UF_PART_BOX)
        width *= 2;
    return width / sqrt(reach);
}

int uf_cells_first_level(const UfRig *rig)
{
    double thinnest = UF_PI;
    for (size_t i = 0; i < rig->part_count; i++)
        thinnest = fmin(thinnest, thinnest_rad(&rig->parts[i]));
    int level = COARSE_LEVEL;
    while (level < FINE_LEVEL && sqrt(4 * UF_PI) / (double)(1u << level) > thinnest / 2)
        level++;
    return level;
}

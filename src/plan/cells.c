/*
 * Equal-area sampling, refined at borders: a quadtree on the square of square.h. Blocks that are seen in the
 * same way all over, for sure, are taken as they are; the others are divided down to the first level. There a
 * cell is looked at in its centre and its corners; one where they differ is split in four, down to the last
 * level. A cell of the last level counts as its centre says. Because a split never depends on how far down it
 * goes, one pass gives the areas for every last level: their difference is how stable they are.
 */
#include "plan/cells.h"

#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "plan/near.h"
#include "plan/square.h"

#define COARSE_LEVEL 9
#define FINE_LEVEL   11
/* The sphere is shared out in blocks of this level; above it a cone about a block would hold too much. */
#define TOP_LEVEL 3
/* Fewer frames times parts than this are done before other threads have started. */
#define ALONE 1000

/* The code's first bits tell blocks of this level apart. */
#define START_LEVEL 7
#define STARTS      ((uint64_t)1 << (2 * START_LEVEL))

/* A point of the square. */
typedef struct Sample {
    UfDirection at;
    unsigned look;
} Sample;

typedef struct Walk {
    const UfRig *rig;
    UfCellsOptions options;
    UfNearRoom room;
    UfCell *cells;
    size_t count, capacity;
    uint64_t unseen[UF_CELLS_MAX_LEVEL + 1],
        open[UF_CELLS_MAX_LEVEL + 1]; /* areas in eighths of smallest cells */
    bool no_memory;
} Walk;

/* A square of cells, counted in smallest cells. */
typedef struct Block {
    uint32_t x, y, side;
} Block;

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

/* At a point given in half smallest cells, so that centres are whole numbers. */
static UfDirection point(const Walk *walk, uint32_t twice_x, uint32_t twice_y)
{
    double scale = 1.0 / (double)(2u << walk->options.last_level);
    return uf_square_direction(twice_x * scale, twice_y * scale);
}

static Sample look_at(const Walk *walk, const UfNear *near, uint32_t twice_x, uint32_t twice_y)
{
    UfDirection at = point(walk, twice_x, twice_y);
    return (Sample){at, uf_near_look(near, at)};
}

static void keep(Walk *walk, UfCell cell)
{
    if (walk->count == walk->capacity) {
        size_t capacity = walk->capacity == 0 ? 4096 : 2 * walk->capacity;
        UfCell *grown = uf_realloc(walk->cells, capacity, sizeof *grown);
        if (grown == NULL) {
            walk->no_memory = true;
            return;
        }
        walk->cells = grown;
        walk->capacity = capacity;
    }
    walk->cells[walk->count++] = cell;
}

static void keep_block(Walk *walk, Block block, Sample centre, bool is_whole)
{
    if ((centre.look & UF_LOOK_SEEN) == 0)
        keep(walk, (UfCell){.code = z_order(block.x, block.y),
                            .x = block.x,
                            .y = block.y,
                            .side = block.side,
                            .look = centre.look,
                            .is_whole = is_whole,
                            .middle = centre.at});
}

/* Eighths of a cell that lack a look: the centre stands for four, each corner for one. */
static uint64_t eighths(const Sample corners[4], Sample centre, unsigned look)
{
    uint64_t count = (centre.look & look) == 0 ? 4 : 0;
    for (int i = 0; i < 4; i++)
        count += (corners[i].look & look) == 0 ? 1 : 0;
    return count;
}

static void count_area(Walk *walk, int first, int last, uint64_t area, uint64_t unseen, uint64_t open)
{
    for (int level = first; level <= last && unseen > 0; level++) {
        walk->unseen[level] += area * unseen;
        walk->open[level] += area * open;
    }
}

static void count_cell(Walk *walk, int first, int last, uint32_t side, const Sample corners[4], Sample centre)
{
    count_area(walk, first, last, (uint64_t)side * side, eighths(corners, centre, UF_LOOK_SEEN),
               eighths(corners, centre, UF_LOOK_CONTAINED));
}

static void visit(Walk *walk, const UfNear *near, int level, Block block, const Sample corners[4],
                  Sample centre)
{
    uint32_t side = block.side, half = side / 2, x = block.x, y = block.y;
    bool is_whole = true;
    for (int i = 0; i < 4; i++)
        is_whole = is_whole && corners[i].look == centre.look;
    count_cell(walk, level, is_whole ? walk->options.last_level : level, side, corners, centre);
    if (is_whole || level == walk->options.last_level) {
        keep_block(walk, block, centre, is_whole);
        return;
    }
    /* a grid of 3 x 3: the corners, the middles of the sides, the centre */
    Sample grid[3][3] = {
        {corners[0], look_at(walk, near, 2 * x + side, 2 * y), corners[1]},
        {look_at(walk, near, 2 * x, 2 * y + side), centre, look_at(walk, near, 2 * (x + side), 2 * y + side)},
        {corners[2], look_at(walk, near, 2 * x + side, 2 * (y + side)), corners[3]}};
    for (uint32_t i = 0; i < 4; i++) {
        uint32_t column = i & 1, row = i >> 1;
        Block child = {x + column * half, y + row * half, half};
        const Sample child_corners[4] = {grid[row][column], grid[row][column + 1], grid[row + 1][column],
                                         grid[row + 1][column + 1]};
        visit(walk, near, level + 1, child, child_corners,
              look_at(walk, near, 2 * child.x + half, 2 * child.y + half));
    }
}

/* A first-level cell that is not seen in the same way all over, for all that is known. */
static void visit_first(Walk *walk, const UfNear *near, Block block, UfDirection middle)
{
    Sample corners[4];
    for (uint32_t i = 0; i < 4; i++)
        corners[i] =
            look_at(walk, near, 2 * (block.x + (i & 1) * block.side), 2 * (block.y + (i >> 1) * block.side));
    visit(walk, near, walk->options.first_level, block, corners,
          (Sample){middle, uf_near_look(near, middle)});
}

/* All first-level cells of a block look the same: what `visit` would have found, one by one. */
static void fill_block(Walk *walk, Block block, UfDirection middle, unsigned look)
{
    const Sample centre = {middle, look}, corners[4] = {centre, centre, centre, centre};
    count_cell(walk, walk->options.first_level, walk->options.last_level, block.side, corners, centre);
    keep_block(walk, block, centre, true);
}

/* The farthest corner from a block's middle is this many sides away, and less, in radians. */
double uf_cells_block_radius(double side)
{
    return 4.3 * side;
}

static void visit_blocks(Walk *walk, const UfNear *near, int level, Block block)
{
    UfDirection middle = point(walk, 2 * block.x + block.side, 2 * block.y + block.side);
    UfCone cone = uf_cone(middle, uf_cells_block_radius(1.0 / (double)(1u << level)));
    size_t parts_used = walk->room.parts_used, frames_used = walk->room.frames_used;
    unsigned look;
    UfNear here;
    if (uf_near_only_look(uf_near_narrow(near, cone, &walk->room, &here), &look)) {
        fill_block(walk, block, middle, look);
    } else if (level == walk->options.first_level) {
        visit_first(walk, &here, block, middle);
    } else {
        uint32_t half = block.side / 2;
        for (uint32_t i = 0; i < 4; i++)
            visit_blocks(walk, &here, level + 1,
                         (Block){block.x + (i & 1) * half, block.y + (i >> 1) * half, half});
    }
    walk->room.parts_used = parts_used;
    walk->room.frames_used = frames_used;
}

static int start_shift(const UfCells *cells)
{
    return 2 * (cells->level - START_LEVEL);
}

static int by_code(const void *a, const void *b)
{
    uint64_t code_a = ((const UfCell *)a)->code;
    uint64_t code_b = ((const UfCell *)b)->code;
    return (code_a > code_b) - (code_a < code_b);
}

/* Adds a thread's findings; areas are whole numbers, so that the order does not matter. */
static void gather(Walk *all, Walk *one)
{
    all->no_memory = all->no_memory || one->no_memory;
    if (all->cells == NULL) {
        all->cells = one->cells;
        all->count = one->count;
        all->capacity = one->capacity;
        one->cells = NULL;
        one->count = 0;
    }
    for (size_t i = 0; i < one->count && !all->no_memory; i++)
        keep(all, one->cells[i]);
    for (int level = 0; level <= UF_CELLS_MAX_LEVEL; level++) {
        all->unseen[level] += one->unseen[level];
        all->open[level] += one->open[level];
    }
}

/* The i-th block along the Z-order curve. */
static Block top_block(const Walk *walk, uint32_t i)
{
    Block block = {0, 0, 1u << (walk->options.last_level - TOP_LEVEL)};
    for (uint32_t bit = 0; bit < TOP_LEVEL; bit++) {
        block.x |= (i >> (2 * bit) & 1) * (block.side << bit);
        block.y |= (i >> (2 * bit + 1) & 1) * (block.side << bit);
    }
    return block;
}

static void walk_top_block(Walk *walk, const UfNear *sphere, uint32_t i)
{
    if (!walk->no_memory)
        visit_blocks(walk, sphere, TOP_LEVEL, top_block(walk, i));
}

static void walk_blocks(Walk *all)
{
    bool is_alone = uf_rig_standings(all->rig) * all->rig->frame_count < ALONE;
#pragma omp parallel num_threads(is_alone ? 1 : all->options.threads)
    {
        Walk one = {.rig = all->rig, .options = all->options};
        UfNear sphere = {0};
        one.no_memory = !uf_near_room(one.rig, (size_t)one.options.first_level, &one.room);
        if (!one.no_memory)
            sphere = uf_near_sphere(one.rig, true, &one.room);
#pragma omp for schedule(dynamic, 1)
        for (uint32_t i = 0; i < 1u << (2 * TOP_LEVEL); i++)
            walk_top_block(&one, &sphere, i);
#pragma omp critical(uf_cells_gather)
        gather(all, &one);
        uf_near_room_clear(&one.room);
        free(one.cells);
    }
}

static bool is_sorted(const Walk *all)
{
    for (size_t i = 1; i < all->count; i++)
        if (all->cells[i - 1].code > all->cells[i].code)
            return false;
    return true;
}

static UfStatus make_starts(UfCells *cells, UfReport *report)
{
    cells->starts = uf_alloc(STARTS + 1, sizeof *cells->starts);
    if (cells->starts == NULL)
        return uf_fail_memory(report);
    uint64_t start = 0;
    for (size_t i = 0; i < cells->count; i++)
        for (uint64_t own = cells->cells[i].code >> start_shift(cells); start <= own; start++)
            cells->starts[start] = (uint32_t)i;
    for (; start <= STARTS; start++)
        cells->starts[start] = (uint32_t)cells->count;
    return UF_OK;
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
    if (!is_sorted(&all)) /* one thread goes along the curve */
        qsort(all.cells, all.count, sizeof *all.cells, by_code);
    double whole = 8 * pow(4, options.last_level);
    for (int level = options.first_level; level <= options.last_level; level++) {
        out->unseen_share[level] = (double)all.unseen[level] / whole;
        out->open_share[level] = (double)all.open[level] / whole;
    }
    out->first_level = options.first_level;
    out->cells = all.cells;
    out->count = all.count;
    return make_starts(out, report);
}

void uf_cells_clear(UfCells *cells)
{
    free(cells->cells);
    free(cells->starts);
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
    uint64_t start = code >> start_shift(cells);
    size_t low = cells->starts[start];
    size_t high = cells->starts[start + 1];
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

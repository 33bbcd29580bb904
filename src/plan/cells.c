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
#define ALONE 2000

/* Room for so many unseen cells is asked for first; what is not used of it costs nothing. */
#define FIRST_CELLS 16384

/* Looks at the corners of a cell, a byte each. */
typedef uint32_t Corners;

/* A direction and its look. */
typedef struct Sample {
    UfDirection at;
    unsigned look;
} Sample;

/* Areas in eighths of smallest cells. */
typedef struct Areas {
    uint64_t unseen, open;
} Areas;

typedef struct Walk {
    const UfRig *rig;
    UfCellsOptions options;
    UfNearRoom room;
    UfCone cones[UF_CELLS_MAX_LEVEL + 1];
    UfCell *cells;
    size_t count, capacity;
    /* of cells that are divided below a level, or are its last; of whole cells, which stay what they are */
    Areas mixed[UF_CELLS_MAX_LEVEL + 1], whole[UF_CELLS_MAX_LEVEL + 1];
    bool no_memory;
} Walk;

/* A square of cells, counted in smallest cells, and where it begins along the Z-order curve. */
typedef struct Block {
    uint32_t x, y, side;
    uint64_t code;
} Block;

/* Quarters in the order of the curve. */
static Block quarter_of(Block block, uint32_t which)
{
    const uint32_t half = block.side / 2;
    return (Block){block.x + (which & 1) * half, block.y + (which >> 1) * half, half,
                   block.code + which * (uint64_t)half * half};
}

static UfCell *new_cell(Walk *walk)
{
    if (walk->count == walk->capacity) {
        size_t capacity = walk->capacity == 0 ? FIRST_CELLS : 2 * walk->capacity;
        UfCell *grown = uf_realloc(walk->cells, capacity, sizeof *grown);
        if (grown == NULL) {
            walk->no_memory = true;
            return NULL;
        }
        walk->cells = grown;
        walk->capacity = capacity;
    }
    return &walk->cells[walk->count++];
}

static void keep_block(Walk *walk, const Block *block, const Sample *centre, bool is_whole)
{
    UfCell *cell = (centre->look & UF_LOOK_SEEN) == 0 ? new_cell(walk) : NULL;
    if (cell != NULL)
        *cell = (UfCell){.middle = centre->at,
                         .code = block->code,
                         .x = (uint16_t)block->x,
                         .y = (uint16_t)block->y,
                         .side = (uint16_t)block->side,
                         .look = (uint8_t)centre->look,
                         .is_whole = is_whole};
}

static Corners corners_of(unsigned a, unsigned b, unsigned c, unsigned d)
{
    return a | b << 8 | c << 16 | d << 24;
}

/* Eighths of a cell that lack a look, which is one bit: the centre stands for four, each corner for one. */
static uint64_t eighths(Corners corners, unsigned centre, unsigned look)
{
    Corners lacking = ~corners & 0x01010101 * look;
    return (lacking / look * 0x01010101 >> 24) + ((centre & look) == 0 ? 4 : 0);
}

static void count_cell(Areas *areas, uint32_t side, Corners corners, unsigned centre)
{
    const uint64_t area = (uint64_t)side * side;
    areas->unseen += area * eighths(corners, centre, UF_LOOK_SEEN);
    areas->open += area * eighths(corners, centre, UF_LOOK_CONTAINED);
}

/* Columns or rows of four points in a block, in quarters of its side. */
typedef double Places[4];
static const Places middle_columns = {2, 0, 4, 2}, middle_rows = {0, 2, 2, 4}; /* of its sides, by rows */
static const Places centre_columns = {1, 3, 1, 3}, centre_rows = {1, 1, 3, 3}; /* of its quarters */
static const Places corner_columns = {0, 4, 0, 4}, corner_rows = {0, 0, 4, 4};

static void place_four(const Walk *walk, const Block *block, const Places columns, const Places rows,
                       UfDirection out[4])
{
    const double scale = 1.0 / (double)(1u << walk->options.last_level);
    const double x = block->x * scale, y = block->y * scale, step = block->side * scale / 4;
    double u[4], v[4];
    for (int i = 0; i < 4; i++) {
        u[i] = x + columns[i] * step;
        v[i] = y + rows[i] * step;
    }
    uf_square_four(u, v, out);
}

/* Their looks, a byte each. */
static uint32_t look_at_four(const UfNear *near, const UfDirection at[4])
{
    return uf_near_look(near, at[0]) | uf_near_look(near, at[1]) << 8 | uf_near_look(near, at[2]) << 16 |
           uf_near_look(near, at[3]) << 24;
}

static unsigned byte_of(uint32_t four, unsigned which)
{
    return four >> 8 * which & 255;
}

static void visit(Walk *walk, const UfNear *near, int level, Block block, Corners corners, Sample centre)
{
    const unsigned look = centre.look;
    const bool is_whole = corners == 0x01010101 * look;
    count_cell(is_whole ? &walk->whole[level] : &walk->mixed[level], block.side, corners, look);
    if (is_whole || level == walk->options.last_level) {
        keep_block(walk, &block, &centre, is_whole);
        return;
    }
    UfDirection middles[4], centres[4];
    place_four(walk, &block, middle_columns, middle_rows, middles);
    place_four(walk, &block, centre_columns, centre_rows, centres);
    const uint32_t sides = look_at_four(near, middles), inner = look_at_four(near, centres);
    const unsigned south = byte_of(sides, 0), west = byte_of(sides, 1), east = byte_of(sides, 2),
                   north = byte_of(sides, 3);
    const Corners quarters[4] = {corners_of(byte_of(corners, 0), south, west, look),
                                 corners_of(south, byte_of(corners, 1), look, east),
                                 corners_of(west, look, byte_of(corners, 2), north),
                                 corners_of(look, east, north, byte_of(corners, 3))};
    for (uint32_t i = 0; i < 4; i++)
        visit(walk, near, level + 1, quarter_of(block, i), quarters[i],
              (Sample){centres[i], byte_of(inner, i)});
}

/* A first-level cell that is not seen in the same way all over, for all that is known. */
static void visit_first(Walk *walk, const UfNear *near, Block block, UfDirection middle)
{
    UfDirection corners[4];
    place_four(walk, &block, corner_columns, corner_rows, corners);
    visit(walk, near, walk->options.first_level, block, look_at_four(near, corners),
          (Sample){middle, uf_near_look(near, middle)});
}

/* All first-level cells of a block look the same: what `visit` would have found, one by one. */
static void fill_block(Walk *walk, Block block, UfDirection middle, unsigned look)
{
    const Sample centre = {middle, look};
    count_cell(&walk->whole[walk->options.first_level], block.side, 0x01010101 * look, look);
    keep_block(walk, &block, &centre, true);
}

/* The farthest corner from a block's middle is this many sides away, and less, in radians. */
double uf_cells_block_radius(double side)
{
    return 4.3 * side;
}

void uf_cells_block_cones(UfCone cones[UF_CELLS_MAX_LEVEL + 1])
{
    for (unsigned level = 0; level <= UF_CELLS_MAX_LEVEL; level++)
        cones[level] = uf_cone((UfDirection){0, 0, 0}, uf_cells_block_radius(1.0 / (1u << level)));
}

static void visit_blocks(Walk *walk, const UfNear *near, int level, Block block, UfDirection middle)
{
    UfCone cone = walk->cones[level];
    cone.axis = middle;
    size_t parts_used = walk->room.parts_used, frames_used = walk->room.frames_used;
    unsigned look;
    UfNear here;
    if (uf_near_only_look(uf_near_narrow(near, cone, &walk->room, &here), &look)) {
        fill_block(walk, block, middle, look);
    } else if (level == walk->options.first_level) {
        visit_first(walk, &here, block, middle);
    } else {
        UfDirection middles[4];
        place_four(walk, &block, centre_columns, centre_rows, middles);
        for (uint32_t i = 0; i < 4; i++)
            visit_blocks(walk, &here, level + 1, quarter_of(block, i), middles[i]);
    }
    walk->room.parts_used = parts_used;
    walk->room.frames_used = frames_used;
}

static int by_code(const void *a, const void *b)
{
    uint64_t code_a = ((const UfCell *)a)->code;
    uint64_t code_b = ((const UfCell *)b)->code;
    return (code_a > code_b) - (code_a < code_b);
}

static void add_areas(Areas areas, Areas *sum)
{
    sum->unseen += areas.unseen;
    sum->open += areas.open;
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
    for (size_t i = 0; i < one->count && !all->no_memory; i++) {
        UfCell *cell = new_cell(all);
        if (cell != NULL)
            *cell = one->cells[i];
    }
    for (int level = 0; level <= UF_CELLS_MAX_LEVEL; level++) {
        add_areas(one->mixed[level], &all->mixed[level]);
        add_areas(one->whole[level], &all->whole[level]);
    }
}

/* The i-th block along the Z-order curve. */
static Block top_block(const Walk *walk, uint32_t i)
{
    Block block = {0, 0, 1u << walk->options.last_level, 0};
    for (uint32_t level = TOP_LEVEL; level-- > 0;)
        block = quarter_of(block, i >> (2 * level) & 3);
    return block;
}

static void walk_top_block(Walk *walk, const UfNear *sphere, uint32_t i)
{
    const Block block = top_block(walk, i);
    const double scale = 1.0 / (double)(1u << walk->options.last_level);
    if (!walk->no_memory)
        visit_blocks(
            walk, sphere, TOP_LEVEL, block,
            uf_square_direction((block.x + block.side / 2) * scale, (block.y + block.side / 2) * scale));
}

static void walk_blocks(Walk *all)
{
    bool is_alone = uf_rig_standings(all->rig) * all->rig->frame_count < ALONE;
#pragma omp parallel num_threads(is_alone ? 1 : all->options.threads)
    {
        Walk one = {.rig = all->rig, .options = all->options};
        UfNear sphere = {0};
        uf_cells_block_cones(one.cones);
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
    Areas kept = {0, 0}; /* whole cells of this level and those above */
    for (int level = options.first_level; level <= options.last_level; level++) {
        add_areas(all.whole[level], &kept);
        out->unseen_share[level] = (double)(kept.unseen + all.mixed[level].unseen) / whole;
        out->open_share[level] = (double)(kept.open + all.mixed[level].open) / whole;
    }
    out->first_level = options.first_level;
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

void uf_cell_corners(const UfCells *cells, const UfCell *cell, UfDirection out[4])
{
    const double scale = 1 / uf_cells_side(cells);
    const double west = cell->x * scale, east = (cell->x + cell->side) * scale;
    const double south = cell->y * scale, north = (cell->y + cell->side) * scale;
    uf_square_four((const double[4]){west, east, west, east}, (const double[4]){south, south, north, north},
                   out);
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

/*
 * Connected components: union-find over cells that share a side or a corner. Neighbours are found by going
 * down the cells' quadtree on both sides of every line that divides a block (H. Samet, Connected component
 * labeling using quadtrees, Journal of the ACM 28(3), 487-501 (1981), from memory), so that no cell is
 * searched for. The square's own sides are folded about their middles: each touches itself, turned round.
 */
#include "plan/touching.h"

#include "base/memory.h"

#define NONE UINT32_MAX

/* Quarters: bit 0 is the column, bit 1 the row. Each is NONE, a cell's index, or cells->count + a block's. */
typedef struct Block {
    uint32_t quarters[4];
} Block;

typedef struct Tree {
    const UfCells *cells;
    uint32_t cell_count;
    Block *blocks; /* owned; the first is the whole square */
    uint32_t *parents;
} Tree;

/* A side of a block, by the two quarters along it. The middle of the side is a corner of both: seen from a
 * quarter, the one in the other's direction. */
typedef struct Side {
    unsigned first, second;
} Side;

static const Side west = {0, 2}, east = {1, 3}, south = {0, 1}, north = {2, 3};

/* --- the tree --- */

/* How many times the square was quartered for this cell. */
static int depth_of(const UfCells *cells, const UfCell *cell)
{
    return cells->level - __builtin_ctz(cell->side);
}

/* How many blocks, counted from the whole square down, hold both cells. */
static int shared_blocks(const UfCells *cells, const UfCell *a, const UfCell *b)
{
    return cells->level - (63 - __builtin_clzll(a->code ^ b->code)) / 2;
}

/* The blocks that hold this cell and not the one before it. */
static int first_own_block(const UfCells *cells, size_t index)
{
    return index == 0 ? 0 : shared_blocks(cells, &cells->cells[index - 1], &cells->cells[index]);
}

static uint32_t *quarter_at(Tree *tree, uint32_t block, uint64_t code, int depth)
{
    return &tree->blocks[block].quarters[code >> 2 * (tree->cells->level - depth - 1) & 3];
}

static void plant(Tree *tree)
{
    uint32_t path[UF_CELLS_MAX_LEVEL + 1] = {0};
    uint32_t used = 0;
    for (uint32_t i = 0; i < tree->cell_count; i++) {
        const UfCell *cell = &tree->cells->cells[i];
        const int depth = depth_of(tree->cells, cell);
        for (int k = first_own_block(tree->cells, i); k < depth; k++) {
            path[k] = used++;
            tree->blocks[path[k]] = (Block){{NONE, NONE, NONE, NONE}};
            if (k > 0)
                *quarter_at(tree, path[k - 1], cell->code, k - 1) = tree->cell_count + path[k];
        }
        *quarter_at(tree, path[depth - 1], cell->code, depth - 1) = i;
    }
}

static size_t count_blocks(const UfCells *cells)
{
    size_t count = 0;
    for (size_t i = 0; i < cells->count; i++) {
        int own = depth_of(cells, &cells->cells[i]) - first_own_block(cells, i);
        count += own > 0 ? (size_t)own : 0;
    }
    return count;
}

/* --- joining --- */

static uint32_t root_of(uint32_t *parents, uint32_t at)
{
    while (parents[at] != at) {
        parents[at] = parents[parents[at]];
        at = parents[at];
    }
    return at;
}

/* No parent comes after its child. */
static void join(Tree *tree, uint32_t a, uint32_t b)
{
    if (tree->parents[a] == tree->parents[b])
        return;
    uint32_t root_a = root_of(tree->parents, a), root_b = root_of(tree->parents, b);
    if (root_a < root_b)
        tree->parents[root_b] = root_a;
    else
        tree->parents[root_a] = root_b;
}

static bool is_cell(const Tree *tree, uint32_t at)
{
    return at < tree->cell_count;
}

/* A cell is all of its quarters. */
static uint32_t quarter(const Tree *tree, uint32_t at, unsigned which)
{
    return is_cell(tree, at) ? at : tree->blocks[at - tree->cell_count].quarters[which];
}

/* What lies in a's corner, and in b's. */
static void join_corners(Tree *tree, uint32_t a, unsigned corner_a, uint32_t b, unsigned corner_b)
{
    while (a != NONE && b != NONE && !(is_cell(tree, a) && is_cell(tree, b))) {
        a = quarter(tree, a, corner_a);
        b = quarter(tree, b, corner_b);
    }
    if (a != NONE && b != NONE)
        join(tree, a, b);
}

static void join_quarters(Tree *tree, uint32_t a, Side side_a, uint32_t b, Side side_b);

/* What lies along a's side, and along b's. */
static inline void join_sides(Tree *tree, uint32_t a, Side side_a, uint32_t b, Side side_b)
{
    if (a == NONE || b == NONE)
        return;
    if (is_cell(tree, a) && is_cell(tree, b))
        join(tree, a, b);
    else
        join_quarters(tree, a, side_a, b, side_b);
}

/* The same where one is a block, at least. */
static void join_quarters(Tree *tree, uint32_t a, Side side_a, uint32_t b, Side side_b)
{
    uint32_t a_first = quarter(tree, a, side_a.first), a_second = quarter(tree, a, side_a.second);
    uint32_t b_first = quarter(tree, b, side_b.first), b_second = quarter(tree, b, side_b.second);
    join_sides(tree, a_first, side_a, b_first, side_b);
    join_sides(tree, a_second, side_a, b_second, side_b);
    if (is_cell(tree, a) || is_cell(tree, b)) /* which then touches both of the other's quarters */
        return;
    join_corners(tree, a_first, side_a.second, b_second, side_b.first);
    join_corners(tree, a_second, side_a.first, b_first, side_b.second);
}

static void join_inside(Tree *tree, uint32_t at)
{
    if (at == NONE || is_cell(tree, at))
        return;
    const uint32_t *quarters = tree->blocks[at - tree->cell_count].quarters;
    for (int i = 0; i < 4; i++)
        join_inside(tree, quarters[i]);
    join_sides(tree, quarters[0], east, quarters[1], west);
    join_sides(tree, quarters[2], east, quarters[3], west);
    join_sides(tree, quarters[0], north, quarters[2], south);
    join_sides(tree, quarters[1], north, quarters[3], south);
    join_corners(tree, quarters[0], 3, quarters[3], 0);
    join_corners(tree, quarters[1], 2, quarters[2], 1);
}

/* The four corners of the square are one point. */
static void join_folds(Tree *tree, uint32_t whole)
{
    const Side sides[4] = {west, east, south, north};
    for (int i = 0; i < 4; i++)
        join_sides(tree, whole, sides[i], whole, (Side){sides[i].second, sides[i].first});
    join_corners(tree, whole, 0, whole, 3);
    join_corners(tree, whole, 1, whole, 2);
}

UfStatus uf_number_areas(const UfCells *cells, uint32_t *areas, size_t *count, UfReport *report)
{
    /* parents are turned into numbers where they stand */
    Tree tree = {.cells = cells, .cell_count = (uint32_t)cells->count, .parents = areas};
    *count = 0;
    if (cells->count == 0)
        return UF_OK;
    tree.blocks = uf_alloc(count_blocks(cells), sizeof *tree.blocks);
    if (tree.blocks == NULL)
        return uf_fail_memory(report);
    plant(&tree);
    for (uint32_t i = 0; i < tree.cell_count; i++)
        areas[i] = i;
    join_inside(&tree, tree.cell_count);
    join_folds(&tree, tree.cell_count);
    for (uint32_t i = 0; i < tree.cell_count; i++)
        areas[i] = areas[i] == i ? (uint32_t)(*count)++ : areas[areas[i]];
    free(tree.blocks);
    return UF_OK;
}

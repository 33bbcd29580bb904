/* What the boards in a hole are to be made of: which go on how far, and where they end. */
#include "patch/boards_plan.h"

#include <math.h>

#include "base/memory.h"
#include "base/smaller.h"

/* In widths of a board: how far from an end joint what is copied stays, for the nails' sake, unless too
 * little would be left; what is too little... */
#define FROM_END    0.4
#define LEAST_GRAIN 0.1
/* ...how near joints of neighbouring boards do not like to come, how short a board is short... */
#define NEIGHBOURS 1.5
#define SHORT      4.0
/* ...how long what is copied is at least, and how far from the hole a board's colour is taken. */
#define LEAST_RUN 2.0
#define COLOUR    1.5
/* In squares of a board's width: of less than this it is taken to end at the hole, of less than that its
 * colour is not known. */
#define LEAST_SEEN   0.15
#define LEAST_CORNER 0.04
/* Of what is not copied so many pixels are seen, as only these have had their light taken. */
#define BESIDE_PX 3
/* Nails, knots and joints are off a board's mean by more than this share. */
#define UNUSUAL 0.25
/* Boards whose means differ by less than this share of their value are one. */
#define SAME_BOARD 0.025
/* What it costs to end a board at the hole's edge instead of in its middle, where either is likeliest to. */
#define OFF_MIDDLE 0.5
/* What it counts against a run that it is lighter or darker than the board, which can be made up for. */
#define LIGHT 0.5
/* What it counts against a run that it was taken before, in the same unit. */
#define USED 0.15
/* A knot: darker than this share of the board; what it counts that so much of a run is knots. */
#define KNOT  0.6
#define KNOTS 10

double uf_board_width(const UfBoardRow *row)
{
    return (double)(row->y1 - row->y0);
}

void uf_boards_plan_clear(UfBoardsPlan *plan)
{
    for (size_t i = 0; i < plan->piece_count; i++)
        free(plan->piece[i].from);
    free(plan->piece);
    free(plan->run);
    free(plan->row);
    free(plan->count);
    *plan = (UfBoardsPlan){0};
}

/* 0 <= ... < 1 */
static double hash_unit(unsigned seed, size_t a, size_t b)
{
    uint32_t h = seed * 0x9E3779B9U ^ (uint32_t)a * 0x85EBCA6BU ^ (uint32_t)b * 0xC2B2AE35U;
    h = (h ^ (h >> 16)) * 0x7FEB352DU;
    h = (h ^ (h >> 15)) * 0x846CA68BU;
    return (double)(h ^ (h >> 16)) / 4294967296.0;
}

static bool is_cell(const UfBoardsPlan *p, size_t x, size_t y, uint8_t cell)
{
    return p->canvas->cell[y * p->canvas->width + x] == cell;
}

static size_t count_cells(const UfBoardsPlan *p, const UfBoardRow *row, size_t x, uint8_t cell)
{
    size_t count = 0;
    for (size_t y = row->y0; y < row->y1; y++)
        count += is_cell(p, x, y, cell);
    return count;
}

/* The same for all columns, row by row as they lie in memory. */
static void count_columns(UfBoardsPlan *p, const UfBoardRow *row, uint8_t cell)
{
    memset(p->count, 0, p->canvas->width * sizeof *p->count);
    for (size_t y = row->y0; y < row->y1; y++)
        for (size_t x = 0; x < p->canvas->width; x++)
            p->count[x] += is_cell(p, x, y, cell);
}

/* From joint to joint; what lies beyond the outermost is a board only where the hole reaches there. */
static UfStatus list_rows(UfBoardsPlan *p, UfReport *report)
{
    UfBox hole = {0};
    size_t joints = p->joints->count;
    uf_canvas_hole_box(p->canvas, 0, &hole);
    p->row = uf_alloc(joints + 1, sizeof *p->row);
    if (p->row == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i <= joints; i++) {
        UfBoardRow *row = &p->row[p->row_count];
        *row = (UfBoardRow){.y0 = i > 0 ? p->joints->row[i - 1] : 0,
                            .y1 = i < joints ? p->joints->row[i] : p->canvas->height};
        bool is_between = i > 0 && i < joints, is_hole = row->y0 < hole.y1 && row->y1 > hole.y0;
        if (row->y1 <= row->y0 || !(is_between || is_hole))
            continue;
        UfStatus status = uf_board_ends_find(p->canvas, p->joints, row, report);
        if (status != UF_OK)
            return status;
        p->has_ends |= row->end_count > 0;
        p->row_count++;
    }
    return UF_OK;
}

static double grey_at(const UfBoardsPlan *p, size_t x, size_t y)
{
    return (double)uf_canvas_grey(p->canvas, y * p->canvas->width + x);
}

static double grey_of(const double mean[4])
{
    return (mean[0] + mean[1] + mean[2]) / 3;
}

/*
 * What is seen again where it is copied: a patch of light or a stain, as far as it is off the mean, and
 * knots by their share.
 */
static double unevenness(const UfBoardsPlan *p, const UfRun *run)
{
    double mean = grey_of(run->mean), most = 0, knots = 0;
    size_t inset = p->joints->narrow_px + 1, height = run->row->y1 - run->row->y0, step = height / 2 + 1;
    for (size_t x0 = run->x0; x0 + step <= run->x1; x0 += step) {
        double sum = 0, count = 0;
        for (size_t y = run->row->y0 + inset; y + inset < run->row->y1; y++)
            for (size_t x = x0; x < x0 + step; x++) {
                double value = grey_at(p, x, y);
                sum += value;
                knots += value < KNOT * mean;
                count++;
            }
        most = count > 0 ? fmax(most, fabs(sum / count - mean) / fmax(mean, 1e-3)) : most;
    }
    return most + KNOTS * knots / ((double)height * (double)(run->x1 - run->x0));
}

/* The list, with room for one more; NULL for no memory, and the list as it was. */
static void *with_room(void *list, size_t item_bytes, size_t count, size_t *room)
{
    if (count < *room)
        return list;
    void *more = uf_realloc(list, 2 * *room + 16, item_bytes);
    if (more != NULL)
        *room = 2 * *room + 16;
    return more;
}

static UfStatus add_run(UfBoardsPlan *p, const UfBoardRow *row, size_t x0, size_t x1, UfReport *report)
{
    UfRun *runs = with_room(p->run, sizeof *runs, p->run_count, &p->run_room);
    if (runs == NULL)
        return uf_fail_memory(report);
    p->run = runs;
    UfRun run = {.row = row, .x0 = x0, .x1 = x1};
    double count = uf_board_width(row) * (double)(x1 - x0);
    for (size_t y = row->y0; y < row->y1; y++)
        for (size_t x = x0; x < x1; x++)
            for (size_t c = 0; c < 4; c++)
                run.mean[c] += (double)p->canvas->value[4 * (y * p->canvas->width + x) + c] / count;
    run.uneven = unevenness(p, &run);
    p->run[p->run_count++] = run;
    return UF_OK;
}

/* All pieces of board that are seen from joint to joint and are long enough. */
static UfStatus list_runs(UfBoardsPlan *p, UfReport *report)
{
    UfStatus status = UF_OK;
    for (size_t r = 0; status == UF_OK && r < p->row_count; r++) {
        const UfBoardRow *row = &p->row[r];
        double width = uf_board_width(row);
        size_t margin = uf_larger((size_t)(FROM_END * width), p->joints->around_px), end = 0, x0 = 0;
        bool is_between = row->y0 > 0 && row->y1 < p->canvas->height;
        count_columns(p, row, UF_CELL_SOURCE);
        for (size_t x = 0; is_between && status == UF_OK && x <= p->canvas->width; x++) {
            while (end < row->end_count && row->end[end].x + margin < x)
                end++;
            bool is_end = end < row->end_count && row->end[end].x <= x + margin;
            if (x < p->canvas->width && !is_end && p->count[x] == row->y1 - row->y0)
                continue;
            if ((double)x - (double)x0 >= LEAST_RUN * width)
                status = add_run(p, row, x0, x, report);
            x0 = x + 1;
        }
    }
    return status;
}

/* The next columns from *x1 on that were counted. */
static bool next_columns(const UfBoardsPlan *p, size_t *x0, size_t *x1)
{
    size_t x = *x1, width = p->canvas->width;
    while (x < width && p->count[x] == 0)
        x++;
    *x0 = x;
    while (x < width && p->count[x] > 0)
        x++;
    *x1 = x;
    return *x1 > *x0;
}

static UfStatus add_piece(UfBoardsPlan *p, const UfBoardRow *row, size_t x0, size_t x1, UfReport *report)
{
    UfPiece *pieces = with_room(p->piece, sizeof *pieces, p->piece_count, &p->piece_room);
    if (pieces == NULL)
        return uf_fail_memory(report);
    p->piece = pieces;
    size_t height = row->y1 - row->y0;
    UfPiece piece = {.row = row, .x0 = x0, .x1 = x1, .whole_x0 = x0, .whole_x1 = x1};
    piece.from = uf_alloc(2 * height, sizeof *piece.from);
    if (piece.from == NULL)
        return uf_fail_memory(report);
    piece.to = piece.from + height;
    for (size_t y = 0; y < height; y++) {
        size_t from = x0, to = x1;
        while (from < x1 && !is_cell(p, from, row->y0 + y, UF_CELL_HOLE))
            from++;
        while (to > from && !is_cell(p, to - 1, row->y0 + y, UF_CELL_HOLE))
            to--;
        piece.from[y] = from;
        piece.to[y] = to;
        piece.whole_x0 = uf_larger(piece.whole_x0, from);
        piece.whole_x1 = uf_smaller(piece.whole_x1, to);
    }
    piece.whole_x1 = uf_larger(piece.whole_x1, piece.whole_x0);
    p->piece[p->piece_count++] = piece;
    return UF_OK;
}

static UfStatus list_pieces(UfBoardsPlan *p, UfReport *report)
{
    UfStatus status = UF_OK;
    for (size_t r = 0; status == UF_OK && r < p->row_count; r++) {
        count_columns(p, &p->row[r], UF_CELL_HOLE);
        for (size_t x0 = 0, x1 = 0; status == UF_OK && next_columns(p, &x0, &x1);)
            status = add_piece(p, &p->row[r], x0, x1, report);
    }
    return status;
}

const UfEnd *uf_board_end(const UfBoardRow *row, double x, int side)
{
    const UfEnd *last = NULL;
    for (size_t e = 0; e < row->end_count; e++) {
        const UfEnd *end = &row->end[e];
        if (side == UF_RIGHT && (double)end->x >= x)
            return end;
        if (side == UF_LEFT && (double)end->x <= x)
            last = end;
    }
    return last;
}

/*
 * Is a row of a piece hole, and does it show on this side the board that comes in there? With a joint that
 * goes on through the hole it may show the corner of another one, behind that joint.
 */
static bool shows_board(const UfPiece *piece, size_t y, int side, bool is_corner)
{
    if (piece->to[y] <= piece->from[y])
        return false;
    if (piece->joint_count == 0)
        return !is_corner;
    bool is_before = side == UF_LEFT ? piece->from[y] <= piece->joint[0] : piece->to[y] > piece->joint[0];
    return is_before != is_corner;
}

/* Adds up what is seen of a board, next to the hole also where it is too far out to be copied, in a row from
 * the hole's edge outwards, not beyond `limit`. */
static void add_colour(const UfBoardsPlan *p, const UfPiece *piece, size_t y, int side, size_t limit,
                       const UfBoard *about, UfBoard *board)
{
    size_t reach = (size_t)(COLOUR * uf_board_width(piece->row)), width = p->canvas->width;
    size_t edge = side == UF_RIGHT ? piece->to[y] : piece->from[y];
    double usual = grey_of(about->mean);
    for (size_t k = 0; k < reach && (side == UF_RIGHT || k < edge); k++) {
        size_t x = side == UF_RIGHT ? edge + k : edge - 1 - k;
        if (x >= width || (side == UF_RIGHT ? x > limit : x < limit) ||
            is_cell(p, x, piece->row->y0 + y, UF_CELL_HOLE) ||
            (k >= BESIDE_PX && is_cell(p, x, piece->row->y0 + y, UF_CELL_IDLE)))
            break;
        if (!(grey_at(p, x, piece->row->y0 + y) > 0)) /* transparent */
            continue;
        if (about->seen > 0 && fabs(grey_at(p, x, piece->row->y0 + y) - usual) > UNUSUAL * usual)
            continue;
        for (size_t c = 0; c < 4; c++)
            board->mean[c] += (double)p->canvas->value[4 * ((piece->row->y0 + y) * width + x) + c];
        board->seen++;
    }
}

/* What is seen of a board next to the hole: its mean, without the joints along, nails and knots. */
static UfBoard look_at_board(const UfBoardsPlan *p, const UfPiece *piece, int side, bool is_corner,
                             size_t limit)
{
    UfBoard board = {0};
    size_t edge = p->joints->narrow_px + 1, height = piece->row->y1 - piece->row->y0;
    for (int pass = 0; pass < 2; pass++) {
        UfBoard now = {0};
        for (size_t y = edge; y + edge < height; y++)
            if (shows_board(piece, y, side, is_corner))
                add_colour(p, piece, y, side, limit, &board, &now);
        for (size_t c = 0; c < 4 && now.seen > 0; c++)
            now.mean[c] /= (double)now.seen;
        board = now;
    }
    return board;
}

/* Is enough seen of a board to tell its colour? */
static bool is_seen(const UfBoard *board, const UfPiece *piece, double least)
{
    double width = uf_board_width(piece->row);
    return (double)board->seen >= least * width * width;
}

double uf_board_margin(const UfBoardsPlan *plan, const UfBoardRow *row, double seen)
{
    double width = uf_board_width(row), margin = fmin(FROM_END * width, seen - LEAST_GRAIN * width);
    return fmax(margin, 2 * (double)plan->joints->narrow_px);
}

/* So far from an end joint, towards the hole. */
static size_t before(size_t end, double margin, int side)
{
    return (size_t)fmax(0, side == UF_RIGHT ? (double)end - margin : (double)end + margin);
}

static UfRim find_rim(const UfBoardsPlan *p, const UfPiece *piece, int side)
{
    const UfBoardRow *row = piece->row;
    UfRim rim = {.limit = side == UF_RIGHT ? p->canvas->width - 1 : 0};
    double count = 0, outermost = side == UF_RIGHT ? 0 : (double)p->canvas->width;
    for (size_t y = 0; y < row->y1 - row->y0; y++)
        if (shows_board(piece, y, side, false)) {
            double edge = (double)(side == UF_RIGHT ? piece->to[y] : piece->from[y]);
            rim.middle += edge;
            outermost = side == UF_RIGHT ? fmax(outermost, edge) : fmin(outermost, edge);
            count++;
        }
    rim.middle = count > 0 ? rim.middle / count : (double)(side == UF_RIGHT ? piece->x1 : piece->x0);
    const UfEnd *end = uf_board_end(row, side == UF_RIGHT ? outermost - 1 : outermost, side);
    size_t colours_to = rim.limit;
    if (count > 0 && end != NULL) {
        double seen = fabs((double)end->x - outermost);
        rim.limit = before(end->x, uf_board_margin(p, row, seen), side);
        colours_to = before(end->x, 2 * (double)p->joints->narrow_px, side);
    }
    rim.board = look_at_board(p, piece, side, false, colours_to);
    return rim;
}

/* How far two means are apart, as a share of their values. */
static double unlike(const double a[4], const double b[4])
{
    double most = 0;
    for (size_t c = 0; c < 3; c++)
        most = fmax(most, fabs(a[c] - b[c]) / fmax(fmax(fabs(a[c]), fabs(b[c])), 1e-3));
    return most;
}

void uf_board_gain(const double of[4], const double wanted[4], float gain[4])
{
    for (size_t c = 0; c < 4; c++)
        gain[c] = fabs(of[c]) > 1e-3 ? (float)fmin(fmax(wanted[c] / of[c], 0.5), 2) : 1;
}

/* The run most like a board and of its width, one that was not used already. */
static void choose_run(UfBoardsPlan *p, const UfPiece *piece, double needed, UfBoard *board)
{
    UfRun *best = p->run; /* there is one */
    double least = INFINITY, width = uf_board_width(piece->row);
    for (size_t i = 0; i < p->run_count; i++) {
        UfRun *run = &p->run[i];
        double length = (double)(run->x1 - run->x0);
        double cost = (board->seen > 0 ? LIGHT * unlike(run->mean, board->mean) : 0) + USED * run->uses +
                      run->uneven + fabs(uf_board_width(run->row) / width - 1) + fmax(0, needed / length - 1);
        if (run->row == piece->row)
            cost += USED;
        if (cost < least) {
            least = cost;
            best = run;
        }
    }
    board->run = best;
    best->uses++;
    if (board->seen == 0)
        memcpy(board->mean, best->mean, sizeof board->mean);
    uf_board_gain(best->mean, board->mean, board->gain);
}

/* What it costs to end a board at a column: what is not seen of it, and joints that come too close. */
static double joint_cost(const UfBoardsPlan *p, const UfPiece *piece, size_t x)
{
    double middle = (piece->rim[UF_LEFT].middle + piece->rim[UF_RIGHT].middle) / 2;
    double width = uf_board_width(piece->row), half = piece->rim[UF_RIGHT].middle - middle;
    double cost = OFF_MIDDLE * fabs((double)x - middle) / half;
    for (int side = UF_LEFT; side <= UF_RIGHT; side++) {
        const UfRim *rim = &piece->rim[side];
        double needed = fabs((double)x - rim->middle), there = fabs((double)rim->limit - rim->middle) + 1;
        const UfEnd *end = uf_board_end(piece->row, (double)x, side);
        cost += fmin(0.7 * fmax(0, needed / there - 1), 1);
        if (end != NULL)
            cost += 3 * fmax(0, 1 - fabs((double)x - (double)end->x) / (SHORT * width));
    }
    for (size_t r = 0; r < p->row_count; r++) {
        const UfBoardRow *other = &p->row[r];
        double away =
            fabs((double)other->y0 + (double)other->y1 - (double)piece->row->y0 - (double)piece->row->y1);
        away /= 2 * width;
        for (size_t e = 0; away > 0.5 && away < 2.5 && e < other->end_count; e++) {
            double near = fabs((double)x - (double)other->end[e].x) / (NEIGHBOURS * width);
            cost += (away < 1.5 ? 2.0 : 0.7) * exp(-near * near);
        }
    }
    return cost;
}

static void put_end(UfBoardRow *row, size_t x)
{
    size_t at = row->end_count;
    if (at == UF_MOST_ENDS)
        return;
    for (; at > 0 && row->end[at - 1].x > x; at--)
        row->end[at] = row->end[at - 1];
    row->end[at] = (UfEnd){x, false};
    row->end_count++;
}

/* Would a board that ends here be no longer than wide? */
static bool is_crowded(const UfBoardRow *row, size_t x)
{
    for (int side = UF_LEFT; side <= UF_RIGHT; side++) {
        const UfEnd *end = uf_board_end(row, (double)x, side);
        if (end != NULL && fabs((double)end->x - (double)x) < uf_board_width(row))
            return true;
    }
    return false;
}

/* Makes an end joint where it costs least, between two columns; false when there is no room. */
static bool make_joint(UfBoardsPlan *p, UfPiece *piece, size_t x0, size_t x1, size_t *out)
{
    UfBoardRow *row = &p->row[piece->row - p->row];
    size_t margin = p->joints->around_px, step = uf_larger(margin / 2, 1);
    double least = INFINITY;
    for (size_t x = x0 + margin; x + margin < x1; x += step) {
        if (is_crowded(row, x) || count_cells(p, row, x, UF_CELL_HOLE) < row->y1 - row->y0)
            continue;
        double cost = joint_cost(p, piece, x) + 0.5 * hash_unit(p->seed, row->y0, x);
        if (cost < least) {
            least = cost;
            *out = x;
        }
    }
    if (isinf(least))
        return false;
    put_end(row, *out);
    return true;
}

/* A joint that is partly seen goes on through the hole. */
static void continue_joint(const UfBoardsPlan *p, UfPiece *piece)
{
    const UfBoardRow *row = piece->row;
    for (size_t e = 0; e < row->end_count && piece->joint_count == 0; e++) {
        size_t x = row->end[e].x;
        if (!row->end[e].is_whole && x >= piece->x0 && x < piece->x1 &&
            count_cells(p, row, x, UF_CELL_HOLE) > 0)
            piece->joint[piece->joint_count++] = x;
    }
}

/*
 * Beside a joint that goes on through the hole, a corner of the board behind it may be seen. Where it is not
 * the board that comes in on the other side, that one begins at another joint.
 */
static void divide_behind(UfBoardsPlan *p, UfPiece *piece, int side)
{
    size_t joint = piece->joint[0], line = 2 * p->joints->narrow_px, second = 0;
    size_t x0 = piece->whole_x0, x1 = piece->whole_x1;
    size_t limit = side == UF_LEFT ? joint + line : joint - uf_smaller(line, joint);
    UfBoard corner = look_at_board(p, piece, side, true, limit);
    if (is_seen(&corner, piece, LEAST_CORNER))
        piece->corner[side] = corner;
    const UfRim *other = &piece->rim[side == UF_LEFT ? UF_RIGHT : UF_LEFT];
    if (!is_seen(&corner, piece, LEAST_CORNER) || unlike(corner.mean, other->board.mean) < SAME_BOARD)
        return;
    if (side == UF_LEFT ? !make_joint(p, piece, uf_larger(x0, joint), x1, &second)
                        : !make_joint(p, piece, x0, uf_smaller(x1, joint), &second))
        return;
    piece->joint[0] = side == UF_LEFT ? joint : second;
    piece->joint[1] = side == UF_LEFT ? second : joint;
    piece->joint_count = 2;
    piece->between = corner;
}

/* The end joint right beside the hole, so that of the board behind it next to nothing is seen; or NULL. */
static const UfEnd *end_at_rim(const UfPiece *piece, int side)
{
    const UfRim *rim = &piece->rim[side];
    const UfEnd *end = uf_board_end(piece->row, rim->middle, side);
    if (end == NULL || is_seen(&rim->board, piece, LEAST_SEEN))
        return NULL;
    return fabs((double)end->x - rim->middle) < uf_board_width(piece->row) ? end : NULL;
}

/* Where the hole begins or ends at an end joint, that is the joint, and the board in the hole begins there.
 */
static void take_joints_at_rims(UfPiece *piece)
{
    const UfEnd *left = end_at_rim(piece, UF_LEFT), *right = end_at_rim(piece, UF_RIGHT);
    if (left != NULL)
        piece->joint[piece->joint_count++] = uf_smaller(left->x, piece->x0);
    if (right != NULL)
        piece->joint[piece->joint_count++] = uf_larger(right->x, piece->x1);
    for (int side = UF_LEFT; side <= UF_RIGHT; side++)
        if (is_seen(&piece->rim[side].board, piece, LEAST_CORNER))
            piece->corner[side] = piece->rim[side].board;
}

static void plan_piece(UfBoardsPlan *p, UfPiece *piece)
{
    continue_joint(p, piece);
    for (int side = UF_LEFT; side <= UF_RIGHT; side++)
        piece->rim[side] = find_rim(p, piece, side);
    if (piece->joint_count == 0)
        take_joints_at_rims(piece);
    else {
        divide_behind(p, piece, UF_LEFT);
        if (piece->joint_count == 1)
            divide_behind(p, piece, UF_RIGHT);
    }
    if (piece->joint_count == 0 && p->has_ends &&
        make_joint(p, piece, piece->whole_x0, piece->whole_x1, &piece->joint[0]))
        piece->joint_count = 1;
    double needed = (double)(piece->x1 - piece->x0);
    for (int side = UF_LEFT; side <= UF_RIGHT; side++)
        choose_run(p, piece, needed, &piece->rim[side].board);
    if (piece->joint_count == 2)
        choose_run(p, piece, (double)(piece->joint[1] - piece->joint[0]), &piece->between);
}

UfStatus uf_boards_plan(const UfCanvas *canvas, const UfJoints *joints, unsigned seed, UfBoardsPlan *out,
                        UfReport *report)
{
    *out = (UfBoardsPlan){.canvas = canvas,
                          .joints = joints,
                          .seed = seed,
                          .count = uf_alloc(canvas->width, sizeof *out->count)};
    UfStatus status = out->count == NULL ? uf_fail_memory(report) : list_rows(out, report);
    if (status == UF_OK)
        status = list_runs(out, report);
    if (status == UF_OK)
        status = list_pieces(out, report);
    for (size_t i = 0; status == UF_OK && out->run_count > 0 && i < out->piece_count; i++)
        plan_piece(out, &out->piece[i]);
    return status;
}

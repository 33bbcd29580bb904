/*
 * Each board of the hole is continued from its left and from its right with itself, mirrored at the hole's
 * edge row by row, so that nothing breaks there; the two meet at an end joint. Where a board is covered over
 * part of its width only, and shows no joint beside the hole, it is one board: the two pass over into each
 * other. What is longer than what is seen of it goes on as another board of its colour.
 */
#include <math.h>

#include "base/memory.h"
#include "base/smaller.h"
#include "base/smoothstep.h"
#include "patch/boards.h"
#include "patch/boards_plan.h"
#include "patch/four.h"
#include "remap/keys.h"

/* Where the hole's edge runs askew over a board, what is deep inside is mirrored at its mean all the same. It
 * takes this many times as far to get there as the edge is from the mean. */
#define SETTLING 4.3
/* Over how many widths of a board it passes over into another. */
#define PASS_OVER 1.5
/* Nearer to an end joint than this, in widths of a board, are nails: what is darker than this share of it. */
#define NAILS 0.4
#define NAIL  0.78F
/* What is seen in a corner is mirrored to and fro over no more than so many times its length. */
#define MOST_FOLDED 4

static float smooth(double t)
{
    return (float)uf_smoothstep(t);
}

/* Keys' cubic along a row, at a place whose pixels' middles are whole numbers, between two columns. */
static UfFour sample(const UfCanvas *canvas, size_t y, double x, double least, double most)
{
    double base = floor(x);
    float t = (float)(x - base);
    float weight[4];
    uf_keys_weights_single(t, &weight[0], &weight[1], &weight[2], &weight[3]);
    UfFour sum = {0};
    for (int k = 0; k < 4; k++) {
        double at = fmin(fmax(base + k - 1, least), most);
        sum += uf_four_of(weight[k]) * uf_four_load(canvas->value + 4 * (y * canvas->width + (size_t)at));
    }
    return sum;
}

/* To and fro between 0 and `length`. */
static double fold(double at, double length)
{
    double turn = fmod(fabs(at), 2 * length);
    return turn > length ? 2 * length - turn : turn;
}

/* What a row of the hole sees of the board at its edge on one side, mirrored. */
typedef struct Reflection {
    int side;
    double edge;            /* between the last pixel of the picture and the first of the hole */
    double length;          /* of what is seen; 0: nothing */
    double askew, settling; /* how far inwards the edge is from where it is on the mean */
    UfFour least;           /* nails in it are darker than this, and not mirrored */
} Reflection;

static Reflection reflection_of(const UfBoardsPlan *p, const UfPiece *piece, size_t y, int side,
                                const UfBoard *board, double needed)
{
    size_t edge = side == UF_RIGHT ? piece->to[y] : piece->from[y], count = 0, width = p->canvas->width;
    const uint8_t *cell = p->canvas->cell + (piece->row->y0 + y) * width;
    const UfEnd *end = uf_board_end(piece->row, (double)edge, side);
    double seen = end != NULL ? fabs((double)edge - (double)end->x) : INFINITY;
    double margin = end != NULL ? uf_board_margin(p, piece->row, seen) : 0;
    for (; side == UF_RIGHT || count < edge; count++) {
        size_t x = side == UF_RIGHT ? edge + count : edge - 1 - count;
        if (x >= width || (double)count + margin > seen || cell[x] != UF_CELL_SOURCE)
            break;
    }
    Reflection r = {.side = side, .edge = (double)edge - 0.5, .length = (double)count};
    r.least = uf_four_of(-INFINITY);
    if (board->seen > 0 && p->joints->strength < 0 && margin < NAILS * uf_board_width(piece->row) &&
        end != NULL)
        for (size_t c = 0; c < 3; c++)
            r.least[c] = NAIL * (float)board->mean[c];
    double middle = piece->rim[side].middle;
    double askew = side == UF_RIGHT ? middle - (double)edge : (double)edge - middle;
    double settling = SETTLING * fabs(askew);
    r.askew = settling > needed ? askew * needed / settling : askew;
    r.settling = fmin(settling, needed);
    return r;
}

/* How far from the edge outwards a place of the hole is mirrored to. */
static double mirrored(const Reflection *r, size_t x)
{
    double depth = r->side == UF_RIGHT ? r->edge - (double)x : (double)x - r->edge;
    return depth + (r->settling > 0 ? 2 * r->askew * (double)smooth(depth / r->settling) : 0);
}

static UfFour reflect(const UfBoardsPlan *p, const UfPiece *piece, size_t y, const Reflection *r, size_t x)
{
    double out = fold(fmax(mirrored(r, x), 0.5), r->length);
    double least = r->side == UF_RIGHT ? r->edge + 0.5 : r->edge + 0.5 - r->length;
    UfFour value = sample(p->canvas, piece->row->y0 + y, r->side == UF_RIGHT ? r->edge + out : r->edge - out,
                          least, least + r->length - 1);
    for (size_t c = 0; c < 4; c++)
        value[c] = fmaxf(value[c], r->least[c]);
    return value;
}

/*
 * How much of a row of a piece shows the joints along: 1 at its edges. A joint is nowhere quite straight, so
 * it is continued with itself.
 */
static float joint_part(const UfBoardsPlan *p, const UfPiece *piece, size_t y)
{
    size_t height = piece->row->y1 - piece->row->y0, from_edge = uf_smaller(y, height - 1 - y);
    double narrow = (double)p->joints->narrow_px;
    return smooth(2 - (double)from_edge / (narrow + 1));
}

/* The board that goes on where no more is seen of it, `along` columns from where it starts. */
static UfFour copied(const UfBoardsPlan *p, const UfPiece *piece, size_t y, const UfBoard *board,
                     double along)
{
    const UfRun *run = board->run;
    size_t rows = run->row->y1 - run->row->y0;
    size_t from = run->row->y0 + y * rows / (piece->row->y1 - piece->row->y0);
    double length = (double)(run->x1 - run->x0) - 1;
    size_t x = run->x0 + (size_t)fold(along, length);
    return uf_four_load(board->gain) * uf_four_load(p->canvas->value + 4 * (from * p->canvas->width + x));
}

/* One passes over into the other, so that neither fades: means are mixed, what is off them adds up as noises
 * do. */
static UfFour mix(const double mean_a[4], UfFour a, const double mean_b[4], UfFour b, float part)
{
    UfFour from = {(float)mean_a[0], (float)mean_a[1], (float)mean_a[2], (float)mean_a[3]};
    UfFour to = {(float)mean_b[0], (float)mean_b[1], (float)mean_b[2], (float)mean_b[3]};
    float rest = 1 - part, norm = 1 / sqrtf(rest * rest + part * part);
    return uf_four_of(rest) * from + uf_four_of(part) * to + uf_four_of(rest * norm) * (a - from) +
           uf_four_of(part * norm) * (b - to);
}

/* A row of a piece while it is filled. */
typedef struct Row {
    const UfBoardsPlan *plan;
    const UfPiece *piece;
    size_t y;
    size_t first, last; /* numbers of the boards, from left to right, that the hole begins and ends in */
    Reflection seen[2];
} Row;

/* The board that comes in on one side: what is seen of it, and then what it goes on with. */
static UfFour coming_in(const Row *row, int side, size_t x)
{
    const UfPiece *piece = row->piece;
    const UfRim *rim = &piece->rim[side];
    const Reflection *r = &row->seen[side];
    double over = PASS_OVER * uf_board_width(piece->row);
    double part = r->length > 0 ? (mirrored(r, x) - fmax(r->length - over, 0)) / over : 1;
    UfFour own = {0}, other = {0};
    if (part < 1)
        own = reflect(row->plan, piece, row->y, r, x);
    if (part > 0)
        other = copied(row->plan, piece, row->y, &rim->board, fabs((double)x - rim->middle));
    if (part <= 0 || part >= 1)
        return part <= 0 ? own : other;
    return mix(rim->board.mean, own, rim->board.mean, other, smooth(part));
}

/* The board of a number, apart from what a row sees of it in a corner. */
static UfFour board_at(const Row *row, size_t number, size_t x)
{
    const UfPiece *piece = row->piece;
    if (number == 0)
        return coming_in(row, UF_LEFT, x);
    if (number == piece->joint_count)
        return coming_in(row, UF_RIGHT, x);
    return copied(row->plan, piece, row->y, &piece->between, (double)(x - piece->joint[0]));
}

static const double *mean_at(const Row *row, size_t number)
{
    const UfPiece *piece = row->piece;
    if (number > 0 && number < piece->joint_count)
        return piece->between.mean;
    return piece->rim[number == 0 ? UF_LEFT : UF_RIGHT].board.mean;
}

/* A row beside a joint along: of what is seen in it of the board itself, or else of another, made as light.
 */
static UfFour joint_at(const Row *row, size_t number, size_t x)
{
    const Reflection *left = &row->seen[UF_LEFT], *right = &row->seen[UF_RIGHT];
    double enough = uf_board_width(row->piece->row);
    bool is_left = number == row->first ? left->length >= fmin(enough, right->length)
                                        : right->length < fmin(enough, left->length);
    float gain[4];
    uf_board_gain(mean_at(row, is_left ? row->first : row->last), mean_at(row, number), gain);
    return uf_four_load(gain) * reflect(row->plan, row->piece, row->y, is_left ? left : right, x);
}

static size_t number_at(const UfPiece *piece, size_t x)
{
    size_t number = 0;
    while (number < piece->joint_count && x >= piece->joint[number])
        number++;
    return number;
}

/*
 * What is seen in a corner beside the hole, passing over into the board `away` columns from the edge: first
 * the grain, where it is long enough to be mirrored, and more slowly the colour.
 */
static UfFour from_corner(const Row *row, int side, size_t number, size_t x, double away, UfFour value)
{
    const UfPiece *piece = row->piece;
    const Reflection *r = &row->seen[side];
    const UfBoard *board = &piece->corner[side];
    const double *mean = mean_at(row, number);
    double over =
        fmin(PASS_OVER * uf_board_width(piece->row), (double)(piece->to[row->y] - piece->from[row->y]) / 2);
    float colour = 1 - smooth(away / over);
    for (size_t c = 0; c < 4 && board->seen > 0; c++)
        value[c] += colour * (float)(board->mean[c] - mean[c]);
    if (r->length <= (double)row->plan->joints->narrow_px)
        return value;
    return mix(mean, reflect(row->plan, piece, row->y, r, x), mean, value,
               smooth(away / fmin(over, MOST_FOLDED * r->length)));
}

static UfFour value_at(const Row *row, size_t x)
{
    const UfPiece *piece = row->piece;
    size_t number = number_at(piece, x), from = piece->from[row->y], to = piece->to[row->y];
    if (piece->joint_count == 0) {
        const double *left = piece->rim[UF_LEFT].board.mean, *right = piece->rim[UF_RIGHT].board.mean;
        return mix(left, coming_in(row, UF_LEFT, x), right, coming_in(row, UF_RIGHT, x),
                   smooth(((double)x + 0.5 - (double)from) / (double)(to - from)));
    }
    UfFour value = board_at(row, number, x);
    /* a corner of this board is seen where the hole begins or ends behind its joint */
    if (number == row->first && number > 0)
        value = from_corner(row, UF_LEFT, number, x, (double)(x - from), value);
    if (number == row->last && number < piece->joint_count)
        value = from_corner(row, UF_RIGHT, number, x, (double)(to - x), value);
    return value;
}

static void fill_row(const UfBoardsPlan *p, const UfPiece *piece, size_t y, UfCanvas *canvas)
{
    size_t from = piece->from[y], to = piece->to[y], at = piece->row->y0 + y;
    if (to <= from)
        return;
    Row row = {
        .plan = p, .piece = piece, .y = y, .first = number_at(piece, from), .last = number_at(piece, to - 1)};
    double left_end = (double)to, right_end = (double)from;
    if (row.first < piece->joint_count)
        left_end = fmin(left_end, (double)piece->joint[row.first]);
    if (row.last > 0)
        right_end = fmax(right_end, (double)piece->joint[row.last - 1]);
    const UfBoard *left = row.first > 0 ? &piece->corner[UF_LEFT] : &piece->rim[UF_LEFT].board;
    const UfBoard *right =
        row.last < piece->joint_count ? &piece->corner[UF_RIGHT] : &piece->rim[UF_RIGHT].board;
    row.seen[UF_LEFT] = reflection_of(p, piece, y, UF_LEFT, left, left_end - (double)from);
    row.seen[UF_RIGHT] = reflection_of(p, piece, y, UF_RIGHT, right, (double)to - right_end);
    float joint = joint_part(p, piece, y);
    if (row.seen[UF_LEFT].length <= 0 && row.seen[UF_RIGHT].length <= 0)
        joint = 0;
    for (size_t x = from; x < to; x++) {
        if (canvas->cell[at * canvas->width + x] != UF_CELL_HOLE)
            continue;
        UfFour value = joint < 1 ? value_at(&row, x) : (UfFour){0};
        if (joint > 0)
            value =
                uf_four_of(joint) * joint_at(&row, number_at(piece, x), x) + uf_four_of(1 - joint) * value;
        uf_four_store(canvas->value + 4 * (at * canvas->width + x), value);
    }
}

static UfStatus fill(UfCanvas *canvas, const UfBoardsPlan *plan, int threads, UfReport *report)
{
    UfStamp stamp = {0};
    UfStatus status = uf_stamp_take(canvas, plan->joints, plan->row, plan->row_count, &stamp, report);
    if (status != UF_OK)
        return status;
#pragma omp parallel for schedule(dynamic, 1) num_threads(threads)
    for (size_t i = 0; i < plan->piece_count; i++) {
        const UfPiece *piece = &plan->piece[i];
        for (size_t y = 0; y < piece->row->y1 - piece->row->y0; y++)
            fill_row(plan, piece, y, canvas);
        for (size_t k = 0; k < piece->joint_count; k++)
            uf_stamp_press(&stamp, piece->row, piece->joint[k], canvas);
    }
    uf_stamp_clear(&stamp);
    return UF_OK;
}

UfStatus uf_boards_fill(UfCanvas *canvas, unsigned seed, int threads, bool *filled, UfReport *report)
{
    UfBoardsPlan plan = {0};
    UfJoints joints = {0};
    *filled = false;
    UfStatus status = uf_boards_joints(canvas, threads, &joints, report);
    if (status == UF_OK && joints.count > 0)
        status = uf_boards_plan(canvas, &joints, seed, &plan, report);
    if (status == UF_OK && plan.run_count > 0) {
        status = fill(canvas, &plan, threads, report);
        *filled = status == UF_OK;
    }
    uf_boards_plan_clear(&plan);
    uf_joints_clear(&joints);
    return status;
}

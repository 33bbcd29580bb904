/* Where boards end. */
#include "patch/boards_ends.h"

#include <math.h>

#include "base/memory.h"
#include "base/robust.h"
#include "base/smaller.h"
#include "base/smoothstep.h"
#include "patch/four.h"

/* Against the joints along: how clear an end joint is on the whole, and in a row that counts for it. */
#define LEAST_CLEAR  0.5
#define LEAST_IN_ROW 0.25
/* Share of the rows that must be known, but at least a few; of these that must count; and to be seen wholly.
 */
#define LEAST_KNOWN 0.1
#define FEW_ROWS    2.0
#define LEAST_ROWS  0.65
#define WHOLE       0.95
/* A little beside the line it must be lighter (or darker) again, by this share of what it stands out by. */
#define NARROW 0.75
/* How far nails lie from the end, at most, in widths of a board. */
#define NAILS 0.45
/* Beside the line itself only what is so many deviations darker or lighter than the board is the joint's. */
#define FROM_DEVIATIONS 3.0F
#define TO_DEVIATIONS   4.5F
#define LEAST_VALUE     1e-3F

/* Of each column, over a board's rows: how clear a joint is there, in how many rows it is known, counts, and
 * is narrow, too.
 */
typedef struct Columns {
    double *clear;
    uint32_t *known, *counts, *narrow;
    double *sum; /* of a row's values up to each column, and how many are known */
    uint32_t *number;
} Columns;

static void columns_clear(Columns *c)
{
    free(c->clear);
    free(c->known);
    free(c->counts);
    free(c->narrow);
    free(c->sum);
    free(c->number);
}

static UfStatus columns_create(size_t width, Columns *c, UfReport *report)
{
    *c = (Columns){uf_alloc_zero(width, sizeof *c->clear),   uf_alloc_zero(width, sizeof *c->known),
                   uf_alloc_zero(width, sizeof *c->counts),  uf_alloc_zero(width, sizeof *c->narrow),
                   uf_alloc_zero(width + 1, sizeof *c->sum), uf_alloc_zero(width + 1, sizeof *c->number)};
    return c->clear == NULL || c->known == NULL || c->counts == NULL || c->narrow == NULL || c->sum == NULL ||
                   c->number == NULL
               ? uf_fail_memory(report)
               : UF_OK;
}

/* The mean of some columns; NAN where one of them is not known. */
static double whole_mean(const Columns *c, size_t from, size_t to)
{
    return c->number[to] - c->number[from] == to - from ? (c->sum[to] - c->sum[from]) / (double)(to - from)
                                                        : NAN;
}

/* Adds a row: a few columns against those about them, as far as these are known. */
static void add_row(const UfCanvas *canvas, const UfJoints *joints, size_t y, Columns *c)
{
    size_t width = canvas->width, around = joints->around_px, narrow = joints->narrow_px;
    double sign = joints->strength < 0 ? -1 : 1, least = LEAST_IN_ROW * fabs(joints->strength);
    for (size_t x = 0; x < width; x++) {
        bool is_source = canvas->cell[y * width + x] == UF_CELL_SOURCE;
        c->sum[x + 1] = c->sum[x] + (is_source ? (double)uf_canvas_grey(canvas, y * width + x) : 0);
        c->number[x + 1] = c->number[x] + is_source;
    }
    for (size_t x = around; x + around < width; x++) {
        size_t from = x - (narrow - 1) / 2, to = from + narrow, left = x - around, right = x + around + 1;
        uint32_t known = c->number[right] - c->number[left];
        if (c->number[to] - c->number[from] != narrow || known < around + 1)
            continue;
        double here = whole_mean(c, from, to), line = here - (c->sum[right] - c->sum[left]) / known;
        double before = sign * whole_mean(c, from - 2 * narrow, from - narrow),
               behind = sign * whole_mean(c, to + narrow, to + 2 * narrow);
        c->clear[x] += sign * line;
        c->known[x]++;
        /* a knot is wider: it is as dark a little farther on */
        double narrower = sign * here - fmax(before, behind); /* NAN where that is not known */
        c->counts[x] += sign * line > least && !(narrower <= least);
        c->narrow[x] += sign * line > least && !(narrower <= NARROW * sign * line);
    }
}

static bool is_end(const Columns *c, size_t x, size_t rows, double strength)
{
    double known = c->known[x];
    /* what is seen in part may be a knot at the hole's edge */
    if (known < WHOLE * (double)rows && c->narrow[x] < LEAST_ROWS * known)
        return false;
    return known >= fmax(LEAST_KNOWN * (double)rows, FEW_ROWS) && c->counts[x] >= LEAST_ROWS * known &&
           c->clear[x] >= LEAST_CLEAR * strength * known;
}

UfStatus uf_board_ends_find(const UfCanvas *canvas, const UfJoints *joints, UfBoardRow *row, UfReport *report)
{
    size_t inset = joints->narrow_px + 1, rows = 0;
    Columns c;
    UfStatus status = columns_create(canvas->width, &c, report);
    row->end_count = 0;
    for (size_t y = row->y0 + inset; status == UF_OK && y + inset < row->y1; y++, rows++)
        add_row(canvas, joints, y, &c);
    for (size_t x = 0; status == UF_OK && rows > 0 && x < canvas->width; x++) {
        if (!is_end(&c, x, rows, fabs(joints->strength)))
            continue;
        UfEnd end = {x, c.known[x] >= WHOLE * (double)rows};
        UfEnd *last = row->end_count > 0 ? &row->end[row->end_count - 1] : NULL;
        if (last != NULL && x - last->x <= joints->around_px) {
            if (c.clear[x] / c.known[x] > c.clear[last->x] / c.known[last->x])
                *last = end;
        } else if (row->end_count < UF_MOST_ENDS) {
            row->end[row->end_count++] = end;
        }
    }
    columns_clear(&c);
    return status;
}

static bool all_source(const UfCanvas *canvas, const UfBoardRow *row, size_t x, size_t reach)
{
    if (x < reach || x + reach >= canvas->width)
        return false;
    for (size_t y = row->y0; y < row->y1; y++)
        for (size_t i = x - reach; i <= x + reach; i++)
            if (canvas->cell[y * canvas->width + i] != UF_CELL_SOURCE)
                return false;
    return true;
}

static float log_at(const UfCanvas *canvas, size_t x, size_t y, size_t channel)
{
    return logf(fmaxf(canvas->value[4 * (y * canvas->width + x) + channel], LEAST_VALUE));
}

/* The board on one side of a joint, apart from its nails: of each row a median, and how far off it is usual.
 */
typedef struct Side {
    float *median; /* height x 4 */
    float usual[3];
} Side;

/* `spare` holds x1 - x0 values. */
static void look_at_side(const UfCanvas *canvas, const UfBoardRow *row, size_t x0, size_t x1, double *spare,
                         Side *side)
{
    size_t height = row->y1 - row->y0, width = x1 - x0;
    for (size_t k = 0; k < 3; k++) {
        double sum = 0;
        for (size_t y = 0; y < height; y++) {
            for (size_t x = 0; x < width; x++)
                spare[x] = (double)log_at(canvas, x0 + x, row->y0 + y, k);
            double median = uf_median(spare, width);
            side->median[4 * y + k] = (float)median;
            for (size_t x = 0; x < width; x++)
                sum += fabs(spare[x] - median);
        }
        /* of a normal distribution that is 0.8 deviations */
        side->usual[k] = (float)(sum / (double)(width * height) / 0.8);
    }
}

static float ramp(float from, float to, float v)
{
    return (float)uf_smoothstep((double)((v - from) / (to - from)));
}

/* How much a column is the joint's line. */
static float line_share(const UfJoints *joints, size_t from_middle)
{
    float around = (float)joints->around_px;
    return 1 - ramp(0.35F * around, 0.9F * around, (float)from_middle);
}

/* How far a logarithm is from its board's, as much of it as is the joint's. */
static float joint_part(const UfJoints *joints, float off, float usual, size_t from_middle)
{
    float sign = joints->strength < 0 ? -1 : 1, size = fmaxf(sign * off, 0);
    usual += 1e-3F;
    float mark = ramp(FROM_DEVIATIONS * usual, TO_DEVIATIONS * usual, size);
    return sign * size * fmaxf(line_share(joints, from_middle), mark);
}

static UfStatus take_from(const UfCanvas *canvas, const UfJoints *joints, const UfBoardRow *row, size_t x,
                          UfStamp *stamp, UfReport *report)
{
    size_t reach = stamp->reach, width = 2 * reach + 1, around = joints->around_px, edge = stamp->edge;
    Side side[2] = {{.median = uf_alloc(4 * stamp->height, sizeof(float))},
                    {.median = uf_alloc(4 * stamp->height, sizeof(float))}};
    double *spare = uf_alloc(reach, sizeof *spare);
    UfStatus status = UF_OK;
    if (side[0].median == NULL || side[1].median == NULL || spare == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    look_at_side(canvas, row, x - reach, x - around, spare, &side[0]);
    look_at_side(canvas, row, x + around + 1, x + reach + 1, spare, &side[1]);
    for (size_t i = 0; i < width; i++)
        for (size_t k = 0; k < 3; k++) {
            size_t from_middle = i < reach ? reach - i : i - reach;
            const Side *board = &side[i < reach ? 0 : 1];
            double sum = 0;
            for (size_t y = 0; y < stamp->height; y++) {
                float off = log_at(canvas, x + i - reach, row->y0 + y, k) - board->median[4 * y + k];
                float part = joint_part(joints, off, board->usual[k], from_middle);
                stamp->factor[4 * (y * width + i) + k] = expf(part);
                sum += y >= edge && y + edge < stamp->height ? (double)part : 0;
            }
            stamp->line[4 * i + k] =
                expf(line_share(joints, from_middle) * (float)sum / (float)(stamp->height - 2 * edge));
        }
cleanup:
    free(side[0].median);
    free(side[1].median);
    free(spare);
    return status;
}

/* The mean of all joints along, turned. */
static void take_along(const UfCanvas *canvas, const UfJoints *joints, UfStamp *stamp)
{
    size_t reach = stamp->reach, width = 2 * reach + 1, around = joints->around_px;
    for (size_t i = 0; i < width; i++) {
        double sum[3] = {0}, base[3] = {0}, count = 0;
        size_t from_middle = i < reach ? reach - i : i - reach;
        for (size_t j = 0; j < joints->count && from_middle <= around; j++) {
            size_t y = joints->row[j] + i - reach;
            if (joints->row[j] < around || joints->row[j] + around >= canvas->height)
                continue;
            for (size_t x = 0; x < canvas->width; x++) {
                size_t at = y * canvas->width + x, above = (joints->row[j] - around) * canvas->width + x,
                       below = (joints->row[j] + around) * canvas->width + x;
                if (canvas->cell[at] != UF_CELL_SOURCE || canvas->cell[above] != UF_CELL_SOURCE ||
                    canvas->cell[below] != UF_CELL_SOURCE)
                    continue;
                for (size_t k = 0; k < 3; k++) {
                    sum[k] += (double)log_at(canvas, x, y, k);
                    base[k] += 0.5 * (double)(log_at(canvas, x, joints->row[j] - around, k) +
                                              log_at(canvas, x, joints->row[j] + around, k));
                }
                count++;
            }
        }
        for (size_t k = 0; k < 3; k++) {
            float factor = count > 0 ? expf((float)((sum[k] - base[k]) / count)) : 1;
            for (size_t y = 0; y < stamp->height; y++)
                stamp->factor[4 * (y * width + i) + k] = factor;
            stamp->line[4 * i + k] = factor;
        }
    }
}

void uf_stamp_clear(UfStamp *stamp)
{
    free(stamp->factor);
    free(stamp->line);
    *stamp = (UfStamp){0};
}

UfStatus uf_stamp_take(const UfCanvas *canvas, const UfJoints *joints, const UfBoardRow *rows, size_t count,
                       UfStamp *out, UfReport *report)
{
    const UfBoardRow *best = NULL;
    size_t best_x = 0;
    double darkest = -INFINITY, middle_y = (double)canvas->height / 2, middle_x = (double)canvas->width / 2;
    for (size_t r = 0; r < count; r++) {
        size_t reach = (size_t)(NAILS * (double)(rows[r].y1 - rows[r].y0)) + joints->around_px;
        for (size_t e = 0; e < rows[r].end_count; e++) {
            size_t x = rows[r].end[e].x;
            if (!rows[r].end[e].is_whole || !all_source(canvas, &rows[r], x, reach))
                continue;
            /* the nearest to the middle is the sharpest */
            double near = -hypot((double)x - middle_x, (double)rows[r].y0 - middle_y);
            if (near > darkest) {
                darkest = near;
                best = &rows[r];
                best_x = x;
            }
        }
    }
    const UfBoardRow *like = best != NULL ? best : &rows[0];
    UfStamp stamp = {.height = like->y1 - like->y0};
    stamp.around = joints->around_px;
    stamp.edge = uf_smaller(joints->narrow_px + 1, stamp.height / 4);
    stamp.reach = (size_t)(NAILS * (double)stamp.height) + joints->around_px;
    stamp.factor = uf_alloc((2 * stamp.reach + 1) * stamp.height, 4 * sizeof *stamp.factor);
    stamp.line = uf_alloc(2 * stamp.reach + 1, 4 * sizeof *stamp.line);
    UfStatus status = stamp.factor == NULL || stamp.line == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK && best != NULL)
        status = take_from(canvas, joints, best, best_x, &stamp, report);
    else if (status == UF_OK)
        take_along(canvas, joints, &stamp);
    if (status == UF_OK)
        *out = stamp;
    else
        uf_stamp_clear(&stamp);
    return status;
}

/* The mean of a column of a row of boards, without its edges. */
static UfFour column_mean(const UfCanvas *canvas, const UfBoardRow *row, size_t x, size_t edge)
{
    UfFour sum = {0};
    for (size_t y = row->y0 + edge; y + edge < row->y1; y++)
        sum += uf_four_load(canvas->value + 4 * (y * canvas->width + x));
    return sum / uf_four_of((float)(row->y1 - row->y0 - 2 * edge));
}

/* A value times a factor, but no darker (or lighter) than the mean becomes: a joint along is so already. */
static float pressed(float value, float factor, float mean)
{
    float joint = mean * factor;
    return factor < 1 ? fmaxf(value * factor, fminf(value, joint))
                      : fminf(value * factor, fmaxf(value, joint));
}

/* The mean of what is picture of a row of boards in a column, its edges left out; NAN for nothing. */
static double known_mean(const UfCanvas *canvas, const UfBoardRow *row, size_t x, size_t edge)
{
    double sum = 0, count = 0;
    for (size_t y = row->y0 + edge; y + edge < row->y1 && x < canvas->width; y++)
        if (canvas->cell[y * canvas->width + x] == UF_CELL_SOURCE) {
            sum += (double)uf_canvas_grey(canvas, y * canvas->width + x);
            count++;
        }
    return count > 0 ? sum / count : NAN;
}

/* How far what is seen of a joint about a column is from the stamp's line there; NAN where nothing is seen.
 */
static double misfit(const UfStamp *stamp, const UfBoardRow *row, size_t x, const UfCanvas *canvas)
{
    size_t reach = stamp->around;
    double left = known_mean(canvas, row, x - reach, stamp->edge),
           right = known_mean(canvas, row, x + reach, stamp->edge);
    double sum = 0;
    for (size_t i = 0; i <= 2 * reach; i++) {
        const float *line = stamp->line + 4 * (stamp->reach - reach + i);
        double off = known_mean(canvas, row, x - reach + i, stamp->edge) / (i < reach ? left : right) -
                     (double)(line[0] + line[1] + line[2]) / 3;
        sum += off * off;
    }
    return sum;
}

/* A joint that goes on through the hole begins where it is seen: the column, moved by a few to fit best. */
static size_t aligned(const UfStamp *stamp, const UfBoardRow *row, size_t x, const UfCanvas *canvas)
{
    size_t most = stamp->around / 2, best = x;
    double least = misfit(stamp, row, x, canvas);
    for (size_t k = 0; !isnan(least) && k <= 2 * most; k++) {
        double here = misfit(stamp, row, x - most + k, canvas);
        if (here < least) {
            least = here;
            best = x - most + k;
        }
    }
    return best;
}

void uf_stamp_press(const UfStamp *stamp, const UfBoardRow *row, size_t x, UfCanvas *canvas)
{
    size_t width = 2 * stamp->reach + 1, height = row->y1 - row->y0, edge = stamp->edge;
    if (x >= 2 * stamp->around && x + 2 * stamp->around < canvas->width)
        x = aligned(stamp, row, x, canvas);
    edge = 2 * edge + 1 < height ? edge : 0;
    for (size_t i = 0; i < width; i++) {
        size_t at = x + i - stamp->reach;
        if (x + i < stamp->reach || at >= canvas->width)
            continue;
        UfFour mean = column_mean(canvas, row, at, edge);
        for (size_t y = 0; y < height; y++) {
            bool is_edge = y < edge || y + edge >= height;
            size_t cell = (row->y0 + y) * canvas->width + at;
            const float *factor =
                is_edge ? stamp->line + 4 * i : stamp->factor + 4 * (y * stamp->height / height * width + i);
            float *value = canvas->value + 4 * cell;
            if (canvas->cell[cell] != UF_CELL_HOLE)
                continue;
            for (size_t k = 0; k < 3; k++)
                value[k] = is_edge ? pressed(value[k], factor[k], mean[k]) : value[k] * factor[k];
        }
    }
}

/*
 * A leg that sticks out of the cap is dark where the floor is not. On a small copy of the ring (fine texture
 * is averaged out) the colours far from the hole are counted in a coarse histogram; what has a colour that is
 * rare there is odd. A motif or a dark tile occurs more often, so it stays. Odd things that touch the hole
 * are taken for what is to be covered. Others, a patch of sun or a coin, are left where they are, but not
 * copied: unless there are so many that they are what this floor looks like. Neither is copied what the
 * hole's own surroundings do not have, when enough is left: the floor beyond the rug that the tripod stands
 * on.
 */
#include "patch/odd.h"

#include <math.h>

#include "base/memory.h"
#include "patch/patchmatch.h"

/* Side of the small copy. */
#define SMALL_SIDE_PX 220u
/* Colour bins a channel, and the share of the far ring below which a colour is rare. */
#define BINS 16
#define RARE 0.01
/* Rare colours that make up more than this share of the ring are no exceptions. */
#define MOST_RARE 0.06
/* In hole radii: where the far ring begins, and where the hole's surroundings end. */
#define FAR          1.5
#define SURROUNDINGS 1.15
/* Share of the sources that must be left when strangers to the surroundings are not copied. */
#define LEAST_LEFT 0.12
/* What makes up more than this share of the hole's edge is what the hole lies in, not what sticks out of it.
 */
#define MOST_EDGE 0.35
/* A colour nearer than this to the ring's mean is never odd. */
#define LEAST_DIFFERENCE 0.12F
/* Dilation in small pixels: the edges of a thing are mixed. */
#define EDGE_PX 2

/* ODD: a suspect that touches the hole. */
enum { ORDINARY = 0, STRANGER, SUSPECT, ODD };

/* The colours of a part of the ring. */
typedef struct Palette {
    uint32_t *count; /* BINS^3 */
    size_t total;
    float mean[3];
} Palette;

typedef struct Small {
    UfCanvas canvas; /* one of the levels */
    unsigned shift;  /* which of them: log2 of the reduction */
    uint8_t *mark;
    size_t *stack;
    Palette far, surroundings;
} Small;

static void small_clear(Small *s)
{
    free(s->mark);
    free(s->stack);
    free(s->far.count);
    free(s->surroundings.count);
}

static UfStatus small_create(const UfLevels *levels, Small *s, UfReport *report)
{
    s->shift = 1;
    while (s->shift + 1 < levels->count && levels->canvas[s->shift].width > SMALL_SIDE_PX)
        s->shift++;
    s->canvas = levels->canvas[s->shift];
    size_t cells = s->canvas.width * s->canvas.height;
    s->mark = uf_alloc_zero(cells, 1);
    s->stack = uf_alloc(cells, sizeof *s->stack);
    s->far.count = uf_alloc_zero((size_t)BINS * BINS * BINS, sizeof *s->far.count);
    s->surroundings.count = uf_alloc_zero((size_t)BINS * BINS * BINS, sizeof *s->surroundings.count);
    if (s->mark == NULL || s->stack == NULL || s->far.count == NULL || s->surroundings.count == NULL)
        return uf_fail_memory(report);
    return UF_OK;
}

static int bin_of(float value)
{
    int bin = (int)(value * BINS);
    return bin < 0 ? 0 : bin >= BINS ? BINS - 1 : bin;
}

/* Distance from the middle, in small pixels. */
static double distance(const Small *s, size_t i)
{
    size_t x = i % s->canvas.width, y = i / s->canvas.width;
    return hypot((double)x + 0.5 - (double)s->canvas.width / 2,
                 (double)y + 0.5 - (double)s->canvas.height / 2);
}

/* Counts the sources between two distances from the middle. */
static void count_colours(const Small *s, double from, double to, Palette *palette)
{
    double sum[3] = {0};
    for (size_t i = 0; i < s->canvas.width * s->canvas.height; i++) {
        double d = distance(s, i);
        if (s->canvas.cell[i] != UF_CELL_SOURCE || d < from || d >= to)
            continue;
        const float *v = s->canvas.value + 4 * i;
        palette->count[(bin_of(v[0]) * BINS + bin_of(v[1])) * BINS + bin_of(v[2])]++;
        for (int c = 0; c < 3; c++)
            sum[c] += v[c];
        palette->total++;
    }
    for (int c = 0; c < 3; c++)
        palette->mean[c] = palette->total > 0 ? (float)(sum[c] / (double)palette->total) : 0;
}

/* Rare in the palette, the neighbouring bins counted in, and unlike its mean. */
static bool is_rare(const Palette *palette, const float *v)
{
    float difference = 0;
    for (int c = 0; c < 3; c++)
        difference = fmaxf(difference, fabsf(v[c] - palette->mean[c]));
    if (difference < LEAST_DIFFERENCE)
        return false;
    size_t count = 0;
    for (int r = bin_of(v[0]) - 1; r <= bin_of(v[0]) + 1; r++)
        for (int g = bin_of(v[1]) - 1; g <= bin_of(v[1]) + 1; g++)
            for (int b = bin_of(v[2]) - 1; b <= bin_of(v[2]) + 1; b++)
                if (r >= 0 && g >= 0 && b >= 0 && r < BINS && g < BINS && b < BINS)
                    count += palette->count[(r * BINS + g) * BINS + b];
    return (double)count < RARE * (double)palette->total;
}

/* Suspects that hang together with the hole are odd. */
static void flood(Small *s)
{
    size_t w = s->canvas.width, h = s->canvas.height, count = 0;
    for (size_t i = 0; i < w * h; i++)
        if (s->canvas.cell[i] == UF_CELL_HOLE)
            s->stack[count++] = i;
    while (count > 0) {
        size_t i = s->stack[--count], x = i % w, y = i / w;
        size_t near[4] = {x > 0 ? i - 1 : i, x + 1 < w ? i + 1 : i, y > 0 ? i - w : i, y + 1 < h ? i + w : i};
        for (int n = 0; n < 4; n++)
            if (s->mark[near[n]] == SUSPECT) {
                s->mark[near[n]] = ODD;
                s->stack[count++] = near[n];
            }
    }
}

/* Share of the sources next to the hole that are odd. */
static double odd_edge(const Small *s)
{
    size_t w = s->canvas.width;
    double edge = 0, odd = 0;
    for (size_t y = 1; y + 1 < s->canvas.height; y++)
        for (size_t x = 1; x + 1 < w; x++) {
            size_t i = y * w + x;
            const uint8_t *cell = s->canvas.cell + i;
            if (*cell == UF_CELL_SOURCE && (cell[-1] == UF_CELL_HOLE || cell[1] == UF_CELL_HOLE ||
                                            *(cell - w) == UF_CELL_HOLE || cell[w] == UF_CELL_HOLE)) {
                edge++;
                odd += s->mark[i] == ODD;
            }
        }
    return edge > 0 ? odd / edge : 0;
}

static void unmark(Small *s, uint8_t mark)
{
    for (size_t i = 0; i < s->canvas.width * s->canvas.height; i++)
        if (s->mark[i] == mark)
            s->mark[i] = ORDINARY;
}

/* The strongest mark within EDGE_PX. */
static uint8_t mark_near(const Small *s, size_t x, size_t y)
{
    uint8_t strongest = ORDINARY;
    for (size_t j = y > EDGE_PX ? y - EDGE_PX : 0; j <= y + EDGE_PX && j < s->canvas.height; j++)
        for (size_t i = x > EDGE_PX ? x - EDGE_PX : 0; i <= x + EDGE_PX && i < s->canvas.width; i++)
            if (s->mark[j * s->canvas.width + i] > strongest)
                strongest = s->mark[j * s->canvas.width + i];
    return strongest;
}

/* Brings a small pixel's mark to the pixels that it stands for. */
static void apply_block(UfCanvas *canvas, uint8_t mark, size_t x0, size_t y0, size_t side, double reach)
{
    for (size_t y = y0; y < y0 + side && y < canvas->height; y++)
        for (size_t x = x0; x < x0 + side && x < canvas->width; x++) {
            uint8_t *cell = &canvas->cell[y * canvas->width + x];
            double from_middle = hypot((double)x + 0.5 - (double)canvas->width / 2,
                                       (double)y + 0.5 - (double)canvas->height / 2);
            if (*cell == UF_CELL_SOURCE)
                *cell = mark == ODD && from_middle < reach ? UF_CELL_HOLE : UF_CELL_IDLE;
        }
}

static void apply(const Small *s, UfCanvas *canvas, double reach)
{
    for (size_t y = 0; y < s->canvas.height; y++)
        for (size_t x = 0; x < s->canvas.width; x++) {
            uint8_t mark = mark_near(s, x, y);
            if (mark != ORDINARY)
                apply_block(canvas, mark, x << s->shift, y << s->shift, (size_t)1 << s->shift, reach);
        }
}

static size_t count_marks(const Small *s, uint8_t mark)
{
    size_t count = 0;
    for (size_t i = 0; i < s->canvas.width * s->canvas.height; i++)
        count += s->canvas.cell[i] == UF_CELL_SOURCE && s->mark[i] == mark;
    return count;
}

/* Marks the suspects; when they are many, they are none. */
static void mark_suspects(Small *s)
{
    for (size_t i = 0; i < s->canvas.width * s->canvas.height; i++)
        if (s->canvas.cell[i] == UF_CELL_SOURCE && is_rare(&s->far, s->canvas.value + 4 * i))
            s->mark[i] = SUSPECT;
    size_t suspects = count_marks(s, SUSPECT), others = count_marks(s, ORDINARY);
    flood(s);
    if ((double)suspects > MOST_RARE * (double)(suspects + others))
        unmark(s, SUSPECT);
    if (odd_edge(s) > MOST_EDGE)
        unmark(s, ODD);
}

/* Marks what the surroundings do not have, when that leaves enough. */
static void mark_strangers(Small *s)
{
    for (size_t i = 0; i < s->canvas.width * s->canvas.height; i++)
        if (s->canvas.cell[i] == UF_CELL_SOURCE && s->mark[i] == ORDINARY &&
            is_rare(&s->surroundings, s->canvas.value + 4 * i))
            s->mark[i] = STRANGER;
    size_t strangers = count_marks(s, STRANGER), left = count_marks(s, ORDINARY);
    if ((double)left < LEAST_LEFT * (double)(left + strangers))
        unmark(s, STRANGER);
}

UfStatus uf_odd_exclude(UfLevels *levels, double reach, int threads, UfReport *report)
{
    Small s = {0};
    UfBox box;
    UfStatus status = small_create(levels, &s, report);
    if (status == UF_OK && uf_canvas_hole_box(&s.canvas, 0, &box)) {
        double radius = (double)uf_box_width(box) / 2;
        count_colours(&s, FAR * radius, INFINITY, &s.far);
        count_colours(&s, 0, SURROUNDINGS * radius, &s.surroundings);
        mark_suspects(&s);
        mark_strangers(&s);
        apply(&s, &levels->canvas[0], reach);
        uf_levels_mark(levels, threads);
    }
    small_clear(&s);
    return status;
}

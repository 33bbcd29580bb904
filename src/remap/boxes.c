/* Weighing the pixels of boxes. */
#include "remap/boxes.h"

#include "base/cpu.h"
#include "remap/keys.h"
#include "remap/lanes.h"
#include "remap/window.h"

#define ROWS_MAX 512

typedef float FourAt __attribute__((vector_size(16), aligned(4), may_alias));

/* From the moments that stand in `out`, of boxes that lie in one row: of height 0. */
UF_INLINE void size_flat(size_t count, UfBoxes *out)
{
#pragma omp simd
    for (size_t i = 0; i < count; i++) {
        out->bu[i] = out->bu[i] - out->lean[i] * out->lean[i] - 1;
        out->bv[i] = 0;
    }
}

/* In loops that the compiler makes vectors of: it does not where a branch could spare some of the work. */
UF_INLINE void size_high(size_t count, UfBoxes *out)
{
    const float least = UF_BOX_LEAST_PX * UF_BOX_LEAST_PX;
    float level[UF_BOXES_MAX];
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        level[i] = out->bv[i] > 1 ? out->bv[i] : 1;
#pragma omp simd
    for (size_t i = 0; i < count; i++) {
        const float slope = out->lean[i] / level[i];
        out->bu[i] = out->bu[i] - out->lean[i] * slope - 1;
        out->bv[i] = out->bv[i] - 1;
        out->lean[i] = slope;
    }
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        out->bv[i] = out->bv[i] > least ? out->bv[i] : 0;
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        out->bv[i] = sqrtf(out->bv[i]);
}

UF_INLINE void size_of(const UfSlopes *slopes, size_t count, float width_px, UfBoxes *out)
{
    const float least = UF_BOX_LEAST_PX * UF_BOX_LEAST_PX, most = width_px * width_px;
    float highest = 0;
    count = (count + UF_LANES - 1) / UF_LANES * UF_LANES;
#pragma omp simd reduction(max : highest)
    for (size_t i = 0; i < count; i++) {
        const float ux = slopes->ux[i], uy = slopes->uy[i], vx = slopes->vx[i], vy = slopes->vy[i];
        const float high = vx * vx + vy * vy;
        out->bu[i] = ux * ux + uy * uy;
        out->bv[i] = high;
        out->lean[i] = ux * vx + uy * vy;
        highest = high > highest ? high : highest;
    }
    if (highest <= 1)
        size_flat(count, out);
    else
        size_high(count, out);
#pragma omp simd
    for (size_t i = 0; i < count; i++) {
        const float wide = out->bu[i] > least ? out->bu[i] : least;
        out->bu[i] = wide < most ? wide : most;
    }
#pragma omp simd
    for (size_t i = 0; i < count; i++) {
        const float off = fabsf(out->lean[i]) * (out->bv[i] / 2 + 2);
        out->bu[i] = sqrtf(out->bu[i]);
        out->lean[i] = off < UF_BOX_LEAST_LEAN_PX ? 0 : out->lean[i];
    }
}

/*
 * The integral of Keys' cubic up to the place i + t, t in [0, 1), as seen from pixel i + q, in powers of t: a
 * polynomial for each q from -1 to 2, 1 before these and 0 behind them.
 */
#define BEFORE 10 /* the first q in the table is -BEFORE */
#define NOUGHT 0, 0, 0, 0, 0, 0, 0, 0, 0
#define ONE    1, 1, 1, 1, 1, 1, 1, 1, 1
static const float powers[5][BEFORE + 12] = {
    {ONE, 25.0F / 24, 0.5F, -1.0F / 24, 0, NOUGHT},
    {NOUGHT, 0, 1, 0, 0, NOUGHT},
    {NOUGHT, -0.25F, 0, 0.25F, 0, NOUGHT},
    {NOUGHT, 1.0F / 3, -5.0F / 6, 2.0F / 3, -1.0F / 6, NOUGHT},
    {NOUGHT, -0.125F, 0.375F, -0.375F, 0.125F, NOUGHT},
};

#define AT(floats) (*(const UfLanesAt *)(const void *)(floats))

UF_INLINE void integrals(ptrdiff_t q, float t, UfLanes *out)
{
    q = q < -BEFORE ? -BEFORE : q > 3 ? 3 : q;
    const float *at = &powers[0][q + BEFORE];
    const size_t row = sizeof powers[0] / sizeof powers[0][0];
    *out = ((((AT(at + 4 * row) * t + AT(at + 3 * row)) * t + AT(at + 2 * row)) * t + AT(at + row)) * t) +
           AT(at);
}

/* A stretch along one axis, from its first pixel on: the whole pixels between its ends, where in them they
 * lie, and what the integral between them is divided by. */
typedef struct Stretch {
    ptrdiff_t first, apart;
    float from, to, part;
} Stretch;

/* Both ends above 1. */
UF_INLINE Stretch stretch_of(float from, float to)
{
    const int32_t a = (int32_t)from, b = (int32_t)to;
    Stretch out = {.first = a - 1, .apart = b - a, .from = from - (float)a, .to = to - (float)b};
    out.part = 1 / ((float)(b - a) + (out.to - out.from));
    return out;
}

/* Eights of pixels that the stretch reaches. */
UF_INLINE size_t eights_of(const Stretch *s)
{
    return ((size_t)s->apart + 4 + UF_LANES - 1) / UF_LANES;
}

/* What the eight pixels of number `eight` weigh. */
UF_INLINE void weights_of(const Stretch *s, size_t eight, UfLanes *out)
{
    const ptrdiff_t q = UF_LANES * (ptrdiff_t)eight - 1;
    UfLanes from;
    integrals(q - s->apart, s->to, out);
    integrals(q, s->from, &from);
    *out = (*out - from) * s->part;
}

/* The same quarter of a sum, and the one four lanes on, of two boxes: a half for each. */
UF_INLINE void halves_of(const UfLanes *a, const UfLanes *b, UfLanes *out)
{
    *out = __builtin_shufflevector(*a, *b, 0, 1, 2, 3, 8, 9, 10, 11) +
           __builtin_shufflevector(*a, *b, 4, 5, 6, 7, 12, 13, 14, 15);
}

/* Sums over the lanes of all four, for two boxes. */
UF_INLINE void fold(const UfLanes first[4], const UfLanes second[4], float *out_first, float *out_second)
{
    UfLanes a, b, c, d;
    halves_of(&first[0], &second[0], &a);
    halves_of(&first[1], &second[1], &b);
    halves_of(&first[2], &second[2], &c);
    halves_of(&first[3], &second[3], &d);
    const UfLanes ab = __builtin_shufflevector(a, b, 0, 8, 1, 9, 4, 12, 5, 13) +
                       __builtin_shufflevector(a, b, 2, 10, 3, 11, 6, 14, 7, 15);
    const UfLanes cd = __builtin_shufflevector(c, d, 0, 8, 1, 9, 4, 12, 5, 13) +
                       __builtin_shufflevector(c, d, 2, 10, 3, 11, 6, 14, 7, 15);
    const UfLanes all = __builtin_shufflevector(ab, cd, 0, 1, 8, 9, 4, 5, 12, 13) +
                        __builtin_shufflevector(ab, cd, 2, 3, 10, 11, 6, 7, 14, 15);
    *(FourAt *)(void *)out_first = __builtin_shufflevector(all, all, 0, 1, 2, 3);
    *(FourAt *)(void *)out_second = __builtin_shufflevector(all, all, 4, 5, 6, 7);
}

/* A loop over planes that is always written out: sums stay in registers. */
#define FOR_PLANE(number, what)                                                                              \
    if (planes > (number)) {                                                                                 \
        enum { c = (number) };                                                                               \
        what;                                                                                                \
    }
#define FOR_PLANES(what)                                                                                     \
    {                                                                                                        \
        FOR_PLANE(0, what) FOR_PLANE(1, what) FOR_PLANE(2, what) FOR_PLANE(3, what)                          \
    }

/* What is known of boxes before their pixels are looked at. */
typedef struct Ends {
    float from[UF_BOXES_MAX], to[UF_BOXES_MAX], part[UF_BOXES_MAX]; /* as in Stretch, across */
    int32_t shift[UF_BOXES_MAX];  /* 4 less the whole pixels between the ends */
    int32_t offset[UF_BOXES_MAX]; /* of the first pixel, one row before the middle's */
    float down[4][UF_BOXES_MAX];  /* what the four rows about the middle weigh */
    int32_t flat[UF_BOXES_MAX];   /* four rows are all */
} Ends;

/* What all boxes have in common. */
typedef struct Desk {
    const UfBoxes *boxes;
    const UfLight *light;
    ptrdiff_t left, top; /* the boxes' base in the window */
} Desk;

/* Boxes from number `first` to before `last`. */
UF_INLINE void find_ends(const Desk *desk, int first, int last, Ends *out)
{
    const UfBoxes *boxes = desk->boxes;
    const int32_t left = (int32_t)desk->left - 1, top = (int32_t)desk->top - 1,
                  step = (int32_t)desk->light->row_step;
#pragma omp simd
    for (int i = first; i < last; i++) {
        const float half = boxes->bu[i] / 2, begin = boxes->u[i] - half, end = boxes->u[i] + half;
        const int32_t a = (int32_t)begin, b = (int32_t)end, y = (int32_t)boxes->v[i];
        out->from[i] = begin - (float)a;
        out->to[i] = end - (float)b;
        out->part[i] = 1 / ((float)(b - a) + (out->to[i] - out->from[i]));
        out->shift[i] = 4 - (b - a);
        out->offset[i] = (top + y) * step + left + a;
        uf_keys_weights_single(boxes->v[i] - (float)y, &out->down[0][i], &out->down[1][i], &out->down[2][i],
                               &out->down[3][i]);
        out->flat[i] = (boxes->bv[i] == 0) & (boxes->lean[i] == 0);
    }
}

UF_INLINE const float *pixels_at(const Desk *desk, ptrdiff_t x, ptrdiff_t y)
{
    return desk->light->samples + (size_t)(desk->top + y) * desk->light->row_step + (desk->left + x);
}

/* The integrals for the pixels from -1 to 2, for both ends side by side. */
#define BOTH(a, b, c, d)                                                                                     \
    {                                                                                                        \
        a, b, c, d, a, b, c, d                                                                               \
    }
static const UfLanes both_powers[5] = {
    BOTH(25.0F / 24, 0.5F, -1.0F / 24, 0), BOTH(0, 1, 0, 0), BOTH(-0.25F, 0, 0.25F, 0),
    BOTH(1.0F / 3, -5.0F / 6, 2.0F / 3, -1.0F / 6), BOTH(-0.125F, 0.375F, -0.375F, 0.125F)};

/* Boxes whose integrals are found together, well before these are read elsewhere than they were written. */
#define TOGETHER 16

/* What the pixels about the ends of boxes have of the integrals, for the farther end and for the nearer one.
 */
typedef struct Integrals {
    struct {
        float before[4], to[4], behind[4], from[4], none[4];
    } of[TOGETHER];
} Integrals;

/* What never changes. */
UF_INLINE void begin_integrals(Integrals *out)
{
    for (int i = 0; i < TOGETHER; i++)
        for (int k = 0; k < 4; k++) {
            out->of[i].before[k] = 1;
            out->of[i].behind[k] = out->of[i].none[k] = 0;
        }
}

UF_INLINE void find_integrals(const Ends *ends, size_t first, size_t last, Integrals *out)
{
    const UfLanes *const p = both_powers;
    for (size_t i = first; i < last; i++) {
        const float a = ends->from[i], b = ends->to[i];
        const UfLanes t = {a, a, a, a, b, b, b, b};
        const UfLanes all = ((((p[4] * t + p[3]) * t + p[2]) * t + p[1]) * t) + p[0];
        *(FourAt *)(void *)out->of[i - first].from = __builtin_shufflevector(all, all, 0, 1, 2, 3);
        *(FourAt *)(void *)out->of[i - first].to = __builtin_shufflevector(all, all, 4, 5, 6, 7);
    }
}

/* What the eight pixels of small box `i`, whose integrals have number k, weigh: the same as weights_of says.
 */
UF_INLINE void weights_small(const Ends *ends, const Integrals *integrals, size_t i, size_t k, UfLanes *out)
{
    const float *const at = integrals->of[k].before;
    *out = (AT(at + ends->shift[i]) - AT(at + 12)) * ends->part[i];
}

/* Four rows of eight pixels, of every plane: the first row's place, and what rows weigh. */
typedef struct Patch {
    const float *rows[4];
    float weights[4];
} Patch;

UF_INLINE void patch_of(const Desk *desk, const Ends *ends, size_t i, Patch *out)
{
    const float *const at = desk->light->samples + ends->offset[i];
    const size_t down = desk->light->row_step;
    *out = (Patch){{at, at + down, at + 2 * down, at + 3 * down},
                   {ends->down[0][i], ends->down[1][i], ends->down[2][i], ends->down[3][i]}};
}

/* The patch `right` pixels on. */
UF_INLINE void sum_patch(const Patch *patch, size_t right, size_t plane, UfLanes *sum)
{
    const size_t at = plane * UF_LIGHT_PLANE_FLOATS + right;
    const float *const w = patch->weights;
    *sum = (w[0] * AT(patch->rows[0] + at) + w[1] * AT(patch->rows[1] + at)) +
           (w[2] * AT(patch->rows[2] + at) + w[3] * AT(patch->rows[3] + at));
}

/* Most boxes of targets that are hardly coarser than the source. */
UF_INLINE void mean_small(const Desk *desk, const Ends *ends, const Integrals *integrals, size_t i, size_t k,
                          size_t planes, UfLanes sums[4])
{
    Patch patch;
    UfLanes wx;
    patch_of(desk, ends, i, &patch);
    weights_small(ends, integrals, i, k, &wx);
    FOR_PLANES(sum_patch(&patch, 0, c, &sums[c]); sums[c] *= wx)
}

/* Wider ones, but no higher. */
UF_INLINE void mean_flat(const Desk *desk, const Ends *ends, size_t i, size_t planes, UfLanes sums[4])
{
    const Stretch across = {
        .apart = 4 - ends->shift[i], .from = ends->from[i], .to = ends->to[i], .part = ends->part[i]};
    Patch patch;
    patch_of(desk, ends, i, &patch);
    for (size_t k = 0; k < eights_of(&across); k++) {
        UfLanes wx, columns;
        weights_of(&across, k, &wx);
        FOR_PLANES(sum_patch(&patch, k * UF_LANES, c, &columns); sums[c] += columns * wx)
    }
}

/* What the rows weigh, and the first of them. Returns how many there are. */
UF_INLINE size_t rows_of(const UfBoxes *boxes, size_t i, ptrdiff_t *first, float weights[ROWS_MAX])
{
    const float v = boxes->v[i], half = boxes->bv[i] / 2;
    if (!(half > 0)) {
        const int32_t y = (int32_t)v;
        uf_keys_weights_single(v - (float)y, &weights[0], &weights[1], &weights[2], &weights[3]);
        *first = y - 1;
        return 4;
    }
    const Stretch down = stretch_of(v - half, v + half);
    const size_t eights = eights_of(&down);
    for (size_t k = 0; k < eights; k++) {
        UfLanes some;
        weights_of(&down, k, &some);
        memcpy(weights + k * UF_LANES, &some, sizeof some);
    }
    *first = down.first;
    return (size_t)down.apart + 4;
}

UF_INLINE void mean_upright(const Desk *desk, const Stretch *across, ptrdiff_t top, const float *wy,
                            size_t rows, size_t planes, UfLanes sums[4])
{
    for (size_t k = 0; k < eights_of(across); k++) {
        const float *at = pixels_at(desk, across->first + (ptrdiff_t)k * UF_LANES, top);
        UfLanes wx;
        weights_of(across, k, &wx);
        UfLanes columns[4] = {{0}};
        for (size_t r = 0; r < rows; r++, at += desk->light->row_step)
            FOR_PLANES(columns[c] += wy[r] * AT(at + c * UF_LIGHT_PLANE_FLOATS))
        FOR_PLANES(sums[c] += wx * columns[c])
    }
}

UF_INLINE void mean_leaning(const Desk *desk, size_t i, ptrdiff_t top, const float *wy, size_t rows,
                            size_t planes, UfLanes sums[4])
{
    const float u = desk->boxes->u[i], v = desk->boxes->v[i], half = desk->boxes->bu[i] / 2;
    for (size_t r = 0; r < rows; r++) {
        const ptrdiff_t y = top + (ptrdiff_t)r;
        const float middle = u + desk->boxes->lean[i] * ((float)y - v);
        const Stretch across = stretch_of(middle - half, middle + half);
        for (size_t k = 0; k < eights_of(&across); k++) {
            const float *at = pixels_at(desk, across.first + (ptrdiff_t)k * UF_LANES, y);
            UfLanes w;
            weights_of(&across, k, &w);
            w *= wy[r];
            FOR_PLANES(sums[c] += w * AT(at + c * UF_LIGHT_PLANE_FLOATS))
        }
    }
}

UF_INLINE void mean_large(const Desk *desk, size_t i, size_t planes, UfLanes sums[4])
{
    const UfBoxes *boxes = desk->boxes;
    float wy[ROWS_MAX];
    ptrdiff_t top;
    const size_t rows = rows_of(boxes, i, &top, wy);
    if (boxes->lean[i] == 0) {
        const float half = boxes->bu[i] / 2;
        const Stretch across = stretch_of(boxes->u[i] - half, boxes->u[i] + half);
        mean_upright(desk, &across, top, wy, rows, planes, sums);
    } else {
        mean_leaning(desk, i, top, wy, rows, planes, sums);
    }
}

UF_INLINE void mean_one(const Desk *desk, const Ends *ends, const Integrals *integrals, size_t i, size_t k,
                        size_t planes, UfLanes sums[4])
{
    if (ends->flat[i] && ends->shift[i] >= 8 - UF_LANES)
        mean_small(desk, ends, integrals, i, k, planes, sums);
    else if (ends->flat[i])
        mean_flat(desk, ends, i, planes, sums);
    else
        mean_large(desk, i, planes, sums);
}

UF_INLINE void mean_of(const Desk *desk, size_t first, size_t last, size_t planes, float *means)
{
    Ends ends;
    Integrals integrals;
    begin_integrals(&integrals);
    find_ends(desk, (int)first, (int)last, &ends);
    for (size_t next; first < last; first = next) {
        next = first + TOGETHER < last ? first + TOGETHER : last;
        find_integrals(&ends, first, next, &integrals);
        for (size_t i = first; i < next; i += 2) {
            const size_t other = i + 1 < next ? i + 1 : i;
            UfLanes sums[2][4] = {{{0}}};
            mean_one(desk, &ends, &integrals, i, i - first, planes, sums[0]);
            mean_one(desk, &ends, &integrals, other, other - first, planes, sums[1]);
            fold(sums[0], sums[1], means + i * planes, means + other * planes);
        }
    }
}

/* All that boxes from number `first` to before `last` read, lanes that weigh nothing included. False: there
 * are rows too many, or it begins before the base. */
UF_INLINE bool area_of(const UfBoxes *boxes, int first, int last, UfLightArea *out)
{
    float left = INFINITY, top = INFINITY, right = -INFINITY, bottom = -INFINITY, highest = 0;
#pragma omp simd reduction(min : left, top) reduction(max : right, bottom, highest)
    for (int i = first; i < last; i++) {
        const float u = boxes->u[i], v = boxes->v[i], high = boxes->bv[i] / 2;
        const float reach = boxes->bu[i] / 2 + fabsf(boxes->lean[i]) * (high + 3);
        left = u - reach < left ? u - reach : left;
        right = u + reach > right ? u + reach : right;
        top = v - high < top ? v - high : top;
        bottom = v + high > bottom ? v + high : bottom;
        highest = high > highest ? high : highest;
    }
    if (!(left >= 2 && top >= 2 && 2 * highest < ROWS_MAX - 16))
        return false;
    *out =
        (UfLightArea){boxes->base_u + (ptrdiff_t)left - 2, boxes->base_v + (ptrdiff_t)top - 1,
                      boxes->base_u + (ptrdiff_t)right + 3 + UF_LANES, boxes->base_v + (ptrdiff_t)bottom + 3};
    return true;
}

UF_INLINE void means_of(const Desk *desk, size_t first, size_t last, size_t planes, float *means)
{
    switch (planes) {
    case 1:
        mean_of(desk, first, last, 1, means);
        break;
    case 2:
        mean_of(desk, first, last, 2, means);
        break;
    case 3:
        mean_of(desk, first, last, 3, means);
        break;
    default:
        mean_of(desk, first, last, 4, means);
        break;
    }
}

/* The same code, compiled for one instruction set and another. */
typedef struct Tier {
    void (*size)(const UfSlopes *slopes, size_t count, float width_px, UfBoxes *out);
    bool (*area)(const UfBoxes *boxes, int first, int last, UfLightArea *out);
    void (*means)(const Desk *desk, size_t first, size_t last, size_t planes, float *means);
} Tier;

static void size_scalar(const UfSlopes *slopes, size_t count, float width_px, UfBoxes *out)
{
    size_of(slopes, count, width_px, out);
}

static bool area_scalar(const UfBoxes *boxes, int first, int last, UfLightArea *out)
{
    return area_of(boxes, first, last, out);
}

static void means_scalar(const Desk *desk, size_t first, size_t last, size_t planes, float *means)
{
    means_of(desk, first, last, planes, means);
}

static const Tier scalar = {size_scalar, area_scalar, means_scalar};

#if defined(__x86_64__)
#define AVX2 __attribute__((target("avx2")))

AVX2 static void size_avx2(const UfSlopes *slopes, size_t count, float width_px, UfBoxes *out)
{
    size_of(slopes, count, width_px, out);
}

AVX2 static bool area_avx2(const UfBoxes *boxes, int first, int last, UfLightArea *out)
{
    return area_of(boxes, first, last, out);
}

AVX2 static void means_avx2(const Desk *desk, size_t first, size_t last, size_t planes, float *means)
{
    means_of(desk, first, last, planes, means);
}

static const Tier avx2 = {size_avx2, area_avx2, means_avx2};
#endif

static const Tier *tier_of(unsigned cpu_flags)
{
#if defined(__x86_64__)
    if (cpu_flags & UF_CPU_AVX2)
        return &avx2;
#endif
    (void)cpu_flags;
    return &scalar;
}

void uf_boxes_size(const UfSlopes *slopes, size_t count, float width_px, unsigned cpu_flags, UfBoxes *out)
{
    tier_of(cpu_flags)->size(slopes, count, width_px, out);
}

bool uf_boxes_mean(const UfBoxes *boxes, size_t count, UfLight *light, const UfSource *source,
                   UfSample sample, size_t channels, unsigned cpu_flags, UfMeans means)
{
    const Tier *tier = tier_of(cpu_flags);
    UfLightArea area;
    /* as many at once as the room takes */
    for (int first = 0, some = (int)count; first < (int)count;) {
        const int last = first + some < (int)count ? first + some : (int)count;
        const bool there = tier->area(boxes, first, last, &area);
        const ptrdiff_t left = area.left;
        if (!there || !uf_light_take(light, source, sample, channels, cpu_flags, &area)) {
            if (last - first == 1)
                return false;
            some = (last - first) / 2;
            continue;
        }
        const Desk desk = {boxes, light, boxes->base_u + (area.left - left) - light->area.left,
                           boxes->base_v - light->area.top};
        tier->means(&desk, (size_t)first, (size_t)last, channels, means);
        first = last;
    }
    return true;
}

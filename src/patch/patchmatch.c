/* For every place of the hole, where in the source a patch looks most like it. */
#include "patch/patchmatch.h"

#include <math.h>

#include "base/memory.h"

#ifdef __SSE2__
#include <emmintrin.h>
#endif

#define REACH UF_PATCH_REACH
#define SIDE  UF_PATCH_SIDE
/* Tries from the list of repeats in each round. */
#define REPEAT_TRIES 3
#define MOST_CODE    2047.0F

size_t uf_box_width(UfBox box)
{
    return box.x1 - box.x0;
}

size_t uf_box_height(UfBox box)
{
    return box.y1 - box.y0;
}

void uf_matcher_finish(UfMatcher *m)
{
    free(m->code);
    free(m->is_valid);
    free(m->next);
    free(m->run);
    m->code = NULL;
    m->is_valid = NULL;
    m->next = NULL;
    m->run = NULL;
}

void uf_matcher_clear(UfMatcher *m)
{
    uf_matcher_finish(m);
    free(m->is_place);
    free(m->match);
    *m = (UfMatcher){0};
}

/* Columns that one thread goes down, so that what it counts of them stays in the cache. */
#define COLUMNS 128u

/*
 * Marks the pixels of the box whose patch, inside the box, has only cells of a kind, or no such cell: running
 * counts along rows, and of those down the columns. Columns beyond the first and last patch keep their marks.
 */
static void mark_whole(const UfCanvas *canvas, UfBox box, UfCell kind, bool is_kind, int threads,
                       uint8_t *mark)
{
    size_t w = uf_box_width(box), h = uf_box_height(box);
#pragma omp parallel for schedule(static) num_threads(threads)
    for (size_t first = 0; first < w; first += COLUMNS) {
        uint16_t run[COLUMNS] = {0};
        size_t from = first >= SIDE - 1 ? first : SIDE - 1, to = first + COLUMNS < w ? first + COLUMNS : w;
        for (size_t y = 0; y < h; y++) {
            const uint8_t *cell = canvas->cell + (box.y0 + y) * canvas->width + box.x0;
            size_t along = 0;
            for (size_t x = from - (SIDE - 1); x < to; x++) {
                along = (cell[x] == kind) == is_kind ? along + 1 : 0;
                if (x < from)
                    continue;
                run[x - first] = along >= SIDE ? (uint16_t)(run[x - first] + 1) : 0;
                if (y >= SIDE - 1)
                    mark[(y - REACH) * w + x - REACH] = run[x - first] >= SIDE;
            }
        }
    }
}

/* Puts the runs of a row into `run` (or NULL: only counts them); how many. */
static size_t find_runs(UfMatcher *m, size_t y, UfValidRun *run)
{
    const uint8_t *row = m->is_valid + y * m->canvas->width, *end = row + m->canvas->width, *to;
    size_t count = 0;
    for (const uint8_t *from = row; (from = memchr(from, 1, (size_t)(end - from))) != NULL;
         from = to, count++) {
        to = memchr(from, 0, (size_t)(end - from));
        to = to != NULL ? to : end;
        if (run == NULL)
            continue;
        run[count] = (UfValidRun){(uint32_t)m->valid_count, (uint16_t)(from - row), (uint16_t)y};
        m->valid_count += (size_t)(to - from);
    }
    return count;
}

/* All that is copied from is seen whole. */
static bool find_valid(UfMatcher *m)
{
    const UfCanvas *canvas = m->canvas;
    size_t count = 0;
    mark_whole(canvas, (UfBox){0, 0, canvas->width, canvas->height}, UF_CELL_SOURCE, true, m->threads,
               m->is_valid);
    for (size_t y = 0; y < canvas->height; y++)
        count += find_runs(m, y, NULL);
    if (count == 0)
        return true;
    m->run = uf_alloc(count, sizeof *m->run);
    for (size_t y = 0; m->run != NULL && y < canvas->height; y++)
        m->run_count += find_runs(m, y, m->run + m->run_count);
    return m->run != NULL;
}

/* Places: what is no patch without hole, inside the canvas. */
static bool find_places(UfMatcher *m)
{
    const UfCanvas *canvas = m->canvas;
    UfBox box = m->box, wide = {box.x0 > REACH ? box.x0 - REACH : 0, box.y0 > REACH ? box.y0 - REACH : 0,
                                box.x1 + REACH < canvas->width ? box.x1 + REACH : canvas->width,
                                box.y1 + REACH < canvas->height ? box.y1 + REACH : canvas->height};
    size_t width = uf_box_width(box), wide_width = uf_box_width(wide);
    uint8_t *without = uf_alloc_zero(wide_width, uf_box_height(wide));
    if (without == NULL)
        return false;
    mark_whole(canvas, wide, UF_CELL_HOLE, false, m->threads, without);
    for (size_t y = box.y0; y < box.y1; y++)
        for (size_t x = box.x0; x < box.x1; x++) {
            bool inside = x >= REACH && y >= REACH && x + REACH < canvas->width && y + REACH < canvas->height;
            m->is_place[(y - box.y0) * width + x - box.x0] =
                inside && !without[(y - wide.y0) * wide_width + x - wide.x0];
        }
    free(without);
    return true;
}

void uf_matcher_code(UfMatcher *m, size_t first, size_t count)
{
    const float *value = m->canvas->value + 4 * first;
    int16_t *code = m->code + 4 * first;
#ifdef __SSE2__
    const __m128 centre = _mm_loadu_ps(m->centre), scale = _mm_set1_ps(m->scale);
    const __m128 least = _mm_set1_ps(-MOST_CODE), most = _mm_set1_ps(MOST_CODE);
    for (size_t i = 0; i < 4 * count; i += 4) {
        __m128 v = _mm_mul_ps(_mm_sub_ps(_mm_loadu_ps(value + i), centre), scale);
        __m128i codes = _mm_cvtps_epi32(_mm_min_ps(_mm_max_ps(v, least), most));
        _mm_storel_epi64((__m128i *)(void *)(code + i), _mm_packs_epi32(codes, codes));
    }
#else
    for (size_t i = 0; i < 4 * count; i++) {
        float v = (value[i] - m->centre[i % 4]) * m->scale;
        v = v > -MOST_CODE ? v : -MOST_CODE; /* no number: the least */
        code[i] = (int16_t)lrintf(v < MOST_CODE ? v : MOST_CODE);
    }
#endif
}

/* The ring's mean is the middle, and eight of its mean deviations up and down half of the range. */
static void choose_codes(UfMatcher *m)
{
    double deviation = uf_canvas_deviation(m->canvas, m->centre);
    m->scale = (float)(1023 / (8 * fmax(deviation, 1e-6)));
#pragma omp parallel for schedule(static) num_threads(m->threads)
    for (size_t y = 0; y < m->canvas->height; y++)
        uf_matcher_code(m, y * m->canvas->width, m->canvas->width);
}

UfStatus uf_matcher_create(const UfCanvas *canvas, const UfRepeats *repeats, unsigned seed, int threads,
                           UfMatcher *out, UfReport *report)
{
    UfMatcher m = {.canvas = canvas, .repeats = repeats, .seed = seed, .threads = threads};
    if (!uf_canvas_hole_box(canvas, REACH, &m.box))
        return uf_fail(report, UF_ERROR_UNCLEAR, "there is nothing to fill");
    size_t cells = uf_box_width(m.box) * uf_box_height(m.box), all = canvas->width * canvas->height;
    m.is_place = uf_alloc_zero(cells, 1);
    m.match = uf_alloc_zero(cells, sizeof *m.match);
    m.next = uf_alloc_zero(cells, sizeof *m.next);
    m.is_valid = uf_alloc_zero(all, 1);
    m.code = uf_alloc(all, 4 * sizeof *m.code);
    bool has_room = m.is_place && m.match && m.next && m.is_valid && m.code;
    has_room = has_room && find_valid(&m) && find_places(&m);
    if (has_room) {
        uf_prefer_large_pages(m.code, all * 4 * sizeof *m.code);
        uf_prefer_large_pages(m.match, cells * sizeof *m.match);
        uf_prefer_large_pages(m.next, cells * sizeof *m.next);
        choose_codes(&m);
    }
    if (!has_room) {
        uf_matcher_clear(&m);
        return uf_fail_memory(report);
    }
    if (m.valid_count == 0) {
        uf_matcher_clear(&m);
        return uf_fail(report, UF_ERROR_UNCLEAR, "no whole patch of floor is seen around the cap");
    }
    *out = m;
    return UF_OK;
}

/* A good 64-bit mix (the finaliser of SplitMix64; G. Steele, D. Lea, C. Flood, OOPSLA 2014). */
static uint64_t mix(uint64_t z)
{
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

/* The state of a place's random sequence in this round. */
static uint64_t random_start(const UfMatcher *m, size_t place)
{
    return mix(((uint64_t)m->seed << 32 | m->round) * 0x9E3779B97F4A7C15u ^ mix(place + 1));
}

static size_t random_below(uint64_t *state, size_t limit)
{
    *state += 0x9E3779B97F4A7C15u;
    return (size_t)((mix(*state) >> 32) * limit >> 32);
}

#ifdef __SSE2__
/* A row of seven pixels: three vectors of two, and one. */
static inline __m128i row_distance(const int16_t *a, const int16_t *b)
{
    __m128i sum = _mm_setzero_si128();
    for (size_t k = 0; k < 3; k++) {
        __m128i d = _mm_sub_epi16(_mm_loadu_si128((const __m128i *)(const void *)(a + 8 * k)),
                                  _mm_loadu_si128((const __m128i *)(const void *)(b + 8 * k)));
        sum = _mm_add_epi32(sum, _mm_madd_epi16(d, d));
    }
    __m128i d = _mm_sub_epi16(_mm_loadl_epi64((const __m128i *)(const void *)(a + 24)),
                              _mm_loadl_epi64((const __m128i *)(const void *)(b + 24)));
    return _mm_add_epi32(sum, _mm_madd_epi16(d, d));
}

static inline uint32_t sum_of(__m128i v)
{
    v = _mm_add_epi32(v, _mm_shuffle_epi32(v, 0x4e));
    v = _mm_add_epi32(v, _mm_shuffle_epi32(v, 0xb1));
    return (uint32_t)_mm_cvtsi128_si32(v);
}
typedef __m128i Sum;
#define NO_SUM    _mm_setzero_si128()
#define ADD(s, t) _mm_add_epi32(s, t)
#else
typedef uint32_t Sum;
#define NO_SUM    0
#define ADD(s, t) ((s) + (t))
static inline uint32_t row_distance(const int16_t *a, const int16_t *b)
{
    uint32_t sum = 0;
    for (int i = 0; i < 4 * SIDE; i++) {
        int d = a[i] - b[i];
        sum += (uint32_t)(d * d);
    }
    return sum;
}

static inline uint32_t sum_of(uint32_t sum)
{
    return sum;
}
#endif

/* Sum of squared differences: at most 147 x 4094^2. Stops when it reaches `limit`, and says so. */
static inline uint32_t patch_distance(const UfMatcher *m, size_t x, size_t y, long dx, long dy,
                                      uint32_t limit)
{
    static const int stops[] = {2, 4, SIDE}; /* rows after which the sum is looked at */
    size_t stride = 4 * m->canvas->width;
    const int16_t *a = m->code + (y - REACH) * stride + 4 * (x - REACH);
    const int16_t *b = a + dy * (long)stride + 4 * dx;
    Sum sum = NO_SUM;
    uint32_t distance = 0;
    for (int s = 0, j = 0; s < 3 && distance < limit; s++) {
        for (; j < stops[s]; j++, a += stride, b += stride)
            sum = ADD(sum, row_distance(a, b));
        distance = sum_of(sum);
    }
    return distance;
}

static bool is_valid(const UfMatcher *m, long x, long y)
{
    return x >= 0 && y >= 0 && x < (long)m->canvas->width && y < (long)m->canvas->height &&
           m->is_valid[(size_t)y * m->canvas->width + (size_t)x];
}

/* Takes the shift when it is valid and better. */
static inline void consider(const UfMatcher *m, size_t x, size_t y, int dx, int dy, UfMatch *best)
{
    if ((dx == best->dx && dy == best->dy) || !is_valid(m, (long)x + dx, (long)y + dy))
        return;
    uint32_t distance = patch_distance(m, x, y, dx, dy, best->distance);
    if (distance < best->distance)
        *best = (UfMatch){(int16_t)dx, (int16_t)dy, distance};
}

/* Halves the runs until one is left; without branches, as they could not be foreseen. */
static UfMatch random_match(const UfMatcher *m, size_t x, size_t y, uint64_t *state)
{
    uint32_t at = (uint32_t)random_below(state, m->valid_count);
    const UfValidRun *run = m->run;
    for (size_t count = m->run_count; count > 1; count -= count / 2)
        run += run[count / 2].before <= at ? count / 2 : 0;
    return (UfMatch){(int16_t)((long)(run->x + (at - run->before)) - (long)x),
                     (int16_t)((long)run->y - (long)y), UF_NO_DISTANCE};
}

/* The coarse choice of the place's parent, doubled; false where that is not valid here. */
static bool inherited(const UfMatcher *m, const UfMatcher *coarse, size_t x, size_t y, UfMatch *out)
{
    size_t cx = x / 2, cy = y / 2;
    if (cx < coarse->box.x0 || cy < coarse->box.y0 || cx >= coarse->box.x1 || cy >= coarse->box.y1)
        return false;
    size_t place = (cy - coarse->box.y0) * uf_box_width(coarse->box) + cx - coarse->box.x0;
    if (!coarse->is_place[place])
        return false;
    int dx = 2 * coarse->match[place].dx, dy = 2 * coarse->match[place].dy;
    if (!is_valid(m, (long)x + dx, (long)y + dy))
        return false;
    *out = (UfMatch){(int16_t)dx, (int16_t)dy, coarse->match[place].distance};
    return true;
}

void uf_matcher_start(UfMatcher *m, const UfMatcher *coarse)
{
    size_t width = uf_box_width(m->box), cells = width * uf_box_height(m->box);
    m->round++;
#pragma omp parallel for schedule(static) num_threads(m->threads)
    for (size_t p = 0; p < cells; p++) {
        size_t x = m->box.x0 + p % width, y = m->box.y0 + p / width;
        uint64_t state = random_start(m, p);
        if (m->is_place[p] && (coarse == NULL || !inherited(m, coarse, x, y, &m->match[p])))
            m->match[p] = random_match(m, x, y, &state);
    }
    if (coarse == NULL)
        uf_matcher_measure(m, NULL);
}

void uf_matcher_measure(UfMatcher *m, const uint8_t *is_copied)
{
    size_t width = uf_box_width(m->box), cells = width * uf_box_height(m->box);
#pragma omp parallel for schedule(dynamic, 1024) num_threads(m->threads)
    for (size_t p = 0; p < cells; p++)
        if (m->is_place[p])
            m->match[p].distance = is_copied != NULL && is_copied[p]
                                       ? 0
                                       : patch_distance(m, m->box.x0 + p % width, m->box.y0 + p / width,
                                                        m->match[p].dx, m->match[p].dy, UF_NO_DISTANCE);
}

/* (x, y) in the box */
static inline void consider_neighbour(const UfMatcher *m, long x, long y, int ox, int oy, UfMatch *best)
{
    long width = (long)uf_box_width(m->box), height = (long)uf_box_height(m->box);
    if (x + ox < 0 || y + oy < 0 || x + ox >= width || y + oy >= height)
        return;
    size_t q = (size_t)((y + oy) * width + x + ox);
    if (m->is_place[q])
        consider(m, m->box.x0 + (size_t)x, m->box.y0 + (size_t)y, m->match[q].dx, m->match[q].dy, best);
}

static UfMatch search_place(const UfMatcher *m, size_t p, int step, int radius, bool is_wide)
{
    long in_x = (long)(p % uf_box_width(m->box)), in_y = (long)(p / uf_box_width(m->box));
    size_t x = m->box.x0 + (size_t)in_x, y = m->box.y0 + (size_t)in_y;
    UfMatch best = m->match[p];
    if (best.distance == 0) /* nothing is better */
        return best;
    uint64_t state = random_start(m, p);
    consider_neighbour(m, in_x, in_y, step, 0, &best);
    consider_neighbour(m, in_x, in_y, -step, 0, &best);
    consider_neighbour(m, in_x, in_y, 0, step, &best);
    consider_neighbour(m, in_x, in_y, 0, -step, &best);
    for (int i = 0; is_wide && i < REPEAT_TRIES && m->repeats->count > 0; i++) {
        UfShift shift = m->repeats->shift[random_below(&state, m->repeats->count)];
        consider(m, x, y, shift.dx, shift.dy, &best);
        consider(m, x, y, best.dx + shift.dx, best.dy + shift.dy, &best);
    }
    if (is_wide) {
        UfMatch far = random_match(m, x, y, &state);
        consider(m, x, y, far.dx, far.dy, &best);
    }
    for (int r = radius; r >= 1; r /= 2) {
        int dx = best.dx + (int)random_below(&state, 2 * (size_t)r + 1) - r;
        int dy = best.dy + (int)random_below(&state, 2 * (size_t)r + 1) - r;
        consider(m, x, y, dx, dy, &best);
    }
    return best;
}

void uf_matcher_search(UfMatcher *m, int step, int radius, bool is_wide)
{
    size_t cells = uf_box_width(m->box) * uf_box_height(m->box);
    m->round++;
#pragma omp parallel for schedule(dynamic, 1024) num_threads(m->threads)
    for (size_t p = 0; p < cells; p++)
        if (m->is_place[p])
            m->next[p] = search_place(m, p, step, radius, is_wide);
    UfMatch *before = m->match;
    m->match = m->next;
    m->next = before;
}

/* For every place of the hole, where in the source a patch looks most like it. */
#include "patch/patchmatch.h"

#include <math.h>

#include "base/memory.h"

#define REACH UF_PATCH_REACH
#define SIDE  (2 * REACH + 1)
/* Tries from the list of repeats in each round. */
#define REPEAT_TRIES 3

size_t uf_box_width(UfBox box)
{
    return box.x1 - box.x0;
}

size_t uf_box_height(UfBox box)
{
    return box.y1 - box.y0;
}

void uf_matcher_clear(UfMatcher *m)
{
    free(m->is_place);
    free(m->is_valid);
    free(m->match);
    free(m->next);
    free(m->valid_list);
    *m = (UfMatcher){0};
}

/* out = 1 where the row's cells x - REACH .. x + REACH fulfil the test; the patch is separable. */
static bool patch_has_hole(const UfCanvas *canvas, size_t x, size_t y)
{
    for (size_t j = y - REACH; j <= y + REACH; j++)
        for (size_t i = x - REACH; i <= x + REACH; i++)
            if (canvas->cell[j * canvas->width + i] == UF_CELL_HOLE)
                return true;
    return false;
}

/* Valid centres through running counts along rows, then columns. */
static void find_valid(UfMatcher *m)
{
    const UfCanvas *canvas = m->canvas;
    size_t w = canvas->width, h = canvas->height;
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0, run = 0; x < w; x++) {
            run = canvas->cell[y * w + x] == UF_CELL_SOURCE ? run + 1 : 0;
            if (run >= SIDE)
                m->is_valid[y * w + x - REACH] = 1;
        }
    for (size_t x = 0; x < w; x++) {
        size_t run = 0;
        for (size_t y = 0; y < h; y++) {
            run = m->is_valid[y * w + x] ? run + 1 : 0;
            if (y >= REACH)
                m->is_valid[(y - REACH) * w + x] =
                    (uint8_t)((m->is_valid[(y - REACH) * w + x] & 1) | (run >= SIDE ? 2 : 0));
        }
    }
    for (size_t i = 0; i < w * h; i++)
        m->is_valid[i] = m->is_valid[i] >> 1;
    for (size_t i = 0; i < w * h; i++)
        if (m->is_valid[i])
            m->valid_list[m->valid_count++] = i;
}

static void find_places(UfMatcher *m)
{
    size_t width = uf_box_width(m->box);
    for (size_t y = m->box.y0; y < m->box.y1; y++)
        for (size_t x = m->box.x0; x < m->box.x1; x++) {
            bool inside =
                x >= REACH && y >= REACH && x + REACH < m->canvas->width && y + REACH < m->canvas->height;
            m->is_place[(y - m->box.y0) * width + x - m->box.x0] = inside && patch_has_hole(m->canvas, x, y);
        }
}

UfStatus uf_matcher_create(const UfCanvas *canvas, const UfRepeats *repeats, unsigned seed, int threads,
                           UfMatcher *out, UfReport *report)
{
    UfMatcher m = {.canvas = canvas, .repeats = repeats, .seed = seed, .threads = threads};
    if (!uf_canvas_hole_box(canvas, REACH, &m.box))
        return uf_fail(report, UF_ERROR_UNCLEAR, "there is nothing to fill");
    size_t cells = uf_box_width(m.box) * uf_box_height(m.box);
    m.is_place = uf_alloc_zero(cells, 1);
    m.match = uf_alloc_zero(cells, sizeof *m.match);
    m.next = uf_alloc_zero(cells, sizeof *m.next);
    m.is_valid = uf_alloc_zero(canvas->width * canvas->height, 1);
    m.valid_list = uf_alloc(canvas->width * canvas->height, sizeof *m.valid_list);
    if (!m.is_place || !m.match || !m.next || !m.is_valid || !m.valid_list) {
        uf_matcher_clear(&m);
        return uf_fail_memory(report);
    }
    find_valid(&m);
    find_places(&m);
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

/* Sum of squared differences; stops when it exceeds `limit`. */
static float patch_distance(const UfCanvas *canvas, size_t x, size_t y, long dx, long dy, float limit)
{
    size_t stride = 4 * canvas->width;
    const float *a = canvas->value + (y - REACH) * stride + 4 * (x - REACH);
    const float *b = a + dy * (long)stride + 4 * dx;
    float sum = 0;
    for (int j = 0; j < SIDE; j++, a += stride, b += stride) {
        float row = 0;
#pragma omp simd reduction(+ : row)
        for (int i = 0; i < 4 * SIDE; i++) {
            float d = a[i] - b[i];
            row += d * d;
        }
        sum += row;
        if (sum >= limit)
            break;
    }
    return sum;
}

static bool is_valid(const UfMatcher *m, long x, long y)
{
    return x >= 0 && y >= 0 && x < (long)m->canvas->width && y < (long)m->canvas->height &&
           m->is_valid[(size_t)y * m->canvas->width + (size_t)x];
}

/* Takes the shift when it is valid and better. */
static void consider(const UfMatcher *m, size_t x, size_t y, int dx, int dy, UfMatch *best)
{
    if ((dx == best->dx && dy == best->dy) || !is_valid(m, (long)x + dx, (long)y + dy))
        return;
    float distance = patch_distance(m->canvas, x, y, dx, dy, best->distance);
    if (distance < best->distance)
        *best = (UfMatch){dx, dy, distance};
}

static UfMatch random_match(const UfMatcher *m, size_t x, size_t y, uint64_t *state)
{
    size_t at = m->valid_list[random_below(state, m->valid_count)];
    return (UfMatch){(int)(at % m->canvas->width) - (int)x, (int)(at / m->canvas->width) - (int)y, INFINITY};
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
    UfMatch match = {2 * coarse->match[place].dx, 2 * coarse->match[place].dy, INFINITY};
    if (!is_valid(m, (long)x + match.dx, (long)y + match.dy))
        return false;
    *out = match;
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
    uf_matcher_measure(m);
}

void uf_matcher_measure(UfMatcher *m)
{
    size_t width = uf_box_width(m->box), cells = width * uf_box_height(m->box);
#pragma omp parallel for schedule(dynamic, 1024) num_threads(m->threads)
    for (size_t p = 0; p < cells; p++)
        if (m->is_place[p])
            m->match[p].distance = patch_distance(m->canvas, m->box.x0 + p % width, m->box.y0 + p / width,
                                                  m->match[p].dx, m->match[p].dy, INFINITY);
}

static void consider_neighbour(const UfMatcher *m, size_t p, int ox, int oy, UfMatch *best)
{
    long width = (long)uf_box_width(m->box), height = (long)uf_box_height(m->box);
    long x = (long)p % width, y = (long)p / width;
    if (x + ox < 0 || y + oy < 0 || x + ox >= width || y + oy >= height)
        return;
    size_t q = (size_t)((y + oy) * width + x + ox);
    if (m->is_place[q])
        consider(m, m->box.x0 + (size_t)x, m->box.y0 + (size_t)y, m->match[q].dx, m->match[q].dy, best);
}

static UfMatch search_place(const UfMatcher *m, size_t p, int step, int radius, bool is_wide)
{
    size_t x = m->box.x0 + p % uf_box_width(m->box), y = m->box.y0 + p / uf_box_width(m->box);
    UfMatch best = m->match[p];
    uint64_t state = random_start(m, p);
    consider_neighbour(m, p, step, 0, &best);
    consider_neighbour(m, p, -step, 0, &best);
    consider_neighbour(m, p, 0, step, &best);
    consider_neighbour(m, p, 0, -step, &best);
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

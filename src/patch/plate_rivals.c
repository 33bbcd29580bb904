/*
 * The correlation coefficient for every shift at once, over the pixels known in both:
 *
 *     C(d) = sum m n f(x) g(x+d) / sqrt(sum m n f(x)^2 sum m n g(x+d)^2)
 *
 * by FFTs (D. Padfield, Masked Object Registration in the Fourier Domain, IEEE TIP 21(5), 2012). The means,
 * which are about 0 in pictures of detail, are left out.
 */
#include "patch/plate_rivals.h"

#include <fftw3.h>
#include <math.h>

#include "base/memory.h"

typedef struct Correlator {
    int size; /* of the square transforms */
    double *space;
    fftw_complex *still[3], *moved[3]; /* of the mask, the value, its square */
    double *products, *overlap, *squares;
    fftw_plan there, back;
} Correlator;

static size_t bins(const Correlator *c)
{
    return (size_t)c->size * ((size_t)c->size / 2 + 1);
}

static size_t cells(const Correlator *c)
{
    return (size_t)c->size * (size_t)c->size;
}

static void correlator_clear(Correlator *c)
{
    fftw_free(c->space);
    for (size_t k = 0; k < 3; k++) {
        fftw_free(c->still[k]);
        fftw_free(c->moved[k]);
    }
    free(c->products);
    free(c->overlap);
    free(c->squares);
#pragma omp critical(uf_fftw_planner)
    {
        if (c->there != NULL)
            fftw_destroy_plan(c->there);
        if (c->back != NULL)
            fftw_destroy_plan(c->back);
    }
}

static bool correlator_create(Correlator *c, int size)
{
    bool is_whole = true;
    c->size = size;
    c->space = fftw_alloc_real(cells(c));
    c->products = uf_alloc(cells(c), sizeof *c->products);
    c->overlap = uf_alloc(cells(c), sizeof *c->overlap);
    c->squares = uf_alloc(cells(c), sizeof *c->squares);
    for (size_t k = 0; k < 3; k++) {
        c->still[k] = fftw_alloc_complex(bins(c));
        c->moved[k] = fftw_alloc_complex(bins(c));
        is_whole = is_whole && c->still[k] != NULL && c->moved[k] != NULL;
    }
    if (!is_whole || c->space == NULL || c->products == NULL || c->overlap == NULL || c->squares == NULL)
        return false;
#pragma omp critical(uf_fftw_planner)
    {
        c->there = fftw_plan_dft_r2c_2d(size, size, c->space, c->still[0], FFTW_ESTIMATE);
        c->back = fftw_plan_dft_c2r_2d(size, size, c->still[0], c->space, FFTW_ESTIMATE);
    }
    return c->there != NULL && c->back != NULL;
}

/* Transforms of mask, value and square, the picture's middle at the transform's. */
static void transform(Correlator *c, const UfGrey *grey, fftw_complex *out[3])
{
    size_t x0 = ((size_t)c->size - grey->width) / 2, y0 = ((size_t)c->size - grey->height) / 2;
    for (int power = 0; power < 3; power++) {
        memset(c->space, 0, cells(c) * sizeof *c->space);
        for (size_t y = 0; y < grey->height; y++)
            for (size_t x = 0; x < grey->width; x++) {
                size_t i = y * grey->width + x;
                double v = (double)grey->value[i];
                if (grey->known[i])
                    c->space[(y0 + y) * (size_t)c->size + x0 + x] = power == 0 ? 1 : power == 1 ? v : v * v;
            }
        fftw_execute_dft_r2c(c->there, c->space, out[power]);
    }
}

/* sum over x of a(x) b(x + d) into `out`; `room` may be one of the two, which is lost then */
static void correlate(Correlator *c, fftw_complex *a, fftw_complex *b, fftw_complex *room, double *out)
{
    for (size_t i = 0; i < bins(c); i++) {
        double re = a[i][0] * b[i][0] + a[i][1] * b[i][1], im = a[i][0] * b[i][1] - a[i][1] * b[i][0];
        room[i][0] = re / (double)cells(c);
        room[i][1] = im / (double)cells(c);
    }
    fftw_execute_dft_c2r(c->back, room, c->space);
    memcpy(out, c->space, cells(c) * sizeof *out);
}

static bool insert(UfRival *list, size_t most, size_t count, double apart, const UfRival *one)
{
    size_t at = count;
    for (size_t i = 0; i < count; i++)
        if (hypot(list[i].dx - one->dx, list[i].dy - one->dy) < apart) {
            if (list[i].correlation >= one->correlation)
                return false;
            list[i].correlation = -2; /* replaced: sinks to the end below */
        }
    if (count == most) {
        if (list[most - 1].correlation >= one->correlation)
            return false;
        at = most - 1;
    }
    list[at] = *one;
    return at == count;
}

static int better_first(const void *a, const void *b)
{
    const UfRival *p = a, *q = b;
    if (p->correlation != q->correlation)
        return p->correlation > q->correlation ? -1 : 1;
    return p->dy != q->dy ? p->dy - q->dy : p->dx - q->dx;
}

static size_t pick(const Correlator *c, int reach, double apart, bool not_near_zero, size_t least_pixels,
                   UfRival *out, size_t most)
{
    size_t count = 0;
    for (int dy = -reach; dy <= reach; dy++)
        for (int dx = -reach; dx <= reach; dx++) {
            size_t i =
                (size_t)((dy + c->size) % c->size) * (size_t)c->size + (size_t)((dx + c->size) % c->size);
            if (c->overlap[i] < (double)least_pixels || !(c->squares[i] > 1e-9) ||
                (not_near_zero && hypot(dx, dy) < apart))
                continue;
            UfRival one = {dx, dy, c->products[i] / sqrt(c->squares[i])};
            if (count == most && one.correlation <= out[most - 1].correlation)
                continue;
            if (insert(out, most, count, apart, &one))
                count++;
            qsort(out, count, sizeof *out, better_first);
        }
    while (count > 0 && out[count - 1].correlation < -1.5)
        count--;
    return count;
}

UfStatus uf_plate_rivals(const UfGrey *still, const UfGrey *moved, double apart, bool not_near_zero,
                         size_t least_pixels, UfRival *out, size_t most, size_t *count, UfReport *report)
{
    Correlator c = {0};
    size_t side = uf_grey_side(moved), still_side = uf_grey_side(still);
    UfStatus status = UF_OK;
    if (!correlator_create(&c, (int)side)) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    transform(&c, still, c.still);
    transform(&c, moved, c.moved);
    /* each spectrum is written over after its last use */
    correlate(&c, c.still[2], c.moved[0], c.still[2], c.squares);
    correlate(&c, c.still[0], c.moved[2], c.moved[2], c.overlap);
    for (size_t i = 0; i < cells(&c); i++)
        c.squares[i] = c.squares[i] > 0 && c.overlap[i] > 0 ? c.squares[i] * c.overlap[i] : 0;
    correlate(&c, c.still[0], c.moved[0], c.still[0], c.overlap);
    correlate(&c, c.still[1], c.moved[1], c.still[1], c.products);
    *count = pick(&c, (int)((side - still_side) / 2), apart, not_near_zero, least_pixels, out, most);
cleanup:
    correlator_clear(&c);
    return status;
}

/* Running sums along rows, and boxes convolved with the cubic. */
#include "remap/rowsums.h"

#include <math.h>

#include "base/cpu.h"
#include "remap/window.h"

/* A narrower box is as good as none; a lean that moves it by less along the row, too. */
#define LEAST_PX      0.05
#define LEAST_LEAN_PX (1.0 / 256)

UfFootprintBox uf_footprint_box(const UfJacobian *j, double u_px, double v_px, double width_px)
{
    double uu = j->ux * j->ux + j->uy * j->uy, vv = j->vx * j->vx + j->vy * j->vy;
    double uv = j->ux * j->vx + j->uy * j->vy, level = fmax(vv, 1);
    double across = uu - uv * uv / level - 1;
    UfFootprintBox box = {.u_px = u_px, .v_px = v_px, .bu = LEAST_PX, .lean = uv / level};
    if (across > LEAST_PX * LEAST_PX)
        box.bu = sqrt(across) < width_px ? sqrt(across) : width_px;
    if (vv - 1 > LEAST_PX * LEAST_PX)
        box.bv = sqrt(vv - 1);
    if (fabs(box.lean) * (box.bv / 2 + 2) < LEAST_LEAN_PX)
        box.lean = 0;
    return box;
}

double uf_box_reach_v(const UfFootprintBox *box)
{
    return box->bv / 2 + UF_ROWSUMS_BORDER;
}

double uf_box_reach_u(const UfFootprintBox *box)
{
    return box->bu / 2 + fabs(box->lean) * uf_box_reach_v(box) + UF_ROWSUMS_BORDER;
}

bool uf_rowsums_serve(const UfSource *source)
{
    return source->wraps && source->over_top && source->over_bottom && source->width_px % 2 == 0;
}

UF_INLINE double light_of(const UfSource *source, const uint8_t *at, UfSample sample)
{
    if (source->linear != NULL)
        return (double)source->linear[uf_code_load(at, sample)];
    double value = uf_sample_load(at, sample);
    if (sample == UF_SAMPLE_F32 && source->transfer != NULL)
        return (double)uf_transfer_to_linear(source->transfer, (float)value);
    return value / uf_sample_max(sample);
}

UF_INLINE void add_pixels(const UfSource *source, const uint8_t *pixel, size_t count, size_t channels,
                          UfSample sample, double *sum, double (**to)[4])
{
    const bool has_alpha = channels % 2 == 0;
    const size_t colours = channels - has_alpha, bytes = (size_t)sample;
    for (size_t i = 0; i < count; i++, pixel += channels * bytes) {
        double alpha =
            has_alpha ? uf_sample_load(pixel + colours * bytes, sample) / uf_sample_max(sample) : 1;
        if (alpha > 0)
            for (size_t c = 0; c < colours; c++)
                sum[c] += alpha * light_of(source, pixel + c * bytes, sample);
        sum[3] += alpha;
        memcpy(*to, sum, sizeof **to);
        (*to)++;
    }
}

UF_INLINE void add_run(const UfSource *source, const uint8_t *row, ptrdiff_t x, size_t columns,
                       size_t channels, UfSample sample, double (*to)[4])
{
    double sum[4] = {0};
    memcpy(*to++, sum, sizeof *to);
    while (columns > 0) {
        size_t some = (size_t)(source->width_px - x);
        some = some < columns ? some : columns;
        add_pixels(source, row + (size_t)x * channels * (size_t)sample, some, channels, sample, sum, &to);
        columns -= some;
        x = 0;
    }
}

static void add_row(const UfSource *source, const uint8_t *row, ptrdiff_t x, size_t columns, size_t channels,
                    UfSample sample, double (*to)[4])
{
#define CASES(type)                                                                                          \
    switch (channels) {                                                                                      \
    case 1:                                                                                                  \
        add_run(source, row, x, columns, 1, type, to);                                                       \
        break;                                                                                               \
    case 2:                                                                                                  \
        add_run(source, row, x, columns, 2, type, to);                                                       \
        break;                                                                                               \
    case 3:                                                                                                  \
        add_run(source, row, x, columns, 3, type, to);                                                       \
        break;                                                                                               \
    default:                                                                                                 \
        add_run(source, row, x, columns, 4, type, to);                                                       \
        break;                                                                                               \
    }
    if (sample == UF_SAMPLE_U8) {
        CASES(UF_SAMPLE_U8)
    } else if (sample == UF_SAMPLE_U16) {
        CASES(UF_SAMPLE_U16)
    } else {
        CASES(UF_SAMPLE_F32)
    }
#undef CASES
}

bool uf_rowsums_take(const UfSource *source, UfSample sample, size_t channels, ptrdiff_t left, ptrdiff_t top,
                     size_t columns, size_t rows, UfRowSums *out)
{
    const ptrdiff_t width = source->width_px, height = source->height_px;
    if (columns >= out->room || rows > out->room / (columns + 1) || rows > (size_t)height)
        return false;
    out->left = left;
    out->top = top;
    out->columns = columns;
    out->rows = rows;
    for (size_t r = 0; r < rows; r++) {
        ptrdiff_t y = top + (ptrdiff_t)r, x = left;
        if (y < 0 || y >= height) { /* over the pole, into the opposite meridian */
            y = y < 0 ? -1 - y : 2 * height - 1 - y;
            x += width / 2;
        }
        x %= width;
        add_row(source, source->data + (size_t)y * source->stride_bytes, x < 0 ? x + width : x, columns,
                channels, sample, out->sums + r * (columns + 1));
    }
    return true;
}

/* The integral of Keys' cubic from its left end to z, z in [0, 1], and in [1, 2]. */
UF_INLINE double integral_inner(double z)
{
    return 0.5 + z * (1 + z * z * (3.0 / 8 * z - 5.0 / 6));
}

UF_INLINE double integral_outer(double z)
{
    return 1.0 / 3 + z * (2 + z * (-2 + z * (5.0 / 6 - z / 8)));
}

UF_INLINE double integral(double z)
{
    double size = z < 0 ? -z : z;
    size = size < 2 ? size : 2;
    double inner = integral_inner(size), outer = integral_outer(size);
    double part = size <= 1 ? inner : outer;
    return z < 0 ? 1 - part : part;
}

/* What the sums in front of pixels i - 1 .. i + 3 weigh in the integral up to the place i + t, in pixels'
 * centres. */
UF_INLINE void end_weights(double t, double weights[5])
{
    double a = integral_outer(1 + t), b = integral_inner(t), c = 1 - integral_inner(1 - t),
           d = 1 - integral_outer(2 - t);
    weights[0] = 1 - a;
    weights[1] = a - b;
    weights[2] = b - c;
    weights[3] = c - d;
    weights[4] = d;
}

/* A pixel of the sums. */
typedef double Vector __attribute__((vector_size(32), aligned(8)));

/* One end of a box on a row: the first of five sums, counted from the row's first, and what they weigh. */
typedef struct End {
    ptrdiff_t first;
    double weights[5];
} End;

/* u_px counts from the region's left. */
UF_INLINE void set_end(double u_px, End *end)
{
    double y = u_px - 0.5;
    ptrdiff_t i = (ptrdiff_t)y; /* above 0 */
    end->first = i - 1;
    end_weights(y - (double)i, end->weights);
}

/* Adds the row's part, of that weight, to the sum. */
UF_INLINE void add_box(const double (*row)[4], const End *left, const End *right, double weight, Vector *sum)
{
    const double(*from)[4] = row + left->first, (*to)[4] = row + right->first;
    Vector part = right->weights[0] * *(const Vector *)(const void *)to[0] -
                  left->weights[0] * *(const Vector *)(const void *)from[0];
    for (int k = 1; k < 5; k++)
        part += right->weights[k] * *(const Vector *)(const void *)to[k] -
                left->weights[k] * *(const Vector *)(const void *)from[k];
    *sum += weight * part;
}

UF_INLINE void mean_of(const UfRowSums *sums, const UfFootprintBox *box, UfLightSum *mean)
{
    const double v = box->v_px - (double)sums->top, u = box->u_px - (double)sums->left;
    const double from = v - 0.5 - box->bv / 2, to = v - 0.5 + box->bv / 2; /* in rows' centres */
    const ptrdiff_t first = (ptrdiff_t)from - 1, last = (ptrdiff_t)to + 2; /* both are above 0 */
    const double part = 1 / (box->bv > 0 ? box->bu * box->bv : box->bu);
    double keys[4];
    Vector total = {0};
    End left, right;
    uf_keys_weights(from - (double)(first + 1), keys);
    set_end(u - box->bu / 2, &left);
    set_end(u + box->bu / 2, &right);
    for (ptrdiff_t r = first; r <= last; r++) {
        /* the integral over the cubic about this row */
        double weight = box->bv > 0 ? integral(to - (double)r) - integral(from - (double)r) : keys[r - first];
        if (box->lean != 0) {
            const double centre = u + box->lean * ((double)r + 0.5 - v);
            set_end(centre - box->bu / 2, &left);
            set_end(centre + box->bu / 2, &right);
        }
        add_box((const double(*)[4])sums->sums + (size_t)r * (sums->columns + 1), &left, &right,
                part * weight, &total);
    }
    for (int c = 0; c < 3; c++)
        mean->colour[c] = total[c];
    mean->alpha = total[3];
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static void mean_avx2(const UfRowSums *sums, const UfFootprintBox *box,
                                                      UfLightSum *mean)
{
    mean_of(sums, box, mean);
}
#endif

void uf_rowsums_mean(const UfRowSums *sums, const UfFootprintBox *box, unsigned cpu_flags, UfLightSum *mean)
{
#if defined(__x86_64__)
    if (cpu_flags & UF_CPU_AVX2) {
        mean_avx2(sums, box, mean);
        return;
    }
#endif
    (void)cpu_flags;
    mean_of(sums, box, mean);
}

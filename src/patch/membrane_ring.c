/*
 * The ring that the membrane is spanned from.
 *
 * A column's value is a weighted mean over half a degree of rows. The weights are alpha, times Huber's (P. J.
 * Huber, Robust Statistics, 1981: 1 near the centre, c/|residual| beyond) about a broad running mean along
 * the ring: a single dark pixel hardly counts, so it leaves no ray. Gaps without any weight are bridged
 * linearly. Then, in the spectrum, detail finer than the ring is high is taken out with exp(-(k delta/2)^4).
 */
#include "patch/membrane_ring.h"

#include <math.h>

#include "base/clones.h"
#include "base/memory.h"
#include "base/report.h"
#include "patch/rows.h"

#define BROAD_RAD    (2.0 * UF_PI / 180)
#define HUBER        2.0
#define SPREAD_FLOOR (2.0 / 255)
/* Columns whose sums stay in the cache. */
#define RUN ((size_t)512)

/* The ring's samples, which are loaded run by run each time they are looked at: as floats they would take
 * many times the picture's bytes. */
typedef struct Samples {
    const UfPicture *panorama;
    const UfCap *cap;
    size_t first_ring;
    bool is_float;
    double *weight, *mean; /* of every column; count x channels */
    double limit;          /* beyond it a sample counts less; 0: all count as their alpha says */
} Samples;

/* A piece of a row. */
typedef struct Piece {
    float colour[3 * RUN], alpha[RUN];
    double far[RUN]; /* from the mean of its place */
} Piece;

static void samples_clear(Samples *s)
{
    free(s->weight);
    free(s->mean);
}

void uf_ring_clear(UfRing *ring)
{
    free(ring->values);
    *ring = (UfRing){0};
}

static void load(const UfRing *ring, const Samples *s, size_t row, size_t first, size_t count, Piece *out)
{
    uf_run_load(s->panorama, uf_cap_row(s->cap, s->first_ring + row), first, count, out->colour, out->alpha);
    for (size_t i = 0; s->is_float && i < count * ring->channels; i++)
        if (!isfinite(out->colour[i])) {
            out->alpha[i / ring->channels] = 0;
            out->colour[i] = 0;
        }
}

/* The largest of a sample's residuals over the channels. */
UF_CLONES static void residuals(const double *mean, size_t count, size_t channels, Piece *piece)
{
    for (size_t x = 0; x < count; x++) {
        double largest = 0;
        for (size_t c = 0; c < channels; c++) {
            double size = fabs(piece->colour[x * channels + c] - mean[x * channels + c]);
            largest = size > largest ? size : largest;
        }
        piece->far[x] = largest;
    }
}

UF_CLONES static void add_piece(const Piece *piece, size_t count, size_t channels, double *values,
                                double *weight)
{
    for (size_t x = 0; x < count; x++) {
        weight[x] += piece->alpha[x];
        for (size_t c = 0; c < channels; c++)
            values[x * channels + c] += (double)piece->alpha[x] * piece->colour[x * channels + c];
    }
}

/* Weighted means of `count` columns from `first` on: row by row, each column's sum on its own. */
static void column_run(UfRing *ring, const Samples *s, size_t first, size_t count)
{
    const size_t channels = ring->channels;
    double *values = ring->values + first * channels, *weight = s->weight + first;
    Piece piece;
    memset(weight, 0, count * sizeof *weight);
    memset(values, 0, count * channels * sizeof *values);
    for (size_t row = 0; row < ring->rows; row++) {
        load(ring, s, row, first, count, &piece);
        if (s->limit > 0)
            residuals(s->mean + first * channels, count, channels, &piece);
        for (size_t x = 0; s->limit > 0 && x < count; x++)
            if (piece.far[x] > s->limit)
                piece.alpha[x] *= (float)(s->limit / piece.far[x]);
        add_piece(&piece, count, channels, values, weight);
    }
    for (size_t x = 0; x < count; x++)
        for (size_t c = 0; c < channels; c++)
            values[x * channels + c] = weight[x] > 0 ? values[x * channels + c] / weight[x] : 0;
}

/* Weighted mean of each column into ring->values, its weight into s->weight. */
static void column_means(UfRing *ring, const Samples *s)
{
#pragma omp parallel for schedule(static) num_threads(s->cap->threads)
    for (size_t x = 0; x < ring->count; x += RUN)
        column_run(ring, s, x, ring->count - x < RUN ? ring->count - x : RUN);
}

/* Weighted running mean over 2 reach + 1 columns, round the ring. */
static void broad_means(const UfRing *ring, Samples *s, size_t reach)
{
    size_t n = ring->count;
    double sum[3] = {0}, weight = 0;
    for (size_t i = 0; i < 2 * reach + 1; i++) {
        size_t x = (i + n - reach) % n;
        weight += s->weight[x];
        for (size_t c = 0; c < ring->channels; c++)
            sum[c] += s->weight[x] * ring->values[x * ring->channels + c];
    }
    for (size_t x = 0; x < n; x++) {
        for (size_t c = 0; c < ring->channels; c++)
            s->mean[x * ring->channels + c] = weight > 1e-6 ? sum[c] / weight : 0;
        size_t in = (x + reach + 1) % n, out = (x + n - reach) % n;
        weight += s->weight[in] - s->weight[out];
        for (size_t c = 0; c < ring->channels; c++)
            sum[c] += s->weight[in] * ring->values[in * ring->channels + c] -
                      s->weight[out] * ring->values[out * ring->channels + c];
    }
}

/* Samples that are far from the mean of their place will have Huber's weight. The spread is the mean absolute
 * residual: no sort is needed. Every row has its own sum, so that these do not depend on threads. */
static UfStatus find_limit(const UfRing *ring, Samples *s, UfReport *report)
{
    double *sums = uf_alloc_zero(ring->rows, 2 * sizeof *sums), sum = 0, weight = 0;
    if (sums == NULL)
        return uf_fail_memory(report);
#pragma omp parallel for schedule(static) num_threads(s->cap->threads)
    for (size_t row = 0; row < ring->rows; row++)
        for (size_t first = 0; first < ring->count; first += RUN) {
            const size_t count = ring->count - first < RUN ? ring->count - first : RUN;
            Piece piece;
            load(ring, s, row, first, count, &piece);
            residuals(s->mean + first * ring->channels, count, ring->channels, &piece);
            for (size_t x = 0; x < count; x++) {
                sums[2 * row] += piece.alpha[x] * piece.far[x];
                sums[2 * row + 1] += piece.alpha[x];
            }
        }
    for (size_t row = 0; row < ring->rows; row++) {
        sum += sums[2 * row];
        weight += sums[2 * row + 1];
    }
    free(sums);
    s->limit = HUBER * fmax(SPREAD_FLOOR, sum / fmax(weight, 1e-6));
    return UF_OK;
}

/* Linear bridges over columns without weight; false when there is no column with weight. */
static bool bridge_gaps(UfRing *ring, const Samples *s)
{
    size_t n = ring->count, start = 0;
    double enough = 0.05 * (double)ring->rows;
    while (start < n && s->weight[start] < enough)
        start++;
    if (start == n)
        return false;
    for (size_t left = start; left < start + n;) {
        size_t right = left + 1;
        while (s->weight[right % n] < enough)
            right++;
        for (size_t x = left + 1; x < right; x++)
            for (size_t c = 0; c < ring->channels; c++) {
                double t = (double)(x - left) / (double)(right - left);
                ring->values[x % n * ring->channels + c] =
                    (1 - t) * ring->values[left % n * ring->channels + c] +
                    t * ring->values[right % n * ring->channels + c];
            }
        left = right;
    }
    return true;
}

UfStatus uf_ring_read(const UfPicture *panorama, const UfCap *cap, UfRing *out, UfReport *report)
{
    UfStatus status = UF_OK;
    Samples s = {.panorama = panorama, .cap = cap, .is_float = uf_picture_sample(panorama) == UF_SAMPLE_F32};
    UfRing ring = {.count = cap->width_px, .channels = uf_colour_channels(panorama)};
    ring.step_rad = UF_PI / (double)cap->height_px;
    ring.edge_rad = uf_cap_outer_rad(cap);
    size_t first = s.first_ring = uf_cap_ring_count(cap, ring.edge_rad);
    ring.first_rad = uf_cap_ring_angle_rad(cap, first);
    ring.rows = (size_t)ceil(UF_RING_RAD / ring.step_rad);
    ring.rows = ring.rows < 2 ? 2 : ring.rows;
    if (ring.rows > cap->height_px - first)
        ring.rows = cap->height_px - first;
    ring.values = uf_alloc(ring.count * ring.channels, sizeof *ring.values);
    s.weight = uf_alloc(ring.count, sizeof *s.weight);
    s.mean = uf_alloc(ring.count * ring.channels, sizeof *s.mean);
    if (ring.values == NULL || s.weight == NULL || s.mean == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    size_t reach = (size_t)ceil(BROAD_RAD / sin(ring.edge_rad) / (2 * UF_PI) * (double)ring.count);
    reach = reach > ring.count / 4 ? ring.count / 4 : reach;
    column_means(&ring, &s);
    broad_means(&ring, &s, reach);
    status = find_limit(&ring, &s, report);
    if (status != UF_OK)
        goto cleanup;
    column_means(&ring, &s);
    if (!bridge_gaps(&ring, &s))
        status =
            uf_fail(report, UF_ERROR_UNCLEAR,
                    "the ring around the cap of %.2f degrees holds no picture to continue: give a larger cap",
                    uf_degrees(ring.edge_rad));
cleanup:
    samples_clear(&s);
    if (status == UF_OK)
        *out = ring;
    else
        uf_ring_clear(&ring);
    return status;
}

double uf_ring_gain(const UfRing *ring, size_t k)
{
    double detail = (double)k * (double)ring->rows * ring->step_rad / sin(ring->edge_rad) / 2;
    double kept = exp(-pow(detail, 4)), rim = tan(ring->edge_rad / 2), carried = 0;
    if (!(kept > 0))
        return 0;
    for (size_t r = 0; r < ring->rows; r++)
        carried += pow(tan((ring->first_rad + (double)r * ring->step_rad) / 2) / rim, (double)k);
    carried /= (double)ring->rows;
    double gain = kept / carried;
    return isfinite(gain) ? gain : 0;
}

double uf_ring_lift(const UfRing *ring, size_t k)
{
    double rim = tan(ring->edge_rad / 2), lift = 0;
    for (size_t row = 0; row < ring->rows; row++) {
        double r = tan((ring->first_rad + (double)row * ring->step_rad) / 2) / rim;
        lift += pow(r, (double)k) * (r * r - 1) / 2;
    }
    return lift / (double)ring->rows;
}

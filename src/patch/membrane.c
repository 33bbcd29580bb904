/*
 * The membrane.
 *
 * The stereographic projection about the pole is conformal, so a function that is harmonic on the cap is
 * harmonic in its plane, where the cap is a disc of radius tan(edge/2). There Poisson's integral is a Fourier
 * series: with a_k the coefficients of the values on the rim,
 *
 *     u(theta, lambda) = sum over k of a_k (tan(theta/2) / tan(edge/2))^|k| e^(i k lambda).
 *
 * One real transform takes the ring apart, one puts a row together again; pole and seam need no care. Away
 * from the rim few rows are made so: a cubic goes through them, nearer than any picture shows
 * (membrane_nodes.h). It is the solution of the Laplace equation that seamless cloning asks for, without
 * iterations (P. Perez, M. Gangnet, A. Blake, Poisson Image Editing, ACM TOG 22(3), 2003). Conformality: J.
 * P. Snyder, USGS PP 1395 (1987), section 21. From a picture the first orders keep its slope at the rim, too:
 * membrane_slope.h.
 */
#include "patch/membrane.h"

#include <fftw3.h>
#include <math.h>
#include <omp.h>

#include "base/clones.h"
#include "base/memory.h"
#include "base/report.h"
#include "patch/membrane_nodes.h"
#include "patch/membrane_ring.h"
#include "patch/membrane_slope.h"

/* A harmonic that has decayed below this is nothing, even in 16 bits. */
#define NOTHING 1e-7
/* What a cubic may be off by: an eighth of a step of 16 bits; of float's values, the same part of their mean.
 */
#define TOLERANCE (1.0 / 8 / 65535)
/* Nearer nodes than this many rows gain nothing. */
#define LEAST_ROWS 3.0
/* Transformed rows that are held, at least 4; rows that are made ready together. */
#define SLOTS 16u
#define BATCH 64u

/* What a thread works in. */
typedef struct Workspace {
    fftw_complex *terms; /* harmonics */
    double *row;         /* count */
} Workspace;

/* One of the rows asked for: a mixture of transformed ones, whose slots are `from`. */
typedef struct Mixture {
    size_t from[4];
    float weight[4];
} Mixture;

/* A transformed row, kept for the rows to come. */
typedef struct Slot {
    bool is_needed; /* by the rows that are ready, or will be */
    bool is_new;    /* still to be transformed */
    double ratio;   /* NaN: empty */
    float *row;     /* count x channels */
} Slot;

struct UfMembrane {
    size_t count, channels, harmonics; /* harmonics = count/2 + 1 */
    size_t present;                    /* from here on they are 0 in all channels; at least UF_SLOPE_ORDERS */
    double rim;                        /* tan(edge/2) */
    int threads;
    fftw_complex *spectrum; /* channels x harmonics, already divided by count */
    UfSlope slope;          /* zeros from a bare ring */
    UfNodes nodes;
    Slot slots[SLOTS];
    Mixture ready[BATCH];
    Workspace *work; /* one a thread */
    fftw_plan inverse;
};

void uf_membrane_free(UfMembrane **membrane)
{
    if (membrane == NULL || *membrane == NULL)
        return;
    UfMembrane *m = *membrane;
    if (m->inverse != NULL)
        fftw_destroy_plan(m->inverse);
    for (int t = 0; m->work != NULL && t < m->threads; t++) {
        fftw_free(m->work[t].terms);
        fftw_free(m->work[t].row);
    }
    for (size_t i = 0; i < SLOTS; i++)
        free(m->slots[i].row);
    free(m->work);
    fftw_free(m->spectrum);
    free(m);
    *membrane = NULL;
}

static bool allocate(UfMembrane *m)
{
    m->spectrum = fftw_alloc_complex(m->channels * m->harmonics);
    m->work = uf_alloc_zero((size_t)m->threads, sizeof *m->work);
    if (m->spectrum == NULL || m->work == NULL)
        return false;
    for (int t = 0; t < m->threads; t++) {
        m->work[t].terms = fftw_alloc_complex(m->harmonics);
        m->work[t].row = fftw_alloc_real(m->count);
        if (m->work[t].terms == NULL || m->work[t].row == NULL)
            return false;
    }
    for (size_t i = 0; i < SLOTS; i++) {
        m->slots[i].ratio = NAN;
        m->slots[i].row = uf_alloc(m->count * m->channels, sizeof *m->slots[i].row);
        if (m->slots[i].row == NULL)
            return false;
    }
    return true;
}

static bool analyse(UfMembrane *m, const double *values)
{
    fftw_plan forward = fftw_plan_dft_r2c_1d((int)m->count, m->work[0].row, m->work[0].terms, FFTW_ESTIMATE);
    if (forward == NULL)
        return false;
    for (size_t c = 0; c < m->channels; c++) {
        for (size_t i = 0; i < m->count; i++)
            m->work[0].row[i] = values[i * m->channels + c] / (double)m->count;
        fftw_execute(forward);
        memcpy(m->spectrum + c * m->harmonics, m->work[0].terms, m->harmonics * sizeof *m->spectrum);
    }
    fftw_destroy_plan(forward);
    m->inverse = fftw_plan_dft_c2r_1d((int)m->count, m->work[0].terms, m->work[0].row, FFTW_ESTIMATE);
    return m->inverse != NULL;
}

static void count_present(UfMembrane *m)
{
    for (m->present = m->harmonics; m->present > UF_SLOPE_ORDERS; m->present--)
        for (size_t c = 0; c < m->channels; c++) {
            const double *last = m->spectrum[c * m->harmonics + m->present - 1];
            if (last[0] != 0 || last[1] != 0)
                return;
        }
}

/*
 * Places the nodes, to `part` of the tolerance. A harmonic's fourth derivative is k (k - 1) (k - 2) (k - 3)
 * c_k r^(k - 4), twice for its conjugate; of what the slope adds, r^2 (r^2 - 1)/2 alone has one.
 */
static bool plan_nodes(UfMembrane *m, double part)
{
    count_present(m);
    size_t count = m->present > 4 ? m->present - 4 : 1;
    double *bend = uf_alloc_zero(count, sizeof *bend);
    if (bend == NULL)
        return false;
    for (size_t c = 0; c < m->channels; c++)
        bend[0] = fmax(bend[0], 24 * hypot(m->slope.excess[c][2][0], m->slope.excess[c][2][1]));
    for (size_t k = 4; k < m->present; k++) {
        double most = 0, order = (double)k;
        for (size_t c = 0; c < m->channels; c++)
            most =
                fmax(most, hypot(m->spectrum[c * m->harmonics + k][0], m->spectrum[c * m->harmonics + k][1]));
        bend[k - 4] += 2 * most * order * (order - 1) * (order - 2) * (order - 3);
    }
    m->nodes = uf_nodes_plan(bend, count, LEAST_ROWS * UF_PI / (double)m->count / m->rim, part * TOLERANCE);
    free(bend);
    return true;
}

/* All but the nodes. */
static UfStatus create(const double *values, size_t count, size_t channels, double edge_rad, int threads,
                       UfMembrane **out, UfReport *report)
{
    UfMembrane *m = uf_alloc_zero(1, sizeof *m);
    if (m == NULL)
        return uf_fail_memory(report);
    m->count = count;
    m->channels = channels;
    m->harmonics = count / 2 + 1;
    m->rim = tan(edge_rad / 2);
    m->threads = threads;
    if (!allocate(m) || !analyse(m, values)) {
        uf_membrane_free(&m);
        return uf_fail_memory(report);
    }
    *out = m;
    return UF_OK;
}

UfStatus uf_membrane_from_ring(const double *values, size_t count, size_t channels, double edge_rad,
                               int threads, UfMembrane **out, UfReport *report)
{
    UfStatus status = create(values, count, channels, edge_rad, threads, out, report);
    if (status == UF_OK && !plan_nodes(*out, 1)) {
        uf_membrane_free(out);
        status = uf_fail_memory(report);
    }
    return status;
}

/* The ring's coefficients brought to the edge: what the slope adds to its mean goes off first. */
static void bring_to_edge(UfMembrane *m, const UfRing *ring)
{
    for (size_t k = 0; k < m->harmonics; k++) {
        double gain = uf_ring_gain(ring, k), lift = k < UF_SLOPE_ORDERS ? uf_ring_lift(ring, k) : 0;
        for (size_t c = 0; c < m->channels; c++)
            for (size_t i = 0; i < 2; i++) {
                double *value = &m->spectrum[c * m->harmonics + k][i];
                *value = gain * (*value - (k < UF_SLOPE_ORDERS ? lift * m->slope.excess[c][k][i] : 0));
            }
    }
}

/* 1, or where values have no given range the smallest mean of a channel. */
static double range_of(const UfMembrane *m, UfSample sample)
{
    double least = 1;
    for (size_t c = 0; sample == UF_SAMPLE_F32 && c < m->channels; c++)
        least = fmin(least, fabs(m->spectrum[c * m->harmonics][0]));
    return least;
}

UfStatus uf_membrane_from_picture(const UfPicture *panorama, const UfCap *cap, UfMembrane **out,
                                  UfReport *report)
{
    UfRing ring = {0};
    UfStatus status = uf_ring_read(panorama, cap, &ring, report);
    if (status != UF_OK)
        return status;
    UfMembrane *m = NULL;
    status = create(ring.values, ring.count, ring.channels, ring.edge_rad, cap->threads, &m, report);
    if (status == UF_OK)
        status = uf_slope_read(panorama, cap, &m->slope, report);
    if (status == UF_OK) {
        bring_to_edge(m, &ring);
        status = plan_nodes(m, range_of(m, uf_picture_sample(panorama))) ? UF_OK : uf_fail_memory(report);
    }
    if (status == UF_OK) {
        *out = m;
    } else {
        uf_membrane_free(&m);
    }
    uf_ring_clear(&ring);
    return status;
}

/* Channel c of the row at `ratio` of the rim's radius, below 0 beyond the pole. */
static void transform_row(const UfMembrane *m, double ratio, size_t c, int thread, float *out)
{
    fftw_complex *terms = m->work[thread].terms;
    fftw_complex *spectrum = m->spectrum + c * m->harmonics;
    double decay = 1;
    size_t k = 0;
    double lift = (ratio * ratio - 1) / 2;
    for (; k < m->present && fabs(decay) > NOTHING; k++) {
        for (size_t i = 0; i < 2; i++)
            terms[k][i] =
                decay * (spectrum[k][i] + (k < UF_SLOPE_ORDERS ? lift * m->slope.excess[c][k][i] : 0));
        decay *= ratio;
    }
    memset(terms + k, 0, (m->harmonics - k) * sizeof *terms);
    fftw_execute_dft_c2r(m->inverse, terms, m->work[thread].row);
    for (size_t i = 0; i < m->count; i++)
        out[i * m->channels + c] = (float)m->work[thread].row[i];
}

static void transform_rows(UfMembrane *m)
{
    const Slot *fresh[SLOTS];
    size_t count = 0;
    for (size_t i = 0; i < SLOTS; i++) {
        if (m->slots[i].is_new)
            fresh[count++] = &m->slots[i];
        m->slots[i].is_new = false;
    }
#pragma omp parallel for collapse(2) schedule(static) num_threads(m->threads)
    for (size_t i = 0; i < count; i++)
        for (size_t c = 0; c < m->channels; c++)
            transform_row(m, fresh[i]->ratio, c, omp_get_thread_num(), fresh[i]->row);
}

/* Gets a row's nodes their slots; false where no slot is free. */
static bool claim_slots(UfMembrane *m, const UfNodePlace *place, size_t from[4])
{
    for (size_t i = 0; i < 4; i++) {
        from[i] = 0;
        while (from[i] < SLOTS && m->slots[from[i]].ratio != place->ratio[i])
            from[i]++;
        if (from[i] < SLOTS)
            m->slots[from[i]].is_needed = true;
    }
    for (size_t i = 0; i < 4; i++) {
        if (i > 0 && place->ratio[i] == place->ratio[i - 1])
            from[i] = from[i - 1];
        if (from[i] < SLOTS)
            continue;
        from[i] = 0;
        while (from[i] < SLOTS && m->slots[from[i]].is_needed)
            from[i]++;
        if (from[i] == SLOTS)
            return false;
        Slot *slot = &m->slots[from[i]];
        slot->is_needed = slot->is_new = true;
        slot->ratio = place->ratio[i];
    }
    return true;
}

/* Nodes and weights of the row at `ratio`, or the row itself where no nodes will do. */
static UfNodePlace place_of(const UfMembrane *m, double ratio)
{
    UfNodePlace place;
    if (!uf_nodes_place(&m->nodes, ratio, &place))
        place = (UfNodePlace){{ratio, ratio, ratio, ratio}, {1, 0, 0, 0}};
    return place;
}

size_t uf_membrane_ready(UfMembrane *m, const double *angles_rad, size_t count)
{
    size_t r = 0;
    for (size_t i = 0; i < SLOTS; i++)
        m->slots[i].is_needed = false;
    for (; r < count && r < BATCH; r++) {
        UfNodePlace place = place_of(m, fmin(1, tan(angles_rad[r] / 2) / m->rim));
        if (!claim_slots(m, &place, m->ready[r].from))
            break;
        memcpy(m->ready[r].weight, place.weight, sizeof place.weight);
    }
    transform_rows(m);
    return r;
}

UF_CLONES static void mix(const float *const from[4], const float weight[4], size_t count, float *out)
{
    const float *a = from[0], *b = from[1], *c = from[2], *d = from[3];
#pragma omp simd
    for (size_t i = 0; i < count; i++)
        out[i] = (weight[0] * a[i] + weight[1] * b[i]) + (weight[2] * c[i] + weight[3] * d[i]);
}

void uf_membrane_run(const UfMembrane *m, size_t row, size_t x0_px, size_t count, float *out)
{
    const Mixture *mixture = &m->ready[row];
    const float *from[4];
    for (size_t i = 0; i < 4; i++)
        from[i] = m->slots[mixture->from[i]].row + x0_px * m->channels;
    mix(from, mixture->weight, count * m->channels, out);
}

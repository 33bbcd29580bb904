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
/* Nodes' rows that are held, at least 4; rows that are made together; values of a row interpolated at a time.
 */
#define SLOTS 16u
#define BATCH 64u
#define RUN   2048u

/* What a thread works in. */
typedef struct Workspace {
    fftw_complex *terms; /* harmonics */
    double *row;         /* count */
} Workspace;

/* What is to be transformed, and where it goes. */
typedef struct Task {
    double ratio;
    float *out;
} Task;

/* One of the rows asked for: between nodes, whose slots are `from`. */
typedef struct Between {
    float *out;
    size_t from[4];
    float weight[4];
} Between;

/* Rows that are made together. */
typedef struct Batch {
    Task tasks[BATCH + SLOTS];
    Between rows[BATCH];
    size_t task_count, row_count;
} Batch;

/* A node's row, kept for the rows to come. */
typedef struct Slot {
    bool is_needed; /* by the batch at hand */
    double ratio;   /* NaN: empty */
    float *row;     /* count x channels */
} Slot;

struct UfMembrane {
    size_t count, channels, harmonics; /* harmonics = count/2 + 1 */
    double rim;                        /* tan(edge/2) */
    int threads;
    fftw_complex *spectrum; /* channels x harmonics, already divided by count */
    UfSlope slope;          /* zeros from a bare ring */
    UfNodes nodes;
    Slot slots[SLOTS];
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

/*
 * Places the nodes, to `part` of the tolerance. A harmonic's fourth derivative is k (k - 1) (k - 2) (k - 3)
 * c_k r^(k - 4), twice for its conjugate; of what the slope adds, r^2 (r^2 - 1)/2 alone has one.
 */
static bool plan_nodes(UfMembrane *m, double part)
{
    size_t count = m->harmonics > 4 ? m->harmonics - 4 : 1;
    double *bend = uf_alloc_zero(count, sizeof *bend);
    if (bend == NULL)
        return false;
    for (size_t c = 0; c < m->channels; c++)
        bend[0] = fmax(bend[0], 24 * hypot(m->slope.excess[c][2][0], m->slope.excess[c][2][1]));
    for (size_t k = 4; k < m->harmonics; k++) {
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
    for (; k < m->harmonics && fabs(decay) > NOTHING; k++) {
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

static void transform_rows(const UfMembrane *m, const Task *tasks, size_t count)
{
#pragma omp parallel for collapse(2) schedule(static) num_threads(m->threads)
    for (size_t t = 0; t < count; t++)
        for (size_t c = 0; c < m->channels; c++)
            transform_row(m, tasks[t].ratio, c, omp_get_thread_num(), tasks[t].out);
}

static void mix_run(const UfMembrane *m, const Between *row, size_t first, size_t end)
{
    const float *a = m->slots[row->from[0]].row, *b = m->slots[row->from[1]].row;
    const float *c = m->slots[row->from[2]].row, *d = m->slots[row->from[3]].row;
    const float *w = row->weight;
    float *out = row->out;
#pragma omp simd
    for (size_t i = first; i < end; i++)
        out[i] = (w[0] * a[i] + w[1] * b[i]) + (w[2] * c[i] + w[3] * d[i]);
}

/* Run after run from top to bottom: the nodes' part stays in the cache. */
static void mix_rows(const UfMembrane *m, const Between *rows, size_t count)
{
    size_t values = m->count * m->channels;
#pragma omp parallel for schedule(static) num_threads(m->threads)
    for (size_t first = 0; first < values; first += RUN)
        for (size_t r = 0; r < count; r++)
            mix_run(m, &rows[r], first, values - first < RUN ? values : first + RUN);
}

/* Gets a row's nodes slots, and those that are not filled a task; false where no slot is free. */
static bool claim_slots(UfMembrane *m, const UfNodePlace *place, Batch *batch, size_t from[4])
{
    for (size_t i = 0; i < 4; i++) {
        from[i] = 0;
        while (from[i] < SLOTS && m->slots[from[i]].ratio != place->ratio[i])
            from[i]++;
        if (from[i] < SLOTS)
            m->slots[from[i]].is_needed = true;
    }
    for (size_t i = 0; i < 4; i++) {
        if (from[i] < SLOTS)
            continue;
        from[i] = 0;
        while (from[i] < SLOTS && m->slots[from[i]].is_needed)
            from[i]++;
        if (from[i] == SLOTS)
            return false;
        Slot *slot = &m->slots[from[i]];
        slot->is_needed = true;
        slot->ratio = place->ratio[i];
        batch->tasks[batch->task_count++] = (Task){slot->ratio, slot->row};
    }
    return true;
}

/* As many rows as there are slots for their nodes; their number, at least 1 where `count` is. */
static size_t fill_batch(UfMembrane *m, const double *angles_rad, size_t count, float *out)
{
    Batch batch = {.row_count = 0};
    size_t r = 0;
    for (size_t i = 0; i < SLOTS; i++)
        m->slots[i].is_needed = false;
    for (; r < count && r < BATCH; r++) {
        double ratio = fmin(1, tan(angles_rad[r] / 2) / m->rim);
        float *row = out + r * m->count * m->channels;
        UfNodePlace place;
        if (!uf_nodes_place(&m->nodes, ratio, &place)) {
            batch.tasks[batch.task_count++] = (Task){ratio, row};
            continue;
        }
        Between *between = &batch.rows[batch.row_count];
        between->out = row;
        memcpy(between->weight, place.weight, sizeof place.weight);
        if (!claim_slots(m, &place, &batch, between->from))
            break;
        batch.row_count++;
    }
    transform_rows(m, batch.tasks, batch.task_count);
    mix_rows(m, batch.rows, batch.row_count);
    return r;
}

void uf_membrane_rows(UfMembrane *m, const double *angles_rad, size_t count, float *out)
{
    for (size_t done = 0; done < count;)
        done += fill_batch(m, angles_rad + done, count - done, out + done * m->count * m->channels);
}

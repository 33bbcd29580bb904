/*
 * The membrane.
 *
 * The stereographic projection about the pole is conformal, so a function that is harmonic on the cap is
 * harmonic in its plane, where the cap is a disc of radius tan(edge/2). There Poisson's integral is a Fourier
 * series: with a_k the coefficients of the values on the rim,
 *
 *     u(theta, lambda) = sum over k of a_k (tan(theta/2) / tan(edge/2))^|k| e^(i k lambda).
 *
 * One real transform takes the ring apart, one a row puts it together again; pole and seam need no care. It
 * is the solution of the Laplace equation that seamless cloning asks for, without iterations (P. Perez, M.
 * Gangnet, A. Blake, Poisson Image Editing, ACM TOG 22(3), 2003). Conformality: J. P. Snyder, USGS PP 1395
 * (1987), section 21. From a picture the first orders keep its slope at the rim, too: membrane_slope.h.
 */
#include "patch/membrane.h"

#include <fftw3.h>
#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/membrane_ring.h"
#include "patch/membrane_slope.h"

/* A harmonic that has decayed below this is nothing, even in 16 bits. */
#define NOTHING 1e-7

/* What a thread works in. */
typedef struct Workspace {
    fftw_complex *terms; /* harmonics */
    double *row;         /* count */
} Workspace;

struct UfMembrane {
    size_t count, channels, harmonics; /* harmonics = count/2 + 1 */
    double rim;                        /* tan(edge/2) */
    int threads;
    fftw_complex *spectrum; /* channels x harmonics, already divided by count */
    UfSlope slope;          /* zeros from a bare ring */
    Workspace *work;        /* one a thread */
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

UfStatus uf_membrane_from_ring(const double *values, size_t count, size_t channels, double edge_rad,
                               int threads, UfMembrane **out, UfReport *report)
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

UfStatus uf_membrane_from_picture(const UfPicture *panorama, const UfCap *cap, UfMembrane **out,
                                  UfReport *report)
{
    UfRing ring = {0};
    UfStatus status = uf_ring_read(panorama, cap, &ring, report);
    if (status != UF_OK)
        return status;
    UfMembrane *m = NULL;
    status = uf_membrane_from_ring(ring.values, ring.count, ring.channels, ring.edge_rad, cap->threads, &m,
                                   report);
    if (status == UF_OK)
        status = uf_slope_read(panorama, cap, &m->slope, report);
    if (status == UF_OK) {
        bring_to_edge(m, &ring);
        *out = m;
    } else {
        uf_membrane_free(&m);
    }
    uf_ring_clear(&ring);
    return status;
}

static void one_row(const UfMembrane *m, double angle_rad, size_t c, int thread, float *out)
{
    fftw_complex *terms = m->work[thread].terms;
    fftw_complex *spectrum = m->spectrum + c * m->harmonics;
    double ratio = fmin(1, tan(angle_rad / 2) / m->rim);
    double decay = 1;
    size_t k = 0;
    double lift = (ratio * ratio - 1) / 2;
    for (; k < m->harmonics && decay > NOTHING; k++) {
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

void uf_membrane_rows(const UfMembrane *m, const double *angles_rad, size_t count, float *out)
{
#pragma omp parallel for collapse(2) schedule(static) num_threads(m->threads)
    for (size_t r = 0; r < count; r++)
        for (size_t c = 0; c < m->channels; c++)
            one_row(m, angles_rad[r], c, omp_get_thread_num(), out + r * m->count * m->channels);
}

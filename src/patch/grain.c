/*
 * Making grain: white noise, filtered in the Fourier domain to the measured spectrum, colours together. Of a
 * Gaussian texture the spectrum is all there is (B. Galerne, Y. Gousseau, J.-M. Morel, Random Phase Textures,
 * IEEE Trans. Image Processing 20(1), 2011, 257-267).
 *
 * Two tiles, periodic, with two samples a pixel of the panorama's equator, lie over the tangent plane, turned
 * against each other, and are added: their periods never fall together, so no pattern repeats. They are read
 * with Keys' cubic; what that loses on the average is given before.
 */
#include "patch/grain.h"

#include <fftw3.h>
#include <math.h>

#include "base/cpu.h"
#include "base/memory.h"
#include "base/report.h"
#include "patch/grain_cubic.h"
#include "patch/grain_spectrum.h"
#include "patch/grain_tile.h"
#include "patch/region.h"
#include "patch/rows.h"

#define FINE         2 /* samples a pixel */
#define TILES        2
#define HALVES       (TILE / 2 + 1)
#define LEAST_WEIGHT 0.02
#define TILE         UF_GRAIN_TILE
#define SIDE         UF_GRAIN_SIDE
#define CHUNK        UF_GRAIN_CHUNK

struct UfGrain {
    float *tiles;  /* TILES x SIDE x SIDE x 4 */
    float *around; /* width x 2: cosine and sine of each column's longitude */
    size_t channels;
    double variance[3];
    double pixel_rad;
};

/* How the tiles are turned and moved: no simple angle, no simple part of the period. */
static const double lie[TILES][4] = {{0.9480237, 0.3182091, 37.31, 90.77},
                                     {0.6041773, -0.7968500, 201.13, 11.59}};

void uf_grain_free(UfGrain **grain)
{
    if (grain == NULL || *grain == NULL)
        return;
    free((*grain)->tiles);
    free((*grain)->around);
    free(*grain);
    *grain = NULL;
}

double uf_grain_sigma(const UfGrain *grain, size_t c)
{
    return sqrt(grain->variance[c]);
}

/* splitmix64 (G. Steele, D. Lea, C. Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014) of a
 * count: 0 < u < 1 */
static double uniform(uint64_t count)
{
    uint64_t z = count * 0x9E3779B97F4A7C15U;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBU;
    z ^= z >> 31;
    return ((double)(z >> 11) + 0.5) / 9007199254740992.0;
}

/* Normal, of variance 1 (G. Box, M. Muller 1958). */
static void white_noise(uint64_t stream, double *out)
{
    uint64_t count = (stream + 1) << 32;
    for (size_t i = 0; i < TILE * TILE; i += 2, count += 2) {
        double radius = sqrt(-2 * log(uniform(count))), angle = 2 * UF_PI * uniform(count + 1);
        out[i] = radius * cos(angle);
        out[i + 1] = radius * sin(angle);
    }
}

/* Lower triangle L with L L' the covariance; what is not positive in it counts as 0. */
static void factorise(double covariance[3][3], size_t channels, double l[3][3])
{
    for (size_t j = 0; j < channels; j++) {
        double rest = covariance[j][j];
        for (size_t k = 0; k < j; k++)
            rest -= l[j][k] * l[j][k];
        l[j][j] = rest > 1e-6 * covariance[j][j] ? sqrt(rest) : 0;
        for (size_t i = j + 1; i < channels; i++) {
            double value = covariance[i][j];
            for (size_t k = 0; k < j; k++)
                value -= l[i][k] * l[j][k];
            l[i][j] = l[j][j] > 0 ? value / l[j][j] : 0;
        }
    }
}

/* Between the middles of two bins. */
static void covariance_at(const UfGrainSpectrum *s, double bin, double out[3][3])
{
    size_t low = (size_t)bin;
    double part = bin - (double)low;
    for (size_t i = 0; i < 9; i++) {
        double a = low < UF_GRAIN_BINS ? s->density[low][i / 3][i % 3] : 0;
        double b = low + 1 < UF_GRAIN_BINS ? s->density[low + 1][i / 3][i % 3] : a;
        out[i / 3][i % 3] = bin <= UF_GRAIN_BINS - 0.5 ? a + part * (b - a) : 0;
    }
}

/* White spectra of all channels become coloured ones. */
static void colour_waves(const UfGrainSpectrum *s, size_t channels, fftw_complex *const waves[3])
{
    double kept[TILE / 2 + 1];
    for (size_t k = 0; k <= TILE / 2; k++)
        kept[k] = uf_cubic_kept_power((double)k / (double)TILE);
    for (size_t ky = 0; ky < TILE; ky++)
        for (size_t kx = 0; kx < HALVES; kx++) {
            size_t folded = ky <= TILE / 2 ? ky : TILE - ky;
            double covariance[3][3], l[3][3] = {{0}};
            covariance_at(s, hypot((double)kx, (double)folded) * UF_GRAIN_BLOCK_PX * FINE / (double)TILE,
                          covariance);
            factorise(covariance, channels, l);
            /* from density to power a sample, and as much more as reading will lose; FFTW's factor */
            double scale = sqrt(FINE * FINE / (kept[kx] * kept[folded]) / TILES) / ((double)TILE * TILE);
            fftw_complex *at[3] = {NULL};
            for (size_t c = 0; c < channels; c++)
                at[c] = &waves[c][ky * HALVES + kx];
            for (size_t part = 0; part < 2; part++)
                for (size_t i = channels; i-- > 0;) {
                    double sum = 0;
                    for (size_t j = 0; j <= i; j++)
                        sum += l[i][j] * (*at[j])[part];
                    (*at[i])[part] = sum * scale;
                }
        }
}

static UfStatus make_tile(const UfGrainSpectrum *s, size_t channels, uint64_t stream, float *out,
                          UfReport *report)
{
    double *samples = fftw_alloc_real(TILE * TILE);
    fftw_complex *waves[3] = {NULL};
    fftw_plan there = NULL, back = NULL;
    bool good = samples != NULL;
    for (size_t c = 0; c < channels; c++) {
        waves[c] = fftw_alloc_complex(TILE * HALVES);
        good = good && waves[c] != NULL;
    }
    if (good) {
        there = fftw_plan_dft_r2c_2d((int)TILE, (int)TILE, samples, waves[0], FFTW_ESTIMATE);
        back = fftw_plan_dft_c2r_2d((int)TILE, (int)TILE, waves[0], samples, FFTW_ESTIMATE);
        good = there != NULL && back != NULL;
    }
    for (size_t c = 0; good && c < channels; c++) {
        white_noise(stream + c, samples);
        fftw_execute_dft_r2c(there, samples, waves[c]);
    }
    if (good)
        colour_waves(s, channels, waves);
    for (size_t c = 0; good && c < channels; c++) {
        fftw_execute_dft_c2r(back, waves[c], samples);
        for (size_t i = 0; i < SIDE * SIDE; i++)
            out[4 * i + c] = (float)samples[i / SIDE % TILE * TILE + i % SIDE % TILE];
    }
    fftw_destroy_plan(there);
    fftw_destroy_plan(back);
    fftw_free(samples);
    for (size_t c = 0; c < 3; c++)
        fftw_free(waves[c]);
    return good ? UF_OK : uf_fail_memory(report);
}

static UfStatus make(const UfGrainSpectrum *s, const UfCap *cap, size_t channels, unsigned seed,
                     UfGrain **out, UfReport *report)
{
    UfGrain *grain = uf_alloc_zero(1, sizeof *grain);
    if (grain == NULL)
        return uf_fail_memory(report);
    UfStatus status = UF_OK;
    grain->channels = channels;
    grain->pixel_rad = 2 * UF_PI / (double)cap->width_px;
    grain->tiles = uf_alloc_zero(TILES * SIDE * SIDE, 4 * sizeof *grain->tiles);
    grain->around = uf_alloc(cap->width_px, 2 * sizeof *grain->around);
    if (grain->tiles == NULL || grain->around == NULL) {
        uf_grain_free(&grain);
        return uf_fail_memory(report);
    }
    for (size_t t = 0; status == UF_OK && t < TILES; t++)
        status = make_tile(s, channels, ((uint64_t)seed * TILES + t) * 3, grain->tiles + t * 4 * SIDE * SIDE,
                           report);
    if (status != UF_OK) {
        uf_grain_free(&grain);
        return status;
    }
    for (size_t x = 0; x < cap->width_px; x++) {
        double lon_rad = (((double)x + 0.5) / (double)cap->width_px - 0.5) * 2 * UF_PI;
        grain->around[2 * x] = (float)cos(lon_rad);
        grain->around[2 * x + 1] = (float)sin(lon_rad);
    }
    memcpy(grain->variance, s->variance, sizeof grain->variance);
    *out = grain;
    return UF_OK;
}

UfStatus uf_grain_measure(const UfPicture *panorama, const UfCap *cap, unsigned seed, UfGrain **out,
                          UfReport *report)
{
    UfGrainSpectrum spectrum;
    bool has_grain = false;
    UfStatus status = uf_grain_spectrum(panorama, cap, &spectrum, &has_grain, report);
    *out = NULL;
    if (status == UF_OK && has_grain)
        status = make(&spectrum, cap, uf_colour_channels(panorama), seed, out, report);
    return status;
}

static void read_plainly(const float *tile, const float turn[4], const float *x_px, const float *y_px,
                         float (*out)[4])
{
    uf_grain_read_inline(tile, turn, x_px, y_px, out);
}

static UfGrainRead *reader(void)
{
#if defined(__x86_64__)
    if (uf_cpu_flags() & UF_CPU_AVX2)
        return uf_grain_read_avx2;
#endif
    return read_plainly;
}

/* Adds what all tiles have at CHUNK places. */
static void add_tiles(const UfGrain *grain, const float *x_px, const float *y_px, float (*out)[4])
{
    UfGrainRead *read = reader();
    for (size_t t = 0; t < TILES; t++) {
        const float turn[4] = {(float)(FINE * lie[t][0]), (float)(FINE * lie[t][1]), (float)lie[t][2],
                               (float)lie[t][3]};
        read(grain->tiles + t * 4 * SIDE * SIDE, turn, x_px, y_px, out);
    }
}

void uf_grain_at(const UfGrain *grain, double x_px, double y_px, float out[4])
{
    float x[CHUNK] = {(float)x_px}, y[CHUNK] = {(float)y_px}, values[CHUNK][4] = {{0}};
    add_tiles(grain, x, y, values);
    memcpy(out, values[0], sizeof values[0]);
}

/* Of a fill of weight w; near 0, where nothing of it will be seen, not without bounds. */
static float strength_of(double w)
{
    return w >= 1 ? 1 : (float)sqrt((2 - w) / fmax(w, LEAST_WEIGHT));
}

/* `count` pixels of a row of the fill from column `x0` on, up to CHUNK. */
static void add_chunk(const UfGrain *grain, const UfCap *cap, size_t y_px, size_t x0, size_t count,
                      float *fill)
{
    float across_px[CHUNK] = {0}, down_px[CHUNK] = {0}, weights[CHUNK], values[CHUNK][4] = {{0}};
    float radius_px = (float)(uf_cap_ring_angle_rad(cap, uf_cap_row(cap, y_px)) / grain->pixel_rad);
    const float *around = grain->around + 2 * x0;
    for (size_t i = 0; i < count; i++) {
        across_px[i] = radius_px * around[2 * i];
        down_px[i] = radius_px * around[2 * i + 1];
    }
    add_tiles(grain, across_px, down_px, values);
    uf_cap_weights(cap, y_px, x0, count, weights);
    for (size_t i = 0; i < count; i++) {
        float strength = strength_of((double)weights[i]);
        for (size_t c = 0; c < grain->channels; c++)
            fill[i * grain->channels + c] += strength * values[i][c];
    }
}

/* Chunk after chunk from top to bottom: what they need of the tiles lies close together. */
void uf_grain_add(const UfGrain *grain, const UfCap *cap, size_t y0, size_t count, float *fill)
{
    size_t width = cap->width_px;
#pragma omp parallel for schedule(static) num_threads(cap->threads)
    for (size_t x = 0; x < width; x += CHUNK)
        for (size_t i = 0; i < count; i++)
            add_chunk(grain, cap, y0 + i, x, width - x < CHUNK ? width - x : CHUNK,
                      fill + (i * width + x) * grain->channels);
}

/*
 * Making grain: white noise, drawn in the Fourier domain with the measured spectrum, colours together. Of a
 * Gaussian texture the spectrum is all there is (B. Galerne, Y. Gousseau, J.-M. Morel, Random Phase Textures,
 * IEEE Trans. Image Processing 20(1), 2011, 257-267).
 *
 * Two tiles, periodic, with three samples a pixel of the panorama's equator, lie over the tangent plane,
 * turned against each other, and are added: their periods never fall together, so no pattern repeats. They
 * are read bilinearly; what that loses on the average is given before. Samples are bytes, so that what is
 * read next lies in the cache; their steps are a 27th of the noise's deviation or finer.
 */
#include "patch/grain.h"

#include <fftw3.h>
#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/four.h"
#include "patch/grain_spectrum.h"
#include "patch/grain_tile.h"
#include "patch/region.h"
#include "patch/rows.h"

#define FINE         3 /* samples a pixel */
#define HALVES       (TILE / 2 + 1)
#define LEAST_WEIGHT 0.02
#define MOST_SIGMAS  6 /* of a sample */
#define TILE         UF_GRAIN_TILE
#define SIDE         UF_GRAIN_SIDE
#define CHUNK        UF_GRAIN_CHUNK

struct UfGrain {
    UfGrainTile tiles[UF_GRAIN_TILES];
    float step[4];  /* of what is read, each channel; 0 beyond the picture's */
    float *around;  /* 2 x columns: cosines and sines of their longitudes */
    size_t columns; /* the width, and as many more as fill the last chunk */
    size_t channels;
    double variance[3];
    double pixel_rad;
};

/* How the tiles are turned and moved: no simple angle, no simple part of the period. */
static const double lie[UF_GRAIN_TILES][4] = {{0.9480237, 0.3182091, 37.31, 90.77},
                                              {0.6041773, -0.7968500, 201.13, 11.59}};

void uf_grain_free(UfGrain **grain)
{
    if (grain == NULL || *grain == NULL)
        return;
    for (size_t t = 0; t < UF_GRAIN_TILES; t++)
        free((*grain)->tiles[t].samples);
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

/* Two numbers, normal, of variance 1 (G. Box, M. Muller 1958). */
static void two_normal(uint64_t count, double out[2])
{
    double radius = sqrt(-2 * log(uniform(count))), angle = 2 * UF_PI * uniform(count + 1);
    out[0] = radius * cos(angle);
    out[1] = radius * sin(angle);
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
        out[i / 3][i % 3] = a + part * (b - a);
    }
}

/* The part of its power that a wave keeps when it is read linearly between samples: |1 - t + t e^(2 pi i
 * f)|^2, the mean over t. */
static double linear_kept_power(double waves_a_sample)
{
    return (2 + cos(2 * UF_PI * waves_a_sample)) / 3;
}

/* The waves of a tile: what is beyond the measured spectrum is 0. */
typedef struct Waves {
    fftw_complex *of[3]; /* TILE x HALVES a channel */
    double variance[3];  /* that the samples get */
} Waves;

/*
 * Draws one wave of all channels; `power` takes the covariance of densities to that of amplitudes. A real
 * field's spectrum is its own mirror: of a wave beside its mirror in the half plane that is held, only the
 * part that is real counts.
 */
static void draw_wave(double covariance[3][3], size_t channels, double power, uint64_t stream, size_t cell,
                      Waves *waves)
{
    double l[3][3] = {{0}}, white[3][2];
    bool is_beside_mirror = cell % HALVES == 0 || cell % HALVES == TILE / 2;
    double scale = sqrt(is_beside_mirror ? power : power / 2);
    factorise(covariance, channels, l);
    for (size_t c = 0; c < channels; c++) {
        two_normal(((stream + c + 1) << 32) + 2 * cell, white[c]);
        waves->variance[c] += (is_beside_mirror ? 1 : 2) * power * covariance[c][c];
    }
    for (size_t i = 0; i < channels; i++)
        for (size_t part = 0; part < 2; part++)
            for (size_t j = 0; j <= i; j++)
                waves->of[i][cell][part] += scale * l[i][j] * white[j][part];
}

static void draw_waves(const UfGrainSpectrum *s, size_t channels, uint64_t stream, Waves *waves)
{
    for (size_t c = 0; c < channels; c++)
        memset(waves->of[c], 0, TILE * HALVES * sizeof *waves->of[c]);
    for (size_t ky = 0; ky < TILE; ky++)
        for (size_t kx = 0; kx < HALVES; kx++) {
            size_t folded = ky <= TILE / 2 ? ky : TILE - ky;
            double bin = hypot((double)kx, (double)folded) * UF_GRAIN_BLOCK_PX * FINE / (double)TILE;
            double covariance[3][3];
            if (bin > UF_GRAIN_BINS - 0.5)
                break;
            covariance_at(s, bin, covariance);
            /* from density to power a sample, and as much more as reading will lose; the transform's factor
             */
            double power = FINE * FINE / (double)(TILE * TILE) / UF_GRAIN_TILES /
                           (linear_kept_power((double)kx / (double)TILE) *
                            linear_kept_power((double)folded / (double)TILE));
            draw_wave(covariance, channels, power, stream, ky * HALVES + kx, waves);
        }
}

/* Of channel c's samples. */
static double step_of(const Waves *waves, size_t c)
{
    return MOST_SIGMAS * sqrt(waves->variance[c]) / UF_GRAIN_LARGEST;
}

/* From rows of TILE samples, in which there is room for HALVES waves. */
static void keep_channel(const double *samples, double step, size_t c, UfGrainTile *tile)
{
    const double middle = UF_GRAIN_LARGEST + 1, most = middle + UF_GRAIN_LARGEST;
    for (size_t y = 0; step > 0 && y < SIDE; y++)
        for (size_t x = 0; x < SIDE; x++) {
            double value = samples[y % TILE * 2 * HALVES + x % TILE] / step + middle + 0.5;
            value = value > 0 ? value : 0;
            int code = (int)(value < most ? value : most);
            tile->samples[4 * (y * SIDE + x) + c] = (int8_t)(code - (int)middle);
        }
}

static void waves_clear(Waves *waves)
{
    for (size_t c = 0; c < 3; c++)
        fftw_free(waves->of[c]);
}

static bool waves_create(Waves *waves, size_t channels)
{
    bool good = true;
    for (size_t c = 0; c < channels; c++) {
        waves->of[c] = fftw_alloc_complex(TILE * HALVES);
        good = good && waves->of[c] != NULL;
    }
    return good;
}

/* The samples take the place of the waves. */
static void make_tile(const UfGrainSpectrum *s, size_t channels, uint64_t stream, fftw_plan plan,
                      Waves *waves, UfGrainTile *tile)
{
    draw_waves(s, channels, stream, waves);
    for (size_t c = 0; c < channels; c++) {
        fftw_execute_dft_c2r(plan, waves->of[c], waves->of[c][0]);
        keep_channel(waves->of[c][0], step_of(waves, c), c, tile);
    }
}

static UfStatus make_tiles(const UfGrainSpectrum *s, unsigned seed, int threads, UfGrain *grain,
                           UfReport *report)
{
    Waves waves[UF_GRAIN_TILES] = {{.variance = {0}}};
    fftw_plan plan = NULL;
    bool good = true;
    for (size_t t = 0; t < UF_GRAIN_TILES; t++) {
        grain->tiles[t].samples = uf_alloc_zero(SIDE * SIDE, 4);
        good = waves_create(&waves[t], grain->channels) && grain->tiles[t].samples != NULL && good;
    }
    if (good)
        plan = fftw_plan_dft_c2r_2d((int)TILE, (int)TILE, waves[0].of[0], waves[0].of[0][0], FFTW_ESTIMATE);
    good = good && plan != NULL;
    if (good) {
#pragma omp parallel for schedule(static) num_threads(threads)
        for (size_t t = 0; t < UF_GRAIN_TILES; t++)
            make_tile(s, grain->channels, ((uint64_t)seed * UF_GRAIN_TILES + t) * 3, plan, &waves[t],
                      &grain->tiles[t]);
        for (size_t c = 0; c < grain->channels; c++) /* the same for all tiles */
            grain->step[c] = (float)(step_of(&waves[0], c) / (UF_GRAIN_PLACES * UF_GRAIN_PLACES));
    }
    fftw_destroy_plan(plan);
    for (size_t t = 0; t < UF_GRAIN_TILES; t++)
        waves_clear(&waves[t]);
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
    grain->columns = (cap->width_px + CHUNK - 1) / CHUNK * CHUNK;
    grain->around = uf_alloc(grain->columns, 2 * sizeof *grain->around);
    if (grain->around == NULL) {
        uf_grain_free(&grain);
        return uf_fail_memory(report);
    }
    for (size_t t = 0; t < UF_GRAIN_TILES; t++) {
        const float turn[4] = {(float)(FINE * lie[t][0]), (float)(FINE * lie[t][1]), (float)lie[t][2],
                               (float)lie[t][3]};
        memcpy(grain->tiles[t].turn, turn, sizeof turn);
    }
    status = make_tiles(s, seed, cap->threads, grain, report);
    if (status != UF_OK) {
        uf_grain_free(&grain);
        return status;
    }
    for (size_t x = 0; x < grain->columns; x++) {
        double lon_rad = (((double)x + 0.5) / (double)cap->width_px - 0.5) * 2 * UF_PI;
        grain->around[x] = (float)cos(lon_rad);
        grain->around[grain->columns + x] = (float)sin(lon_rad);
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

void uf_grain_at(const UfGrain *grain, double x_px, double y_px, float out[4])
{
    float x[CHUNK] = {(float)x_px}, y[CHUNK] = {(float)y_px};
    int32_t sums[CHUNK][4];
    uf_grain_read(grain->tiles, x, y, sums);
    for (size_t c = 0; c < 4; c++)
        out[c] = grain->step[c] * (float)sums[0][c];
}

/* Of a fill of weight w; near 0, where nothing of it will be seen, not without bounds. */
static float strength_of(double w)
{
    return w >= 1 ? 1 : (float)sqrt((2 - w) / fmax(w, LEAST_WEIGHT));
}

/* Neighbours' weights are mostly the same; NULL: 1. */
static void strengths_of(const float *weights, size_t count, float *out)
{
    float weight = 1, strength = 1;
    for (size_t i = 0; weights == NULL && i < CHUNK; i++)
        out[i] = 1;
    for (size_t i = 0; weights != NULL && i < count; i++) {
        if (weights[i] != weight) {
            weight = weights[i];
            strength = strength_of((double)weight);
        }
        out[i] = strength;
    }
}

/* Where CHUNK pixels of a ring lie on the tangent plane. */
UF_CLONES static void places_of(const UfGrain *grain, float radius_px, size_t x0, float *across_px,
                                float *down_px)
{
    const float *cosines = grain->around + x0, *sines = cosines + grain->columns;
#pragma omp simd
    for (size_t i = 0; i < CHUNK; i++) {
        across_px[i] = radius_px * cosines[i];
        down_px[i] = radius_px * sines[i];
    }
}

/* Adds what was read to `count` pixels, four at a time: of three channels each vector goes on in the next
 * one. */
UF_CLONES static void add_noise(const UfGrain *grain, int32_t (*sums)[4], const float *strengths,
                                size_t count, float *fill)
{
    typedef int32_t Sums __attribute__((vector_size(16)));
    const size_t channels = grain->channels;
    const UfFour step = uf_four_load(grain->step);
    size_t whole = channels == 3 ? count / 4 * 4 : 0;
    for (size_t i = 0; i < whole; i += 4, fill += 12) {
        UfFour n[4];
        for (size_t j = 0; j < 4; j++) {
            Sums sum;
            memcpy(&sum, sums[i + j], sizeof sum);
            n[j] = step * strengths[i + j] * __builtin_convertvector(sum, UfFour);
        }
        uf_four_store(fill, uf_four_load(fill) + __builtin_shufflevector(n[0], n[1], 0, 1, 2, 4));
        uf_four_store(fill + 4, uf_four_load(fill + 4) + __builtin_shufflevector(n[1], n[2], 1, 2, 4, 5));
        uf_four_store(fill + 8, uf_four_load(fill + 8) + __builtin_shufflevector(n[2], n[3], 2, 4, 5, 6));
    }
    for (size_t i = whole; i < count; i++, fill += channels)
        for (size_t c = 0; c < channels; c++)
            fill[c] += strengths[i] * grain->step[c] * (float)sums[i][c];
}

/* `count` pixels of a row of the fill from column `x0` on, up to CHUNK. */
static void add_chunk(const UfGrain *grain, float radius_px, size_t x0, size_t count, const float *weights,
                      float *fill)
{
    float across_px[CHUNK], down_px[CHUNK], strengths[CHUNK];
    int32_t sums[CHUNK][4];
    places_of(grain, radius_px, x0, across_px, down_px);
    uf_grain_read(grain->tiles, across_px, down_px, sums);
    strengths_of(weights, count, strengths);
    add_noise(grain, sums, strengths, count, fill);
}

void uf_grain_add(const UfGrain *grain, const UfCap *cap, size_t y_px, size_t x0_px, size_t count,
                  const float *weights, float *fill)
{
    float radius_px = (float)(uf_cap_ring_angle_rad(cap, uf_cap_row(cap, y_px)) / grain->pixel_rad);
    for (size_t i = 0; i < count; i += CHUNK)
        add_chunk(grain, radius_px, x0_px + i, count - i < CHUNK ? count - i : CHUNK,
                  weights != NULL ? weights + i : NULL, fill + i * grain->channels);
}

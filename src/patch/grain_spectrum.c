/*
 * Measuring grain.
 *
 * Blocks of 32 rows from belts outside the cap, as wide as they are high on the sphere (32/sin(theta)
 * columns, theta the belt's angle from the pole), each freed of its best quadratic surface and windowed
 * (Hann); mean of their cross periodograms (P. D. Welch, IEEE Trans. Audio Electroacoustics 15(2), 1967,
 * 70-73), gathered in rings of equal frequency on the sphere: grain looks the same in every direction. A
 * column is sin(theta) pixels of the equator wide, so a cell of the periodogram, which is power per sample,
 * is multiplied with that.
 *
 * Leaves, clouds and wires are no grain: only blocks count that vary little more than the quietest quarter.
 * Clipped blocks hold less than the light had and do not count either. Waves longer than 16 pixels are the
 * picture's; the grain's are taken to be as strong as those of 16. The rounding to whole samples (variance
 * 1/12) is taken off, because what is made will be rounded again.
 */
#include "patch/grain_spectrum.h"

#include <fftw3.h>
#include <math.h>
#include <omp.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/region.h"
#include "patch/rows.h"
#include "remap/kernels.h"

#define SIDE      UF_GRAIN_BLOCK_PX
#define FIRST_BIN 2
/* Waves that run towards the pole alone are the sky's own gradient, and its steps from code to code. */
#define FIRST_COLUMN 2
#define MOST_BELTS   4 /* that show anything */
#define ENOUGH       8 /* blocks, before the next belt is taken */
#define LEAST        4
#define QUIET        2.5  /* times the quietest quarter */
#define CLIPPED      0.02 /* of a block's samples */
#define ROUNDING     (1.0 / 12)
/* Less than this many roundings, or than this share of the mean value, is none; */
#define LEAST_POWER 2.0
#define LEAST_SHARE 5e-4
/* more than that of the full range is texture; and so is what has little finer than 8 pixels. */
#define MOST_SIGMA (6.0 / 255)
#define FINE_BIN   4
#define LEAST_FINE 0.15

typedef struct Belt {
    size_t ring0, width;
    double angle_rad;
    float *colour, *alpha; /* SIDE rows */
} Belt;

/* What one block gave. */
typedef struct Block {
    bool is_sound;
    double power; /* of all channels, grain's frequencies only */
    double mean[3];
    double density[UF_GRAIN_BINS][3][3];
} Block;

typedef struct Measuring {
    const UfPicture *panorama;
    const UfCap *cap;
    size_t channels;
    double step; /* between two codes; 0 for float */
    Block *blocks;
    size_t count, room;
} Measuring;

/* What all blocks of SIDE x width have in common. */
typedef struct Shape {
    size_t width;
    double *kept;   /* of the power at each column of the waves */
    double *across; /* 3 x width: 1, u, u^2 - 1/3 with u = -1..1 */
    double *window; /* width */
    uint8_t *bins;  /* of the waves, SIDE x (width/2 + 1); 0: not counted */
    double down[3][SIDE], window_down[SIDE], weight[UF_GRAIN_BINS];
    fftw_plan plan;
} Shape;

/* What a thread transforms a block in. */
typedef struct Room {
    double *samples;
    fftw_complex *waves[3];
} Room;

static void room_clear(Room *room)
{
    fftw_free(room->samples);
    for (size_t c = 0; c < 3; c++)
        fftw_free(room->waves[c]);
    *room = (Room){0};
}

static bool room_create(Room *room, size_t width)
{
    room->samples = fftw_alloc_real(SIDE * width);
    bool good = room->samples != NULL;
    for (size_t c = 0; c < 3; c++) {
        room->waves[c] = fftw_alloc_complex(SIDE * (width / 2 + 1));
        good = good && room->waves[c] != NULL;
    }
    return good;
}

static double hann(size_t i, size_t count)
{
    double s = sin(UF_PI * ((double)i + 0.5) / (double)count);
    return s * s;
}

/* The part of its power that a wave keeps when it is read with Keys' cubic, the mean over all places between
 * the samples. */
static double cubic_kept_power(double waves_a_sample)
{
    const int places = 16;
    double sum = 0;
    for (int i = 0; i < places; i++) {
        double w[4], re = 0, im = 0;
        uf_keys_weights((i + 0.5) / places, w);
        for (int j = 0; j < 4; j++) {
            re += w[j] * cos(2 * UF_PI * waves_a_sample * j);
            im += w[j] * sin(2 * UF_PI * waves_a_sample * j);
        }
        sum += re * re + im * im;
    }
    return sum / places;
}

static void fill_axis(double *polynomials, double *window, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        double u = (2 * (double)i + 1) / (double)count - 1;
        polynomials[i] = 1;
        polynomials[count + i] = u;
        polynomials[2 * count + i] = u * u - 1.0 / 3;
        window[i] = hann(i, count);
    }
}

static void shape_clear(Shape *shape)
{
    if (shape->plan != NULL)
        fftw_destroy_plan(shape->plan);
    free(shape->kept);
    free(shape->across);
    free(shape->window);
    free(shape->bins);
    *shape = (Shape){0};
}

/* Cells of the half plane that a transform of real samples gives, the other half being its mirror. */
static void fill_bins(Shape *shape, double level)
{
    size_t columns = shape->width / 2 + 1;
    for (size_t ky = 0; ky < SIDE; ky++)
        for (size_t kx = FIRST_COLUMN; kx < columns; kx++) {
            double fy = ky <= SIDE / 2 ? (double)ky : (double)ky - SIDE;
            double fx = (double)kx * SIDE / ((double)shape->width * level);
            size_t bin = (size_t)(hypot(fx, fy) + 0.5);
            if (bin < FIRST_BIN || bin >= UF_GRAIN_BINS)
                continue;
            shape->bins[ky * columns + kx] = (uint8_t)bin;
            shape->weight[bin]++;
        }
}

static bool shape_create(Shape *shape, size_t width, double level, const Room *room)
{
    *shape = (Shape){.width = width,
                     .kept = uf_alloc(width / 2 + 1, sizeof *shape->kept),
                     .across = uf_alloc(3 * width, sizeof *shape->across),
                     .window = uf_alloc(width, sizeof *shape->window),
                     .bins = uf_alloc_zero(SIDE * (width / 2 + 1), 1)};
    if (shape->kept == NULL || shape->across == NULL || shape->window == NULL || shape->bins == NULL)
        return false;
    for (size_t kx = 0; kx <= width / 2; kx++)
        shape->kept[kx] = cubic_kept_power((double)kx / (double)width);
    fill_axis(shape->across, shape->window, width);
    fill_axis(shape->down[0], shape->window_down, SIDE);
    fill_bins(shape, level);
    shape->plan = fftw_plan_dft_r2c_2d(SIDE, (int)width, room->samples, room->waves[0], FFTW_ESTIMATE);
    return shape->plan != NULL;
}

/* Takes the product of two polynomials out of the samples. */
static void remove_term(double *samples, size_t width, const double *across, const double *down)
{
    double dot = 0, norm_across = 0, norm_down = 0;
    for (size_t x = 0; x < width; x++)
        norm_across += across[x] * across[x];
    for (size_t y = 0; y < SIDE; y++) {
        double sum = 0;
#pragma omp simd reduction(+ : sum)
        for (size_t x = 0; x < width; x++)
            sum += samples[y * width + x] * across[x];
        dot += sum * down[y];
        norm_down += down[y] * down[y];
    }
    for (size_t y = 0; y < SIDE; y++) {
        double part = dot / (norm_across * norm_down) * down[y];
#pragma omp simd
        for (size_t x = 0; x < width; x++)
            samples[y * width + x] -= part * across[x];
    }
}

/* Legendre's polynomials are orthogonal enough on the samples' middle points: three passes settle it. */
static double remove_surface(double *samples, const Shape *shape)
{
    static const size_t powers[6][2] = {{0, 0}, {1, 0}, {0, 1}, {2, 0}, {1, 1}, {0, 2}};
    size_t width = shape->width;
    double mean = 0;
    for (size_t i = 0; i < SIDE * width; i++)
        mean += samples[i] / (double)(SIDE * width);
    for (int pass = 0; pass < 3; pass++)
        for (int term = 0; term < 6; term++)
            remove_term(samples, width, shape->across + powers[term][0] * width,
                        shape->down[powers[term][1]]);
    return mean;
}

/*
 * Channel c of the block about column x0 + width/2, ready for the transform; its mean. The columns of the
 * rows nearer to the pole lie closer together on the sphere: samples are taken at equal distances on it.
 */
static double load_block(const Measuring *m, const Belt *belt, size_t x0, const Shape *shape, size_t c,
                         double *samples)
{
    size_t width = shape->width;
    double middle = (double)x0 + (double)width / 2;
    for (size_t y = 0; y < SIDE; y++) {
        double ratio = sin(belt->angle_rad) / sin(uf_cap_ring_angle_rad(m->cap, belt->ring0 + y));
        for (size_t x = 0; x < width; x++) {
            double at =
                middle + ((double)x + 0.5 - (double)width / 2) * ratio - 0.5 + 2 * (double)belt->width;
            double weights[4], sum = 0;
            uf_keys_weights(at - floor(at), weights);
            for (size_t k = 0; k < 4; k++) {
                size_t column = ((size_t)at + k - 1) % belt->width;
                sum += weights[k] * (double)belt->colour[(y * belt->width + column) * m->channels + c];
            }
            samples[y * width + x] = sum;
        }
    }
    double mean = remove_surface(samples, shape);
    for (size_t y = 0; y < SIDE; y++)
        for (size_t x = 0; x < width; x++)
            samples[y * width + x] *= shape->window_down[y] * shape->window[x];
    return mean;
}

/* Opaque, finite, not to be covered, and not clipped. */
static bool is_sound(const Measuring *m, const Belt *belt, size_t x0, size_t width)
{
    size_t clipped = 0;
    for (size_t y = 0; y < SIDE; y++)
        for (size_t x = 0; x < width; x++) {
            size_t cell = y * belt->width + (x0 + x) % belt->width;
            size_t row = uf_cap_row(m->cap, belt->ring0 + y);
            if (belt->alpha[cell] < 1 || uf_cap_weight_at(m->cap, (x0 + x) % belt->width, row) > 0)
                return false;
            for (size_t c = 0; c < m->channels; c++) {
                float value = belt->colour[cell * m->channels + c];
                if (!isfinite(value))
                    return false;
                clipped += m->step > 0 && (value <= 0 || value >= 1);
            }
        }
    return (double)clipped <= CLIPPED * (double)(SIDE * width * m->channels);
}

static void gather(const Measuring *m, const Room *room, const Shape *shape, double level, Block *out)
{
    size_t columns = shape->width / 2 + 1;
    /* sum of the window's squares is (3/8)^2 of the samples; a sample is `level` pixels */
    double scale = level / (9.0 / 64 * (double)(SIDE * shape->width));
    for (size_t cell = 0; cell < SIDE * columns; cell++) {
        size_t bin = shape->bins[cell];
        if (bin == 0)
            continue;
        for (size_t i = 0; i < m->channels; i++)
            for (size_t j = 0; j < m->channels; j++)
                out->density[bin][i][j] += scale / shape->kept[cell % columns] *
                                           (room->waves[i][cell][0] * room->waves[j][cell][0] +
                                            room->waves[i][cell][1] * room->waves[j][cell][1]);
    }
    for (size_t bin = FIRST_BIN; bin < UF_GRAIN_BINS; bin++)
        for (size_t i = 0; i < m->channels; i++)
            for (size_t j = 0; j < m->channels; j++)
                out->density[bin][i][j] /= fmax(shape->weight[bin], 1);
}

/* Area of a bin's ring in the plane of frequencies, (waves a pixel)^2. */
static double area_of(size_t bin)
{
    return UF_PI * (((double)bin + 0.5) * ((double)bin + 0.5) - ((double)bin - 0.5) * ((double)bin - 0.5)) /
           (SIDE * SIDE);
}

static void measure_block(const Measuring *m, const Belt *belt, size_t x0, const Shape *shape, Room *room,
                          Block *out)
{
    *out = (Block){0};
    for (size_t c = 0; c < m->channels; c++) {
        out->mean[c] = load_block(m, belt, x0, shape, c, room->samples);
        fftw_execute_dft_r2c(shape->plan, room->samples, room->waves[c]);
    }
    gather(m, room, shape, sin(belt->angle_rad), out);
    for (size_t bin = FIRST_BIN; bin < UF_GRAIN_BINS; bin++)
        for (size_t c = 0; c < m->channels; c++)
            out->power += area_of(bin) * out->density[bin][c][c];
    out->is_sound = true;
}

/* Blocks side by side around the belt; those that are sound come behind the others of `m`. */
static void measure_blocks(Measuring *m, const Belt *belt, size_t count, const Shape *shape, Room *rooms)
{
    Block *blocks = m->blocks + m->count;
#pragma omp parallel for schedule(dynamic, 4) num_threads(m->cap->threads)
    for (size_t i = 0; i < count; i++) {
        size_t x0 = i * belt->width / count;
        blocks[i].is_sound = false;
        if (is_sound(m, belt, x0, shape->width))
            measure_block(m, belt, x0, shape, &rooms[omp_get_thread_num()], &blocks[i]);
    }
    for (size_t i = 0; i < count; i++)
        if (blocks[i].is_sound)
            m->blocks[m->count++] = blocks[i];
}

static UfStatus measure_belt(Measuring *m, const Belt *belt, UfReport *report)
{
    Shape shape = {0};
    double level = sin(belt->angle_rad);
    size_t width = (size_t)fmin(ceil(SIDE / level), (double)belt->width);
    size_t blocks = belt->width / width, threads = (size_t)m->cap->threads;
    size_t room_needed = m->count + blocks;
    Block *more = room_needed > m->room ? uf_realloc(m->blocks, room_needed, sizeof *more) : m->blocks;
    if (more == NULL)
        return uf_fail_memory(report);
    m->blocks = more;
    m->room = room_needed > m->room ? room_needed : m->room;
    Room *rooms = uf_alloc_zero(threads, sizeof *rooms);
    bool good = rooms != NULL;
    for (size_t t = 0; good && t < threads; t++)
        good = room_create(&rooms[t], width);
    good = good && shape_create(&shape, width, level, &rooms[0]);
    if (good)
        measure_blocks(m, belt, blocks, &shape, rooms);
    shape_clear(&shape);
    for (size_t t = 0; rooms != NULL && t < threads; t++)
        room_clear(&rooms[t]);
    free(rooms);
    return good ? UF_OK : uf_fail_memory(report);
}

/* As far as the horizon where a region covers more than the cap. */
static size_t count_belts(const UfCap *cap)
{
    size_t first = uf_cap_ring_count(cap, uf_cap_outer_rad(cap)), half = cap->height_px / 2;
    size_t belts = first < half ? (half - first) / SIDE : 0;
    return cap->region == NULL && belts > MOST_BELTS ? MOST_BELTS : belts;
}

double uf_grain_farthest_rad(const UfCap *cap)
{
    return uf_cap_outer_rad(cap) + (double)(MOST_BELTS * SIDE) * UF_PI / (double)cap->height_px;
}

static UfStatus measure_belts(Measuring *m, UfReport *report)
{
    const UfCap *cap = m->cap;
    Belt belt = {.width = cap->width_px};
    UfStatus status = UF_OK;
    belt.colour = uf_alloc(SIDE * cap->width_px * m->channels, sizeof *belt.colour);
    belt.alpha = uf_alloc(SIDE * cap->width_px, sizeof *belt.alpha);
    if (belt.colour == NULL || belt.alpha == NULL)
        status = uf_fail_memory(report);
    belt.ring0 = uf_cap_ring_count(cap, uf_cap_outer_rad(cap));
    size_t belts = count_belts(cap);
    for (size_t i = 0; status == UF_OK && i < belts && m->count < ENOUGH; i++, belt.ring0 += SIDE) {
        belt.angle_rad =
            uf_cap_ring_angle_rad(cap, belt.ring0 + SIDE / 2) - UF_PI / (double)cap->height_px / 2;
        for (size_t y = 0; y < SIDE; y++)
            uf_row_load(m->panorama, uf_cap_row(cap, belt.ring0 + y),
                        belt.colour + y * belt.width * m->channels, belt.alpha + y * belt.width);
        status = measure_belt(m, &belt, report);
    }
    free(belt.colour);
    free(belt.alpha);
    return status;
}

static int by_power(const void *a, const void *b)
{
    double p = ((const Block *)a)->power, q = ((const Block *)b)->power;
    return (p > q) - (p < q);
}

/* Mean of the quiet blocks. */
static void average(Measuring *m, UfGrainSpectrum *out)
{
    qsort(m->blocks, m->count, sizeof *m->blocks, by_power);
    double most = QUIET * m->blocks[m->count / 4].power;
    size_t quiet = 0;
    while (quiet < m->count && m->blocks[quiet].power <= most)
        quiet++;
    for (size_t k = 0; k < quiet; k++)
        for (size_t bin = FIRST_BIN; bin < UF_GRAIN_BINS; bin++)
            for (size_t i = 0; i < 9; i++)
                out->density[bin][i / 3][i % 3] += m->blocks[k].density[bin][i / 3][i % 3] / (double)quiet;
}

/* Takes the rounding off what channel c has; false when that is no grain. */
static bool settle_channel(const Measuring *m, double level, size_t c, UfGrainSpectrum *s)
{
    double rounding = ROUNDING * m->step * m->step, power = 0, fine = 0;
    double least = fmax(LEAST_POWER * rounding, pow(LEAST_SHARE * m->blocks[0].mean[c], 2));
    for (size_t bin = FIRST_BIN; bin < UF_GRAIN_BINS; bin++) {
        double *density = &s->density[bin][c][c];
        power += area_of(bin) * *density;
        fine += bin >= FINE_BIN ? area_of(bin) * *density : 0;
        *density = fmax(*density - rounding * level, 0.05 * *density);
    }
    /* noise is white below what a block can tell from the picture */
    for (size_t bin = 0; bin < UF_GRAIN_BINS; bin++) {
        if (bin < FIRST_BIN)
            memcpy(s->density[bin][c], s->density[FIRST_BIN][c], sizeof s->density[bin][c]);
        s->variance[c] += (bin > 0 ? area_of(bin) : UF_PI / 4 / (SIDE * SIDE)) * s->density[bin][c][c];
    }
    double most = MOST_SIGMA * MOST_SIGMA * (m->step > 0 ? 1 : pow(fmax(m->blocks[0].mean[c], 1e-9), 2));
    return power > fmax(least, 1e-14) && power < most && fine > LEAST_FINE * power;
}

UfStatus uf_grain_spectrum(const UfPicture *panorama, const UfCap *cap, UfGrainSpectrum *out, bool *has_grain,
                           UfReport *report)
{
    UfSample sample = uf_picture_sample(panorama);
    Measuring m = {.panorama = panorama, .cap = cap, .channels = uf_colour_channels(panorama)};
    m.step = sample == UF_SAMPLE_U8 ? 1.0 / 255 : sample == UF_SAMPLE_U16 ? 1.0 / 65535 : 0;
    *out = (UfGrainSpectrum){0};
    *has_grain = false;
    UfStatus status = measure_belts(&m, report);
    if (status == UF_OK && m.count >= LEAST) {
        average(&m, out);
        for (size_t c = 0; c < m.channels; c++)
            *has_grain = settle_channel(&m, sin(uf_cap_outer_rad(cap)), c, out) || *has_grain;
    }
    free(m.blocks);
    return status;
}

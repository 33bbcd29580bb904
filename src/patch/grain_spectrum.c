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

#include "base/clones.h"
#include "base/memory.h"
#include "base/report.h"
#include "base/smaller.h"
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
/* Sums side by side. */
#define LANES 8u

typedef struct Belt {
    size_t ring0, width;
    double angle_rad;
    size_t margin; /* columns beyond a block that its rows are read to */
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
    double *kept;                               /* of the power at each column of the waves */
    double *across;                             /* 3 x width: 1, u, u^2 - 1/3 with u = -1..1 */
    double products[3][3], products_down[3][3]; /* of two of them, summed */
    double *window;                             /* width */
    uint8_t *bins;                              /* of the waves, SIDE x (width/2 + 1); 0: not counted */
    double down[3][SIDE], window_down[SIDE], weight[UF_GRAIN_BINS];
    fftw_plan plan;
} Shape;

/* What a thread transforms a block in. */
typedef struct Room {
    double *samples[3];
    fftw_complex *waves[3];
    size_t first, count;   /* of the belt's columns those that are held, round the turn */
    float *colour, *alpha; /* SIDE rows of them; alpha 0: not to be looked at */
} Room;

static void room_clear(Room *room)
{
    for (size_t c = 0; c < 3; c++) {
        fftw_free(room->samples[c]);
        fftw_free(room->waves[c]);
    }
    free(room->colour);
    free(room->alpha);
    *room = (Room){0};
}

static bool room_create(Room *room, size_t width, size_t columns, size_t channels)
{
    room->count = columns;
    room->colour = uf_alloc(SIDE * columns * channels, sizeof *room->colour);
    room->alpha = uf_alloc(SIDE * columns, sizeof *room->alpha);
    bool good = room->colour != NULL && room->alpha != NULL;
    for (size_t c = 0; c < 3; c++) {
        room->samples[c] = fftw_alloc_real(SIDE * width);
        room->waves[c] = fftw_alloc_complex(SIDE * (width / 2 + 1));
        good = good && room->samples[c] != NULL && room->waves[c] != NULL;
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

static void fill_axis(double *polynomials, double products[3][3], double *window, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        double u = (2 * (double)i + 1) / (double)count - 1;
        polynomials[i] = 1;
        polynomials[count + i] = u;
        polynomials[2 * count + i] = u * u - 1.0 / 3;
        window[i] = hann(i, count);
        for (size_t a = 0; a < 3; a++)
            for (size_t b = 0; b < 3; b++)
                products[a][b] += polynomials[a * count + i] * polynomials[b * count + i];
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
    fill_axis(shape->across, shape->products, shape->window, width);
    fill_axis(shape->down[0], shape->products_down, shape->window_down, SIDE);
    fill_bins(shape, level);
    shape->plan = fftw_plan_dft_r2c_2d(SIDE, (int)width, room->samples[0], room->waves[0], FFTW_ESTIMATE);
    return shape->plan != NULL;
}

/* Sums of a row's samples times each polynomial: LANES sums side by side, so that every processor adds alike.
 */
UF_CLONES static void project_row(const double *samples, size_t width, const double *across, double out[3])
{
    size_t whole = width / LANES * LANES;
    for (size_t i = 0; i < 3; i++, across += width) {
        double sum[LANES] = {0};
        for (size_t x = 0; x < whole; x += LANES)
#pragma omp simd
            for (size_t j = 0; j < LANES; j++)
                sum[j] += samples[x + j] * across[x + j];
        out[i] = 0;
        for (size_t x = whole; x < width; x++)
            out[i] += samples[x] * across[x];
        for (size_t j = 0; j < LANES; j++)
            out[i] += sum[j];
    }
}

/* Takes a row's part of the surface off, and windows what is left. */
UF_CLONES static void finish_row(const Shape *shape, const double part[3], double down, double *samples)
{
    size_t width = shape->width;
    const double *line = shape->across + width, *bow = line + width, *window = shape->window;
#pragma omp simd
    for (size_t x = 0; x < width; x++)
        samples[x] = (samples[x] - (part[0] + part[1] * line[x] + part[2] * bow[x])) * (down * window[x]);
}

/*
 * Legendre's polynomials are orthogonal enough on the samples' middle points: three passes settle it. The
 * passes work on the rows' projections: of a product that is taken out, those know all that the next needs.
 */
static double remove_surface(const Shape *shape, double *samples)
{
    static const size_t powers[6][2] = {{0, 0}, {1, 0}, {0, 1}, {2, 0}, {1, 1}, {0, 2}};
    double left[SIDE][3], part[SIDE][3] = {{0}}, mean = 0;
    for (size_t y = 0; y < SIDE; y++) {
        project_row(samples + y * shape->width, shape->width, shape->across, left[y]);
        mean += left[y][0] / (double)(SIDE * shape->width);
    }
    for (int i = 0; i < 3 * 6; i++) {
        size_t a = powers[i % 6][0], d = powers[i % 6][1];
        double dot = 0;
        for (size_t y = 0; y < SIDE; y++)
            dot += left[y][a] * shape->down[d][y];
        dot /= shape->products[a][a] * shape->products_down[d][d];
        for (size_t y = 0; y < SIDE; y++) {
            part[y][a] += dot * shape->down[d][y];
            for (size_t b = 0; b < 3; b++)
                left[y][b] -= dot * shape->down[d][y] * shape->products[a][b];
        }
    }
    for (size_t y = 0; y < SIDE; y++)
        finish_row(shape, part[y], shape->window_down[y], samples + y * shape->width);
    return mean;
}

/*
 * All channels of row y of the block about column `middle`. The columns of the rows nearer to the pole lie
 * closer together on the sphere: samples are taken at equal distances on it.
 */
static void load_row(const Measuring *m, const Belt *belt, double middle, size_t y, const Shape *shape,
                     Room *room)
{
    size_t width = shape->width, first = y * width;
    double ratio = sin(belt->angle_rad) / sin(uf_cap_ring_angle_rad(m->cap, belt->ring0 + y));
    const float *row = room->colour + y * room->count * m->channels;
    for (size_t x = 0; x < width; x++) {
        double at = middle + ((double)x + 0.5 - (double)width / 2) * ratio - 0.5 + 2 * (double)belt->width;
        size_t column = ((size_t)at - 1 + belt->width - room->first) % belt->width;
        double weights[4], sum[3] = {0};
        uf_keys_weights(at - floor(at), weights);
        for (size_t k = 0; k < 4; k++) {
            for (size_t c = 0; c < m->channels; c++)
                sum[c] += weights[k] * (double)row[column * m->channels + c];
            column = column + 1 < room->count ? column + 1 : 0;
        }
        for (size_t c = 0; c < m->channels; c++)
            room->samples[c][first + x] = sum[c];
    }
}

UF_CLONES static size_t count_clipped(const float *colour, size_t count)
{
    int clipped = 0;
#pragma omp simd reduction(+ : clipped)
    for (size_t i = 0; i < count; i++)
        clipped += (colour[i] <= 0) | (colour[i] >= 1);
    return (size_t)clipped;
}

/* Opaque, finite, not to be covered, and not clipped. */
static bool is_sound(const Measuring *m, const Belt *belt, size_t x0, size_t width, const Room *room)
{
    const size_t start = (x0 + belt->width - room->first) % belt->width;
    size_t clipped = 0;
    for (size_t y = 0; y < SIDE; y++) {
        size_t first = y * room->count + start;
        for (size_t x = 0; x < width; x++)
            if (room->alpha[first + x] < 1)
                return false;
        if (m->step > 0)
            clipped += count_clipped(room->colour + first * m->channels, width * m->channels);
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
        double part = scale / shape->kept[cell % columns];
        for (size_t i = 0; i < m->channels; i++)
            for (size_t j = 0; j < m->channels; j++)
                out->density[bin][i][j] += part * (room->waves[i][cell][0] * room->waves[j][cell][0] +
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
    for (size_t y = 0; y < SIDE; y++)
        load_row(m, belt, (double)x0 + (double)shape->width / 2, y, shape, room);
    for (size_t c = 0; c < m->channels; c++) {
        out->mean[c] = remove_surface(shape, room->samples[c]);
        fftw_execute_dft_r2c(shape->plan, room->samples[c], room->waves[c]);
    }
    gather(m, room, shape, sin(belt->angle_rad), out);
    for (size_t bin = FIRST_BIN; bin < UF_GRAIN_BINS; bin++)
        for (size_t c = 0; c < m->channels; c++)
            out->power += area_of(bin) * out->density[bin][c][c];
    out->is_sound = true;
}

/* Columns [x0, x0 + count) of row y into the room, from its column `at` on. Takes the alpha off what is to be
 * covered or not finite. */
static void load_run(const Measuring *m, const Belt *belt, size_t y, size_t x0, size_t count, size_t at,
                     Room *room)
{
    const size_t row = uf_cap_row(m->cap, belt->ring0 + y);
    float *colour = room->colour + (y * room->count + at) * m->channels,
          *alpha = room->alpha + y * room->count + at;
    uf_run_load(m->panorama, row, x0, count, colour, alpha);
    for (size_t x = 0; m->cap->region != NULL && x < count; x++)
        alpha[x] = uf_cap_weight_at(m->cap, x0 + x, row) > 0 ? 0 : alpha[x];
    for (size_t i = 0; m->step == 0 && i < count * m->channels; i++)
        alpha[i / m->channels] = isfinite(colour[i]) ? alpha[i / m->channels] : 0;
}

/* What is read for the block from column x0 on. */
static void load_block(const Measuring *m, const Belt *belt, size_t x0, Room *room)
{
    room->first = room->count < belt->width ? (x0 + belt->width - belt->margin) % belt->width : 0;
    const size_t before_seam = uf_smaller(room->count, belt->width - room->first);
    for (size_t y = 0; y < SIDE; y++) {
        load_run(m, belt, y, room->first, before_seam, 0, room);
        if (before_seam < room->count)
            load_run(m, belt, y, 0, room->count - before_seam, before_seam, room);
    }
}

/* Blocks side by side around the belt; those that are sound come behind the others of `m`. */
static void measure_blocks(Measuring *m, const Belt *belt, size_t count, const Shape *shape, Room *rooms)
{
    Block *blocks = m->blocks + m->count;
#pragma omp parallel for schedule(dynamic, 4) num_threads(m->cap->threads)
    for (size_t i = 0; i < count; i++) {
        size_t x0 = i * belt->width / count;
        Room *room = &rooms[omp_get_thread_num()];
        blocks[i].is_sound = false;
        load_block(m, belt, x0, room);
        if (is_sound(m, belt, x0, shape->width, room))
            measure_block(m, belt, x0, shape, room, &blocks[i]);
    }
    for (size_t i = 0; i < count; i++)
        if (blocks[i].is_sound)
            m->blocks[m->count++] = blocks[i];
}

/* Its rows nearest to the pole are read farthest, to the taps of the cubic. */
static size_t margin_of(const UfCap *cap, const Belt *belt, size_t width)
{
    const double nearest = uf_cap_ring_angle_rad(cap, belt->ring0);
    const double ratio = fmax(1, sin(belt->angle_rad) / sin(nearest));
    return uf_smaller((size_t)ceil((ratio - 1) * (double)width / 2) + 4, belt->width);
}

static UfStatus measure_belt(Measuring *m, Belt *belt, UfReport *report)
{
    Shape shape = {0};
    double level = sin(belt->angle_rad);
    size_t width = (size_t)fmin(ceil(SIDE / level), (double)belt->width);
    size_t blocks = belt->width / width, threads = (size_t)m->cap->threads;
    belt->margin = margin_of(m->cap, belt, width);
    size_t columns = uf_smaller(width + 2 * belt->margin, belt->width);
    size_t room_needed = m->count + blocks;
    Block *more = room_needed > m->room ? uf_realloc(m->blocks, room_needed, sizeof *more) : m->blocks;
    if (more == NULL)
        return uf_fail_memory(report);
    m->blocks = more;
    m->room = room_needed > m->room ? room_needed : m->room;
    Room *rooms = uf_alloc_zero(threads, sizeof *rooms);
    bool good = rooms != NULL;
    for (size_t t = 0; good && t < threads; t++)
        good = room_create(&rooms[t], width, columns, m->channels);
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
    belt.ring0 = uf_cap_ring_count(cap, uf_cap_outer_rad(cap));
    size_t belts = count_belts(cap);
    for (size_t i = 0; status == UF_OK && i < belts && m->count < ENOUGH; i++, belt.ring0 += SIDE) {
        belt.angle_rad =
            uf_cap_ring_angle_rad(cap, belt.ring0 + SIDE / 2) - UF_PI / (double)cap->height_px / 2;
        status = measure_belt(m, &belt, report);
    }
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

/*
 * Exposure, white balance, vignetting and the falling of the light, from the ring that both pictures show.
 *
 * All in linear light, on the means of small cells, so that noise and the last fraction of a pixel do not
 * matter: first one affine mix of the channels, r = A p + b, with a pull towards plain gains, for the
 * cameras' colours; then, channel by channel, log(r/(A p + b)) as a gentle slope and a lens's vignetting, a
 * power of the cosine of the angle from its axis, which is known in the hole from what the ring shows of it;
 * and a harmonic rest that fits the ring's own shades. A surface of degree 2 instead bulged by 10 of 255 in
 * the hole where a photograph showed only parts of the ring. The fits are reweighted (Cauchy), since a
 * tripod's leg or a shoe is in one picture only.
 */
#include "patch/plate_colour.h"

#include <math.h>

#include "base/memory.h"
#include "base/robust.h"
#include "patch/four.h"
#include "patch/poisson.h"

#define MATCH_SIDE   1100u /* pixels are compared on no more */
#define CELLS        56.0  /* across the plane */
#define LEAST_CELLS  12
#define PASSES       6
#define MIX_PULL     0.02
#define OFFSET_PULL  0.1
#define MOST_OFF     3.5 /* robust sigmas: beyond, a cell shows something else */
#define SECTORS      8
#define MOST_SECTORS 6
#define TERMS        4
#define DARK         1e-4

typedef struct Cell {
    double ring[3], plate[3], u, v, weight;
} Cell;

typedef struct Match {
    UfCanvas floor; /* the plane, perhaps reduced */
    double factor;  /* pixels of the plane per pixel of it */
    float *plate;
    uint8_t *known;
    Cell *cells; /* side x side; weight 0: not seen in both */
    double *off; /* for medians */
} Match;

static void match_clear(Match *m)
{
    uf_canvas_clear(&m->floor);
    free(m->plate);
    free(m->known);
    free(m->cells);
    free(m->off);
}

void uf_plate_colour_clear(UfPlateColour *colour)
{
    free(colour->rest);
    colour->rest = NULL;
}

static UfStatus load(const UfFloorPlane *plane, const UfPlatePhoto *photo, const UfHomography *to_ray,
                     int threads, UfPlateColour *colour, Match *m, UfReport *report)
{
    unsigned times = 0;
    for (size_t width = plane->canvas.width; width > MATCH_SIDE; width = (width + 1) / 2)
        times++;
    m->factor = ldexp(1, (int)times);
    UfStatus status = uf_canvas_reduce(&plane->canvas, times, threads, &m->floor, report);
    if (status != UF_OK)
        return status;
    size_t pixels = m->floor.width * m->floor.height;
    /* a square about planes that are higher or wider: cells beyond them are not seen */
    colour->side_px = plane->canvas.width > plane->canvas.height ? plane->canvas.width : plane->canvas.height;
    colour->cell_px = fmax(4, (double)colour->side_px / CELLS);
    colour->side = (size_t)ceil((double)colour->side_px / colour->cell_px);
    m->plate = uf_alloc(pixels, 4 * sizeof *m->plate);
    m->known = uf_alloc(pixels, 1);
    m->cells = uf_alloc_zero(colour->side * colour->side, sizeof *m->cells);
    m->off = uf_alloc(3 * colour->side * colour->side, sizeof *m->off);
    colour->rest = uf_alloc_zero(colour->side * colour->side, 4 * sizeof *colour->rest);
    if (m->plate == NULL || m->known == NULL || m->cells == NULL || m->off == NULL || colour->rest == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < pixels; i++) /* what is wanted; the warp writes what is known over it */
        m->known[i] = m->floor.cell[i] == UF_CELL_SOURCE;
    UfHomography grid = uf_homography_scaling(m->factor, 0, 0);
    grid = uf_homography_product(to_ray, &grid);
    uf_plate_photo_warp(photo, &grid, m->floor.width, m->floor.height, m->known, threads, m->plate, m->known);
    return UF_OK;
}

static double linear(const UfPlateColour *colour, float value)
{
    return (double)uf_transfer_to_linear(colour->transfer, value);
}

/* A value of the plane's canvas in linear light. */
static double linear_of_canvas(const UfPlateColour *colour, float value)
{
    return linear(colour, colour->is_root ? uf_signed_square(value) : value);
}

/* Means of what both show, cell by cell; cells seen by less than half do not count. */
static size_t gather(const UfPlateColour *colour, Match *m)
{
    size_t seen = 0;
    for (size_t y = 0; y < m->floor.height; y++)
        for (size_t x = 0; x < m->floor.width; x++) {
            size_t i = y * m->floor.width + x;
            if (!m->known[i])
                continue;
            size_t cx = (size_t)(((double)x + 0.5) * m->factor / colour->cell_px);
            size_t cy = (size_t)(((double)y + 0.5) * m->factor / colour->cell_px);
            cx = cx < colour->side ? cx : colour->side - 1;
            cy = cy < colour->side ? cy : colour->side - 1;
            Cell *cell = &m->cells[cy * colour->side + cx];
            for (size_t c = 0; c < colour->channels; c++) {
                cell->ring[c] += linear_of_canvas(colour, m->floor.value[4 * i + c]);
                cell->plate[c] += linear(colour, m->plate[4 * i + c]);
            }
            cell->weight++;
        }
    double area = colour->cell_px * colour->cell_px / (m->factor * m->factor);
    for (size_t i = 0; i < colour->side * colour->side; i++) {
        Cell *cell = &m->cells[i];
        double count = cell->weight;
        cell->u = 2 * (((double)(i % colour->side) + 0.5) * colour->cell_px / (double)colour->side_px) - 1;
        cell->v = 2 * (((double)(i / colour->side) + 0.5) * colour->cell_px / (double)colour->side_px) - 1;
        cell->weight = count >= area / 2 && count >= 4;
        for (size_t c = 0; c < colour->channels && count > 0; c++) {
            cell->ring[c] /= count;
            cell->plate[c] /= count;
            if (!(cell->ring[c] > DARK && cell->plate[c] > DARK))
                cell->weight = 0;
        }
        seen += cell->weight > 0;
    }
    return seen;
}

static double mixed(const UfPlateColour *colour, const double in[3], size_t c)
{
    double sum = colour->mix[c][3];
    for (size_t k = 0; k < colour->channels; k++)
        sum += colour->mix[c][k] * in[k];
    return sum;
}

/* Relative residual of the mix, the largest of the channels. */
static double mix_residual(const UfPlateColour *colour, const Cell *cell)
{
    double most = 0;
    for (size_t c = 0; c < colour->channels; c++)
        most = fmax(most, fabs(mixed(colour, cell->plate, c) / cell->ring[c] - 1));
    return most;
}

/* Least squares of one channel, each cell relative to its brightness, pulled towards a plain gain. */
static void fit_channel(const Match *m, size_t count, size_t channels, const double *weight, size_t c,
                        double row[4])
{
    size_t n = channels + 1;
    double a[16] = {0}, b[4] = {0}, total = 0, gain_top = 0, gain_bottom = 0;
    for (size_t i = 0; i < count; i++) {
        const Cell *cell = &m->cells[i];
        if (!(weight[i] > 0))
            continue;
        double w = weight[i] / (cell->ring[c] * cell->ring[c]);
        double in[4] = {cell->plate[0], cell->plate[1], cell->plate[2], 0};
        in[channels] = 1;
        for (size_t j = 0; j < n; j++) {
            for (size_t k = 0; k < n; k++)
                a[j * n + k] += w * in[j] * in[k];
            b[j] += w * in[j] * cell->ring[c];
        }
        gain_top += w * cell->plate[c] * cell->ring[c];
        gain_bottom += w * cell->plate[c] * cell->plate[c];
        total += a[0] > 0 ? weight[i] : 0;
    }
    double gain = gain_bottom > 0 ? gain_top / gain_bottom : 1;
    for (size_t j = 0; j < n; j++) {
        double pull = (j < channels ? MIX_PULL : OFFSET_PULL) * a[j * n + j] + 1e-9;
        a[j * n + j] += pull;
        b[j] += j == c ? pull * gain : 0;
    }
    memset(row, 0, 4 * sizeof *row);
    if (!uf_solve_linear(n, a, b) || !(total > 0)) {
        row[c] = gain;
        return;
    }
    for (size_t j = 0; j < channels; j++)
        row[j] = b[j];
    row[3] = b[channels];
}

static UfStatus fit_mix(const Match *m, UfPlateColour *colour, UfReport *report)
{
    size_t count = colour->side * colour->side;
    double *weight = uf_alloc(count, sizeof *weight);
    if (weight == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < count; i++)
        weight[i] = m->cells[i].weight;
    for (int pass = 0; pass < PASSES; pass++) {
        size_t n = 0;
        for (size_t c = 0; c < colour->channels; c++)
            fit_channel(m, count, colour->channels, weight, c, colour->mix[c]);
        for (size_t i = 0; i < count; i++)
            if (m->cells[i].weight > 0)
                m->off[n++] = mix_residual(colour, &m->cells[i]);
        double scale = fmax(uf_robust_spread(m->off, n), 1e-3);
        for (size_t i = 0; i < count; i++) {
            double off = m->cells[i].weight > 0 ? mix_residual(colour, &m->cells[i]) / scale : 0;
            weight[i] = m->cells[i].weight / (1 + off * off);
        }
    }
    free(weight);
    return UF_OK;
}

/* May the surface slope? Only where most of the ring is seen. */
static bool may_slope(const Match *m, size_t cells)
{
    size_t seen[SECTORS] = {0}, sectors = 0;
    for (size_t i = 0; i < cells; i++)
        if (m->cells[i].weight > 0) {
            double turn = atan2(m->cells[i].v, m->cells[i].u) / (2 * UF_PI) + 1;
            seen[(size_t)(turn * SECTORS) % SECTORS]++;
        }
    for (size_t k = 0; k < SECTORS; k++)
        sectors += seen[k] >= 3;
    return sectors >= MOST_SECTORS;
}

/* 1, place, and the logarithm of 1/cos^2 of the angle from the lens's axis. */
static void terms_at(const UfPlateColour *colour, double u, double v, double out[TERMS])
{
    double half = (double)colour->side_px / 2, tangent = 0;
    UfSpot q;
    if (uf_homography_apply(&colour->to_ray, (UfSpot){half * (1 + u), half * (1 + v)}, &q))
        tangent = colour->tangent * hypot(q.x, q.y);
    const double terms[TERMS] = {1, u, v, log1p(tangent * tangent)};
    memcpy(out, terms, sizeof terms);
}

static double surface(const UfPlateColour *colour, size_t c, double u, double v)
{
    double at[TERMS], sum = 0;
    terms_at(colour, u, v, at);
    for (size_t k = 0; k < TERMS; k++)
        sum += colour->terms[c][k] * at[k];
    return sum;
}

/* Logarithm of what the mix leaves, less the surface. */
static double log_rest(const UfPlateColour *colour, const Cell *cell, size_t c)
{
    return log(cell->ring[c] / fmax(mixed(colour, cell->plate, c), DARK)) -
           surface(colour, c, cell->u, cell->v);
}

static double rest_spread(const UfPlateColour *colour, Match *m, size_t c)
{
    size_t n = 0;
    for (size_t i = 0; i < colour->side * colour->side; i++)
        if (m->cells[i].weight > 0)
            m->off[n++] = fabs(log_rest(colour, &m->cells[i], c));
    return fmax(uf_robust_spread(m->off, n), 1e-3);
}

/* Adds to the surface what fits the present rest, reweighted by it; slopes are held at 0 unless they may be.
 */
static void fit_surface(UfPlateColour *colour, Match *m, size_t c, bool slopes)
{
    for (int pass = 0; pass < PASSES; pass++) {
        double a[TERMS * TERMS] = {0}, b[TERMS] = {0}, scale = rest_spread(colour, m, c), total = 0;
        for (size_t i = 0; i < colour->side * colour->side; i++) {
            const Cell *cell = &m->cells[i];
            double at[TERMS];
            if (!(cell->weight > 0))
                continue;
            double rest = log_rest(colour, cell, c), weight = 1 / (1 + rest * rest / (scale * scale));
            terms_at(colour, cell->u, cell->v, at);
            for (size_t j = 0; j < TERMS; j++) {
                for (size_t k = 0; k < TERMS; k++)
                    a[j * TERMS + k] += weight * at[j] * at[k];
                b[j] += weight * at[j] * rest;
            }
            total += weight;
        }
        for (size_t j = 1; j < TERMS; j++) /* small pulls to 0 against what the ring does not say */
            a[j * TERMS + j] += total * (j == TERMS - 1 ? 1e-5 : slopes ? 1e-3 : 1e9);
        if (!uf_solve_linear(TERMS, a, b))
            return;
        for (size_t j = 0; j < TERMS; j++)
            colour->terms[c][j] += b[j];
    }
}

/* Means about one cell of what the mix and the surface leave there; false where it is not known. */
static bool rest_about(const UfPlateColour *colour, const Match *m, size_t x, size_t y, float out[4])
{
    size_t side = colour->side;
    double sum[3] = {0}, total = 0;
    if (!(m->cells[y * side + x].weight > 0))
        return false;
    for (size_t k = 0; k < 9; k++) {
        size_t u = x + k % 3, v = y + k / 3; /* one more than it is */
        if (u < 1 || v < 1 || u > side || v > side || !(m->cells[(v - 1) * side + u - 1].weight > 0))
            continue;
        double weight = (k % 3 == 1 ? 2 : 1) * (k / 3 == 1 ? 2 : 1);
        for (size_t c = 0; c < colour->channels; c++)
            sum[c] += weight * log_rest(colour, &m->cells[(v - 1) * side + u - 1], c);
        total += weight;
    }
    for (size_t c = 0; c < colour->channels; c++)
        out[c] = (float)(sum[c] / total);
    return true;
}

/* The rest: means of neighbouring cells where it is known, harmonic between. */
static UfStatus fill_rest(UfPlateColour *colour, Match *m, int threads, UfReport *report)
{
    size_t side = colour->side, count = side * side;
    uint8_t *is_open = uf_alloc(count, 1);
    float *nothing = uf_alloc_zero(count, 4 * sizeof *nothing);
    UfStatus status = is_open == NULL || nothing == NULL ? uf_fail_memory(report) : UF_OK;
    double limit[3] = {0};
    for (size_t c = 0; status == UF_OK && c < colour->channels; c++)
        limit[c] = MOST_OFF * rest_spread(colour, m, c);
    for (size_t i = 0; status == UF_OK && i < count; i++)
        for (size_t c = 0; c < colour->channels; c++)
            if (m->cells[i].weight > 0 && fabs(log_rest(colour, &m->cells[i], c)) > limit[c])
                m->cells[i].weight = 0;
    for (size_t y = 0; status == UF_OK && y < side; y++)
        for (size_t x = 0; x < side; x++)
            is_open[y * side + x] = !rest_about(colour, m, x, y, colour->rest + 4 * (y * side + x));
    if (status == UF_OK)
        status = uf_poisson_solve(side, side, is_open, colour->rest, nothing, 30, threads, report);
    free(is_open);
    free(nothing);
    return status;
}

/* Bilinear between the cells' middles. */
static double rest_at(const UfPlateColour *colour, size_t c, UfSpot at)
{
    double last = (double)colour->side - 1;
    double u = fmin(fmax(at.x / colour->cell_px - 0.5, 0), last);
    double v = fmin(fmax(at.y / colour->cell_px - 0.5, 0), last);
    size_t x = (size_t)fmin(u, fmax(last - 1, 0)), y = (size_t)fmin(v, fmax(last - 1, 0));
    size_t right = last > 0 ? 4 : 0, down = last > 0 ? 4 * colour->side : 0;
    const float *p = colour->rest + 4 * (y * colour->side + x) + c;
    u -= (double)x;
    v -= (double)y;
    return ((double)p[0] * (1 - u) + (double)p[right] * u) * (1 - v) +
           ((double)p[down] * (1 - u) + (double)p[down + right] * u) * v;
}

void uf_plate_colour_apply(const UfPlateColour *colour, UfSpot at, float value[4])
{
    double in[3] = {0}, u = 2 * at.x / (double)colour->side_px - 1,
           v = 2 * at.y / (double)colour->side_px - 1;
    for (size_t c = 0; c < colour->channels; c++)
        in[c] = linear(colour, value[c]);
    for (size_t c = 0; c < colour->channels; c++) {
        double light = mixed(colour, in, c) * exp(surface(colour, c, u, v) + rest_at(colour, c, at));
        float stored = uf_transfer_from_linear(colour->transfer, (float)light);
        value[c] = colour->is_root ? uf_signed_root(stored) : stored;
    }
}

/* What is left between the two after matching, in the canvas's values; the cells that fit count alone. */
static double tone_left(const UfPlateColour *colour, const Match *m)
{
    double sum = 0, count = 0;
    for (size_t y = 0; y < m->floor.height; y++)
        for (size_t x = 0; x < m->floor.width; x++) {
            size_t i = y * m->floor.width + x;
            UfSpot at = {((double)x + 0.5) * m->factor, ((double)y + 0.5) * m->factor};
            if (!m->known[i])
                continue;
            float value[4] = {m->plate[4 * i], m->plate[4 * i + 1], m->plate[4 * i + 2], 0};
            uf_plate_colour_apply(colour, at, value);
            for (size_t c = 0; c < colour->channels; c++)
                sum += pow((double)(value[c] - m->floor.value[4 * i + c]), 2);
            count += (double)colour->channels;
        }
    return count > 0 ? sqrt(sum / count) : 0;
}

UfStatus uf_plate_colour_match(const UfFloorPlane *plane, const UfPlatePhoto *photo, size_t channels,
                               const UfHomography *to_ray, int threads, UfPlateColour *out, double *tone_rms,
                               UfReport *report)
{
    Match m = {.factor = 1};
    out->transfer = photo->transfer;
    out->is_root = plane->is_root;
    out->channels = channels;
    out->to_ray = *to_ray;
    out->tangent = photo->tangent;
    UfStatus status = load(plane, photo, to_ray, threads, out, &m, report);
    if (status == UF_OK && gather(out, &m) < LEAST_CELLS)
        status = uf_fail(report, UF_ERROR_UNCLEAR,
                         "the floor photograph and the ring around the cap overlap too little to match their "
                         "colours: take it from farther away");
    if (status == UF_OK)
        status = fit_mix(&m, out, report);
    if (status == UF_OK) {
        bool slopes = may_slope(&m, out->side * out->side);
        for (size_t c = 0; c < channels; c++)
            fit_surface(out, &m, c, slopes);
        status = fill_rest(out, &m, threads, report);
    }
    if (status == UF_OK)
        *tone_rms = tone_left(out, &m);
    match_clear(&m);
    return status;
}

/* Rows of a panorama low-passed to what a target can hold. */
#include "remap/thin.h"

#include <fftw3.h>
#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "picture/colour.h"
#include "remap/source.h"
#include "remap/window.h"

/* The gain is 1 up to the first and 0 from the second on, in parts of the target's own limit. */
#define PASS 0.85
#define STOP 1.60

/* Bands of latitude for which the target's density is looked up, and the grid that is laid over the target.
 */
#define BANDS  128
#define GRID   96
#define STEP_R 1e-5

/* For each band the densest that the target is along a parallel: pixels to the radian of arc; 0 where unseen.
 */
typedef struct Density {
    double px[BANDS];
} Density;

/* Pixels of the target to the radian along the parallel through the point that it shows at (x, y). */
static bool density_at(const UfView *target, UfPixelPoint at, double *lat_rad, double *density)
{
    UfDirection d;
    UfPixelPoint east;
    UfPixelPoint west;
    if (!uf_view_direction(target, at, &d))
        return false;
    double level = hypot(d.x, d.z);
    *lat_rad = atan2(d.y, level);
    double ex = level > 0 ? d.z / level : 1;
    double ez = level > 0 ? -d.x / level : 0;
    UfDirection to_east = {d.x + STEP_R * ex, d.y, d.z + STEP_R * ez};
    UfDirection to_west = {d.x - STEP_R * ex, d.y, d.z - STEP_R * ez};
    if (!uf_view_pixel(target, to_east, &east) || !uf_view_pixel(target, to_west, &west))
        return false;
    *density = hypot(east.x_px - west.x_px, east.y_px - west.y_px) / (2 * STEP_R);
    return true;
}

static void look_over(const UfView *target, Density *out)
{
    double seen[BANDS] = {0};
    for (int row = 0; row <= GRID; row++)
        for (int column = 0; column <= GRID; column++) {
            double lat_rad;
            double density;
            UfPixelPoint at = {(double)target->width_px * column / GRID,
                               (double)target->height_px * row / GRID};
            if (!density_at(target, at, &lat_rad, &density))
                continue;
            int band = (int)((0.5 - lat_rad / UF_PI) * BANDS);
            band = band < 0 ? 0 : band >= BANDS ? BANDS - 1 : band;
            seen[band] = fmax(seen[band], density);
        }
    /* the grid may have missed the densest place of a band: its neighbours speak for it, too */
    for (int band = 0; band < BANDS; band++) {
        out->px[band] = seen[band];
        for (int near = band - 2; near <= band + 2; near++)
            if (near >= 0 && near < BANDS)
                out->px[band] = fmax(out->px[band], seen[near]);
    }
}

/* Harmonics that the target holds in a row, INFINITY where the row is not seen. */
static double harmonics_of(const Density *density, size_t y_px, size_t height_px)
{
    double at = ((double)y_px + 0.5) / (double)height_px;
    double band = at * BANDS - 0.5;
    int below = (int)floor(band);
    double part = band - below;
    int first = below < 0 ? 0 : below;
    int second = below + 1 >= BANDS ? BANDS - 1 : below + 1;
    if (density->px[first] <= 0 || density->px[second] <= 0)
        return INFINITY;
    double px = density->px[first] + part * (density->px[second] - density->px[first]);
    /* a parallel is 2 pi cos(lat) long, and two pixels hold one wave */
    return UF_PI * cos((0.5 - at) * UF_PI) * px;
}

static double gain_of(double harmonic, double limit)
{
    double t = (harmonic / limit - PASS) / (STOP - PASS);
    return t <= 0 ? 1 : t >= 1 ? 0 : 0.5 + 0.5 * cos(UF_PI * t);
}

typedef struct Thinner {
    const UfPicture *from;
    UfPicture *to;
    Density density;
    size_t width_px, height_px, channels;
    UfSample sample;
    fftw_plan there, back;
} Thinner;

typedef struct Room {
    double *row;
    fftw_complex *waves;
} Room;

static bool is_thinned(const Thinner *thinner, size_t y)
{
    return PASS * harmonics_of(&thinner->density, y, thinner->height_px) < (double)(thinner->width_px / 2);
}

static void filter(const Thinner *thinner, double limit, Room *room)
{
    double lowest = INFINITY;
    double highest = -INFINITY;
    size_t width_px = thinner->width_px;
    for (size_t x = 0; x < width_px; x++) {
        lowest = fmin(lowest, room->row[x]);
        highest = fmax(highest, room->row[x]);
    }
    fftw_execute_dft_r2c(thinner->there, room->row, room->waves);
    for (size_t m = 0; m <= width_px / 2; m++) {
        double gain = gain_of((double)m, limit) / (double)width_px;
        room->waves[m][0] *= gain;
        room->waves[m][1] *= gain;
    }
    fftw_execute_dft_c2r(thinner->back, room->waves, room->row);
    for (size_t x = 0; x < width_px; x++)
        room->row[x] = fmin(fmax(room->row[x], lowest), highest);
}

/* Premultiplied where there is alpha; alpha itself comes last, when the colours have no more need of the old
 * one. */
static void thin_row(const Thinner *thinner, size_t y, Room *room)
{
    const UfSample sample = thinner->sample;
    const size_t channels = thinner->channels;
    const size_t sample_bytes = (size_t)sample;
    const bool has_alpha = channels % 2 == 0;
    const double max = uf_sample_max(sample);
    const uint8_t *from = uf_picture_row_const(thinner->from, y);
    uint8_t *to = uf_picture_row(thinner->to, y);
    double limit = harmonics_of(&thinner->density, y, thinner->height_px);
    for (size_t i = 0; i < channels; i++) {
        size_t c = has_alpha ? (i + channels - 1) % channels : i; /* alpha first */
        for (size_t x = 0; x < thinner->width_px; x++) {
            const uint8_t *pixel = from + x * channels * sample_bytes;
            double alpha =
                has_alpha ? uf_sample_load(pixel + (channels - 1) * sample_bytes, sample) / max : 1;
            double value = uf_sample_load(pixel + c * sample_bytes, sample);
            room->row[x] = has_alpha && i > 0 ? value * alpha : value;
        }
        filter(thinner, limit, room);
        for (size_t x = 0; x < thinner->width_px; x++) {
            uint8_t *pixel = to + x * channels * sample_bytes;
            double value = room->row[x];
            if (has_alpha && i > 0) {
                double alpha = uf_sample_load(pixel + (channels - 1) * sample_bytes, sample) / max;
                value = alpha > 0 ? value / alpha : 0;
            }
            uf_sample_store(pixel + c * sample_bytes, value, sample);
        }
    }
}

static bool room_create(const Thinner *thinner, Room *room)
{
    room->row = fftw_alloc_real(thinner->width_px);
    room->waves = fftw_alloc_complex(thinner->width_px / 2 + 1);
    return room->row != NULL && room->waves != NULL;
}

static void room_free(Room *room)
{
    fftw_free(room->row);
    fftw_free(room->waves);
}

/* Making plans is not safe for several threads, using them is. */
static bool plan(Thinner *thinner)
{
    Room room = {0};
    bool good = room_create(thinner, &room);
#pragma omp critical(uf_fftw_planner)
    if (good) {
        thinner->there = fftw_plan_dft_r2c_1d((int)thinner->width_px, room.row, room.waves, FFTW_ESTIMATE);
        thinner->back = fftw_plan_dft_c2r_1d((int)thinner->width_px, room.waves, room.row, FFTW_ESTIMATE);
        good = thinner->there != NULL && thinner->back != NULL;
    }
    room_free(&room);
    return good;
}

static bool run(const Thinner *thinner, int threads)
{
    bool good = true;
#pragma omp parallel num_threads(threads)
    {
        Room room = {0};
        bool ready = room_create(thinner, &room);
#pragma omp for schedule(dynamic, 16)
        for (size_t y = 0; y < thinner->height_px; y++)
            if (ready && is_thinned(thinner, y))
                thin_row(thinner, y, &room);
#pragma omp critical
        good = good && ready;
        room_free(&room);
    }
    return good;
}

UfStatus uf_thin_rows(const UfPicture *panorama, const UfView *target, int threads, UfPicture **out,
                      UfReport *report)
{
    Thinner thinner = {.from = panorama,
                       .width_px = uf_picture_width_px(panorama),
                       .height_px = uf_picture_height_px(panorama),
                       .channels = uf_picture_channels(panorama),
                       .sample = uf_picture_sample(panorama)};
    bool any = false;
    look_over(target, &thinner.density);
    for (size_t y = 0; y < thinner.height_px && !any; y++)
        any = is_thinned(&thinner, y);
    *out = NULL;
    if (!any)
        return UF_OK;
    UfStatus status = uf_picture_copy(panorama, &thinner.to, report);
    if (status != UF_OK)
        return status;
    if (!plan(&thinner) || !run(&thinner, threads))
        status = uf_fail_memory(report);
#pragma omp critical(uf_fftw_planner)
    {
        fftw_destroy_plan(thinner.there);
        fftw_destroy_plan(thinner.back);
    }
    if (status == UF_OK)
        *out = thinner.to;
    else
        uf_picture_free(&thinner.to);
    return status;
}

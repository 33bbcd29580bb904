/*
 * Sizes to work on: coarse ones to find, fine ones to refine. All are compared as detail, the same for both
 * pictures: a small blur against noise, then local mean and spread taken out.
 */
#include "patch/plate_levels.h"

#include <math.h>

#include "base/memory.h"
#include "patch/four.h"

#define WORK_SIDE    800u   /* features of the floor are sought on no more */
#define SHOT_SIDE    1400.0 /* of the rectified photo */
#define LEAST_LEVEL  48u
#define NOISE_SIGMA  0.8
#define DETAIL_SIGMA 6.0
#define DETAIL_FLOOR 0.006

UfHomography uf_plate_level_to_plane(size_t level)
{
    return uf_homography_scaling(ldexp(1, (int)level), 0, 0);
}

void uf_plate_levels_clear(UfPlateLevels *levels)
{
    for (size_t i = 0; i < UF_PLATE_MOST_LEVELS; i++) {
        uf_grey_clear(&levels->floor[i]);
        uf_grey_clear(&levels->shot[i]);
    }
}

static UfStatus halves(UfGrey *level, size_t *count, UfReport *report)
{
    UfStatus status = UF_OK;
    *count = 1;
    while (status == UF_OK && *count < UF_PLATE_MOST_LEVELS &&
           level[*count - 1].width >= (size_t)2 * LEAST_LEVEL &&
           level[*count - 1].height >= (size_t)2 * LEAST_LEVEL) {
        status = uf_grey_halve(&level[*count - 1], &level[*count], report);
        *count += status == UF_OK;
    }
    return status;
}

static UfStatus floor_levels(UfPlateLevels *l, UfReport *report)
{
    const UfCanvas *canvas = &l->plane->canvas;
    uint8_t *known = uf_alloc(canvas->width * canvas->height, 1);
    if (known == NULL)
        return uf_fail_memory(report);
    for (size_t i = 0; i < canvas->width * canvas->height; i++)
        known[i] = canvas->cell[i] == UF_CELL_SOURCE;
    UfStatus status = uf_grey_of_colour(canvas->width, canvas->height, canvas->value, known, l->channels,
                                        &l->floor[0], report);
    free(known);
    if (status == UF_OK)
        status = halves(l->floor, &l->floor_count, report);
    while (l->work + 1 < l->floor_count && uf_grey_side(&l->floor[l->work]) > WORK_SIDE)
        l->work++;
    return status;
}

/* Largest |x| and |y| that the photo's border has as rays. */
static void extent(const UfPlatePhoto *photo, double *x, double *y)
{
    double width = 2 * photo->centre_x, height = 2 * photo->centre_y;
    *x = *y = 0;
    for (int i = 0; i <= 64; i++) {
        double t = i / 64.0;
        const UfSpot border[] = {{t * width, 0}, {t * width, height}, {0, t * height}, {width, t * height}};
        for (int k = 0; k < 4; k++) {
            UfSpot q = {photo->reach, photo->reach};
            uf_plate_photo_ray(photo, border[k], &q);
            *x = fmax(*x, fabs(q.x));
            *y = fmax(*y, fabs(q.y));
        }
    }
}

static void to_root(float *value, size_t count)
{
    for (size_t i = 0; i < count; i++)
        value[i] = uf_signed_root(value[i]);
}

/* The photo through a map from grid pixels to rays, in grey. */
static UfStatus grey_of_photo(const UfPlateLevels *l, const UfHomography *to_ray, size_t width, size_t height,
                              const uint8_t *wanted, UfGrey *out, UfReport *report)
{
    float *value = uf_alloc(width * height, 4 * sizeof *value);
    uint8_t *known = uf_alloc(width * height, 1);
    UfStatus status = value == NULL || known == NULL ? uf_fail_memory(report) : UF_OK;
    if (status == UF_OK) {
        uf_plate_photo_warp(l->photo, to_ray, width, height, wanted, l->threads, value, known);
        if (l->plane->is_root)
            to_root(value, 4 * width * height);
        status = uf_grey_of_colour(width, height, value, known, l->channels, out, report);
    }
    free(value);
    free(known);
    return status;
}

static UfStatus shot_levels(UfPlateLevels *l, UfReport *report)
{
    double x, y;
    extent(l->photo, &x, &y);
    double scale = fmin(l->photo->focal_px, SHOT_SIDE / (2 * fmax(x, y)));
    size_t width = (size_t)fmax(8, 2 * floor(x * scale)), height = (size_t)fmax(8, 2 * floor(y * scale));
    l->shot_to_ray =
        uf_homography_scaling(1 / scale, -(double)width / 2 / scale, -(double)height / 2 / scale);
    UfStatus status = grey_of_photo(l, &l->shot_to_ray, width, height, NULL, &l->shot[0], report);
    return status == UF_OK ? halves(l->shot, &l->shot_count, report) : status;
}

UfStatus uf_plate_levels_create(const UfFloorPlane *plane, const UfPlatePhoto *photo, size_t channels,
                                int threads, UfPlateLevels *out, UfReport *report)
{
    out->plane = plane;
    out->photo = photo;
    out->channels = channels;
    out->threads = threads;
    UfStatus status = floor_levels(out, report);
    return status == UF_OK ? shot_levels(out, report) : status;
}

static UfStatus detail_of(const UfGrey *grey, int threads, UfGrey *out, UfReport *report)
{
    UfGrey soft = {0};
    UfStatus status = uf_grey_blur(grey, NOISE_SIGMA, threads, &soft, report);
    if (status == UF_OK)
        status = uf_grey_detail(&soft, DETAIL_SIGMA, DETAIL_FLOOR, threads, out, report);
    uf_grey_clear(&soft);
    return status;
}

UfStatus uf_plate_floor_detail(const UfPlateLevels *levels, size_t level, UfGrey *out, UfReport *report)
{
    return detail_of(&levels->floor[level], levels->threads, out, report);
}

/* Which of the photo's sizes is about as fine as the grid: the median over a lattice of places. */
static size_t shot_level(const UfPlateLevels *l, const UfHomography *to_shot, size_t width, size_t height)
{
    double scales[64] = {0};
    size_t count = 0;
    for (size_t k = 0; k < 64; k++) {
        UfSpot at = {(double)width * ((double)(k % 8) + 0.5) / 8,
                     (double)height * ((double)(k / 8) + 0.5) / 8},
               to;
        if (!uf_homography_apply(to_shot, at, &to) || to.x < 0 || to.y < 0 ||
            to.x > (double)l->shot[0].width || to.y > (double)l->shot[0].height)
            continue;
        double scale = sqrt(fabs(uf_homography_area(to_shot, at)));
        size_t i = count++;
        for (; i > 0 && scales[i - 1] > scale; i--)
            scales[i] = scales[i - 1];
        scales[i] = scale;
    }
    if (count == 0)
        return 0;
    double level = floor(log2(fmax(scales[count / 2], 1e-9)) + 0.4);
    return level <= 0 ? 0 : level >= (double)l->shot_count ? l->shot_count - 1 : (size_t)level;
}

static UfStatus quick_grey(const UfPlateLevels *l, const UfHomography *to_ray, size_t width, size_t height,
                           UfGrey *out, UfReport *report)
{
    UfHomography to_shot;
    UfStatus status = uf_grey_create(width, height, out, report);
    if (status != UF_OK || !uf_homography_inverse(&l->shot_to_ray, &to_shot))
        return status;
    to_shot = uf_homography_product(&to_shot, to_ray);
    size_t level = shot_level(l, &to_shot, width, height);
    UfHomography finer = uf_homography_scaling(ldexp(1, -(int)level), 0, 0);
    to_shot = uf_homography_product(&finer, &to_shot);
#pragma omp parallel for num_threads(l->threads) schedule(static)
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            UfSpot at;
            double value;
            if (!uf_homography_apply(&to_shot, (UfSpot){(double)x + 0.5, (double)y + 0.5}, &at) ||
                !uf_grey_at(&l->shot[level], at, &value))
                continue;
            out->value[y * width + x] = (float)value;
            out->known[y * width + x] = 1;
        }
    return UF_OK;
}

UfStatus uf_plate_photo_detail(const UfPlateLevels *levels, size_t level, size_t margin,
                               const UfHomography *to_ray, bool is_sharp, UfGrey *out, UfReport *report)
{
    UfGrey grey = {0};
    UfHomography grid = uf_plate_level_to_plane(level);
    UfHomography shift = uf_homography_scaling(1, -(double)margin, -(double)margin);
    size_t width = levels->floor[level].width + 2 * margin, height = levels->floor[level].height + 2 * margin;
    grid = uf_homography_product(&grid, &shift);
    grid = uf_homography_product(to_ray, &grid);
    UfStatus status = is_sharp ? grey_of_photo(levels, &grid, width, height, NULL, &grey, report)
                               : quick_grey(levels, &grid, width, height, &grey, report);
    if (status == UF_OK)
        status = detail_of(&grey, levels->threads, out, report);
    uf_grey_clear(&grey);
    return status;
}

/*
 * The mask is closed (dilated and eroded by half the gap, with discs: J. Serra, Image Analysis and
 * Mathematical Morphology, 1982), and its soft edge follows the Euclidean distance to it. Distances are
 * squared whole numbers, found exactly in two passes, down the columns and along the rows, up to a limit.
 */
#include "putback/mask.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"

#define FAR 65535u

/* A rectangle of the mask, and the squared distances in it. */
typedef struct Field {
    uint8_t *mask;
    size_t stride;
    size_t width, height;
    uint16_t *squared;
    uint8_t *down; /* distance along the column */
} Field;

/* To the nearest pixel in the column for which (mask != 0) == set; 255 is far. */
static void measure_columns(const Field *field, bool set, unsigned limit)
{
    size_t width = field->width, height = field->height;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            bool hit = (field->mask[y * field->stride + x] != 0) == set;
            unsigned above = y > 0 ? field->down[(y - 1) * width + x] + 1u : 255u;
            field->down[y * width + x] = (uint8_t)(hit ? 0 : above > limit ? 255u : above);
        }
    for (size_t y = height; y-- > 1;)
        for (size_t x = 0; x < width; x++) {
            unsigned below = field->down[y * width + x] + 1u;
            if (below <= limit && below < field->down[(y - 1) * width + x])
                field->down[(y - 1) * width + x] = (uint8_t)below;
        }
}

/* squared[] = squared distance to the nearest pixel for which (mask != 0) == set, FAR beyond the limit. */
static void measure(Field *field, bool set, unsigned limit)
{
    size_t width = field->width;
    measure_columns(field, set, limit);
#pragma omp parallel for schedule(static)
    for (size_t y = 0; y < field->height; y++) {
        const uint8_t *down = field->down + y * width;
        uint16_t *out = field->squared + y * width;
        for (size_t x = 0; x < width; x++) {
            size_t from = x > limit ? x - limit : 0, to = x + limit < width ? x + limit : width - 1;
            unsigned best = down[x] == 255 ? FAR : (unsigned)down[x] * down[x];
            for (size_t at = best == 0 ? to + 1 : from; at <= to; at++) {
                unsigned across = (unsigned)(at > x ? at - x : x - at);
                unsigned length = down[at] == 255 ? FAR : across * across + (unsigned)down[at] * down[at];
                best = length < best ? length : best;
            }
            out[x] = (uint16_t)(best > limit * limit ? FAR : best);
        }
    }
}

/* Sets (or clears) what lies within `radius` of the pixels that are set (or clear). */
static void widen(Field *field, bool set, double radius)
{
    unsigned limit = (unsigned)ceil(radius);
    if (radius <= 0)
        return;
    measure(field, set, limit);
    for (size_t y = 0; y < field->height; y++)
        for (size_t x = 0; x < field->width; x++)
            if (field->squared[y * field->width + x] <= radius * radius)
                field->mask[y * field->stride + x] = set;
}

/* 1 up to `grow`, falling smoothly to 0 one pixel behind the feather. */
static uint8_t weight_at(unsigned squared, double grow, double feather)
{
    double beyond = sqrt((double)squared) - grow;
    if (squared == FAR || beyond >= feather + 1)
        return 0;
    if (beyond <= 0)
        return 255;
    double t = 1 - beyond / (feather + 1);
    return (uint8_t)lround(255 * t * t * (3 - 2 * t));
}

static void shade(Field *field, double grow, double feather)
{
    measure(field, true, (unsigned)ceil(grow + feather + 1));
    for (size_t y = 0; y < field->height; y++)
        for (size_t x = 0; x < field->width; x++)
            field->mask[y * field->stride + x] =
                weight_at(field->squared[y * field->width + x], grow, feather);
}

static UfBox box_of(const uint8_t *mask, size_t width, size_t height)
{
    UfBox box = {.x0 = width, .y0 = height};
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            if (mask[y * width + x] == 0)
                continue;
            box.x0 = x < box.x0 ? x : box.x0;
            box.x1 = x >= box.x1 ? x + 1 : box.x1;
            box.y0 = y < box.y0 ? y : box.y0;
            box.y1 = y + 1;
        }
    const UfBox none = {0};
    return box.x1 == 0 ? none : box;
}

static UfBox box_grown(UfBox box, size_t by, size_t width, size_t height)
{
    return (UfBox){.x0 = box.x0 > by ? box.x0 - by : 0,
                   .y0 = box.y0 > by ? box.y0 - by : 0,
                   .x1 = box.x1 + by < width ? box.x1 + by : width,
                   .y1 = box.y1 + by < height ? box.y1 + by : height};
}

UfStatus uf_mask_soften(uint8_t *mask, size_t width_px, size_t height_px, double gap_px, double grow_px,
                        double feather_px, UfBox *box, UfReport *report)
{
    UfBox set = box_of(mask, width_px, height_px);
    *box = set;
    if (set.x1 == 0)
        return UF_OK;
    size_t reach = (size_t)ceil(fmax(gap_px, grow_px + feather_px + 1)) + 1;
    UfBox room = box_grown(set, reach, width_px, height_px);
    Field field = {.mask = mask + room.y0 * width_px + room.x0,
                   .stride = width_px,
                   .width = room.x1 - room.x0,
                   .height = room.y1 - room.y0};
    field.squared = uf_alloc(field.width * field.height, sizeof *field.squared);
    field.down = uf_alloc(field.width * field.height, sizeof *field.down);
    UfStatus status = UF_OK;
    if (field.squared == NULL || field.down == NULL) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    widen(&field, true, gap_px / 2);
    widen(&field, false, gap_px / 2);
    shade(&field, grow_px, feather_px);
    *box = box_of(mask, width_px, height_px);
cleanup:
    free(field.squared);
    free(field.down);
    return status;
}

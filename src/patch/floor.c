/*
 * The floor fill. The panorama's ring is brought into the floor's plane (gnomonic about the pole, J. P.
 * Snyder, USGS PP 1395, section 22), where tiles are square and boards are straight; light and texture are
 * taken apart; the hole is completed with texture of the ring; the light is put back, and the piece of floor
 * goes home row by row.
 */
#include "patch/floor.h"

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/complete.h"
#include "patch/detail.h"
#include "patch/floor_plane.h"
#include "patch/odd.h"
#include "patch/plate.h"
#include "patch/rows.h"
#include "patch/shading.h"
#include "patch/spread.h"

/* Less deviation than this is no texture: half a code of 8 bits. */
#define LEAST_TEXTURE 0.002

struct UfFloor {
    UfPicture *plane; /* the finished piece of floor */
    UfView view;
};

void uf_floor_free(UfFloor **floor)
{
    if (floor == NULL || *floor == NULL)
        return;
    uf_picture_free(&(*floor)->plane);
    free(*floor);
    *floor = NULL;
}

/* The hole that is left gets the ring's texture, in the ring's light. */
static UfStatus complete(UfFloorPlane *plane, const UfCap *cap, unsigned seed, UfReport *report)
{
    UfShading shading = {0};
    UfStatus status = uf_shading_fit(&plane->canvas, &shading, report);
    if (status != UF_OK)
        return status;
    /* after the detail: its mask reads a pixel into the hole, where the picture is still floor */
    uf_canvas_empty_hole(&plane->canvas);
    uf_shading_remove(&shading, &plane->canvas);
    if (uf_canvas_deviation(&plane->canvas) < LEAST_TEXTURE)
        return uf_fail(report, UF_ERROR_UNCLEAR, "the floor around the cap is too uniform to hold a texture");
    if ((status = uf_odd_exclude(&plane->canvas, uf_floor_plane_reach(plane, cap), report)) != UF_OK)
        return status;
    if ((status = uf_complete(&plane->canvas, seed, cap->threads, report)) != UF_OK)
        return status;
    uf_shading_restore(&shading, &plane->canvas);
    return UF_OK;
}

UfStatus uf_floor_rebuild(const UfPicture *panorama, const UfCap *cap, unsigned seed, const UfPlate *plate,
                          UfPlateFit *fit, UfFloor **out, UfReport *report)
{
    UfFloorPlane plane = {0};
    UfBox hole;
    UfFloor *floor = uf_alloc_zero(1, sizeof *floor);
    if (floor == NULL)
        return uf_fail_memory(report);
    UfStatus status = uf_floor_plane_read(panorama, cap, plate != NULL, &plane, report);
    if (status == UF_OK && plate != NULL)
        status = uf_plate_lay(panorama, cap, plate, &plane, fit, report);
    if (status == UF_OK)
        status = uf_detail_restore(panorama, cap, &plane, report);
    if (status == UF_OK && uf_canvas_hole_box(&plane.canvas, 0, &hole))
        status = complete(&plane, cap, seed, report);
    if (status != UF_OK)
        goto cleanup;
    floor->view = plane.view;
    if ((status = uf_floor_plane_picture(&plane, panorama, &floor->plane, report)) != UF_OK)
        goto cleanup;
    *out = floor;
    floor = NULL;
cleanup:
    uf_floor_plane_clear(&plane);
    uf_floor_free(&floor);
    return status;
}

UfStatus uf_floor_spread(const UfPicture *panorama, const UfCap *cap, UfFloor **out, UfReport *report)
{
    UfFloor *floor = uf_alloc_zero(1, sizeof *floor);
    if (floor == NULL)
        return uf_fail_memory(report);
    UfStatus status = uf_spread(panorama, cap, &floor->plane, &floor->view, report);
    if (status == UF_OK)
        *out = floor;
    else
        uf_floor_free(&floor);
    return status;
}

UfStatus uf_floor_rows(const UfFloor *floor, const UfCap *cap, size_t y0_px, size_t count, float *out,
                       UfReport *report)
{
    UfPicture *rows = NULL;
    UfRemapOptions options = {.threads = cap->threads};
    UfView target = uf_cap_rows_view(cap, y0_px, count);
    UfStatus status = uf_remap(floor->plane, &floor->view, &target, &options, &rows, report);
    if (status != UF_OK)
        return status;
    size_t values = cap->width_px * uf_colour_channels(rows);
    for (size_t y = 0; y < count; y++)
        uf_row_load(rows, y, out + y * values, NULL);
    uf_picture_free(&rows);
    return UF_OK;
}

/*
 * The floor fill. The panorama's ring is brought into the floor's plane (gnomonic about the pole, J. P.
 * Snyder, USGS PP 1395, section 22), where tiles are square and boards are straight; light and texture are
 * taken apart; the hole is completed with texture of the ring; the light is put back, and the piece of floor
 * goes home row by row.
 */
#include "patch/floor.h"

#include "base/memory.h"
#include "base/report.h"
#include "patch/boards.h"
#include "patch/complete.h"
#include "patch/detail.h"
#include "patch/floor_plane.h"
#include "patch/odd.h"
#include "patch/patchmatch.h"
#include "patch/plate.h"
#include "patch/pole.h"
#include "patch/shading.h"
#include "patch/spread.h"
#include "patch/texture.h"

struct UfFloor {
    UfCanvas canvas; /* the finished piece of floor */
    UfView view;     /* as large as the canvas */
    bool is_root;    /* the canvas holds square roots */
    float *columns;  /* the way home's, made for the panorama's width */
};

void uf_floor_free(UfFloor **floor)
{
    if (floor == NULL || *floor == NULL)
        return;
    uf_canvas_clear(&(*floor)->canvas);
    free((*floor)->columns);
    free(*floor);
    *floor = NULL;
}

static UfFloor *floor_create(const UfCap *cap)
{
    UfFloor *floor = uf_alloc_zero(1, sizeof *floor);
    if (floor != NULL && (floor->columns = uf_pole_columns(cap)) == NULL)
        uf_floor_free(&floor);
    return floor;
}

typedef struct Light {
    UfShading shading;
    UfBox shown;
} Light;

/* After the detail has been restored: its mask reads a pixel into the hole, where the picture is still floor.
 */
static void take_light(void *data, UfCanvas *canvas, size_t y)
{
    const Light *light = data;
    uf_canvas_empty_hole(canvas, y);
    uf_shading_remove(&light->shading, light->shown, y, canvas);
}

/* The hole gets texture, all else stays. */
static UfStatus fill_hole(UfLevels *levels, double reach, bool is_boards, unsigned seed, int threads,
                          UfReport *report)
{
    bool is_filled = false;
    UfStatus status = uf_texture_check(levels, report);
    if (status == UF_OK)
        status = uf_odd_exclude(levels, reach, threads, report);
    if (status == UF_OK && is_boards)
        status = uf_boards_fill(&levels->canvas[0], seed, threads, &is_filled, report);
    if (status == UF_OK && !is_filled)
        status = uf_complete(levels, seed, threads, report);
    return status;
}

/* The hole that is left gets the ring's texture, in the ring's light. */
static UfStatus complete(UfFloorPlane *plane, const UfCap *cap, bool is_boards, unsigned seed,
                         UfReport *report)
{
    Light light = {.shown = plane->shown};
    UfLevels levels = {0};
    UfStatus status = uf_shading_fit(&plane->canvas, cap->threads, &light.shading, report);
    if (status == UF_OK)
        status = uf_levels_build(&plane->canvas, take_light, &light, cap->threads, &levels, report);
    if (status == UF_OK)
        status = fill_hole(&levels, uf_floor_plane_reach(plane, cap), is_boards, seed, cap->threads, report);
    uf_levels_clear(&levels);
    if (status == UF_OK)
        uf_shading_restore(&light.shading, plane->shown, cap->threads, &plane->canvas);
    return status;
}

/* The floor gets what goes home of the plane. */
static void keep_shown(UfFloorPlane *plane, UfFloor *floor)
{
    UfBox box = plane->shown;
    floor->view = uf_view_window(&plane->view, box.x0, box.y0, uf_box_width(box), uf_box_height(box));
    floor->is_root = plane->is_root;
    floor->canvas = plane->canvas;
    plane->canvas = (UfCanvas){0};
    uf_canvas_crop(&floor->canvas, box);
}

/* The plane; where boards are seen, turned so that they lie along its rows. */
static UfStatus read_plane(const UfPicture *panorama, const UfCap *cap, bool has_plate, UfFloorPlane *plane,
                           bool *is_boards, UfReport *report)
{
    double angle = 0;
    UfStatus status = uf_floor_plane_read(panorama, cap, has_plate, 0, plane, report);
    if (status == UF_OK && !has_plate)
        status = uf_boards_find(&plane->canvas, cap->threads, is_boards, &angle, report);
    if (status == UF_OK && *is_boards && angle != 0) {
        uf_floor_plane_clear(plane);
        status = uf_floor_plane_read(panorama, cap, false, angle, plane, report);
    }
    return status;
}

UfStatus uf_floor_rebuild(const UfPicture *panorama, const UfCap *cap, unsigned seed, const UfPlate *plate,
                          UfPlateFit *fit, UfFloor **out, UfReport *report)
{
    UfFloorPlane plane = {0};
    bool is_boards = false;
    UfBox hole;
    UfFloor *floor = floor_create(cap);
    if (floor == NULL)
        return uf_fail_memory(report);
    UfStatus status = read_plane(panorama, cap, plate != NULL, &plane, &is_boards, report);
    if (status == UF_OK && plate != NULL)
        status = uf_plate_lay(panorama, cap, plate, &plane, fit, report);
    if (status == UF_OK)
        status = uf_detail_restore(panorama, cap, &plane, report);
    if (status == UF_OK && uf_canvas_hole_box(&plane.canvas, 0, &hole))
        status = complete(&plane, cap, is_boards, seed, report);
    if (status != UF_OK)
        goto cleanup;
    keep_shown(&plane, floor);
    *out = floor;
    floor = NULL;
cleanup:
    uf_floor_plane_clear(&plane);
    uf_floor_free(&floor);
    return status;
}

UfStatus uf_floor_spread(const UfPicture *panorama, const UfCap *cap, UfFloor **out, UfReport *report)
{
    UfFloor *floor = floor_create(cap);
    if (floor == NULL)
        return uf_fail_memory(report);
    UfStatus status = uf_spread(panorama, cap, &floor->canvas, &floor->view, report);
    if (status == UF_OK)
        *out = floor;
    else
        uf_floor_free(&floor);
    return status;
}

UfStatus uf_floor_rows(const UfFloor *floor, const UfCap *cap, size_t y0_px, size_t count, size_t channels,
                       float *out, UfReport *report)
{
    return uf_pole_rows(&floor->canvas, &floor->view, floor->is_root, cap, floor->columns, y0_px, count,
                        channels, out, report);
}

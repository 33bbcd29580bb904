/* Into the floor's plane and out of it. */
#include "patch/floor_plane.h"

#include <math.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/pole.h"
#include "patch/region.h"
#include "picture/colour.h"

/* The plane reaches this many times as far as the cap, but not beyond 68 degrees, where the floor is a smear.
 */
#define RING_FACTOR 2.2
#define MOST_REACH  2.475
/*
 * The panorama's rows lie 1 + r^2 times as far apart in the plane as below the camera, and what is copied
 * from far out is a smear there. So a wide cap's ring ends where they lie this many times as far apart as at
 * its rim; the plane is no finer than this many times what the rim shows, the mean of both directions. A
 * plate shows more than that: with one, the plane keeps the scale of the panorama straight below.
 */
#define MOST_STRETCH 1.85
#define FINENESS     1.45
/* Less ring than this is too little to rebuild a floor from. */
#define LEAST_FACTOR 1.35
/* Largest side of the plane: memory and time stay bounded. */
#define MOST_SIDE_PX 4096.0
/* A cap of fewer pixels across is filled smoothly. */
#define LEAST_CAP_PX 12.0
/* Interpolation and sharpening next to the cap read pixels of it: this far outside it the picture is clean.
 */
#define SOFT_EDGE_PX 4.0
/* Of a region's hole: so much floor must be left to copy from when its ring is narrowed. */
#define LEAST_LEFT 1.0
/* Share of the ring that must be picture. */
#define LEAST_SEEN 0.25
/* The soft edge is not followed beyond this. */
#define MOST_EDGE 4.0

/* What is covered, in the plane: half-open intervals of x and y, in camera heights. */
typedef struct Extent {
    double x0, y0, x1, y1;
} Extent;

static Extent extent_of(const UfCap *cap, double heading_rad)
{
    double rim = cap->cap_rad > 0 ? tan(cap->cap_rad) : 0;
    Extent e = {INFINITY, INFINITY, -INFINITY, -INFINITY};
    const UfRegion *region = cap->region;
    UfView unit = {.projection = UF_PROJECTION_RECTILINEAR,
                   .rotation = uf_cap_rotation(cap, heading_rad),
                   .scale_px = 1};
    if (rim > 0)
        e = (Extent){-rim, -rim, rim, rim};
    for (size_t i = 0; i < region->row_count * region->width_px; i++) {
        UfPixelPoint at;
        double x = (double)(i % region->width_px) + 0.5,
               y = (double)(region->first_row_px + i / region->width_px) + 0.5;
        UfLonLat place = {(x / (double)cap->width_px - 0.5) * 2 * UF_PI,
                          (0.5 - y / (double)cap->height_px) * UF_PI};
        if (!(region->weight[i] > 0) || !uf_view_pixel(&unit, uf_direction_from_lonlat(place), &at))
            continue;
        e = (Extent){fmin(e.x0, at.x_px), fmin(e.y0, at.y_px), fmax(e.x1, at.x_px), fmax(e.y1, at.y_px)};
    }
    return e;
}

/* How far the soft edge of the cap reaches: so far at least the plane must, as it is seen up to there. */
static UfStatus find_edge(const UfCap *cap, double *out, UfReport *report)
{
    double edge = tan(uf_cap_outer_rad(cap));
    if (edge > MOST_EDGE)
        return uf_fail(report, UF_ERROR_UNCLEAR, "the soft edge reaches to where the floor is a smear");
    *out = edge;
    return UF_OK;
}

/* A rectangle about cap and region, the ring as wide as the narrower side asks for. */
static UfStatus choose_rectangle(const UfCap *cap, double heading_rad, UfView *out, UfReport *report)
{
    Extent e = extent_of(cap, heading_rad);
    double narrow = fmin(e.x1 - e.x0, e.y1 - e.y0), margin = fmax((RING_FACTOR - 1) * narrow / 2, 0.25);
    double edge = 0;
    UfStatus status = find_edge(cap, &edge, report);
    if (status != UF_OK)
        return status;
    if (fmax(fmax(e.x1, -e.x0), fmax(e.y1, -e.y0)) > MOST_REACH / 1.1)
        return uf_fail(report, UF_ERROR_UNCLEAR,
                       "what is to be covered reaches to where the floor is a smear");
    e = (Extent){fmax(e.x0 - margin, -MOST_REACH), fmax(e.y0 - margin, -MOST_REACH),
                 fmin(e.x1 + margin, MOST_REACH), fmin(e.y1 + margin, MOST_REACH)};
    if (cap->cap_rad > 0)
        e = (Extent){fmin(e.x0, -edge), fmin(e.y0, -edge), fmax(e.x1, edge), fmax(e.y1, edge)};
    double scale = (double)cap->width_px / (2 * UF_PI);
    scale = fmin(scale, MOST_SIDE_PX / fmax(e.x1 - e.x0, e.y1 - e.y0));
    if (narrow * scale < LEAST_CAP_PX)
        return uf_fail(report, UF_ERROR_UNCLEAR, "what is to be covered is too few pixels to hold a texture");
    *out = (UfView){.projection = UF_PROJECTION_RECTILINEAR,
                    .rotation = uf_cap_rotation(cap, heading_rad),
                    .scale_px = scale,
                    .centre_x_px = -e.x0 * scale,
                    .centre_y_px = -e.y0 * scale,
                    .width_px = (size_t)ceil((e.x1 - e.x0) * scale),
                    .height_px = (size_t)ceil((e.y1 - e.y0) * scale)};
    return UF_OK;
}

/* Where the rows lie MOST_STRETCH times as far apart as at the rim; at least some ring. */
static double stretch_reach(double rim)
{
    return fmax(sqrt(MOST_STRETCH * (1 + rim * rim) - 1), 1.03 * LEAST_FACTOR * rim);
}

/* How far the ring about the cap reaches. */
static double ring_reach(double rim, bool has_plate)
{
    double reach = fmin(fmax(RING_FACTOR * rim, rim + 0.25), MOST_REACH);
    return has_plate ? reach : fmin(reach, stretch_reach(rim));
}

/* How far the ring reaches and how fine it is taken. */
static UfStatus choose_view(const UfCap *cap, bool has_plate, double heading_rad, UfView *out,
                            UfReport *report)
{
    if (cap->region != NULL)
        return choose_rectangle(cap, heading_rad, out, report);
    double rim = tan(cap->cap_rad), reach = ring_reach(rim, has_plate), edge = 0;
    UfStatus status = find_edge(cap, &edge, report);
    if (status != UF_OK)
        return status;
    if (reach < LEAST_FACTOR * rim)
        return uf_fail(report, UF_ERROR_UNCLEAR,
                       "a cap of %.1f degrees leaves too little floor around it to rebuild it from",
                       uf_degrees(cap->cap_rad));
    double scale = (double)cap->width_px / (2 * UF_PI);
    if (!has_plate)
        scale *= fmin(1, FINENESS * pow(1 + rim * rim, -0.75));
    scale = fmin(scale, MOST_SIDE_PX / (2 * fmax(reach, edge)));
    if (2 * rim * scale < LEAST_CAP_PX)
        return uf_fail(report, UF_ERROR_UNCLEAR,
                       "the cap of %.1f degrees is too few pixels to hold a texture",
                       uf_degrees(cap->cap_rad));
    size_t side = 2 * (size_t)ceil(fmax(reach * scale, edge * scale + SOFT_EDGE_PX));
    *out = (UfView){.projection = UF_PROJECTION_RECTILINEAR,
                    .rotation = uf_cap_rotation(cap, heading_rad),
                    .scale_px = scale,
                    .centre_x_px = (double)side / 2,
                    .centre_y_px = (double)side / 2,
                    .width_px = side,
                    .height_px = side};
    return UF_OK;
}

double uf_floor_plane_farthest_rad(const UfCap *cap)
{
    UfView view = {0};
    if (choose_view(cap, false, 0, &view, NULL) != UF_OK)
        return 0;
    /* the corners, and what interpolation and averaging reach beyond them */
    double corner = sqrt(2) * ((double)view.width_px / 2 + SOFT_EDGE_PX);
    return atan(corner / view.scale_px) + SOFT_EDGE_PX / view.scale_px;
}

size_t uf_floor_plane_pixels(const UfCap *cap, bool has_plate)
{
    UfView view = {0};
    return choose_view(cap, has_plate, 0, &view, NULL) == UF_OK ? view.width_px * view.height_px : 0;
}

/* Float pictures in linear light are worked on as square roots. */
static UfStatus is_linear_float(const UfPicture *picture, bool *out, UfReport *report)
{
    *out = false;
    if (uf_picture_sample(picture) != UF_SAMPLE_F32)
        return UF_OK;
    UfTransfer *transfer = NULL;
    UfStatus status = uf_transfer_create(picture, &transfer, report);
    if (status == UF_OK)
        *out = fabsf(uf_transfer_to_linear(transfer, 0.25F) - 0.25F) < 0.01F;
    uf_transfer_free(&transfer);
    return status;
}

/* A cell's distance from the middle of the plane. */
static double from_middle_px(const UfView *view, size_t x, size_t y)
{
    return hypot((double)x + 0.5 - view->centre_x_px, (double)y + 0.5 - view->centre_y_px);
}

/* Cap, ring, and what lies beyond; the share of the ring that is picture. */
static double divide(const UfCap *cap, const UfView *view, bool has_plate, UfCanvas *canvas)
{
    double rim = tan(cap->cap_rad), hole = rim * view->scale_px + SOFT_EDGE_PX;
    double reach = ring_reach(rim, has_plate) * view->scale_px;
    size_t ring = 0, seen = 0;
#pragma omp parallel for schedule(static) num_threads(cap->threads) reduction(+ : ring, seen)
    for (size_t y = 0; y < canvas->height; y++)
        for (size_t x = 0; x < canvas->width; x++) {
            double u = (double)x + 0.5 - view->centre_x_px, v = (double)y + 0.5 - view->centre_y_px;
            double square = u * u + v * v;
            uint8_t *cell = &canvas->cell[y * canvas->width + x];
            bool is_hole = square < hole * hole, is_far = square >= reach * reach;
            if (is_hole)
                *cell = UF_CELL_HOLE;
            else if (is_far)
                *cell = UF_CELL_IDLE;
            ring += !is_hole && !is_far;
            seen += *cell == UF_CELL_SOURCE;
        }
    return ring > 0 ? (double)seen / (double)ring : 0;
}

/*
 * How far from the pole a region's ring is copied from, in pixels: as about a cap, sharp floor from near the
 * hole goes before the smear far out. Where that would leave too little to copy, all of it is. `near` is the
 * hole's nearest place.
 */
static double region_reach(const UfView *view, const UfCanvas *canvas, double near)
{
    double rim = near / view->scale_px, reach = view->scale_px * fmin(stretch_reach(rim), MOST_REACH);
    size_t hole = 0, left = 0;
    for (size_t y = 0; y < canvas->height; y++)
        for (size_t x = 0; x < canvas->width; x++) {
            uint8_t cell = canvas->cell[y * canvas->width + x];
            double r = from_middle_px(view, x, y);
            hole += cell == UF_CELL_HOLE;
            left += cell == UF_CELL_SOURCE && r < reach;
        }
    return (double)left >= LEAST_LEFT * (double)hole ? reach : MOST_REACH * view->scale_px;
}

/* Is a cell of the plane covered by cap or region? */
static bool is_covered(const UfCap *cap, const UfView *view, size_t x, size_t y)
{
    UfDirection direction;
    double r = from_middle_px(view, x, y) / view->scale_px;
    return (cap->cap_rad > 0 && r < tan(cap->cap_rad)) ||
           (uf_view_direction(view, (UfPixelPoint){(double)x + 0.5, (double)y + 0.5}, &direction) &&
            uf_region_holds(cap->region, direction));
}

/* The hole's nearest place to the pole, in pixels. */
static double nearest(const UfView *view, const UfCanvas *canvas)
{
    double near = INFINITY;
    for (size_t y = 0; y < canvas->height; y++)
        for (size_t x = 0; x < canvas->width; x++)
            if (canvas->cell[y * canvas->width + x] == UF_CELL_HOLE)
                near = fmin(near, from_middle_px(view, x, y));
    return isfinite(near) ? near : 0;
}

/* What is covered becomes hole, SOFT_EDGE_PX more of it on every side, columns first and then rows. */
static UfStatus divide_region(const UfCap *cap, const UfView *view, UfCanvas *canvas, double *seen_share,
                              UfReport *report)
{
    size_t w = canvas->width, h = canvas->height, soft = (size_t)SOFT_EDGE_PX;
    uint8_t *covered = uf_alloc_zero(w * h, 1);
    double ring = 0, seen = 0;
    if (covered == NULL)
        return uf_fail_memory(report);
#pragma omp parallel for schedule(static) num_threads(cap->threads)
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            covered[y * w + x] = is_covered(cap, view, x, y) ? 1 : 0;
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            if ((covered[y * w + x] & 1) != 0)
                for (size_t j = y > soft ? y - soft : 0; j <= y + soft && j < h; j++)
                    covered[j * w + x] |= 2;
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            if ((covered[y * w + x] & 2) != 0)
                for (size_t i = x > soft ? x - soft : 0; i <= x + soft && i < w; i++)
                    canvas->cell[y * w + i] = UF_CELL_HOLE;
    double reach = region_reach(
        view, canvas, cap->cap_rad > 0 ? tan(cap->cap_rad) * view->scale_px : nearest(view, canvas));
    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++) {
            uint8_t *cell = &canvas->cell[y * w + x];
            double r = from_middle_px(view, x, y);
            bool is_far = r >= reach;
            if (*cell != UF_CELL_HOLE && is_far)
                *cell = UF_CELL_IDLE;
            ring += *cell != UF_CELL_HOLE && !is_far;
            seen += *cell == UF_CELL_SOURCE;
        }
    free(covered);
    *seen_share = ring > 0 ? seen / ring : 0;
    return UF_OK;
}

/* The ring into the canvas. What lies well under the cap is not wanted, nor are the square's corners. */
static UfStatus load(const UfPicture *panorama, const UfCap *cap, bool has_plate, UfFloorPlane *plane,
                     UfReport *report)
{
    UfPoleRead read = {.view = plane->view,
                       .is_root = plane->is_root,
                       .is_sharp = has_plate,
                       .farthest_px = INFINITY,
                       .threads = cap->threads};
    UfStatus status = uf_canvas_create(plane->view.width_px, plane->view.height_px, &plane->canvas, report);
    if (status != UF_OK)
        return status;
    uf_prefer_large_pages(plane->canvas.value,
                          plane->view.width_px * plane->view.height_px * 4 * sizeof *plane->canvas.value);
    if (cap->region == NULL) {
        double rim = tan(cap->cap_rad), far = fmax(ring_reach(rim, has_plate), tan(uf_cap_outer_rad(cap)));
        read.nearest_px = rim * plane->view.scale_px - SOFT_EDGE_PX;
        read.farthest_px = far * plane->view.scale_px + 2 * SOFT_EDGE_PX;
    }
    return uf_pole_read(panorama, &read, &plane->canvas, report);
}

/* What will be seen of the plane, soft edges and what interpolation reads of it included. */
static UfBox find_shown(const UfCap *cap, const UfFloorPlane *plane)
{
    const UfCanvas *canvas = &plane->canvas;
    size_t margin = (size_t)SOFT_EDGE_PX;
    UfBox box = {canvas->width, canvas->height, 0, 0};
    uf_canvas_hole_box(canvas, margin, &box);
    if (cap->cap_rad > 0) {
        double edge = tan(uf_cap_outer_rad(cap)) * plane->view.scale_px + SOFT_EDGE_PX;
        double x = plane->view.centre_x_px, y = plane->view.centre_y_px;
        box.x0 = (size_t)fmin((double)box.x0, fmax(floor(x - edge), 0));
        box.y0 = (size_t)fmin((double)box.y0, fmax(floor(y - edge), 0));
        box.x1 = (size_t)fmax((double)box.x1, fmin(ceil(x + edge), (double)canvas->width));
        box.y1 = (size_t)fmax((double)box.y1, fmin(ceil(y + edge), (double)canvas->height));
    }
    return box;
}

UfStatus uf_floor_plane_read(const UfPicture *panorama, const UfCap *cap, bool has_plate, double heading_rad,
                             UfFloorPlane *out, UfReport *report)
{
    UfFloorPlane plane = {0};
    UfStatus status = choose_view(cap, has_plate, heading_rad, &plane.view, report);
    if (status == UF_OK)
        status = is_linear_float(panorama, &plane.is_root, report);
    if (status == UF_OK)
        status = load(panorama, cap, has_plate, &plane, report);
    double seen = 0;
    if (status == UF_OK && cap->region == NULL)
        seen = divide(cap, &plane.view, has_plate, &plane.canvas);
    else if (status == UF_OK)
        status = divide_region(cap, &plane.view, &plane.canvas, &seen, report);
    if (status == UF_OK && seen < LEAST_SEEN)
        status =
            uf_fail(report, UF_ERROR_UNCLEAR, "too little of the floor around the cap is in the picture");
    if (status == UF_OK)
        plane.shown = find_shown(cap, &plane);
    if (status != UF_OK) {
        uf_floor_plane_clear(&plane);
        return status;
    }
    *out = plane;
    return UF_OK;
}

double uf_floor_plane_reach(const UfFloorPlane *plane, const UfCap *cap)
{
    if (cap->region != NULL)
        return 0;
    return plane->view.scale_px * (tan(uf_cap_outer_rad(cap)) + 0.15 * tan(cap->cap_rad));
}

void uf_floor_plane_clear(UfFloorPlane *plane)
{
    uf_canvas_clear(&plane->canvas);
}

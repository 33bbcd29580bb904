/*
 * The logo lies in the plane that touches the sphere at the pole, so its picture is a gnomonic one (J. P.
 * Snyder, USGS PP 1395, section 22): it looks like a flat print on the floor from wherever the viewer looks.
 * It is brought into the panorama's colours, resampled row band by row band with its alpha, and laid over in
 * linear light (T. Porter, T. Duff, Compositing Digital Images, SIGGRAPH 84, operator "over").
 */
#include "patch/logo.h"

#include <math.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/report.h"
#include "patch/over.h"
#include "patch/rows.h"
#include "picture/colour.h"

#define BAND_ROWS 128u

/* Buffers of one row. */
typedef struct Rows {
    float *under, *under_alpha, *over, *over_alpha;
} Rows;

static void rows_clear(Rows *rows)
{
    free(rows->under);
    free(rows->under_alpha);
    free(rows->over);
    free(rows->over_alpha);
}

static bool rows_allocate(Rows *rows, size_t width, size_t channels)
{
    rows->under = uf_alloc(width * channels, sizeof(float));
    rows->under_alpha = uf_alloc(width, sizeof(float));
    rows->over = uf_alloc(width * channels, sizeof(float));
    rows->over_alpha = uf_alloc(width, sizeof(float));
    return rows->under != NULL && rows->under_alpha != NULL && rows->over != NULL && rows->over_alpha != NULL;
}

/* The circle of half-angle `cap_rad` goes through the rectangle's corners. */
static UfView view_of_logo(const UfPicture *logo, const UfCap *cap, double cap_rad, double heading_rad)
{
    UfView view = {.projection = UF_PROJECTION_RECTILINEAR};
    view.width_px = uf_picture_width_px(logo);
    view.height_px = uf_picture_height_px(logo);
    view.centre_x_px = (double)view.width_px / 2;
    view.centre_y_px = (double)view.height_px / 2;
    view.scale_px = hypot(view.centre_x_px, view.centre_y_px) / tan(cap_rad);
    view.rotation = uf_cap_rotation(cap, heading_rad);
    return view;
}

/* Marks the runs of pixels that the logo covers. */
static void mark(UfTouched *touched, const float *alpha, size_t width, size_t y)
{
    for (size_t x = 0; x < width; x++) {
        size_t from = x;
        while (x < width && alpha[x] > 0)
            x++;
        if (x > from)
            uf_touched_add(touched, from, y, x, y + 1);
    }
}

static bool any(const float *alpha, size_t width)
{
    for (size_t x = 0; x < width; x++)
        if (alpha[x] > 0)
            return true;
    return false;
}

static void lay_row(UfPicture *panorama, size_t y, const UfPicture *flat, size_t flat_y,
                    const UfTransfer *transfer, Rows *rows, UfTouched *touched)
{
    size_t width = uf_picture_width_px(panorama);
    size_t channels = uf_colour_channels(panorama);
    uf_row_load(flat, flat_y, rows->over, rows->over_alpha);
    if (!any(rows->over_alpha, width))
        return;
    uf_row_load(panorama, y, rows->under, rows->under_alpha);
    for (size_t x = 0; x < width; x++)
        uf_over(transfer, rows->over + x * channels, rows->over_alpha[x], rows->under + x * channels,
                &rows->under_alpha[x], channels);
    uf_row_store(panorama, y, rows->under, rows->under_alpha);
    if (touched != NULL)
        mark(touched, rows->over_alpha, width, y);
}

UfStatus uf_logo_lay(UfPicture *panorama, const UfPicture *logo, const UfCap *cap, double logo_cap_rad,
                     double heading_rad, UfTouched *touched, size_t *rings, UfReport *report)
{
    UfStatus status = UF_OK;
    UfTransfer *transfer = NULL;
    UfPicture *coloured = NULL, *flat = NULL;
    Rows rows = {0};
    UfView logo_view = view_of_logo(logo, cap, logo_cap_rad, heading_rad);
    UfRemapOptions options = {.threads = cap->threads, .with_alpha = true};
    /* one ring more, for the half pixel in which the border fades */
    size_t count = uf_cap_ring_count(cap, logo_cap_rad) + 1;
    count = count > cap->height_px ? cap->height_px : count;
    size_t top = cap->at_zenith ? 0 : cap->height_px - count;
    if ((status = uf_transfer_create(panorama, &transfer, report)) != UF_OK ||
        (status = uf_logo_colours(logo, panorama, &coloured, report)) != UF_OK)
        goto cleanup;
    if (!rows_allocate(&rows, cap->width_px, uf_colour_channels(panorama))) {
        status = uf_fail_memory(report);
        goto cleanup;
    }
    for (size_t y0 = top; y0 < top + count; y0 += BAND_ROWS) {
        size_t band = top + count - y0 < BAND_ROWS ? top + count - y0 : BAND_ROWS;
        UfView target = uf_cap_rows_view(cap, y0, band);
        if ((status = uf_remap(coloured, &logo_view, &target, &options, &flat, report)) != UF_OK)
            goto cleanup;
        for (size_t i = 0; i < band; i++)
            lay_row(panorama, y0 + i, flat, i, transfer, &rows, touched);
        uf_picture_free(&flat);
    }
    *rings = count;
cleanup:
    rows_clear(&rows);
    uf_picture_free(&flat);
    uf_picture_free(&coloured);
    uf_transfer_free(&transfer);
    return status;
}

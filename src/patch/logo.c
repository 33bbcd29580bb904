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
#include "patch/logo_contact.h"
#include "patch/over.h"
#include "patch/rows.h"
#include "picture/colour.h"

#define BAND_ROWS 128u

/* A logo ready to be laid; cleared by laying_clear. */
typedef struct Laying {
    UfPicture *panorama;
    UfPicture *logo; /* in the panorama's colours */
    UfView view;     /* how the logo lies */
    UfTransfer *transfer;
    UfTouched *touched;                             /* NULL: not wanted */
    float *under, *under_alpha, *over, *over_alpha; /* one row each */
} Laying;

static void laying_clear(Laying *l)
{
    free(l->under);
    free(l->under_alpha);
    free(l->over);
    free(l->over_alpha);
    uf_picture_free(&l->logo);
    uf_transfer_free(&l->transfer);
}

static UfStatus allocate_rows(Laying *l, UfReport *report)
{
    size_t width = uf_picture_width_px(l->panorama);
    size_t channels = uf_colour_channels(l->panorama);
    l->under = uf_alloc(width * channels, sizeof(float));
    l->under_alpha = uf_alloc(width, sizeof(float));
    l->over = uf_alloc(width * channels, sizeof(float));
    l->over_alpha = uf_alloc(width, sizeof(float));
    bool has_all = l->under != NULL && l->under_alpha != NULL && l->over != NULL && l->over_alpha != NULL;
    return has_all ? UF_OK : uf_fail_memory(report);
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

/* Row `y` of the panorama gets row `i` of the resampled logo. */
static void lay_row(const Laying *l, const UfPicture *flat, size_t i, size_t y)
{
    size_t width = uf_picture_width_px(l->panorama);
    uf_row_load(flat, i, l->over, l->over_alpha);
    if (!any(l->over_alpha, width))
        return;
    uf_row_load(l->panorama, y, l->under, l->under_alpha);
    uf_over(l->transfer, l->over, l->over_alpha, l->under, l->under_alpha, width,
            uf_colour_channels(l->panorama));
    uf_row_store(l->panorama, y, l->under, l->under_alpha);
    if (l->touched != NULL)
        mark(l->touched, l->over_alpha, width, y);
}

/* Rows [y0, y0 + count): the logo resampled into them, and laid over. */
static UfStatus lay_band(const Laying *l, const UfCap *cap, size_t y0, size_t count, UfReport *report)
{
    UfPicture *flat = NULL;
    UfView target = uf_cap_rows_view(cap, y0, count);
    UfRemapOptions options = {.threads = cap->threads, .with_alpha = true};
    UfStatus status = uf_remap(l->logo, &l->view, &target, &options, &flat, report);
    for (size_t i = 0; status == UF_OK && i < count; i++)
        lay_row(l, flat, i, y0 + i);
    uf_picture_free(&flat);
    return status;
}

/* One ring more than the logo's circle has, for the half pixel in which the border fades. */
static size_t rings_of_logo(const UfCap *cap, double logo_cap_rad)
{
    size_t count = uf_cap_ring_count(cap, logo_cap_rad) + 1;
    return count > cap->height_px ? cap->height_px : count;
}

static UfStatus lay_all(const Laying *l, const UfCap *cap, size_t rings, UfReport *report)
{
    size_t top = uf_cap_first_row(cap, rings), bottom = top + rings;
    UfStatus status = UF_OK;
    for (size_t y = top; status == UF_OK && y < bottom; y += BAND_ROWS)
        status = lay_band(l, cap, y, bottom - y < BAND_ROWS ? bottom - y : BAND_ROWS, report);
    return status;
}

/* Before the logo itself, its shade. */
static UfStatus lay_contact(const Laying *logo, const UfCap *cap, double logo_cap_rad, double contact_rad,
                            size_t *rings, UfReport *report)
{
    Laying shade = *logo; /* all borrowed but its picture */
    double breadth = tan(logo_cap_rad + contact_rad) - tan(logo_cap_rad);
    shade.logo = NULL;
    UfStatus status = uf_logo_contact(logo->logo, &logo->view, breadth * logo->view.scale_px, &shade.logo,
                                      &shade.view, report);
    *rings = rings_of_logo(cap, uf_logo_contact_farthest_rad(logo_cap_rad, contact_rad));
    if (status == UF_OK)
        status = lay_all(&shade, cap, *rings, report);
    uf_picture_free(&shade.logo);
    return status;
}

UfStatus uf_logo_lay(UfPicture *panorama, const UfPatchOptions *options, const UfCap *cap,
                     double logo_cap_rad, UfTouched *touched, size_t *rings, UfReport *report)
{
    Laying l = {.panorama = panorama,
                .view = view_of_logo(options->logo, cap, logo_cap_rad, options->heading_rad),
                .touched = touched};
    size_t count = rings_of_logo(cap, logo_cap_rad), shaded = 0;
    UfStatus status = uf_transfer_create(panorama, &l.transfer, report);
    if (status == UF_OK)
        status = uf_logo_colours(options->logo, panorama, &l.logo, report);
    if (status == UF_OK)
        status = allocate_rows(&l, report);
    if (status == UF_OK && options->logo_contact_rad > 0)
        status = lay_contact(&l, cap, logo_cap_rad, options->logo_contact_rad, &shaded, report);
    if (status == UF_OK)
        status = lay_all(&l, cap, count, report);
    if (status == UF_OK)
        *rings = shaded > count ? shaded : count;
    laying_clear(&l);
    return status;
}

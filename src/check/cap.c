/* The cap that covers the hole about a pole. */
#include <underfoot/patch.h>

#include "check/cut_out.h"

#define POLE_ROW_LEAST 0.9 /* of the pole's row must be hole */

/* What uf_find_hole works with. */
typedef struct PoleSearch {
    UfSearch search;
    bool at_zenith;
    UfMask core, area;
    double reached_deg; /* the hole that was found, 0 for none */
} PoleSearch;

static UfStatus search_pole(PoleSearch *pole, UfHoleKind kind, const uint8_t *fill, UfReport *report)
{
    UfSearch *search = &pole->search;
    size_t height = search->pixels.height_px, width = search->pixels.width_px;
    size_t row = pole->at_zenith ? 0 : height - 1, first_x = width, inside = 0;
    search->kind = kind;
    search->fill = fill;
    search->core = &pole->core;
    uf_mask_clear(&pole->core);
    uf_search_mark(search, row, row + 1, &pole->core);
    for (size_t x = width; x-- > 0;)
        if (uf_mask_get(&pole->core, x, row)) {
            first_x = x;
            inside++;
        }
    if ((double)inside < POLE_ROW_LEAST * (double)width)
        return UF_OK;
    uf_mask_clear(&pole->core);
    uf_search_mark(search, 0, height, &pole->core);
    UfAreaShape shape;
    bool is_hole = false;
    UfStatus status = uf_search_examine(search, first_x, row, &pole->area, &shape, &is_hole, report);
    if (status == UF_OK && is_hole) {
        size_t whole_rows, reached_rows;
        uf_rows_about_pole(&pole->area, pole->at_zenith, &whole_rows, &reached_rows);
        /* half a pixel of margin */
        pole->reached_deg = ((double)reached_rows + 0.5) * 180 / (double)height;
    }
    return status;
}

/* The kinds in turn, until one has a hole. */
static UfStatus search_kinds(PoleSearch *pole, UfReport *report)
{
    UfStatus status = UF_OK;
    if (pole->search.pixels.has_alpha)
        status = search_pole(pole, UF_HOLE_TRANSPARENT, NULL, report);
    if (status == UF_OK && pole->reached_deg <= 0)
        status = search_pole(pole, UF_HOLE_BLACK, uf_black_pixel, report);
    const uint8_t *fill = uf_pole_fill(&pole->search.pixels, pole->at_zenith);
    if (status == UF_OK && pole->reached_deg <= 0 && fill != NULL)
        status = search_pole(pole, UF_HOLE_FLAT, fill, report);
    return status;
}

static UfStatus report_cap(const PoleSearch *pole, double *cap_rad, UfReport *report)
{
    const char *name = pole->at_zenith ? "zenith" : "nadir";
    if (pole->reached_deg <= 0)
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "no hole about the %s: the picture there is not transparent, not black and not of one colour; "
            "give its half-angle with --cap DEG",
            name);
    if (pole->reached_deg > UF_CAP_MAX_DEG)
        return uf_fail(
            report, UF_ERROR_UNCLEAR,
            "the hole about the %s reaches %.1f degrees from it, more than the largest cap of %.0f: is it "
            "meant to be covered? If so, give --cap DEG",
            name, pole->reached_deg, UF_CAP_MAX_DEG);
    *cap_rad = uf_radians(pole->reached_deg);
    return UF_OK;
}

UfStatus uf_find_hole(const UfPicture *panorama, bool at_zenith, double *cap_rad, UfReport *report)
{
    PoleSearch pole = {.search = {.pixels = uf_pixels_of(panorama)}, .at_zenith = at_zenith};
    size_t width = pole.search.pixels.width_px, height = pole.search.pixels.height_px;
    if (width != 2 * height)
        return uf_fail(report, UF_ERROR_ARGUMENT,
                       "the picture is %zu x %zu pixels, not 2:1: it is not a full panorama", width, height);
    UfStatus status = uf_mask_create(width, height, &pole.core, report);
    if (status == UF_OK)
        status = uf_mask_create(width, height, &pole.area, report);
    if (status == UF_OK)
        status = search_kinds(&pole, report);
    if (status == UF_OK)
        status = report_cap(&pole, cap_rad, report);
    uf_mask_free(&pole.core);
    uf_mask_free(&pole.area);
    return status;
}

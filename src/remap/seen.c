/* Looking over a target for the rows and columns that it sees. */
#include "remap/seen.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <underfoot/remap.h>

#include "base/memory.h"
#include "base/smaller.h"
#include "remap/lobe.h"
#include "remap/spline.h"
#include "remap/window.h"

/* Taps beyond a place, its rounding, and what interpolated tiles err by; the border of a footprint's box. */
#define TAPS_PX 6

static void mark(UfSeen *seen, ptrdiff_t width, ptrdiff_t first, ptrdiff_t end)
{
    if (seen->columns == NULL)
        return;
    const ptrdiff_t count = end - first < width ? end - first : width, from = uf_wrapped(first, width);
    const ptrdiff_t before_seam = count < width - from ? count : width - from;
    memset(seen->columns + from, true, (size_t)before_seam * sizeof *seen->columns);
    memset(seen->columns, true, (size_t)(count - before_seam) * sizeof *seen->columns);
}

static void look(const UfMap *map, double x_px, double y_px, double reach_rad, UfSeen *seen)
{
    const ptrdiff_t width = (ptrdiff_t)map->source.width_px, height = (ptrdiff_t)map->source.height_px;
    const double scale = map->source.scale_px;
    double u, v;
    if (!uf_map_point(map, x_px, y_px, &u, &v))
        return;
    ptrdiff_t first = (ptrdiff_t)floor(v - reach_rad * scale) - TAPS_PX;
    ptrdiff_t end = (ptrdiff_t)ceil(v + reach_rad * scale) + TAPS_PX;
    first = first > 0 ? first : 0;
    end = end < height ? end : height;
    seen->first_row = first < seen->first_row ? first : seen->first_row;
    seen->end_row = end > seen->end_row ? end : seen->end_row;
    double nearness = sin(reach_rad) / cos((v - map->source.centre_y_px) / scale);
    if (first == 0 || end == height || !(nearness >= 0 && nearness < 1)) {
        mark(seen, width, 0, width);
        return;
    }
    double along = asin(nearness) * scale;
    mark(seen, width, (ptrdiff_t)floor(u - along) - TAPS_PX, (ptrdiff_t)ceil(u + along) + TAPS_PX);
}

/* Nodes lie so far apart in small targets, and in large ones. */
#define APART_PX      16u
#define WIDE_APART_PX 32u
#define LARGE_PX      1500u

static size_t longest_of(const UfMap *map)
{
    return uf_larger(map->target.width_px, map->target.height_px);
}

static size_t apart_of(const UfMap *map)
{
    return longest_of(map) < LARGE_PX ? APART_PX : WIDE_APART_PX;
}

/* Columns left to right, rows top to bottom, of a target. */
typedef struct Part {
    size_t left, top, right, bottom;
} Part;

/* Nodes `apart` pixels apart, and at the edges: all that lies within `reach_px` of one. */
static void look_over(const UfMap *map, Part part, size_t apart, double reach_px, UfSeen *seen)
{
    const double reach_rad = fmin(reach_px / map->target.scale_px, UF_PI);
    for (size_t y = part.top; y < part.bottom + apart; y += apart)
        for (size_t x = part.left; x < part.right + apart; x += apart)
            look(map, (double)uf_smaller(x, part.right), (double)uf_smaller(y, part.bottom), reach_rad, seen);
}

/* To the farthest pixel between four nodes, and along a stretched footprint (remap/stretch.h). */
static double reach_of(size_t apart)
{
    return (double)apart * sqrt(0.5) + UF_LOBES;
}

bool uf_seen_serves(const UfView *target)
{
    return target->projection == UF_PROJECTION_RECTILINEAR ||
           target->projection == UF_PROJECTION_STEREOGRAPHIC ||
           target->projection == UF_PROJECTION_EQUIRECTANGULAR;
}

void uf_seen_add(const UfMap *map, size_t left_px, size_t top_px, size_t right_px, size_t bottom_px,
                 UfSeen *seen)
{
    look_over(map, (Part){left_px, top_px, right_px, bottom_px}, apart_of(map), reach_of(apart_of(map)),
              seen);
}

/* So few nodes that pictures of any size are looked over at once. What uf_seen_find finds between four of
 * them is held, too. */
void uf_seen_find_rows(const UfMap *map, UfSeen *out)
{
    const size_t apart = uf_larger(APART_PX, longest_of(map) / 128);
    out->first_row = (ptrdiff_t)map->source.height_px;
    look_over(map, (Part){0, 0, map->target.width_px, map->target.height_px}, apart,
              (double)apart * sqrt(0.5) + reach_of(apart_of(map)) + 1, out);
}

void uf_remap_rows(const UfView *source_view, const UfView *target_view, UfSampling sampling,
                   size_t *first_px, size_t *end_px)
{
    UfSource edges = {.width_px = (ptrdiff_t)source_view->width_px,
                      .height_px = (ptrdiff_t)source_view->height_px};
    UfSeen seen = {.end_row = edges.height_px};
    uf_source_set_edges(&edges, source_view);
    if (edges.wraps && edges.over_top && edges.over_bottom && uf_seen_serves(target_view)) {
        const UfMap map = uf_map_create(target_view, source_view, &edges);
        seen.end_row = 0;
        uf_seen_find_rows(&map, &seen);
        if (sampling == UF_SAMPLING_SHARP)
            uf_spline_rows(&seen, edges.height_px, &seen.first_row, &seen.end_row);
    }
    *first_px = (size_t)seen.first_row;
    *end_px = (size_t)seen.end_row;
}

void uf_seen_free(UfSeen *seen)
{
    free(seen->columns);
    *seen = (UfSeen){0};
}

/* Looking over a target for the rows and columns that it sees. */
#include "remap/seen.h"

#include <math.h>
#include <stdlib.h>

#include "base/memory.h"
#include "remap/lobe.h"

/* Taps beyond a place, its rounding, and what interpolated tiles err by. */
#define TAPS_PX 6

static void mark(UfSeen *seen, ptrdiff_t width, ptrdiff_t first, ptrdiff_t end)
{
    if (end - first > width)
        end = first + width;
    for (ptrdiff_t x = first; x < end; x++)
        seen->columns[(x % width + width) % width] = true;
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

UfStatus uf_seen_find(const UfMap *map, UfSeen *out, UfReport *report)
{
    const size_t across = (map->target.width_px + UF_SEEN_APART_PX - 1) / UF_SEEN_APART_PX;
    const size_t down = (map->target.height_px + UF_SEEN_APART_PX - 1) / UF_SEEN_APART_PX;
    /* to the farthest pixel between four nodes, and along a stretched footprint (remap/stretch.h) */
    const double reach_px = UF_SEEN_APART_PX * sqrt(0.5) + UF_LOBES;
    const double reach_rad = fmin(reach_px / map->target.scale_px, UF_PI / 2);
    out->first_row = (ptrdiff_t)map->source.height_px;
    out->columns = uf_alloc_zero(map->source.width_px, sizeof *out->columns);
    if (out->columns == NULL)
        return uf_fail_memory(report);
    for (size_t y = 0; y <= down; y++)
        for (size_t x = 0; x <= across; x++)
            look(map, (double)(x * UF_SEEN_APART_PX), (double)(y * UF_SEEN_APART_PX), reach_rad, out);
    return UF_OK;
}

void uf_seen_free(UfSeen *seen)
{
    free(seen->columns);
    *seen = (UfSeen){0};
}

/* The cap as rows of the panorama. */
#include "patch/cap.h"

#include <math.h>

#include "base/smoothstep.h"

size_t uf_cap_row(const UfCap *cap, size_t ring)
{
    return cap->at_zenith ? ring : cap->height_px - 1 - ring;
}

size_t uf_cap_first_row(const UfCap *cap, size_t rings)
{
    return cap->at_zenith ? 0 : cap->height_px - rings;
}

double uf_cap_ring_angle_rad(const UfCap *cap, size_t ring)
{
    return ((double)ring + 0.5) * UF_PI / (double)cap->height_px;
}

size_t uf_cap_ring_count(const UfCap *cap, double angle_rad)
{
    double rings = ceil(angle_rad / UF_PI * (double)cap->height_px - 0.5);
    if (rings <= 0)
        return 0;
    return rings >= (double)cap->height_px ? cap->height_px : (size_t)rings;
}

double uf_cap_outer_rad(const UfCap *cap)
{
    if (cap->cap_rad <= 0)
        return 0;
    return cap->cap_rad + cap->feather_rad;
}

double uf_cap_weight(const UfCap *cap, double angle_rad)
{
    if (cap->cap_rad <= 0)
        return 0;
    if (angle_rad <= cap->cap_rad)
        return 1;
    if (angle_rad >= uf_cap_outer_rad(cap))
        return 0;
    double t = (uf_cap_outer_rad(cap) - angle_rad) / cap->feather_rad;
    return uf_smoothstep(t);
}

/*
 * Looking down with yaw = heading, the heading is at the top. Looking up it is at the bottom, so there the
 * yaw is half a turn more.
 */
UfRotation uf_cap_rotation(const UfCap *cap, double heading_rad)
{
    if (cap->at_zenith)
        return uf_rotation_from_angles(heading_rad + UF_PI, UF_PI / 2, 0);
    return uf_rotation_from_angles(heading_rad, -UF_PI / 2, 0);
}

UfView uf_cap_rows_view(const UfCap *cap, size_t y0_px, size_t count)
{
    UfView whole = uf_view_equirectangular(cap->width_px);
    return uf_view_window(&whole, 0, y0_px, cap->width_px, count);
}

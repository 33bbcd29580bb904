/*
 * Which rows of a panorama the covering of a cap needs (what it changes, and the ring that each fill looks
 * at), and the memory beside them.
 */
#include <math.h>

#include "patch/cap.h"
#include "patch/floor_plane.h"
#include "patch/grain_spectrum.h"
#include "patch/logo_contact.h"
#include "patch/membrane_ring.h"
#include "patch/membrane_slope.h"

/* Beside what the fills say: interpolation, and rounding of angles to rows. */
#define MARGIN_ROWS 16u

/*
 * What a floor fill holds for a pixel of its plane, at least: the canvas's 17 bytes, the places and codes of
 * its patches, the blending. Measured on panoramas 4096 pixels wide as 52 to 55
 * (docs/limits-and-cautions.md); a small plane needs more a pixel.
 */
#define PLANE_PIXEL_BYTES 50u

/* Where no floor is, it is filled smoothly. */
static bool may_be_smooth(const UfPatchOptions *options)
{
    return options->fill == UF_FILL_FLOOR || options->fill == UF_FILL_SMOOTH;
}

/* Without the belt that tells a smooth fill its slope. */
static double near_rad(const UfCap *cap, const UfPatchOptions *options)
{
    double logo = options->logo_cap_rad > 0 ? options->logo_cap_rad : options->cap_rad;
    if (options->logo_contact_rad > 0)
        logo = uf_logo_contact_farthest_rad(logo, options->logo_contact_rad);
    double farthest = uf_cap_outer_rad(cap);
    if (may_be_smooth(options))
        farthest = fmax(farthest + UF_RING_RAD, uf_grain_farthest_rad(cap));
    if (options->fill == UF_FILL_FLOOR)
        farthest = fmax(farthest, uf_floor_plane_farthest_rad(cap));
    return options->logo != NULL ? fmax(farthest, logo) : farthest;
}

static double farthest_rad(const UfCap *cap, const UfPatchOptions *options)
{
    const double near = near_rad(cap, options);
    return may_be_smooth(options) ? fmax(near, uf_slope_farthest_rad(cap)) : near;
}

static UfCap cap_of(const UfPatchOptions *options, size_t width_px, size_t height_px)
{
    return (UfCap){.width_px = width_px,
                   .height_px = height_px,
                   .at_zenith = options->at_zenith,
                   .cap_rad = options->cap_rad,
                   .feather_rad = options->feather_rad};
}

/* Masks and shadows lie anywhere. */
static bool has_region(const UfPatchOptions *options)
{
    return options->mask != NULL || options->has_sun || options->without_cap;
}

/* And a photograph is compared with all of the floor. */
static bool is_anywhere(const UfPatchOptions *options)
{
    return options->plate != NULL || has_region(options);
}

void uf_patch_rows_needed(const UfPatchOptions *options, size_t width_px, size_t height_px, size_t *first_px,
                          size_t *end_px)
{
    const UfCap cap = cap_of(options, width_px, height_px);
    bool is_known = !is_anywhere(options) &&
                    (options->cap_rad > 0 || (options->fill == UF_FILL_NONE && options->logo_cap_rad > 0));
    size_t rings = is_known ? uf_cap_ring_count(&cap, farthest_rad(&cap, options)) + MARGIN_ROWS : height_px;
    rings = rings > height_px ? height_px : rings;
    *first_px = uf_cap_first_row(&cap, rings);
    *end_px = *first_px + rings;
}

size_t uf_patch_bytes_needed(const UfPatchOptions *options, size_t width_px, size_t height_px)
{
    const UfCap cap = cap_of(options, width_px, height_px);
    if (options->fill != UF_FILL_FLOOR || !(options->cap_rad > 0) || has_region(options))
        return 0;
    return uf_floor_plane_pixels(&cap, options->plate != NULL) * PLANE_PIXEL_BYTES;
}

/* A logo is laid over the fill, and the floor looks at what it covers. */
void uf_patch_rows_replaced(const UfPatchOptions *options, size_t width_px, size_t height_px,
                            size_t *first_px, size_t *end_px)
{
    const UfCap cap = cap_of(options, width_px, height_px);
    bool is_known = !is_anywhere(options) && options->cap_rad > 0 &&
                    (options->fill == UF_FILL_SMOOTH || options->fill == UF_FILL_COLOUR);
    size_t rings = is_known ? uf_cap_ring_count(&cap, options->cap_rad) : 0;
    rings -= rings > 0 ? 1 : 0; /* the last one may differ by a rounding */
    *first_px = uf_cap_first_row(&cap, rings);
    *end_px = rings > 0 ? *first_px + rings : 0;
}

UfSparseRows uf_patch_rows_sparse(const UfPatchOptions *options, size_t width_px, size_t height_px)
{
    const UfCap cap = cap_of(options, width_px, height_px);
    if (is_anywhere(options) || !(options->cap_rad > 0) || !may_be_smooth(options))
        return (UfSparseRows){0};
    const UfSlopeBelt belt = uf_slope_belt(&cap);
    const size_t near = uf_cap_ring_count(&cap, near_rad(&cap, options)) + MARGIN_ROWS;
    const size_t end = belt.first_ring + belt.up * belt.rings;
    if (belt.looked_at == belt.rings || near >= end)
        return (UfSparseRows){0};
    /* rings are counted from the pole; of two that are a row apart the lower row is the one before */
    const size_t first_kept = belt.first_ring + belt.skipped, last_kept = first_kept + belt.looked_at - 1;
    const size_t base = uf_cap_row(&cap, cap.at_zenith ? first_kept : last_kept);
    return (UfSparseRows){.first_px = cap.at_zenith ? near : height_px - end,
                          .end_px = cap.at_zenith ? end : height_px - near,
                          .base_px = base % belt.rings,
                          .period_px = belt.rings,
                          .kept_px = belt.looked_at};
}
